//! Costs on both sides of a scenario.

use chrono::NaiveDate;
use kernel::{Exact, Money, ids::PackId};

use super::{CostHit, Figures, NotKnown, TicketCostHit, WhatIf};
use crate::{
    cost::{CostRequest, CostSubject, cost_sheet},
    reach::{Reach, component_paths, paths},
    recipes::Recipes,
    shelf::Shelf,
    view::View,
};

/// Both sides of the catalogue.
pub(super) struct Costing<'w, 'a> {
    pub plain: &'w View<'a>,
    pub changed: &'w View<'a>,
}

impl Costing<'_, '_> {
    /// Both sheets of a subject; `None`, and the reason among the problems, when it cannot be costed.
    fn sheets(
        &self,
        request: &CostRequest,
        what: &str,
        problems: &mut Vec<String>,
    ) -> Option<(Figures, Figures)> {
        let sheets = cost_sheet(self.plain, request).and_then(|before| {
            Ok((Figures::from(&before), Figures::from(&cost_sheet(self.changed, request)?)))
        });
        match sheets {
            Ok(sheets) => Some(sheets),
            Err(error) => {
                problems.push(format!("{what}: {error}"));
                None
            }
        }
    }

    pub fn subjects(&self, reached: &Reach, answer: &mut WhatIf) {
        let recipes = Recipes::new(self.plain);
        let on = answer.costed_on;
        for id in &reached.versions {
            let Ok((formula, version)) = self.plain.version(*id) else { continue };
            let request = CostRequest::version(*id, on);
            let Some((before, after)) = self.sheets(&request, &formula.code, &mut answer.problems) else {
                continue;
            };
            if before == after {
                continue;
            }
            let mut hit = CostHit {
                formula: formula.id,
                version: version.id,
                pack: None,
                code: formula.code.clone(),
                name: formula.name.clone(),
                paths: paths(&recipes, reached, version, on),
                change: None,
                change_share: None,
                margin_change: None,
                price_to_hold_margin: None,
                price_to_hold_cash: None,
                units_a_year: None,
                yearly_effect: None,
                not_known: Vec::new(),
                before,
                after,
            };
            if hit.before.per_litre.is_none() {
                hit.not_known.push(NotKnown::NoDensity);
            }
            hit.compare(|figures| Some(&figures.per_kg));
            answer.formulas.push(hit);
        }
        for id in &reached.packs {
            if let Some(hit) = self.pack_hit(&recipes, reached, *id, answer) {
                answer.packs.push(hit);
            }
        }
        answer.packs.sort_by(|a, b| a.rank().cmp(&b.rank()).then_with(|| a.code.cmp(&b.code)));
        answer.yearly_effect = answer.packs.iter().filter_map(|hit| hit.yearly_effect.as_ref()).sum();
    }

    fn pack_hit(
        &self,
        recipes: &Recipes<'_>,
        reached: &Reach,
        id: PackId,
        answer: &mut WhatIf,
    ) -> Option<CostHit> {
        let on = answer.costed_on;
        let pack = self.plain.catalogue().packs.get(id)?;
        let request = CostRequest::pack(id, on);
        let (before, after) = self.sheets(&request, &pack.code, &mut answer.problems)?;
        if before == after {
            return None;
        }
        let version = self.plain.catalogue().formulas.get(pack.formula)?.approved_on(on)?;
        let mut all_paths = paths(recipes, reached, version, on);
        all_paths.extend(component_paths(self.plain, reached, id));
        let mut hit = CostHit {
            formula: pack.formula,
            version: version.id,
            pack: Some(id),
            code: pack.code.clone(),
            name: pack.name.clone(),
            paths: all_paths,
            change: None,
            change_share: None,
            margin_change: None,
            price_to_hold_margin: None,
            price_to_hold_cash: None,
            units_a_year: pack.units_a_year,
            yearly_effect: None,
            not_known: Vec::new(),
            before,
            after,
        };
        hit.compare(|figures| figures.per_unit.as_ref());
        hit.yearly_effect = hit
            .units_a_year
            .zip(hit.change.as_ref())
            .map(|(units, change)| &Exact::whole(i128::from(units)) * change);
        hit.hold_price(self.price_of(pack.price, on));
        if pack.units_a_year.is_none() {
            hit.not_known.push(NotKnown::NoYearlyVolume);
        }
        if pack.price.is_none() {
            hit.not_known.push(NotKnown::NoSellingPrice);
        }
        if hit.before.per_litre.is_none() {
            hit.not_known.push(NotKnown::NoDensity);
        }
        if !(hit.before.complete && hit.after.complete) {
            hit.not_known.push(NotKnown::CostWithGaps);
        }
        Some(hit)
    }

