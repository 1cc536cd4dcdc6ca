//! What can be done about a version whose lines miss their total, each way before and after.

use async_graphql::{Context, Enum, Object, SimpleObject};
use domain::materials::UseLevelKind as Kind;
use engine::{
    CostedProposal,
    explode::UseLevelBreach as Breach,
    normalise::{ProposalKind as Way, ProposedLine as Line},
};
use kernel::Currency;

use crate::{
    amounts::{Money, Quantity, percent},
    compare::dose,
    errors::Result,
    formulas::{LineAmountKind, kind_of, parts_in, percent_in, quantity_in},
    materials::{Material, material_of},
    scalars::Decimal,
    what_if::Figures,
};

/// A way to make lines meet their total.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProposalKind {
    /// One line takes the difference, and is q.s. from then on.
    TakeFrom,
    /// Every line times the nominal total over what the lines add up to.
    Rescale,
}

/// What kind of limit a use level is.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "Kind")]
pub enum UseLevelLimitKind {
    /// By the supplier or the house: a warning.
    Recommended,
    /// By law or a safety assessment: it blocks approval.
    Legal,
}

/// A use level that is broken.
pub struct UseLevelBreach(pub Breach);

/// A use level that is broken: all lines of the material together, through blends and intermediates.
#[Object]
impl UseLevelBreach {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// What the version holds, % w/w as supplied, to 6 places.
    async fn found_percent(&self) -> Result<Decimal> {
        dose(&self.0.found)
    }

    /// The limit, % w/w as supplied.
    async fn limit_percent(&self) -> Decimal {
        percent(self.0.limit)
    }

    /// Whether the limit is a most; else a least.
    async fn is_most(&self) -> bool {
        self.0.is_most
    }

    /// What kind of limit it is.
    async fn kind(&self) -> UseLevelLimitKind {
        self.0.kind.into()
    }

    /// Whether the limit stands on a line of the formula; else on the material.
    async fn from_line(&self) -> bool {
        self.0.from_line
    }
}

/// One way to put a version right.
pub struct VersionProposal {
    costed: CostedProposal,
    currency: Currency,
}

impl VersionProposal {
    pub(crate) const fn new(costed: CostedProposal, currency: Currency) -> Self {
        Self { costed, currency }
    }
}

/// One way to make the lines of a version meet their total. Nothing is written: to take it, write the draft anew with its lines.
#[Object]
impl VersionProposal {
    /// What is done.
    async fn kind(&self) -> ProposalKind {
        match self.costed.proposal.kind {
            Way::TakeFrom { .. } => ProposalKind::TakeFrom,
            Way::Rescale => ProposalKind::Rescale,
        }
    }

    /// The position of the line that takes the difference; null when all are rescaled.
    async fn line(&self) -> Option<u32> {
        match self.costed.proposal.kind {
            Way::TakeFrom { position } => Some(position),
            Way::Rescale => None,
        }
    }

    /// The same in words.
    async fn text(&self) -> String {
        self.costed.proposal.kind.words()
    }

    /// What the lines add up to as written, % of the nominal total, to 6 places.
    async fn total_before_percent(&self) -> Result<Decimal> {
        dose(&self.costed.proposal.total_before)
    }

    /// The lines, in their order.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lines(&self) -> Vec<ProposedLine> {
        let proposal = &self.costed.proposal;
        let written = |position: u32| proposal.version.lines.iter().find(|line| line.position == position);
        let one = |line: &Line| ProposedLine { line: line.clone(), written: written(line.position).cloned() };
        proposal.lines.iter().map(one).collect()
    }

    /// The use levels the result breaks; rescaling moves what a limit stands on.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn breaches(&self) -> Vec<UseLevelBreach> {
        self.costed.proposal.breaches.iter().cloned().map(UseLevelBreach).collect()
    }

    /// What the lines as they stand cost for the batch, over or under its size as they are, to the currency's minor unit; null when the
    /// price of one is missing.
    async fn ingredients_before(&self) -> Result<Option<Money>> {
        let before = self.costed.ingredients_before.as_ref();
        before.map(|value| Money::rounded(value, self.currency.minor_places(), self.currency)).transpose()
    }

    /// What the ingredients of the batch cost as proposed, to the currency's minor unit; partial when `after` is not complete.
    async fn ingredients_after(&self) -> Result<Money> {
        let places = self.currency.minor_places();
        Money::rounded(&self.costed.sheet.totals.ingredients, places, self.currency)
    }

    /// What the version costs as proposed.
    async fn after(&self) -> Result<Figures> {
        Figures::of(&engine::what_if::Figures::from(&self.costed.sheet), self.currency)
    }
}

/// A line before and after.
pub struct ProposedLine {
    line: Line,
    written: Option<domain::formulas::FormulaLine>,
}

/// A line before and after. Percents are w/w as supplied, to 6 places.
#[Object]
impl ProposedLine {
    /// Its position.
    async fn position(&self) -> u32 {
        self.line.position
    }

    /// What.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.line.material.id)
    }

    /// As written, % of the nominal total; nought for a q.s. line to which nothing is left.
    async fn before_percent(&self) -> Result<Decimal> {
        dose(&self.line.before)
    }

    /// As proposed, % of everything charged.
    async fn after_percent(&self) -> Result<Decimal> {
        dose(&self.line.after)
    }

    /// How its amount would be written.
    async fn written_kind(&self) -> Option<LineAmountKind> {
        self.written.as_ref().map(|line| kind_of(line.amount))
    }

    /// Its amount as it would be written in percent; null when it is written otherwise.
    async fn written_percent(&self) -> Option<Decimal> {
        self.written.as_ref().and_then(|line| percent_in(line.amount))
    }

    /// Its amount as it would be written in parts by weight; null when it is written otherwise.
    async fn written_parts(&self) -> Option<Decimal> {
        self.written.as_ref().and_then(|line| parts_in(line.amount))
    }

    /// Its amount as it would be written by mass (kg) or by volume (L); null when it is written otherwise.
    async fn written_quantity(&self) -> Option<Quantity> {
        self.written.as_ref().and_then(|line| quantity_in(line.amount))
    }
}

/// Whether a version meets its total, and what can be done where it does not.
#[derive(SimpleObject)]
pub struct VersionProposals {
    /// Whether there is nothing to put right.
    pub meets_total: bool,
    /// The ways to put it right.
    pub ways: Vec<VersionProposal>,
}
