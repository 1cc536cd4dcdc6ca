//! What the shelf is worth: lot by lot, by how each stands, at the lower of cost and what it would bring.

use chrono::NaiveDate;
use domain::{
    lots::{Lot, LotStanding, Ownership},
    materials::Material,
};
use kernel::{
    Exact, Money, Quantity,
    ids::{LotId, MaterialId},
};

use crate::{
    EngineError, Gap, MaterialRef, View,
    basis::{Basis, CostAndRealisable, lower_of_cost_and_realisable, price_on_basis},
};

/// What one kg or piece of a material would bring, less what finishing and selling it costs, in the house's currency.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Realisable {
    /// The material.
    pub material: MaterialId,
    /// Per kg or piece.
    pub per_unit: Exact,
}

/// What is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorthRequest {
    /// The day.
    pub on: NaiveDate,
    /// How a lot is costed; `None` for what each lot itself cost.
    pub basis: Option<Basis>,
    /// What materials would bring, where somebody has said so. A lot that is rejected or expired brings nothing unless it is said.
    pub realisable: Vec<Realisable>,
}

/// One lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorthRow {
    /// The lot.
    pub lot: LotId,
    /// Its number.
    pub number: String,
    /// What it is.
    pub material: MaterialRef,
    /// How it stands on the day.
    pub standing: LotStanding,
    /// Whose it is; what is not the house's stands at nothing.
    pub ownership: Ownership,
    /// What is there.
    pub quantity: Quantity,
    /// What that cost; `None` with the reason in `gap`.
    pub cost: Option<Money>,
    /// Why its cost is not known.
    pub gap: Option<Gap>,
    /// What one kg or piece would bring, where that counts.
    pub realisable_per_unit: Option<Exact>,
    /// What it stands at: the lower of the two.
    pub carried: Option<Money>,
    /// Cost less what it stands at.
    pub write_down: Option<Money>,
}

/// What the shelf is worth.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShelfWorth {
    /// The day.
    pub on: NaiveDate,
    /// How lots are costed; `None` for what each lot itself cost.
    pub basis: Option<Basis>,
    /// Lots, by material and number.
    pub rows: Vec<WorthRow>,
    /// What those with a known cost cost.
    pub cost: Money,
    /// What those stand at.
    pub carried: Money,
    /// The expense: cost less what they stand at.
    pub write_down: Money,
    /// Lots whose cost is not known; the sums leave them out.
    pub not_known: usize,
}

/// What the shelf is worth, item by item: a gain on one lot makes no loss on another good (IAS 2 paragraph 29). `lots` are those that
/// hold something. With [`Basis`] the view needs the history of their materials.
///
/// # Errors
/// Those of [`price_on_basis`]; [`EngineError::Amount`] beyond what can be kept.
pub fn shelf_worth(view: &View<'_>, lots: &[Lot], request: &WorthRequest) -> Result<ShelfWorth, EngineError> {
    let currency = view.catalogue().settings.currency;
    let nought = Money::zero(currency);
    let mut rows = Vec::with_capacity(lots.len());
    for lot in lots.iter().filter(|lot| lot.on_hand.is_positive()) {
        let Some(material) = view.catalogue().materials.get(lot.material) else { continue };
        rows.push(row_of(view, material, lot, request, nought)?);
    }
    rows.sort_by(|a, b| (&a.material.code, &a.number).cmp(&(&b.material.code, &b.number)));
    let (mut cost, mut carried, mut not_known) = (nought, nought, 0_usize);
    for row in &rows {
        match (row.cost, row.carried) {
            (Some(of), Some(at)) => {
                cost = cost.checked_add(of)?;
                carried = carried.checked_add(at)?;
            }
            _ => not_known += 1,
        }
    }
    let write_down = cost.checked_sub(carried)?;
    Ok(ShelfWorth { on: request.on, basis: request.basis, rows, cost, carried, write_down, not_known })
}

fn row_of(
    view: &View<'_>,
    material: &Material,
    lot: &Lot,
    request: &WorthRequest,
    nought: Money,
) -> Result<WorthRow, EngineError> {
    let standing = lot.standing_on(request.on);
    let ownership = lot.terms.ownership;
    let (cost, gap) = match request.basis {
        _ if !ownership.is_valued() => (Some(nought), None),
        None => (lot.value, None),
        Some(basis) => match price_on_basis(view, material, basis, &lot.on_hand.to_exact(), request.on)? {
            Ok(price) => {
                let value = &price.per_unit * &lot.on_hand.to_exact();
                (Some(Money::from_exact_half_even(&value, nought.currency())?), None)
            }
            Err(gap) => (None, Some(gap)),
        },
    };
    let said = request.realisable.iter().find(|said| said.material == lot.material);
    let realisable_per_unit = match (said, standing) {
        (Some(said), _) => Some(said.per_unit.clone()),
        (None, LotStanding::Rejected | LotStanding::Expired) => Some(Exact::ZERO),
        (None, _) => None,
    };
    let carried = cost.map(|cost| carried_at(lot.on_hand, cost, realisable_per_unit.as_ref())).transpose()?;
    let write_down = cost.zip(carried).map(|(cost, carried)| cost.checked_sub(carried)).transpose()?;
    Ok(WorthRow {
        lot: lot.id,
        number: lot.number.clone(),
        material: MaterialRef::from(material),
        standing,
        ownership,
        quantity: lot.on_hand,
        cost,
        gap,
        realisable_per_unit,
        carried,
        write_down,
    })
}

/// The lower of what a lot cost and what it would bring; what it cost where nobody says what it would bring.
fn carried_at(on_hand: Quantity, cost: Money, realisable: Option<&Exact>) -> Result<Money, EngineError> {
    let Some(realisable) = realisable else { return Ok(cost) };
    let quantity = on_hand.to_exact();
    let item = CostAndRealisable {
        unit_cost: cost.to_exact().checked_div(&quantity)?,
        unit_realisable: realisable.clone(),
        quantity,
    };
    let down = lower_of_cost_and_realisable(&[item]);
    Ok(Money::from_exact_half_even(&down.carried, cost.currency())?)
}
