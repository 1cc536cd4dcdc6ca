//! The command line as it is written and explained.

pub mod costing;
pub mod values;

use chrono::NaiveDate;
use clap::{Args, Parser, Subcommand, ValueEnum};
use domain::people::Capability;
use engine::basis::Basis;
use kernel::{DecimalMark, Mass};
use std::{collections::BTreeSet, net::SocketAddr, path::PathBuf};

pub use costing::{
    CompareArgs, CostArgs, FillArgs, OffersArgs, PriceCommand, PutRightArgs, SwapArgs, VaryCommand,
};

/// Costs, stock and batch tickets for small makers of liquid products.
#[derive(Debug, Parser)]
#[command(
    name = "stillroom",
    version,
    about,
    long_about = "Stillroom keeps the formulas, quotations, packs and stock of a small maker of liquid products, and answers:\n\
        what does a bottle cost and where does each figure come from, can this run be made on Thursday and from which lots,\n\
        what has to be bought, and what would a price rise, an expiry or a recall do.\n\n\
        Amounts are exact decimals throughout; what nobody has entered is named as a gap and never counted as nought.",
    after_long_help = "Examples:\n  \
        stillroom demo                                   look around with an invented maker's data\n  \
        stillroom import sheets/                         take in your own files, all of them or none\n  \
        stillroom cost --pack HW-500                     what one bottle costs, line by line\n  \
        stillroom check --pack HW-500 --units 300 --on 2026-12-03\n  \
        stillroom what-if --price 'supplier ELB +8% from 2026-12-01'\n\n\
        Exit codes: 0 done; 1 refused, or a check that says no; 2 wrong use or bad input; 3 a fault.",
    max_term_width = 110
)]
pub struct Cli {
    /// What holds for every command.
    #[command(flatten)]
    pub global: GlobalOptions,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What holds for every command.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Options of every command")]
pub struct GlobalOptions {
    /// Where things are kept: sqlite://PATH (made when absent) or postgres://USER@HOST/NAME
    ///
    /// [default: sqlite://stillroom.db in the current folder; the demo has a file of its own]
    #[arg(long, global = true, env = "STILLROOM_DATABASE", hide_env_values = true, value_name = "URL")]
    pub database: Option<String>,

    /// The house's currency, ISO 4217: stock is valued and costs are given in it
    ///
    /// It is fixed in a database when that is first used. [default: what the database holds, else GBP]
    #[arg(long, global = true, env = "STILLROOM_CURRENCY", value_name = "CODE")]
    pub currency: Option<String>,

    /// The site's time zone, an IANA name: business days are days in it [default: UTC]
    #[arg(long, global = true, env = "STILLROOM_TIME_ZONE", value_name = "NAME")]
    pub time_zone: Option<String>,

    /// Take another day for today; only for trying things out
    #[arg(long, global = true, env = "STILLROOM_TODAY", value_name = "DATE")]
    pub today: Option<String>,

    /// Answer in JSON, for programs; decimals are strings, and errors are JSON too
    #[arg(long, global = true)]
    pub json: bool,

    /// What to log to standard error: error, warn, info, debug, trace, or a filter such as info,store=debug
    #[arg(long, global = true, env = "STILLROOM_LOG", value_name = "FILTER", default_value = "info")]
    pub log: String,

