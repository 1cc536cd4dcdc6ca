//! What a weighing has to satisfy before it is posted: the lot, the balance, the tolerance, that it was not entered before, and what it
//! counts for when the lot is stronger or weaker than the target was worked out with, or when an alternate was taken.

use chrono::{DateTime, Duration, NaiveDate, Utc};
use domain::{
    Catalogue, Refusal,
    alternates::{Alternate, approved_alternate},
    balances::Balance,
    lots::Lot,
    materials::Material,
    people::{Actor, Capability},
    text,
    tickets::{Ticket, TicketLine, WeighedHow},
};
use kernel::{
    Mass, Percent, Quantity,
    ids::{LotId, TicketLineId},
    limits::SAME_SHEET_HOURS,
};
use std::collections::HashMap;

use crate::{
    Error,
    fresh::Problems,
    lots::lot_short,
    ticket_lines::stop_of,
    weighing::{TicketWeigh, WeighingWrite},
};

/// A weighing that passed every check.
pub(crate) struct CheckedWeighing {
    pub line: TicketLineId,
    pub lot: Option<LotId>,
    pub amount: Mass,
    pub checked_by: Option<String>,
    pub how: WeighedHow,
}

/// What weighings are checked against.
pub(crate) struct Weigh<'a> {
    pub catalogue: &'a Catalogue,
    pub ticket: &'a Ticket,
    pub lots: &'a HashMap<LotId, Lot>,
    pub alternates: &'a [Alternate],
    pub balances: &'a [Balance],
    pub actor: &'a Actor,
    pub now: DateTime<Utc>,
}

/// What has been entered so far in one go: per lot, per line, and each weighing.
struct SoFar {
    /// As if what was entered before this weighing were on the ticket already.
    ticket: Ticket,
    taken: HashMap<LotId, i64>,
}

