//! The columns against cost sheets, one at a time: to the last digit, before a change and after it.

use chrono::NaiveDate;
use domain::{
    Catalogue, Settings,
    catalogue::CatalogueParts,
    generated::{Draw, SiteSize, site},
    materials::MaterialKind,
    quotations::{BreakCounts, Freight, FreightPer, SmallOrder},
};
use kernel::{Currency, Exact, Mass, Money, Percent, Quantity, UnitPrice, ids::MaterialId};

use super::{Columns, Costs, repriced};
use crate::{
    CostRequest, CostSheet, Overlay, View, cost_sheet,
    tests::fixtures::{House, percent, price, quantity, today},
    view::{PriceAdjustment, PriceChange, PriceScope, TermsAdjustment, TermsChange},
};

fn catalogue(parts: CatalogueParts) -> Catalogue {
    Catalogue::new(1, Settings { currency: Currency::GBP, lapses_soon_days: 14 }, parts)
}

fn since() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 1, 1).unwrap()
}

/// A site in which every way a price can come about occurs: by the pound, through rates turned round, with breaks, charges by the order
/// and small orders, lapsed, and missing; and breaks by the year, which take long to ask about, where they are wanted.
fn varied(seed: u64, by_year: bool) -> CatalogueParts {
    let mut parts = site(SiteSize { materials: 40, formulas: 60, lines: 7, seed }, since());
    let mut draw = Draw::new(seed ^ 0x5eed);
    for rate in &mut parts.rates {
        if draw.below(2) == 0 {
            std::mem::swap(&mut rate.from, &mut rate.to);
        }
    }
    let mut quotations = Vec::new();
    for mut quotation in std::mem::take(&mut parts.quotations) {
        let is_mass = matches!(quotation.offers[0].pack, Quantity::Mass(_));
        let micros = |amount: i64| UnitPrice::from_scaled(amount * 1_000_000, quotation.currency);
        match draw.below(if is_mass { 12 } else { 3 }) {
            0 => quotation.offers.truncate(1),
            1 => {
                quotation.terms.small_order =
                    Some(SmallOrder { charge: micros(1_500), below: micros(20_000) });
            }
            2 => quotation.terms.discount = Percent::from_nano(7_000_000_000),
            3 | 4 => quotation.offers.iter_mut().for_each(|offer| offer.price_per = quantity("1 lb")),
            5 => {
                let mut cheaper = quotation.offers[1].clone();
                cheaper.from_quantity = Some(quantity("60 kg"));
                cheaper.price = UnitPrice::from_scaled(cheaper.price.scaled() * 4 / 5, quotation.currency);
                quotation.offers.push(cheaper);
                if by_year {
                    quotation.terms.break_counts = BreakCounts::Year;
                }
            }
            6 => quotation.valid_until = NaiveDate::from_ymd_opt(2026, 2, 1),
            7 => {
                let mut other = quotation.clone();
                other.reference.push('B');
                other.id = kernel::ids::QuotationId::new();
                other.offers[0].price =
                    UnitPrice::from_scaled(other.offers[0].price.scaled() / 3, Currency::GBP);
                other.currency = Currency::GBP;
                other.offers.truncate(1);
                quotations.push(other);
            }
            8 if draw.below(20) == 0 => continue,
            _ => {}
        }
        quotations.push(quotation);
    }
    parts.quotations = quotations;
    for formula in &mut parts.formulas {
        let version = &mut formula.versions[0];
        match draw.below(6) {
            // Losses with nine places, at odd batches: such rows do not go into whole numbers.
            0 => {
                version.process_loss = Percent::from_nano(1 + i64::from(draw.below(1_900_000_000)));
                version.heel = Mass::from_micrograms(1 + i64::from(draw.below(400_000_000)));
                version.usual_batch = Mass::from_micrograms(97_345_678_901);
            }
            1 => version.heel = Mass::from_micrograms(123_456_789),
            2 => version.cost_per_batch = Some(Money::from_micros(12_345_678, Currency::USD)),
            _ => {}
        }
    }
    parts
}

fn sheet(view: &View<'_>, request: &CostRequest) -> Option<CostSheet> {
    cost_sheet(view, request).ok().filter(|sheet| sheet.complete)
}

