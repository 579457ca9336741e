//! The journal: changes written down, each with a hash over all of it and the hash before, and read back.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Timestamp;
use serde::Serialize;
use serde_json::Value;
use sha2::{Digest, Sha256};
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use super::accounts::{AccountId, Accounts, Kind};
use super::judgements::JudgementRow;
use super::people::People;
use super::{StoreError, batch, judgements, retention};
use crate::changes::{Change, Made, Texts};
use crate::course::{Course, Zone};
use crate::ids::StudentId;
use crate::term::{Judged, Slot, Term};

/// A course and its judgements as they stood at one moment.
#[derive(Debug)]
pub struct Stored {
    pub term: Term,
    /// Whether anybody has named the course yet. The first coordinator comes before.
    pub founded: bool,
    /// By which version of the rules each was judged; 0: before they were numbered.
    pub rules: BTreeMap<Slot, u32>,
    /// The newest judgement of every submission, as far as this program can read it.
    pub judged: BTreeMap<Slot, Judged>,
    /// Number of the newest change; 0 if there is none.
    pub newest: i64,
}

/// The columns of a row that its hash covers, in this order, the hash before first.
#[derive(Serialize)]
pub(super) struct Entry {
    pub previous: String,
    pub seq: i64,
    /// Milliseconds.
    pub at: i64,
    pub by_login: String,
    pub kind: String,
    pub body: String,
    pub judgements: String,
}

impl Entry {
    pub fn read(row: &SqliteRow) -> Result<Self, StoreError> {
        Ok(Self {
            previous: row.try_get("previous")?,
            seq: row.try_get("seq")?,
            at: row.try_get("at")?,
            by_login: row.try_get("by_login")?,
            kind: row.try_get("kind")?,
            body: row.try_get("body")?,
            judgements: row.try_get("judgements")?,
        })
    }

    pub fn hash(&self) -> String {
        hash_of(&(
            &self.previous,
            self.seq,
            self.at,
            &self.by_login,
            &self.kind,
            &self.body,
            &self.judgements,
        ))
    }

    /// The change with students by their numbers, and where it stands.
    fn change(&self, people: &People) -> Result<(Change, Made), StoreError> {
        let damaged = |why: String| StoreError::damaged(format!("journal, {}", self.seq), why);
        let mut body: Value =
            serde_json::from_str(&self.body).map_err(|why| damaged(why.to_string()))?;
        people.put_back(&self.kind, &mut body);
        let commitment = body.get("names").and_then(Value::as_str).map(str::to_owned);
        let mut change = Change::decode(&self.kind, body).map_err(damaged)?;
        change.students(&mut |id| *id = people.number(id));
        if let (Some(student), Some(commitment)) = (change.person(), commitment) {
            people.name(student, &commitment);
        }
        let made = Made {
            seq: self.seq,
            at: instant(self.at, "journal")?,
            by: people
                .number(&StudentId::new(self.by_login.as_str()))
                .to_string(),
        };
        Ok((change, made))
    }
}

/// Changes in order, where each will stand, and the judgements they alter; none where nothing is left to judge.
#[derive(Clone, Debug)]
pub struct Writing {
    pub changes: Vec<Change>,
    pub made: Vec<Made>,
    pub judged: BTreeMap<Slot, Option<Judged>>,
}

/// Rows as they are kept.
struct Rows {
    journal: Vec<(Entry, String)>,
    judged: Vec<JudgementRow>,
    people: People,
}

/// So many judgements are put into text on the thread that serves pages; more are not.
const FEW: usize = 16;

