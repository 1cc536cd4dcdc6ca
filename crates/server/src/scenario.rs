//! Assumed changes as people write them: `material RM-01 +12%`, `quotation REF 45.20 from 2026-12-01`, `L-01 on 2026-12-01`.
//!
//! Reading a text knows nothing of the catalogue; whether the codes exist is found out when a scenario is made of it.

use chrono::NaiveDate;
use domain::{Problem, dates::parse_date};
use kernel::{Currency, DecimalMark, Percent, Quantity, parse_decimal};
use rust_decimal::Decimal;
use serde::Deserialize;

/// Whose prices change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Whose {
    /// All quotations of a material.
    Material(String),
    /// All quotations of a supplier.
    Supplier(String),
    /// The quotations of that reference.
    Quotation(String),
}

/// How they change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum How {
    /// By so many percent.
    ByPercent(Percent),
    /// To a new price.
    To {
        /// The figure.
        price: Decimal,
        /// Its currency, when it was written.
        currency: Option<Currency>,
        /// What it is of, when it was written.
        per: Option<Quantity>,
    },
}

/// An assumed price.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PriceText {
    /// Whose.
    pub whose: Whose,
    /// How.
    pub how: How,
    /// From which day on.
    pub from: Option<NaiveDate>,
}

/// Something assumed of a lot on a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotText {
    /// The lot's number.
    pub lot: String,
    /// The day.
    pub on: NaiveDate,
}

/// A scenario file: the same texts as on the command line, in lists.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default, rename_all = "kebab-case")]
pub struct ScenarioFile {
    /// As `--price`.
    pub price: Vec<String>,
    /// As `--lot-expires`.
    pub lot_expires: Vec<String>,
    /// As `--lot-rejected`.
    pub lot_rejected: Vec<String>,
    /// As `--change`.
    pub change: Vec<String>,
}

/// Everything that was read.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ScenarioText {
    /// Prices.
    pub prices: Vec<PriceText>,
    /// Lots that expire.
    pub expiring: Vec<LotText>,
    /// Lots that are rejected.
    pub rejected: Vec<LotText>,
}

impl ScenarioText {
    /// Reads all texts; the problems name the option and the text.
    ///
    /// # Errors
    /// Everything that is wrong.
    pub fn read(texts: &ScenarioFile) -> Result<Self, Vec<Problem>> {
        let mut problems = Vec::new();
        let mut scenario = Self::default();
        for text in &texts.price {
            match price(text) {
                Ok(price) => scenario.prices.push(price),
                Err(why) => problems.push(Problem::at(format!("--price “{text}”"), why)),
            }
        }
        for (option, texts, list) in [
            ("--lot-expires", &texts.lot_expires, &mut scenario.expiring),
            ("--lot-rejected", &texts.lot_rejected, &mut scenario.rejected),
        ] {
            for text in texts {
                match lot(text) {
                    Ok(lot) => list.push(lot),
                    Err(why) => problems.push(Problem::at(format!("{option} “{text}”"), why)),
                }
            }
        }
        if problems.is_empty() { Ok(scenario) } else { Err(problems) }
    }
}

const PRICE_FORM: &str = "write material CODE, supplier CODE or quotation REFERENCE, then +12% or a new price, then perhaps from DATE";

