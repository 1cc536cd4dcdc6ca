//! Cost sheets: what a batch, a kilogram, a litre, a unit and a case cost, line by line, and where each figure comes from.
//!
//! Order of work: lines become shares of what is charged; shares become masses of the batch; each is priced as supplied, an
//! intermediate by rolling up its own formula at its usual batch; the costs of making (per batch, named ones, overheads) are added;
//! the sum is divided by the good output, that is what evaporation, loss, heel, samples and retains leave. For a pack, filling loss
//! and fill give whole units; components with their loss and the costs of the filling run are added for every unit filled;
//! everything is divided by the units for sale, those filled less those kept back. What is missing is listed, its line holds no
//! value, and the totals are then partial.

mod totals;

use chrono::NaiveDate;
use domain::{
    formulas::{FormulaVersion, VersionStatus},
    packs::Pack,
};
use kernel::{
    Currency, Density, Dimension, Exact, Mass, Money,
    ids::{FormulaId, FormulaVersionId, MaterialId, PackId},
};

use crate::{
    EngineError, Gap, MaterialRef, Note, OrderBasis, Source, View,
    basis::Basis,
    batch_costs::{CostOf, Run, filling_costs, making_costs},
    explode::{breaches_in, explode_normalised},
    gap::add_gap,
    liquid_density::{DensityEstimate, DensityUsed, density_by_ideal_mixing, density_used},
    normalise::normalise,
    note::add_note,
    output::{BatchOutput, FillingOutput, batch_output, component_per_unit, fill_mass, filling_output},
    rollup::Pricing,
    source::{QuotationBehind, Standing},
    view::RateUsed,
};
use totals::total;

/// What is to be costed, at which batch, on which day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CostRequest {
    /// What.
    pub subject: CostSubject,
    /// Everything charged; `None` for the version's usual batch.
    pub batch: Option<Mass>,
    /// Prices, rates and approved versions are those of this day.
    pub as_of: NaiveDate,
    /// The selling price of one unit to work the margin out at; `None` for the pack's own.
    pub price: Option<Money>,
    /// How much of each material is ordered at once, which decides its pack and price break.
    pub order: OrderBasis,
    /// Which price is used for what is bought. Every other than replacement needs a view
    /// [with history](View::with_history).
    pub basis: Basis,
}

/// What is to be costed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CostSubject {
    /// The liquid a version makes.
    Version(FormulaVersionId),
    /// A pack filled with it.
    Pack {
        /// The pack.
        pack: PackId,
        /// The version to fill it with; `None` for the one approved on the day.
        version: Option<FormulaVersionId>,
    },
}

impl CostRequest {
    /// A subject at its usual batch, on replacement, ordered for that batch.
    pub const fn new(subject: CostSubject, as_of: NaiveDate) -> Self {
        Self {
            subject,
            batch: None,
            as_of,
            price: None,
            order: OrderBasis::ForBatch,
            basis: Basis::Replacement,
        }
    }

    /// A version at its usual batch.
    pub const fn version(version: FormulaVersionId, as_of: NaiveDate) -> Self {
        Self::new(CostSubject::Version(version), as_of)
    }

    /// A pack of the version approved on the day, at its usual batch.
    pub const fn pack(pack: PackId, as_of: NaiveDate) -> Self {
        Self::new(CostSubject::Pack { pack, version: None }, as_of)
    }

    /// The same at another batch.
    pub const fn at_batch(mut self, batch: Mass) -> Self {
        self.batch = Some(batch);
        self
    }

    /// The same with materials ordered in other quantities.
    pub const fn ordered(mut self, order: OrderBasis) -> Self {
        self.order = order;
        self
    }

    /// The same on another basis.
    pub const fn on_basis(mut self, basis: Basis) -> Self {
        self.basis = basis;
        self
    }
}

