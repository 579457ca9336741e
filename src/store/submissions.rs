//! Single submissions: by receipt and by the request that brought them.

use jiff::Timestamp;
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use super::StoreError;
use super::load::{instant, revision, slot};
use crate::term::{Revision, Slot};

#[derive(Clone, Debug, PartialEq)]
pub struct StoredSubmission {
    pub slot: Slot,
    /// Which revision, from 1.
    pub number: u32,
    /// What was handed in.
    pub revision: Revision,
    /// When the server kept it.
    pub recorded_at: Timestamp,
}

const COLUMNS: &str = "SELECT id, experiment, student_id, revision, document, submitted_at, reason, recorded_at FROM submission";

/// The submission of that receipt, if it is `student`'s.
pub async fn submission(
    connection: &mut SqliteConnection,
    student: &str,
    receipt: i64,
) -> Result<Option<StoredSubmission>, StoreError> {
    let query = format!("{COLUMNS} WHERE id = ? AND student_id = ?");
    let row = sqlx::query(sqlx::AssertSqlSafe(query))
        .bind(receipt)
        .bind(student)
        .fetch_optional(connection)
        .await?;
    row.map(|row| read(&row)).transpose()
}

/// The submission that the request of that key brought, whoever's it is.
pub async fn by_request_key(
    connection: &mut SqliteConnection,
    key: &str,
) -> Result<Option<StoredSubmission>, StoreError> {
    let query = format!("{COLUMNS} WHERE request_key = ?");
    let row = sqlx::query(sqlx::AssertSqlSafe(query))
        .bind(key)
        .fetch_optional(connection)
        .await?;
    row.map(|row| read(&row)).transpose()
}

fn read(row: &SqliteRow) -> Result<StoredSubmission, StoreError> {
    Ok(StoredSubmission {
        slot: slot(row)?,
        number: row.try_get("revision")?,
        revision: revision(row)?,
        recorded_at: instant(row.try_get("recorded_at")?, "submission")?,
    })
}