/// Every formula and pack of a view as its cost sheet has it; `None` where that is not whole.
fn one_at_a_time(view: &View<'_>) -> (Vec<Option<Exact>>, Vec<Option<Exact>>) {
    let formulas = view.catalogue().formulas.iter().map(|formula| {
        let version = formula.approved_on(today()).unwrap().id;
        sheet(view, &CostRequest::version(version, today())).map(|sheet| sheet.totals.per_kg)
    });
    let packs = view.catalogue().packs.iter().map(|pack| {
        sheet(view, &CostRequest::pack(pack.id, today())).map(|sheet| sheet.totals.per_unit.unwrap())
    });
    (formulas.collect(), packs.collect())
}

fn in_columns(columns: &Columns, catalogue: &Catalogue) -> (Vec<Option<Exact>>, Vec<Option<Exact>>) {
    let version = |formula: &domain::formulas::Formula| formula.approved_on(today()).unwrap().id;
    (
        catalogue.formulas.iter().map(|formula| columns.per_kg(version(formula))).collect(),
        catalogue.packs.iter().map(|pack| columns.per_unit(pack.id)).collect(),
    )
}

#[test]
fn columns_agree_with_cost_sheets() {
    let (mut whole, mut left_out, mut wide, mut odd) = (0, 0, 0, 0);
    for seed in 0..5 {
        let catalogue = catalogue(varied(seed, seed == 0));
        let view = View::plain(&catalogue);
        let columns = Columns::new(&view, today()).unwrap();
        let (formulas, packs) = one_at_a_time(&view);
        assert_eq!(in_columns(&columns, &catalogue), (formulas.clone(), packs.clone()), "site {seed}");
        let missing = formulas.iter().filter(|cost| cost.is_none()).count();
        assert_eq!(columns.formulas_left_out().len(), missing);
        assert_eq!(columns.packs_left_out().len(), packs.iter().filter(|cost| cost.is_none()).count());
        // All at once says the same as each by itself.
        let mut costs = Costs::default();
        columns.cost_all(&mut costs);
        for row in 0..columns.rows() {
            let (_, version) = columns.formula_at(row).unwrap();
            assert_eq!(columns.per_kg_at(&costs, row), columns.per_kg(version));
        }
        whole += columns.rows();
        left_out += missing;
        wide += columns.formulas.wide_rows();
        odd += columns.formulas.odd_rows();
    }
    assert!(whole > 150 && left_out > 0 && wide > 5 && odd > 20, "{whole} {left_out} {wide} {odd}");
}

fn changed(scope: PriceScope, change: PriceAdjustment) -> Overlay {
    Overlay { prices: vec![PriceChange { scope, change, from: None }], ..Overlay::default() }
}