/// What a batch costs. Money is in `currency`; nothing is rounded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CostSheet {
    /// What was costed.
    pub subject: CostedSubject,
    /// The day asked.
    pub as_of: NaiveDate,
    /// Which price was used for what is bought.
    pub basis: Basis,
    /// The house's currency.
    pub currency: Currency,
    /// The catalogue's version.
    pub catalogue_version: i64,
    /// Where the batch goes.
    pub batch: BatchOutput,
    /// Of the finished liquid.
    pub density: Option<Density>,
    /// The same with the day and the temperature it was measured at.
    pub density_used: Option<DensityUsed>,
    /// What ideal mixing would give, where nothing else is known. No figure of the sheet stands on it.
    pub density_estimate: Option<DensityEstimate>,
    /// What the batch fills; only for a pack, `None` where a gap stands in the way.
    pub filling: Option<FillingOutput>,
    /// Ingredients, cost per batch, components, line labour: in this order.
    pub lines: Vec<CostLine>,
    /// The sums.
    pub totals: CostTotals,
    /// Margin and markup; only for a pack with a price and a complete cost.
    pub margin: Option<Margin>,
    /// How much of each material was taken to be ordered at once.
    pub order: OrderBasis,
    /// How it stands with the quotations behind the sheet: as with the worst of them; `None` when it rests on none.
    pub standing: Option<Standing>,
    /// The quotations behind the sheet, through intermediates: the worst first, then by reference.
    pub quotations: Vec<QuotationBehind>,
    /// What is missing.
    pub gaps: Vec<Gap>,
    /// What to know.
    pub notes: Vec<Note>,
    /// Whether nothing is missing. When it is not, every total is partial.
    pub complete: bool,
}

/// What a sheet is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CostedSubject {
    /// The formula.
    pub formula: FormulaId,
    /// Its code.
    pub formula_code: String,
    /// Its name.
    pub formula_name: String,
    /// The version.
    pub version: FormulaVersionId,
    /// Its number.
    pub version_number: u32,
    /// Where it stands.
    pub version_status: VersionStatus,
    /// The pack.
    pub pack: Option<PackId>,
    /// Its code.
    pub pack_code: Option<String>,
    /// Its name.
    pub pack_name: Option<String>,
    /// Units in a case.
    pub units_per_case: Option<u32>,
}

/// What a line of a sheet is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LineKind {
    /// A line of the formula.
    Ingredient,
    /// Making the batch: labour, machines, cleaning, tests, disposal, overheads.
    CostPerBatch,
    /// A bottle, closure, label or case.
    Component,
    /// Filling and labelling: line labour, machine time, changeover, disposal of what is lost at the filler, overheads.
    LineLabour,
}

impl LineKind {
    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ingredient => "ingredient",
            Self::CostPerBatch => "cost per batch",
            Self::Component => "packaging component",
            Self::LineLabour => "line labour",
        }
    }

    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Ingredient => "INGREDIENT",
            Self::CostPerBatch => "COST_PER_BATCH",
            Self::Component => "COMPONENT",
            Self::LineLabour => "LINE_LABOUR",
        }
    }
}

/// One line of a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CostLine {
    /// What it is.
    pub kind: LineKind,
    /// What it is for, for a line of making or filling.
    pub cost_of: Option<CostOf>,
    /// What it is called, where it has a name of its own and is no material.
    pub label: Option<String>,
    /// The formula line's position.
    pub position: Option<u32>,
    /// The formula line's phase.
    pub phase: Option<String>,
    /// The ingredient or component.
    pub material: Option<MaterialRef>,
    /// kg or pieces for the batch.
    pub amount: Option<Exact>,
    /// What `amount` is in; `None` for costs that are of nothing weighed or counted.
    pub dimension: Option<Dimension>,
    /// kg or pieces for one unit; only for a pack.
    pub amount_per_unit: Option<Exact>,
    /// Per kg or piece; partial when `partial`.
    pub unit_cost: Option<Exact>,
    /// For the batch; partial when `partial`, `None` when nothing of it is known.
    pub value: Option<Exact>,
    /// For one unit; only for a pack.
    pub value_per_unit: Option<Exact>,
    /// Part of the sheet's total (the partial one when gaps remain), as a fraction of one.
    pub share: Option<Exact>,
    /// Where the figure comes from.
    pub source: Source,
    /// How it stands with the quotations behind the figure; `None` when it rests on none.
    pub standing: Option<Standing>,
    /// What is missing here or beneath.
    pub gaps: Vec<Gap>,
    /// Whether something is missing here or beneath.
    pub partial: bool,
    /// Lines of an intermediate made here, with the amounts that stand behind this line. Their values add up to this line's.
    pub nested: Vec<CostLine>,
}

