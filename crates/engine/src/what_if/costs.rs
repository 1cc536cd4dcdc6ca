//! Costs on both sides of a scenario.

use chrono::NaiveDate;
use kernel::{Exact, Money, ids::PackId};

use super::{CostHit, Figures, NotKnown, TicketCostHit, WhatIf, because::because};
use crate::{
    cost::{CostRequest, CostSubject, cost_sheet},
    reach::{Reach, component_paths, paths},
    recipes::Recipes,
    scenario::Edited,
    shelf::Shelf,
    view::View,
};

/// Both sides of the catalogue.
pub(super) struct Costing<'w, 'a> {
    pub plain: &'w View<'a>,
    pub changed: &'w View<'a>,
    /// The changed side as tickets see it, which are copies of formulas as written.
    pub of_tickets: &'w View<'a>,
    /// The least margin a pack should leave, as a fraction of one.
    pub floor: Option<&'w Exact>,
    /// What is assumed of rows, for saying why something is hit.
    pub edited: &'w Edited,
}

impl Costing<'_, '_> {
    /// Both sheets of a subject; `None`, and the reason among the problems, when it cannot be costed.
    fn sheets(
        &self,
        (before, changed, after): (&CostRequest, &View<'_>, &CostRequest),
        what: &str,
        problems: &mut Vec<String>,
    ) -> Option<(Figures, Figures)> {
        let sheets = cost_sheet(self.plain, before)
            .and_then(|before| Ok((Figures::from(&before), Figures::from(&cost_sheet(changed, after)?))));
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
            let Some((before, after)) =
                self.sheets((&request, self.changed, &request), &formula.code, &mut answer.problems)
            else {
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
                because: Vec::new(),
                units_before: None,
                earned_change: None,
                below_floor: None,
                price_for_floor: None,
                shares: Vec::new(),
                timing: None,
                not_known: Vec::new(),
                before,
                after,
            };
            hit.because = because(self.edited, &hit);
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
        let (before, after) =
            self.sheets((&request, self.changed, &request), &pack.code, &mut answer.problems)?;
        let (units_before, units_a_year) = (pack.units_a_year, self.units_of(id));
        if before == after && units_before == units_a_year {
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
            units_a_year,
            yearly_effect: None,
            because: Vec::new(),
            units_before,
            earned_change: None,
            below_floor: None,
            price_for_floor: None,
            shares: Vec::new(),
            timing: None,
            not_known: Vec::new(),
            before,
            after,
        };
        hit.because = because(self.edited, &hit);
        hit.compare(|figures| figures.per_unit.as_ref());
        hit.yearly_effect = hit
            .units_a_year
            .zip(hit.change.as_ref())
            .map(|(units, change)| &Exact::whole(i128::from(units)) * change);
        let price = self.price_of(pack.price, on);
        hit.earned_change = price.as_ref().and_then(|price| hit.earned_change_at(price));
        hit.stand_against(self.floor);
        hit.hold_price(price);
        if units_a_year.is_none() {
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

    /// The yearly volume that is assumed.
    fn units_of(&self, pack: PackId) -> Option<u64> {
        self.changed.catalogue().packs.get(pack)?.units_a_year
    }

    fn price_of(&self, price: Option<Money>, on: NaiveDate) -> Option<Exact> {
        let (price, _) = self.plain.money_in_house_currency(price?, on, String::new).ok()?;
        Some(price)
    }

    /// Open tickets, costed at their own batch on their own day: a price that rises later does not touch them.
    pub fn tickets(&self, reached: &Reach, shelf: &Shelf, assumed: &Shelf, answer: &mut WhatIf) {
        let mut tickets: Vec<_> = shelf.tickets.iter().filter(|ticket| ticket.status.is_open()).collect();
        tickets.sort_by(|a, b| (a.planned_for, &a.number).cmp(&(b.planned_for, &b.number)));
        for ticket in tickets {
            let weighs = ticket.lines.iter().any(|line| reached.materials.contains(&line.material));
            let moved_to = assumed.ticket(ticket.id).map_or(ticket.planned_for, |moved| moved.planned_for);
            if !weighs
                && moved_to == ticket.planned_for
                && !reached.versions.contains(&ticket.version)
                && !ticket.pack.is_some_and(|pack| reached.packs.contains(&pack))
            {
                continue;
            }
            let subject = match ticket.pack {
                Some(pack) => CostSubject::Pack { pack, version: Some(ticket.version) },
                None => CostSubject::Version(ticket.version),
            };
            let on = moved_to.max(answer.as_of);
            let request = |day: NaiveDate| CostRequest::new(subject, day).at_batch(ticket.batch);
            let sides = (&request(ticket.planned_for.max(answer.as_of)), self.of_tickets, &request(on));
            let Some((before, after)) = self.sheets(sides, &ticket.number, &mut answer.problems) else {
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

    /// What is earned more in a year at a price, with the volumes of each side; below nought when it is less.
    fn earned_change_at(&self, price: &Exact) -> Option<Exact> {
        let earned = |units: Option<u64>, figures: &Figures| {
            let units = Exact::whole(i128::from(units?));
            figures.complete.then_some(())?;
            Some(&units * &(price - figures.per_unit.as_ref()?))
        };
        Some(earned(self.units_a_year, &self.after)? - earned(self.units_before, &self.before)?)
    }

    /// Whether the margin that is left is less than it should be, and the price that would bring it there.
    fn stand_against(&mut self, floor: Option<&Exact>) {
        let Some(floor) = floor else { return };
        self.below_floor = self.after.margin.as_ref().map(|margin| margin < floor);
        let cost = self.after.per_unit.as_ref().filter(|_| self.after.complete);
        // margin = 1 − cost / price
        self.price_for_floor = cost.and_then(|cost| cost.checked_div(&(Exact::ONE - floor)).ok());
    }

    /// By money a year, the most first; those without after them, by percent.
    fn rank(&self) -> (bool, std::cmp::Reverse<Exact>) {
        let key = self.yearly_effect.as_ref().or(self.change_share.as_ref());
        (self.yearly_effect.is_none(), std::cmp::Reverse(key.map_or(Exact::ZERO, Exact::abs)))
    }
}
