//! What a kg or piece of a material costs on a sheet: its price on the sheet's basis, or its own formula rolled up.

use chrono::NaiveDate;
use domain::{
    formulas::{Formula, FormulaVersion},
    materials::Material,
};
use kernel::{
    Exact,
    ids::{IdMap, IdSet, MaterialId},
};
use std::{rc::Rc, sync::Arc};

use crate::{
    EngineError, Gap, MaterialRef, Note, OrderBasis, Source, View,
    basis::{Basis, BasisPrice, price_on_basis},
    batch_costs::making_costs,
    cost::{CostLine, LineKind},
    explode::{Making, NormalisedOf, making},
    gap::add_gap,
    normalise::normalise,
    note::add_note,
    orders::order_for,
    output::batch_output,
    price::{PriceQuestion, landed_price_for},
    source::{QuotationBehind, RolledUpSource, Standing},
};

/// Lines of intermediates that one sheet spells out at most. Shared intermediates nested deep multiply; their figures do not
/// need the lines.
const NESTED_LINES_MAX: usize = 2_000;

/// What one kg or piece costs, in the house's currency.
struct UnitCost {
    /// Partial when there are gaps; `None` when nothing is known.
    value: Option<Exact>,
    gaps: Vec<Gap>,
    source: Source,
    /// How it stands with the quotations behind it.
    standing: Option<Standing>,
    /// What stands behind one kg of an intermediate.
    inner: Vec<Inner>,
    /// What making one kg of an intermediate costs, line by line.
    making: Vec<CostLine>,
}

/// A line behind one kg of an intermediate.
struct Inner {
    position: u32,
    phase: Option<String>,
    material: MaterialId,
    /// kg per kg of the intermediate.
    amount: Option<Exact>,
    gaps: Vec<Gap>,
}

/// Prices of one sheet: each material once, at the quantity the whole batch needs of it.
pub(crate) struct Pricing<'v, 'a> {
    view: &'v View<'a>,
    on: NaiveDate,
    order: OrderBasis,
    basis: Basis,
    demanded: IdMap<MaterialId, Exact>,
    /// Formulas of intermediates that are normalised already.
    normalised: NormalisedOf,
    costs: IdMap<MaterialId, Rc<UnitCost>>,
    notes: Vec<Note>,
    nested: usize,
}

impl<'v, 'a> Pricing<'v, 'a> {
    /// Prices on a day for a batch that needs these amounts, kg or pieces.
    pub(crate) fn new(
        view: &'v View<'a>,
        on: NaiveDate,
        demanded: impl IntoIterator<Item = (MaterialId, Exact)>,
    ) -> Self {
        let demanded: IdMap<_, _> = demanded.into_iter().collect();
        let mut costs = IdMap::default();
        costs.reserve(demanded.len());
        Self {
            view,
            on,
            order: OrderBasis::ForBatch,
            basis: Basis::Replacement,
            demanded,
            normalised: NormalisedOf::default(),
            costs,
            notes: Vec::new(),
            nested: 0,
        }
    }

    /// The same with materials ordered in other quantities than the batch needs.
    pub(crate) const fn ordered(mut self, order: OrderBasis) -> Self {
        self.order = order;
        self
    }

    /// The same on another basis than replacement.
    pub(crate) const fn on_basis(mut self, basis: Basis) -> Self {
        self.basis = basis;
        self
    }

    /// The same with formulas of intermediates that are normalised already, on the same view and day.
    pub(crate) fn with_normalised(mut self, normalised: NormalisedOf) -> Self {
        self.normalised = normalised;
        self
    }

    /// Adds to what the batch needs of a material. To be called before its line is asked for.
    pub(crate) fn demand(&mut self, material: MaterialId, amount: &Exact) {
        *self.demanded.entry(material).or_default() += amount;
    }

