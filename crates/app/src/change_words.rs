//! Assumed changes in words, as somebody types them: `price material RM-01 +12% from 2026-12-01`, `dose HW-01 3 1.2%`. One sentence is one
//! change; codes and numbers are the house's. Names that hold a space stand in double quotes.

use chrono::NaiveDate;
use domain::{
    Catalogue,
    dates::parse_date,
    formulas::{Formula, FormulaVersion},
    materials::Material,
    packs::Pack,
    people::Actor,
    quotations::Quotation,
    suppliers::Supplier,
};
use engine::{
    Change, PriceBy, PriceOf, RateBy, RunAmount, RunOf,
    scenario::{ChargePer, FreightBy, HouseRateBy, OldPriceCover, VolumeBy},
};
use kernel::{
    Currency, DecimalMark, Dimension, Percent, Quantity, Rate, Unit, UnitPrice,
    ids::{LotId, TicketId},
    parse_decimal,
};
use rust_decimal::Decimal;
use std::sync::Arc;

use crate::{App, Error};

/// Each form of a sentence, for telling people.
pub const CHANGE_FORMS: [&str; 24] = [
    "price WHOSE +12% [from DATE], or price WHOSE 1.62 EUR per kg",
    "rate EUR GBP +5% [from DATE], or rate EUR GBP 0.85",
    "freight WHOSE +10% [from DATE], or freight WHOSE 40 GBP per shipment",
    "duty WHOSE 6.5% [from DATE]",
    "surcharge WHOSE NAME 25 GBP per pack [from DATE]",
    "dose FORMULA LINE 1.2%",
    "substitute OLD by NEW [times 0.8] [in FORMULA]",
    "batch FORMULA 500 kg",
    "overfill PACK 1%",
    "loss FORMULA 2%",
    "house-rate NAME +5% [from DATE], or house-rate NAME 26 GBP",
    "volume PACK 5000, or volume PACK +10%, or volume all +10%",
    "ends SUPPLIER on DATE [for MATERIAL] [replaced DATE]",
    "old-price MATERIAL 75 days, or old-price MATERIAL 200 kg",
    "expires LOT on DATE",
    "rejected LOT on DATE",
    "on-hold LOT on DATE",
    "recalled LOT on DATE",
    "holds LOT 180 kg",
    "late MATERIAL 10 days",
    "unavailable MATERIAL until DATE",
    "moved TICKET to DATE",
    "run PACK 500 units on DATE, or run FORMULA 200 kg on DATE",
    "delivery MATERIAL 200 kg on DATE [expires DATE]",
];

/// WHOSE in those forms.
pub const WHOSE_FORMS: &str = "material CODE, supplier CODE, quotation REFERENCE, pack CODE \"200 kg\", offer REFERENCE \"25 kg\" [\"100 kg\"], currency EUR";

impl App {
    /// The change that a sentence describes. The inner error says what is wrong with it, to whoever wrote it.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn change_in_words(&self, actor: &Actor, text: &str) -> Result<Result<Change, String>, Error> {
        let catalogue = self.catalogue(actor)?;
        let mut words = match Words::of(text) {
            Ok(words) => words,
            Err(why) => return Ok(Err(why)),
        };
        let kind = words.next().unwrap_or_default().to_lowercase();
        let of_lot = ["expires", "rejected", "on-hold", "recalled", "holds"].contains(&kind.as_str());
        let number = words.peek().unwrap_or_default().to_owned();
        let found = Found {
            lot: if of_lot { self.lot_by_number(actor, &number).await?.map(|lot| lot.id) } else { None },
            ticket: if kind == "moved" {
                self.ticket_by_number(actor, &number).await?.map(|ticket| ticket.id)
            } else {
                None
            },
        };
        Ok(read(&catalogue, self.today(), &kind, &mut words, &found).map_err(|why| match form_of(&kind) {
            Some(form) => format!("{why}; write {form}"),
            None => why,
        }))
    }
}

/// What only the database knows.
struct Found {
    lot: Option<LotId>,
    ticket: Option<TicketId>,
}

fn form_of(kind: &str) -> Option<&'static str> {
    CHANGE_FORMS.into_iter().find(|form| form.split(' ').next() == Some(kind))
}

/// The words of a sentence, one after the other.
struct Words {
    rest: Vec<String>,
}

impl Words {
    fn of(text: &str) -> Result<Self, String> {
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
        words.reverse();
        Ok(Self { rest: words })
    }

