//! Judgements: every version kept, the newest one counts. All of them can be made again, so one that this program cannot
//! read is as good as none.

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde::Serialize;

use super::batch::{Holds, Table};
use super::journal::{AT_ONCE, hash_of, instant};
use super::people::People;
use super::sql::{Connection, query};
use super::{StoreError, batch};
use crate::ids::{ExperimentKey, StudentId};
use crate::judge::RULES;
use crate::term::{Judged, Slot};

/// The form that documents have. To be counted up when one of an earlier form would be read as something else.
const SCHEMA: i64 = 2;

/// What a row holds beside its numbers, in the order in which it is hashed.
#[derive(Clone, PartialEq, Serialize)]
pub(super) struct JudgementRow {
    pub experiment: String,
    pub student: String,
    pub schema: i64,
    pub document: String,
    /// By which version of the rules it was made; 0: before they were numbered.
    pub rules: i64,
}

/// A row with the change that it is written with.
#[derive(Serialize)]
struct WrittenWith<'r> {
    seq: i64,
    #[serde(flatten)]
    row: &'r JudgementRow,
}

pub(super) const JUDGEMENT: Table = Table {
    name: "judgement",
    columns: &[
        ("seq", Holds::Number),
        ("experiment", Holds::Text),
        ("student", Holds::Text),
        ("schema", Holds::Number),
        ("document", Holds::Text),
        ("rules", Holds::Number),
    ],
};

/// Judgements as they are kept; none where there is nothing to judge any more.
pub(super) fn rows(
    judged: &BTreeMap<Slot, Option<Judged>>,
    people: &People,
) -> Result<Vec<JudgementRow>, StoreError> {
    let row = |(slot, one): (&Slot, &Option<Judged>)| {
        let document = serde_json::to_string(one);
        Ok(JudgementRow {
            experiment: slot.experiment.to_string(),
            student: people.key(&slot.student)?.to_owned(),
            schema: SCHEMA,
            document: document.map_err(|why| StoreError::damaged("judgement", why))?,
            rules: RULES.into(),
        })
    };
    judged.iter().map(row).collect()
}

/// What the journal keeps of the judgements written with a change; empty where there are none.
pub(super) fn digest(rows: &[JudgementRow]) -> String {
    let fields = |row: &JudgementRow| {
        (
            row.experiment.clone(),
            row.student.clone(),
            row.schema,
            row.document.clone(),
        )
    };
    let fields: Vec<_> = rows.iter().map(fields).collect();
    let rules: Vec<i64> = rows.iter().map(|row| row.rules).collect();
    if fields.is_empty() {
        String::new()
    } else if rules.iter().all(|rules| *rules == 0) {
        hash_of(&fields)
    } else {
        hash_of(&(fields, rules))
    }
}

pub(super) async fn save(
    connection: &mut Connection,
    rows: &[JudgementRow],
    seq: i64,
) -> Result<(), StoreError> {
    let rows: Vec<_> = rows.iter().map(|row| WrittenWith { seq, row }).collect();
    batch::insert(connection, &JUDGEMENT, &rows).await
}

/// The newest judgement of every submission, and by which version of the rules it was made.
pub(super) async fn newest(
    connection: &mut Connection,
    people: &People,
) -> Result<(BTreeMap<Slot, Judged>, BTreeMap<Slot, i64>), StoreError> {
    let newest = "SELECT id, experiment, student, schema, document, rules FROM judgement
                  WHERE id > $1 AND id IN (SELECT max(id) FROM judgement GROUP BY experiment, student)
                  ORDER BY id LIMIT $2";
    let (mut judged, mut rules) = (BTreeMap::new(), BTreeMap::new());
    let mut last = 0_i64;
    loop {
        let rows = query(newest).bind(last).bind(AT_ONCE);
        let rows = rows.fetch_all(&mut *connection).await?;
        for row in &rows {
            last = row.try_get("id")?;
            let student = StudentId::new(row.try_get::<String>("student")?);
            let slot = Slot {
                experiment: ExperimentKey::new(row.try_get::<String>("experiment")?),
                student: people.number(&student),
            };
            rules.insert(slot.clone(), row.try_get("rules")?);
            let read = read(row.try_get("schema")?, row.try_get("document")?);
            match read {
                Ok(one) => judged.extend(one.map(|one| (slot, one))),
                Err(why) => {
                    let (experiment, student) = (slot.experiment.as_str(), student.as_str());
                    tracing::warn!(
                        experiment,
                        student,
                        why,
                        "a judgement is not readable and is made anew"
                    );
                }
            }
        }
        if rows.is_empty() {
            break;
        }
    }
    Ok((judged, rules))
}

/// The newest of every submission that was judged anew with a later change than that; none if one is not readable.
pub(super) async fn since(
    connection: &mut Connection,
    people: &People,
    seq: i64,
) -> Result<Option<BTreeMap<Slot, Option<Judged>>>, StoreError> {
    let rows = query(
        "SELECT experiment, student, schema, document FROM judgement WHERE seq > $1 ORDER BY id",
    );
    let mut judged = BTreeMap::new();
    for row in rows.bind(seq).fetch_all(connection).await? {
        let student = StudentId::new(row.try_get::<String>("student")?);
        let slot = Slot {
            experiment: ExperimentKey::new(row.try_get::<String>("experiment")?),
            student: people.number(&student),
        };
        let Ok(one) = read(row.try_get("schema")?, row.try_get("document")?) else {
            return Ok(None);
        };
        judged.insert(slot, one);
    }
    Ok(Some(judged))
}

/// Every judgement of a submission with its time, in order; none where nothing was left to judge.
pub async fn judgement_history(
    connection: &mut Connection,
    slot: &Slot,
) -> Result<Vec<(Timestamp, Option<Judged>)>, StoreError> {
    let rows = query(
        "SELECT schema, document, at FROM judgement JOIN journal USING (seq)
         WHERE experiment = $1 AND student = (SELECT key FROM person WHERE number = $2 ORDER BY person.id DESC LIMIT 1)
         ORDER BY judgement.id",
    );
    let rows = rows
        .bind(slot.experiment.as_str())
        .bind(slot.student.as_str());
    let mut history = Vec::new();
    for row in rows.fetch_all(connection).await? {
        if let Ok(one) = read(row.try_get("schema")?, row.try_get("document")?) {
            history.push((instant(row.try_get("at")?, "journal")?, one));
        }
    }
    Ok(history)
}

fn read(schema: i64, document: String) -> Result<Option<Judged>, String> {
    if schema != SCHEMA {
        return Err(format!("found form {schema}, expected {SCHEMA}"));
    }
    // the position and not the words: they might be a student's
    let at = |why: serde_json::Error| format!("line {}, column {}", why.line(), why.column());
    serde_json::from_str(&document).map_err(at)
}