/// The sums of a sheet, in its currency. Partial when the sheet is not complete.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CostTotals {
    /// Ingredients of the batch.
    pub ingredients: Exact,
    /// Making the batch: the lines of [`LineKind::CostPerBatch`].
    pub making: Exact,
    /// Components for the units of the batch; nought where the units are not known.
    pub components: Exact,
    /// Filling the batch: the lines of [`LineKind::LineLabour`]; nought where the units are not known.
    pub line_labour: Exact,
    /// All of it.
    pub per_batch: Exact,
    /// The liquid: ingredients and making, per kg of good output.
    pub per_kg: Exact,
    /// The same per litre that comes out, at the temperature of the density; `None` without one. Never of litres that went in.
    pub per_litre: Option<Exact>,
    /// The same per US gallon (3.785411784 L).
    pub per_us_gallon: Option<Exact>,
    /// The same per imperial gallon (4.54609 L).
    pub per_imperial_gallon: Option<Exact>,
    /// One unit: everything over the units for sale.
    pub per_unit: Option<Exact>,
    /// One case.
    pub per_case: Option<Exact>,
}

/// What is earned at a price.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Margin {
    /// The price as entered.
    pub price: Money,
    /// The price in the house's currency.
    pub price_in_house_currency: Exact,
    /// The rate it went through.
    pub rate: Option<RateUsed>,
    /// Price less cost, per unit.
    pub earned_per_unit: Exact,
    /// (price − cost) / price, as a fraction of one; `None` at a price of nought.
    pub margin: Option<Exact>,
    /// (price − cost) / cost, as a fraction of one; `None` at a cost of nought.
    pub markup: Option<Exact>,
}

/// What really came out of a batch, at what it was to cost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutputValue {
    /// What came out, at the sheet's cost per kg.
    pub output: Exact,
    /// What was lost beyond the normal losses, at the same: an expense, not a cost of the product (IAS 2, paragraph 16). Below
    /// nought when more came out than was to be expected.
    pub abnormal_loss: Exact,
}

impl CostSheet {
    /// The liquid's cost shared between so many kg that came out and what was lost beyond the normal losses, which the sheet's cost
    /// per kg holds already. The two add up to what the liquid of the batch cost.
    pub fn value_of_output(&self, came_out: &Exact) -> OutputValue {
        let short = &self.batch.good - came_out;
        OutputValue { output: came_out * &self.totals.per_kg, abnormal_loss: short * &self.totals.per_kg }
    }
}

/// (price − cost) / price; `None` at a price of nought.
pub fn margin_at(price: &Exact, cost: &Exact) -> Option<Exact> {
    (price - cost).checked_div(price).ok()
}

/// (price − cost) / cost; `None` at a cost of nought.
pub fn markup_at(price: &Exact, cost: &Exact) -> Option<Exact> {
    (price - cost).checked_div(cost).ok()
}