    fn peek(&self) -> Option<&str> {
        self.rest.last().map(String::as_str)
    }

    fn next(&mut self) -> Option<String> {
        self.rest.pop()
    }

    fn need(&mut self, what: &str) -> Result<String, String> {
        self.next().ok_or_else(|| format!("{what} is missing"))
    }

    /// Whether the next word is this one, which is then taken.
    fn takes(&mut self, word: &str) -> bool {
        let is = self.peek().is_some_and(|next| next.eq_ignore_ascii_case(word));
        if is {
            self.rest.pop();
        }
        is
    }

    /// A day after a word that has to stand before it.
    fn day_after(&mut self, word: &str) -> Result<NaiveDate, String> {
        if !self.takes(word) {
            return Err(format!("“{word}” and a day are missing"));
        }
        self.day()
    }

    fn day(&mut self) -> Result<NaiveDate, String> {
        parse_date(&self.need("a day")?).map_err(said)
    }

    /// A day after a word, where there is that word.
    fn maybe_day(&mut self, word: &str) -> Result<Option<NaiveDate>, String> {
        if self.takes(word) { self.day().map(Some) } else { Ok(None) }
    }

    /// A figure with its unit, in one word or two.
    fn quantity(&mut self, usual: Unit) -> Result<Quantity, String> {
        let figure = self.need("an amount")?;
        let bare = figure.chars().all(|c| c.is_ascii_digit() || c == '.');
        let unit = self.peek().filter(|word| bare && Unit::parse(word).is_ok()).map(ToOwned::to_owned);
        let text = match unit {
            Some(unit) => {
                self.rest.pop();
                format!("{figure} {unit}")
            }
            None => figure,
        };
        Quantity::parse(&text, Some(usual), DecimalMark::Point).map_err(said)
    }

    /// Nothing may be left over.
    fn end(&self) -> Result<(), String> {
        self.peek().map_or(Ok(()), |word| Err(format!("“{word}” is not understood")))
    }
}

fn said(error: impl ToString) -> String {
    error.to_string()
}

fn no_such(what: &str, key: &str) -> String {
    format!("there is no {what} “{key}”")
}

/// A percent with its sign, up or down; `None` when the word is no percent.
fn signed_percent(word: &str) -> Result<Option<Percent>, String> {
    let Some(figure) = word.strip_suffix('%') else { return Ok(None) };
    if !figure.starts_with(['+', '-']) {
        return Err(format!("“{word}” needs its sign: +{word} is up, -{word} is down"));
    }
    percent(word).map(Some)
}

fn percent(word: &str) -> Result<Percent, String> {
    let figure = word.strip_suffix('%').unwrap_or(word);
    parse_decimal(figure, DecimalMark::Point).and_then(Percent::from_percent).map_err(said)
}

fn decimal(word: &str) -> Result<Decimal, String> {
    parse_decimal(word, DecimalMark::Point).map_err(said)
}

struct Reader<'r> {
    catalogue: &'r Catalogue,
    today: NaiveDate,
}

