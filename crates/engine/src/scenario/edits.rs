//! What a scenario assumes of formulas, packs and rates of the house: rows written anew, as somebody would write them who really made the
//! change, so that everything that looks at them sees it.

use chrono::NaiveDate;
use domain::{
    Catalogue,
    catalogue::Replaced,
    formulas::{AmountBasis, Formula, FormulaVersion},
    house_rates::{HouseRate, HouseRateAmount},
    packs::Pack,
    text::code_key,
};
use kernel::{
    Count, Exact, Money, Percent, UnitPrice,
    ids::{FormulaId, FormulaVersionId, HouseRateId, MaterialId, PackId},
};
use rust_decimal::Decimal;
use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
};

use super::{
    Change, HouseRateBy, VolumeBy,
    laying::{above_minus_hundred, known},
};
use crate::{
    EngineError, View,
    normalise::normalise,
    reach::looked_at,
    reformulate::{NewShare, Reformulated, diluent_of, share_of, with_shares},
    words::percent,
};

/// What is assumed of formulas, packs and rates of the house.
#[derive(Debug, Default)]
pub(crate) struct Edited {
    /// Versions as they are assumed.
    pub versions: BTreeMap<FormulaVersionId, FormulaVersion>,
    /// Packs as they are assumed.
    pub packs: BTreeMap<PackId, Pack>,
    /// All rates of the house, where one is assumed to be another.
    house_rates: Option<Vec<HouseRate>>,
    /// The names of those that are, in one letter case.
    pub rate_names: BTreeSet<String>,
    /// The last day from which one of them holds.
    pub rates_from: Option<NaiveDate>,
    /// What is said of a version that is assumed to be another, in sentences.
    pub of_version: BTreeMap<FormulaVersionId, Vec<String>>,
    /// What is said of a pack that is assumed to be another, in sentences.
    pub of_pack: BTreeMap<PackId, Vec<String>>,
    /// What could not be assumed as it was said, in sentences.
    pub problems: Vec<String>,
}

impl Edited {
    /// Whether nothing is assumed.
    pub fn is_empty(&self) -> bool {
        self.versions.is_empty() && self.packs.is_empty() && self.house_rates.is_none()
    }

    /// Whether what runs take may be another.
    pub fn touches_runs(&self) -> bool {
        !self.versions.is_empty() || !self.packs.is_empty()
    }

    /// The catalogue with all that is assumed; `None` when that is nothing.
    pub fn catalogue(&self, plain: &Catalogue) -> Option<Catalogue> {
        (!self.is_empty()).then(|| plain.replacing(self.replaced(true)))
    }

    /// The same with formulas as written, for tickets, which are copies of what was written; `None` when that is no other than
    /// [`Edited::catalogue`].
    pub fn catalogue_of_tickets(&self, plain: &Catalogue) -> Option<Catalogue> {
        (!self.versions.is_empty()).then(|| plain.replacing(self.replaced(false)))
    }

    fn replaced(&self, with_versions: bool) -> Replaced {
        Replaced {
            versions: if with_versions { self.versions.values().cloned().collect() } else { Vec::new() },
            packs: self.packs.values().cloned().collect(),
            house_rates: self.house_rates.clone(),
        }
    }

    /// Begins with nothing assumed; versions are those looked at on a day.
    pub fn begun<'v>(view: &'v View<'_>, on: NaiveDate) -> Editing<'v, 'v> {
        Editing { view, on, found: Self::default() }
    }
}

/// Changes laid over rows one after the other.
pub(crate) struct Editing<'v, 'a> {
    view: &'v View<'a>,
    on: NaiveDate,
    found: Edited,
}

impl Editing<'_, '_> {
    /// All that was assumed.
    pub fn done(self) -> Edited {
        self.found
    }

