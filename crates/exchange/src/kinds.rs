//! What sheets there are and which columns each has.

use std::{fmt, str::FromStr};

use crate::names::plain;

/// What a sheet holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[expect(missing_docs, reason = "each is what its name says")]
pub enum SheetKind {
    Materials,
    Suppliers,
    Quotations,
    ExchangeRates,
    HouseRates,
    Formulas,
    FormulaLines,
    MakingCosts,
    Packs,
    PackComponents,
    Lots,
}

/// A column of a sheet.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Column {
    /// The heading, as the format names it and problems show it.
    pub name: &'static str,
    /// Other headings that mean the same.
    pub also: &'static [&'static str],
    /// Whether the heading must be there and every row must fill it.
    pub required: bool,
    /// Whether a column headed with this name and `unit` may hold the unit.
    pub unit: bool,
}

const fn must(name: &'static str) -> Column {
    Column { name, also: &[], required: true, unit: false }
}

const fn may(name: &'static str) -> Column {
    Column { name, also: &[], required: false, unit: false }
}

impl Column {
    const fn or(mut self, also: &'static [&'static str]) -> Self {
        self.also = also;
        self
    }

    const fn figure(mut self) -> Self {
        self.unit = true;
        self
    }

    /// The heading and everything that means the same.
    pub fn names(&self) -> impl Iterator<Item = &'static str> {
        std::iter::once(self.name).chain(self.also.iter().copied())
    }
}

const NOTE: Column = may("note").or(&["notes", "remark", "remarks"]);
const MATERIAL: Column = must("material").or(&["material code"]);
const SUPPLIER_CODE: &[&str] = &["supplier code"];

const MATERIALS: &[Column] = &[
    must("code").or(&["material", "material code"]),
    must("name").or(&["material name"]),
    must("kind"),
    may("INCI name").or(&["INCI"]),
    may("CAS number").or(&["CAS", "CAS no", "CAS no.", "CAS numbers"]),
    may("density").figure(),
    may("active matter").or(&["active"]).figure(),
    may("use level from").or(&["use level min"]).figure(),
    may("use level to").or(&["use level max"]).figure(),
    may("use level kind"),
    may("shelf life").figure(),
    may("period after opening").or(&["PAO"]).figure(),
    may("minimum remaining life").figure(),
    may("inspection time").figure(),
    may("signal word"),
    may("hazard statements").or(&["hazard statement", "H statements"]),
    may("incompatible with"),
    may("caution group").or(&["caution groups"]),
    may("flash point").figure(),
    may("safety data sheet").or(&["SDS"]),
    NOTE,
];

const SUPPLIERS: &[Column] = &[
    must("code").or(&["supplier", "supplier code"]),
    must("name").or(&["supplier name"]),
    may("country"),
    must("currency"),
    may("lead time").figure(),
    NOTE,
];

const QUOTATIONS: &[Column] = &[
    must("quotation").or(&["reference", "quotation reference"]),
    must("supplier").or(SUPPLIER_CODE),
    MATERIAL,
    must("pack").or(&["pack size"]).figure(),
    must("price"),
    must("price per").or(&["per"]),
    may("currency"),
    may("from quantity").figure(),
    may("minimum order").or(&["MOQ"]).figure(),
    must("valid from"),
    may("valid until").or(&["valid to"]),
    may("lead time").figure(),
    may("freight"),
    may("freight per"),
    may("price basis"),
    may("break counts"),
    may("discount").figure(),
    may("duty").figure(),
    may("duty on"),
    may("charges"),
    may("small order charge"),
    may("small order below"),
    may("deposit"),
    may("deposit forfeited").figure(),
    NOTE,
];

const EXCHANGE_RATES: &[Column] = &[
    must("from").or(&["from currency"]),
    must("to").or(&["to currency"]),
    must("rate").or(&["exchange rate"]),
    must("date"),
    must("source"),
];

const HOUSE_RATES: &[Column] = &[
    must("rate").or(&["name", "house rate"]),
    must("kind"),
    must("amount"),
    must("per"),
    may("normal capacity"),
    may("capacity used"),
    must("from").or(&["valid from"]),
    NOTE,
];

const FORMULAS: &[Column] = &[
    must("formula").or(&["code", "formula code"]),
    must("name").or(&["formula name"]),
    must("version"),
    must("status"),
    must("makes"),
    must("written as"),
    may("total").figure(),
    may("density").figure(),
    may("density measured on"),
    may("density temperature").figure(),
    may("process loss").figure(),
    may("evaporation").figure(),
    may("heel").figure(),
    may("samples").figure(),
    may("retains").figure(),
    must("usual batch").figure(),
    may("smallest batch").figure(),
    may("largest batch").figure(),
    may("cost per batch"),
    may("shelf life").figure(),
    may("approved by"),
    may("approved on"),
    NOTE,
];

const FORMULA_LINES: &[Column] = &[
    must("formula").or(&["formula code"]),
    must("version"),
    must("line").or(&["line number"]),
    may("phase"),
    MATERIAL,
    must("amount").figure(),
    may("basis"),
    may("function"),
    may("use level from").or(&["use level min"]).figure(),
    may("use level to").or(&["use level max"]).figure(),
    may("weighing tolerance").figure(),
    may("instruction").or(&["instructions"]),
    may("trim to"),
    may("trim at most").figure(),
];

