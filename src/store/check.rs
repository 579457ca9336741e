//! Whether the file is what was written: every row of the journal, of the judgements and of people against the hashes, and
//! the tables and triggers against those that the migrations make.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

use super::accounts::{Kind, Removed, altered_events};
use super::journal::Entry;
use super::judgements::{JudgementRow, digest};
use super::people::person_rows;
use super::retention::altered_texts;
use super::sql::{Connection, Engine, query};
use super::{Store, StoreError, sqlite};
use crate::changes::{Bond, ChangeKind, RemoveStaff, Restored, SetOnePerson};

/// The first place where the file is not what was written; none if all of it is. Rows cut off at the end leave a trace
/// within the file only where somebody came in later: whoever keeps a receipt or a seal elsewhere sees it by
/// [`first_missing`].
pub async fn first_difference(connection: &mut Connection) -> Result<Option<String>, StoreError> {
    if let Some(what) = unsound(connection).await? {
        return Ok(Some(what));
    }
    if let Some(what) = altered_tables(connection).await? {
        return Ok(Some(what));
    }
    if let Some(what) = altered_rows(connection).await? {
        return Ok(Some(what));
    }
    if let Some(what) = altered_texts(connection).await? {
        return Ok(Some(what));
    }
    let heads = heads(connection).await?;
    let removed = removed(connection).await?;
    altered_events(connection, &heads, &removed).await
}

/// The first of some heads, each with where it was kept, that the file does not hold, and where the file is surely as it
/// was up to.
pub async fn first_missing(
    connection: &mut Connection,
    kept: &[(Head, String)],
) -> Result<Option<String>, StoreError> {
    let heads = heads(connection).await?;
    let mut kept: Vec<&(Head, String)> = kept.iter().collect();
    kept.sort();
    let mut sound = 0;
    for ((seq, hash), place) in kept {
        let found = match heads.get(seq) {
            Some(held) if held == hash => {
                sound = *seq;
                continue;
            }
            Some(_) => "another",
            None => "none",
        };
        return Ok(Some(format!(
            "journal, row {seq}: found {found}, expected the one kept in {place}; up to row {sound} the record is as it was"
        )));
    }
    Ok(None)
}

/// Number and hash of a row of the journal.
pub type Head = (i64, String);

async fn heads(connection: &mut Connection) -> Result<BTreeMap<i64, String>, StoreError> {
    let mut heads = BTreeMap::new();
    let rows = query("SELECT seq, hash FROM journal").fetch_all(connection);
    for row in rows.await? {
        heads.insert(row.try_get("seq")?, row.try_get("hash")?);
    }
    Ok(heads)
}

/// Whose account was taken away, with the last row of the journal that did: that of a member of staff goes with their place
/// on the list, that of a student who has another in its place by then, that of two who are one person no more.
async fn removed(connection: &mut Connection) -> Result<Removed, StoreError> {
    let mut removed = Removed::new();
    let rows = query("SELECT seq, body FROM journal WHERE kind = $1 ORDER BY seq");
    let rows = rows.bind(RemoveStaff::NAME).fetch_all(connection);
    for row in rows.await? {
        let body: RemoveStaff = serde_json::from_str(row.try_get("body")?)
            .map_err(|why| StoreError::damaged("journal.body", why.to_string()))?;
        let who = (Kind::Staff, body.login.to_ascii_lowercase());
        removed.insert(who, row.try_get("seq")?);
    }
    let rows = query("SELECT seq, body FROM journal WHERE kind = $1 ORDER BY seq");
    let rows = rows.bind(SetOnePerson::NAME).fetch_all(connection);
    for row in rows.await? {
        let body: SetOnePerson = serde_json::from_str(row.try_get("body")?)
            .map_err(|why| StoreError::damaged("journal.body", why.to_string()))?;
        let who = match body.now {
            // a key here
            Bond::Joined | Bond::StudentAlone => (Kind::Student, body.student.to_string()),
            Bond::Parted => (Kind::Staff, body.login.to_ascii_lowercase()),
        };
        let seq: i64 = row.try_get("seq")?;
        let last = removed.entry(who).or_insert(seq);
        *last = seq.max(*last);
    }
    Ok(removed)
}

