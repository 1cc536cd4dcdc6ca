//! The catalogue as a whole: loading it, and the version that grows with each change to it.

use domain::{Catalogue, Settings, catalogue::CatalogueParts};
use sea_orm::{
    ConnectionTrait, DbBackend, EntityTrait, ModelTrait, QueryOrder, Statement,
    sea_query::{Expr, ExprTrait},
};
use std::{collections::HashMap, hash::Hash};

use crate::{
    Conn, StoreError, WriteTx,
    changes::CHANNEL,
    connection::sealed::HasConnection,
    rows::{
        formulas::{formula, line, version},
        house_rates::house_rate,
        making::cost,
        materials::material,
        packs::{component, pack},
        quotations::{charge, offer, quotation, rate},
        suppliers::supplier,
        trail::site_state,
    },
};

/// The whole catalogue as of one moment.
///
/// # Errors
/// [`StoreError::Corrupt`] for a row that no longer makes sense.
pub async fn catalogue_load(conn: &impl Conn, settings: &Settings) -> Result<Catalogue, StoreError> {
    match conn.store() {
        // Several questions: they have to see one state.
        Some(store) => load(&store.begin_read().await?, settings).await,
        None => load(conn, settings).await,
    }
}

/// The catalogue's version.
pub async fn catalogue_version(conn: &impl Conn) -> Result<i64, StoreError> {
    let row = site_state::Entity::find().one(conn.connection()).await?;
    row.map(|row| row.catalogue_version).ok_or_else(no_site_state)
}

/// Raises the catalogue's version and gives the new one. Belongs into every transaction that changes the catalogue. Other
/// processes are told when the transaction is kept, where the database can.
pub async fn catalogue_version_raise(tx: &WriteTx) -> Result<i64, StoreError> {
    let connection = tx.connection();
    let raised = site_state::Entity::update_many()
        .col_expr(
            site_state::Column::CatalogueVersion,
            Expr::col(site_state::Column::CatalogueVersion).add(1),
        )
        .exec(connection)
        .await?;
    if raised.rows_affected != 1 {
        return Err(no_site_state());
    }
    let version = catalogue_version(tx).await?;
    if connection.get_database_backend() == DbBackend::Postgres {
        let notice = Statement::from_sql_and_values(
            DbBackend::Postgres,
            "SELECT pg_notify($1, $2)",
            [CHANNEL.into(), version.to_string().into()],
        );
        connection.execute_raw(notice).await?;
    }
    Ok(version)
}

fn no_site_state() -> StoreError {
    StoreError::Corrupt { table: "site_state", id: "1".to_owned(), reason: "it is not there".to_owned() }
}

async fn load(conn: &impl Conn, settings: &Settings) -> Result<Catalogue, StoreError> {
    let db = conn.connection();
    let catalogue_version = catalogue_version(conn).await?;

    let materials = material::Entity::find().all(db).await?;
    let suppliers = supplier::Entity::find().all(db).await?;
    let rates = rate::Entity::find().order_by_asc(rate::Column::Date).all(db).await?;

    let house_rates = house_rate::Entity::find().all(db).await?;

    let quotations = quotation::Entity::find().order_by_asc(quotation::Column::Id).all(db).await?;
    let offers = offer::Entity::find().order_by_asc(offer::Column::Position).all(db).await?;
    let mut offers = grouped(offers, |row| row.quotation);
    let charges = charge::Entity::find().order_by_asc(charge::Column::Position).all(db).await?;
    let mut charges = grouped(charges, |row| row.quotation);

    let formulas = formula::Entity::find().all(db).await?;
    let versions = version::Entity::find().order_by_asc(version::Column::Number).all(db).await?;
    let lines = line::Entity::find().order_by_asc(line::Column::Position).all(db).await?;
    let mut versions = grouped(versions, |row| row.formula);
    let mut lines = grouped(lines, |row| row.version);
    let costs = cost::Entity::find().order_by_asc(cost::Column::Position).all(db).await?;
    let mut costs = grouped(costs, |row| row.version);

    let packs = pack::Entity::find().all(db).await?;
    let components = component::Entity::find().order_by_asc(component::Column::Position).all(db).await?;
    let mut components = grouped(components, |row| row.pack);

    let formula = |row: formula::Model| {
        let versions = versions
            .remove(&row.id)
            .unwrap_or_default()
            .into_iter()
            .map(|version| {
                let lines = lines.remove(&version.id).unwrap_or_default();
                let costs = costs.remove(&version.id).unwrap_or_default();
                version.into_version(lines, costs)
            })
            .collect::<Result<_, StoreError>>()?;
        Ok::<_, StoreError>(row.into_formula(versions))
    };
    let parts = CatalogueParts {
        materials: each(materials, material::Model::into_material)?,
        suppliers: each(suppliers, supplier::Model::into_supplier)?,
        quotations: each(quotations, |row| {
            let offers = offers.remove(&row.id).unwrap_or_default();
            let charges = charges.remove(&row.id).unwrap_or_default();
            row.into_quotation(offers, charges)
        })?,
        rates: each(rates, rate::Model::into_rate)?,
        house_rates: each(house_rates, house_rate::Model::into_rate)?,
        formulas: each(formulas, formula)?,
        packs: each(packs, |row| {
            let components = components.remove(&row.id).unwrap_or_default();
            row.into_pack(components)
        })?,
    };
    Ok(Catalogue::new(catalogue_version, settings.clone(), parts))
}

fn each<R, T>(rows: Vec<R>, make: impl FnMut(R) -> Result<T, StoreError>) -> Result<Vec<T>, StoreError> {
    rows.into_iter().map(make).collect()
}

/// Rows by what they belong to, each group in the order of the whole.
pub(crate) fn grouped<K: Eq + Hash, R: ModelTrait>(
    rows: Vec<R>,
    key: impl Fn(&R) -> K,
) -> HashMap<K, Vec<R>> {
    let mut groups: HashMap<K, Vec<R>> = HashMap::new();
    for row in rows {
        groups.entry(key(&row)).or_default().push(row);
    }
    groups
}
