//! Why two costs differ, and two versions side by side.

use std::sync::Arc;

use async_graphql::{Context, Enum, Object, SimpleObject};
use engine::{
    Per,
    compare::{
        Cause, Comparison, LineChange, LineDifference, PrintedComparison, PrintedDifference, SideRow, compare,
    },
    present::{DOSE_PLACES, PER_KG_PLACES, PER_UNIT_PLACES, PERCENT_PLACES},
    pricing::price_to_hold,
};
use kernel::{Currency, Exact};

use crate::{
    amounts::{Money, MoneyInput, unit_of},
    cost_inputs::CostOtherInput,
    cost_lines::CostLineKind,
    costing::{CostSheet, costing, money},
    errors::Result,
    formulas::FormulaVersion,
    materials::{Material, material_of},
    scalars::{CurrencyCode, Date, Decimal, Unit},
    sources::Source,
    what_if::Figures,
};

/// What figures are of.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "Per")]
pub enum CostPer {
    /// One unit of a pack: liquid, packaging and filling.
    Unit,
    /// One kilogram of good liquid: ingredients and cost per batch.
    Kilogram,
}

/// What happened to a line.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "LineChange")]
pub enum CostLineChange {
    /// Amount and price are as before.
    Same,
    /// On both sides, with another amount or price.
    Changed,
    /// Only on the second side.
    Added,
    /// Only on the first side.
    Removed,
}

/// Why a cost differs.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "Cause")]
pub enum CostCauseKind {
    /// Other amounts of ingredients that both sides have: doses, losses.
    IngredientAmounts,
    /// Other prices of ingredients that both sides have.
    IngredientPrices,
    /// Ingredients only the second side has.
    AddedIngredients,
    /// Ingredients only the first side has.
    RemovedIngredients,
    /// The cost of making the batch, and over how much it is spread.
    CostPerBatch,
    /// Components: amounts, prices, added and removed ones.
    Packaging,
    /// Filling and labelling.
    Filling,
    /// Lines one side has no figure for.
    NotKnown,
}

/// The difference of two costs.
pub struct CostComparison {
    before: CostSheet,
    after: CostSheet,
    exact: Comparison,
    printed: PrintedComparison,
}

impl CostComparison {
    pub(crate) async fn ask(ctx: &Context<'_>, before: &CostSheet, other: CostOtherInput) -> Result<Self> {
        let first = before.asked.question.clone();
        let second = other.question(ctx, &first)?;
        // Both anew from one look at the ledger, so that no delivery comes in between.
        let costing = costing(ctx, &[&first, &second], &[]).await?;
        let (before, after) = (CostSheet::of(&costing, first)?, CostSheet::of(&costing, second)?);
        let exact = compare(&before.sheet, &after.sheet)?;
        Ok(Self { printed: exact.print()?, exact, before, after })
    }

    fn money(&self, amount: rust_decimal::Decimal) -> Money {
        money(amount, self.printed.currency)
    }
}

/// Why two costs differ. Lines add up to the difference as printed, and so do causes; above nought is dearer. Each line is split into
/// what comes from its amount (the change of amount at the price before) and from its price (the change of price at the amount after).
#[Object]
impl CostComparison {
    /// What every figure is of: one unit where both have units, else one kg of liquid.
    async fn per(&self) -> CostPer {
        self.exact.per.into()
    }

    /// The house's currency.
    async fn currency(&self) -> CurrencyCode {
        CurrencyCode(self.printed.currency)
    }

    /// The first sheet.
    async fn before(&self) -> &CostSheet {
        &self.before
    }

    /// The second sheet.
    async fn after(&self) -> &CostSheet {
        &self.after
    }

    /// What one costs on the first sheet.
    async fn cost_before(&self) -> Money {
        self.money(self.printed.before.cost)
    }

    /// What one costs on the second sheet.
    async fn cost_after(&self) -> Money {
        self.money(self.printed.after.cost)
    }

    /// The cost after less the cost before, both as printed: per unit to 4 places, per kg to 6.
    async fn difference(&self) -> Money {
        self.money(self.printed.difference)
    }

    /// The same, % of the cost before, to 2 places; null at a cost of nought.
    async fn difference_percent(&self) -> Option<Decimal> {
        self.printed.difference_percent.map(Decimal)
    }