    /// Lays one change over the rows; one that is not about them is passed over.
    pub fn edit(&mut self, change: &Change, position: usize) -> Result<(), EngineError> {
        let does_not_fit = |why: String| EngineError::ChangeDoesNotFit { position, why };
        match change {
            Change::Dose { version, line, to, against } => {
                self.dose(*version, *line, *to, *against, position)
            }
            Change::Substitute { old, new, factor, within } => {
                self.substitute(*old, *new, factor.unwrap_or(Decimal::ONE), *within, position)
            }
            Change::BatchSize { formula, to } => {
                let mut version = self.version_of(*formula)?.into_owned();
                if !to.is_positive() {
                    return Err(EngineError::BatchNotPositive);
                }
                let code = self.formula(*formula)?.code.clone();
                if version.largest_batch.is_some_and(|most| *to > most) {
                    self.found.problems.push(format!("{code}: the vessel does not take {to} kg"));
                }
                if version.smallest_batch.is_some_and(|least| *to < least) {
                    self.found.problems.push(format!("{code}: {to} kg are too little for the vessel"));
                }
                let said = format!("usual batch {} kg instead of {} kg", to, version.usual_batch);
                version.usual_batch = *to;
                self.put_version(version, said);
                Ok(())
            }
            Change::ProcessLoss { formula, to } => {
                let mut version = self.version_of(*formula)?.into_owned();
                to.require_loss().map_err(|error| does_not_fit(error.to_string()))?;
                let said = format!("process loss {to} instead of {}", version.process_loss);
                version.process_loss = *to;
                self.put_version(version, said);
                Ok(())
            }
            Change::Overfill { pack, to } => {
                let mut pack = self.pack(*pack)?.into_owned();
                if to.is_negative() {
                    return Err(does_not_fit(format!("an overfill of {to} is below nought")));
                }
                let said = format!("overfill {to} instead of {}", pack.overfill);
                pack.overfill = *to;
                self.put_pack(pack, said);
                Ok(())
            }
            Change::SalesVolume { pack, by } => self.volume(*pack, *by, position),
            Change::HouseRate { name, by, from } => self.house_rate(name, *by, *from, position),
            _ => Ok(()),
        }
    }

    fn formula(&self, id: FormulaId) -> Result<&Formula, EngineError> {
        known(self.view.catalogue().formulas.get(id), "formula", id).map(|formula| &**formula)
    }