    fn price_of(&self, price: Option<Money>, on: NaiveDate) -> Option<Exact> {
        let (price, _) = self.plain.money_in_house_currency(price?, on, String::new).ok()?;
        Some(price)
    }

    /// Open tickets, costed at their own batch on their own day: a price that rises later does not touch them.
    pub fn tickets(&self, reached: &Reach, shelf: &Shelf, answer: &mut WhatIf) {
        let mut tickets: Vec<_> = shelf.tickets.iter().filter(|ticket| ticket.status.is_open()).collect();
        tickets.sort_by(|a, b| (a.planned_for, &a.number).cmp(&(b.planned_for, &b.number)));
        for ticket in tickets {
            let weighs = ticket.lines.iter().any(|line| reached.materials.contains(&line.material));
            if !weighs
                && !reached.versions.contains(&ticket.version)
                && !ticket.pack.is_some_and(|pack| reached.packs.contains(&pack))
            {
                continue;
            }
            let subject = match ticket.pack {
                Some(pack) => CostSubject::Pack { pack, version: Some(ticket.version) },
                None => CostSubject::Version(ticket.version),
            };
            let on = ticket.planned_for.max(answer.as_of);
            let request = CostRequest::new(subject, on).at_batch(ticket.batch);
            let Some((before, after)) = self.sheets(&request, &ticket.number, &mut answer.problems) else {
                continue;
            };
            if before.per_batch != after.per_batch {
                answer.ticket_costs.push(TicketCostHit {
                    ticket: ticket.id,
                    number: ticket.number.clone(),
                    on,
                    change: &after.per_batch - &before.per_batch,
                    before,
                    after,
                });
            }
        }
    }
}

impl CostHit {
    fn compare(&mut self, figure: impl Fn(&Figures) -> Option<&Exact>) {
        let complete = self.before.complete && self.after.complete;
        let sides = figure(&self.before).zip(figure(&self.after)).filter(|_| complete);
        let change = sides.map(|(before, after)| (after - before, before.clone()));
        self.change_share = change.as_ref().and_then(|(change, before)| change.checked_div(before).ok());
        self.change = change.map(|(change, _)| change);
        let margins = self.before.margin.as_ref().zip(self.after.margin.as_ref());
        self.margin_change = margins.map(|(before, after)| after - before);
    }

    /// The prices that keep the margin, and the money earned, as they were.
    fn hold_price(&mut self, price: Option<Exact>) {
        let costs = self.before.per_unit.as_ref().zip(self.after.per_unit.as_ref());
        let Some((price, (before, after))) = price.zip(costs).filter(|_| self.change.is_some()) else {
            return;
        };
        // margin = 1 − cost / price, so the price moves as the cost does.
        self.price_to_hold_margin = after.checked_div(before).ok().map(|ratio| &price * &ratio);
        self.price_to_hold_cash = Some(&price + &(after - before));
    }

    /// By money a year, the most first; those without after them, by percent.
    fn rank(&self) -> (bool, std::cmp::Reverse<Exact>) {
        let key = self.yearly_effect.as_ref().or(self.change_share.as_ref());
        (self.yearly_effect.is_none(), std::cmp::Reverse(key.map_or(Exact::ZERO, Exact::abs)))
    }
}
