//! Judgements: every version kept, the newest one counts.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use sqlx::{Row, SqliteConnection};

use super::load::slot;
use super::{StoreError, batch};
use crate::term::{Judged, Slot};

/// Stored judgements. They follow from everything else that is stored: one that does not decode, because another
/// version of the program wrote it, is no damage but is to be made anew.
#[derive(Debug, Default)]
pub struct StoredJudgements {
    /// The newest of every submission.
    pub judged: BTreeMap<Slot, Judged>,
    /// Whose newest does not decode.
    pub unreadable: BTreeSet<Slot>,
}

pub async fn load_judged(
    connection: &mut SqliteConnection,
) -> Result<StoredJudgements, StoreError> {
    let newest = "SELECT experiment, student_id, document FROM evaluation
                  WHERE id IN (SELECT max(id) FROM evaluation GROUP BY experiment, student_id)";
    let mut stored = StoredJudgements::default();
    for row in sqlx::query(newest).fetch_all(connection).await? {
        let slot = slot(&row)?;
        let document: String = row.try_get("document")?;
        match serde_json::from_str::<Option<Judged>>(&document) {
            Ok(one) => stored.judged.extend(one.map(|one| (slot, one))),
            Err(_) => {
                stored.unreadable.insert(slot);
            }
        }
    }
    Ok(stored)
}

/// Keeps judgements, each as a new version; none where there is nothing to judge any more.
pub async fn save_judged(
    connection: &mut SqliteConnection,
    judged: &BTreeMap<Slot, Option<Judged>>,
    at: Timestamp,
) -> Result<(), StoreError> {
    let mut rows = Vec::with_capacity(judged.len());
    for (slot, one) in judged {
        let document =
            serde_json::to_string(one).map_err(|why| StoreError::damaged("evaluation", why))?;
        rows.push([
            slot.experiment.to_string(),
            slot.student.to_string(),
            document,
        ]);
    }
    let statement = "INSERT INTO evaluation (experiment, student_id, document, at)
         SELECT value->>0, value->>1, value->>2, ?3 FROM json_each(?1) ORDER BY key";
    batch::insert(connection, statement, &rows, ("", at.as_millisecond())).await
}
