//! Every value that lots and unknowns ever had.

use jiff::Timestamp;
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use super::StoreError;
use super::load::{assigned, instant};
use crate::truth::Assigned;

/// One value of a lot or an unknown. An unknown's is a secret of the course: `Debug` does not show it.
#[derive(Clone)]
pub struct ValueVersion {
    /// Code of the lot or unknown.
    pub code: String,
    /// From 1.
    pub version: u32,
    /// mol/L for a lot; the experiment's result unit for an unknown.
    pub value: Assigned,
    /// Why it replaced the one before; empty for the first.
    pub reason: String,
    /// Login of who entered it.
    pub by: String,
    /// When.
    pub at: Timestamp,
}

/// Every value of every lot, in order of lot and version.
///
/// # Errors
/// [`StoreError`]
pub async fn lot_history(
    connection: &mut SqliteConnection,
) -> Result<Vec<ValueVersion>, StoreError> {
    let rows = sqlx::query(
        "SELECT lot AS code, version, molarity AS value, standard_uncertainty, reason, by_login, at \
         FROM lot_value ORDER BY lot, version",
    )
    .fetch_all(connection)
    .await?;
    rows.iter().map(|row| version(row, "lot_value")).collect()
}

/// Every value of the unknowns of an experiment, in order of code and version.
///
/// # Errors
/// [`StoreError`]
pub async fn unknown_history(
    connection: &mut SqliteConnection,
    experiment: &str,
) -> Result<Vec<ValueVersion>, StoreError> {
    let rows = sqlx::query(
        "SELECT unknown AS code, version, true_value AS value, standard_uncertainty, reason, by_login, at \
         FROM unknown_value WHERE experiment = ? ORDER BY unknown, version",
    )
    .bind(experiment)
    .fetch_all(connection)
    .await?;
    rows.iter()
        .map(|row| version(row, "unknown_value"))
        .collect()
}

fn version(row: &SqliteRow, table: &str) -> Result<ValueVersion, StoreError> {
    Ok(ValueVersion {
        code: row.try_get("code")?,
        version: row.try_get("version")?,
        value: assigned(row, "value", table)?,
        reason: row.try_get("reason")?,
        by: row.try_get("by_login")?,
        at: instant(row.try_get("at")?, table)?,
    })
}