    /// How to log: lines for people, or JSON
    #[arg(long, global = true, env = "STILLROOM_LOG_FORMAT", value_name = "FORMAT", default_value = "text")]
    pub log_format: LogFormat,
}

/// How log lines are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LogFormat {
    /// Lines for people.
    Text,
    /// One JSON object a line.
    Json,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Answer questions and take changes over HTTP (GraphQL)
    #[command(
        long_about = "Brings the database up to date and listens. The addresses are:\n  \
            /graphql          the API: POST, and GET for questions\n  \
            /explorer         a page to try it on\n  \
            /schema.graphql   the API in writing\n  \
            /healthz /readyz  for whoever watches over it\n\n\
            Requests need a token (see `stillroom token create`), sent as `Authorization: Bearer …`. Without any token in the\n\
            database it refuses to start, unless --open-demo is given, the address is a loopback one, and the database holds\n\
            the demo.",
        after_long_help = "Examples:\n  \
            stillroom token create --name bench --may look,plan-and-make\n  \
            stillroom serve --listen 127.0.0.1:7310"
    )]
    Serve(ServeArgs),

    /// Look around with an invented maker's data
    #[command(
        long_about = "Loads an invented maker (materials, suppliers, quotations, formulas, packs, lots, and a quarter's history of\n\
            tickets) into a database of its own, once; all dates are moved so that its story ends today. Then it prints what\n\
            one bottle of hand wash costs, with where each figure comes from, and serves openly on a loopback address until\n\
            it is stopped by Ctrl-C.",
        after_long_help = "Examples:\n  \
            stillroom demo\n  \
            stillroom demo --check                           load, print, and stop\n  \
            stillroom demo --write-sheets my-sheets          its files, to edit and to import yourself"
    )]
    Demo(DemoArgs),

    /// Take in your own files: materials, suppliers, quotations, rates, lots, formulas, packs
    #[command(
        long_about = "Reads a folder of .csv and .xlsx files, or a single file. Everything is checked first, and every problem is told\n\
            by file, row and column; then all of it is written, or nothing. Reading the same files again changes nothing.\n\
            The headings are described in docs/SHEETS.md.",
        after_long_help = "Examples:\n  \
            stillroom import sheets/ --dry-run               check only\n  \
            stillroom import sheets/\n  \
            stillroom import prix.csv --sheet quotations --decimal comma"
    )]
    Import(ImportArgs),

    /// What a formula or a pack costs, line by line, and where each figure comes from
    #[command(after_long_help = "Examples:\n  \
        stillroom cost --pack HW-500\n  \
        stillroom cost --formula HW-01@2 --batch '300 kg' --as-of 2026-10-01\n  \
        stillroom cost --pack HW-500 --order '4 orders a year' --offers")]
    Cost(CostArgs),

    /// Why two costs differ, line by line and by cause: versions, days, batches, bases, orders, packs
    #[command(
        long_about = "Works out two costs and says why they differ: line by line, split into what comes from the amount and what comes from\n\
            the price, and by cause. Lines and causes add up to the difference as printed. What is not said of the second cost\n\
            is as in the first.",
        after_long_help = "Examples:\n  \
            stillroom compare --pack HW-500 --as-of 2026-09-01 --to-as-of 2026-11-25\n  \
            stillroom compare --formula HW-01@2 --to-formula HW-01@3\n  \
            stillroom compare --pack HW-500 --to-basis moving-average"
    )]
    Compare(CompareArgs),

    /// What a cost depends on: doses, every driver ranked, the size of the batch, the volume sold
    #[command(subcommand)]
    Vary(VaryCommand),

    /// Prices from costs, and costs from prices: margin and markup, tax, what the channel takes
    #[command(subcommand)]
    Price(PriceCommand),

    /// Exchange one strength of an ingredient for another: the active matter stays, the diluent takes the difference
    #[command(
        long_about = "Exchanges one material for another of the same active matter on every line it stands on: new dose = old dose × old\n\
            active matter ÷ new active matter; another line takes the difference. Nothing is written. Exits with 1 when it\n\
            cannot be done, with the reason.",
        after_long_help = "Example:\n  \
            stillroom swap --pack HW-500 --old SLES70 --new SLES28"
    )]
    Swap(SwapArgs),

    /// Offers of several strengths, suppliers and packs by what a kg of active matter costs landed
    #[command(after_long_help = "Example:\n  \
        stillroom offers --material SLES70 --material CAPB30 --active '100 kg'")]
    Offers(OffersArgs),

    /// Where to set the filler so that net content holds (Directive 76/211/EEC): an aid for choosing the overfill
    #[command(after_long_help = "Example:\n  \
        stillroom fill --pack HW-500 --spread '6 mL' --allowance '1 mL'")]
    Fill(FillArgs),

    /// What can be done about a draft whose lines miss their total, each way before and after. Nothing is written
    #[command(after_long_help = "Example:\n  \
        stillroom put-right --formula HW-01@4")]
    PutRight(PutRightArgs),

    /// Whether a run can be made on a day: lots to use, what is short, what to buy, how much could be made
    #[command(
        long_about = "Whether a run can be made on a day, from which lots (first expired, first out), what is short, what to buy by when,\n\
            and how much could be made at most. Tickets planned earlier take theirs first. Exits with 1 when it cannot be made.",
        after_long_help = "Examples:\n  \
            stillroom check --pack HW-500 --units 300 --on 2026-12-03\n  \
            stillroom check --formula PM-XAN --batch '60 kg' --on 2026-12-03"
    )]
    Check(CheckArgs),

    /// Which of several runs can be made on a day, one after the other
    #[command(
        long_about = "Checks several runs, each alone and then one after the other in the order given: two may fit alone and not together.\n\
            A run that comes up short takes nothing from the next. Exits with 1 when one of them cannot be made.",
        after_long_help = "Examples:\n  \
            stillroom runs 'HW-500 300' 'FP-01 120 kg'\n  \
            stillroom runs --on 2026-12-03 'HW-500 300' 'HW-500 300'"
    )]
    Runs(RunsArgs),

    /// What a change would do: prices, expiries, rejections. Nothing is written
    #[command(
        long_about = "Lays assumed changes over what is known and says what they do: which formulas and packs are hit, before and after,\n\
            ranked by what they cost in a year; which tickets come up short; which lots are stranded. Nothing is written.\n\n\
            A price is written as\n  \
            material CODE CHANGE | supplier CODE CHANGE | quotation REFERENCE CHANGE, then perhaps: from DATE\n\
            where CHANGE is +12%, -5%, or a new price with its currency and unit: 1.62 EUR per kg. Put a code that holds a\n\
            space in double quotes.",
        after_long_help = "Examples:\n  \
            stillroom what-if --price 'material SLES70 +12%'\n  \
            stillroom what-if --price 'supplier ELB +5% from 2026-12-01' --price 'quotation WX-7114 125.00'\n  \
            stillroom what-if --lot-expires 'L-2606-004 on 2026-12-01' --lot-rejected 'L-2608-019 on 2026-11-30'\n  \
            stillroom what-if --scenario spring.json\n\n\
            A scenario file holds the same: {\"price\": [\"supplier ELB +5%\"], \"lot-expires\": [\"L-2606-004 on 2026-12-01\"]}"
    )]
    WhatIf(WhatIfArgs),

    /// How far a price or a dose may go, the cheapest way to buy, what uses up a lot; nothing is written
    #[command(subcommand)]
    Search(SearchCommand),

    /// What the coming weeks do to the shelf: runs that come up short, lots that are stranded
    Outlook(OutlookArgs),

    /// The stock as it stands: materials and lots, with dates, and reasons against those that may not be used
    Shelf(ShelfArgs),

    /// Where a lot came from and what became of it, with kilograms on every way and the mass balance of every lot
    #[command(after_long_help = "Examples:\n  \
        stillroom trace L-2611-009\n  \
        stillroom trace B-2611-03 --json")]
    Trace(TraceArgs),

    /// What a recall of a lot would reach: finished goods here and gone, batches under way, how much is accounted for
    #[command(
        long_about = "A drill: everything a recall of a lot would have to deal with, and of every other delivery of the same lot of its\n\
            supplier, with the time the answer took. Nothing is changed.",
        after_long_help = "Examples:\n  \
            stillroom recall-drill L-2611-009\n  \
            stillroom recall-drill L-2611-009 --html > drill.html"
    )]
    RecallDrill(RecallDrillArgs),

    /// Look after the stock ledger
    #[command(subcommand)]
    Ledger(LedgerCommand),

    /// Why a finished batch did not cost what it should have
    Variances(VariancesArgs),

    /// Freeze standard costs, and list those that were frozen
    #[command(subcommand)]
    Standards(StandardsCommand),

    /// Bring the database's layout up to date
    Migrate(MigrateArgs),

    /// Print the GraphQL schema
    Schema,

    /// Create, list and revoke API tokens
    #[command(subcommand)]
    Token(TokenCommand),
}

