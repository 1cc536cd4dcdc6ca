//! The end of a ticket: what it is examined for, what every kilogram became, and what of it nobody can name.

use async_graphql::{Context, Enum, SimpleObject};
use domain::finishing as d;

use crate::{
    amounts::{Quantity, kg},
    errors::Result,
    materials::{Material, material_of},
    scalars::{Date, DateTime, Decimal},
};

/// What became of material that did not go on.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "d::Bucket")]
pub enum LossBucket {
    /// Stayed in vessel, pump, hoses and filters.
    Heel,
    /// Left as vapour.
    Evaporated,
    /// Taken to be examined.
    Samples,
    /// Kept back as samples of the batch.
    Retains,
    /// Run through hoses and filler before the first good unit.
    Purge,
    /// Spilled or thrown away.
    Waste,
}

/// When something did not go on.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "d::Stage")]
pub enum LossStage {
    /// Between charging and the bulk.
    Making,
    /// Between the bulk and the last unit.
    Filling,
}

/// What a batch is examined for.
#[derive(SimpleObject)]
pub struct CheckLimit {
    /// pH, viscosity, appearance.
    pub name: String,
    /// The least a figure may be.
    pub lower: Option<Decimal>,
    /// The most.
    pub upper: Option<Decimal>,
    /// The unit of the figure.
    pub unit: Option<String>,
    /// How it is looked at: instrument, temperature, standard.
    pub method: Option<String>,
    /// Whether it is still asked for.
    pub asked: bool,
    /// Who approved it.
    pub approved_by: String,
    /// When; tickets written from then on are held to it.
    pub approved_at: DateTime,
}

impl From<d::CheckLimit> for CheckLimit {
    fn from(limit: d::CheckLimit) -> Self {
        Self {
            name: limit.name,
            lower: limit.lower.map(Decimal),
            upper: limit.upper.map(Decimal),
            unit: limit.unit,
            method: limit.method,
            asked: limit.asked,
            approved_by: limit.approved_by,
            approved_at: DateTime(limit.approved_at),
        }
    }
}

/// A result entered on a ticket; the latest of a name counts.
#[derive(SimpleObject)]
pub struct BatchCheck {
    /// pH, viscosity, appearance.
    pub name: String,
    /// The result, where it is a figure.
    pub figure: Option<Decimal>,
    /// The result, where it is words.
    pub words: Option<String>,
    /// The unit of the figure.
    pub unit: Option<String>,
    /// Whether it was met.
    pub passed: bool,
    /// The least it could have been.
    pub lower: Option<Decimal>,
    /// The most.
    pub upper: Option<Decimal>,
    /// With what it was measured.
    pub instrument: Option<String>,
    /// Why it is accepted though it was not met.
    pub accepted: Option<String>,
    /// Who.
    pub by: String,
    /// When.
    pub at: DateTime,
}

impl From<d::BatchCheck> for BatchCheck {
    fn from(check: d::BatchCheck) -> Self {
        Self {
            name: check.name,
            figure: check.figure.map(Decimal),
            words: check.words,
            unit: check.unit,
            passed: check.passed,
            lower: check.lower.map(Decimal),
            upper: check.upper.map(Decimal),
            instrument: check.instrument,
            accepted: check.accepted,
            by: check.by,
            at: DateTime(check.at),
        }
    }
}

/// An amount that did not go on, by its name.
#[derive(SimpleObject)]
pub struct BatchLoss {
    /// When.
    pub stage: LossStage,
    /// What became of it.
    pub bucket: LossBucket,
    /// How much, kg.
    pub amount_kg: Decimal,
    /// Who entered it.
    pub by: String,
    /// When it was entered.
    pub at: DateTime,
}

/// What became of every kilogram of a batch: charged = bulk + lost in making + unaccounted in making, and
/// bulk = filled + lost in filling + left + unaccounted in filling.
#[derive(SimpleObject)]
pub struct BatchAccount {
    /// What was charged, kg.
    pub charged_kg: Decimal,
    /// What came out as bulk, kg.
    pub bulk_kg: Decimal,
    /// What did not go on, by its name.
    pub lost: Vec<BatchLoss>,
    /// What left the bulk into units, kg.
    pub filled_kg: Decimal,
    /// Bulk that is still there, or went into something else than this ticket's units, kg.
    pub left_kg: Decimal,
    /// Charged, and neither bulk nor named, kg; below nought when more came out than is explained.
    pub unaccounted_in_making_kg: Decimal,
    /// Bulk that is neither filled, named nor left, kg.
    pub unaccounted_in_filling_kg: Decimal,
    /// Both together, % of what was charged, to 4 places; null when nothing was charged.
    pub unaccounted_percent: Option<Decimal>,
    /// Bulk out of what was charged, %, to 4 places.
    pub bulk_yield_percent: Option<Decimal>,
}