impl Weigh<'_> {
    /// Checks all weighings, as if entered one after another. Mistakes in the input go to `problems`; what the rules refuse is
    /// returned, all of it.
    pub fn check(
        &self,
        input: &TicketWeigh,
        on: NaiveDate,
        problems: &mut Problems,
    ) -> Result<Vec<CheckedWeighing>, Error> {
        let mut refusals = Vec::new();
        let mut so_far = SoFar { ticket: self.ticket.clone(), taken: HashMap::new() };
        let mut checked = Vec::with_capacity(input.weighings.len());
        for (at, entry) in input.weighings.iter().enumerate() {
            let place = format!("weighings[{at}]");
            if let Some(weighing) = self.one(entry, &place, on, &mut so_far, problems, &mut refusals)? {
                checked.push(weighing);
            }
        }
        if refusals.is_empty() { Ok(checked) } else { Err(Error::Refused(refusals)) }
    }

    fn one(
        &self,
        entry: &WeighingWrite,
        place: &str,
        on: NaiveDate,
        so_far: &mut SoFar,
        problems: &mut Problems,
        refusals: &mut Vec<Refusal>,
    ) -> Result<Option<CheckedWeighing>, Error> {
        let Some(line) = self.ticket.line_at(entry.line) else {
            problems.push(
                format!("{place}.line"),
                format!("ticket {} has no line {}", self.ticket.number, entry.line),
            );
            return Ok(None);
        };
        let Some(material) = self.catalogue.materials.get(line.material) else {
            problems.push(format!("{place}.line"), "the line's material is gone");
            return Ok(None);
        };
        if !entry.amount.is_positive() {
            problems.push(format!("{place}.amount"), "a weighing must be above nought");
            return Ok(None);
        }
        let checked_by = entry
            .checked_by
            .as_deref()
            .filter(|n| !n.trim().is_empty())
            .and_then(|name| problems.take(&format!("{place}.checkedBy"), text::name("a name", name)));
        if checked_by.as_deref().is_some_and(|name| name == self.actor.name) {
            problems.push(format!("{place}.checkedBy"), "the second check is another person's");
        }
        let reason = problems.note(&format!("{place}.reason"), entry.reason.as_deref());
        let overruled = reason.is_some() && self.actor.may(Capability::ReleaseAndReject);
        let how = self.how(entry, reason, place, problems);

        self.entered_before(entry, line, material, so_far, refusals);
        if let Some(balance) = entry.how.balance {
            self.on_balance(entry, line, balance, on, overruled, place, problems, refusals)?;
        }
        let Some(counts_as) =
            self.strength_of_lot(entry, line, material, on, overruled, so_far, place, problems, refusals)?
        else {
            return Ok(None);
        };
        let how = WeighedHow { counts_as, ..how };
        self.within_tolerance(entry, line, &how, overruled, so_far, refusals)?;
        Ok(Some(CheckedWeighing { line: line.id, lot: entry.lot, amount: entry.amount, checked_by, how }))
    }

    /// How it was weighed, as it will be kept.
    fn how(
        &self,
        entry: &WeighingWrite,
        reason: Option<String>,
        place: &str,
        problems: &mut Problems,
    ) -> WeighedHow {
        let entered = &entry.how;
        match (entered.gross, entered.tare) {
            (Some(gross), tare) => {
                let tare = tare.unwrap_or_default();
                if tare.is_negative() || gross.checked_sub(tare) != Ok(entry.amount) {
                    problems.push(
                        format!("{place}.amount"),
                        format!("{gross} gross less {tare} tare is not {} net", entry.amount),
                    );
                }
            }
            (None, Some(_)) => problems.push(format!("{place}.gross"), "a tare goes with its gross"),
            (None, None) => {}
        }
        let done_at = entered.done_at.and_then(|at| DateTime::from_timestamp_micros(at.timestamp_micros()));
        if done_at.is_some_and(|done| done > self.now) {
            problems.push(format!("{place}.doneAt"), "it cannot have been weighed later than now");
        }
        WeighedHow {
            gross: entered.gross,
            tare: entered.gross.and(entered.tare),
            balance: entered.balance,
            done_at,
            reason,
            counts_as: None,
            result_before: problems.note(&format!("{place}.resultBefore"), entered.result_before.as_deref()),
            result_after: problems.note(&format!("{place}.resultAfter"), entered.result_after.as_deref()),
            mixed_minutes: entered.mixed_minutes,
            checked_at: None,
            outcome: None,
        }
    }

    /// The same line, lot and amount a short while ago is the same sheet typed twice, unless somebody says otherwise.
    fn entered_before(
        &self,
        entry: &WeighingWrite,
        line: &TicketLine,
        material: &Material,
        so_far: &SoFar,
        refusals: &mut Vec<Refusal>,
    ) {
        if entry.how.another {
            return;
        }
        let since = self.now - Duration::hours(SAME_SHEET_HOURS);
        let same = so_far.ticket.weighings.iter().find(|w| {
            w.stands() && w.line == line.id && w.lot == entry.lot && w.amount == entry.amount && w.at >= since
        });
        if let Some(same) = same {
            let lot = entry.lot.and_then(|id| self.lots.get(&id));
            refusals.push(Refusal::EnteredBefore {
                line: line.position,
                lot: lot.map_or_else(|| material.code.clone(), |lot| lot.number.clone()),
                amount: Quantity::Mass(entry.amount),
                by: same.by.clone(),
            });
        }
    }

    #[expect(clippy::too_many_arguments, reason = "one check among several on the same entry")]
    fn on_balance(
        &self,
        entry: &WeighingWrite,
        line: &TicketLine,
        balance: kernel::ids::BalanceId,
        on: NaiveDate,
        overruled: bool,
        place: &str,
        problems: &mut Problems,
        refusals: &mut Vec<Refusal>,
    ) -> Result<(), Error> {
        let Some(balance) = self.balances.iter().find(|known| known.id == balance) else {
            problems.push(format!("{place}.balance"), "there is no such balance");
            return Ok(());
        };
        let load = entry.how.gross.unwrap_or(entry.amount);
        for (field, shown) in [("gross", entry.how.gross), ("tare", entry.how.tare)] {
            if let Some(shown) = shown.filter(|shown| !balance.shows(*shown)) {
                problems.push(
                    format!("{place}.{field}"),
                    format!("{} shows steps of {}, so never {shown}", balance.code, balance.division),
                );
            }
        }
        if entry.how.gross.is_none() && !balance.shows(entry.amount) {
            problems.push(
                format!("{place}.amount"),
                format!("{} shows steps of {}, so never {}", balance.code, balance.division, entry.amount),
            );
        }
        let because = balance.against(entry.amount, load, line.tolerance, on)?;
        if !because.is_empty() && !overruled {
            refusals.push(Refusal::BalanceNotFit {
                line: line.position,
                balance: balance.code.clone(),
                because,
            });
        }
        Ok(())
    }

    /// Looks at the lot as it is at this moment, and says what the amount counts for when that is not its mass. `None` when there is a
    /// mistake in the entry.
    #[expect(
        clippy::too_many_arguments,
        clippy::option_option,
        reason = "one check among several on the same entry"
    )]
    fn strength_of_lot(
        &self,
        entry: &WeighingWrite,
        line: &TicketLine,
        material: &Material,
        on: NaiveDate,
        overruled: bool,
        so_far: &mut SoFar,
        place: &str,
        problems: &mut Problems,
        refusals: &mut Vec<Refusal>,
    ) -> Result<Option<Option<Mass>>, Error> {
        let (lot, stocked) = (entry.lot.and_then(|id| self.lots.get(&id)), material.kind.is_stocked());
        let lot = match (stocked, lot) {
            (true, Some(lot)) => lot,
            (true, None) => {
                problems
                    .push(format!("{place}.lot"), format!("say which lot of {} was weighed", material.code));
                return Ok(None);
            }
            (false, Some(_)) => {
                problems
                    .push(format!("{place}.lot"), format!("{} is a utility and has no lots", material.code));
                return Ok(None);
            }
            (false, None) => return Ok(Some(None)),
        };
        if line.asks.rework_of.is_some_and(|only| only != lot.id) {
            refusals.push(self.other_material(line, lot, material));
            return Ok(None);
        }
        let (of, counts_as) = if lot.material == line.material {
            (material, strength_counts_as(line, lot, material, entry.amount)?)
        } else {
            let approved =
                approved_alternate(self.alternates, line.material, lot.material, self.ticket.formula, on);
            let (Some(approved), Some(of)) = (approved, self.catalogue.materials.get(lot.material)) else {
                refusals.push(self.other_material(line, lot, material));
                return Ok(None);
            };
            (&**of, approved.counts_as(entry.amount))
        };
        let product = self.catalogue.formulas.get(self.ticket.formula).map(|formula| formula.makes);
        let because = lot.unusable_for(on, of, product);
        if !because.is_empty() && !overruled {
            refusals.push(Refusal::LotNotUsable { lot: lot.id, lot_number: lot.number.clone(), on, because });
        }
        let gone = so_far.taken.entry(lot.id).or_insert(0);
        let available = lot.free().saturating_add(self.promised_here(lot)).min(lot.on_hand.raw());
        let left = available.saturating_sub(*gone).max(0);
        *gone = gone.saturating_add(entry.amount.micrograms());
        if entry.amount.micrograms() > left {
            refusals.push(lot_short(lot, of, Quantity::Mass(entry.amount), left));
        }
        Ok(Some(counts_as))
    }

    /// Whether the line stays within its tolerance or below its stop with this one; puts it on the ticket as it would stand.
    fn within_tolerance(
        &self,
        entry: &WeighingWrite,
        line: &TicketLine,
        how: &WeighedHow,
        overruled: bool,
        so_far: &mut SoFar,
        refusals: &mut Vec<Refusal>,
    ) -> Result<(), Error> {
        so_far.ticket.weighings.push(domain::tickets::Weighing {
            id: kernel::ids::WeighingId::new(),
            line: line.id,
            lot: entry.lot,
            amount: entry.amount,
            by: self.actor.name.clone(),
            at: self.now,
            checked_by: None,
            movement: None,
            reversed: None,
            how: how.clone(),
        });
        let target = so_far.ticket.target_of(line);
        let holds = so_far.ticket.counted_on(line.id);
        let stop = stop_of(self.catalogue, self.ticket, line)?;
        let margin = match (&stop, line.tolerance) {
            (Some(stop), _) => Some(stop.checked_sub(line.target)?),
            (None, Some(tolerance)) => {
                Some(Mass::from_exact_down(&(target.to_exact() * tolerance.fraction()))?)
            }
            (None, None) => None,
        };
        if let Some(margin) = margin
            && holds > target.checked_add(margin)?
            && !overruled
        {
            // A line that fills up, or is added to a result, is no measure of the batch.
            let measure = stop.is_none() && !line.asks.fills_up;
            let scaled = if measure { Some(self.ticket.batch_scaled_to(line, holds)?) } else { None };
            refusals.push(Refusal::OutsideTolerance {
                line: line.position,
                weighed: Quantity::Mass(holds),
                target: Quantity::Mass(target),
                tolerance: Quantity::Mass(margin),
                scaled_batch: scaled.map(Quantity::Mass),
            });
        }
        Ok(())
    }

    fn promised_here(&self, lot: &Lot) -> i64 {
        self.ticket.allocations.iter().filter(|a| a.lot == lot.id).map(|a| a.quantity.raw()).sum()
    }

    fn other_material(&self, line: &TicketLine, lot: &Lot, material: &Material) -> Refusal {
        let lot_material =
            self.catalogue.materials.get(lot.material).map_or_else(String::new, |m| m.code.clone());
        Refusal::LotOfOtherMaterial {
            lot_number: lot.number.clone(),
            lot_material,
            line: line.position,
            line_material: material.code.clone(),
        }
    }
}

/// What an amount of a lot counts for on a line whose target is of active matter: more where the lot is stronger than the target was
/// worked out with. `None` where that makes no difference.
fn strength_counts_as(
    line: &TicketLine,
    lot: &Lot,
    material: &Material,
    amount: Mass,
) -> Result<Option<Mass>, Error> {
    let of_lot: Option<Percent> = lot.active_matter.or(material.active_matter);
    let (Some(nominal), Some(strength)) = (line.asks.nominal_active, of_lot) else { return Ok(None) };
    if nominal == strength {
        return Ok(None);
    }
    let counted = (amount.to_exact() * strength.fraction()).checked_div(&nominal.fraction())?;
    Ok(Some(Mass::from_exact_half_even(&counted)?))
}