impl Reader<'_> {
    fn material(&self, words: &mut Words) -> Result<&Arc<Material>, String> {
        let code = words.need("a material")?;
        self.catalogue.materials.by_code(&code).ok_or_else(|| no_such("material", &code))
    }

    fn supplier(&self, words: &mut Words) -> Result<&Arc<Supplier>, String> {
        let code = words.need("a supplier")?;
        self.catalogue.suppliers.by_code(&code).ok_or_else(|| no_such("supplier", &code))
    }

    fn formula(&self, words: &mut Words) -> Result<&Arc<Formula>, String> {
        let code = words.need("a formula")?;
        self.catalogue.formulas.by_code(&code).ok_or_else(|| no_such("formula", &code))
    }

    fn pack(&self, words: &mut Words) -> Result<&Arc<Pack>, String> {
        let code = words.need("a pack")?;
        self.catalogue.packs.by_code(&code).ok_or_else(|| no_such("pack", &code))
    }

    fn quotation(&self, words: &mut Words) -> Result<&Arc<Quotation>, String> {
        let reference = words.need("a quotation")?;
        let mut found = self
            .catalogue
            .quotations()
            .iter()
            .filter(|quotation| quotation.reference.eq_ignore_ascii_case(reference.trim()));
        match (found.next(), found.next()) {
            (Some(quotation), None) => Ok(quotation),
            (Some(_), Some(_)) => Err(format!("several quotations are called “{reference}”")),
            (None, _) => Err(no_such("quotation", &reference)),
        }
    }

    fn current<'f>(&self, formula: &'f Formula) -> Result<&'f FormulaVersion, String> {
        let version = formula.approved_on(self.today).or_else(|| formula.current());
        version.ok_or_else(|| format!("{} has no version", formula.code))
    }

    /// Whose prices, with the currency and the unit that a figure without them is in.
    fn whose(&self, words: &mut Words) -> Result<(PriceOf, Currency, Quantity), String> {
        let house = self.catalogue.settings.currency;
        let kg = one(Unit::Kilogram)?;
        let of = words.need("whose")?;
        Ok(match of.to_lowercase().as_str() {
            "material" => {
                let material = self.material(words)?;
                (PriceOf::Material(material.id), house, usual(material)?)
            }
            "supplier" => {
                let supplier = self.supplier(words)?;
                (PriceOf::Supplier(supplier.id), supplier.currency, kg)
            }
            "quotation" => {
                let quotation = self.quotation(words)?;
                (PriceOf::Quotation(quotation.id), quotation.currency, self.unit_of(quotation)?)
            }
            "pack" => {
                let material = self.material(words)?;
                let pack = words.quantity(Unit::Kilogram)?;
                (PriceOf::Pack { material: material.id, pack }, house, usual(material)?)
            }
            "offer" => {
                let quotation = self.quotation(words)?;
                let pack = words.quantity(Unit::Kilogram)?;
                let is_break = words.peek().is_some_and(|word| !word.contains('%') && word.contains(' '));
                let price_break = if is_break { Some(words.quantity(Unit::Kilogram)?) } else { None };
                let of = PriceOf::Offer { quotation: quotation.id, pack, price_break };
                (of, quotation.currency, self.unit_of(quotation)?)
            }
            "currency" => {
                let currency = words.need("a currency")?.to_uppercase().parse::<Currency>().map_err(said)?;
                (PriceOf::Currency(currency), currency, kg)
            }
            other => return Err(format!("“{other}” says nothing of whose; say {WHOSE_FORMS}")),
        })
    }

    fn unit_of(&self, quotation: &Quotation) -> Result<Quantity, String> {
        self.catalogue.materials.get(quotation.material).map_or_else(|| one(Unit::Kilogram), |m| usual(m))
    }
}

/// `40 GBP per shipment`: money, and what it is for where that is said.
fn money(words: &mut Words, usual: Currency) -> Result<(UnitPrice, Option<ChargePer>), String> {
    let figure = decimal(&words.need("a figure")?)?;
    let written = words.peek().and_then(|word| word.to_uppercase().parse::<Currency>().ok());
    if written.is_some() {
        words.next();
    }
    let amount = UnitPrice::from_decimal(figure, written.unwrap_or(usual)).map_err(said)?;
    if !words.takes("per") {
        return Ok((amount, None));
    }
    let per = words.need("what it is for")?;
    Ok((
        amount,
        Some(match per.to_lowercase().as_str() {
            "pack" => ChargePer::Pack,
            "shipment" | "order" => ChargePer::Shipment,
            unit if unit.starts_with(|c: char| c.is_ascii_digit()) => {
                let unit = words.next().unwrap_or_default();
                ChargePer::Quantity(
                    Quantity::parse(&format!("{per} {unit}"), None, DecimalMark::Point).map_err(said)?,
                )
            }
            _ => ChargePer::Quantity(
                Quantity::parse(&format!("1 {per}"), None, DecimalMark::Point).map_err(said)?,
            ),
        }),
    ))
}

fn one(unit: Unit) -> Result<Quantity, String> {
    Quantity::new(Decimal::ONE, unit).map_err(said)
}

fn usual(material: &Material) -> Result<Quantity, String> {
    one(usual_unit(material))
}

fn usual_unit(material: &Material) -> Unit {
    if material.stock_dimension() == Dimension::Count { Unit::Piece } else { Unit::Kilogram }
}

fn read(
    catalogue: &Catalogue,
    today: NaiveDate,
    kind: &str,
    words: &mut Words,
    found: &Found,
) -> Result<Change, String> {
    let reader = Reader { catalogue, today };
    let change = match kind {
        "price" | "rate" | "freight" | "duty" | "surcharge" | "house-rate" => costs(&reader, kind, words)?,
        "dose" | "substitute" | "batch" | "overfill" | "loss" | "volume" => made(&reader, kind, words)?,
        "expires" | "rejected" | "on-hold" | "recalled" | "holds" | "moved" => shelf(kind, words, found)?,
        "ends" | "old-price" | "late" | "unavailable" | "run" | "delivery" => supply(&reader, kind, words)?,
        "" => return Err("say what is to change".to_owned()),
        other => {
            let kinds: Vec<&str> = CHANGE_FORMS.iter().filter_map(|form| form.split(' ').next()).collect();
            return Err(format!("“{other}” is not one of {}", kinds.join(", ")));
        }
    };
    words.end()?;
    Ok(change)
}

