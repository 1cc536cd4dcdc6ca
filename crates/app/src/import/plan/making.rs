//! Rates of the house and what versions say of their making.

use domain::{formulas::FormulaVersion, house_rates::HouseRate, making::MakingCost, text::code_key};
use kernel::ids::HouseRateId;

use super::{
    super::drafts::{ImportSet, MakingCostDraft, VersionDraft},
    Planner, Put, put,
};

impl Planner<'_> {
    pub(super) fn house_rates(&mut self, set: &ImportSet) {
        for draft in &set.house_rates {
            let known = self
                .catalogue
                .house_rates()
                .find(|r| r.from == draft.from && code_key(&r.name) == code_key(&draft.name));
            let wanted = HouseRate {
                id: known.map_or_else(HouseRateId::new, |r| r.id),
                name: known.map_or_else(|| draft.name.clone(), |r| r.name.clone()),
                of: draft.of,
                amount: draft.amount.clone(),
                from: draft.from,
                note: draft.note.clone(),
            };
            if let Some(of) = self.codes.house_rate_of(&draft.name).filter(|of| *of != draft.of) {
                let message = format!(
                    "“{}” is {} per {} here; what a rate is of cannot change",
                    draft.name,
                    of.kind_word(),
                    of.per_words()
                );
                self.codes.problem(&draft.place, "kind", message);
            }
            match put(&mut self.plan.report.house_rates, known, wanted) {
                None => {}
                Some(Put::New(rate)) => self.plan.house_rates.push(rate),
                Some(Put::Changed(_)) => self.codes.problem(
                    &draft.place,
                    "amount",
                    format!("another rate “{}” stands here from {}", draft.name, draft.from),
                ),
            }
        }
    }

    /// The named costs of a version: those of the set, else the ones it has.
    pub(super) fn making_costs(
        &mut self,
        draft: &VersionDraft,
        known: Option<&FormulaVersion>,
    ) -> Vec<MakingCost> {
        let Some(costs) = &draft.costs else {
            return known.map_or_else(Vec::new, |version| version.making.costs.clone());
        };
        for MakingCostDraft { place, cost } in costs {
            if let Some(rate) = cost.rate() {
                self.codes.hourly_rate(place, "rate", rate);
            }
        }
        costs.iter().map(|draft| draft.cost.clone()).collect()
    }
}
