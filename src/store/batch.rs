//! Many rows in one statement. A statement costs tens of microseconds whatever it carries, so rows travel as one JSON
//! array that SQLite takes apart.

use serde::Serialize;
use sqlx::SqliteConnection;

use super::StoreError;

/// Rows carried by one statement: few enough that to put them into text takes no longer than a millisecond.
const AT_ONCE: usize = 100;

/// Inserts rows in order. `statement` reads them from `json_each(?1)` and ends in `ORDER BY key`.
pub(super) async fn insert<T: Serialize>(
    connection: &mut SqliteConnection,
    statement: &'static str,
    rows: &[T],
) -> Result<(), StoreError> {
    for part in rows.chunks(AT_ONCE) {
        let rows = serde_json::to_string(part)
            .map_err(|why| StoreError::damaged("rows to insert", why))?;
        sqlx::query(statement)
            .bind(rows)
            .execute(&mut *connection)
            .await?;
    }
    Ok(())
}
