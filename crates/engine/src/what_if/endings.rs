//! A supplier that stops selling: what stands on it, who else sells it, and how much to buy while it lasts.
//!
//! What is bought last has to reach until the replacement is ready: a day's use, a 365th of what all packs with a yearly volume take,
//! times the days until then, less what is on the shelf. It reaches no further than its shelf life less the life that must be left on the
//! day of use, counted from the day it arrives when it is ordered on the last day.

use chrono::NaiveDate;
use domain::{dates::Span, lots::LotStatus, materials::Material};
use kernel::{
    Exact, Quantity,
    ids::{MaterialId, SupplierId},
};
use serde::Serialize;

use super::WhatIf;
use crate::{
    EngineError, MaterialRef, View,
    planned::raw_or_max,
    price::{LandedPrice, landed_offers, validity},
    scenario::{EndOfSupply, Laid},
    shelf::Shelf,
    source::Validity,
    words::figure,
    yearly::{formulas_above, yearly_use},
};

/// A material that a supplier stops selling.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Ending {
    /// Position of the change in the scenario, from 1.
    pub change: usize,
    /// The supplier.
    pub supplier: SupplierId,
    /// The supplier's name.
    pub supplier_name: String,
    /// The material.
    pub material: MaterialRef,
    /// The last day something can be ordered.
    pub last_order: NaiveDate,
    /// The day a replacement is ready, as stated.
    pub replaced_on: Option<NaiveDate>,
    /// Formulas whose version of the day holds the material, directly or through intermediates; by code.
    pub formulas: Vec<String>,
    /// Packs that use it as a component, or are filled with one of the formulas; by code.
    pub packs: Vec<String>,
    /// What a year takes, kg or pieces; nought when nobody knows.
    #[serde(serialize_with = "crate::figures::amount")]
    pub a_year: Exact,
    /// On the shelf and not rejected.
    pub on_hand: Quantity,
    /// What else there is.
    pub alternates: Vec<Alternate>,
    /// What to buy while it lasts; `None` with the reason in [`Ending::no_last_buy`].
    pub last_buy: Option<LastBuy>,
    /// Why nothing is said of what to buy.
    pub no_last_buy: Option<String>,
}

impl Ending {
    /// An amount of the material for a sentence, with the unit it is stocked in.
    pub fn amount(&self, amount: &Exact) -> String {
        format!("{} {}", figure(amount, 3), self.on_hand.dimension().unit())
    }
}

/// What else there is for a material that ends.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Alternate {
    /// The material: the same from somebody else, or another of the same substance.
    pub material: MaterialRef,
    /// Who offers it; `None` when nobody does.
    pub supplier: Option<String>,
    /// The reference of the quotation.
    pub reference: Option<String>,
    /// How it stands: `valid`, `lapses soon`, `lapsed`, `not yet valid`, `nobody offers it`; and whether it is another material, which
    /// has to be tried first.
    pub state: String,
}

/// What to buy while a supplier still sells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LastBuy {
    /// What is wanted beyond what is there, kg or pieces; nought when nothing is.
    #[serde(serialize_with = "crate::figures::amount")]
    pub wanted: Exact,
    /// The day it reaches to.
    pub reaches: NaiveDate,
    /// The shelf life, where it ends before the replacement is ready.
    pub limited_by: Option<Span>,
    /// Packs.
    pub packs: i128,
    /// All of them, kg or pieces.
    #[serde(serialize_with = "crate::figures::amount")]
    pub quantity: Exact,
    /// What they cost landed, in the house's currency.
    #[serde(serialize_with = "crate::figures::cost")]
    pub cost: Exact,
    /// The reference of the quotation.
    pub reference: String,
}

/// What ends, material by material.
pub(super) fn ends(
    changed: &View<'_>,
    plain: &View<'_>,
    shelf: &Shelf,
    laid: &Laid<'_>,
    answer: &mut WhatIf,
) -> Result<(), EngineError> {
    for ending in &laid.endings {
        let mut materials: Vec<MaterialId> = plain
            .catalogue()
            .quotations()
            .iter()
            .filter(|quotation| ending.end.ends(quotation.supplier, quotation.material))
            .map(|quotation| quotation.material)
            .collect();
        materials.sort_unstable();
        materials.dedup();
        let mut rows = Vec::new();
        for material in materials {
            rows.push(one(changed, plain, shelf, ending, plain.material(material)?, answer.as_of)?);
        }
        rows.sort_by(|a, b| a.material.code.cmp(&b.material.code));
        answer.endings.extend(rows);
    }
    Ok(())
}

