//! Scenarios: assumed changes, as people write them down, keep them and ask them again.
//!
//! In JSON each change is an object whose `change` says what kind it is; names are kebab-case and stay as they are, for stored
//! scenarios and files are read again later. Things are named by their identities, figures are decimal strings.

mod edits;
mod laying;

use chrono::NaiveDate;
use domain::quotations::{DutyOn, FreightPer};
use kernel::{
    Currency, Mass, Percent, Quantity, Rate, UnitPrice,
    ids::{FormulaId, FormulaVersionId, LotId, MaterialId, PackId, QuotationId, SupplierId, TicketId},
};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::run_check::RunAmount;

pub(crate) use edits::Edited;
pub(crate) use laying::{AssumedRun, EndOfSupply, Laid, Recalled, in_stock, lay};

/// A list of assumed changes. They are laid over the catalogue and the shelf in their order; nothing is written.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Scenario {
    /// What it is called.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The changes; at most [`kernel::limits::SCENARIO_CHANGES_MAX`].
    #[serde(default)]
    pub changes: Vec<Change>,
    /// The least margin a pack should leave; packs below it are marked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub margin_floor: Option<Percent>,
}

/// One assumed difference.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "change", rename_all = "kebab-case", rename_all_fields = "kebab-case", deny_unknown_fields)]
pub enum Change {
    /// Prices become others than quoted. Freight stays.
    Price {
        /// Whose prices.
        of: PriceOf,
        /// How they change.
        by: PriceBy,
        /// From which day on; always, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<NaiveDate>,
    },
    /// An exchange rate becomes another. The opposite pair changes with it.
    ExchangeRate {
        /// The currency given.
        give: Currency,
        /// The currency got for it.
        get: Currency,
        /// How it changes.
        by: RateBy,
        /// From which day on; always, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<NaiveDate>,
    },
    /// A lot's expiry date becomes another; it may be used on that day.
    LotExpires {
        /// The lot.
        lot: LotId,
        /// Its last day by expiry.
        on: NaiveDate,
    },
    /// A lot is rejected.
    LotRejected {
        /// The lot.
        lot: LotId,
        /// The first day it may not be used.
        on: NaiveDate,
    },
    /// A lot is set aside.
    LotOnHold {
        /// The lot.
        lot: LotId,
        /// The first day it may not be used.
        on: NaiveDate,
    },
    /// Nobody delivers a material before a day. What is on the shelf stays usable.
    MaterialUnavailable {
        /// The material.
        material: MaterialId,
        /// The first day it is delivered again.
        until: NaiveDate,
    },
    /// One more run is planned.
    PlannedRun {
        /// What is made.
        of: RunOf,
        /// How much.
        amount: RunAmount,
        /// The day.
        on: NaiveDate,
    },
    /// A delivery arrives; it can be used after the material's inspection time.
    Delivery {
        /// The material.
        material: MaterialId,
        /// How much: kg or pieces, or a volume of a material whose density is known.
        #[serde(with = "quantity_text")]
        quantity: Quantity,
        /// The day it arrives.
        on: NaiveDate,
        /// Its last day of use.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        expires_on: Option<NaiveDate>,
    },
    /// Freight becomes another than quoted.
    Freight {
        /// Whose freight.
        of: PriceOf,
        /// How it changes.
        by: FreightBy,
        /// From which day on; always, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<NaiveDate>,
    },
    /// Import duty becomes another than entered.
    Duty {
        /// Whose duty.
        of: PriceOf,
        /// To so much.
        to: Percent,
        /// Of what; as entered, or of the price, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        on: Option<DutyOn>,
        /// From which day on; always, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<NaiveDate>,
    },
    /// One charge more than is entered.
    Surcharge {
        /// Whose orders bear it.
        of: PriceOf,
        /// What it is for.
        name: String,
        /// How much.
        amount: UnitPrice,
        /// Of what.
        per: ChargePer,
        /// From which day on; always, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<NaiveDate>,
    },
    /// A line holds another dose, and another line takes the difference.
    Dose {
        /// The version.
        version: FormulaVersionId,
        /// The line's position.
        line: u32,
        /// % w/w as supplied.
        to: Percent,
        /// The line that takes the difference; the q.s. line, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        against: Option<u32>,
    },
    /// One material stands in the place of another.
    Substitute {
        /// What stands there now.
        old: MaterialId,
        /// What is to stand there.
        new: MaterialId,
        /// kg or pieces of the new one for one of the old; one for one, when it is not said. Where it is not one for one, the q.s. line
        /// takes the difference.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        factor: Option<Decimal>,
        /// In one formula; everywhere, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        within: Option<FormulaId>,
    },
    /// The usual batch of a formula becomes another.
    BatchSize {
        /// The formula.
        formula: FormulaId,
        /// Everything charged, kg.
        to: Mass,
    },
    /// What is filled beyond the declared quantity becomes another.
    Overfill {
        /// The pack.
        pack: PackId,
        /// % of the declared quantity.
        to: Percent,
    },
    /// The process loss of a formula becomes another.
    ProcessLoss {
        /// The formula.
        formula: FormulaId,
        /// % of what is charged.
        to: Percent,
    },
    /// A rate of the house becomes another: wages, machine hours, overheads.
    HouseRate {
        /// Its name.
        name: String,
        /// How it changes.
        by: HouseRateBy,
        /// From which day on; always, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<NaiveDate>,
    },
    /// Expected sales become others.
    SalesVolume {
        /// The pack; all packs, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pack: Option<PackId>,
        /// How they change.
        by: VolumeBy,
    },
    /// A supplier stops selling.
    SupplierEnds {
        /// The supplier.
        supplier: SupplierId,
        /// The one material that ends; everything, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        material: Option<MaterialId>,
        /// The last day something can be ordered.
        on: NaiveDate,
        /// The day a replacement is ready; what is bought last has to reach so far.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        replaced_on: Option<NaiveDate>,
    },
    /// A lot is called back: neither it nor what was made with it may be used.
    LotRecalled {
        /// The lot.
        lot: LotId,
        /// The first day it may not be used.
        on: NaiveDate,
    },
    /// A lot holds another amount than is entered: a short delivery, a leak.
    LotHolds {
        /// The lot.
        lot: LotId,
        /// What it holds.
        #[serde(with = "quantity_text")]
        quantity: Quantity,
    },
    /// Deliveries of a material come late: lots that are not there yet, deliveries assumed before this change, and what would be ordered.
    DeliveryLate {
        /// The material.
        material: MaterialId,
        /// Days.
        days: u32,
    },
    /// A planned run is moved.
    RunMoved {
        /// Its ticket.
        ticket: TicketId,
        /// The day it is made instead.
        to: NaiveDate,
    },
    /// A material is still used at the old price for a while.
    OldPrice {
        /// The material.
        material: MaterialId,
        /// For how long.
        cover: OldPriceCover,
    },
}

