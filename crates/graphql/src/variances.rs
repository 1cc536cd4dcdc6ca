//! Why a finished batch did not cost what it should have.

use app::TicketVariances as Answer;
use async_graphql::{Context, Object};
use engine::variance::{PrintedVarianceLine, PrintedVariances, in_words};
use kernel::Exact;

use crate::{
    amounts::Money,
    bases::Basis,
    errors::Result,
    materials::{Material, material_of},
    notes::Gap,
    scalars::{CurrencyCode, Date, Decimal},
};

/// A finished batch against its standard.
pub struct TicketVariances {
    answer: Answer,
    liquid: Option<PrintedVariances>,
    filling: Option<PrintedVariances>,
}

impl TicketVariances {
    pub(crate) fn of(answer: Answer) -> Result<Self> {
        let (mut liquid, mut filling) = (None, None);
        if let Ok(found) = &answer.found {
            liquid = Some(found.liquid.print()?);
            filling = found.filling.as_ref().map(engine::variance::Variances::print).transpose()?;
        }
        Ok(Self { answer, liquid, filling })
    }

    fn sum(&self, of: fn(&PrintedVariances) -> rust_decimal::Decimal) -> Option<Money> {
        let liquid = self.liquid.as_ref()?;
        let amount = of(liquid) + self.filling.as_ref().map_or(rust_decimal::Decimal::ZERO, of);
        Some(Money { amount: Decimal(amount), currency: CurrencyCode(liquid.currency) })
    }
}

/// A finished batch against what it should have cost. A variance above nought is favourable: it cost less. Everything adds up as
/// printed: standard less actual cost is the total; the total is price, mix, yield, other usage and overhead together; each of these is
/// the sum of its lines.
#[Object]
impl TicketVariances {
    /// What the batch is held against.
    async fn basis(&self) -> Basis {
        self.answer.basis.into()
    }

    /// Standards, prices and rates of this day.
    async fn as_of(&self) -> Date {
        Date(self.answer.as_of)
    }

    /// Whether replacement was taken because no standard was frozen for all of it by the day, and no basis was asked for.
    async fn for_want_of_standards(&self) -> bool {
        self.answer.for_want_of_standards
    }

    /// Whether nothing is missing on either side. Otherwise nothing is compared, and the gaps say why.
    async fn complete(&self) -> bool {
        self.answer.found.is_ok()
    }

    /// What is missing.
    async fn gaps(&self) -> Vec<Gap> {
        self.answer.found.as_ref().err().into_iter().flatten().map(Gap::from).collect()
    }

    /// What came out and was filled should have cost; null with gaps.
    async fn standard_cost(&self) -> Option<Money> {
        self.sum(|part| part.standard_cost)
    }

    /// What it cost; null with gaps.
    async fn actual_cost(&self) -> Option<Money> {
        self.sum(|part| part.actual_cost)
    }

    /// The one less the other; null with gaps.
    async fn total(&self) -> Option<Money> {
        self.sum(|part| part.total)
    }

    /// The value the batch's lot was made with, before filling; null when that is not known. It differs from the actual cost of the
    /// liquid where prices or rates of its day were entered after it.
    async fn posted(&self) -> Option<Money> {
        self.answer.posted.map(Into::into)
    }

    /// The liquid, by the kilograms that came out; null with gaps.
    async fn liquid(&self) -> Option<Variances> {
        self.liquid.clone().map(Variances)
    }

    /// Components and filling of everything that was filled; null with gaps, and when nothing was filled.
    async fn filling(&self) -> Option<Variances> {
        self.filling.clone().map(Variances)
    }
}

/// Variances as they are printed.
pub struct Variances(PrintedVariances);

impl Variances {
    fn money(&self, amount: rust_decimal::Decimal) -> Money {
        Money { amount: Decimal(amount), currency: CurrencyCode(self.0.currency) }
    }
}