/// Writes changes with the judgements they alter.
pub async fn write_changes(
    connection: &mut SqliteConnection,
    writing: &Arc<Writing>,
) -> Result<(), StoreError> {
    let Writing {
        changes,
        made,
        judged,
    } = &**writing;
    let people = People::for_writing(connection, changes, judged).await?;
    let last = sqlx::query_scalar("SELECT hash FROM journal ORDER BY seq DESC LIMIT 1");
    let last: Option<String> = last.fetch_optional(&mut *connection).await?;
    let last = last.unwrap_or_default();
    let rows = if judged.len() + changes.len() <= FEW {
        writing.rows(people, last)?
    } else {
        let writing = Arc::clone(writing);
        let rows = tokio::task::spawn_blocking(move || writing.rows(people, last));
        rows.await.map_err(StoreError::broken_off)??
    };
    rows.people.save(&mut *connection).await?;
    let statement = "INSERT INTO journal (seq, at, by_login, kind, body, judgements, previous, hash)
         SELECT value->>'$[0].seq', value->>'$[0].at', value->>'$[0].by_login', value->>'$[0].kind', value->>'$[0].body',
             value->>'$[0].judgements', value->>'$[0].previous', value->>'$[1]' FROM json_each(?1) ORDER BY key";
    batch::insert(connection, statement, &rows.journal).await?;
    if let Some(last) = made.last() {
        judgements::save(connection, &rows.judged, last.seq).await?;
    }
    for change in changes {
        end_access(connection, change).await?;
    }
    Ok(())
}

impl Writing {
    fn rows(&self, mut people: People, mut previous: String) -> Result<Rows, StoreError> {
        let judged = judgements::rows(&self.judged, &people)?;
        let mut journal = Vec::with_capacity(self.changes.len());
        for (index, (change, made)) in self.changes.iter().zip(&self.made).enumerate() {
            let is_last = index.checked_add(1) == Some(self.changes.len());
            let (body, by_login) = people.written(change, &made.by)?;
            let entry = Entry {
                previous,
                seq: made.seq,
                at: made.at.as_millisecond(),
                by_login,
                kind: change.kind().to_owned(),
                body,
                judgements: if is_last {
                    judgements::digest(&judged)
                } else {
                    String::new()
                },
            };
            let hash = entry.hash();
            journal.push((entry, hash.clone()));
            previous = hash;
        }
        Ok(Rows {
            journal,
            judged,
            people,
        })
    }
}

/// Whoever leaves is signed out; who is taken out is nobody any more.
async fn end_access(connection: &mut SqliteConnection, change: &Change) -> Result<(), StoreError> {
    if let Change::Retired(retired) = change {
        return retention::take_out(connection, retired).await;
    }
    let mut accounts = Accounts(connection);
    if let Change::RemoveStaff(removed) = change {
        accounts.remove_staff(&removed.login).await?;
    }
    if let Change::Student(student) = change
        && student.left.is_some()
    {
        let account = AccountId {
            kind: Kind::Student,
            login: student.id.to_string(),
        };
        accounts.delete_sessions_of(&account).await?;
    }
    Ok(())
}

/// Number of the newest change; 0 if there is none. Whoever holds the course in memory sees by it that another process
/// has written since.
pub async fn newest(connection: &mut SqliteConnection) -> Result<i64, StoreError> {
    let newest = sqlx::query_scalar("SELECT coalesce(max(seq), 0) FROM journal");
    Ok(newest.fetch_one(connection).await?)
}

/// Number and hash of a change, or (none) of the newest: with it, everything before it is known to be as it was.
pub async fn head(
    connection: &mut SqliteConnection,
    seq: Option<i64>,
) -> Result<Option<String>, StoreError> {
    let head = sqlx::query_scalar(
        "SELECT seq || '-' || hash FROM journal WHERE seq = coalesce(?, (SELECT max(seq) FROM journal))",
    );
    Ok(head.bind(seq).fetch_optional(connection).await?)
}

/// Reads the course and its judgements, with nothing written in between. Within a transaction, as that sees them.
pub async fn load_stored(
    connection: &mut SqliteConnection,
    texts: &dyn Texts,
) -> Result<Stored, StoreError> {
    // a savepoint opens a transaction where there is none, and nests where there is one
    sqlx::query("SAVEPOINT load")
        .execute(&mut *connection)
        .await?;
    let loaded = replay(connection, texts).await;
    sqlx::query("RELEASE load").execute(connection).await?;
    loaded
}