/// Where to listen.
#[derive(Debug, Clone, Args)]
pub struct ListenArgs {
    /// Address and port to listen on
    #[arg(long, env = "STILLROOM_LISTEN", value_name = "ADDRESS", default_value = "127.0.0.1:7310")]
    pub listen: SocketAddr,
}

/// Options of `serve`.
#[derive(Debug, Clone, Args)]
pub struct ServeArgs {
    /// Where to listen.
    #[command(flatten)]
    pub listen: ListenArgs,

    /// Let everybody in without a token: only for the demo, and only on a loopback address
    #[arg(long)]
    pub open_demo: bool,
}

/// Options of `demo`.
#[derive(Debug, Clone, Args)]
pub struct DemoArgs {
    /// Where to listen.
    #[command(flatten)]
    pub listen: ListenArgs,

    /// Load, print the cost of a bottle, and stop
    #[arg(long)]
    pub check: bool,

    /// Write the demo's sheets as CSV files into this folder, dates moved to today, and stop
    #[arg(long, value_name = "DIR")]
    pub write_sheets: Option<PathBuf>,
}

/// Options of `import`.
#[derive(Debug, Clone, Args)]
pub struct ImportArgs {
    /// A folder of .csv and .xlsx files, or one file
    pub path: PathBuf,

