//! What a delivery brings besides its amount: whose it is, dates as written, containers, results, and the order it answers; and
//! ordering, so that what is on its way is known before it comes.

use chrono::NaiveDate;
use domain::{
    dates::{MonthMeans, parse_date, parse_date_or_month},
    lots::{Lot, LotStatus, LotTerms, Ownership, WrittenDates, papers::LotResult},
    people::{Actor, Capability},
};
use kernel::{
    Quantity,
    ids::{LotId, MaterialId, SupplierId},
};
use serde::{Deserialize, Serialize};

use crate::{
    App, Change, Error,
    change::Begun,
    containers::ContainerWrite,
    fresh::Problems,
    lots::{LotReceive, lot_lock, stocked_quantity},
    require,
};

/// What a delivery brings besides its amount.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct ReceiptMore {
    /// The ordered lot this is the delivery of.
    pub ordered: Option<LotId>,
    /// Whose it is.
    pub ownership: Ownership,
    /// The customer or supplier it belongs to, when it is not the house's.
    pub owner: Option<String>,
    /// What may be made with it, by the material made; needed for what belongs to a customer.
    pub restricted_to: Vec<MaterialId>,
    /// What of it will stay in its containers and cannot be had.
    pub heel: Option<Quantity>,
    /// Its cost is an estimate until the invoice comes.
    pub cost_provisional: bool,
    /// Dates as written on the label, a day or a month; instead of the dates as days.
    pub written: WrittenDates,
    /// The containers it came in.
    pub containers: Vec<ContainerWrite>,
    /// The results of its certificate of analysis.
    pub results: Vec<LotResult>,
}

/// Something ordered.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LotOrder {
    /// The number its lot will have; made when empty.
    pub number: Option<String>,
    /// What is ordered.
    pub material: MaterialId,
    /// How much.
    pub quantity: Quantity,
    /// From whom.
    pub supplier: Option<SupplierId>,
    /// The day it is expected.
    pub due_on: Option<NaiveDate>,
    /// Remarks: the order's reference.
    pub note: Option<String>,
}

impl App {
    /// Enters what was ordered as a lot that is not there yet.
    ///
    /// # Errors
    /// [`Error::Invalid`], [`Error::NotFound`], or [`domain::Refusal::Taken`] for a lot number in use.
    pub async fn lot_order(&self, change: &Change<'_>, input: LotOrder) -> Result<Lot, Error> {
        let mut work = match self.begin(change, Capability::Buy, "lot-order", &input).await? {
            Begun::Repeat(lot) => return Ok(lot),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let material = catalogue
            .materials
            .get(input.material)
            .ok_or_else(|| Error::not_found("material", input.material))?;
        if let Some(supplier) = input.supplier
            && catalogue.suppliers.get(supplier).is_none()
        {
            return Err(Error::not_found("supplier", supplier));
        }
        let mut problems = Problems::default();
        if !material.kind.is_stocked() {
            problems.push("material", format!("{} is a utility and is not stocked", material.code));
        }
        let number = problems.code("number", "a lot number", input.number.as_deref());
        let note = problems.note("note", input.note.as_deref());
        let quantity = problems.take("quantity", stocked_quantity(input.quantity, material, None));
        if quantity.is_some_and(|q| !q.is_positive()) {
            problems.push("quantity", "an order must be above nought");
        }
        problems.none()?;
        let quantity =
            quantity.ok_or_else(|| Error::internal("an order without problems lacks its amount"))?;
        let nothing = Quantity::from_raw(0, quantity.dimension());
        let number = self.lot_number_settle(&work.tx, number, "L").await?;
        let lot = Lot {
            id: LotId::new(),
            number,
            material: material.id,
            supplier: input.supplier,
            supplier_lot: None,
            made_by: None,
            status: LotStatus::Quarantine,
            received_on: input.due_on.unwrap_or_else(|| self.today()),
            made_on: None,
            expires_on: None,
            retest_on: None,
            opened_on: None,
            density: None,
            active_matter: None,
            location: None,
            received: nothing,
            received_value: None,
            on_hand: nothing,
            value: None,
            reserved: nothing,
            note,
            terms: LotTerms { expected: Some(quantity.raw()), due_on: input.due_on, ..LotTerms::default() },
        };
        store::lots::lot_insert(&work.tx, &lot).await?;
        work.note("lot", lot.id, None::<&()>, &lot, None)?;
        work.finish(lot).await
    }

    /// Lots that are ordered and have not come in.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn lots_ordered(&self, actor: &Actor) -> Result<Vec<Lot>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::lots::lots_ordered(self.store()).await?)
    }

