//! What is typed at benches and not handed in yet, so that it outlives a phone.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use super::StoreError;
use super::sql::{Connection, Row, query};
use crate::ids::{ExperimentKey, StudentId};
use crate::term::Slot;

/// For how long one is kept that nobody touches.
const KEPT_FOR: SignedDuration = SignedDuration::from_hours(60 * 24);

/// The form of one student in one experiment as it was typed last.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BenchDraft {
    /// When it was kept.
    pub at: Timestamp,
    /// Key of the form it was typed in.
    pub form: String,
    /// Names and values, in order.
    pub fields: Vec<(String, String)>,
    /// Since when the student has a hand up.
    pub hand_at: Option<Timestamp>,
}

/// Tells whether a draft of an experiment is new: the newest change and how many there are.
pub type DraftStamp = (i64, i64);

/// Keeps a draft in the place of the one before, and lets go of those that nobody has touched for long.
pub async fn keep_draft(
    connection: &mut Connection,
    slot: &Slot,
    draft: &BenchDraft,
) -> Result<(), StoreError> {
    let old = draft.at.checked_sub(KEPT_FOR).unwrap_or(Timestamp::MIN);
    query("DELETE FROM bench_draft WHERE at < $1")
        .bind(old.as_millisecond())
        .execute(&mut *connection)
        .await?;
    let fields = serde_json::to_string(&draft.fields);
    let fields = fields.map_err(|why| StoreError::damaged("bench_draft.fields", why))?;
    query(
        "INSERT INTO bench_draft (experiment, student, at, change, form, fields, hand_at)
         SELECT $1, (SELECT key FROM person WHERE number = $2 ORDER BY id DESC LIMIT 1), $3,
                (SELECT coalesce(max(change), 0) + 1 FROM bench_draft), $4, $5, $6
         WHERE true
         ON CONFLICT (experiment, student) DO UPDATE
         SET at = excluded.at, change = excluded.change, form = excluded.form, fields = excluded.fields,
             hand_at = excluded.hand_at",
    )
    .bind(slot.experiment.as_str())
    .bind(slot.student.as_str())
    .bind(draft.at.as_millisecond())
    .bind(&draft.form)
    .bind(fields)
    .bind(draft.hand_at.map(Timestamp::as_millisecond))
    .execute(connection)
    .await?;
    Ok(())
}

/// The draft of one student.
pub async fn draft_of(
    connection: &mut Connection,
    slot: &Slot,
) -> Result<Option<BenchDraft>, StoreError> {
    let row = query(
        "SELECT * FROM bench_draft WHERE experiment = $1 AND student =
         (SELECT key FROM person WHERE number = $2 ORDER BY id DESC LIMIT 1)",
    );
    let row = row
        .bind(slot.experiment.as_str())
        .bind(slot.student.as_str());
    let row = row.fetch_optional(connection).await?;
    row.as_ref().map(read).transpose()
}

/// Those of everybody in an experiment.
pub async fn drafts_in(
    connection: &mut Connection,
    experiment: &ExperimentKey,
) -> Result<BTreeMap<StudentId, BenchDraft>, StoreError> {
    let rows = query(
        "SELECT *, (SELECT number FROM person WHERE key = student ORDER BY id DESC LIMIT 1) AS number
         FROM bench_draft WHERE experiment = $1",
    );
    let rows = rows.bind(experiment.as_str()).fetch_all(connection).await?;
    let mut drafts = BTreeMap::new();
    for row in &rows {
        // of somebody whose name was taken out nothing is left here either
        if let Some(number) = row.try_get::<Option<String>>("number")? {
            drafts.insert(StudentId::new(number), read(row)?);
        }
    }
    Ok(drafts)
}

pub async fn draft_stamp(connection: &mut Connection) -> Result<DraftStamp, StoreError> {
    let stamp =
        query("SELECT coalesce(max(change), 0) AS newest, count(*) AS many FROM bench_draft");
    let stamp = stamp.fetch_one(connection).await?;
    Ok((stamp.try_get("newest")?, stamp.try_get("many")?))
}

fn read(row: &Row) -> Result<BenchDraft, StoreError> {
    let instant = |at: i64| {
        Timestamp::from_millisecond(at).map_err(|why| StoreError::damaged("bench_draft", why))
    };
    let fields: &str = row.try_get("fields")?;
    let fields = serde_json::from_str(fields);
    Ok(BenchDraft {
        at: instant(row.try_get("at")?)?,
        form: row.try_get("form")?,
        fields: fields.map_err(|why| StoreError::damaged("bench_draft.fields", why))?,
        hand_at: row
            .try_get::<Option<i64>>("hand_at")?
            .map(instant)
            .transpose()?,
    })
}
