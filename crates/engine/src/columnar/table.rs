//! Compressed rows of whole amounts over a divisor, prices by slot, and the index from a material to its lines.

use kernel::Exact;
use std::collections::BTreeMap;

use crate::EngineError;

/// Places of a price that is kept as a whole number.
pub(super) const PRICE_PLACES: u32 = 12;

/// Prices, each of one material.
#[derive(Debug, Default)]
pub(super) struct Slots {
    /// In 10⁻¹² of the currency; nought where the price stands in `odd`.
    whole: Vec<i64>,
    /// Prices that are no such number, or below nought.
    odd: BTreeMap<u32, Exact>,
}

/// A price as a whole number of 10⁻¹² of the currency, where it is one and not below nought.
pub(super) fn whole_price(price: &Exact) -> Option<i64> {
    if price.is_negative() {
        return None;
    }
    let (over, 1) = (price * &Exact::whole(10_i128.pow(PRICE_PLACES))).terms()? else { return None };
    i64::try_from(over).ok()
}

impl Slots {
    pub(super) fn push(&mut self, price: &Exact) -> Result<u32, EngineError> {
        let slot = number(self.whole.len())?;
        let whole = whole_price(price);
        if whole.is_none() {
            self.odd.insert(slot, price.clone());
        }
        self.whole.push(whole.unwrap_or(0));
        Ok(slot)
    }

    pub(super) fn whole(&self) -> &[i64] {
        &self.whole
    }

    fn is_odd(&self, slot: u32) -> bool {
        !self.odd.is_empty() && self.odd.contains_key(&slot)
    }

    /// The price, and its whole number where it has one.
    pub(super) fn price(&self, slot: u32) -> (Exact, Option<i64>) {
        match self.odd.get(&slot) {
            Some(price) => (price.clone(), None),
            None => {
                let whole = self.whole.get(slot as usize).copied().unwrap_or_default();
                (Exact::scaled(i128::from(whole), PRICE_PLACES), Some(whole))
            }
        }
    }
}

/// A row before it is laid out: slots with amounts, and what is beside them.
#[derive(Debug, Default)]
pub(super) struct NewRow {
    pub(super) lines: Vec<NewLine>,
    pub(super) beside: Exact,
}

/// A line before it is laid out.
#[derive(Debug)]
pub(super) struct NewLine {
    pub(super) material: u32,
    pub(super) slot: u32,
    /// For one kg or one unit.
    pub(super) amount: Exact,
    /// What the whole batch needs of the material, which decides its price.
    pub(super) demand: Exact,
}

/// Rows of lines.
#[derive(Debug)]
pub(super) struct Table {
    /// Where each row begins, with one more at the end.
    starts: Vec<u32>,
    slots: Vec<u32>,
    /// Whole numbers over the row's divisor.
    amounts: Vec<i64>,
    materials: Vec<u32>,
    /// Numerator and denominator of what the batch needs; a denominator of nought says that it stands in `long`.
    demands: Vec<(i64, i64)>,
    long: BTreeMap<u32, Exact>,
    divisors: Vec<i64>,
    beside: Vec<Exact>,
    /// Amounts of rows that are no whole numbers of 64 bits over one divisor; in the columns they stand as noughts.
    wide: BTreeMap<u32, Box<[Exact]>>,
    /// Rows with a price that is no whole number.
    odd: Vec<bool>,
}

impl Default for Table {
    fn default() -> Self {
        Self {
            starts: vec![0],
            slots: Vec::new(),
            amounts: Vec::new(),
            materials: Vec::new(),
            demands: Vec::new(),
            long: BTreeMap::new(),
            divisors: Vec::new(),
            beside: Vec::new(),
            wide: BTreeMap::new(),
            odd: Vec::new(),
        }
    }
}

/// A count as a number of 32 bits.
pub(super) fn number(count: usize) -> Result<u32, EngineError> {
    u32::try_from(count).map_err(|_| EngineError::QuestionDoesNotFit {
        why: "more than 4294967295 lines to be costed at once".to_owned(),
    })
}

/// A figure as a fraction of two numbers of 64 bits, where it is one.
pub(super) fn short_fraction(figure: &Exact) -> Option<(i64, i64)> {
    let (over, under) = figure.terms()?;
    Some((i64::try_from(over).ok()?, i64::try_from(under).ok()?))
}