    /// What to know about the prices used.
    pub(crate) fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// A line of so much of a material; `gaps` say why the amount is not known.
    pub(crate) fn line(
        &mut self,
        kind: LineKind,
        material: MaterialId,
        amount: Option<Exact>,
        gaps: &[Gap],
    ) -> Result<CostLine, EngineError> {
        let known = self.view.material(material)?;
        let cost = self.unit_cost(material)?;
        let mut line = CostLine::bare(kind);
        line.material = Some(MaterialRef::from(&**known));
        line.dimension = Some(known.stock_dimension());
        line.unit_cost.clone_from(&cost.value);
        line.source = cost.source.clone();
        for gap in gaps {
            line.add_gap(gap.clone());
        }
        // Nothing of it costs nothing, whatever it would cost.
        if amount.as_ref().is_some_and(Exact::is_zero) {
            line.value = Some(Exact::ZERO);
        } else {
            cost.gaps.iter().for_each(|gap| line.add_gap(gap.clone()));
            line.value = amount.as_ref().zip(cost.value.as_ref()).map(|(amount, cost)| amount * cost);
            line.standing = cost.standing;
            if let Some(amount) = &amount {
                line.nested = self.nested_lines(&cost, amount)?;
            }
        }
        line.amount = amount;
        Ok(line)
    }

    fn nested_lines(&mut self, cost: &UnitCost, amount: &Exact) -> Result<Vec<CostLine>, EngineError> {
        if !matches!(cost.source, Source::RolledUp(_)) {
            return Ok(Vec::new());
        }
        self.nested += cost.inner.len() + cost.making.len();
        if self.nested > NESTED_LINES_MAX {
            add_note(&mut self.notes, Note::NotSpeltOut { shown: NESTED_LINES_MAX });
            return Ok(Vec::new());
        }
        let mut lines = Vec::with_capacity(cost.inner.len() + cost.making.len());
        for inner in &cost.inner {
            let inner_amount = inner.amount.as_ref().map(|per_kg| per_kg * amount);
            let mut line = self.line(LineKind::Ingredient, inner.material, inner_amount, &inner.gaps)?;
            line.position = Some(inner.position);
            line.phase.clone_from(&inner.phase);
            lines.push(line);
        }
        for per_kg in &cost.making {
            let mut line = per_kg.clone();
            line.value = line.value.map(|value| value * amount);
            lines.push(line);
        }
        Ok(lines)
    }

    fn unit_cost(&mut self, material: MaterialId) -> Result<Rc<UnitCost>, EngineError> {
        if let Some(cost) = self.costs.get(&material) {
            return Ok(Rc::clone(cost));
        }
        let cost = match making(self.view, material, self.on) {
            Making::Bought => self.bought(material)?,
            Making::Made { formula, version } => self.rolled_up(formula, version)?,
            Making::NoApprovedVersion { formula } => {
                let gap = Gap::NoApprovedVersion {
                    material: MaterialRef::from(&**self.view.material(material)?),
                    formula: formula.id,
                    code: formula.code.clone(),
                    on: self.on,
                };
                UnitCost::missing(gap)
            }
        };
        let cost = Rc::new(cost);
        self.costs.insert(material, Rc::clone(&cost));
        Ok(cost)
    }

    fn bought(&mut self, material: MaterialId) -> Result<UnitCost, EngineError> {
        let known = self.view.material(material)?;
        let demanded = self.demanded.get(&material).cloned().unwrap_or_default();
        let found = match self.basis {
            Basis::Replacement => self.replacement(known, &demanded)?,
            basis => price_on_basis(self.view, known, basis, &demanded, self.on)?,
        };
        Ok(match found {
            Ok(price) => {
                price.notes.into_iter().for_each(|note| add_note(&mut self.notes, note));
                UnitCost {
                    value: Some(price.per_unit),
                    gaps: Vec::new(),
                    standing: match &price.source {
                        Source::Quotation(source) => Some(source.validity.into()),
                        _ => None,
                    },
                    source: price.source,
                    inner: Vec::new(),
                    making: Vec::new(),
                }
            }
            Err(gap) => UnitCost::missing(gap),
        })
    }

    /// At the price of the day, for the quantity that is ordered.
    fn replacement(
        &self,
        material: &Material,
        for_batch: &Exact,
    ) -> Result<Result<BasisPrice, Gap>, EngineError> {
        let (ordered, demand) = match order_for(self.view, self.order, material, for_batch, self.on)? {
            Ok(order) => order,
            Err(gap) => return Ok(Err(gap)),
        };
        let question = PriceQuestion { demand, ..PriceQuestion::of(&ordered) };
        let landed = landed_price_for(self.view, material, &question, self.on)?;
        Ok(landed.map(|price| BasisPrice {
            per_unit: price.per_unit,
            source: Source::Quotation(Arc::new(price.source)),
            notes: price.notes,
        }))
    }