async fn unsound(connection: &mut Connection) -> Result<Option<String>, StoreError> {
    match connection.sqlite() {
        Some(connection) => sqlite::unsound(connection).await,
        // a server of PostgreSQL looks after its own pages and keys
        None => Ok(None),
    }
}

async fn altered_tables(connection: &mut Connection) -> Result<Option<String>, StoreError> {
    let (expected, found) = match connection.engine() {
        Engine::Sqlite(connection) => {
            let expected = Store::passing().await?;
            let mut expected = expected.read().await?;
            let expected = match expected.sqlite() {
                Some(expected) => sqlite::made_of(expected).await?,
                None => BTreeMap::new(),
            };
            (expected, sqlite::made_of(connection).await?)
        }
        #[cfg(feature = "postgres")]
        Engine::Postgres(connection) => super::postgres::made_and_found(connection).await?,
    };
    let names: BTreeSet<&String> = expected.keys().chain(found.keys()).collect();
    let other = names
        .into_iter()
        .find(|name| expected.get(*name) != found.get(*name));
    Ok(other.map(
        |name| match (expected.contains_key(name), found.contains_key(name)) {
            (true, false) => format!("{name}: found none, expected it as it was made"),
            (_, true) => format!("{name}: found another, expected it as it was made"),
            (false, false) => format!("{name}: found neither"),
        },
    ))
}

/// Whether numbers are left out before a row because the course goes on from a copy.
fn goes_on_from(entry: &Entry, expected: i64) -> bool {
    let restored = (entry.kind == Restored::NAME)
        .then(|| serde_json::from_str::<Restored>(&entry.body).ok())
        .flatten();
    restored.is_some_and(|one| one.after.checked_add(1) == Some(expected)) && entry.seq > expected
}

async fn altered_rows(connection: &mut Connection) -> Result<Option<String>, StoreError> {
    let mut judged: BTreeMap<i64, Vec<JudgementRow>> = BTreeMap::new();
    let rows = query("SELECT * FROM judgement ORDER BY id").fetch_all(&mut *connection);
    for row in rows.await? {
        judged
            .entry(row.try_get("seq")?)
            .or_default()
            .push(JudgementRow {
                experiment: row.try_get("experiment")?,
                student: row.try_get("student")?,
                schema: row.try_get("schema")?,
                document: row.try_get("document")?,
                rules: row.try_get("rules")?,
            });
    }
    let (mut previous, mut expected_seq) = (String::new(), 1);
    let mut committed = BTreeSet::new();
    let rows = query("SELECT * FROM journal ORDER BY seq").fetch_all(&mut *connection);
    for row in rows.await? {
        let entry = Entry::read(&row)?;
        let seq = entry.seq;
        if seq != expected_seq && !goes_on_from(&entry, expected_seq) {
            return Ok(Some(format!(
                "journal: found row {seq}, expected row {expected_seq}"
            )));
        }
        expected_seq = seq.saturating_add(1);
        let hash: String = row.try_get("hash")?;
        if entry.previous != previous || entry.hash() != hash {
            return Ok(Some(format!(
                "journal, row {seq}: found a hash that does not follow from it and the one before, expected an unbroken chain"
            )));
        }
        if digest(&judged.remove(&seq).unwrap_or_default()) != entry.judgements {
            return Ok(Some(format!(
                "judgements of journal row {seq}: found others, expected those written with it"
            )));
        }
        previous = hash;
        let body: Value = serde_json::from_str(&entry.body).unwrap_or_default();
        let text = |name: &str| body.get(name).and_then(Value::as_str).map(str::to_owned);
        committed.extend(text("student").zip(text("names")));
    }
    if let Some(seq) = judged.into_keys().next() {
        return Ok(Some(format!(
            "judgements: found some of journal row {seq}, expected such a row"
        )));
    }
    for person in person_rows(connection).await? {
        let (key, commitment) = (person.key.clone(), person.committed());
        if commitment != person.commitment || !committed.contains(&(key, commitment)) {
            return Ok(Some(format!(
                "person, key {}: found what the journal holds no commitment to, expected what was entered",
                person.key
            )));
        }
    }
    Ok(None)
}
