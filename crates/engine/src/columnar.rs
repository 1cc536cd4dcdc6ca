//! Costs of every formula and pack at once, and of those alone that a change of prices touches.
//!
//! A cost sheet answers for one formula and says where each figure comes from. Here the same catalogue is laid out in columns, and the
//! answer is the figure alone, for all of them or for those that hold what has changed:
//!
//! - **Rows** are formulas, by the version approved on the day at its usual batch, in the order in which they build on each other: an
//!   intermediate stands before what holds it. A row's lines are the *bought* materials that one kg of good output takes, through all
//!   levels and with every loss on the way, beside what making that kg costs. Lines of all rows stand one after the other (compressed
//!   rows), and an index turned round leads from a material to the lines it stands on.
//! - **Packs** are rows of their own over their components, and point to the row of their liquid.
//! - **Slots** are prices: one for each price a material is bought at. Which one a line takes is decided by what its batch needs, as on
//!   a cost sheet.
//!
//! **Exactness.** Amounts of a row are whole numbers over one divisor, prices are whole numbers of 10⁻¹² of the currency; a row's cost is
//! a sum of products of 64-bit numbers in 128 bits. It cannot overflow: amounts of a row add up to less than 2⁶³ (a row for which that is
//! not so is kept in fractions instead), prices are below 2⁶³, so every sum is below 2¹²⁶. A price that is no such decimal (by the pound,
//! through a rate turned round) is kept as a fraction, and rows that take it are added up in fractions. So every answer is the cost
//! sheet's to the last digit; what cannot be costed whole has no answer here, and a cost sheet says what is missing.

mod build;
mod change;
mod table;
#[cfg(test)]
mod tests;

use chrono::NaiveDate;
use kernel::{
    Currency, Exact,
    ids::{FormulaId, FormulaVersionId, IdMap, MaterialId, PackId},
};

use crate::{EngineError, View};
pub use change::{FormulaChange, PackChange, Touched, repriced};
use table::{Slots, Table, Uses};

/// The catalogue in columns: formulas and packs on a day, on replacement, each at its usual batch, materials ordered for that batch.
#[derive(Debug)]
pub struct Columns {
    on: NaiveDate,
    catalogue_version: i64,
    currency: Currency,
    /// Bought materials, by the number they have here.
    materials: Vec<MaterialId>,
    number_of: IdMap<MaterialId, u32>,
    slots: Slots,
    rows: Vec<Row>,
    row_of: IdMap<FormulaVersionId, u32>,
    formulas: Table,
    formula_uses: Uses,
    packs: Vec<PackRow>,
    pack_of: IdMap<PackId, u32>,
    components: Table,
    component_uses: Uses,
    /// Where the packs of a row begin, with one more at the end; packs stand in the order of their rows.
    packs_from: Vec<u32>,
    formulas_left_out: Vec<FormulaId>,
    packs_left_out: Vec<PackId>,
}

/// A formula's row.
#[derive(Debug)]
struct Row {
    formula: FormulaId,
    version: FormulaVersionId,
    level: u8,
}

/// A pack beside its components.
#[derive(Debug)]
struct PackRow {
    pack: PackId,
    row: u32,
    /// kg of good output that one unit for sale takes.
    kg_per_unit: Exact,
    units_a_year: Option<u64>,
}

/// What every row's lines come to, before it is divided and what is beside it added: [`Columns::per_kg_at`] does that for a row.
#[derive(Debug, Default)]
pub struct Costs {
    sums: Vec<i128>,
}

impl Columns {
    /// Lays out a view on a day. What a view assumes is laid out as assumed.
    ///
    /// # Errors
    /// [`EngineError::NotFound`] for a catalogue that names what it does not hold; [`EngineError::QuestionDoesNotFit`] for more than
    /// 2³² lines. A formula or pack that cannot be costed whole is left out, and is no error.
    pub fn new(view: &View<'_>, on: NaiveDate) -> Result<Self, EngineError> {
        build::columns(view, on)
    }

    /// The day asked.
    pub const fn on(&self) -> NaiveDate {
        self.on
    }

    /// The catalogue's version.
    pub const fn catalogue_version(&self) -> i64 {
        self.catalogue_version
    }

    /// The currency of every figure.
    pub const fn currency(&self) -> Currency {
        self.currency
    }

    /// How many formulas are costed.
    pub const fn rows(&self) -> usize {
        self.rows.len()
    }

    /// How many packs are costed.
    pub const fn pack_rows(&self) -> usize {
        self.packs.len()
    }

    /// Lines of all formulas: bought materials, each row's through all levels.
    pub fn lines(&self) -> usize {
        self.formulas.lines()
    }

    /// The formula and version of a row.
    pub fn formula_at(&self, row: usize) -> Option<(FormulaId, FormulaVersionId)> {
        self.rows.get(row).map(|row| (row.formula, row.version))
    }

    /// Levels of intermediates beneath a row.
    pub fn level_at(&self, row: usize) -> Option<u8> {
        self.rows.get(row).map(|row| row.level)
    }

    /// Formulas with a version approved on the day that cannot be costed whole; a cost sheet says what is missing.
    pub fn formulas_left_out(&self) -> &[FormulaId] {
        &self.formulas_left_out
    }

    /// Packs of approved formulas that cannot be costed whole; a cost sheet says what is missing.
    pub fn packs_left_out(&self) -> &[PackId] {
        &self.packs_left_out
    }

    /// The lines of every row, multiplied by their prices and added up. `costs` may have held others before: its memory is used again.
    pub fn cost_all(&self, costs: &mut Costs) {
        self.formulas.sums(&self.slots, &mut costs.sums);
    }

    /// What a kg of a row costs, of costs worked out for all.
    pub fn per_kg_at(&self, costs: &Costs, row: usize) -> Option<Exact> {
        self.formulas.value(&self.slots, row, *costs.sums.get(row)?)
    }

    /// What a kg of good output of a version costs; `None` where it is left out or not approved on the day.
    pub fn per_kg(&self, version: FormulaVersionId) -> Option<Exact> {
        let row = *self.row_of.get(&version)? as usize;
        self.formulas.value_of(&self.slots, row)
    }

    /// What a unit of a pack for sale costs; `None` where it is left out.
    pub fn per_unit(&self, pack: PackId) -> Option<Exact> {
        let at = *self.pack_of.get(&pack)? as usize;
        let row = self.packs.get(at)?;
        let liquid = self.formulas.value_of(&self.slots, row.row as usize)?;
        Some(liquid * &row.kg_per_unit + self.components.value_of(&self.slots, at)?)
    }

    /// How many formulas hold a bought material, through all levels.
    pub fn formulas_holding(&self, material: MaterialId) -> usize {
        self.number_of.get(&material).map_or(0, |number| self.formula_uses.of(*number).len())
    }

    /// The bought materials.
    pub fn materials(&self) -> &[MaterialId] {
        &self.materials
    }

    /// The matrix of the formulas as it is multiplied: where rows begin (with one more at the end), a slot and an amount for each
    /// line, a price for each slot. For measuring against others.
    pub fn matrix(&self) -> (&[u32], &[u32], &[i64], &[i64]) {
        let (starts, slots, amounts) = self.formulas.columns();
        (starts, slots, amounts, self.slots.whole())
    }
}
