//! Quantities and money as they go in and come out.

use async_graphql::{Enum, InputObject, Object, SimpleObject};
use kernel::{Density, Mass, Percent};

use crate::{
    errors::Result,
    scalars::{CurrencyCode, Decimal, Unit},
};

/// What a quantity measures.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "kernel::Dimension")]
pub enum Dimension {
    /// Kilograms.
    Mass,
    /// Litres.
    Volume,
    /// Pieces.
    Count,
}

/// A mass, a volume or a count.
#[derive(Debug, Clone, Copy)]
pub struct Quantity(pub kernel::Quantity);

/// A mass in kilograms, a volume in litres or a count of pieces.
#[Object]
impl Quantity {
    /// The figure, in `unit`.
    async fn amount(&self) -> Decimal {
        Decimal(self.0.figure())
    }

    /// kg, L or {each}.
    async fn unit(&self) -> Unit {
        unit_of(self.0.dimension())
    }

    /// Figure and unit for people: "12.5 kg", "500 pcs".
    async fn text(&self) -> String {
        self.0.to_string()
    }
}

impl From<kernel::Quantity> for Quantity {
    fn from(quantity: kernel::Quantity) -> Self {
        Self(quantity)
    }
}

impl From<Mass> for Quantity {
    fn from(mass: Mass) -> Self {
        Self(kernel::Quantity::Mass(mass))
    }
}

/// What figures of a dimension are answered in: kg, L or {each}.
pub(crate) fn unit_of(dimension: kernel::Dimension) -> Unit {
    Unit(match dimension {
        kernel::Dimension::Mass => kernel::Unit::Kilogram,
        kernel::Dimension::Volume => kernel::Unit::Litre,
        kernel::Dimension::Count => kernel::Unit::Piece,
    })
}

/// A quantity with its unit. Kept to 9 decimal places of kg or L, 3 of pieces; a metric figure with more is refused, pounds, ounces
/// and gallons are converted exactly and rounded once to the last kept place.
#[derive(InputObject, Debug, Clone, Copy)]
pub struct QuantityInput {
    /// The figure, in `unit`.
    pub amount: Decimal,
    /// The unit, by UCUM code or symbol: "kg", "g", "L", "mL", "[gal_us]", "pcs".
    pub unit: Unit,
}

impl QuantityInput {
    pub(crate) fn quantity(self) -> std::result::Result<kernel::Quantity, kernel::AmountError> {
        kernel::Quantity::new(self.amount.0, self.unit.0)
    }

    pub(crate) fn mass(self) -> std::result::Result<Mass, kernel::AmountError> {
        match self.quantity()? {
            kernel::Quantity::Mass(mass) => Ok(mass),
            other => Err(kernel::AmountError::WrongDimension {
                text: other.to_string(),
                found: other.dimension().name(),
                expected: "mass",
            }),
        }
    }
}

/// An amount of money.
#[derive(SimpleObject, Debug, Clone, Copy)]
pub struct Money {
    /// The figure, in the currency's unit (not its minor unit).
    pub amount: Decimal,
    /// The currency.
    pub currency: CurrencyCode,
}

impl From<kernel::Money> for Money {
    fn from(money: kernel::Money) -> Self {
        Self { amount: Decimal(money.amount()), currency: CurrencyCode(money.currency()) }
    }
}

impl From<kernel::UnitPrice> for Money {
    fn from(price: kernel::UnitPrice) -> Self {
        Self { amount: Decimal(price.amount()), currency: CurrencyCode(price.currency()) }
    }
}

impl Money {
    /// A figure rounded half to even to so many places.
    pub(crate) fn rounded(value: &kernel::Exact, places: u32, currency: kernel::Currency) -> Result<Self> {
        Ok(Self { amount: Decimal::rounded(value, places)?, currency: CurrencyCode(currency) })
    }
}

/// An amount of money. Totals are kept to 6 decimal places of the currency's unit, prices to 8; more are refused.
#[derive(InputObject, Debug, Clone, Copy)]
pub struct MoneyInput {
    /// The figure, in the currency's unit (not its minor unit).
    pub amount: Decimal,
    /// The currency.
    pub currency: CurrencyCode,
}

impl MoneyInput {
    pub(crate) fn money(self) -> std::result::Result<kernel::Money, kernel::AmountError> {
        kernel::Money::from_decimal(self.amount.0, self.currency.0)
    }

    pub(crate) fn unit_price(self) -> std::result::Result<kernel::UnitPrice, kernel::AmountError> {
        kernel::UnitPrice::from_decimal(self.amount.0, self.currency.0)
    }
}

/// A price and what it is the price of.
#[derive(SimpleObject, Debug, Clone, Copy)]
pub struct UnitPrice {
    /// The figure, in the currency's unit.
    pub amount: Decimal,
    /// The currency.
    pub currency: CurrencyCode,
    /// What that buys: 1 kg, 1 L, 1000 pieces, a pack.
    pub per: Quantity,
}

/// Kilograms.
pub(crate) fn kg(mass: Mass) -> Decimal {
    Decimal(mass.kg())
}

/// Percent.
pub(crate) fn percent(percent: Percent) -> Decimal {
    Decimal(percent.percent())
}

/// Kilograms per litre.
pub(crate) fn kg_per_l(density: Density) -> Decimal {
    Decimal(density.kg_per_litre())
}