    /// An intermediate at its usual batch: what goes in and the costs of making it, over what comes out. The sheet has taken the
    /// formula apart before, so there is no loop and no bottomless nesting here.
    fn rolled_up(&mut self, formula: &Formula, version: &FormulaVersion) -> Result<UnitCost, EngineError> {
        let batch = batch_output(self.view, version, &version.usual_batch.to_exact())?;
        let charged_per_kg = batch.charged.checked_div(&batch.good)?;
        let normalised = match self.normalised.get(&formula.makes) {
            Some(known) if known.version == version.id => Rc::clone(known),
            _ => Rc::new(normalise(self.view, version)?),
        };
        let mut value = None;
        let mut gaps = normalised.gaps.clone();
        let mut inner = Vec::with_capacity(normalised.lines.len());
        let mut standing = None;
        for line in &normalised.lines {
            let amount = line.share.as_ref().map(|share| share * &charged_per_kg);
            if let Some(amount) = &amount
                && !amount.is_zero()
            {
                let cost = self.unit_cost(line.material)?;
                cost.gaps.iter().for_each(|gap| add_gap(&mut gaps, gap.clone()));
                standing = standing.max(cost.standing);
                if let Some(cost) = &cost.value {
                    *value.get_or_insert(Exact::ZERO) += cost * amount;
                }
            }
            inner.push(Inner {
                position: line.position,
                phase: line.phase.clone(),
                material: line.material,
                amount,
                gaps: line.gaps.clone(),
            });
        }
        if version.cost_per_batch.is_none() && version.making.costs.is_empty() {
            let note = Note::NoCostPerBatch { formula: formula.code.clone(), number: version.number };
            add_note(&mut self.notes, note);
        }
        let mut making =
            making_costs(self.view, version, &formula.code, &batch.charged, &batch.waste(), self.on)?;
        let mut making_per_kg = None;
        let mut making_rate = None;
        for line in &mut making {
            line.gaps.iter().for_each(|gap| add_gap(&mut gaps, gap.clone()));
            if let Some(for_batch) = line.value.take() {
                let per_kg = for_batch.checked_div(&batch.good)?;
                *value.get_or_insert(Exact::ZERO) += &per_kg;
                *making_per_kg.get_or_insert(Exact::ZERO) += &per_kg;
                line.value = Some(per_kg);
            }
            if let Source::CostPerBatch { rate, .. } = &line.source {
                making_rate.clone_from(rate);
            }
        }
        let source = Source::RolledUp(Arc::new(RolledUpSource {
            formula: formula.id,
            code: formula.code.clone(),
            version: version.id,
            number: version.number,
            usual_batch: version.usual_batch,
            good_output: batch.good,
            making_per_kg,
            making_rate,
            currency: self.view.currency(),
        }));
        Ok(UnitCost { value, gaps, source, standing, inner, making })
    }

    /// The quotations that lines rest on, through intermediates: the worst first, then by reference.
    pub(crate) fn quotations_behind(&self, lines: &[CostLine]) -> Vec<QuotationBehind> {
        let is_some = |amount: &Option<Exact>| amount.as_ref().is_some_and(|amount| !amount.is_zero());
        let mut open: Vec<MaterialId> = lines
            .iter()
            .filter(|line| is_some(&line.amount))
            .filter_map(|line| Some(line.material.as_ref()?.id))
            .collect();
        let mut seen = IdSet::default();
        let mut found = Vec::new();
        while let Some(material) = open.pop() {
            let Some(cost) = self.costs.get(&material).filter(|_| seen.insert(material)) else { continue };
            if let Source::Quotation(source) = &cost.source {
                found.push(QuotationBehind {
                    quotation: source.quotation,
                    reference: source.reference.clone(),
                    supplier: source.supplier,
                    material,
                    validity: source.validity,
                });
            }
            open.extend(cost.inner.iter().filter(|line| is_some(&line.amount)).map(|line| line.material));
        }
        found.sort_by(|a, b| {
            let key = |behind: &QuotationBehind| std::cmp::Reverse(Standing::from(behind.validity));
            (key(a), &a.reference, a.material).cmp(&(key(b), &b.reference, b.material))
        });
        found
    }
}

impl UnitCost {
    /// Nothing is known, for a reason.
    fn missing(gap: Gap) -> Self {
        Self {
            value: None,
            gaps: vec![gap],
            source: Source::Missing,
            standing: Some(Standing::NoPrice),
            inner: Vec::new(),
            making: Vec::new(),
        }
    }
}