fn costs(reader: &Reader<'_>, kind: &str, words: &mut Words) -> Result<Change, String> {
    match kind {
        "price" => {
            let (of, currency, unit) = reader.whose(words)?;
            let by = if let Some(percent) = signed_percent(words.peek().unwrap_or_default())? {
                words.next();
                PriceBy::Percent(percent)
            } else {
                if matches!(of, PriceOf::Supplier(_) | PriceOf::Currency(_)) {
                    return Err("one new price cannot fit everything; write a percent".to_owned());
                }
                let (price, per) = money(words, currency)?;
                let per = match per {
                    Some(ChargePer::Quantity(quantity)) => quantity,
                    None => unit,
                    Some(_) => return Err("a price is of an amount: per kg".to_owned()),
                };
                PriceBy::Price { price, per }
            };
            Ok(Change::Price { of, by, from: words.maybe_day("from")? })
        }
        "rate" => {
            let give = words.need("a currency")?.to_uppercase().parse::<Currency>().map_err(said)?;
            let get = words.need("a currency")?.to_uppercase().parse::<Currency>().map_err(said)?;
            let figure = words.need("a percent or a rate")?;
            let by = match signed_percent(&figure)? {
                Some(percent) => RateBy::Percent(percent),
                None => RateBy::Rate(Rate::new(decimal(&figure)?).map_err(said)?),
            };
            Ok(Change::ExchangeRate { give, get, by, from: words.maybe_day("from")? })
        }
        "freight" => {
            let (of, currency, unit) = reader.whose(words)?;
            let by = if let Some(percent) = signed_percent(words.peek().unwrap_or_default())? {
                words.next();
                FreightBy::Percent(percent)
            } else {
                let (amount, per) = money(words, currency)?;
                FreightBy::To { amount, per: per.unwrap_or(ChargePer::Quantity(unit)) }
            };
            Ok(Change::Freight { of, by, from: words.maybe_day("from")? })
        }
        "duty" => {
            let (of, ..) = reader.whose(words)?;
            let to = percent(&words.need("a percent")?)?;
            Ok(Change::Duty { of, to, on: None, from: words.maybe_day("from")? })
        }
        "surcharge" => {
            let (of, currency, _) = reader.whose(words)?;
            let name = words.need("what it is for")?;
            let (amount, per) = money(words, currency)?;
            let per = per.ok_or("“per” is missing: per pack, per shipment, per kg")?;
            Ok(Change::Surcharge { of, name, amount, per, from: words.maybe_day("from")? })
        }
        _ => {
            let name = words.need("the name of a rate")?;
            let by = if let Some(percent) = signed_percent(words.peek().unwrap_or_default())? {
                words.next();
                HouseRateBy::Percent(percent)
            } else {
                HouseRateBy::To(money(words, reader.catalogue.settings.currency)?.0)
            };
            Ok(Change::HouseRate { name, by, from: words.maybe_day("from")? })
        }
    }
}

fn made(reader: &Reader<'_>, kind: &str, words: &mut Words) -> Result<Change, String> {
    match kind {
        "dose" => {
            let version = reader.current(reader.formula(words)?)?.id;
            let line = words.need("the number of a line")?.parse().map_err(|_| "a line has a number")?;
            Ok(Change::Dose { version, line, to: percent(&words.need("a percent")?)?, against: None })
        }
        "substitute" => {
            let old = reader.material(words)?.id;
            if !words.takes("by") {
                return Err("“by” and another material are missing".to_owned());
            }
            let new = reader.material(words)?.id;
            let factor = if words.takes("times") { Some(decimal(&words.need("a factor")?)?) } else { None };
            let within = if words.takes("in") { Some(reader.formula(words)?.id) } else { None };
            Ok(Change::Substitute { old, new, factor, within })
        }
        "batch" => {
            let formula = reader.formula(words)?.id;
            match words.quantity(Unit::Kilogram)? {
                Quantity::Mass(to) => Ok(Change::BatchSize { formula, to }),
                other => Err(format!("a batch is a mass, not {other}")),
            }
        }
        "overfill" => {
            let pack = reader.pack(words)?.id;
            Ok(Change::Overfill { pack, to: percent(&words.need("a percent")?)? })
        }
        "loss" => {
            let formula = reader.formula(words)?.id;
            Ok(Change::ProcessLoss { formula, to: percent(&words.need("a percent")?)? })
        }
        _ => {
            let pack = if words.takes("all") { None } else { Some(reader.pack(words)?.id) };
            let figure = words.need("units a year or a percent")?;
            let by = match signed_percent(&figure)? {
                Some(percent) => VolumeBy::Percent(percent),
                None if pack.is_none() => return Err("all packs change by a percent".to_owned()),
                None => VolumeBy::Units(figure.parse().map_err(|_| "units are whole")?),
            };
            Ok(Change::SalesVolume { pack, by })
        }
    }
}