/// Amounts as whole numbers over one divisor, which add up to less than 2⁶³.
fn over_one_divisor(lines: &[NewLine]) -> Option<(Vec<i64>, i64)> {
    let mut divisor = 1_i128;
    let mut terms = Vec::with_capacity(lines.len());
    for line in lines {
        let (over, under) = line.amount.terms()?;
        divisor = divisor.checked_mul(under / kernel::exact::common_divisor(divisor, under))?;
        if divisor > i128::from(i64::MAX) {
            return None;
        }
        terms.push((over, under));
    }
    let mut sum = 0_i64;
    let mut amounts = Vec::with_capacity(lines.len());
    for (over, under) in terms {
        let amount = i64::try_from(over.checked_mul(divisor / under)?).ok()?;
        sum = sum.checked_add(amount.checked_abs()?)?;
        amounts.push(amount);
    }
    Some((amounts, i64::try_from(divisor).ok()?))
}

impl Table {
    pub(super) fn push(&mut self, row: NewRow, slots: &Slots) -> Result<(), EngineError> {
        let at = number(self.divisors.len())?;
        self.odd.push(row.lines.iter().any(|line| slots.is_odd(line.slot)));
        let (amounts, divisor) = if let Some(whole) = over_one_divisor(&row.lines) {
            whole
        } else {
            self.wide.insert(at, row.lines.iter().map(|line| line.amount.clone()).collect());
            (vec![0; row.lines.len()], 1)
        };
        for (line, amount) in row.lines.into_iter().zip(amounts) {
            let entry = number(self.slots.len())?;
            self.slots.push(line.slot);
            self.materials.push(line.material);
            self.amounts.push(amount);
            let short = short_fraction(&line.demand);
            self.demands.push(short.unwrap_or((0, 0)));
            if short.is_none() {
                self.long.insert(entry, line.demand);
            }
        }
        self.starts.push(number(self.slots.len())?);
        self.divisors.push(divisor);
        self.beside.push(row.beside);
        Ok(())
    }

    pub(super) fn rows(&self) -> usize {
        self.divisors.len()
    }

    #[cfg(test)]
    pub(super) fn wide_rows(&self) -> usize {
        self.wide.len()
    }

    #[cfg(test)]
    pub(super) fn odd_rows(&self) -> usize {
        self.odd.iter().filter(|odd| **odd).count()
    }

    pub(super) fn lines(&self) -> usize {
        self.slots.len()
    }

    pub(super) fn columns(&self) -> (&[u32], &[u32], &[i64]) {
        (&self.starts, &self.slots, &self.amounts)
    }

    /// The products of every row, added up. No sum leaves 128 bits: see [`over_one_divisor`].
    pub(super) fn sums(&self, slots: &Slots, into: &mut Vec<i128>) {
        let prices = slots.whole();
        into.clear();
        into.reserve(self.rows());
        let (mut of_slots, mut of_amounts) = (self.slots.as_slice(), self.amounts.as_slice());
        for bounds in self.starts.windows(2) {
            let &[from, to] = bounds else { continue };
            let count = (to - from) as usize;
            let (Some((here, later)), Some((amounts, later_amounts))) =
                (of_slots.split_at_checked(count), of_amounts.split_at_checked(count))
            else {
                break;
            };
            into.push(row_sum(here, amounts, prices));
            (of_slots, of_amounts) = (later, later_amounts);
        }
    }

    fn entries(&self, row: usize) -> std::ops::Range<usize> {
        let at = |row: usize| self.starts.get(row).map_or(0, |at| *at as usize);
        at(row)..at(row + 1)
    }

    /// Whether a row has a line of a material.
    pub(super) fn holds(&self, row: usize, material: u32) -> bool {
        self.materials.get(self.entries(row)).is_some_and(|materials| materials.contains(&material))
    }

    /// What a row comes to, at its sum of products.
    pub(super) fn value(&self, slots: &Slots, row: usize, sum: i128) -> Option<Exact> {
        if *self.odd.get(row)? || self.is_wide(row) {
            return self.value_in_fractions(slots, row);
        }
        let sum = Exact::scaled(sum, PRICE_PLACES);
        Some(sum.checked_div(&Exact::from(*self.divisors.get(row)?)).ok()? + self.beside.get(row)?)
    }

    /// What a row comes to.
    pub(super) fn value_of(&self, slots: &Slots, row: usize) -> Option<Exact> {
        let entries = self.entries(row);
        let (here, amounts) = (self.slots.get(entries.clone())?, self.amounts.get(entries)?);
        self.value(slots, row, row_sum(here, amounts, slots.whole()))
    }

    fn value_in_fractions(&self, slots: &Slots, row: usize) -> Option<Exact> {
        let mut sum = self.beside.get(row)?.clone();
        for entry in self.entries(row) {
            sum += self.amount(row, entry)? * slots.price(*self.slots.get(entry)?).0;
        }
        Some(sum)
    }

    fn is_wide(&self, row: usize) -> bool {
        !self.wide.is_empty() && u32::try_from(row).is_ok_and(|row| self.wide.contains_key(&row))
    }

