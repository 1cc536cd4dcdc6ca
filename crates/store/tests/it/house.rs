//! A small house to test in: one raw material, one bulk made of it, one pack of that.

use domain::{
    formulas::{Formula, VersionStatus},
    lots::Lot,
    materials::{Material, MaterialKind},
    packs::Pack,
    suppliers::Supplier,
    tickets::Ticket,
};
use kernel::ids::LotId;
use store::{
    Store, StoreError, WriteTx, Writes,
    stock::{NewMovement, post},
};
use testkit::samples;

pub struct House {
    pub raw: Material,
    pub bulk: Material,
    pub bottle: Material,
    pub product: Material,
    pub supplier: Supplier,
    pub formula: Formula,
    pub pack: Pack,
}

impl House {
    /// The house, written to the database.
    pub async fn build(store: &Store) -> Self {
        let raw = samples::material("RM-1");
        let bulk = Material { kind: MaterialKind::Bulk, ..samples::material("BK-1") };
        let bottle = Material { kind: MaterialKind::PackagingComponent, ..samples::material("PC-1") };
        let product = Material { kind: MaterialKind::FinishedProduct, ..samples::material("FP-1") };
        let supplier = samples::supplier("S-1");
        let mut formula = samples::formula("F-1", &bulk, &raw);
        formula.versions[0].status = VersionStatus::Approved;
        formula.versions[0].approval = Some(samples::approval());
        let pack = samples::pack("P-1", &formula, &product, &bottle);

        let tx = store.begin_write().await.unwrap();
        for material in [&raw, &bulk, &bottle, &product] {
            store::materials::material_insert(&tx, material).await.unwrap();
        }
        store::suppliers::supplier_insert(&tx, &supplier).await.unwrap();
        store::formulas::formula_insert(&tx, &formula).await.unwrap();
        store::packs::pack_insert(&tx, &pack).await.unwrap();
        tx.commit().await.unwrap();
        Self { raw, bulk, bottle, product, supplier, formula, pack }
    }

    /// A lot of the raw material, received.
    pub async fn lot(&self, store: &Store, number: &str, received: &str, value: Option<&str>) -> Lot {
        let lot = samples::lot(number, &self.raw, received, value);
        let tx = store.begin_write().await.unwrap();
        store::lots::lot_insert(&tx, &lot).await.unwrap();
        post(&tx, &[samples::receipt(&lot)]).await.unwrap();
        tx.commit().await.unwrap();
        get(store, lot.id).await
    }

    /// A planned ticket.
    pub async fn ticket(&self, store: &Store, number: &str, batch: &str) -> Ticket {
        let ticket = samples::ticket(number, &self.formula, batch);
        let tx = store.begin_write().await.unwrap();
        store::tickets::ticket_insert(&tx, &ticket).await.unwrap();
        tx.commit().await.unwrap();
        ticket
    }
}

/// A lot as it stands.
pub async fn get(store: &Store, id: LotId) -> Lot {
    store::lots::lot_get(store, id).await.unwrap().expect("the lot is there")
}

/// Posts and keeps it, or drops it all.
pub async fn post_all(
    store: &Store,
    movements: &[NewMovement],
) -> Result<Vec<domain::stock::Movement>, StoreError> {
    let tx = store.begin_write().await?;
    let posted = post(&tx, movements).await?;
    tx.commit().await?;
    Ok(posted)
}

/// A transaction, for one thing.
pub async fn tx(store: &Store) -> WriteTx {
    store.begin_write().await.unwrap()
}

/// Puts writes down and writes them.
pub async fn written(
    tx: &WriteTx,
    put: impl FnOnce(&mut Writes) -> Result<(), StoreError>,
) -> Result<(), StoreError> {
    let mut writes = Writes::of(tx);
    put(&mut writes)?;
    writes.run(tx).await
}
