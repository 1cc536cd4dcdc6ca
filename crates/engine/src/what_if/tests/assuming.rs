//! Assuming a change is making it: what a scenario answers is what the catalogue would say if it were true.

use super::{
    changes::{House, ask_all},
    *,
};
use crate::scenario::{ChargePer, FreightBy, HouseRateBy, VolumeBy};
use domain::{
    house_rates::HouseRateAmount,
    quotations::{Charge, Duty, DutyOn, Freight, FreightPer},
};

/// What somebody does to the books who really makes a change, written apart from how a scenario is laid.
fn really(parts: &mut CatalogueParts, change: &Change) {
    let whole = |amount: rust_decimal::Decimal, by: &Percent| {
        amount * (rust_decimal::Decimal::ONE + by.percent() / dec("100"))
    };
    let is_of = |of: &PriceOf, quotation: &domain::quotations::Quotation| match of {
        PriceOf::Quotation(id) => quotation.id == *id,
        PriceOf::Material(id) => quotation.material == *id,
        PriceOf::Supplier(id) => quotation.supplier == *id,
        PriceOf::Currency(currency) => quotation.currency == *currency,
        PriceOf::Pack { .. } | PriceOf::Offer { .. } => unreachable!("not drawn here"),
    };
    match change {
        Change::Price { of, by: PriceBy::Percent(by), .. } => {
            for quotation in parts.quotations.iter_mut().filter(|quotation| is_of(of, quotation)) {
                for offer in &mut quotation.offers {
                    let price = whole(offer.price.amount(), by);
                    offer.price = UnitPrice::from_decimal(price, offer.price.currency()).unwrap();
                }
            }
        }
        Change::Freight { of, by: FreightBy::To { amount, per }, .. } => {
            for quotation in parts.quotations.iter_mut().filter(|quotation| is_of(of, quotation)) {
                quotation.freight = Some(Freight { amount: *amount, per: (*per).into() });
            }
        }
        Change::Duty { of, to, .. } => {
            for quotation in parts.quotations.iter_mut().filter(|quotation| is_of(of, quotation)) {
                let on = quotation.terms.duty.map_or(DutyOn::Price, |duty| duty.on);
                quotation.terms.duty = Some(Duty { percent: *to, on });
            }
        }
        Change::Surcharge { of, name, amount, per, .. } => {
            for quotation in parts.quotations.iter_mut().filter(|quotation| is_of(of, quotation)) {
                let charge =
                    Charge { name: name.clone(), amount: *amount, per: FreightPer::from(*per).into() };
                quotation.terms.charges.push(charge);
            }
        }
        Change::Dose { version, line, to, .. } => {
            let versions = parts.formulas.iter_mut().flat_map(|formula| &mut formula.versions);
            for line in versions
                .filter(|known| known.id == *version)
                .flat_map(|known| &mut known.lines)
                .filter(|known| known.position == *line)
            {
                line.amount = domain::formulas::LineAmount::Percent(*to);
            }
        }
        Change::Substitute { old, new, factor, .. } => {
            let lines = parts
                .formulas
                .iter_mut()
                .flat_map(|formula| &mut formula.versions)
                .flat_map(|version| &mut version.lines);
            for line in lines.filter(|line| line.material == *old) {
                line.material = *new;
                if let domain::formulas::LineAmount::Percent(amount) = &mut line.amount {
                    *amount = Percent::from_percent(amount.percent() * factor.unwrap()).unwrap();
                }
            }
        }
        Change::BatchSize { formula, to } => {
            parts.formulas.iter_mut().find(|known| known.id == *formula).unwrap().versions[0].usual_batch =
                *to;
        }
        Change::ProcessLoss { formula, to } => {
            parts.formulas.iter_mut().find(|known| known.id == *formula).unwrap().versions[0].process_loss =
                *to;
        }
        Change::Overfill { pack, to } => {
            parts.packs.iter_mut().find(|known| known.id == *pack).unwrap().overfill = *to;
        }
        Change::SalesVolume { pack, by: VolumeBy::Units(units) } => {
            parts.packs.iter_mut().find(|known| Some(known.id) == *pack).unwrap().units_a_year = Some(*units);
        }
        Change::HouseRate { by: HouseRateBy::To(price), .. } => {
            parts.house_rates[0].amount = HouseRateAmount::Stated(*price);
        }
        other => unreachable!("not drawn here: {other:?}"),
    }
}