    /// Check everything and say what would be done; write nothing
    #[arg(long)]
    pub dry_run: bool,

    /// Take prices that are a hundred times another of the same material, or a hundredth, as they are
    #[arg(long)]
    pub accept_unusual_prices: bool,

    /// Which sign stands before the decimals, in all files
    #[arg(long, value_name = "MARK", default_value = "point", value_parser = values::decimal_mark)]
    pub decimal: DecimalMark,

    /// What a single file holds, when its name does not say so
    #[arg(long, value_name = "KIND", value_parser = values::sheet_kind)]
    pub sheet: Option<exchange::SheetKind>,
}

/// What to cost, or to check.
#[derive(Debug, Clone, Args)]
#[group(required = true, multiple = false)]
pub struct SubjectArgs {
    /// A pack, by its code
    #[arg(long, value_name = "CODE")]
    pub pack: Option<String>,

    /// A formula, by its code; CODE@2 for its version 2
    #[arg(long, value_name = "CODE[@VERSION]", value_parser = values::formula_name)]
    pub formula: Option<values::FormulaName>,
}

/// Options of `variances`.
#[derive(Debug, Clone, Args)]
pub struct VariancesArgs {
    /// The ticket, by its number
    pub ticket: String,

    /// What it is held against [default: the standards frozen by the day; where some are missing, replacement]
    #[arg(long, value_name = "BASIS", value_parser = values::basis)]
    pub basis: Option<Basis>,

    /// Standards, prices and rates of this day [default: the day it was completed]
    #[arg(long, value_name = "DATE", value_parser = values::date)]
    pub as_of: Option<NaiveDate>,
}

/// What to do with standard costs.
#[derive(Debug, Subcommand)]
pub enum StandardsCommand {
    /// Freeze what every bought material and component costs today, on a basis, as its standard
    Freeze {
        /// Which price to take: replacement, last-purchase, moving-average or fifo
        #[arg(long, value_name = "BASIS", value_parser = values::basis, default_value = "replacement")]
        basis: Basis,

        /// The day the standards hold from [default: today]
        #[arg(long, value_name = "DATE", value_parser = values::date)]
        on: Option<NaiveDate>,
    },

    /// List what was frozen, with where each figure came from
    List {
        /// Only those that hold on this day
        #[arg(long, value_name = "DATE", value_parser = values::date)]
        on: Option<NaiveDate>,

        /// Only of this material, by its code
        #[arg(long, value_name = "CODE")]
        material: Option<String>,
    },
}

/// Options of `check`.
#[derive(Debug, Clone, Args)]
pub struct CheckArgs {
    /// What.
    #[command(flatten)]
    pub subject: SubjectArgs,

    /// How many units of the pack are filled, those kept back from sale among them
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=1_000_000_000), required_unless_present = "batch")]
    pub units: Option<u64>,

    /// How much is charged: '200 kg'
    #[arg(long, value_name = "MASS", value_parser = values::mass, conflicts_with = "units")]
    pub batch: Option<Mass>,

    /// The day of the run
    #[arg(long, value_name = "DATE", value_parser = values::date)]
    pub on: NaiveDate,
}

/// Options of `runs`.
#[derive(Debug, Clone, Args)]
pub struct RunsArgs {
    /// A pack and how many units, or a formula and how much is charged: 'HW-500 300', 'HW-01 200 kg'
    #[arg(value_name = "RUN", required = true)]
    pub runs: Vec<String>,

    /// The day of the runs [default: today]
    #[arg(long, value_name = "DATE", value_parser = values::date)]
    pub on: Option<NaiveDate>,
}

/// Options of `what-if`.
#[derive(Debug, Clone, Args)]
pub struct WhatIfArgs {
    /// A price change: 'material CODE +12%', 'supplier CODE -5% from 2026-12-01', 'quotation REFERENCE 45.20'
    #[arg(long, value_name = "TEXT")]
    pub price: Vec<String>,

    /// A lot that must not be used after a day: 'LOT on DATE'
    #[arg(long, value_name = "TEXT")]
    pub lot_expires: Vec<String>,