/// What a batch of a version or a pack costs, line by line.
///
/// # Errors
/// [`EngineError`] when there is nothing to cost: an unknown thing, an unsound formula, a batch that leaves nothing or fills no
/// unit. What is merely missing is a [`Gap`] on the sheet instead.
pub fn cost_sheet(view: &View<'_>, request: &CostRequest) -> Result<CostSheet, EngineError> {
    let (version, pack) = find_subject(view, request)?;
    let formula = view.formula_of(version)?;
    let charged = request.batch.unwrap_or(version.usual_batch);
    let batch = batch_output(view, version, &charged.to_exact())?;
    let mut sheet = Sheet { view, as_of: request.as_of, gaps: Vec::new(), notes: Vec::new() };
    sheet.notes_on_batch(version, &formula.code, charged);

    let normalised = normalise(view, version)?;
    let (exploded, of_intermediates) = explode_normalised(view, version, &normalised, request.as_of)?;
    normalised.gaps.iter().for_each(|gap| add_gap(&mut sheet.gaps, gap.clone()));
    normalised.notes.iter().for_each(|note| add_note(&mut sheet.notes, note.clone()));
    exploded.notes.iter().for_each(|note| add_note(&mut sheet.notes, note.clone()));
    for breach in breaches_in(view, version, &exploded)? {
        add_note(
            &mut sheet.notes,
            Note::UseLevel {
                formula: formula.code.clone(),
                number: version.number,
                material: breach.material,
                found: breach.found,
                limit: breach.limit,
                is_most: breach.is_most,
                kind: breach.kind,
                from_line: breach.from_line,
            },
        );
    }

    let demanded =
        exploded.materials.iter().map(|part| (part.material, &part.per_kg_charged * &batch.charged));
    let mut pricing = Pricing::new(view, request.as_of, demanded)
        .with_normalised(of_intermediates)
        .ordered(request.order)
        .on_basis(request.basis);

    // The liquid.
    let mut lines = Vec::with_capacity(normalised.lines.len() + 8);
    for line in &normalised.lines {
        let amount = line.share.as_ref().map(|share| share * &batch.charged);
        let mut cost_line = pricing.line(LineKind::Ingredient, line.material, amount, &line.gaps)?;
        cost_line.position = Some(line.position);
        cost_line.phase.clone_from(&line.phase);
        lines.push(cost_line);
    }
    if version.cost_per_batch.is_none() && version.making.costs.is_empty() {
        let note = Note::NoCostPerBatch { formula: formula.code.clone(), number: version.number };
        add_note(&mut sheet.notes, note);
    }
    lines.extend(making_costs(view, version, &formula.code, &batch.charged, &batch.waste(), request.as_of)?);

    // The pack.
    let mut filling = None;
    if let Some(pack) = pack {
        match fill_mass(view, pack, version)? {
            Ok(fill) => filling = Some(filling_output(pack, &batch.good, &fill)?),
            Err(gap) => add_gap(&mut sheet.gaps, gap),
        }
        let filled = filling.as_ref().map(|filling| Exact::whole(filling.filled));
        lines.extend(component_lines(pack, filled.as_ref(), &mut pricing)?);
        lines.extend(sheet.filling(version, pack, filling.as_ref(), filled.as_ref())?);
        if let Some(left_over) =
            filling.as_ref().map(|filling| &filling.left_over).filter(|kg| kg.is_positive())
        {
            sheet.notes.push(Note::LeftOver { left_over: left_over.clone() });
        }
    }
    for line in &lines {
        line.gaps.iter().for_each(|gap| add_gap(&mut sheet.gaps, gap.clone()));
    }
    pricing.notes().iter().for_each(|note| add_note(&mut sheet.notes, note.clone()));

    let density_used = sheet.density(version, &formula.code, formula.makes, pack.is_some());
    let density = density_used.as_ref().map(|used| used.density);
    let totals = total(&mut lines, &batch, density, filling.as_ref(), pack)?;
    let of_interest = pack.is_none_or(|pack| pack.fill.dimension() == Dimension::Volume);
    let mut density_estimate = None;
    if density.is_none() && of_interest {
        let estimate = density_by_ideal_mixing(view, &exploded, &totals.per_kg)?;
        sheet.note_estimate(version, &formula.code, &estimate);
        density_estimate = Some(estimate);
    }
    let price = pack.and_then(|pack| request.price.or(pack.price));
    let margin = match (pack, price) {
        (Some(_), Some(price)) => sheet.margin(price, &totals),
        (Some(pack), None) => {
            sheet.notes.push(Note::NoSellingPrice { pack: pack.code.clone() });
            None
        }
        (None, _) => None,
    };

    Ok(CostSheet {
        subject: CostedSubject {
            formula: formula.id,
            formula_code: formula.code.clone(),
            formula_name: formula.name.clone(),
            version: version.id,
            version_number: version.number,
            version_status: version.status,
            pack: pack.map(|pack| pack.id),
            pack_code: pack.map(|pack| pack.code.clone()),
            pack_name: pack.map(|pack| pack.name.clone()),
            units_per_case: pack.and_then(|pack| pack.units_per_case),
        },
        as_of: request.as_of,
        basis: request.basis,
        currency: view.currency(),
        catalogue_version: view.catalogue().version,
        batch,
        density,
        density_used,
        density_estimate,
        filling,
        standing: lines.iter().filter_map(|line| line.standing).max(),
        quotations: pricing.quotations_behind(&lines),
        order: request.order,
        lines,
        totals,
        margin,
        complete: sheet.gaps.is_empty(),
        gaps: sheet.gaps,
        notes: sheet.notes,
    })
}

