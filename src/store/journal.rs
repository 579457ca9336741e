//! The journal: changes written down, each with a hash over all of it and the hash before, and read back.

use std::collections::{BTreeMap, BTreeSet};
use std::io::BufWriter;
use std::sync::Arc;

use jiff::Timestamp;
use serde::Serialize;
use serde_json::Value;
use sha2::{Digest, Sha256};

use super::accounts::{AccountId, Accounts, Kind};
use super::batch::Table;
use super::judgements::Judgements;
use super::people::People;
use super::sql::{Bound, Connection, Row, query, query_scalar};
use super::{StoreError, batch, judgements, retention};
use crate::changes::{Bond, Change, Made, Texts};
use crate::course::{Course, Zone};
use crate::ids::StudentId;
use crate::term::{BySlot, Judged, Slot, Term};
use crate::words::hexadecimal;

/// A course and its judgements as they stood at one moment.
#[derive(Debug)]
pub struct Stored {
    pub term: Term,
    /// Whether anybody has named the course yet. The first coordinator comes before.
    pub founded: bool,
    /// By which version of the rules each was judged; 0: before they were numbered.
    pub rules: BTreeMap<Slot, i64>,
    /// The newest judgement of every submission, as far as this program can read it.
    pub judged: BySlot<Judged>,
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
    pub fn read(row: &Row) -> Result<Self, StoreError> {
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

pub(super) const JOURNAL: Table = Table {
    name: "journal",
    columns: &[
        "seq",
        "at",
        "by_login",
        "kind",
        "body",
        "judgements",
        "previous",
        "hash",
    ],
};

/// So many judgements are put into text on the thread that serves pages; more are not.
const FEW: usize = 16;
/// So many rows are text at once: all rows of a large course are much text.
const PART: usize = 1_000;

/// Writes changes with the judgements they alter.
pub async fn write_changes(
    connection: &mut Connection,
    writing: &Arc<Writing>,
) -> Result<(), StoreError> {
    let people = People::for_writing(connection, &writing.changes, &writing.judged).await?;
    let last = query_scalar("SELECT hash FROM journal ORDER BY seq DESC LIMIT 1");
    let last: Option<String> = last.fetch_optional(&mut *connection).await?;
    let mut rows = Rows {
        writing: Arc::clone(writing),
        people,
        previous: last.unwrap_or_default(),
    };
    for after in (0..writing.changes.len()).step_by(PART) {
        let journal;
        (rows, journal) = rows.made(move |rows| rows.journal(after)).await?;
        rows.people.save(&mut *connection).await?;
        batch::insert(connection, &JOURNAL, journal).await?;
    }
    if let Some(last) = writing.made.last() {
        for after in (0..writing.judged.len()).step_by(PART) {
            let judged;
            (rows, judged) = rows
                .made(move |rows| rows.judgements().rows(after, PART))
                .await?;
            judgements::save(connection, judged, last.seq).await?;
        }
    }
    for (change, made) in writing.changes.iter().zip(&writing.made) {
        end_access(connection, change, made).await?;
    }
    Ok(())
}

/// Rows in the making.
struct Rows {
    writing: Arc<Writing>,
    people: People,
    /// The hash of the row before.
    previous: String,
}

impl Rows {
    /// Makes some on a thread that serves no pages, where they are many.
    async fn made<T: Send + 'static>(
        mut self,
        make: impl FnOnce(&mut Self) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<(Self, T), StoreError> {
        let Writing {
            changes, judged, ..
        } = &*self.writing;
        if judged.len() + changes.len() <= FEW {
            let made = make(&mut self)?;
            return Ok((self, made));
        }
        let made = tokio::task::spawn_blocking(move || {
            let made = make(&mut self)?;
            Ok((self, made))
        });
        made.await.map_err(StoreError::broken_off)?
    }

    fn judgements(&self) -> Judgements<'_> {
        Judgements {
            judged: &self.writing.judged,
            people: &self.people,
        }
    }

    /// The next rows of the journal, after so many.
    fn journal(&mut self, after: usize) -> Result<Vec<[Bound; 8]>, StoreError> {
        let writing = Arc::clone(&self.writing);
        let Writing { changes, made, .. } = &*writing;
        let part = changes.iter().zip(made).enumerate().skip(after).take(PART);
        part.map(|(index, (change, made))| {
            let is_last = index.checked_add(1) == Some(changes.len());
            let (body, by_login) = self.people.written(change, &made.by)?;
            let entry = Entry {
                previous: std::mem::take(&mut self.previous),
                seq: made.seq,
                at: made.at.as_millisecond(),
                by_login,
                kind: change.kind().to_owned(),
                body,
                judgements: match is_last {
                    true => self.judgements().digest()?,
                    false => String::new(),
                },
            };
            self.previous = entry.hash();
            Ok([
                entry.seq.into(),
                entry.at.into(),
                entry.by_login.into(),
                entry.kind.into(),
                entry.body.into(),
                entry.judgements.into(),
                entry.previous.into(),
                self.previous.as_str().into(),
            ])
        })
        .collect()
    }
}

/// Whoever leaves is signed out; who is taken out is nobody any more.
async fn end_access(
    connection: &mut Connection,
    change: &Change,
    made: &Made,
) -> Result<(), StoreError> {
    if let Change::Retired(retired) = change {
        return retention::take_out(connection, retired).await;
    }
    let mut accounts = Accounts(connection);
    if let Change::RemoveStaff(removed) = change {
        accounts.remove_staff(&removed.login).await?;
    }
    if let Change::OnePerson(one) = change {
        match one.now {
            Bond::Joined => accounts.remove_student(&one.student).await?,
            // a password, a device or a link may be either's
            Bond::Parted => accounts.remove_staff(&one.login).await?,
            Bond::StudentAlone => {
                let who = (one.login.as_str(), one.student.as_str());
                accounts.hand_to_student(who, (&made.by, made.at)).await?;
            }
        }
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
pub async fn newest(connection: &mut Connection) -> Result<i64, StoreError> {
    let newest = query_scalar("SELECT coalesce(max(seq), 0) FROM journal");
    Ok(newest.fetch_one(connection).await?)
}

/// Number of the newest change of some kinds; 0 if there is none.
pub async fn newest_of(connection: &mut Connection, kinds: &[&str]) -> Result<i64, StoreError> {
    let kinds = serde_json::to_string(kinds).map_err(|why| StoreError::damaged("kinds", why))?;
    let newest = query_scalar(
        "SELECT coalesce(max(seq), 0) FROM journal WHERE kind IN (SELECT value FROM json_each($1))",
    );
    Ok(newest.bind(kinds).fetch_one(connection).await?)
}

/// Number and hash of a change, or (none) of the newest: with it, everything before it is known to be as it was.
pub async fn head(
    connection: &mut Connection,
    seq: Option<i64>,
) -> Result<Option<String>, StoreError> {
    let head = query_scalar(
        "SELECT seq || '-' || hash FROM journal WHERE seq = coalesce($1, (SELECT max(seq) FROM journal))",
    );
    Ok(head.bind(seq).fetch_optional(connection).await?)
}

/// Reads the course and its judgements, with nothing written in between. Within a transaction, as that sees them.
pub async fn load_stored(
    connection: &mut Connection,
    texts: &dyn Texts,
) -> Result<Stored, StoreError> {
    let end = connection.begin_snapshot().await?;
    let loaded = replay(connection, texts).await;
    connection.end_snapshot(end).await?;
    loaded
}

/// What was written after a change, as whoever has the course up to there in memory takes it up.
#[derive(Debug)]
pub struct Since {
    /// In order; what is made from texts is not in them.
    pub changes: Vec<(Change, Made)>,
    /// The newest judgement of every submission that was judged anew; none where nothing was left to judge.
    pub judged: BTreeMap<Slot, Option<Judged>>,
}

/// So many rows are read together, so that a whole course is not held twice, as text and as what it says.
pub(super) const AT_ONCE: i64 = 2_000;

/// More changes than these are sooner read with the whole course than judged again beside it.
const MOST_SINCE: i64 = 200;

/// What was written after a change; none where the course is to be read as a whole: it is too much, numbers are left out,
/// somebody was taken out of what is held already, or a judgement is not readable.
pub async fn changes_since(
    connection: &mut Connection,
    seq: i64,
) -> Result<Option<Since>, StoreError> {
    let end = connection.begin_snapshot().await?;
    let since = since(connection, seq).await;
    connection.end_snapshot(end).await?;
    since
}

async fn since(connection: &mut Connection, seq: i64) -> Result<Option<Since>, StoreError> {
    let rows = query("SELECT * FROM journal WHERE seq > $1 ORDER BY seq LIMIT $2");
    let rows = rows.bind(seq).bind(MOST_SINCE.saturating_add(1));
    let rows = rows.fetch_all(&mut *connection).await?;
    if i64::try_from(rows.len()).unwrap_or(i64::MAX) > MOST_SINCE {
        return Ok(None);
    }
    let people = People::all(&mut *connection).await?;
    let (mut changes, mut expected) = (Vec::new(), seq);
    for row in &rows {
        let (change, made) = Entry::read(row)?.change(&people)?;
        expected = expected.saturating_add(1);
        let is_beside = matches!(change, Change::Retired(_) | Change::Restored(_));
        if made.seq != expected || is_beside {
            return Ok(None);
        }
        changes.push((change, made));
    }
    let judged = judgements::since(connection, &people, seq).await?;
    Ok(judged.map(|judged| Since { changes, judged }))
}

async fn replay(connection: &mut Connection, texts: &dyn Texts) -> Result<Stored, StoreError> {
    let people = People::all(connection).await?;
    let glassware = texts.glassware(None);
    let glassware = glassware.map_err(|why| StoreError::damaged("shipped glassware", why))?;
    let mut term = Term::new(nameless()?, glassware);
    let (mut founded, mut newest) = (false, 0);
    let mut unread = BTreeMap::new();
    loop {
        let rows = query("SELECT * FROM journal WHERE seq > $1 ORDER BY seq LIMIT $2");
        let rows = rows.bind(newest).bind(AT_ONCE).fetch_all(&mut *connection);
        let rows = rows.await?;
        for row in &rows {
            let (mut change, made) = Entry::read(row)?.change(&people)?;
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
        if rows.is_empty() {
            break;
        }
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
    connection: &mut Connection,
    kind: &str,
) -> Result<Vec<(Change, Made)>, StoreError> {
    let rows = query("SELECT * FROM journal WHERE kind = $1 ORDER BY seq").bind(kind);
    let rows = rows.fetch_all(&mut *connection).await?;
    let entries: Result<Vec<Entry>, _> = rows.iter().map(Entry::read).collect();
    changes_of(connection, &entries?).await
}

/// More rows than these are read beside everybody there is.
const FEW_ENTRIES: usize = 100;

/// Rows as changes. Who is named in few of them is looked up alone.
async fn changes_of(
    connection: &mut Connection,
    entries: &[Entry],
) -> Result<Vec<(Change, Made)>, StoreError> {
    let people = match entries {
        [] => return Ok(Vec::new()),
        few if few.len() <= FEW_ENTRIES => {
            let (mut keys, mut texts) = (BTreeSet::new(), BTreeSet::new());
            for entry in few {
                // nobody is known yet: whom it names, it names by their keys
                let (mut change, made) = entry.change(&People::default())?;
                keys.insert(StudentId::new(made.by));
                change.students(&mut |key| {
                    keys.insert(key.clone());
                });
                texts.extend(retention::apart(&entry.body));
            }
            People::of(connection, &keys, &texts).await?
        }
        _ => People::all(connection).await?,
    };
    entries.iter().map(|entry| entry.change(&people)).collect()
}

/// The change of that number.
pub async fn entry(
    connection: &mut Connection,
    seq: i64,
) -> Result<Option<(Change, Made)>, StoreError> {
    let row = query("SELECT * FROM journal WHERE seq = $1").bind(seq);
    let Some(row) = row.fetch_optional(&mut *connection).await? else {
        return Ok(None);
    };
    let changes = changes_of(connection, &[Entry::read(&row)?]).await?;
    Ok(changes.into_iter().next())
}

/// The change that the request of that key brought, whoever's it is.
pub async fn by_request_key(
    connection: &mut Connection,
    key: &str,
) -> Result<Option<(Change, Made)>, StoreError> {
    let known =
        query_scalar("SELECT seq FROM journal WHERE kind = 'hand-in' AND body ->> '$.key' = $1");
    let known: Option<i64> = known.bind(key).fetch_optional(&mut *connection).await?;
    match known {
        Some(seq) => entry(connection, seq).await,
        None => Ok(None),
    }
}

/// SHA-256 of a text, in hexadecimal.
pub fn hash(text: &str) -> String {
    let digest = Sha256::digest(text);
    hexadecimal(&digest)
}

/// SHA-256 of a JSON array, in which no field can run into another.
pub(super) fn hash_of(fields: &impl Serialize) -> String {
    // what is hashed here is text and whole numbers, which JSON always takes
    hash_made(fields).unwrap_or_default()
}

/// The same where what is hashed is made on the way, and may fail.
pub(super) fn hash_made(fields: &impl Serialize) -> Result<String, serde_json::Error> {
    let mut hashed = BufWriter::with_capacity(1_024, Sha256::new());
    serde_json::to_writer(&mut hashed, fields)?;
    let digest = hashed
        .into_inner()
        .map_err(|why| serde_json::Error::io(why.into_error()))?;
    Ok(hexadecimal(&digest.finalize()))
}

pub(super) fn instant(milliseconds: i64, place: &str) -> Result<Timestamp, StoreError> {
    Timestamp::from_millisecond(milliseconds).map_err(|why| StoreError::damaged(place, why))
}