    /// What a line takes, for one kg or one unit.
    fn amount(&self, row: usize, entry: usize) -> Option<Exact> {
        if let Some(wide) = self.wide.get(&u32::try_from(row).ok()?) {
            return wide.get(entry.checked_sub(self.entries(row).start)?).cloned();
        }
        Exact::from(*self.amounts.get(entry)?).checked_div(&Exact::from(*self.divisors.get(row)?)).ok()
    }

    /// What the batch of a line needs of its material, as a fraction of two numbers of 64 bits, where it is one.
    pub(super) fn short_demand(&self, entry: u32) -> Option<(i64, i64)> {
        self.demands.get(entry as usize).copied().filter(|(_, under)| *under != 0)
    }

    /// What the batch of a line needs of its material.
    pub(super) fn demand(&self, entry: u32) -> Option<Exact> {
        match self.demands.get(entry as usize)? {
            (_, 0) => self.long.get(&entry).cloned(),
            (over, under) => Exact::ratio(i128::from(*over), i128::from(*under)).ok(),
        }
    }

    /// By how much a row changes when the price of a line does.
    pub(super) fn change(&self, slots: &Slots, row: u32, entry: u32, to: &Price) -> Option<RowChange> {
        let (row, entry) = (row as usize, entry as usize);
        let (was, was_whole) = slots.price(*self.slots.get(entry)?);
        if let (Some(was), Some(to), false) = (was_whole, to.whole, self.is_wide(row)) {
            // Both are below 2⁶³ and not below nought, so their difference is too.
            return Some(RowChange::Whole(i128::from(*self.amounts.get(entry)?) * i128::from(to - was)));
        }
        Some(RowChange::Fraction(self.amount(row, entry)? * (&to.exact - &was)))
    }

    /// Changes of a row's sum as a change of what it comes to.
    pub(super) fn changed_by(&self, row: u32, whole: i128, fraction: Exact) -> Option<Exact> {
        if whole == 0 {
            return Some(fraction);
        }
        let divisor = Exact::from(*self.divisors.get(row as usize)?);
        Some(Exact::scaled(whole, PRICE_PLACES).checked_div(&divisor).ok()? + fraction)
    }

    /// From materials to lines.
    pub(super) fn uses(&self, materials: usize) -> Result<Uses, EngineError> {
        let mut starts = vec![0_u32; materials + 1];
        for material in &self.materials {
            if let Some(count) = starts.get_mut(*material as usize + 1) {
                *count += 1;
            }
        }
        let mut sum = 0_u32;
        for start in &mut starts {
            sum += *start;
            *start = sum;
        }
        let mut next = starts.clone();
        let mut lines = vec![(0_u32, 0_u32); self.materials.len()];
        for row in 0..self.rows() {
            for entry in self.entries(row) {
                let Some(material) = self.materials.get(entry) else { continue };
                let Some(place) = next.get_mut(*material as usize) else { continue };
                if let Some(line) = lines.get_mut(*place as usize) {
                    *line = (number(row)?, number(entry)?);
                }
                *place += 1;
            }
        }
        Ok(Uses { starts, lines })
    }
}

fn row_sum(slots: &[u32], amounts: &[i64], prices: &[i64]) -> i128 {
    let mut sum = 0_i128;
    for (slot, amount) in slots.iter().zip(amounts) {
        let price = prices.get(*slot as usize).copied().unwrap_or(0);
        sum += i128::from(*amount) * i128::from(price);
    }
    sum
}

/// A price, with its whole number where it has one.
#[derive(Debug, Clone)]
pub(super) struct Price {
    exact: Exact,
    whole: Option<i64>,
}

impl Price {
    pub(super) fn new(exact: Exact) -> Self {
        Self { whole: whole_price(&exact), exact }
    }
}

/// By how much a row changes.
#[derive(Debug)]
pub(super) enum RowChange {
    /// Its sum of products.
    Whole(i128),
    /// What it comes to.
    Fraction(Exact),
}

impl RowChange {
    /// Of the sum of products, and beside it.
    pub(super) fn parts(self) -> (i128, Exact) {
        match self {
            Self::Whole(whole) => (whole, Exact::ZERO),
            Self::Fraction(fraction) => (0, fraction),
        }
    }
}

/// From a material to the lines it stands on.
#[derive(Debug, Default)]
pub(super) struct Uses {
    starts: Vec<u32>,
    /// Row and line, by row.
    lines: Vec<(u32, u32)>,
}

impl Uses {
    pub(super) fn of(&self, material: u32) -> &[(u32, u32)] {
        let at = |material: usize| self.starts.get(material).map_or(0, |at| *at as usize);
        self.lines.get(at(material as usize)..at(material as usize + 1)).unwrap_or_default()
    }
}
