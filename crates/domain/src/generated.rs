//! A large site made by lot: materials, suppliers, quotations, formulas of three levels and packs that fit each other, the same for the
//! same numbers every time. For measuring, and for trying out how a site of a size behaves; nobody and nothing in it is real.
//!
//! Stock solutions stand in premixes, premixes in bulks, bulks are filled into packs. A few materials stand in many formulas and most in
//! few, as it is; each bought one has a quotation of two packs, one in six in another currency, one in twelve with a freight by the order.

mod parts;

use chrono::NaiveDate;
use kernel::{
    Currency, Percent, Rate,
    ids::{FormulaId, MaterialId, RateId, SupplierId},
};
use rust_decimal::Decimal;

use crate::{
    catalogue::CatalogueParts, materials::MaterialKind, quotations::ExchangeRate, suppliers::Supplier,
};

/// How large a site is to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SiteSize {
    /// Raw materials; at least [`RAW_MATERIALS_MIN`] are made.
    pub materials: u32,
    /// Formulas of all levels, each with one approved version and each bulk with one pack.
    pub formulas: u32,
    /// Lines of each formula; at least 3.
    pub lines: u32,
    /// Decides everything that is made by lot.
    pub seed: u64,
}

/// Fewer raw materials make no formulas.
pub const RAW_MATERIALS_MIN: u32 = 30;

/// One of so many formulas is a stock solution, and one of so many a premix.
const STOCK_SOLUTIONS: u32 = 100;
const PREMIXES: u32 = 20;

/// Numbers that look drawn by lot and are the same for the same seed (Steele, Lea and Flood, "Fast splittable pseudorandom number
/// generators", 2014).
#[derive(Debug, Clone)]
pub struct Draw(u64);

impl Draw {
    /// The row of numbers of a seed.
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next number.
    pub const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// The next number below a bound; nought where the bound is nought.
    pub const fn below(&mut self, bound: u32) -> u32 {
        // The upper half of a product of 32 bits each is below the bound; that some come up once oftener in 2³² is of no matter here.
        (((self.next() >> 32) * bound as u64) >> 32) as u32
    }

    /// The next number below a bound, low ones far oftener than high ones.
    pub const fn low_below(&mut self, bound: u32) -> u32 {
        let at_most = self.below(bound);
        self.below(at_most.saturating_add(1))
    }

    const fn id(&mut self) -> u128 {
        ((self.next() as u128) << 64) | self.next() as u128
    }
}

/// A site while it is made.
struct Site {
    draw: Draw,
    size: SiteSize,
    since: NaiveDate,
    parts: CatalogueParts,
    suppliers: Vec<SupplierId>,
    raw: Vec<MaterialId>,
}

/// The parts of a site; everything in it holds from `since` on.
pub fn site(size: SiteSize, since: NaiveDate) -> CatalogueParts {
    let mut site = Site {
        draw: Draw::new(size.seed),
        size: SiteSize { materials: size.materials.max(RAW_MATERIALS_MIN), lines: size.lines.max(3), ..size },
        since,
        parts: CatalogueParts::default(),
        suppliers: Vec::new(),
        raw: Vec::new(),
    };
    site.suppliers();
    site.raw_materials();
    site.formulas();
    site.parts
}

impl Site {
    fn suppliers(&mut self) {
        for at in 0..=self.size.materials / 50 {
            let id = SupplierId::from_number(self.draw.id());
            self.suppliers.push(id);
            let name = self.name();
            self.parts.suppliers.push(Supplier {
                id,
                code: format!("S-{at:05}"),
                name: format!("{name} Supplies"),
                country: None,
                currency: Currency::GBP,
                lead_time: None,
                note: None,
            });
        }
        for (from, rate) in [(Currency::EUR, 86), (Currency::USD, 79)] {
            if let Ok(rate) = Rate::new(Decimal::new(rate, 2)) {
                self.parts.rates.push(ExchangeRate {
                    id: RateId::from_number(self.draw.id()),
                    from,
                    to: Currency::GBP,
                    rate,
                    date: self.since,
                    source: "made up".to_owned(),
                });
            }
        }
    }

    fn raw_materials(&mut self) {
        for at in 0..self.size.materials {
            let pence = 20 + i64::from(self.draw.low_below(4_000));
            let id = self.bought(format!("RM-{at:06}"), MaterialKind::RawMaterial, pence);
            self.raw.push(id);
        }
    }

    fn formulas(&mut self) {
        let components = ["BOTTLE", "CLOSURE", "LABEL", "CASE"].map(|code| {
            let pence = 5 + i64::from(self.draw.below(30));
            self.bought(code.to_owned(), MaterialKind::PackagingComponent, pence)
        });
        let count = self.size.formulas;
        let stock_solutions = (count / STOCK_SOLUTIONS).max(1);
        let premixes = (count / PREMIXES).max(1);
        let mut below: Vec<MaterialId> = Vec::new();
        for at in 0..stock_solutions {
            below.push(self.formula(&format!("ST-{at:06}"), MaterialKind::Intermediate, &[]).1);
        }
        let mut held = Vec::new();
        for at in 0..premixes {
            held.push(self.formula(&format!("PM-{at:06}"), MaterialKind::Intermediate, &below).1);
        }
        for at in 0..count.saturating_sub(stock_solutions + premixes) {
            let code = format!("B-{at:07}");
            let formula: FormulaId = self.formula(&code, MaterialKind::Bulk, &held).0;
            self.pack(&code, formula, &components);
        }
    }

    /// A name of two or three syllables.
    fn name(&mut self) -> String {
        const SYLLABLES: [&str; 16] = [
            "bel", "cor", "dan", "el", "far", "gil", "hol", "is", "ken", "lor", "mar", "nel", "or", "pel",
            "ren", "sel",
        ];
        let mut name = String::new();
        for _ in 0..2 + self.draw.below(2) {
            let at = self.draw.below(16) as usize;
            name.push_str(SYLLABLES.get(at).copied().unwrap_or_default());
        }
        let mut letters = name.chars();
        letters
            .next()
            .map_or_else(String::new, |first| format!("{}{}", first.to_uppercase(), letters.as_str()))
    }

    /// So many thousandths of a percent.
    const fn percent(thousandths: u32) -> Percent {
        Percent::from_nano(thousandths as i64 * 1_000_000)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_numbers_make_the_same_site() {
        let day = NaiveDate::from_ymd_opt(2026, 1, 1).unwrap();
        let size = SiteSize { materials: 60, formulas: 300, lines: 12, seed: 7 };
        let (one, other) = (site(size, day), site(size, day));
        assert_eq!((&one.formulas, &one.quotations), (&other.formulas, &other.quotations));
        assert_eq!(one.formulas.len(), 300);
        assert!(one.formulas.iter().all(|formula| formula.versions[0].lines.len() == 12));
        assert_eq!(one.packs.len(), 300 - 3 - 15);
        let another = site(SiteSize { seed: 8, ..size }, day);
        assert_ne!(one.formulas, another.formulas);
        // Names of things are found by: none may come twice.
        let codes: std::collections::BTreeSet<_> = one.materials.iter().map(|m| &m.code).collect();
        assert_eq!(codes.len(), one.materials.len());
        let ids: std::collections::BTreeSet<_> = one.materials.iter().map(|m| m.id).collect();
        assert_eq!(ids.len(), one.materials.len());
    }

    #[test]
    fn draws_stay_below_their_bound() {
        let mut draw = Draw::new(1);
        assert!((0..10_000).all(|_| draw.below(7) < 7 && draw.low_below(7) < 7));
        assert_eq!((draw.below(0), draw.low_below(0)), (0, 0));
    }
}