    /// Line by line, all lines of a material together: ingredients, cost per batch, components, filling; those of the first sheet first.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lines(&self) -> Vec<CostDifference> {
        differences(self.printed.currency, &self.exact.lines, &self.printed.lines)
    }

    /// By cause; causes without effect are left out.
    async fn causes(&self) -> Vec<CostCause> {
        let both = self.exact.causes.iter().zip(&self.printed.causes);
        both.map(|(exact, printed)| CostCause {
            cause: exact.cause.into(),
            effect: self.money(printed.effect),
        })
        .collect()
    }

    /// Whether both sheets are complete. When not, the difference is one of partial totals.
    async fn complete(&self) -> bool {
        self.printed.complete
    }

    /// What the price of one unit has to become to keep the margin, and the money earned, of the first sheet at the cost of the second.
    /// Null per kg, without a price, or while a cost is partial.
    async fn price_to_hold(
        &self,
        #[graphql(
            desc = "The selling price of one unit without tax, in the house's currency; that of the first sheet when nothing is said."
        )]
        price: Option<MoneyInput>,
    ) -> Result<Option<PriceToHold>> {
        let asked = price
            .map(|price| in_house(price, self.printed.currency, "price"))
            .transpose()?
            .map(kernel::Money::to_exact);
        let of_sheet =
            || self.before.sheet.margin.as_ref().map(|margin| margin.price_in_house_currency.clone());
        let (Some(price), true, Per::Unit) = (asked.or_else(of_sheet), self.exact.complete, self.exact.per)
        else {
            return Ok(None);
        };
        let held = price_to_hold(&price, &self.exact.before.cost, &self.exact.after.cost);
        let per_unit = |value: &Exact| Money::rounded(value, PER_UNIT_PLACES, self.printed.currency);
        Ok(Some(PriceToHold {
            price: per_unit(&price)?,
            margin_before_percent: percent(held.margin_before.as_ref())?,
            margin_after_percent: percent(held.margin_after.as_ref())?,
            to_hold_margin: held.to_hold_margin.as_ref().map(per_unit).transpose()?,
            to_hold_cash: per_unit(&held.to_hold_cash)?,
        }))
    }
}

/// An amount that has to be in the house's currency.
pub(crate) fn in_house(amount: MoneyInput, house: Currency, place: &str) -> Result<kernel::Money> {
    let money = amount.money().map_err(|error| app::Error::invalid(place, error))?;
    if money.currency() == house {
        return Ok(money);
    }
    Err(app::Error::invalid(place, format!("this has to be in the house's currency, {house}")).into())
}

/// A fraction of one as a percent to 2 places.
pub(crate) fn percent(fraction: Option<&Exact>) -> Result<Option<Decimal>> {
    fraction.map(|fraction| Decimal::rounded(&(fraction * &Exact::whole(100)), PERCENT_PLACES)).transpose()
}

/// A dose, a fraction of one of everything charged, as a percent to 6 places.
pub(crate) fn dose(share: &Exact) -> Result<Decimal> {
    Decimal::rounded(&(share * &Exact::whole(100)), DOSE_PLACES)
}

/// What a price has to become when a cost changes. Prices are per unit, without tax, to 4 places.
#[derive(SimpleObject)]
pub struct PriceToHold {
    /// The price it is about.
    pub price: Money,
    /// (price − cost) / price before, %, to 2 places; null at a price of nought.
    pub margin_before_percent: Option<Decimal>,
    /// The same at the new cost, should the price stay.
    pub margin_after_percent: Option<Decimal>,
    /// The price that keeps the margin in percent; null at a cost of nought before.
    pub to_hold_margin: Option<Money>,
    /// The price that keeps the money earned on a unit.
    pub to_hold_cash: Money,
}

/// What one cause comes to.
#[derive(SimpleObject)]
pub struct CostCause {
    /// The cause.
    pub cause: CostCauseKind,
    /// What it adds to the cost.
    pub effect: Money,
}

/// One line's difference.
pub struct CostDifference {
    currency: Currency,
    exact: LineDifference,
    printed: PrintedDifference,
}

fn differences(
    currency: Currency,
    exact: &[LineDifference],
    printed: &[PrintedDifference],
) -> Vec<CostDifference> {
    let one = |(exact, printed): (&LineDifference, &PrintedDifference)| CostDifference {
        currency,
        exact: exact.clone(),
        printed: printed.clone(),
    };
    exact.iter().zip(printed).map(one).collect()
}

