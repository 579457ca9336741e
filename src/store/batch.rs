//! Many rows in one statement. A statement costs tens of microseconds whatever it carries, so rows travel as one JSON
//! array that the database takes apart.

use serde::Serialize;

use super::StoreError;
use super::dialect::insert_of_json;
use super::sql::{Connection, query_made};

/// Rows carried by one statement: few enough that to put them into text takes no longer than a millisecond.
const AT_ONCE: usize = 100;

/// A table that many rows go into at once, with the columns that they bring; rows are objects with these names.
pub(super) struct Table {
    pub name: &'static str,
    pub columns: &'static [(&'static str, Holds)],
}

/// What a column holds.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Holds {
    Number,
    Text,
}

/// Inserts rows in order.
pub(super) async fn insert<T: Serialize>(
    connection: &mut Connection,
    table: &Table,
    rows: &[T],
) -> Result<(), StoreError> {
    for part in rows.chunks(AT_ONCE) {
        let rows = serde_json::to_string(part)
            .map_err(|why| StoreError::damaged("rows to insert", why))?;
        query_made(insert_of_json(connection.dialect(), table))
            .bind(rows)
            .execute(connection)
            .await?;
    }
    Ok(())
}
