//! Every value that lots and unknowns ever had.

use jiff::Timestamp;
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use super::StoreError;
use super::load::{assigned, instant};
use crate::term::{Judged, Slot};
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
    pub at: Timestamp,
}

/// Every value of every lot, in order of lot and version.
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

/// Every judgement of a submission that still decodes, with its time, in order; none where nothing was left to judge.
pub async fn judgement_history(
    connection: &mut SqliteConnection,
    slot: &Slot,
) -> Result<Vec<(Timestamp, Option<Judged>)>, StoreError> {
    let rows = sqlx::query(
        "SELECT document, at FROM evaluation WHERE experiment = ? AND student_id = ? ORDER BY id",
    )
    .bind(slot.experiment.as_str())
    .bind(slot.student.as_str())
    .fetch_all(connection)
    .await?;
    let mut history = Vec::with_capacity(rows.len());
    for row in &rows {
        let document: String = row.try_get("document")?;
        let at = instant(row.try_get("at")?, "evaluation")?;
        // as in `load_judged`
        history.extend(
            serde_json::from_str(&document)
                .ok()
                .map(|judged| (at, judged)),
        );
    }
    Ok(history)
}

/// When the results of an experiment were first released to a section; none if they never were.
pub async fn first_release(
    connection: &mut SqliteConnection,
    experiment: &str,
    section: &str,
) -> Result<Option<Timestamp>, StoreError> {
    let first = sqlx::query_scalar(
        "SELECT min(at) FROM release WHERE experiment = ? AND coalesce(section, ?) = ? AND released_at IS NOT NULL",
    );
    let first = first.bind(experiment).bind(section).bind(section);
    let first: Option<i64> = first.fetch_one(connection).await?;
    first.map(|at| instant(at, "release")).transpose()
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