impl BatchAccount {
    fn of(account: d::Account) -> Result<Self> {
        let percent = |mass: kernel::Mass| {
            account.percent_of_charged(mass).map(|percent| Decimal::rounded(&percent, 4)).transpose()
        };
        Ok(Self {
            charged_kg: kg(account.charged),
            bulk_kg: kg(account.bulk),
            filled_kg: kg(account.filled),
            left_kg: kg(account.left),
            unaccounted_in_making_kg: kg(account.unaccounted_in_making()),
            unaccounted_in_filling_kg: kg(account.unaccounted_in_filling()),
            unaccounted_percent: percent(account.unaccounted())?,
            bulk_yield_percent: percent(account.bulk)?,
            lost: account
                .lost
                .into_iter()
                .map(|lost| BatchLoss {
                    stage: lost.stage.into(),
                    bucket: lost.bucket.into(),
                    amount_kg: kg(lost.amount),
                    by: lost.by,
                    at: DateTime(lost.at),
                })
                .collect(),
        })
    }
}

/// What else is known of a filling.
#[derive(SimpleObject)]
pub struct FillingRecord {
    /// Which filling of the ticket: 1, 2, 3.
    pub position: u32,
    /// What left the bulk for it, kg.
    pub drawn_kg: Decimal,
    /// Units filled and not good.
    pub rejected: Quantity,
    /// The business day.
    pub on: Date,
    /// Who.
    pub by: String,
    /// When it was entered.
    pub at: DateTime,
    /// Its components, each reconciled.
    pub components: Vec<ComponentUse>,
}

/// What became of the pieces of a component on one filling.
#[derive(SimpleObject)]
pub struct ComponentUse {
    /// The component.
    pub material: Material,
    /// Brought to the line; null where nobody counted.
    pub issued: Option<Quantity>,
    /// On good and rejected units.
    pub used: Quantity,
    /// Spoiled on the line.
    pub spoiled: Quantity,
    /// Taken back to its lot.
    pub returned: Quantity,
    /// Neither used, spoiled nor returned; below nought when there are more than were brought.
    pub missing: Quantity,
}

/// How the end of a ticket stands.
#[derive(SimpleObject)]
pub struct TicketFinish {
    /// What it has to be examined for.
    pub limits: Vec<CheckLimit>,
    /// The results, in the order they were entered.
    pub checks: Vec<BatchCheck>,
    /// What stands against passing it on, in words.
    pub checks_open: Vec<String>,
    /// Its fillings in full.
    pub fillings: Vec<FillingRecord>,
    /// The account, once its bulk is made: as it was closed, or as it stands.
    pub account: Option<BatchAccount>,
    /// The reason that was given for what nobody can name.
    pub reason: Option<String>,
}

impl TicketFinish {
    pub(crate) fn of(ctx: &Context<'_>, finish: app::TicketFinish) -> Result<Self> {
        let pieces = |count: kernel::Count| Quantity(kernel::Quantity::Count(count));
        let component = |used: d::ComponentUse| -> Result<ComponentUse> {
            Ok(ComponentUse {
                material: material_of(ctx, used.material)?,
                missing: pieces(kernel::Count::from_thousandths(used.missing())),
                issued: used.issued.map(pieces),
                used: pieces(used.used),
                spoiled: pieces(used.spoiled),
                returned: pieces(used.returned),
            })
        };
        let filling = |record: d::FillingRecord| -> Result<FillingRecord> {
            Ok(FillingRecord {
                position: record.position,
                drawn_kg: kg(record.drawn),
                rejected: pieces(record.rejected),
                on: Date(record.on),
                by: record.by,
                at: DateTime(record.at),
                components: record.components.into_iter().map(component).collect::<Result<_>>()?,
            })
        };
        Ok(Self {
            limits: finish.limits.into_iter().map(Into::into).collect(),
            checks: finish.checks.into_iter().map(Into::into).collect(),
            checks_open: finish.checks_open,
            fillings: finish.fillings.into_iter().map(filling).collect::<Result<_>>()?,
            account: finish.account.map(BatchAccount::of).transpose()?,
            reason: finish.reason,
        })
    }
}
