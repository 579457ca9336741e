//! What is taken out for good: who students are, and what was written about them.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

use super::batch::Table;
use super::journal::{hash, hash_of};
use super::sql::{Bound, Connection, Row, query, query_scalar};
use super::{StoreError, batch, people};
use crate::changes::{ChangeKind, Decide, Extend, LeaveNote, Replace, Retired};
use crate::ids::StudentId;

/// Kinds of change, and which field of theirs is free text about a student.
const APART: [(&str, &str); 4] = [
    (LeaveNote::NAME, "text"),
    (Decide::NAME, "reason"),
    (Extend::NAME, "reason"),
    (Replace::NAME, "reason"),
];

/// Tables out of which something is taken. Whoever adds one to [`take_out`], or to what goes with somebody of the staff, adds
/// it here.
#[cfg(feature = "postgres")]
pub(super) const TAKEN_FROM: [&str; 15] = [
    "person",
    "free_text",
    "bench_draft",
    "session",
    "claim_code",
    "account",
    "lti_member",
    "lti_person",
    "lti_grade",
    "known_browser",
    "sign_in_failure",
    "access_place",
    "mail",
    "mail_choice",
    "calendar",
];

/// What stands in place of a text that was taken out.
const TAKEN_OUT: &str = "[taken out]";
/// The field of a body that names its text.
const NAME: &str = "apart";

/// A row of `free_text`.
pub(super) struct FreeTextRow {
    commitment: String,
    salt: String,
    text: String,
}

pub(super) const FREE_TEXT: Table = Table {
    name: "free_text",
    columns: &["commitment", "salt", "text"],
};

/// Takes the free text out of a body, which keeps a commitment to it.
pub(super) fn put_apart(kind: &str, body: &mut Value) -> Result<Option<FreeTextRow>, StoreError> {
    let field = APART.iter().find(|(name, _)| *name == kind);
    let Some((field, fields)) = field.zip(body.as_object_mut()) else {
        return Ok(None);
    };
    let text = fields.get(field.1).and_then(Value::as_str);
    let Some(text) = text.filter(|text| !text.is_empty()).map(str::to_owned) else {
        return Ok(None);
    };
    let salt = people::random()?;
    let commitment = hash_of(&(&salt, &text));
    fields.insert(field.1.to_owned(), Value::from(""));
    fields.insert(NAME.to_owned(), Value::from(commitment.as_str()));
    Ok(Some(FreeTextRow {
        commitment,
        salt,
        text,
    }))
}

/// Puts the free text of a body back, or what stands in its place.
pub(super) fn put_back(kind: &str, body: &mut Value, texts: &BTreeMap<String, String>) {
    let field = APART.iter().find(|(name, _)| *name == kind);
    let Some((field, fields)) = field.zip(body.as_object_mut()) else {
        return;
    };
    let Some(Value::String(name)) = fields.remove(NAME) else {
        return;
    };
    let text = texts.get(&name).map_or(TAKEN_OUT, String::as_str);
    fields.insert(field.1.to_owned(), Value::from(text));
}

/// All texts by their commitments.
pub(super) async fn texts(
    connection: &mut Connection,
) -> Result<BTreeMap<String, String>, StoreError> {
    let rows = query("SELECT commitment, text FROM free_text").fetch_all(connection);
    rows.await?.iter().map(text).collect()
}

/// Those of some commitments.
pub(super) async fn texts_of(
    connection: &mut Connection,
    commitments: &BTreeSet<String>,
) -> Result<BTreeMap<String, String>, StoreError> {
    if commitments.is_empty() {
        return Ok(BTreeMap::new());
    }
    let named = serde_json::to_string(commitments);
    let named = named.map_err(|why| StoreError::damaged("commitments", why))?;
    let rows = query(
        "SELECT commitment, text FROM free_text
         WHERE commitment IN (SELECT value FROM json_each($1))",
    );
    let rows = rows.bind(named).fetch_all(connection).await?;
    rows.iter().map(text).collect()
}

/// The commitment to the text of a body, if it stands apart.
pub(super) fn apart(body: &str) -> Option<String> {
    let body: Value = serde_json::from_str(body).ok()?;
    Some(body.get(NAME)?.as_str()?.to_owned())
}

fn text(row: &Row) -> Result<(String, String), StoreError> {
    Ok((row.try_get("commitment")?, row.try_get("text")?))
}

pub(super) async fn save(
    connection: &mut Connection,
    rows: Vec<FreeTextRow>,
) -> Result<(), StoreError> {
    let rows = rows.into_iter();
    let values = rows.map(|row| {
        [
            Bound::from(row.commitment),
            row.salt.into(),
            row.text.into(),
        ]
    });
    batch::insert(connection, &FREE_TEXT, values).await
}