/// One line's difference, per unit or per kg of liquid as the comparison is.
#[Object]
impl CostDifference {
    /// What it is.
    async fn kind(&self) -> CostLineKind {
        self.exact.kind.into()
    }

    /// What to call it.
    async fn label(&self) -> &str {
        &self.printed.label
    }

    /// The ingredient or component; null for other costs.
    async fn material(&self, ctx: &Context<'_>) -> Result<Option<Material>> {
        self.exact.material.as_ref().map(|material| material_of(ctx, material.id)).transpose()
    }

    /// What happened to it.
    async fn change(&self) -> CostLineChange {
        self.exact.change.into()
    }

    /// kg or {each}; null for costs that are of nothing weighed or counted.
    async fn unit(&self) -> Option<Unit> {
        self.exact.dimension.map(unit_of)
    }

    /// How much of it one takes before, in `unit`, to 6 places.
    async fn amount_before(&self) -> Option<Decimal> {
        self.printed.amount_before.map(Decimal)
    }

    /// How much of it one takes after, in `unit`, to 6 places.
    async fn amount_after(&self) -> Option<Decimal> {
        self.printed.amount_after.map(Decimal)
    }

    /// Per kg or piece before, to 6 places; for a cost per batch, the batch's.
    async fn price_before(&self) -> Option<Money> {
        self.printed.price_before.map(|amount| money(amount, self.currency))
    }

    /// Per kg or piece after, to 6 places; for a cost per batch, the batch's.
    async fn price_after(&self) -> Option<Money> {
        self.printed.price_after.map(|amount| money(amount, self.currency))
    }

    /// Value before, rounded by itself; null when there is none or nothing of it is known.
    async fn value_before(&self) -> Option<Money> {
        self.printed.value_before.map(|amount| money(amount, self.currency))
    }

    /// Value after, rounded by itself; null when there is none or nothing of it is known.
    async fn value_after(&self) -> Option<Money> {
        self.printed.value_after.map(|amount| money(amount, self.currency))
    }

    /// This line's part of the difference as printed: the sum of the two effects and of `notKnown`.
    async fn difference(&self) -> Money {
        money(self.printed.difference, self.currency)
    }

    /// From the amount: the change of amount at the price before; all of it where only one side has the line.
    async fn amount_effect(&self) -> Money {
        money(self.printed.amount_effect, self.currency)
    }

    /// From the price: the change of price at the amount after.
    async fn price_effect(&self) -> Money {
        money(self.printed.price_effect, self.currency)
    }

    /// From neither, since one side has no figure.
    async fn not_known(&self) -> Money {
        money(self.printed.not_known, self.currency)
    }

    /// Where the figure before comes from; null when the first side has no such line.
    async fn source_before(&self) -> Option<Source> {
        self.exact.source_before.as_ref().map(Source::from)
    }

    /// Where the figure after comes from; null when the second side has no such line.
    async fn source_after(&self) -> Option<Source> {
        self.exact.source_after.as_ref().map(Source::from)
    }

    /// Whether something is missing on either side.
    async fn partial(&self) -> bool {
        self.exact.partial
    }

    /// The lines of an intermediate made here on both sides, adding up to this line; empty where they are not all spelt out.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn nested(&self) -> Vec<CostDifference> {
        differences(self.currency, &self.exact.nested, &self.printed.nested)
    }
}

/// Two versions beside each other.
pub struct VersionsSideBySide(pub Arc<engine::SideBySide>);

/// Two versions beside each other: doses, active matter and what each material adds to the cost of one kg of good output.
#[Object]
impl VersionsSideBySide {
    /// The house's currency.
    async fn currency(&self) -> CurrencyCode {
        CurrencyCode(self.0.currency)
    }

    /// The day both are costed for.
    async fn as_of(&self) -> Date {
        Date(self.0.as_of)
    }

    /// The first version.
    async fn before(&self) -> Result<VersionSide> {
        VersionSide::of(&self.0.before, self.0.currency)
    }

    /// The second version.
    async fn after(&self) -> Result<VersionSide> {
        VersionSide::of(&self.0.after, self.0.currency)
    }

