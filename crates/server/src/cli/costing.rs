//! Options of commands about costs.

use chrono::NaiveDate;
use clap::{Args, Subcommand};
use engine::{
    OrderBasis,
    basis::Basis,
    pricing::{Deduction, Earning},
};
use kernel::{Mass, Money, Percent, Quantity};

use super::{
    SubjectArgs,
    values::{self, StatedOrderName},
};

/// What is costed, and how.
#[derive(Debug, Clone, Args)]
pub struct CostingArgs {
    /// What.
    #[command(flatten)]
    pub subject: SubjectArgs,

    /// The batch it is made in, everything charged: '200 kg' [default: the formula's usual batch]
    #[arg(long, value_name = "MASS", value_parser = values::mass)]
    pub batch: Option<Mass>,

    /// Prices, rates and approved versions of this day [default: today]
    #[arg(long, value_name = "DATE", value_parser = values::date)]
    pub as_of: Option<NaiveDate>,

    /// Which price: replacement (the quotation), last-purchase, moving-average, fifo or standard
    #[arg(long, value_name = "BASIS", value_parser = values::basis, default_value = "replacement")]
    pub basis: Basis,

    /// How it is ordered.
    #[command(flatten)]
    pub order: OrderArgs,
}

/// How much of each material is ordered at once, which decides pack and price break.
#[derive(Debug, Clone, Args)]
pub struct OrderArgs {
    /// How much of each material is ordered at once: 'batch', '3 batches', 'year', '4 orders a year'
    ///
    /// The pack and the price break follow from it. 'year' is twelve orders a year. [default: batch]
    #[arg(long, value_name = "TEXT", value_parser = values::order)]
    pub order: Option<OrderBasis>,

    /// An order of one material, whatever --order says: 'SLES70 880 kg'
    #[arg(long, value_name = "CODE QUANTITY", value_parser = values::stated_order)]
    pub stated_order: Vec<StatedOrderName>,
}

/// Options of `cost`.
#[derive(Debug, Clone, Args)]
pub struct CostArgs {
    /// What, and how.
    #[command(flatten)]
    pub costing: CostingArgs,

    /// Every offer that was looked at beneath its line, with why it was taken or not
    #[arg(long)]
    pub offers: bool,

    /// All five bases beside each other
    #[arg(long, conflicts_with_all = ["basis", "order", "stated_order", "offers"])]
    pub all_bases: bool,
}

/// Options of `compare`.
#[derive(Debug, Clone, Args)]
pub struct CompareArgs {
    /// The first cost.
    #[command(flatten)]
    pub costing: CostingArgs,

    /// The second cost, as far as it is another.
    #[command(flatten)]
    pub other: OtherArgs,
}

/// The second of two costs.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "The second cost, where it is another than the first")]
pub struct OtherArgs {
    /// Another pack
    #[arg(long, value_name = "CODE")]
    pub to_pack: Option<String>,

    /// Another formula or version; with a pack, the version filled into it
    #[arg(long, value_name = "CODE[@VERSION]", value_parser = values::formula_name)]
    pub to_formula: Option<values::FormulaName>,

    /// Another batch: '400 kg'
    #[arg(long, value_name = "MASS", value_parser = values::mass)]
    pub to_batch: Option<Mass>,

    /// Another day
    #[arg(long, value_name = "DATE", value_parser = values::date)]
    pub to_as_of: Option<NaiveDate>,

    /// Another basis
    #[arg(long, value_name = "BASIS", value_parser = values::basis)]
    pub to_basis: Option<Basis>,

    /// Another way of ordering
    #[arg(long, value_name = "TEXT", value_parser = values::order)]
    pub to_order: Option<OrderBasis>,
}

/// What a cost depends on.
#[derive(Debug, Subcommand)]
pub enum VaryCommand {
    /// Other doses of one line, the q.s. line (or another) taking up the difference, with limits marked
    #[command(after_long_help = "Example:\n  \
        stillroom vary dose --pack HW-500 --line 3 --from 8% --to 16% --points 9")]
    Dose {
        /// What, and how.
        #[command(flatten)]
        costing: CostingArgs,

        /// The position of the line in the formula
        #[arg(long, value_name = "N")]
        line: u32,

        /// The position of the line that takes up the difference [default: the q.s. line]
        #[arg(long, value_name = "N")]
        against: Option<u32>,

        /// The first dose, w/w as supplied [default: nought]
        #[arg(long, value_name = "PERCENT", value_parser = values::percent, requires = "to")]
        from: Option<Percent>,

        /// The last dose [default: twice the dose, as far as the other line reaches]
        #[arg(long, value_name = "PERCENT", value_parser = values::percent, requires = "from")]
        to: Option<Percent>,

        /// How many points, evenly spread, besides the dose as it is
        #[arg(long, value_name = "N", default_value_t = 11)]
        points: u32,
    },

    /// Each driver low and high, the widest swing first: prices, doses, losses, overfill, batch, exchange rates
    Drivers {
        /// What, and how.
        #[command(flatten)]
        costing: CostingArgs,

        /// Prices either way
        #[arg(long, value_name = "PERCENT", value_parser = values::percent, default_value = "10%")]
        prices: Percent,

        /// Doses either way, of the dose
        #[arg(long, value_name = "PERCENT", value_parser = values::percent, default_value = "10%")]
        doses: Percent,

        /// The position of the line that takes up the difference [default: the q.s. line]
        #[arg(long, value_name = "N")]
        against: Option<u32>,

        /// Process loss either way, in points
        #[arg(long, value_name = "PERCENT", value_parser = values::percent, default_value = "1%")]
        process_loss: Percent,

        /// Overfill either way, in points
        #[arg(long, value_name = "PERCENT", value_parser = values::percent, default_value = "1%")]
        overfill: Percent,

        /// Exchange rates either way
        #[arg(long, value_name = "PERCENT", value_parser = values::percent, default_value = "10%")]
        rates: Percent,
    },