/// What a change touches is what differs between cost sheets before and after it, by as much; nothing else is looked at.
#[test]
fn changes_agree_with_cost_sheets() {
    let mut touched_in_all = 0;
    for seed in 0..2 {
        let catalogue = catalogue(varied(seed, false));
        let plain = View::plain(&catalogue);
        let columns = Columns::new(&plain, today()).unwrap();
        let before = in_columns(&columns, &catalogue);
        let often = *columns.materials().iter().max_by_key(|id| columns.formulas_holding(**id)).unwrap();
        let component = catalogue.materials.by_code("BOTTLE").unwrap().id;
        let by = |nano: i64| PriceAdjustment::ByPercent(Percent::from_nano(nano));
        let supplier = catalogue.quotations()[3].supplier;
        for overlay in [
            changed(PriceScope::Material(often), by(10_000_000_000)),
            changed(PriceScope::Material(often), by(-33_333_333_333)),
            changed(PriceScope::Material(component), by(5_000_000_000)),
            changed(PriceScope::Supplier(supplier), by(3_500_000_000)),
            changed(
                PriceScope::Quotation(catalogue.quotations_of(often)[0].id),
                PriceAdjustment::To { price: price("0.37 USD"), per: quantity("1 lb") },
            ),
            // From a price that is alike for any quantity to one that is not.
            Overlay {
                terms: vec![TermsChange {
                    scope: PriceScope::Material(often),
                    change: TermsAdjustment::Freight(Freight { amount: price("35"), per: FreightPer::Order }),
                    from: None,
                }],
                ..Overlay::default()
            },
            // A price in a currency without a rate is no price.
            changed(
                PriceScope::Material(often),
                PriceAdjustment::To { price: price("100 JPY"), per: quantity("1 kg") },
            ),
        ] {
            let view = View::with(&catalogue, &overlay);
            let (formulas, packs) = one_at_a_time(&view);
            let found = columns.touched(&view, &repriced(&catalogue, &overlay)).unwrap();
            let of = |before: Option<&Exact>, after: Option<&Exact>| {
                before.zip(after).map(|(before, after)| after - before).filter(|change| !change.is_zero())
            };
            let mut expected = 0;
            for (at, formula) in catalogue.formulas.iter().enumerate() {
                let change = of(before.0[at].as_ref(), formulas[at].as_ref());
                let told = found.formulas.iter().find(|told| told.formula == formula.id);
                assert_eq!(told.map(|told| &told.per_kg), change.as_ref(), "{}", formula.code);
                let lost = before.0[at].is_some() && formulas[at].is_none();
                assert_eq!(found.formulas_lost.contains(&formula.id), lost, "{}", formula.code);
                expected += usize::from(change.is_some());
            }
            assert_eq!(found.formulas.len(), expected);
            for (at, pack) in catalogue.packs.iter().enumerate() {
                let change = of(before.1[at].as_ref(), packs[at].as_ref());
                let told = found.packs.iter().find(|told| told.pack == pack.id);
                assert_eq!(told.map(|told| &told.per_unit), change.as_ref(), "{}", pack.code);
                let lost = before.1[at].is_some() && packs[at].is_none();
                assert_eq!(found.packs_lost.contains(&pack.id), lost, "{}", pack.code);
            }
            let years: Vec<Exact> =
                found.packs.iter().map(|told| told.a_year.clone().unwrap().abs()).collect();
            assert!(years.is_sorted_by(|a, b| a >= b), "ranked by the year");
            touched_in_all += expected;
        }
    }
    assert!(touched_in_all > 50, "{touched_in_all}");
}

/// Loops, unsound formulas and nesting beyond the limit are left out, with all that hold them, and nothing else is.
#[test]
fn what_cannot_be_costed_is_left_out() {
    let mut house = House::new();
    house.at_price("WATER", "0.004").at_price("SALT", "0.35");
    house.formula("GOOD", "percent", &["SALT 1 %", "WATER q.s."]);
    house.formula("SHORT", "percent", &["SALT 1 %", "WATER 98 %"]);
    house.formula("HOLDS-SHORT", "percent", &["SHORT 10 %", "WATER q.s."]);
    house.formula("ROUND", "percent", &["ABOUT 10 %", "WATER q.s."]);
    house.formula("ABOUT", "percent", &["ROUND 10 %", "WATER q.s."]);
    house.formula("LOST", "percent", &["WATER q.s."]).process_loss = percent("100");
    house.formula("N-00", "percent", &["SALT 5 %", "WATER q.s."]);
    for level in 1..20 {
        let beneath = format!("N-{:02} 50 %", level - 1);
        house.formula(&format!("N-{level:02}"), "percent", &[&beneath, "WATER q.s."]);
    }
    house.material("N-19").kind = MaterialKind::Bulk;
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let columns = Columns::new(&view, today()).unwrap();
    let (formulas, _) = one_at_a_time(&view);
    assert_eq!(in_columns(&columns, &catalogue).0, formulas);
    let left_out: Vec<&str> = columns
        .formulas_left_out()
        .iter()
        .map(|id| catalogue.formulas.get(*id).unwrap().code.as_str())
        .collect();
    assert_eq!(left_out, ["ABOUT", "HOLDS-SHORT", "LOST", "N-17", "N-18", "N-19", "ROUND", "SHORT"]);
    assert_eq!(columns.level_at(0), Some(0));
    // An intermediate stands before what holds it.
    let row = |code: &str| {
        let version = house.version_id(code);
        (0..columns.rows()).find(|at| columns.formula_at(*at).unwrap().1 == version).unwrap()
    };
    assert!((1..17).all(|level| row(&format!("N-{:02}", level - 1)) < row(&format!("N-{level:02}"))));
    let nobody = columns.touched(&view, &[MaterialId::new()]).unwrap();
    assert!(nobody.formulas.is_empty() && nobody.packs.is_empty());
}