    /// Material by material, all lines of one together: in the order of the first version, then what only the second has.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn rows(&self) -> Vec<VersionsRow> {
        self.0.rows.iter().map(|row| VersionsRow { row: row.clone(), currency: self.0.currency }).collect()
    }

    /// What else is written otherwise: density, losses, batch sizes, costs of making, order of addition.
    async fn header(&self) -> Vec<HeaderChange> {
        let one = |change: &engine::compare::HeaderChange| HeaderChange {
            what: change.what.to_owned(),
            before: change.before.clone(),
            after: change.after.clone(),
        };
        self.0.header.iter().map(one).collect()
    }
}

/// One of two versions.
pub struct VersionSide {
    side: engine::compare::VersionSide,
    figures: Figures,
    making: Money,
}

impl VersionSide {
    fn of(side: &engine::compare::VersionSide, currency: Currency) -> Result<Self> {
        Ok(Self {
            figures: Figures::of(&side.cost, currency)?,
            making: Money::rounded(&side.making_per_kg, PER_KG_PLACES, currency)?,
            side: side.clone(),
        })
    }
}

/// One of two versions.
#[Object]
impl VersionSide {
    /// The version.
    async fn version(&self, ctx: &Context<'_>) -> Result<FormulaVersion> {
        FormulaVersion::find(ctx, self.side.version)
    }

    /// Active matter of all materials whose strength is known, together, % w/w, to 6 places.
    async fn active_percent(&self) -> Result<Decimal> {
        dose(&self.side.active)
    }

    /// What it costs.
    async fn cost(&self) -> &Figures {
        &self.figures
    }

    /// Part of the cost per kg that is the cost of making the batch, to 6 places.
    async fn making_per_kg(&self) -> Money {
        self.making
    }
}

/// One material of two versions.
pub struct VersionsRow {
    row: SideRow,
    currency: Currency,
}

impl VersionsRow {
    fn money(&self, value: Option<&Exact>) -> Result<Option<Money>> {
        value.map(|value| Money::rounded(value, PER_KG_PLACES, self.currency)).transpose()
    }
}

/// One material of two versions; what a side does not hold is null there.
#[Object]
impl VersionsRow {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.row.material.id)
    }

    /// What happened to it: SAME when its dose is the same, whatever it costs.
    async fn change(&self) -> CostLineChange {
        self.row.change.into()
    }

    /// The phases it stands in before.
    async fn phases_before(&self) -> &[String] {
        &self.row.phases_before
    }

    /// The phases it stands in after.
    async fn phases_after(&self) -> &[String] {
        &self.row.phases_after
    }

    /// Dose before, % w/w as supplied, to 6 places.
    async fn dose_before_percent(&self) -> Result<Option<Decimal>> {
        self.row.dose_before.as_ref().map(dose).transpose()
    }

    /// Dose after, % w/w as supplied, to 6 places.
    async fn dose_after_percent(&self) -> Result<Option<Decimal>> {
        self.row.dose_after.as_ref().map(dose).transpose()
    }

    /// What the dose changes by, % of the dose before, to 2 places; null where one side has none.
    async fn dose_change_percent(&self) -> Result<Option<Decimal>> {
        percent(self.row.dose_change_share.as_ref())
    }

    /// Active matter before, % w/w, to 6 places; null where the strength is not known.
    async fn active_before_percent(&self) -> Result<Option<Decimal>> {
        self.row.active_before.as_ref().map(dose).transpose()
    }

    /// Active matter after, % w/w, to 6 places; null where the strength is not known.
    async fn active_after_percent(&self) -> Result<Option<Decimal>> {
        self.row.active_after.as_ref().map(dose).transpose()
    }

    /// What it adds to the cost of one kg of good output before, to 6 places; null where that is not known.
    async fn cost_before(&self) -> Result<Option<Money>> {
        self.money(self.row.cost_before.as_ref())
    }

    /// What it adds to the cost of one kg of good output after, to 6 places; null where that is not known.
    async fn cost_after(&self) -> Result<Option<Money>> {
        self.money(self.row.cost_after.as_ref())
    }
}

/// Something of the head of a version that is written otherwise.
#[derive(SimpleObject)]
pub struct HeaderChange {
    /// What.
    pub what: String,
    /// Before, for a person.
    pub before: String,
    /// After, for a person.
    pub after: String,
}
