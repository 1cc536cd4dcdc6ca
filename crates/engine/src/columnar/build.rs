//! Laying a catalogue out: each formula down to what is bought for it, intermediates once, whoever holds them.

use chrono::NaiveDate;
use domain::{
    formulas::{Formula, FormulaVersion},
    packs::Pack,
};
use kernel::{
    Exact,
    ids::{FormulaId, IdMap, MaterialId},
    limits::NESTING_LEVELS_MAX,
};
use std::{rc::Rc, sync::Arc};

use super::{
    Columns, PackRow, Row,
    change::price_for,
    table::{NewLine, NewRow, number, short_fraction},
};
use crate::{
    EngineError, View,
    batch_costs::{Run, filling_costs, making_cost_of_batch, sum_of},
    explode::{Making, making},
    normalise::normalise,
    output::{batch_output, component_per_unit, fill_mass, filling_output},
    price::Ladder,
};

/// One kg of a formula, down to what is bought.
struct Flat {
    lines: Vec<FlatLine>,
    /// What making a kg of good output costs, intermediates' making included.
    making: Exact,
    level: u8,
    /// kg that losses leave of one kg charged.
    kept: Exact,
}

#[derive(Clone)]
struct FlatLine {
    material: u32,
    /// kg for one kg of good output, with what heels and samples take on the way.
    amount: Exact,
    /// kg to be weighed for one kg charged, as a cost sheet orders materials by.
    demand: Exact,
}

/// What became of a formula.
#[derive(Clone)]
enum Found {
    Flat(Rc<Flat>),
    /// It cannot be costed whole.
    LeftOut,
    /// It lies deeper than the formula that was asked about may reach; by itself it may be well.
    TooDeep,
}

struct Build<'v, 'a> {
    view: &'v View<'a>,
    columns: Columns,
    memo: IdMap<FormulaId, Found>,
    known: Vec<Prices>,
}

/// Prices of a material, and their slots.
struct Prices {
    ladder: Ladder,
    /// Of each rung that was taken.
    rungs: Vec<(usize, u32)>,
    /// Of prices that had to be asked for.
    asked: Vec<(Exact, u32)>,
}

pub(super) fn columns(view: &View<'_>, on: NaiveDate) -> Result<Columns, EngineError> {
    let catalogue = view.catalogue();
    let mut build = Build {
        view,
        columns: Columns {
            on,
            catalogue_version: catalogue.version,
            currency: view.currency(),
            materials: Vec::new(),
            number_of: IdMap::default(),
            slots: super::Slots::default(),
            rows: Vec::new(),
            row_of: IdMap::default(),
            formulas: super::Table::default(),
            formula_uses: super::Uses::default(),
            packs: Vec::new(),
            pack_of: IdMap::default(),
            components: super::Table::default(),
            component_uses: super::Uses::default(),
            packs_from: vec![0],
            formulas_left_out: Vec::new(),
            packs_left_out: Vec::new(),
        },
        memo: IdMap::default(),
        known: Vec::new(),
    };
    for formula in catalogue.formulas.iter() {
        build.formula(formula, 0)?;
    }
    build.memo = IdMap::default();
    for row in 0..build.columns.rows.len() {
        build.packs_of_row(row)?;
    }
    let mut columns = build.columns;
    for formula in catalogue.formulas.iter() {
        let Some(version) = formula.approved_on(on) else { continue };
        if !columns.row_of.contains_key(&version.id) {
            columns.formulas_left_out.push(formula.id);
            columns.packs_left_out.extend(catalogue.packs_of(formula.id));
        }
    }
    columns.formula_uses = columns.formulas.uses(columns.materials.len())?;
    columns.component_uses = columns.components.uses(columns.materials.len())?;
    Ok(columns)
}