    /// The version a formula is looked at by, as assumed so far.
    fn version_of(&self, formula: FormulaId) -> Result<Cow<'_, FormulaVersion>, EngineError> {
        let formula = self.formula(formula)?;
        let version = looked_at(formula, self.on);
        let version = known(version, "version of formula", &formula.code)?;
        Ok(Cow::Borrowed(self.found.versions.get(&version.id).unwrap_or(version)))
    }

    fn pack(&self, id: PackId) -> Result<Cow<'_, Pack>, EngineError> {
        if let Some(pack) = self.found.packs.get(&id) {
            return Ok(Cow::Borrowed(pack));
        }
        known(self.view.catalogue().packs.get(id), "pack", id).map(|pack| Cow::Borrowed(&**pack))
    }

    fn put_version(&mut self, version: FormulaVersion, said: String) {
        self.found.of_version.entry(version.id).or_default().push(said);
        self.found.versions.insert(version.id, version);
    }

    fn put_pack(&mut self, pack: Pack, said: String) {
        self.found.of_pack.entry(pack.id).or_default().push(said);
        self.found.packs.insert(pack.id, pack);
    }

    fn code_of(&self, material: MaterialId) -> Result<&str, EngineError> {
        known(self.view.catalogue().materials.get(material), "material", material)
            .map(|material| material.code.as_str())
    }

    fn dose(
        &mut self,
        id: FormulaVersionId,
        line: u32,
        to: Percent,
        against: Option<u32>,
        position: usize,
    ) -> Result<(), EngineError> {
        let does_not_fit = |why: String| EngineError::ChangeDoesNotFit { position, why };
        let (_, written) = known(self.view.catalogue().version(id), "formula version", id)?;
        let version = self.found.versions.get(&id).unwrap_or(written);
        let share = to.fraction();
        if share.is_negative() || share > Exact::ONE {
            return Err(does_not_fit(format!("a dose of {to} cannot be")));
        }
        let Some(stands) = version.lines.iter().find(|known| known.position == line) else {
            return Err(does_not_fit(format!("there is no line {line}")));
        };
        let diluent = diluent_of(version, against).map_err(does_not_fit)?;
        if diluent == line {
            return Err(does_not_fit(format!("line {line} cannot take its own difference")));
        }
        let normalised = normalise(self.view, version)?;
        let was = share_of(&normalised, line).cloned();
        let new = NewShare { position: line, share, material: None };
        let said = format!(
            "line {line} ({}) at {to}{}",
            self.code_of(stands.material)?,
            was.map_or_else(String::new, |was| format!(" instead of {}", percent(&was)))
        );
        match with_shares(self.view, version, &normalised, &[new], diluent)? {
            Reformulated::Written(version) => {
                self.put_version(*version, said);
                Ok(())
            }
            Reformulated::Short { holds, wanted } => Err(does_not_fit(format!(
                "line {diluent} holds {}, and {} would have to be taken from it",
                percent(&holds),
                percent(&wanted)
            ))),
        }
    }

    fn substitute(
        &mut self,
        old: MaterialId,
        new: MaterialId,
        factor: Decimal,
        within: Option<FormulaId>,
        position: usize,
    ) -> Result<(), EngineError> {
        let does_not_fit = |why: String| EngineError::ChangeDoesNotFit { position, why };
        let catalogue = self.view.catalogue();
        let old = known(catalogue.materials.get(old), "material", old)?;
        let new = known(catalogue.materials.get(new), "material", new)?;
        if old.id == new.id {
            return Err(does_not_fit(format!("{} would stand in its own place", old.code)));
        }
        if old.stock_dimension() != new.stock_dimension() {
            return Err(does_not_fit(format!("{} and {} are not kept by the same unit", old.code, new.code)));
        }
        if factor <= Decimal::ZERO {
            return Err(does_not_fit(format!("{factor} of {} cannot stand for one", new.code)));
        }
        let said = format!("{} instead of {}, {} for 1", new.code, old.code, factor.normalize());
        let formulas: Vec<FormulaId> = match within {
            Some(formula) => vec![self.formula(formula)?.id],
            None => catalogue.formulas.iter().map(|formula| formula.id).collect(),
        };
        let mut found = false;
        for id in formulas {
            let Ok(version) = self.version_of(id) else { continue };
            if !version.lines.iter().any(|line| line.material == old.id) {
                continue;
            }
            found = true;
            let exchanged = exchanged(self.view, &version, (old.id, new.id), &Exact::from(factor))?;
            match exchanged {
                Ok(version) => self.put_version(version, said.clone()),
                Err(why) if within.is_some() => return Err(does_not_fit(why)),
                Err(why) => {
                    let code = self.formula(id)?.code.clone();
                    self.found.problems.push(format!("{code} keeps {}: {why}", old.code));
                }
            }
        }
        let packs = catalogue.packs.iter().filter(|pack| within.is_none_or(|id| id == pack.formula));
        for id in packs.map(|pack| pack.id).collect::<Vec<_>>() {
            let mut pack = self.pack(id)?.into_owned();
            let mut holds = false;
            for part in pack.components.iter_mut().filter(|part| part.material == old.id) {
                part.material = new.id;
                part.quantity = Count::from_exact_up(&(part.quantity.to_exact() * Exact::from(factor)))?;
                holds = true;
            }
            if holds {
                found = true;
                self.put_pack(pack, said.clone());
            }
        }
        if found { Ok(()) } else { Err(does_not_fit(format!("{} does not stand there", old.code))) }
    }

    fn volume(&mut self, pack: Option<PackId>, by: VolumeBy, position: usize) -> Result<(), EngineError> {
        let does_not_fit = |why: String| EngineError::ChangeDoesNotFit { position, why };
        let packs: Vec<PackId> = match pack {
            Some(pack) => vec![pack],
            None => self.view.catalogue().packs.iter().map(|pack| pack.id).collect(),
        };
        for id in packs {
            let mut changed = self.pack(id)?.into_owned();
            let units = match (by, changed.units_a_year) {
                (VolumeBy::Units(units), _) => units,
                (VolumeBy::Percent(percent), Some(units)) => {
                    let percent = above_minus_hundred(percent).map_err(does_not_fit)?;
                    let units = Exact::whole(i128::from(units)) * (Exact::ONE + percent.fraction());
                    u64::try_from(units.floor()?)
                        .map_err(|_| does_not_fit("more units than can be kept".to_owned()))?
                }
                (VolumeBy::Percent(_), None) if pack.is_some() => {
                    return Err(does_not_fit(format!("{} has no yearly volume to change", changed.code)));
                }
                (VolumeBy::Percent(_), None) => continue,
            };
            let said = match changed.units_a_year {
                Some(before) => format!("{units} units a year instead of {before}"),
                None => format!("{units} units a year"),
            };
            changed.units_a_year = Some(units);
            self.put_pack(changed, said);
        }
        Ok(())
    }

    fn house_rate(
        &mut self,
        name: &str,
        by: HouseRateBy,
        from: Option<NaiveDate>,
        position: usize,
    ) -> Result<(), EngineError> {
        let does_not_fit = |why: String| EngineError::ChangeDoesNotFit { position, why };
        let key = code_key(name);
        let mut rates = match self.found.house_rates.take() {
            Some(rates) => rates,
            None => self.view.catalogue().house_rates().cloned().collect(),
        };
        let is_meant = |rate: &HouseRate| code_key(&rate.name) == key;
        if !rates.iter().any(is_meant) {
            return Err(EngineError::NotFound { what: "rate of the house", key: name.to_owned() });
        }
        if let Some(from) = from {
            // What holds on the day goes on from it as another.
            let holds = rates.iter().filter(|rate| is_meant(rate) && rate.from <= from);
            if let Some(holds) = holds.max_by_key(|rate| rate.from).filter(|rate| rate.from < from) {
                let next = HouseRate { id: HouseRateId::new(), from, ..holds.clone() };
                rates.push(next);
            }
        }
        for rate in rates.iter_mut().filter(|rate| is_meant(rate)) {
            if from.is_none_or(|from| rate.from >= from) {
                rate.amount = rate_amount(&rate.amount, by).map_err(does_not_fit)?;
            }
        }
        self.found.house_rates = Some(rates);
        self.found.rate_names.insert(key);
        self.found.rates_from = self.found.rates_from.max(from);
        Ok(())
    }
}

