//! What was used of each material, by day: read from the ledger.

use chrono::NaiveDate;
use kernel::ids::MaterialId;
use sea_orm::{ConnectionTrait, Statement};

use crate::{Conn, StoreError};

/// Weighed and filled, less what was taken back. A reversal counts for the day it was entered for.
const USED: &str = "
SELECT lots.material AS material, movements.day AS day, CAST(-SUM(movements.quantity) AS BIGINT) AS used
FROM movements
JOIN lots ON lots.id = movements.lot
LEFT JOIN movements AS undone ON undone.id = movements.reverses
WHERE movements.day BETWEEN $1 AND $2
    AND (movements.kind IN ('weighing', 'filling') OR undone.kind IN ('weighing', 'filling'))
GROUP BY lots.material, movements.day
ORDER BY movements.day";

/// What was used of each material on each day between two, both included, in the scaled integer of its dimension.
pub async fn used_by_day(
    conn: &impl Conn,
    from: NaiveDate,
    until: NaiveDate,
) -> Result<Vec<(MaterialId, NaiveDate, i64)>, StoreError> {
    let connection = conn.connection();
    let statement =
        Statement::from_sql_and_values(connection.get_database_backend(), USED, [from.into(), until.into()]);
    connection
        .query_all_raw(statement)
        .await?
        .iter()
        .map(|row| {
            Ok((MaterialId(row.try_get("", "material")?), row.try_get("", "day")?, row.try_get("", "used")?))
        })
        .collect()
}