/// Variances of the liquid or of the filling; above nought is favourable.
#[Object]
impl Variances {
    /// What came out, kg; of the filling, one.
    async fn actual_output(&self) -> Decimal {
        Decimal(self.0.actual_output)
    }

    /// What should have come out of the ingredients that went in, kg; null for the filling.
    async fn expected_output(&self) -> Option<Decimal> {
        self.0.expected_output.map(Decimal)
    }

    /// What the actual output should have cost.
    async fn standard_cost(&self) -> Money {
        self.money(self.0.standard_cost)
    }

    /// What it cost.
    async fn actual_cost(&self) -> Money {
        self.money(self.0.actual_cost)
    }

    /// Bought or paid dearer or cheaper.
    async fn price(&self) -> Money {
        self.money(self.0.price)
    }

    /// Ingredients stood for other parts of the input than they should.
    async fn mix(&self) -> Money {
        self.money(self.0.mix)
    }

    /// The input gave more or less than it should.
    async fn yield_(&self) -> Money {
        self.money(self.0.yielded)
    }

    /// Usage of what makes no mix: components, costs of making and filling.
    async fn other_usage(&self) -> Money {
        self.money(self.0.other_usage)
    }

    /// Overheads, in rate and in volume.
    async fn overhead(&self) -> Money {
        self.money(self.0.overhead)
    }

    /// Standard less actual cost.
    async fn total(&self) -> Money {
        self.money(self.0.total)
    }

    /// Line by line, all lines of a material together: those of the standard first, then what was not planned.
    async fn lines(&self) -> Vec<VarianceLine> {
        let currency = CurrencyCode(self.0.currency);
        self.0.lines.iter().cloned().map(|line| VarianceLine { line, currency }).collect()
    }
}

/// One line's variances.
pub struct VarianceLine {
    line: PrintedVarianceLine,
    currency: CurrencyCode,
}

impl VarianceLine {
    fn money(&self, amount: rust_decimal::Decimal) -> Money {
        Money { amount: Decimal(amount), currency: self.currency }
    }
}

/// One line's variances; above nought is favourable.
#[Object]
impl VarianceLine {
    /// What to call it.
    async fn label(&self) -> &str {
        &self.line.label
    }

    /// The ingredient or component; null for a cost of making or filling.
    async fn material(&self, ctx: &Context<'_>) -> Result<Option<Material>> {
        self.line.material.as_ref().map(|material| material_of(ctx, material.id)).transpose()
    }

    /// What the standard allows for the actual output: kg, pieces, hours or batches.
    async fn standard_amount(&self) -> Decimal {
        Decimal(self.line.standard_amount)
    }

    /// What one of that should cost; for what was not planned, what it was had at.
    async fn standard_price(&self) -> Money {
        self.money(self.line.standard_price)
    }

    /// What went in.
    async fn actual_amount(&self) -> Decimal {
        Decimal(self.line.actual_amount)
    }

    /// What it cost.
    async fn actual_value(&self) -> Money {
        self.money(self.line.actual_value)
    }

    /// Bought or paid dearer or cheaper.
    async fn price(&self) -> Money {
        self.money(self.line.price)
    }

    /// Stood for more or less of the input than it should.
    async fn mix(&self) -> Money {
        self.money(self.line.mix)
    }

    /// The input gave more or less than it should.
    async fn yield_(&self) -> Money {
        self.money(self.line.yielded)
    }

    /// Usage of what makes no mix.
    async fn other_usage(&self) -> Money {
        self.money(self.line.other_usage)
    }

    /// What an overhead differs by.
    async fn overhead(&self) -> Money {
        self.money(self.line.overhead)
    }

    /// All of it.
    async fn total(&self) -> Money {
        self.money(self.line.total)
    }

    /// "favourable", "adverse" or "none".
    async fn words(&self) -> &'static str {
        in_words(&Exact::from(self.line.total))
    }

    /// Whether the standard knows nothing of it.
    async fn unplanned(&self) -> bool {
        self.line.unplanned
    }
}