/// A version with one material in the place of another, or why it cannot be.
fn exchanged(
    view: &View<'_>,
    version: &FormulaVersion,
    (old, new): (MaterialId, MaterialId),
    factor: &Exact,
) -> Result<Result<FormulaVersion, String>, EngineError> {
    let makes = view.formula_of(version)?.makes;
    if makes == new {
        return Ok(Err("the formula would contain itself".to_owned()));
    }
    let by_active = |line: &domain::formulas::FormulaLine| {
        line.material == old && line.basis == AmountBasis::ActiveMatter
    };
    let mut written = if *factor == Exact::ONE && !version.lines.iter().any(by_active) {
        version.clone()
    } else {
        let diluent = match diluent_of(version, None) {
            Ok(diluent) => diluent,
            Err(why) => return Ok(Err(why)),
        };
        let normalised = normalise(view, version)?;
        let mut shares = Vec::new();
        for line in version.lines.iter().filter(|line| line.material == old) {
            if line.position == diluent {
                return Ok(Err("it is what takes up the difference".to_owned()));
            }
            let Some(share) = share_of(&normalised, line.position) else {
                return Ok(Err(format!("the dose of line {} is not known", line.position)));
            };
            shares.push(NewShare { position: line.position, share: share * factor, material: None });
        }
        match with_shares(view, version, &normalised, &shares, diluent)? {
            Reformulated::Written(version) => *version,
            Reformulated::Short { .. } => {
                return Ok(Err("the q.s. line does not hold the difference".to_owned()));
            }
        }
    };
    for line in written.lines.iter_mut().filter(|line| line.material == old) {
        line.material = new;
    }
    if let Some(path) = crate::explode::loop_through(view.catalogue(), makes, &written.lines) {
        return Ok(Err(format!("the formula would contain itself: {}", path.join(" → "))));
    }
    Ok(Ok(written))
}

/// A rate of the house as it is assumed.
fn rate_amount(amount: &HouseRateAmount, by: HouseRateBy) -> Result<HouseRateAmount, String> {
    let too_much = |error: kernel::AmountError| error.to_string();
    match by {
        HouseRateBy::To(price) if price.scaled() < 0 => Err("a rate must not be below nought".to_owned()),
        HouseRateBy::To(price) => Ok(HouseRateAmount::Stated(price)),
        HouseRateBy::Percent(percent) => {
            let factor = Exact::ONE + above_minus_hundred(percent)?.fraction();
            Ok(match amount {
                HouseRateAmount::Stated(price) => {
                    let scaled = (price.to_exact() * &factor).round_half_even_scaled(UnitPrice::PLACES);
                    HouseRateAmount::Stated(UnitPrice::from_scaled(
                        scaled.map_err(too_much)?,
                        price.currency(),
                    ))
                }
                HouseRateAmount::Percent(of) => HouseRateAmount::Percent(
                    Percent::from_exact_half_even(&(of.fraction() * &factor * Exact::whole(100)))
                        .map_err(too_much)?,
                ),
                HouseRateAmount::Budget { cost, normal_capacity, capacity_used } => {
                    let cost = Money::from_exact_half_even(&(cost.to_exact() * &factor), cost.currency());
                    HouseRateAmount::Budget {
                        cost: cost.map_err(too_much)?,
                        normal_capacity: *normal_capacity,
                        capacity_used: *capacity_used,
                    }
                }
            })
        }
    }
}