/// `material RM-01 +12% from 2026-12-01`.
///
/// # Errors
/// What is wrong with it, in a sentence.
pub fn price(text: &str) -> Result<PriceText, String> {
    let words = words(text)?;
    let (scope, rest) = words.split_first().ok_or(PRICE_FORM)?;
    let (key, mut rest) = rest.split_first().ok_or(PRICE_FORM)?;
    let whose = match scope.to_lowercase().as_str() {
        "material" => Whose::Material(key.clone()),
        "supplier" => Whose::Supplier(key.clone()),
        "quotation" => Whose::Quotation(key.clone()),
        _ => return Err(format!("“{scope}” is neither material, supplier nor quotation; {PRICE_FORM}")),
    };
    let mut from = None;
    if let Some(at) = rest.iter().position(|word| word.eq_ignore_ascii_case("from")) {
        let (before, after) = rest.split_at(at);
        from = match after {
            [_, day] => Some(parse_date(day).map_err(|error| error.to_string())?),
            [_] => return Err("“from” needs a day: from 2026-12-01".to_owned()),
            _ => return Err("nothing can stand after the day".to_owned()),
        };
        rest = before;
    }
    if rest.is_empty() {
        return Err("how does the price change? write +12%, -5% or a new price".to_owned());
    }
    let how = how(rest)?;
    if matches!((&whose, &how), (Whose::Supplier(_), How::To { .. })) {
        return Err(
            "one new price for everything a supplier sells makes no sense; write a percent".to_owned()
        );
    }
    Ok(PriceText { whose, how, from })
}

fn how(words: &[String]) -> Result<How, String> {
    let joined = words.join(" ");
    if let Some(figure) = joined.strip_suffix('%') {
        let figure = figure.trim();
        if !figure.starts_with(['+', '-']) {
            return Err(format!("“{joined}” needs its sign: +{figure}% is up, -{figure}% is down"));
        }
        let percent = parse_decimal(figure, DecimalMark::Point)
            .and_then(Percent::from_percent)
            .map_err(|error| error.to_string())?;
        if percent.percent() <= Decimal::from(-100) {
            return Err(format!("“{joined}” leaves nothing of a price"));
        }
        if percent.percent() > Decimal::from(10_000) {
            return Err(format!("“{joined}” is more than 10000%"));
        }
        return Ok(How::ByPercent(percent));
    }
    let (priced, per) = match words.iter().position(|word| word.eq_ignore_ascii_case("per")) {
        None => (words, None),
        Some(at) => {
            let (before, after) = words.split_at(at);
            let unit = after.get(1..).unwrap_or_default().join(" ");
            (before, Some(per_quantity(&unit)?))
        }
    };
    let (figure, currency) = match priced {
        [figure] => (figure, None),
        [figure, currency] => {
            (figure, Some(currency.parse::<Currency>().map_err(|error| error.to_string())?))
        }
        _ => {
            return Err(format!("“{joined}” is not a change of price: write +12%, -5% or 1.62 EUR per kg"));
        }
    };
    if figure.starts_with('+') {
        return Err(format!(
            "“{joined}” is neither a percent nor a new price: write {joined}% or a price without a sign"
        ));
    }
    let price = parse_decimal(figure, DecimalMark::Point).map_err(|error| error.to_string())?;
    if price < Decimal::ZERO {
        return Err("a price must not be below nought".to_owned());
    }
    Ok(How::To { price, currency, per })
}

/// `kg`, `L`, `1000 pcs`.
fn per_quantity(text: &str) -> Result<Quantity, String> {
    if text.is_empty() {
        return Err("“per” needs a unit: per kg, per L, per 1000 pcs".to_owned());
    }
    let text =
        if text.starts_with(|c: char| c.is_ascii_digit()) { text.to_owned() } else { format!("1 {text}") };
    let quantity = Quantity::parse(&text, None, DecimalMark::Point).map_err(|error| error.to_string())?;
    if quantity.is_positive() { Ok(quantity) } else { Err("a price is of something above nought".to_owned()) }
}

/// `L-01 on 2026-12-01`.
///
/// # Errors
/// What is wrong with it, in a sentence.
pub fn lot(text: &str) -> Result<LotText, String> {
    match words(text)?.as_slice() {
        [lot, on, day] if on.eq_ignore_ascii_case("on") => {
            Ok(LotText { lot: lot.clone(), on: parse_date(day).map_err(|error| error.to_string())? })
        }
        _ => Err("write a lot number and a day: L-01 on 2026-12-01".to_owned()),
    }
}