/// How freight changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FreightBy {
    /// Up by so many percent, or down below nought.
    Percent(Percent),
    /// To this.
    To {
        /// How much.
        amount: UnitPrice,
        /// Of what.
        per: ChargePer,
    },
}

/// What freight or a surcharge is charged by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ChargePer {
    /// Each so much: 1 kg, 1000 pcs.
    Quantity(#[serde(with = "quantity_text")] Quantity),
    /// Each pack.
    Pack,
    /// Each shipment, that is each order.
    Shipment,
}

impl From<ChargePer> for FreightPer {
    fn from(per: ChargePer) -> Self {
        match per {
            ChargePer::Quantity(quantity) => Self::Quantity(quantity),
            ChargePer::Pack => Self::Pack,
            ChargePer::Shipment => Self::Order,
        }
    }
}

/// How a rate of the house changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HouseRateBy {
    /// Up by so many percent, or down below nought.
    Percent(Percent),
    /// To so much an hour or batch.
    To(UnitPrice),
}

/// How expected sales change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum VolumeBy {
    /// Up by so many percent, or down below nought; rounded down to whole units.
    Percent(Percent),
    /// To so many units a year.
    Units(u64),
}

/// For how long a material is still used at the old price.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum OldPriceCover {
    /// So many days from the day the price changes, whatever is on the shelf.
    Days(u32),
    /// So much is on order at a protected price, beside what is on the shelf.
    Ordered(#[serde(with = "quantity_text")] Quantity),
}

/// Whose prices.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PriceOf {
    /// One quotation.
    Quotation(QuotationId),
    /// Every quotation of a material.
    Material(MaterialId),
    /// Every quotation of a supplier.
    Supplier(SupplierId),
    /// One pack size of a material, whoever offers it.
    #[serde(rename_all = "kebab-case")]
    Pack {
        /// The material.
        material: MaterialId,
        /// The pack.
        #[serde(with = "quantity_text")]
        pack: Quantity,
    },
    /// One pack size of one quotation.
    #[serde(rename_all = "kebab-case")]
    Offer {
        /// The quotation.
        quotation: QuotationId,
        /// The pack.
        #[serde(with = "quantity_text")]
        pack: Quantity,
        /// One price break of it, the pack itself naming the price from one pack; all of them, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "optional_quantity_text")]
        price_break: Option<Quantity>,
    },
    /// Every quotation in one currency.
    Currency(Currency),
}

/// How prices change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PriceBy {
    /// Up by so many percent, or down below nought.
    Percent(Percent),
    /// To a price.
    Price {
        /// The price.
        price: UnitPrice,
        /// What it is of: 1 kg, 1000 pcs.
        #[serde(with = "quantity_text")]
        per: Quantity,
    },
}

/// How a rate changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RateBy {
    /// Up by so many percent, or down below nought.
    Percent(Percent),
    /// To a rate.
    Rate(Rate),
}

/// What an assumed run makes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RunOf {
    /// A pack, filled with the version approved on the day.
    Pack(PackId),
    /// A version.
    Version(FormulaVersionId),
}

/// Quantities with their unit in one text, `25 kg`.
mod quantity_text {
    use kernel::{DecimalMark, Quantity};
    use serde::{Deserialize, Deserializer, Serializer, de::Error as _};

    pub fn serialize<S: Serializer>(quantity: &Quantity, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(quantity)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Quantity, D::Error> {
        let text = String::deserialize(deserializer)?;
        Quantity::parse(&text, None, DecimalMark::Point).map_err(D::Error::custom)
    }
}

/// The same where there may be none.
mod optional_quantity_text {
    use kernel::Quantity;
    use serde::{Deserialize, Deserializer, Serializer};

    #[derive(Deserialize)]
    struct Text(#[serde(with = "super::quantity_text")] Quantity);

    #[expect(clippy::ref_option, reason = "the signature serde calls with")]
    pub fn serialize<S: Serializer>(quantity: &Option<Quantity>, serializer: S) -> Result<S::Ok, S::Error> {
        match quantity {
            Some(quantity) => super::quantity_text::serialize(quantity, serializer),
            None => serializer.serialize_none(),
        }
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Quantity>, D::Error> {
        Ok(Option::<Text>::deserialize(deserializer)?.map(|text| text.0))
    }
}