impl<'a> Build<'_, 'a> {
    /// A formula taken apart, and its row where it has one.
    fn formula(&mut self, formula: &'a Arc<Formula>, depth: usize) -> Result<Found, EngineError> {
        if let Some(known) = self.memo.get(&formula.id) {
            return Ok(known.clone());
        }
        if depth > NESTING_LEVELS_MAX {
            return Ok(Found::TooDeep);
        }
        let Some(version) = formula.approved_on(self.columns.on).map(|written| self.view.as_assumed(written))
        else {
            return Ok(Found::LeftOut);
        };
        // Whoever comes here again on the way down has gone round in a circle.
        self.memo.insert(formula.id, Found::LeftOut);
        let found = self.take_apart(version, depth)?;
        match &found {
            Found::Flat(flat) => self.row(formula.id, version, flat)?,
            Found::LeftOut => {}
            Found::TooDeep => {
                self.memo.remove(&formula.id);
            }
        }
        // What nobody holds is not asked about again.
        if matches!(found, Found::Flat(_)) {
            if self.view.catalogue().versions_using(formula.makes).is_empty() {
                self.memo.remove(&formula.id);
            } else {
                self.memo.insert(formula.id, found.clone());
            }
        }
        Ok(found)
    }

    fn take_apart(&mut self, version: &'a FormulaVersion, depth: usize) -> Result<Found, EngineError> {
        let (view, on) = (self.view, self.columns.on);
        let kept = version.kept_fraction();
        // What is wrong with a formula is for its cost sheet to say.
        let Ok(normalised) = normalise(view, version) else { return Ok(Found::LeftOut) };
        let Ok(batch) = batch_output(view, version, &version.usual_batch.to_exact()) else {
            return Ok(Found::LeftOut);
        };
        let Ok(Ok(making_of_batch)) = making_cost_of_batch(view, version, &batch.charged, &batch.waste(), on)
        else {
            return Ok(Found::LeftOut);
        };
        if !normalised.is_complete() || !kept.is_positive() {
            return Ok(Found::LeftOut);
        }
        let charged = batch.charged.checked_div(&batch.good)?;
        let mut flat = Flat {
            lines: Vec::with_capacity(normalised.lines.len()),
            making: making_of_batch.checked_div(&batch.good)?,
            level: 0,
            kept,
        };
        for line in &normalised.lines {
            let Some(share) = &line.share else { return Ok(Found::LeftOut) };
            match making(view, line.material, on) {
                Making::Bought | Making::NoApprovedVersion { .. } if share.is_zero() => {}
                Making::Bought => {
                    let material = self.number_of(line.material)?;
                    flat.add(material, share * &charged, share.clone());
                }
                Making::NoApprovedVersion { .. } => return Ok(Found::LeftOut),
                Making::Made { formula, .. } => {
                    let inner = match self.formula(formula, depth + 1)? {
                        Found::Flat(inner) => inner,
                        not_costed => return Ok(not_costed),
                    };
                    let amount = share * &charged;
                    let demand = share.checked_div(&inner.kept)?;
                    flat.making += &amount * &inner.making;
                    for part in &inner.lines {
                        flat.add(part.material, &amount * &part.amount, &demand * &part.demand);
                    }
                    flat.level = flat.level.max(inner.level + 1);
                }
            }
        }
        if usize::from(flat.level) > NESTING_LEVELS_MAX {
            return Ok(Found::LeftOut);
        }
        flat.lines.retain(|line| !line.amount.is_zero());
        Ok(Found::Flat(Rc::new(flat)))
    }

    fn row(&mut self, formula: FormulaId, version: &FormulaVersion, flat: &Flat) -> Result<(), EngineError> {
        let batch = version.usual_batch.to_exact();
        let mut row = NewRow { lines: Vec::with_capacity(flat.lines.len()), beside: flat.making.clone() };
        for line in &flat.lines {
            let Some(new) = self.line(line.material, line.amount.clone(), &line.demand * &batch)? else {
                return Ok(());
            };
            row.lines.push(new);
        }
        let at = number(self.columns.rows.len())?;
        self.columns.formulas.push(row, &self.columns.slots)?;
        self.columns.rows.push(Row { formula, version: version.id, level: flat.level });
        self.columns.row_of.insert(version.id, at);
        Ok(())
    }

    /// A line at the price its demand leads to; `None` when it has none.
    fn line(&mut self, material: u32, amount: Exact, demand: Exact) -> Result<Option<NewLine>, EngineError> {
        let Some(id) = self.columns.materials.get(material as usize).copied() else { return Ok(None) };
        let Some(prices) = self.known.get_mut(material as usize) else { return Ok(None) };
        let slots = &mut self.columns.slots;
        if let Ladder::Offers(offers) = &prices.ladder
            && let Some((over, under)) = short_fraction(&demand)
            && let Some(rung) = offers.least_for(over, under)
        {
            let slot = match prices.rungs.iter().find(|(known, _)| *known == rung) {
                Some((_, slot)) => *slot,
                None => {
                    let Some(price) = offers.per_unit().nth(rung) else { return Ok(None) };
                    let slot = slots.push(price)?;
                    prices.rungs.push((rung, slot));
                    slot
                }
            };
            return Ok(Some(NewLine { material, slot, amount, demand }));
        }
        let Ok(price) = price_for(self.view, id, &demand, self.columns.on)? else { return Ok(None) };
        let slot = match prices.asked.iter().find(|(known, _)| *known == price) {
            Some((_, slot)) => *slot,
            None => {
                let slot = slots.push(&price)?;
                prices.asked.push((price, slot));
                slot
            }
        };
        Ok(Some(NewLine { material, slot, amount, demand }))
    }

    fn number_of(&mut self, material: MaterialId) -> Result<u32, EngineError> {
        if let Some(known) = self.columns.number_of.get(&material) {
            return Ok(*known);
        }
        let at = number(self.columns.materials.len())?;
        let ladder = Ladder::new(self.view, self.view.material(material)?, self.columns.on)?;
        self.columns.materials.push(material);
        self.columns.number_of.insert(material, at);
        self.known.push(Prices { ladder, rungs: Vec::new(), asked: Vec::new() });
        Ok(at)
    }

    fn packs_of_row(&mut self, at: usize) -> Result<(), EngineError> {
        let view = self.view;
        if let Some((formula, version)) = self.columns.formula_at(at) {
            let version = view.version(version)?.1;
            for id in view.catalogue().packs_of(formula) {
                let pack = view.pack(*id)?;
                if self.pack(number(at)?, version, pack)?.is_none() {
                    self.columns.packs_left_out.push(*id);
                }
            }
        }
        self.columns.packs_from.push(number(self.columns.packs.len())?);
        Ok(())
    }

    /// The row of a pack; `None` when it cannot be costed whole.
    fn pack(&mut self, row: u32, version: &FormulaVersion, pack: &Pack) -> Result<Option<()>, EngineError> {
        let (view, on) = (self.view, self.columns.on);
        let batch = batch_output(view, version, &version.usual_batch.to_exact())?;
        let Ok(Ok(fill)) = fill_mass(view, pack, version) else { return Ok(None) };
        let Ok(filling) = filling_output(pack, &batch.good, &fill) else { return Ok(None) };
        let (filled, units) = (Exact::whole(filling.filled), Exact::whole(filling.units));
        let mut needs: Vec<(u32, Exact)> = Vec::with_capacity(pack.components.len());
        for component in &pack.components {
            // What is made here, or stands in the liquid too, is for a cost sheet.
            if !matches!(making(view, component.material, on), Making::Bought) {
                return Ok(None);
            }
            let material = self.number_of(component.material)?;
            if self.columns.formulas.holds(row as usize, material) {
                return Ok(None);
            }
            let Ok(Ok(per_unit)) = component_per_unit(pack, component) else { return Ok(None) };
            let need = per_unit * &filled;
            match needs.iter_mut().find(|(known, _)| *known == material) {
                Some((_, known)) => *known += need,
                None => needs.push((material, need)),
            }
        }
        let waste = &filling.filling_loss + &filling.left_over;
        let run = Run { filled: Some(&filled), waste: &waste };
        let Ok(Ok(run_cost)) = filling_costs(view, version, pack, &run, on).map(sum_of) else {
            return Ok(None);
        };
        let mut new =
            NewRow { lines: Vec::with_capacity(needs.len()), beside: run_cost.checked_div(&units)? };
        for (material, need) in needs {
            let amount = need.checked_div(&units)?;
            if amount.is_zero() {
                continue;
            }
            let Some(line) = self.line(material, amount, need)? else { return Ok(None) };
            new.lines.push(line);
        }
        let at = number(self.columns.packs.len())?;
        self.columns.components.push(new, &self.columns.slots)?;
        self.columns.packs.push(PackRow {
            pack: pack.id,
            row,
            kg_per_unit: batch.good.checked_div(&units)?,
            units_a_year: pack.units_a_year,
        });
        self.columns.pack_of.insert(pack.id, at);
        Ok(Some(()))
    }
}

impl Flat {
    fn add(&mut self, material: u32, amount: Exact, demand: Exact) {
        match self.lines.iter_mut().find(|line| line.material == material) {
            Some(line) => {
                line.amount += amount;
                line.demand += demand;
            }
            None => self.lines.push(FlatLine { material, amount, demand }),
        }
    }
}
