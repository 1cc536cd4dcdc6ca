//! Words of what the office enters: sheets, quotations, rates.

use super::words;

words! {
    IMPORT = "Import sheets";
    IMPORT_LEAD = "CSV files or an XLSX workbook. First everything is read and compared with what the house knows; nothing is written before you have seen what would change.";
    IMPORT_FILES = "Files";
    IMPORT_FILES_HINT = "several may be chosen at once; at most 20 MB in all";
    IMPORT_DECIMAL = "Figures are written with a";
    DECIMAL_POINT = "decimal point: 1.25";
    DECIMAL_COMMA = "decimal comma: 1,25";
    IMPORT_UNUSUAL = "Prices a hundred times the last one, or a hundredth of it, are meant so";
    IMPORT_READ = "Read and compare";
    IMPORT_NO_FILE = "choose at least one file";
    IMPORT_TOO_MUCH = "These files are more than 20 MB; send them in parts";
    IMPORT_PREVIEW = "What would change";
    IMPORT_PROBLEMS = "What is wrong";
    IMPORT_PROBLEMS_LEAD = "Nothing was written, and nothing is until every row is right: mend the sheets and read them again.";
    IMPORT_WARNINGS = "Worth a look";
    IMPORT_SHEETS = "What was read";
    IMPORT_CONFIRM = "Write it, all at once";
    IMPORT_NOTHING_NEW = "The house knows all of this already; there is nothing to write.";
    IMPORT_DONE = "Written";
    IMPORT_GONE = "What was read is no longer kept here. Read the files again.";
    FILE = "File";
    SHEET_KIND = "Holds";
    ROWS = "Rows";
    PLACE = "Where";
    COUNT_NEW = "New";
    COUNT_CHANGED = "Changed";
    COUNT_SAME = "As before";
    OF_MATERIALS = "Materials";
    OF_SUPPLIERS = "Suppliers";
    OF_QUOTATIONS = "Quotations";
    OF_RATES = "Exchange rates";
    OF_HOUSE_RATES = "Rates of the house";
    OF_VERSIONS = "Formula versions";
    OF_PACKS = "Packs";
    OF_LOTS = "Lots";

    RATES = "Currencies and rates";
    RATES_LEAD = "Each holds from its day until a later one; what held before is kept.";
    RATES_NONE = "No exchange rate is entered; prices in another currency are gaps.";
    HOUSE_RATES_NONE = "No rate of the house is entered.";
    RATE = "Rate";
    RATE_FROM_CURRENCY = "One";
    RATE_TO_CURRENCY = "buys, in";
    RATE_FIGURE = "so many";
    RATE_SOURCE = "Published by";
    RATE_SOURCE_HINT = "the bank or list it was taken from";
    RATE_DAY = "Holds from";
    RATE_ENTER = "Enter the rate";
    EXCHANGE_RATES = "Exchange rates";
    HOUSE_RATES = "Rates of the house";
    HOUSE_RATE_NAME = "Name";
    HOUSE_RATE_OF = "Of";
    HOUSE_RATE_AMOUNT = "How much";
    HOUSE_RATE_AMOUNT_HINT = "money per hour or batch; a percent for an overhead on labour";
    HOUSE_RATE_ENTER = "Enter the rate of the house";
    RATE_SAME = "a currency is not bought with itself";
    HOLDS = "holds today";
    TO_COME = "to come";
    RATE_HISTORY = "What held before";

    QUOTE = "Enter a quotation";
    QUOTE_LEAD = "A supplier's offer, as it was given. It is kept for ever; a new price is a new quotation.";
    QUOTE_REFERENCE = "Supplier's reference";
    QUOTE_CURRENCY = "Currency";
    QUOTE_CURRENCY_HINT = "the supplier's own when empty";
    QUOTE_FROM = "Valid from";
    QUOTE_UNTIL = "Valid until";
    QUOTE_LEAD_TIME = "Lead time";
    QUOTE_LEAD_TIME_HINT = "10 days; the supplier's usual when empty";
    QUOTE_MINIMUM = "Least that may be ordered";
    QUOTE_FREIGHT = "Freight";
    QUOTE_FREIGHT_PER = "per";
    FREIGHT_ORDER = "order";
    FREIGHT_PACK = "pack";
    FREIGHT_KG = "kg";
    QUOTE_DISCOUNT = "Discount, %";
    QUOTE_PRICES = "Packs and prices";
    QUOTE_PRICES_HELP = "One row for each pack size and price break. A price is of the pack unless it says of what.";
    OFFER_PACK = "Pack";
    OFFER_PRICE = "Price";
    OFFER_PER = "of";
    OFFER_FROM = "from an order of";
    QUOTE_ENTER = "Enter the quotation";
    THE_OFFER = "The offer";
}

/// The n-th price of a quotation, for those who cannot see where it stands.
pub(crate) fn offer_field(number: usize, what: &str) -> String {
    format!("Price {number}: {what}")
}

/// More problems than are told one by one.
pub(crate) fn and_more(count: usize) -> String {
    format!("And {count} more like these.")
}
