//! Judgements: every version kept, the newest one counts. All of them can be made again, so one that this program cannot
//! read is as good as none.

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde::ser::{Error as _, Serialize, SerializeSeq as _, Serializer};

use super::batch::Table;
use super::journal::{AT_ONCE, hash_made, instant};
use super::people::People;
use super::sql::{Bound, Connection, query};
use super::{StoreError, batch};
use crate::ids::{ExperimentKey, StudentId};
use crate::judge::RULES;
use crate::term::{BySlot, Judged, Slot};

/// The form that documents have. To be counted up when one of an earlier form would be read as something else.
const SCHEMA: i64 = 2;

/// What a row holds beside its numbers, in the order in which it is hashed.
pub(super) struct JudgementRow {
    pub experiment: String,
    pub student: String,
    pub schema: i64,
    pub document: String,
    /// By which version of the rules it was made; 0: before they were numbered.
    pub rules: i64,
}

pub(super) const JUDGEMENT: Table = Table {
    name: "judgement",
    columns: &[
        "seq",
        "experiment",
        "student",
        "schema",
        "document",
        "rules",
    ],
};

/// Judgements to be written; none where there is nothing to judge any more.
pub(super) struct Judgements<'j> {
    pub judged: &'j BTreeMap<Slot, Option<Judged>>,
    pub people: &'j People,
}

impl Judgements<'_> {
    /// So many of them as they are kept, after the first so many.
    pub fn rows(&self, after: usize, most: usize) -> Result<Vec<JudgementRow>, StoreError> {
        let part = self.judged.iter().skip(after).take(most);
        part.map(|one| self.row(one)).collect()
    }

    fn row(&self, (slot, one): (&Slot, &Option<Judged>)) -> Result<JudgementRow, StoreError> {
        let document = serde_json::to_string(one);
        Ok(JudgementRow {
            experiment: slot.experiment.to_string(),
            student: self.people.key(&slot.student)?.to_owned(),
            schema: SCHEMA,
            document: document.map_err(|why| StoreError::damaged("judgement", why))?,
            rules: RULES.into(),
        })
    }

    /// What the journal keeps of them; empty where there are none.
    pub fn digest(&self) -> Result<String, StoreError> {
        let digest = digest_of(self, &vec![RULES.into(); self.judged.len()]);
        digest.map_err(|why| StoreError::damaged("judgement", why))
    }
}

/// Row by row, as they are hashed: a whole course of them is much text.
impl Serialize for Judgements<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut rows = serializer.serialize_seq(Some(self.judged.len()))?;
        for one in self.judged {
            let row = self.row(one).map_err(S::Error::custom)?;
            rows.serialize_element(&row.hashed())?;
        }
        rows.end()
    }
}

impl JudgementRow {
    /// What its hash covers beside the version of the rules.
    fn hashed(&self) -> impl Serialize {
        (&self.experiment, &self.student, self.schema, &self.document)
    }
}

/// What the journal keeps of judgements that were written; empty where there are none.
pub(super) fn digest(rows: &[JudgementRow]) -> String {
    let fields: Vec<_> = rows.iter().map(JudgementRow::hashed).collect();
    let rules: Vec<i64> = rows.iter().map(|row| row.rules).collect();
    // text and whole numbers, which JSON always takes
    digest_of(&fields, &rules).unwrap_or_default()
}

/// Of rows as they are hashed, and by which version of the rules each was made.
fn digest_of(rows: &impl Serialize, rules: &[i64]) -> Result<String, serde_json::Error> {
    if rules.is_empty() {
        Ok(String::new())
    } else if rules.iter().all(|rules| *rules == 0) {
        hash_made(rows)
    } else {
        hash_made(&(rows, rules))
    }
}

pub(super) async fn save(
    connection: &mut Connection,
    rows: Vec<JudgementRow>,
    seq: i64,
) -> Result<(), StoreError> {
    let row = |row: JudgementRow| {
        [
            Bound::from(seq),
            row.experiment.into(),
            row.student.into(),
            row.schema.into(),
            row.document.into(),
            row.rules.into(),
        ]
    };
    batch::insert(connection, &JUDGEMENT, rows.into_iter().map(row)).await
}

/// The newest judgement of every submission, and by which version of the rules it was made.
pub(super) async fn newest(
    connection: &mut Connection,
    people: &People,
) -> Result<(BySlot<Judged>, BTreeMap<Slot, i64>), StoreError> {
    let newest = "SELECT id, experiment, student, schema, document, rules FROM judgement
                  WHERE id > $1 AND id IN (SELECT max(id) FROM judgement GROUP BY experiment, student)
                  ORDER BY id LIMIT $2";
    let (mut judged, mut rules) = (BySlot::new(), BTreeMap::new());
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