    /// A lot that is rejected on a day: 'LOT on DATE'
    #[arg(long, value_name = "TEXT")]
    pub lot_rejected: Vec<String>,

    /// Any other change in words, in the order they are laid: 'dose FORMULA LINE 1.2%', 'ends SUPPLIER on DATE'; 'help' lists them
    #[arg(long, value_name = "TEXT")]
    pub change: Vec<String>,

    /// The least margin a pack should leave, %; packs below it are marked
    #[arg(long, value_name = "PERCENT")]
    pub margin_floor: Option<String>,

    /// Keep the scenario and its answer under this name
    #[arg(long, value_name = "NAME")]
    pub keep: Option<String>,

    /// Run a kept scenario again and say what changed since
    #[arg(long, value_name = "NAME", conflicts_with_all = ["keep", "change", "price", "lot_expires", "lot_rejected", "scenario"])]
    pub kept: Option<String>,

    /// A file that holds such changes as JSON
    #[arg(long, value_name = "FILE")]
    pub scenario: Option<PathBuf>,

    /// Prices and rates of this day [default: today]
    #[arg(long, value_name = "DATE", value_parser = values::date)]
    pub as_of: Option<NaiveDate>,
}

/// What is searched for.
#[derive(Debug, Clone, Subcommand)]
pub enum SearchCommand {
    /// The price of a material at which a pack's margin reaches a floor
    FloorPrice {
        /// The pack's code
        pack: String,

        /// The material's code
        material: String,

        /// The least margin: 40%
        floor: String,
    },
    /// The greatest dose of a line at which a kg costs no more than so much; the q.s. line takes the difference
    FittingDose {
        /// The formula's code
        formula: String,

        /// The position of the line
        line: u32,

        /// What a kg may cost, in the house's currency
        cost: String,
    },
    /// The cheapest way to buy what planned runs are short of
    Purchases {
        /// The last day to look at [default: the day of the last open ticket]
        #[arg(long, value_name = "DATE", value_parser = values::date)]
        until: Option<NaiveDate>,
    },
    /// What to make to use up a lot before it expires
    UseUp {
        /// The lot's number
        lot: String,
    },
}

/// Options of `outlook`.
#[derive(Debug, Clone, Args)]
pub struct OutlookArgs {
    /// The last day to look at [default: the day of the last open ticket]
    #[arg(long, value_name = "DATE", value_parser = values::date)]
    pub until: Option<NaiveDate>,
}

/// Options of `shelf`.
#[derive(Debug, Clone, Args)]
pub struct ShelfArgs {
    /// Only this material, by its code
    #[arg(long, value_name = "CODE", conflicts_with_all = ["find", "plan", "worth"])]
    pub material: Option<String>,

    /// Lots by what stands on their label, ours or the supplier's; case, spaces, hyphens and leading noughts are forgiven
    #[arg(long, value_name = "TEXT", conflicts_with_all = ["plan", "worth"])]
    pub find: Option<String>,

    /// Cover, safety stock, reorder point, and what does not move
    #[arg(long, conflicts_with = "worth")]
    pub plan: bool,

    /// What every lot cost, and what it stands at
    #[arg(long)]
    pub worth: bool,
}

/// Options of `trace`.
#[derive(Debug, Clone, Args)]
pub struct TraceArgs {
    /// The lot, by its number
    #[arg(value_name = "LOT")]
    pub lot: String,
}

/// Options of `recall-drill`.
#[derive(Debug, Clone, Args)]
pub struct RecallDrillArgs {
    /// The lot, by its number
    #[arg(value_name = "LOT")]
    pub lot: String,

    /// A page that prints, instead of tables
    #[arg(long)]
    pub html: bool,
}

/// What to do with the ledger.
#[derive(Debug, Subcommand)]
pub enum LedgerCommand {
    /// Prove that balances and ledger agree; exits with 1 when they do not
    Verify,
}

/// Options of `migrate`.
#[derive(Debug, Clone, Args)]
pub struct MigrateArgs {
    /// Only say what is still to be done; exits with 1 when something is
    #[arg(long)]
    pub status: bool,
}

/// What to do with tokens.
#[derive(Debug, Subcommand)]
pub enum TokenCommand {
    /// Create a token; its secret is shown once
    #[command(after_long_help = "Example:\n  \
        stillroom token create --name 'balance room' --may look,plan-and-make --expires 2027-12-31")]
    Create(TokenCreateArgs),
    /// List tokens, without their secrets
    List,
    /// End a token
    Revoke {
        /// The token's id, as `token list` shows it
        #[arg(value_parser = values::token_id)]
        id: kernel::ids::TokenId,
    },
}