/// Words, those that hold a space in double quotes.
fn words(text: &str) -> Result<Vec<String>, String> {
    let mut words = Vec::new();
    let mut rest = text.trim();
    while !rest.is_empty() {
        let (word, after) = if let Some(quoted) = rest.strip_prefix('"') {
            quoted.split_once('"').ok_or("a double quote is not closed")?
        } else {
            rest.split_once(char::is_whitespace).unwrap_or((rest, ""))
        };
        words.push(word.to_owned());
        rest = after.trim_start();
    }
    Ok(words)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str) -> String {
        match price(text) {
            Ok(price) => format!("{:?} {:?} {:?}", price.whose, price.how, price.from),
            Err(why) => why,
        }
    }

    #[test]
    fn prices_as_people_write_them() {
        assert_eq!(shown("material RM-01 +12%"), r#"Material("RM-01") ByPercent(12 %) None"#);
        assert_eq!(
            shown("supplier S-01 -5 % from 2026-12-01"),
            r#"Supplier("S-01") ByPercent(-5 %) Some(2026-12-01)"#
        );
        assert_eq!(
            shown("Quotation MF-91/1 45.20"),
            r#"Quotation("MF-91/1") To { price: 45.20, currency: None, per: None } None"#
                .replace("45.20", "45.2")
        );
        assert_eq!(
            shown("material \"RM 01\" 1.62 EUR per kg FROM 2026-12-01"),
            r#"Material("RM 01") To { price: 1.62, currency: Some(EUR), per: Some(1 kg) } Some(2026-12-01)"#
        );
        assert_eq!(
            shown("material LB 34 GBP per 1000 pcs"),
            r#"Material("LB") To { price: 34, currency: Some(GBP), per: Some(1000 pcs) } None"#
        );
    }

    #[test]
    fn what_is_wrong_with_a_price_is_said() {
        assert_eq!(shown("material RM-01 12%"), "“12%” needs its sign: +12% is up, -12% is down");
        assert_eq!(
            shown("material RM-01 +12"),
            "“+12” is neither a percent nor a new price: write +12% or a price without a sign"
        );
        assert_eq!(shown("material RM-01 -100%"), "“-100%” leaves nothing of a price");
        assert_eq!(shown("material RM-01"), "how does the price change? write +12%, -5% or a new price");
        assert_eq!(shown("material RM-01 +12% from"), "“from” needs a day: from 2026-12-01");
        assert_eq!(shown("material RM-01 +12% from tomorrow"), "“tomorrow” is not a date (write 2026-03-31)");
        assert_eq!(
            shown("supplier S-01 45"),
            "one new price for everything a supplier sells makes no sense; write a percent"
        );
        assert_eq!(shown("material RM-01 45 QQQ"), "“QQQ” is not an ISO 4217 currency code");
        assert_eq!(shown("material RM-01 -4"), "a price must not be below nought");
        assert!(shown("formula HW-01 +12%").starts_with("“formula” is neither"));
        assert!(shown("material RM-01 45 EUR per barrel").starts_with("“barrel” is not a known unit"));
        assert_eq!(shown("material \"RM-01 +12%"), "a double quote is not closed");
        assert_eq!(shown(""), PRICE_FORM);
    }

    #[test]
    fn lots_on_a_day() {
        assert_eq!(lot("L-01 on 2026-12-01").map(|l| l.lot), Ok("L-01".to_owned()));
        assert!(lot("L-01 2026-12-01").is_err());
        assert!(lot("L-01 on 2026-02-30").is_err());
    }

    #[test]
    fn all_problems_of_a_scenario_are_told_with_their_texts() {
        let file: ScenarioFile =
            serde_json::from_str(r#"{"price": ["x", "material A +1%"], "lot-rejected": ["L"]}"#).unwrap();
        let problems = ScenarioText::read(&file).unwrap_err();
        let places: Vec<&str> = problems.iter().map(|p| p.place.as_str()).collect();
        assert_eq!(places, ["--price “x”", "--lot-rejected “L”"]);
        assert!(serde_json::from_str::<ScenarioFile>(r#"{"prices": []}"#).is_err());
    }
}