/// The version to be costed, and the pack it is filled into.
pub(crate) fn find_subject<'a>(
    view: &View<'a>,
    request: &CostRequest,
) -> Result<(&'a FormulaVersion, Option<&'a Pack>), EngineError> {
    match request.subject {
        CostSubject::Version(id) => Ok((view.version(id)?.1, None)),
        CostSubject::Pack { pack, version } => {
            let pack = view.pack(pack)?;
            let formula = view
                .catalogue()
                .formulas
                .get(pack.formula)
                .ok_or_else(|| EngineError::NotFound { what: "formula", key: pack.formula.to_string() })?;
            let version = match version {
                Some(id) => {
                    let (of, version) = view.version(id)?;
                    if of.id != formula.id {
                        return Err(EngineError::VersionOfOtherFormula {
                            pack: pack.code.clone(),
                            wanted: formula.code.clone(),
                            found: of.code.clone(),
                        });
                    }
                    version
                }
                None => view.as_assumed(formula.approved_on(request.as_of).ok_or_else(|| {
                    EngineError::NoApprovedVersion {
                        formula: formula.id,
                        code: formula.code.clone(),
                        on: request.as_of,
                    }
                })?),
            };
            Ok((version, Some(pack)))
        }
    }
}

/// A sheet while it is being filled.
struct Sheet<'v, 'a> {
    view: &'v View<'a>,
    as_of: NaiveDate,
    gaps: Vec<Gap>,
    notes: Vec<Note>,
}

impl Sheet<'_, '_> {
    fn notes_on_batch(&mut self, version: &FormulaVersion, formula: &str, batch: Mass) {
        if version.status != VersionStatus::Approved {
            let status = version.status.word();
            let number = version.number;
            self.notes.push(Note::NotApproved { formula: formula.to_owned(), number, status });
        }
        if let Some(smallest) = version.smallest_batch.filter(|smallest| batch < *smallest) {
            self.notes.push(Note::BatchBelowSmallest { batch, smallest });
        }
        if let Some(largest) = version.largest_batch.filter(|largest| batch > *largest) {
            self.notes.push(Note::BatchAboveLargest { batch, largest });
        }
    }

    /// Filling and labelling: for the run where its units are known, else for one unit.
    fn filling(
        &mut self,
        version: &FormulaVersion,
        pack: &Pack,
        filling: Option<&FillingOutput>,
        filled: Option<&Exact>,
    ) -> Result<Vec<CostLine>, EngineError> {
        if pack.line_labour.is_none() && pack.run.speed.is_none() {
            add_note(&mut self.notes, Note::NoLineLabour { pack: pack.code.clone() });
        }
        if let Some(filling) = filling.filter(|filling| filling.kept_back > 0) {
            let (filled, kept_back) = (filling.filled, filling.kept_back);
            self.notes.push(Note::UnitsKeptBack { pack: pack.code.clone(), filled, kept_back });
        }
        let waste = filling.map_or(Exact::ZERO, |filling| &filling.filling_loss + &filling.left_over);
        let run = Run { filled, waste: &waste };
        let mut lines = filling_costs(self.view, version, pack, &run, self.as_of)?;
        if filled.is_none() {
            for line in &mut lines {
                line.value_per_unit = line.value.take();
            }
        }
        Ok(lines)
    }