/// Takes out what a change says is taken out.
pub(super) async fn take_out(
    connection: &mut Connection,
    retired: &Retired,
) -> Result<(), StoreError> {
    for student in &retired.students {
        let keys: Vec<String> = query_scalar("SELECT DISTINCT key FROM person WHERE number = $1")
            .bind(student.as_str())
            .fetch_all(&mut *connection)
            .await?;
        for key in &keys {
            let statement = "DELETE FROM free_text WHERE commitment IN
                 (SELECT body ->> '$.apart' FROM journal WHERE body ->> '$.student' = $1)";
            for statement in [statement, "DELETE FROM bench_draft WHERE student = $1"] {
                query(statement).bind(key).execute(&mut *connection).await?;
            }
        }
        if retired.texts_only {
            continue;
        }
        let login = hash(&student.as_str().to_lowercase());
        for (statement, value) in [
            (
                "DELETE FROM session WHERE kind = 'student' AND login = $1",
                student.as_str(),
            ),
            (
                "DELETE FROM claim_code WHERE kind = 'student' AND login = $1",
                student.as_str(),
            ),
            (
                "DELETE FROM account WHERE kind = 'student' AND login = $1",
                student.as_str(),
            ),
            (
                "DELETE FROM lti_member WHERE (issuer, sub) IN
                     (SELECT issuer, sub FROM lti_person WHERE kind = 'student' AND login = $1)",
                student.as_str(),
            ),
            (
                "DELETE FROM lti_person WHERE kind = 'student' AND login = $1",
                student.as_str(),
            ),
            ("DELETE FROM known_browser WHERE login_hash = $1", &login),
            ("DELETE FROM sign_in_failure WHERE login_hash = $1", &login),
        ] {
            query(statement)
                .bind(value)
                .execute(&mut *connection)
                .await?;
        }
        for key in &keys {
            for statement in [
                // fetched from a platform, and not known yet to be them
                "DELETE FROM lti_member WHERE named <> '' AND lower(named) IN
                     (SELECT lower(number) FROM person WHERE key = $1
                      UNION SELECT lower(trim(email)) FROM person WHERE key = $1)",
                "DELETE FROM access_place WHERE event IN (SELECT id FROM access_event WHERE kind = 'student' AND who = $1)",
                "UPDATE mail SET address = '', state = CASE state WHEN 'waiting' THEN 'dropped' ELSE state END,
                     why = CASE state WHEN 'waiting' THEN 'who it was for was taken out' ELSE '' END
                 WHERE kind = 'student' AND who = $1",
                "DELETE FROM mail_choice WHERE kind = 'student' AND who = $1",
                "DELETE FROM calendar WHERE kind = 'student' AND who = $1",
                "UPDATE lti_grade SET state = CASE state WHEN 'waiting' THEN 'dropped' ELSE state END,
                     why = CASE state WHEN 'waiting' THEN 'who it was for was taken out' ELSE '' END
                 WHERE student = $1",
                "DELETE FROM person WHERE key = $1",
            ] {
                query(statement)
                    .bind(key)
                    .execute(&mut *connection)
                    .await?;
            }
        }
    }
    Ok(())
}

/// When something last happened that a student did or that was done to them; of everybody, if none is named. In
/// milliseconds; none where nothing did.
pub async fn last_of(
    connection: &mut Connection,
    student: Option<&StudentId>,
) -> Result<Option<i64>, StoreError> {
    let last = query_scalar(
        "SELECT max(at) FROM journal WHERE kind NOT IN ('retired', 'restored') AND
         ($1 IS NULL OR body ->> '$.student' IN (SELECT key FROM person WHERE number = $1))",
    );
    Ok(last
        .bind(student.map(StudentId::as_str))
        .fetch_one(connection)
        .await?)
}

/// How many free texts about students stand in the journal itself, where nothing can be taken out: those written by a
/// version before texts stood apart.
pub async fn texts_in_the_journal(connection: &mut Connection) -> Result<i64, StoreError> {
    let mut count = 0_i64;
    for (kind, field) in APART {
        let some = query_scalar(
            "SELECT count(*) FROM journal WHERE kind = $1 AND body ->> '$.apart' IS NULL AND body ->> ('$.' || $2) <> ''",
        );
        let some: i64 = some
            .bind(kind)
            .bind(field)
            .fetch_one(&mut *connection)
            .await?;
        count = count.saturating_add(some);
    }
    Ok(count)
}

/// The first free text that is not what was written, or is gone without anybody having taken it out.
pub(super) async fn altered_texts(
    connection: &mut Connection,
) -> Result<Option<String>, StoreError> {
    let mut texts = BTreeMap::new();
    for row in query("SELECT * FROM free_text")
        .fetch_all(&mut *connection)
        .await?
    {
        let (salt, text): (String, String) = (row.try_get("salt")?, row.try_get("text")?);
        texts.insert(row.try_get::<String>("commitment")?, hash_of(&(salt, text)));
    }
    let retired = query("SELECT seq, body FROM journal WHERE kind = $1 ORDER BY seq");
    let mut until: BTreeMap<String, i64> = BTreeMap::new();
    for row in retired
        .bind(Retired::NAME)
        .fetch_all(&mut *connection)
        .await?
    {
        let body: Retired = serde_json::from_str(row.try_get("body")?)
            .map_err(|why| StoreError::damaged("journal.body", why.to_string()))?;
        for student in body.students {
            until.insert(student.to_string(), row.try_get("seq")?);
        }
    }
    let rows = query(
        "SELECT seq, body ->> '$.student' AS student, body ->> '$.apart' AS apart FROM journal
         WHERE body ->> '$.apart' IS NOT NULL ORDER BY seq",
    );
    let mut known = BTreeSet::new();
    for row in rows.fetch_all(connection).await? {
        let seq: i64 = row.try_get("seq")?;
        let student: Option<String> = row.try_get("student")?;
        let apart: String = row.try_get("apart")?;
        let taken_out = student.and_then(|key| until.get(&key));
        let found = match texts.get(&apart) {
            Some(text) if *text == apart => None,
            Some(_) => Some("another"),
            None if taken_out.is_some_and(|until| *until > seq) => None,
            None => Some("none"),
        };
        if let Some(found) = found {
            return Ok(Some(format!(
                "free_text of journal row {seq}: found {found}, expected the text written with it"
            )));
        }
        known.insert(apart);
    }
    let stray = texts.into_keys().find(|apart| !known.contains(apart));
    Ok(stray.map(|_| "free_text: found a text that no row of the journal names".to_owned()))
}