async fn replay(
    connection: &mut SqliteConnection,
    texts: &dyn Texts,
) -> Result<Stored, StoreError> {
    let people = People::all(connection).await?;
    let glassware = texts.glassware(None);
    let glassware = glassware.map_err(|why| StoreError::damaged("shipped glassware", why))?;
    let mut term = Term::new(nameless()?, glassware);
    let (mut founded, mut newest) = (false, 0);
    let mut unread = BTreeMap::new();
    let rows = sqlx::query("SELECT * FROM journal ORDER BY seq").fetch_all(&mut *connection);
    for row in rows.await? {
        let (mut change, made) = Entry::read(&row)?.change(&people)?;
        let subject = (change.kind(), change.subject());
        // a text that a later one replaced need not be readable any more
        match change.revive(&term, texts) {
            Ok(()) => unread.remove(&subject),
            Err(why) => unread.insert(subject, (made.seq, why)),
        };
        term.apply(&change, Some(&made));
        founded |= matches!(change, Change::Course(_));
        newest = made.seq;
    }
    if let Some((seq, why)) = unread.into_values().next() {
        return Err(StoreError::damaged(format!("journal, {seq}"), why));
    }
    let (judged, rules) = judgements::newest(connection, &people).await?;
    Ok(Stored {
        rules,
        term,
        founded,
        judged,
        newest,
    })
}

/// What stands for the course until somebody has named it.
fn nameless() -> Result<Course, StoreError> {
    Ok(Course {
        title: String::new(),
        term: String::new(),
        zone: Zone::new("UTC").map_err(|why| StoreError::damaged("time zones", why))?,
        language: crate::language::Language::default(),
    })
}

/// Every change of a kind, oldest first. What is made from texts is not in them.
pub async fn entries(
    connection: &mut SqliteConnection,
    kind: &str,
) -> Result<Vec<(Change, Made)>, StoreError> {
    let people = People::all(connection).await?;
    let rows = sqlx::query("SELECT * FROM journal WHERE kind = ? ORDER BY seq").bind(kind);
    let rows = rows.fetch_all(connection).await?;
    let read = rows.iter().map(|row| Entry::read(row)?.change(&people));
    read.collect()
}

/// The change of that number.
pub async fn entry(
    connection: &mut SqliteConnection,
    seq: i64,
) -> Result<Option<(Change, Made)>, StoreError> {
    let people = People::all(connection).await?;
    let row = sqlx::query("SELECT * FROM journal WHERE seq = ?").bind(seq);
    let row = row.fetch_optional(connection).await?;
    row.map(|row| Entry::read(&row)?.change(&people))
        .transpose()
}

/// The change that the request of that key brought, whoever's it is.
pub async fn by_request_key(
    connection: &mut SqliteConnection,
    key: &str,
) -> Result<Option<(Change, Made)>, StoreError> {
    let known = sqlx::query_scalar(
        "SELECT seq FROM journal WHERE kind = 'hand-in' AND body ->> '$.key' = ?",
    );
    let known: Option<i64> = known.bind(key).fetch_optional(&mut *connection).await?;
    match known {
        Some(seq) => entry(connection, seq).await,
        None => Ok(None),
    }
}

/// SHA-256 of a text, in hexadecimal.
pub fn hash(text: &str) -> String {
    let digest = Sha256::digest(text);
    digest.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// SHA-256 of a JSON array, in which no field can run into another.
pub(super) fn hash_of(fields: &impl Serialize) -> String {
    // what is hashed here is text and whole numbers, which JSON always takes
    hash(&serde_json::to_string(fields).unwrap_or_default())
}

pub(super) fn instant(milliseconds: i64, place: &str) -> Result<Timestamp, StoreError> {
    Timestamp::from_millisecond(milliseconds).map_err(|why| StoreError::damaged(place, why))
}