fn one(
    changed: &View<'_>,
    plain: &View<'_>,
    shelf: &Shelf,
    ending: &EndOfSupply,
    material: &Material,
    as_of: NaiveDate,
) -> Result<Ending, EngineError> {
    let catalogue = plain.catalogue();
    let supplier = plain.supplier(ending.end.supplier)?;
    let formulas = formulas_above(plain, material.id, as_of);
    let mut packs: Vec<String> = formulas
        .iter()
        .flat_map(|formula| catalogue.packs_of(*formula))
        .chain(catalogue.packs_using(material.id))
        .filter_map(|id| catalogue.packs.get(*id))
        .map(|pack| pack.code.clone())
        .collect();
    packs.sort();
    packs.dedup();
    let mut formulas: Vec<String> = formulas
        .into_iter()
        .filter_map(|id| catalogue.formulas.get(id))
        .map(|formula| formula.code.clone())
        .collect();
    formulas.sort();
    let on_hand = shelf
        .lots_of(material.id)
        .filter(|lot| lot.status != LotStatus::Rejected)
        .fold(0_i64, |sum, lot| sum.saturating_add(lot.on_hand.raw().max(0)));
    let on_hand = Quantity::from_raw(on_hand, material.stock_dimension());
    let mut found = Ending {
        change: ending.change,
        supplier: supplier.id,
        supplier_name: supplier.name.clone(),
        material: MaterialRef::from(material),
        last_order: ending.end.last_order,
        replaced_on: ending.replaced_on,
        formulas,
        packs,
        a_year: yearly_use(plain, material.id, as_of)?.amount,
        on_hand,
        alternates: alternates(changed, material, ending),
        last_buy: None,
        no_last_buy: None,
    };
    match last_buy(plain, ending, material, &found, as_of)? {
        Ok(buy) => found.last_buy = Some(buy),
        Err(why) => found.no_last_buy = Some(why),
    }
    Ok(found)
}

/// The same material from others, then other materials of the same substance.
fn alternates(view: &View<'_>, material: &Material, ending: &EndOfSupply) -> Vec<Alternate> {
    let catalogue = view.catalogue();
    let soon = catalogue.settings.lapses_soon_days;
    let after = ending.end.last_order.succ_opt().unwrap_or(NaiveDate::MAX);
    let offers = |other: &Material| -> Vec<Alternate> {
        let own = other.id == material.id;
        let tried = if own { "" } else { ", another material to be tried first" };
        let mut rows: Vec<Alternate> = view
            .quotations_of(other.id, after)
            .map(|seen| Alternate {
                material: MaterialRef::from(other),
                supplier: catalogue.suppliers.get(seen.quotation.supplier).map(|who| who.name.clone()),
                reference: Some(seen.quotation.reference.clone()),
                state: format!("{}{tried}", validity(seen.quotation, after, soon).words()),
            })
            .collect();
        if rows.is_empty() && !own {
            rows.push(Alternate {
                material: MaterialRef::from(other),
                supplier: None,
                reference: None,
                state: format!("nobody offers it{tried}"),
            });
        }
        rows
    };
    let same_substance = |other: &Material| {
        let same_inci = material.inci.as_ref().is_some_and(|inci| other.inci.as_ref() == Some(inci));
        other.id != material.id
            && other.kind == material.kind
            && (same_inci || material.cas.iter().any(|cas| other.cas.contains(cas)))
    };
    let mut found = offers(material);
    for other in catalogue.materials.iter().filter(|other| same_substance(other)) {
        found.extend(offers(other));
    }
    found
}

fn last_buy(
    plain: &View<'_>,
    ending: &EndOfSupply,
    material: &Material,
    found: &Ending,
    as_of: NaiveDate,
) -> Result<Result<LastBuy, String>, EngineError> {
    if ending.end.last_order < as_of {
        return Ok(Err("nothing can be ordered any more".to_owned()));
    }
    if found.a_year.is_zero() {
        return Ok(Err("nobody knows what a year takes".to_owned()));
    }
    let offer = |quantity: &Exact| -> Result<Option<LandedPrice>, EngineError> {
        let (orders, _) = landed_offers(plain, material, quantity, ending.end.last_order)?;
        let holds = |order: &LandedPrice| {
            order.source.supplier == ending.end.supplier
                && matches!(order.source.validity, Validity::Valid { .. } | Validity::LapsesSoon { .. })
        };
        Ok(orders.into_iter().filter(holds).min_by(|a, b| a.order_cost.cmp(&b.order_cost)))
    };
    let Some(any) = offer(&Exact::ONE)? else {
        return Ok(Err("no quotation holds on the last day".to_owned()));
    };
    let arrives = any.lead_time.and_then(|lead| lead.after(ending.end.last_order));
    let keeps = material.shelf_life.zip(arrives).and_then(|(life, arrives)| {
        let until = life.after(arrives)?;
        material.minimum_remaining_life.map_or(Some(until), |left| left.before(until))
    });
    let (reaches, limited_by) = match (ending.replaced_on, keeps) {
        (Some(ready), Some(keeps)) if keeps < ready => (keeps, material.shelf_life),
        (Some(ready), _) => (ready, None),
        (None, Some(keeps)) => (keeps, material.shelf_life),
        (None, None) => {
            return Ok(
                Err("nobody said when a replacement is ready, and no shelf life limits it".to_owned()),
            );
        }
    };
    let days = Exact::from((reaches - as_of).num_days().max(0));
    let needed = (&found.a_year * &days).checked_div(&Exact::whole(365))?;
    let wanted = (needed - found.on_hand.to_exact()).max(Exact::ZERO);
    let raw = raw_or_max(&wanted, material.stock_dimension());
    let mut buy = LastBuy {
        wanted: Quantity::from_raw(raw, material.stock_dimension()).to_exact(),
        reaches,
        limited_by,
        packs: 0,
        quantity: Exact::ZERO,
        cost: Exact::ZERO,
        reference: any.source.reference.clone(),
    };
    if buy.wanted.is_positive()
        && let Some(order) = offer(&buy.wanted)?
    {
        buy.packs = order.source.packs;
        buy.quantity = order.source.ordered.clone();
        buy.cost = order.order_cost.clone();
        buy.reference = order.source.reference;
    }
    Ok(Ok(buy))
}
