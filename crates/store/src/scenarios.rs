//! Scenarios that are kept. Only ever added to.

use domain::{scenarios::KeptScenario, text::code_key};
use kernel::ids::ScenarioId;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};
use std::collections::BTreeMap;

use crate::{
    Conn, StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{insert_all, scenarios::scenario},
};

/// Keeps a scenario.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::SCENARIO_NUMBER`](crate::constraints::SCENARIO_NUMBER) when one of that name and
/// number is kept already.
pub async fn scenario_insert(tx: &WriteTx, kept: &KeptScenario) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![scenario::Model::of(kept)]).await
}

/// The scenario of that identity.
pub async fn scenario_get(conn: &impl Conn, id: ScenarioId) -> Result<Option<KeptScenario>, StoreError> {
    let row = scenario::Entity::find_by_id(id.0).one(conn.connection()).await?;
    row.map(scenario::Model::into_scenario).transpose()
}

/// The scenario last kept under a name, letter case aside.
pub async fn scenario_by_name(conn: &impl Conn, name: &str) -> Result<Option<KeptScenario>, StoreError> {
    let row = scenario::Entity::find()
        .filter(scenario::Column::NameKey.eq(code_key(name)))
        .order_by_desc(scenario::Column::Number)
        .one(conn.connection())
        .await?;
    row.map(scenario::Model::into_scenario).transpose()
}

/// The last kept of each name, by name.
pub async fn scenarios_list(conn: &impl Conn) -> Result<Vec<KeptScenario>, StoreError> {
    let rows = scenario::Entity::find()
        .order_by_asc(scenario::Column::NameKey)
        .order_by_asc(scenario::Column::Number)
        .all(conn.connection())
        .await?;
    // The later of a name takes the place of the earlier.
    let last: BTreeMap<String, scenario::Model> =
        rows.into_iter().map(|row| (row.name_key.clone(), row)).collect();
    last.into_values().map(scenario::Model::into_scenario).collect()
}