fn drawn(house: &House, (kind, which, figure): (u8, usize, i64)) -> Change {
    let codes = ["SLES", "GUM", "GLYC", "OIL", "OIL2", "AQUA", "BOTTLE"];
    let suppliers = &house.parts.suppliers;
    let of = match which % 4 {
        0 => PriceOf::Supplier(suppliers[which % suppliers.len()].id),
        1 => PriceOf::Currency(if which % 8 > 3 { Currency::EUR } else { Currency::GBP }),
        _ => PriceOf::Material(house.id(codes[which % codes.len()])),
    };
    let formula = house.parts.formulas[which % 3].id;
    let pack = house.parts.packs[which % 2].id;
    let whole = |figure: i64| Percent::from_percent(rust_decimal::Decimal::from(figure)).unwrap();
    let pounds =
        |figure: i64| UnitPrice::from_decimal(rust_decimal::Decimal::new(figure, 2), Currency::GBP).unwrap();
    match kind {
        0 => Change::Price { of, by: PriceBy::Percent(whole(figure - 50)), from: None },
        1 => Change::Freight {
            of,
            by: FreightBy::To {
                amount: pounds(figure),
                per: if which % 2 == 0 { ChargePer::Shipment } else { ChargePer::Pack },
            },
            from: None,
        },
        2 => Change::Duty { of, to: whole(figure / 5), on: None, from: None },
        3 => Change::Surcharge {
            of,
            name: "hazard".to_owned(),
            amount: pounds(figure),
            per: ChargePer::Shipment,
            from: None,
        },
        4 => {
            let (code, line) = [("F-PRE", 1), ("F-A", 2), ("F-B", 1)][which % 3];
            Change::Dose {
                version: house.formula(code).versions[0].id,
                line,
                to: whole(figure / 5),
                against: None,
            }
        }
        5 => Change::Substitute {
            old: house.id("OIL"),
            new: house.id("OIL2"),
            factor: Some(rust_decimal::Decimal::new(figure + 50, 2)),
            within: None,
        },
        6 => Change::BatchSize { formula, to: mass(&(figure + 20).to_string()) },
        7 => Change::ProcessLoss { formula, to: whole(figure / 10) },
        8 => Change::Overfill { pack, to: whole(figure / 10) },
        9 => {
            Change::SalesVolume { pack: Some(pack), by: VolumeBy::Units(u64::try_from(figure * 37).unwrap()) }
        }
        _ => Change::HouseRate {
            name: "Bench".to_owned(),
            by: HouseRateBy::To(pounds(figure * 25)),
            from: None,
        },
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// Laying changes over the catalogue and costing is costing a catalogue in which they were really made: for every formula and
    /// pack, hit or not, to the last digit. And the shares of the changes are the whole.
    #[test]
    fn assuming_is_doing(draws in prop::collection::vec((0_u8..11, 0_usize..56, 1_i64..100), 1..5)) {
        let house = House::new();
        let mut changes: Vec<Change> = Vec::new();
        let mut substituted = false;
        for draw in draws {
            // What no longer stands there cannot be replaced again.
            if draw.0 == 5 && std::mem::replace(&mut substituted, true) {
                continue;
            }
            changes.push(drawn(&house, draw));
        }
        let mut parts = house.parts.clone();
        for change in &changes {
            really(&mut parts, change);
        }
        let really = catalogue(parts);
        let answer = ask_all(&house.parts, &Shelf::default(), changes);
        prop_assert!(answer.problems.is_empty(), "{:?}", answer.problems);
        let on = answer.costed_on;
        let plain = catalogue(house.parts.clone());
        let shown = |catalogue: &Catalogue, request: &CostRequest| {
            Figures::from(&cost_sheet(&View::plain(catalogue), request).unwrap())
        };
        for formula in &house.parts.formulas {
            let request = CostRequest::version(formula.versions[0].id, on);
            let after = shown(&really, &request);
            match answer.formulas.iter().find(|hit| hit.formula == formula.id) {
                Some(hit) => prop_assert_eq!(&hit.after, &after),
                None => prop_assert_eq!(shown(&plain, &request), after),
            }
        }
        for pack in &house.parts.packs {
            let request = CostRequest::pack(pack.id, on);
            let after = shown(&really, &request);
            match answer.packs.iter().find(|hit| hit.pack == Some(pack.id)) {
                Some(hit) => prop_assert_eq!(&hit.after, &after),
                None => prop_assert_eq!(shown(&plain, &request), after),
            }
        }
        let shares: Exact = answer.shares.iter().map(|share| &share.yearly_effect).sum();
        prop_assert_eq!(shares + answer.not_shared, answer.yearly_effect);
    }
}
