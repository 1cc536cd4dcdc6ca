//! Proving the balances from the ledger, and putting them right.

use kernel::{Currency, Money, Quantity, ids::LotId};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryResult, Statement, sea_query::Expr,
};
use uuid::Uuid;

use crate::{
    Conn, StoreError, WriteTx, codes::At, connection::sealed::HasConnection, lots::lots_lock, rows::lots::lot,
};

/// Which balance of a lot does not agree.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Balance {
    /// What is there, against the sum of its movements.
    OnHand,
    /// Its value, against the sum of its movements' values and their corrections.
    Value,
    /// What is promised of it, against the sum of its allocations.
    Reserved,
}

/// A balance that does not agree with what it is the sum of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Discrepancy {
    /// The lot.
    pub lot: LotId,
    /// Its number.
    pub number: String,
    /// Which balance.
    pub balance: Balance,
    /// As kept with the lot: kilograms, pieces or money, as the balance is.
    pub kept: rust_decimal::Decimal,
    /// As its movements or allocations add up to.
    pub proven: rust_decimal::Decimal,
}

/// Compares every lot's balances with the ledger and the allocations; empty when all agree.
pub async fn ledger_verify(conn: &impl Conn) -> Result<Vec<Discrepancy>, StoreError> {
    let rows = disagreeing(conn).await?;
    Ok(rows.iter().flat_map(Row::discrepancies).collect())
}

/// Writes the balances that do not agree anew from the ledger and the allocations, and says which they were.
pub async fn ledger_rebuild(tx: &WriteTx) -> Result<Vec<Discrepancy>, StoreError> {
    let ids: Vec<LotId> = disagreeing(tx).await?.iter().map(|row| LotId(row.id)).collect();
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    // Looked at again once nobody else can change them.
    lots_lock(tx, &ids).await?;
    let rows: Vec<Row> =
        disagreeing(tx).await?.into_iter().filter(|row| ids.contains(&LotId(row.id))).collect();
    for row in &rows {
        lot::Entity::update_many()
            .col_expr(lot::Column::OnHand, Expr::value(row.moved))
            .col_expr(lot::Column::Value, Expr::value(row.value.map(|_| row.worth)))
            .col_expr(lot::Column::Reserved, Expr::value(row.promised))
            .filter(lot::Column::Id.eq(row.id))
            .exec(tx.connection())
            .await?;
    }
    Ok(rows.iter().flat_map(Row::discrepancies).collect())
}

/// A lot whose balances do not agree, with what they should be.
struct Row {
    id: Uuid,
    number: String,
    dimension: kernel::Dimension,
    currency: Option<Currency>,
    on_hand: i64,
    value: Option<i64>,
    reserved: i64,
    moved: i64,
    worth: i64,
    promised: i64,
}

/// Sums of a column of whole numbers are exact on both databases; PostgreSQL gives them as NUMERIC and needs the cast.
const DISAGREEING: &str = "
SELECT lots.id, lots.number, lots.dimension, lots.currency, lots.on_hand, lots.value, lots.reserved,
    CAST(COALESCE(moved.quantity, 0) AS BIGINT) AS moved,
    CAST(COALESCE(moved.value, 0) + COALESCE(corrected.amount, 0) AS BIGINT) AS worth,
    CAST(COALESCE(promised.quantity, 0) AS BIGINT) AS promised
FROM lots
LEFT JOIN (SELECT lot, SUM(quantity) AS quantity, SUM(value) AS value FROM movements GROUP BY lot) AS moved
    ON moved.lot = lots.id
LEFT JOIN (SELECT lot, SUM(amount) AS amount FROM cost_correction_shares GROUP BY lot) AS corrected
    ON corrected.lot = lots.id
LEFT JOIN (SELECT lot, SUM(quantity) AS quantity FROM allocations GROUP BY lot) AS promised
    ON promised.lot = lots.id
WHERE lots.on_hand <> COALESCE(moved.quantity, 0)
    OR lots.value <> COALESCE(moved.value, 0) + COALESCE(corrected.amount, 0)
    OR lots.reserved <> COALESCE(promised.quantity, 0)
ORDER BY lots.number_key";

async fn disagreeing(conn: &impl Conn) -> Result<Vec<Row>, StoreError> {
    let connection = conn.connection();
    let statement = Statement::from_string(connection.get_database_backend(), DISAGREEING);
    connection.query_all_raw(statement).await?.iter().map(Row::read).collect()
}

impl Row {
    fn read(row: &QueryResult) -> Result<Self, StoreError> {
        let id: Uuid = row.try_get("", "id")?;
        let dimension: String = row.try_get("", "dimension")?;
        let currency: Option<String> = row.try_get("", "currency")?;
        let at = At::new("lots", &id);
        Ok(Self {
            id,
            number: row.try_get("", "number")?,
            dimension: at.word("dimension", &dimension)?,
            currency: at.text_opt("currency", currency.as_deref())?,
            on_hand: row.try_get("", "on_hand")?,
            value: row.try_get("", "value")?,
            reserved: row.try_get("", "reserved")?,
            moved: row.try_get("", "moved")?,
            worth: row.try_get("", "worth")?,
            promised: row.try_get("", "promised")?,
        })
    }

    fn discrepancies(&self) -> Vec<Discrepancy> {
        let quantity = |raw| Quantity::from_raw(raw, self.dimension).figure();
        let money = |micros| {
            self.currency
                .map_or_else(Default::default, |currency| Money::from_micros(micros, currency).amount())
        };
        let balances = [
            (Balance::OnHand, self.on_hand, self.moved),
            // A lot without a value has none to disagree.
            (Balance::Value, self.value.unwrap_or(self.worth), self.worth),
            (Balance::Reserved, self.reserved, self.promised),
        ];
        balances
            .into_iter()
            .filter(|(_, kept, proven)| kept != proven)
            .map(|(balance, kept, proven)| {
                let figure = |raw| if balance == Balance::Value { money(raw) } else { quantity(raw) };
                Discrepancy {
                    lot: LotId(self.id),
                    number: self.number.clone(),
                    balance,
                    kept: figure(kept),
                    proven: figure(proven),
                }
            })
            .collect()
    }
}