fn shelf(kind: &str, words: &mut Words, found: &Found) -> Result<Change, String> {
    let number = words.need("a number")?;
    if kind == "moved" {
        let ticket = found.ticket.ok_or_else(|| no_such("ticket", &number))?;
        return Ok(Change::RunMoved { ticket, to: words.day_after("to")? });
    }
    let lot = found.lot.ok_or_else(|| no_such("lot", &number))?;
    if kind == "holds" {
        return Ok(Change::LotHolds { lot, quantity: words.quantity(Unit::Kilogram)? });
    }
    let on = words.day_after("on")?;
    Ok(match kind {
        "expires" => Change::LotExpires { lot, on },
        "rejected" => Change::LotRejected { lot, on },
        "on-hold" => Change::LotOnHold { lot, on },
        _ => Change::LotRecalled { lot, on },
    })
}

fn supply(reader: &Reader<'_>, kind: &str, words: &mut Words) -> Result<Change, String> {
    match kind {
        "ends" => {
            let supplier = reader.supplier(words)?.id;
            let on = words.day_after("on")?;
            let material = if words.takes("for") { Some(reader.material(words)?.id) } else { None };
            Ok(Change::SupplierEnds { supplier, material, on, replaced_on: words.maybe_day("replaced")? })
        }
        "run" => {
            let code = words.need("a pack or a formula")?;
            let catalogue = reader.catalogue;
            let pack = catalogue.packs.by_code(&code);
            let usual = if pack.is_some() { Unit::Piece } else { Unit::Kilogram };
            let figure = words.need("how much")?;
            let amount = if words.takes("units") {
                RunAmount::Units(figure.parse().map_err(|_| "units are whole")?)
            } else {
                words.rest.push(figure);
                match words.quantity(usual)? {
                    Quantity::Mass(batch) => RunAmount::Batch(batch),
                    other => {
                        return Err(format!("{other} is not what a run is of: write 500 units or 200 kg"));
                    }
                }
            };
            let on = words.day_after("on")?;
            let of = match (pack, catalogue.formulas.by_code(&code)) {
                (Some(pack), _) => RunOf::Pack(pack.id),
                (None, Some(formula)) => RunOf::Version(
                    formula
                        .approved_on(on)
                        .ok_or_else(|| format!("{code} has no version approved by {on}"))?
                        .id,
                ),
                (None, None) => return Err(no_such("pack or formula", &code)),
            };
            Ok(Change::PlannedRun { of, amount, on })
        }
        _ => {
            let material = reader.material(words)?;
            let (id, unit) = (material.id, usual_unit(material));
            Ok(match kind {
                "unavailable" => {
                    Change::MaterialUnavailable { material: id, until: words.day_after("until")? }
                }
                "late" => Change::DeliveryLate { material: id, days: days(words)? },
                "old-price" => {
                    let in_days = words.rest.first().is_some_and(|last| last.starts_with("day"));
                    let cover = if in_days {
                        OldPriceCover::Days(days(words)?)
                    } else {
                        OldPriceCover::Ordered(words.quantity(unit)?)
                    };
                    Change::OldPrice { material: id, cover }
                }
                _ => {
                    let quantity = words.quantity(unit)?;
                    let on = words.day_after("on")?;
                    Change::Delivery { material: id, quantity, on, expires_on: words.maybe_day("expires")? }
                }
            })
        }
    }
}

fn days(words: &mut Words) -> Result<u32, String> {
    let days = words.need("a number of days")?.parse().map_err(|_| "days are a whole number")?;
    if !words.takes("days") && !words.takes("day") {
        return Err("“days” is missing".to_owned());
    }
    Ok(days)
}