    fn density(
        &mut self,
        version: &FormulaVersion,
        formula: &str,
        makes: MaterialId,
        of_pack: bool,
    ) -> Option<DensityUsed> {
        let found = density_used(self.view, version);
        let (formula, number) = (formula.to_owned(), version.number);
        match &found {
            Some(used) if used.of_material => {
                if let Ok(material) = self.view.material(makes) {
                    let material = MaterialRef::from(&**material);
                    add_note(&mut self.notes, Note::DensityOfMaterial { formula, material });
                }
            }
            Some(used) => {
                let (no_day, no_temperature) = (used.measured_on.is_none(), used.celsius.is_none());
                if no_day || no_temperature {
                    let note = Note::DensityWithoutConditions { formula, number, no_day, no_temperature };
                    add_note(&mut self.notes, note);
                }
            }
            // A pack filled by volume says so as a gap already; by mass, litres are of no interest.
            None if of_pack => {}
            None => add_note(&mut self.notes, Note::NoFigurePerLitre { formula, number }),
        }
        found
    }

    fn note_estimate(&mut self, version: &FormulaVersion, formula: &str, estimate: &DensityEstimate) {
        if let Some((density, per_litre)) = estimate.density.clone().zip(estimate.per_litre.clone()) {
            let (formula, number, currency) = (formula.to_owned(), version.number, self.view.currency());
            let note = Note::DensityEstimate { formula, number, density, per_litre, currency };
            add_note(&mut self.notes, note);
        }
    }

    /// Only on a whole cost: a margin on a partial one would flatter.
    fn margin(&mut self, price: Money, totals: &CostTotals) -> Option<Margin> {
        let needed_for = || "the selling price".to_owned();
        let (in_house, rate) = match self.view.money_in_house_currency(price, self.as_of, needed_for) {
            Ok(converted) => converted,
            Err(gap) => {
                add_gap(&mut self.gaps, gap);
                return None;
            }
        };
        if !self.gaps.is_empty() {
            return None;
        }
        let cost = totals.per_unit.as_ref()?;
        Some(Margin {
            price,
            rate,
            earned_per_unit: &in_house - cost,
            margin: margin_at(&in_house, cost),
            markup: markup_at(&in_house, cost),
            price_in_house_currency: in_house,
        })
    }
}

impl CostLine {
    /// A line of which nothing is known yet.
    pub(crate) const fn bare(kind: LineKind) -> Self {
        Self {
            kind,
            cost_of: None,
            label: None,
            position: None,
            phase: None,
            material: None,
            amount: None,
            dimension: None,
            amount_per_unit: None,
            unit_cost: None,
            value: None,
            value_per_unit: None,
            share: None,
            source: Source::Missing,
            standing: None,
            gaps: Vec::new(),
            partial: false,
            nested: Vec::new(),
        }
    }

    pub(crate) fn add_gap(&mut self, gap: Gap) {
        add_gap(&mut self.gaps, gap);
        self.partial = true;
    }
}

/// Components of the pack, priced at what all units that are filled need of each.
fn component_lines(
    pack: &Pack,
    filled: Option<&Exact>,
    pricing: &mut Pricing<'_, '_>,
) -> Result<Vec<CostLine>, EngineError> {
    let mut needs = Vec::with_capacity(pack.components.len());
    for component in &pack.components {
        let per_unit = component_per_unit(pack, component)?;
        let for_batch = per_unit.as_ref().ok().zip(filled).map(|(per_unit, filled)| per_unit * filled);
        if let Some(for_batch) = &for_batch {
            pricing.demand(component.material, for_batch);
        }
        needs.push((component.material, per_unit, for_batch));
    }
    let mut lines = Vec::with_capacity(needs.len());
    for (material, per_unit, for_batch) in needs {
        let (per_unit, gaps) = match per_unit {
            Ok(per_unit) => (Some(per_unit), Vec::new()),
            Err(gap) => (None, vec![gap]),
        };
        let mut line = pricing.line(LineKind::Component, material, for_batch, &gaps)?;
        // Where the units are known, one for sale bears its part of those kept back; else this is what a unit holds.
        if filled.is_none() {
            line.value_per_unit =
                per_unit.as_ref().zip(line.unit_cost.as_ref()).map(|(amount, cost)| amount * cost);
            line.amount_per_unit = per_unit;
        }
        lines.push(line);
    }
    Ok(lines)
}