/// Options of `token create`.
#[derive(Debug, Clone, Args)]
pub struct TokenCreateArgs {
    /// The name that will stand in the audit trail
    #[arg(long)]
    pub name: String,

    /// What its holder may do: look, plan-and-make, buy, release-and-reject, approve-formulas, administer, or all
    #[arg(long, value_name = "LIST", value_parser = values::capabilities)]
    pub may: Capabilities,

    /// The last day it works [default: until revoked]
    #[arg(long, value_name = "DATE", value_parser = values::date)]
    pub expires: Option<NaiveDate>,
}

/// What a token's holder may do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Capabilities(pub BTreeSet<Capability>);

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_definition_holds_together() {
        Cli::command().debug_assert();
    }

    fn check(words: &str, expected: Result<(), &str>) {
        let words = std::iter::once("stillroom").chain(words.split('|'));
        match (Cli::try_parse_from(words.clone()), expected) {
            (Ok(_), Ok(())) => {}
            (Err(error), Err(part)) => {
                assert_eq!(error.exit_code(), 2);
                assert!(error.to_string().contains(part), "{error}");
            }
            (parsed, _) => panic!("{words:?}: {parsed:?}"),
        }
    }

    #[test]
    fn commands_as_people_write_them() {
        check("serve|--listen|127.0.0.1:0", Ok(()));
        check("--json|cost|--pack|HW-500", Ok(()));
        check("cost|--formula|HW-01@2|--batch|200 kg|--as-of|2026-11-25|--json", Ok(()));
        check("check|--pack|HW-500|--units|10|--on|2026-12-01", Ok(()));
        check("cost|--pack|A|--order|4 orders a year|--stated-order|SLES70 880 kg|--offers", Ok(()));
        check("compare|--formula|HW-01@2|--to-formula|HW-01@3|--to-order|3 batches", Ok(()));
        check("vary|dose|--pack|A|--line|3|--from|1%|--to|5 %", Ok(()));
        check("vary|batch|--formula|A|--size|100 kg|--size|200 kg|--target|1.20 GBP", Ok(()));
        check(
            "price|design|--pack|A|--shelf|4.00 GBP|--tax|20%|--retailer|margin 40%|--deduct|rebate 3%\
             |--deduct|cash discount 2% of what is left|--own|markup 80%",
            Ok(()),
        );
        check("offers|--material|A|--material|B|--active|100 kg", Ok(()));
        check("token|create|--name|x|--may|all", Ok(()));
        check("what-if|--price|material A +1%|--price|material B -1%", Ok(()));
    }

    #[test]
    fn what_is_wrong_is_named() {
        check("cost", Err("--pack"));
        check("cost|--pack|A|--formula|B", Err("cannot be used with"));
        check("cost|--pack|A|--as-of|31/12/2026", Err("“31/12/2026” is not a date"));
        check("cost|--formula|A@x", Err("“x” is not a version"));
        check("cost|--formula|A|--batch|5 L", Err("“5 L” is a volume, where a mass is needed"));
        check("cost|--pack|A|--order|often", Err("“often” is not a way of ordering"));
        check("cost|--pack|A|--order|0 batches", Err("“0 batches” is not a way of ordering"));
        check("cost|--pack|A|--stated-order|880kg", Err("a code and a quantity"));
        check("vary|dose|--pack|A|--line|3|--from|1%", Err("--to"));
        check("price|ladder|--pack|A|--tax|20%|--own|45%", Err("say margin 40% or markup 66%"));
        check("price|ladder|--pack|A|--tax|20%|--own|margin 100%", Err("out of range"));
        check("vary|volume|--pack|A|--fixed|12000", Err("an amount and a currency"));
        check("check|--pack|A|--units|0|--on|2026-12-01", Err("0"));
        check("check|--pack|A|--on|2026-12-01", Err("--units"));
        check("token|create|--name|x|--may|fly", Err("“fly” is not a right"));
        check("import|x|--decimal|semicolon", Err("semicolon"));
        check("import|x|--sheet|recipes", Err("recipes"));
        check("serve|--listen|nowhere", Err("nowhere"));
        check("brew", Err("brew"));
    }
}