    /// Other batches, and the smallest one that meets a cost
    #[command(after_long_help = "Example:\n  \
        stillroom vary batch --pack HW-500 --size '100 kg' --size '200 kg' --target 1.20")]
    Batch {
        /// What, and how.
        #[command(flatten)]
        costing: CostingArgs,

        /// A batch to look at; may be given several times [default: a quarter to four times the usual one]
        #[arg(long, value_name = "MASS", value_parser = values::mass)]
        size: Vec<Mass>,

        /// A cost per unit (per kg of a formula) in the house's currency to find the batch for
        #[arg(long, value_name = "MONEY", value_parser = values::money)]
        target: Option<Money>,
    },

    /// How many units have to be sold before what does not depend on them is earned
    Volume {
        /// What, and how.
        #[command(flatten)]
        costing: CostingArgs,

        /// What has to be paid whatever is sold, in the house's currency: '12000 GBP'
        #[arg(long, value_name = "MONEY", value_parser = values::money)]
        fixed: Money,
    },
}

/// Prices from costs, and costs from prices.
#[derive(Debug, Subcommand)]
pub enum PriceCommand {
    /// From a shelf price back to what one unit, and one kg of its liquid, may cost, with headroom
    #[command(after_long_help = "Example:\n  \
        stillroom price design --pack HW-500 --shelf '4.00 GBP' --tax 20% --retailer 'margin 40%' --own 'margin 45%'")]
    Design {
        /// What, and how.
        #[command(flatten)]
        costing: CostingArgs,

        /// The shelf price of one unit, tax included, in the house's currency
        #[arg(long, value_name = "MONEY", value_parser = values::money)]
        shelf: Money,

        /// Who takes what.
        #[command(flatten)]
        chain: ChainArgs,
    },

    /// From the cost of one unit up to the shelf
    Ladder {
        /// What, and how.
        #[command(flatten)]
        costing: CostingArgs,

        /// Who takes what.
        #[command(flatten)]
        chain: ChainArgs,
    },
}

/// Who takes what between the maker and the shelf.
#[derive(Debug, Clone, Args)]
pub struct ChainArgs {
    /// Tax on top of the price without it; 0% where shelf prices are without tax
    #[arg(long, value_name = "PERCENT", value_parser = values::percent)]
    pub tax: Percent,

    /// What the retailer earns: 'margin 40%' of the price, or 'markup 66%' of the cost [default: there is none]
    #[arg(long, value_name = "TEXT", value_parser = values::earning)]
    pub retailer: Option<Earning>,

    /// What the channel takes off the list price: 'rebate 3%', or 'cash discount 2% of what is left'; may be given several times
    #[arg(long, value_name = "TEXT", value_parser = values::deduction)]
    pub deduct: Vec<Deduction>,

    /// What the maker earns: 'margin 45%' or 'markup 80%'
    #[arg(long, value_name = "TEXT", value_parser = values::earning)]
    pub own: Earning,
}

/// Options of `swap`.
#[derive(Debug, Clone, Args)]
pub struct SwapArgs {
    /// What, and how.
    #[command(flatten)]
    pub costing: CostingArgs,

    /// What stands in the formula now, by its code
    #[arg(long, value_name = "CODE")]
    pub old: String,

    /// What is to stand there instead, by its code
    #[arg(long, value_name = "CODE")]
    pub new: String,

    /// The position of the line that takes up the difference [default: the q.s. line]
    #[arg(long, value_name = "N")]
    pub against: Option<u32>,
}

/// Options of `offers`.
#[derive(Debug, Clone, Args)]
pub struct OffersArgs {
    /// A material, by its code; may be given several times
    #[arg(long, value_name = "CODE", required = true)]
    pub material: Vec<String>,

    /// Active matter that every order has to cover: '100 kg'
    #[arg(long, value_name = "MASS", value_parser = values::mass)]
    pub active: Mass,

    /// The day [default: today]
    #[arg(long, value_name = "DATE", value_parser = values::date)]
    pub on: Option<NaiveDate>,
}

/// Options of `fill`.
#[derive(Debug, Clone, Args)]
pub struct FillArgs {
    /// A pack, by its code
    #[arg(long, value_name = "CODE")]
    pub pack: String,

    /// The standard deviation of the fill, as mass or volume like the pack: '4 mL'
    #[arg(long, value_name = "QUANTITY", value_parser = values::quantity)]
    pub spread: Quantity,

    /// To be filled on top, for drift: '1 mL' [default: nothing]
    #[arg(long, value_name = "QUANTITY", value_parser = values::quantity)]
    pub allowance: Option<Quantity>,
}

/// Options of `put-right`.
#[derive(Debug, Clone, Args)]
pub struct PutRightArgs {
    /// A formula and its version: CODE@2
    #[arg(long, value_name = "CODE[@VERSION]", value_parser = values::formula_name)]
    pub formula: values::FormulaName,

    /// The position of the line that takes the difference [default: what is drawn, else the largest]
    #[arg(long, value_name = "N")]
    pub against: Option<u32>,

    /// Prices of this day [default: today]
    #[arg(long, value_name = "DATE", value_parser = values::date)]
    pub as_of: Option<NaiveDate>,
}
