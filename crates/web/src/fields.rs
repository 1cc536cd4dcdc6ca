//! Reading what somebody typed: every field that is wrong is named, and everything typed is kept to be shown again.

use chrono::NaiveDate;
use domain::{Problem, dates::parse_date};
use kernel::{
    Count, Currency, DecimalMark, Density, Dimension, Mass, Money, Percent, Quantity, Unit, parse_decimal,
};
use rust_decimal::Decimal;

use crate::text as t;

/// The fields of a form or an address, in order.
#[derive(Debug, Clone, Default)]
pub(crate) struct Fields(pub Vec<(String, String)>);

impl Fields {
    /// What a field says, without the space around it; empty when it is not there.
    pub fn first(&self, name: &str) -> &str {
        self.0.iter().find(|(field, _)| field == name).map_or("", |(_, value)| value.trim())
    }

    /// What a field says, when it says something.
    pub fn text(&self, name: &str) -> Option<String> {
        Some(self.first(name)).filter(|value| !value.is_empty()).map(ToOwned::to_owned)
    }

    /// Whether the form has the field at all.
    pub fn has(&self, name: &str) -> bool {
        self.0.iter().any(|(field, _)| field == name)
    }

    /// Every value of a repeated field.
    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.0.iter().filter(move |(field, _)| field == name).map(|(_, value)| value.trim())
    }
}

/// Reads fields and gathers what is wrong with them. Places are the names of fields.
pub(crate) struct Reader<'a> {
    fields: &'a Fields,
    /// What is wrong.
    pub problems: Vec<Problem>,
}

impl<'a> Reader<'a> {
    /// A reader of these fields.
    pub const fn new(fields: &'a Fields) -> Self {
        Self { fields, problems: Vec::new() }
    }

    /// Something is wrong at a field.
    pub fn wrong(&mut self, name: &str, message: impl ToString) {
        self.problems.push(Problem::at(name, message));
    }

    /// What was read, or the problem with it.
    pub fn take<T, E: ToString>(&mut self, name: &str, result: Result<T, E>) -> Option<T> {
        result.map_err(|error| self.wrong(name, error.to_string())).ok()
    }

    fn parsed<T, E: ToString>(&mut self, name: &str, parse: impl FnOnce(&str) -> Result<T, E>) -> Option<T> {
        let text = self.fields.text(name)?;
        self.take(name, parse(&text))
    }

    /// A field that must say something.
    pub fn needed<T>(&mut self, name: &str, value: Option<T>) -> Option<T> {
        if value.is_none() && !self.problems.iter().any(|problem| problem.place == name) {
            self.wrong(name, t::FIELD_NEEDED);
        }
        value
    }

    /// A date.
    pub fn date(&mut self, name: &str) -> Option<NaiveDate> {
        self.parsed(name, parse_date)
    }

    /// An amount, in the unit written or the one agreed.
    pub fn quantity(&mut self, name: &str, unit: Unit) -> Option<Quantity> {
        self.parsed(name, |text| Quantity::parse(text, Some(unit), DecimalMark::Point))
    }

    /// A mass; kilograms unless another unit is written.
    pub fn mass(&mut self, name: &str) -> Option<Mass> {
        match self.quantity(name, Unit::Kilogram)? {
            Quantity::Mass(mass) => Some(mass),
            Quantity::Volume(_) | Quantity::Count(_) => {
                self.wrong(name, t::FIELD_WANTS_MASS);
                None
            }
        }
    }

    /// Pieces.
    pub fn count(&mut self, name: &str) -> Option<Count> {
        match self.quantity(name, Unit::Piece)? {
            Quantity::Count(count) => Some(count),
            Quantity::Volume(_) | Quantity::Mass(_) => {
                self.wrong(name, t::FIELD_WANTS_COUNT);
                None
            }
        }
    }

    /// A bare figure.
    pub fn figure(&mut self, name: &str) -> Option<Decimal> {
        self.parsed(name, |text| parse_decimal(text, DecimalMark::Point))
    }

    /// Money in a currency.
    pub fn money(&mut self, name: &str, currency: Currency) -> Option<Money> {
        let figure = self.figure(name)?;
        self.take(name, Money::from_decimal(figure, currency))
    }

    /// kg/L.
    pub fn density(&mut self, name: &str) -> Option<Density> {
        let figure = self.figure(name)?;
        self.take(name, Density::from_kg_per_litre(figure))
    }

    /// Percent, with or without its sign.
    pub fn percent(&mut self, name: &str) -> Option<Percent> {
        let text = self.fields.text(name)?;
        self.take(name, percent_of(&text))
    }
}

/// A percent as people write it: `12`, `+12 %`.
pub(crate) fn percent_of(text: &str) -> Result<Percent, kernel::AmountError> {
    let bare = text.trim().trim_end_matches('%').trim_end();
    Percent::from_percent(parse_decimal(bare, DecimalMark::Point)?)
}

/// The unit stock of this dimension is entered in when none is written.
pub(crate) const fn usual_unit(dimension: Dimension) -> Unit {
    match dimension {
        Dimension::Mass => Unit::Kilogram,
        Dimension::Volume => Unit::Litre,
        Dimension::Count => Unit::Piece,
    }
}