const MAKING_COSTS: &[Column] = &[
    must("formula").or(&["formula code"]),
    must("version"),
    must("cost").or(&["cost name"]),
    must("kind"),
    may("amount"),
    may("per"),
    may("time").figure(),
    may("rate").or(&["house rate"]),
];

const PACKS: &[Column] = &[
    must("pack").or(&["code", "pack code"]),
    must("name").or(&["pack name"]),
    must("formula").or(&["formula code"]),
    must("fill").figure(),
    may("overfill").figure(),
    may("filling loss").figure(),
    may("units per case"),
    may("line labour").or(&["line labor"]),
    may("units kept back"),
    may("units per hour"),
    may("people"),
    may("labour rate").or(&["labor rate"]),
    may("machine rate"),
    may("changeover"),
    may("price"),
    may("units a year").or(&["units per year"]),
    NOTE,
];

const PACK_COMPONENTS: &[Column] = &[
    must("pack").or(&["pack code"]),
    must("component").or(&["component code", "material", "material code"]),
    must("quantity").figure(),
    must("per"),
    may("loss").figure(),
];

const LOTS: &[Column] = &[
    must("lot").or(&["lot number"]),
    MATERIAL,
    must("quantity").figure(),
    may("value"),
    may("unit cost"),
    may("supplier").or(SUPPLIER_CODE),
    may("supplier lot").or(&["supplier's lot"]),
    must("received").or(&["received on", "date received"]),
    may("made").or(&["made on"]),
    may("expiry").or(&["expiry date", "expires"]),
    may("retest").or(&["retest date"]),
    may("opened").or(&["opened on"]),
    must("status"),
    may("density").figure(),
    may("active matter").or(&["active"]).figure(),
    may("location"),
    NOTE,
];

impl SheetKind {
    /// All kinds, in the order they are named to people.
    pub const ALL: [Self; 11] = [
        Self::Materials,
        Self::Suppliers,
        Self::Quotations,
        Self::ExchangeRates,
        Self::HouseRates,
        Self::Formulas,
        Self::FormulaLines,
        Self::MakingCosts,
        Self::Packs,
        Self::PackComponents,
        Self::Lots,
    ];

    /// The name of a sheet that holds it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Materials => "materials",
            Self::Suppliers => "suppliers",
            Self::Quotations => "quotations",
            Self::ExchangeRates => "exchange rates",
            Self::HouseRates => "house rates",
            Self::Formulas => "formulas",
            Self::FormulaLines => "formula lines",
            Self::MakingCosts => "making costs",
            Self::Packs => "packs",
            Self::PackComponents => "pack components",
            Self::Lots => "lots",
        }
    }

    /// The kind a sheet of that name holds; letter case, spaces, `-` and `_` are all the same.
    pub fn named(name: &str) -> Option<Self> {
        let name = plain(name);
        Self::ALL.into_iter().find(|kind| plain(kind.name()) == name)
    }

    /// All names, for a sentence.
    pub(crate) fn all_names() -> String {
        let names: Vec<&str> = Self::ALL.iter().map(|kind| kind.name()).collect();
        match names.split_last() {
            Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
            None => String::new(),
        }
    }

    pub(crate) const fn columns(self) -> &'static [Column] {
        match self {
            Self::Materials => MATERIALS,
            Self::Suppliers => SUPPLIERS,
            Self::Quotations => QUOTATIONS,
            Self::ExchangeRates => EXCHANGE_RATES,
            Self::HouseRates => HOUSE_RATES,
            Self::Formulas => FORMULAS,
            Self::FormulaLines => FORMULA_LINES,
            Self::MakingCosts => MAKING_COSTS,
            Self::Packs => PACKS,
            Self::PackComponents => PACK_COMPONENTS,
            Self::Lots => LOTS,
        }
    }
}

impl FromStr for SheetKind {
    type Err = String;

    /// The kind of that name, or a sentence naming all of them.
    fn from_str(text: &str) -> Result<Self, String> {
        Self::named(text)
            .ok_or_else(|| format!("“{text}” is not a kind of sheet; there are {}", Self::all_names()))
    }
}

impl fmt::Display for SheetKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn names_are_told_apart_however_they_are_written() {
        assert_eq!(SheetKind::named("Formula-Lines"), Some(SheetKind::FormulaLines));
        assert_eq!(SheetKind::named("PACK_COMPONENTS "), Some(SheetKind::PackComponents));
        assert_eq!(SheetKind::named("exchangerates"), Some(SheetKind::ExchangeRates));
        assert_eq!(SheetKind::named("stock"), None);
    }

    /// Two columns of one sheet must not answer to one heading.
    #[test]
    fn headings_are_unambiguous() {
        for kind in SheetKind::ALL {
            let mut seen = HashSet::new();
            for column in kind.columns() {
                for name in column.names() {
                    assert!(seen.insert(plain(name)), "{kind}: {name}");
                    assert!(
                        !column.unit || seen.insert(plain(&format!("{name} unit"))),
                        "{kind}: {name} unit"
                    );
                }
            }
        }
    }
}
