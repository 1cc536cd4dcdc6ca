//! One row being read: each cell into its value, each fault into a problem with its place.

use app::import::Place;
use chrono::NaiveDate;
use domain::{
    dates::{MonthMeans, Span, parse_date, parse_date_or_month},
    text::{self, TextError},
};
use kernel::{
    Count, Currency, Density, Dimension, Mass, Money, Percent, Quantity, Unit, limits::FIGURE_CHARS_MAX,
    quantity::split_figure,
};
use rust_decimal::Decimal;
use std::{borrow::Cow, str::FromStr};

use crate::{
    ReadOptions,
    cells::Cell,
    figures::{self, Written},
    headings::Headings,
    names::{plain, shown},
    problems::Problems,
};

/// A row being read. Every fault is reported and remembered; a row with a fault yields no draft.
pub(crate) struct Row<'r> {
    /// Where it stands.
    pub place: Place,
    /// How sheets are read.
    pub options: &'r ReadOptions,
    cells: &'r [Cell<'r>],
    headings: &'r Headings,
    problems: &'r mut Problems,
    faulty: bool,
}

impl<'r> Row<'r> {
    pub fn new(
        place: Place,
        cells: &'r [Cell<'r>],
        headings: &'r Headings,
        options: &'r ReadOptions,
        problems: &'r mut Problems,
    ) -> Self {
        Self { place, options, cells, headings, problems, faulty: false }
    }

    /// Whether anything was wrong so far.
    pub const fn is_faulty(&self) -> bool {
        self.faulty
    }

    /// Reports something wrong with a column of this row.
    pub fn fault(&mut self, column: &str, message: impl Into<String>) {
        self.problems.cell(&self.place, column, message);
        self.faulty = true;
    }

    /// A value that must be there. When its cell is empty that is reported; when the whole column is missing it has been.
    pub fn must<T>(&mut self, column: &str, value: Option<T>) -> Option<T> {
        if value.is_none() {
            if self.headings.at(column).is_some() && self.cell(column).is_empty() {
                self.fault(column, "needs a value");
            }
            self.faulty = true;
        }
        value
    }

    fn cell(&self, column: &str) -> &'r Cell<'r> {
        const EMPTY: &Cell<'static> = &Cell::Empty;
        self.headings.at(column).and_then(|at| self.cells.get(at)).unwrap_or(EMPTY)
    }

    /// Whether the cell is filled.
    pub fn has(&self, column: &str) -> bool {
        !self.cell(column).is_empty()
    }

    /// The cell as text.
    pub fn text(&mut self, column: &str) -> Option<Cow<'r, str>> {
        match self.cell(column).as_text() {
            Ok(text) => text,
            Err(why) => {
                let why = why.to_owned();
                self.fault(column, why);
                None
            }
        }
    }

    /// The cell read by a function that says in a sentence what is wrong.
    pub fn read<T>(&mut self, column: &str, read: impl FnOnce(&str) -> Result<T, String>) -> Option<T> {
        let text = self.text(column)?;
        match read(&text) {
            Ok(value) => Some(value),
            Err(message) => {
                self.fault(column, message);
                None
            }
        }
    }

    fn kept(
        &mut self,
        column: &str,
        keep: fn(&'static str, &str) -> Result<String, TextError>,
    ) -> Option<String> {
        self.read(column, |text| keep("it", text).map_err(|e| e.to_string()))
    }

    /// A code, number or reference.
    pub fn code(&mut self, column: &str) -> Option<String> {
        self.kept(column, text::code)
    }

    /// A name: one line.
    pub fn name(&mut self, column: &str) -> Option<String> {
        self.kept(column, text::name)
    }

    /// A note: lines.
    pub fn note(&mut self, column: &str) -> Option<String> {
        self.kept(column, text::note)
    }

    /// One of a few words, compared without letter case, spaces and hyphens.
    pub fn one_of<T: Copy>(&mut self, column: &str, words: &[(&str, T)]) -> Option<T> {
        self.read(column, |text| {
            let wanted = plain(text);
            words.iter().find(|(word, _)| plain(word) == wanted).map(|(_, value)| *value).ok_or_else(|| {
                let all: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
                format!("“{}” is not one of {}", shown(text), all.join(", "))
            })
        })
    }

    /// A list separated by semicolons.
    pub fn list<T>(&mut self, column: &str) -> Vec<T>
    where
        T: FromStr + PartialEq,
        T::Err: ToString,
    {
        let mut values = Vec::new();
        for part in self.text(column).unwrap_or_default().split(';').map(str::trim).filter(|p| !p.is_empty())
        {
            match part.parse::<T>() {
                Ok(value) if values.contains(&value) => {}
                Ok(value) => values.push(value),
                Err(error) => self.fault(column, error.to_string()),
            }
        }
        values
    }

    /// The text of a figure cell with the unit of its unit column behind it.
    fn with_unit(&mut self, column: &str) -> Option<Cow<'r, str>> {
        let text = self.text(column);
        let Some(unit_at) = self.headings.unit_at(column) else { return text };
        let unit = match self.cells.get(unit_at).map_or(Ok(None), Cell::as_text) {
            Ok(unit) => unit,
            Err(why) => {
                let why = why.to_owned();
                self.fault(&format!("{column} unit"), why);
                return None;
            }
        };
        let (text, unit) = match (text, unit) {
            (Some(text), Some(unit)) => (text, unit),
            (text, _) => return text,
        };
        match split_figure(&text).1 {
            "" => return Some(Cow::Owned(format!("{text} {unit}"))),
            beside if beside == unit => {}
            beside => {
                let message =
                    format!("has the unit “{}”, and its unit column says “{}”", shown(beside), shown(&unit));
                self.fault(column, message);
                return None;
            }
        }
        Some(text)
    }

    /// A figure and its unit.
    pub fn written(&mut self, column: &str) -> Option<Written> {
        let mark = self.cell(column).mark(self.options.decimal);
        let text = self.with_unit(column)?;
        self.settle(column, figures::written(&text, mark))
    }

    /// Takes a value or reports what is wrong with it.
    pub fn settle<T>(&mut self, column: &str, value: Result<T, String>) -> Option<T> {
        value.map_err(|message| self.fault(column, message)).ok()
    }

    fn figure<T>(&mut self, column: &str, of: impl FnOnce(&Written) -> Result<T, String>) -> Option<T> {
        let written = self.written(column)?;
        let value = of(&written);
        self.settle(column, value)
    }

    /// A percent from 0 to 100.
    pub fn share(&mut self, column: &str) -> Option<Percent> {
        self.figure(column, |w| w.percent()?.require_share().map_err(|e| e.to_string()))
    }

    /// A percent above 0, up to 100.
    pub fn strength(&mut self, column: &str) -> Option<Percent> {
        self.figure(column, |w| {
            w.percent()?.require_share().and_then(Percent::require_positive).map_err(|e| e.to_string())
        })
    }

    /// A percent that leaves something; 0 when the cell is empty.
    pub fn loss(&mut self, column: &str) -> Percent {
        self.stated_loss(column).unwrap_or_default()
    }

    /// A percent that leaves something.
    pub fn stated_loss(&mut self, column: &str) -> Option<Percent> {
        self.figure(column, |w| w.percent()?.require_loss().map_err(|e| e.to_string()))
    }

    /// A percent not below 0.
    pub fn percent(&mut self, column: &str) -> Option<Percent> {
        self.figure(column, |w| w.percent()?.require_not_negative().map_err(|e| e.to_string()))
    }

    /// A plausible density.
    pub fn density(&mut self, column: &str) -> Option<Density> {
        self.figure(column, Written::density)
    }

    /// A temperature in °C.
    pub fn celsius(&mut self, column: &str) -> Option<Decimal> {
        self.figure(column, Written::celsius)
    }

    /// A quantity above nought.
    pub fn quantity(&mut self, column: &str, default: Option<Unit>) -> Option<Quantity> {
        self.figure(column, |w| w.quantity(default).and_then(figures::positive))
    }

    /// A mass, not below nought.
    pub fn mass(&mut self, column: &str) -> Option<Mass> {
        self.figure(column, |w| match w.quantity(None)? {
            Quantity::Mass(mass) => mass.require_not_negative().map_err(|e| e.to_string()),
            other => Err(wrong_dimension(other, Dimension::Mass)),
        })
    }

    /// A mass above nought.
    pub fn mass_above_nought(&mut self, column: &str) -> Option<Mass> {
        let mass = self.mass(column)?;
        self.settle(column, mass.require_positive().map_err(|e| e.to_string()))
    }

    /// A span of time; the figure may stand in one column and the unit in another.
    pub fn span(&mut self, column: &str) -> Option<Span> {
        let text = self.with_unit(column)?;
        self.settle(column, text.parse::<Span>().map_err(|e| e.to_string()))
    }

    /// An ISO date.
    pub fn date(&mut self, column: &str) -> Option<NaiveDate> {
        self.read(column, |text| parse_date(text).map_err(|e| e.to_string()))
    }

    /// An ISO date, or a month alone.
    pub fn date_or_month(&mut self, column: &str, month_means: MonthMeans) -> Option<NaiveDate> {
        self.read(column, |text| parse_date_or_month(text, month_means).map_err(|e| e.to_string()))
    }

    /// A currency.
    pub fn currency(&mut self, column: &str) -> Option<Currency> {
        self.read(column, |text| text.parse().map_err(|e: kernel::AmountError| e.to_string()))
    }

    /// Money with the currency beside it, where there is one.
    pub fn money(&mut self, column: &str) -> Option<(Decimal, Option<Currency>)> {
        let mark = self.cell(column).mark(self.options.decimal);
        self.read(column, |text| figures::money(text, mark))
    }

    /// Money in the house's currency.
    pub fn house_money(&mut self, column: &str) -> Option<Money> {
        let figure = self.house_figure(column)?;
        let house = self.options.house_currency;
        self.settle(column, Money::from_decimal(figure, house).map_err(|e| e.to_string()))
    }

    /// A figure of money in the house's currency.
    pub fn house_figure(&mut self, column: &str) -> Option<Decimal> {
        let house = self.options.house_currency;
        match self.money(column)? {
            (figure, None) => Some(figure),
            (figure, Some(currency)) if currency == house => Some(figure),
            (_, Some(currency)) => {
                self.fault(
                    column,
                    format!("is in {currency}; this column is in the house's currency, {house}"),
                );
                None
            }
        }
    }

    /// A whole number from 1 up.
    pub fn whole<T: TryFrom<u64>>(&mut self, column: &str) -> Option<T> {
        let mark = self.cell(column).mark(self.options.decimal);
        self.read(column, |text| {
            let number = figures::whole(text, mark)?;
            T::try_from(number).map_err(|_| format!("“{}” is too large", shown(text)))
        })
    }

    /// A whole number from 0 up.
    pub fn whole_or_nought<T: TryFrom<u64>>(&mut self, column: &str) -> Option<T> {
        match self.text(column).as_deref() {
            Some("0") => T::try_from(0).ok(),
            _ => self.whole(column),
        }
    }

    /// A count above nought, to a thousandth; pieces and people need no unit.
    pub fn count_above_nought(&mut self, column: &str) -> Option<Count> {
        let figure = self.decimal(column)?;
        self.settle(
            column,
            Count::from_pieces(figure).and_then(Count::require_positive).map_err(|e| e.to_string()),
        )
    }

    /// A plain figure.
    pub fn decimal(&mut self, column: &str) -> Option<Decimal> {
        let mark = self.cell(column).mark(self.options.decimal);
        self.read(column, |text| {
            if text.len() > 4 * FIGURE_CHARS_MAX {
                return Err(kernel::AmountError::TooLong(text.chars().count()).to_string());
            }
            kernel::parse_decimal(text, mark).map_err(|e| e.to_string())
        })
    }

    /// Two dates of which the first must not come after the second.
    pub fn not_before(
        &mut self,
        column: &str,
        date: Option<NaiveDate>,
        earliest: Option<NaiveDate>,
        what: &str,
    ) {
        if let Some((date, earliest)) = date.zip(earliest).filter(|(date, earliest)| date < earliest) {
            self.fault(column, format!("{date} is before {what} {earliest}"));
        }
    }
}

/// The sentence for a quantity of another kind than needed.
pub(crate) fn wrong_dimension(found: Quantity, expected: Dimension) -> String {
    kernel::AmountError::WrongDimension {
        text: found.to_string(),
        found: found.dimension().name(),
        expected: expected.name(),
    }
    .to_string()
}