    /// Lots whose number, or whose supplier's number, somebody typed, forgiving case, spaces, hyphens, leading noughts and an O for
    /// a nought; where there is none, those that hold it as a part. Newest first.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn lots_sought(&self, actor: &Actor, text: &str, limit: usize) -> Result<Vec<Lot>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::lots::lots_sought(self.store(), text, limit).await?)
    }

    /// What a receipt binds its lot to, checked.
    pub(crate) fn receipt_terms(
        &self,
        problems: &mut Problems,
        input: &LotReceive,
        quantity: Option<Quantity>,
    ) -> Result<LotTerms, Error> {
        let catalogue = self.snapshot();
        let more = &input.more;
        for product in &more.restricted_to {
            catalogue.materials.get(*product).ok_or_else(|| Error::not_found("material", product))?;
        }
        let owner = problems.code("owner", "an owner", more.owner.as_deref());
        match (more.ownership, &owner) {
            (Ownership::House, Some(_)) => {
                problems.push("owner", "what is the house's own has no other owner");
            }
            (Ownership::Customer | Ownership::Consignment, None) => {
                problems.push("owner", format!("say whose it is: it is {}", more.ownership.words()));
            }
            _ => {}
        }
        if more.ownership == Ownership::Customer {
            if more.restricted_to.is_empty() {
                problems.push("restrictedTo", "say for which products the customer sent it");
            }
            if input.value.is_some_and(|value| value.micros() != 0) || input.unit_cost.is_some() {
                problems.push("value", "what belongs to a customer is worth nothing to the house");
            }
        }
        let heel = match (more.heel, quantity) {
            (Some(heel), Some(quantity)) => {
                let same = heel.dimension() == quantity.dimension();
                if !same || heel.raw() < 0 || heel.raw() > quantity.raw() {
                    problems.push("heel", format!("what cannot be had is part of {quantity}"));
                }
                heel.raw().max(0)
            }
            _ => 0,
        };
        Ok(LotTerms {
            ownership: more.ownership,
            owner,
            restricted_to: more.restricted_to.clone(),
            heel,
            cost_provisional: more.cost_provisional,
            ..LotTerms::default()
        })
    }
}

/// A date given as a day, or as written on a label; a month alone is kept as written beside the day it means.
pub(crate) fn written_date(
    problems: &mut Problems,
    place: &str,
    day: Option<NaiveDate>,
    written: Option<&str>,
    month_means: MonthMeans,
) -> (Option<NaiveDate>, Option<String>) {
    let Some(written) = written.map(str::trim).filter(|written| !written.is_empty()) else {
        return (day, None);
    };
    if day.is_some() {
        problems.push(place, "give the date as a day or as written, not both");
        return (None, None);
    }
    let read = problems.take(place, parse_date_or_month(written, month_means));
    let is_month = parse_date(written).is_err();
    (read, (read.is_some() && is_month).then(|| written.to_owned()))
}

/// The ordered lot a delivery answers, still ordered and of this material.
pub(crate) async fn ordered_lot(tx: &store::WriteTx, id: LotId, material: MaterialId) -> Result<Lot, Error> {
    let lot = lot_lock(tx, id).await?;
    if !lot.is_ordered() {
        return Err(Error::invalid("ordered", format!("lot {} is not on order", lot.number)));
    }
    if lot.material != material {
        return Err(Error::invalid("ordered", format!("lot {} is an order of something else", lot.number)));
    }
    Ok(lot)
}
