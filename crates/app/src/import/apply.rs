//! Writing a plan, inside the transaction of the import.

use domain::{
    formulas::{FormulaVersion, VersionStatus},
    stock::MovementKind,
};
use store::stock::NewMovement;

use super::plan::{Plan, Put, VersionPut};
use crate::{Error, change::Work};

/// Lots entered and posted at once: large enough to be quick, small enough for any database's limit of parameters.
const LOTS_AT_ONCE: usize = 2_000;

/// Writes the plan in the order in which things name each other.
pub(super) async fn apply(work: &mut Work<'_>, plan: &Plan) -> Result<(), Error> {
    for put in &plan.materials {
        match put {
            Put::New(material) => store::materials::material_insert(&work.tx, material).await?,
            Put::Changed(material) => store::materials::material_update(&work.tx, material).await?,
        }
    }
    for put in &plan.suppliers {
        match put {
            Put::New(supplier) => store::suppliers::supplier_insert(&work.tx, supplier).await?,
            Put::Changed(supplier) => store::suppliers::supplier_update(&work.tx, supplier).await?,
        }
    }
    for quotation in &plan.quotations {
        store::quotations::quotation_insert(&work.tx, quotation).await?;
    }
    for rate in &plan.rates {
        store::quotations::rate_insert(&work.tx, rate).await?;
    }
    for rate in &plan.house_rates {
        store::house_rates::house_rate_insert(&work.tx, rate).await?;
    }
    for put in &plan.formulas {
        match put {
            Put::New(formula) => store::formulas::formula_insert(&work.tx, formula).await?,
            Put::Changed(formula) => store::formulas::formula_update(&work.tx, formula).await?,
        }
    }
    for put in &plan.versions {
        version(work, put).await?;
    }
    for put in &plan.packs {
        match put {
            Put::New(pack) => store::packs::pack_insert(&work.tx, pack).await?,
            Put::Changed(pack) => store::packs::pack_update(&work.tx, pack).await?,
        }
    }
    for lots in plan.lots.chunks(LOTS_AT_ONCE) {
        store::lots::lots_insert(&work.tx, lots).await?;
        let movements: Vec<NewMovement> = lots
            .iter()
            .map(|lot| NewMovement {
                value: lot.received_value,
                ..work.movement(lot.id, MovementKind::Receipt, lot.received, lot.received_on)
            })
            .collect();
        store::stock::post(&work.tx, &movements).await?;
    }
    Ok(())
}

async fn version(work: &Work<'_>, put: &VersionPut) -> Result<(), Error> {
    match put {
        VersionPut::New(version) => store::formulas::version_insert(&work.tx, version).await?,
        VersionPut::Draft(version) => {
            let draft = FormulaVersion { status: VersionStatus::Draft, approval: None, ..version.clone() };
            store::formulas::version_replace(&work.tx, &draft).await?;
            if version.status != VersionStatus::Draft {
                store::formulas::version_status_set(
                    &work.tx,
                    version.id,
                    VersionStatus::Draft,
                    version.status,
                    version.approval.as_ref(),
                )
                .await?;
            }
        }
        VersionPut::Retired(version) => {
            store::formulas::version_status_set(
                &work.tx,
                version.id,
                VersionStatus::Approved,
                VersionStatus::Retired,
                version.approval.as_ref(),
            )
            .await?;
        }
    }
    Ok(())
}
