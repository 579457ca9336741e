//! The record of access: who came in, who was kept out, what was printed, seen and taken away. It holds no secrets.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;

use super::{AccountId, Accounts, Kind, Setting};
use crate::store::StoreError;
use crate::store::journal::{hash, hash_of, head, instant};
use crate::store::people::random;
use crate::store::sql::{Connection, Row, query, query_scalar};

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    SignedIn,
    Failed,
    Waits,
    CodePrinted,
    CodeMailed,
    Claimed,
    PasswordSet,
    Told,
    ValuesSeen,
    KeyOpened,
    Exported,
    StaffChanged,
    BackedUp,
    SecondStepOn,
    SecondStepOff,
    RuleChanged,
    Retired,
    SessionsEnded,
}

/// What happened, to be written down.
#[derive(Clone, Copy, Debug)]
pub struct Event<'a> {
    pub at: Timestamp,
    pub what: What,
    /// Whose account it is about.
    pub who: Option<&'a AccountId>,
    /// Who did it, if it was somebody else; empty otherwise.
    pub by: &'a str,
    /// What was seen or taken away.
    pub subject: &'a str,
    /// Where they were, as far as is known.
    pub network: &'a str,
}

/// A row of the record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AccessEvent {
    pub at: Timestamp,
    /// A name of [`What`].
    pub what: String,
    /// A student's number, or their key where who they are was removed.
    pub who: String,
    pub by: String,
    pub subject: String,
    /// None where it was not known, or is not kept any more.
    pub network: Option<String>,
}

/// For how many days it is kept where somebody was, unless the course chose otherwise.
pub const PLACES_KEPT_DAYS: i64 = 90;
const DAY_MS: i64 = 24 * 60 * 60 * 1_000;

impl What {
    pub const ALL: [Self; 18] = [
        Self::SignedIn,
        Self::Failed,
        Self::Waits,
        Self::CodePrinted,
        Self::CodeMailed,
        Self::Claimed,
        Self::PasswordSet,
        Self::Told,
        Self::ValuesSeen,
        Self::KeyOpened,
        Self::Exported,
        Self::StaffChanged,
        Self::BackedUp,
        Self::SecondStepOn,
        Self::SecondStepOff,
        Self::RuleChanged,
        Self::Retired,
        Self::SessionsEnded,
    ];

    /// As it is stored.
    pub fn name(self) -> &'static str {
        match self {
            Self::SignedIn => "signed-in",
            Self::Failed => "failed",
            Self::Waits => "waits",
            Self::CodePrinted => "code-printed",
            Self::CodeMailed => "code-mailed",
            Self::Claimed => "claimed",
            Self::PasswordSet => "password-set",
            Self::Told => "told",
            Self::ValuesSeen => "values-seen",
            Self::KeyOpened => "key-opened",
            Self::Exported => "exported",
            Self::StaffChanged => "staff-changed",
            Self::BackedUp => "backed-up",
            Self::SecondStepOn => "second-step-on",
            Self::SecondStepOff => "second-step-off",
            Self::RuleChanged => "rule-changed",
            Self::Retired => "retired",
            Self::SessionsEnded => "sessions-ended",
        }
    }
}

/// Accounts that were taken away, of staff by their login in small letters and of students by their key, each with the last
/// row of the journal that did it.
pub type Removed = BTreeMap<(Kind, String), i64>;

/// The columns that the hash covers.
struct EventRow {
    previous: String,
    id: i64,
    at: i64,
    what: String,
    kind: String,
    who: String,
    by_login: String,
    subject: String,
    head: String,
    place: String,
}

impl EventRow {
    fn read(row: &Row) -> Result<Self, StoreError> {
        Ok(Self {
            previous: row.try_get("previous")?,
            id: row.try_get("id")?,
            at: row.try_get("at")?,
            what: row.try_get("what")?,
            kind: row.try_get("kind")?,
            who: row.try_get("who")?,
            by_login: row.try_get("by_login")?,
            subject: row.try_get("subject")?,
            head: row.try_get("head")?,
            place: row.try_get("place")?,
        })
    }

    fn hash(&self) -> String {
        hash_of(&(
            &self.previous,
            self.id,
            self.at,
            &self.what,
            &self.kind,
            &self.who,
            &self.by_login,
            &self.subject,
            &self.head,
            &self.place,
        ))
    }
}

impl Accounts<'_> {
    /// Writes down what happened, and lets go of where people were long ago.
    pub async fn note(&mut self, event: Event<'_>) -> Result<(), StoreError> {
        let last = query("SELECT id, hash FROM access_event ORDER BY id DESC LIMIT 1");
        let last = last.fetch_optional(&mut *self.0).await?;
        let (last, previous): (i64, String) = match last {
            Some(row) => (row.try_get("id")?, row.try_get("hash")?),
            None => (0, String::new()),
        };
        let (kind, who) = match event.who {
            Some(id) => (id.kind.name(), key_of(self.0, id).await?),
            None => ("", String::new()),
        };
        let salt = random()?;
        let known = !event.network.is_empty();
        let row = EventRow {
            previous,
            id: last.saturating_add(1),
            at: event.at.as_millisecond(),
            what: event.what.name().to_owned(),
            kind: kind.to_owned(),
            who,
            by_login: event.by.to_owned(),
            subject: event.subject.to_owned(),
            head: head(self.0, None).await?.unwrap_or_default(),
            place: if known {
                hash_of(&(&salt, event.network))
            } else {
                String::new()
            },
        };
        query(
            "INSERT INTO access_event (id, at, what, kind, who, by_login, subject, head, place, previous, hash)
             VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
        )
        .bind(row.id)
        .bind(row.at)
        .bind(&row.what)
        .bind(&row.kind)
        .bind(&row.who)
        .bind(&row.by_login)
        .bind(&row.subject)
        .bind(&row.head)
        .bind(&row.place)
        .bind(&row.previous)
        .bind(row.hash())
        .execute(&mut *self.0)
        .await?;
        if known {
            query("INSERT INTO access_place (event, salt, address) VALUES ($1, $2, $3)")
                .bind(row.id)
                .bind(salt)
                .bind(event.network)
                .execute(&mut *self.0)
                .await?;
        }
        let days = self.places_kept_days().await?;
        // events come in order of time, so that only the oldest need be looked at
        query(
            "DELETE FROM access_place WHERE event IN
             (SELECT id FROM access_event JOIN access_place ON event = id WHERE at < $1 ORDER BY id LIMIT 10)",
        )
        .bind(row.at.saturating_sub(days.saturating_mul(DAY_MS)))
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// For how many days it is kept where people were.
    pub async fn places_kept_days(&mut self) -> Result<i64, StoreError> {
        let days = self.setting(Setting::PlacesKeptDays).await?;
        Ok(days
            .and_then(|days| days.parse().ok())
            .unwrap_or(PLACES_KEPT_DAYS))
    }

    /// The newest events first; of one person only, if a login is given.
    pub async fn events(
        &mut self,
        login: Option<&str>,
        most: i64,
    ) -> Result<Vec<AccessEvent>, StoreError> {
        let rows = query(
            "SELECT at, what, coalesce(number, who) AS login, by_login, subject, address
             FROM access_event LEFT JOIN people ON kind = 'student' AND key = who LEFT JOIN access_place ON event = access_event.id
             WHERE $1 IS NULL OR lower($1) IN (lower(coalesce(number, who)), lower(by_login))
             ORDER BY access_event.id DESC LIMIT $2",
        );
        read_all(&rows.bind(login).bind(most).fetch_all(&mut *self.0).await?)
    }

    /// Logins of that kind whose owners have signed in, in whatever way.
    pub async fn have_signed_in(&mut self, kind: Kind) -> Result<BTreeSet<String>, StoreError> {
        let logins: Vec<String> = query_scalar(
            "SELECT DISTINCT coalesce(number, who)
             FROM access_event LEFT JOIN people ON kind = 'student' AND key = who
             WHERE kind = $1 AND what = $2",
        )
        .bind(kind.name())
        .bind(What::SignedIn.name())
        .fetch_all(&mut *self.0)
        .await?;
        Ok(logins.into_iter().collect())
    }

    /// What happened to an account, newest first; only since its owner was last told, if that is asked.
    pub async fn events_of(
        &mut self,
        id: &AccountId,
        untold: bool,
        most: i64,
    ) -> Result<Vec<AccessEvent>, StoreError> {
        let who = key_of(self.0, id).await?;
        let rows = query(
            "SELECT at, what, $3 AS login, by_login, subject, address
             FROM access_event LEFT JOIN access_place ON event = id
             WHERE kind = $1 AND who = $2 AND (NOT $4 OR id > coalesce(
                 (SELECT max(id) FROM access_event WHERE kind = $1 AND who = $2 AND what = 'told'), 0))
             ORDER BY id DESC LIMIT $5",
        );
        let rows = rows
            .bind(id.kind.name())
            .bind(who)
            .bind(&id.login)
            .bind(untold)
            .bind(most);
        read_all(&rows.fetch_all(&mut *self.0).await?)
    }
}

/// The first place where the record of access is not what was written.
pub async fn altered_events(
    connection: &mut Connection,
    heads: &BTreeMap<i64, String>,
    removed: &Removed,
) -> Result<Option<String>, StoreError> {
    let mut places = BTreeMap::new();
    let rows = query("SELECT * FROM access_place").fetch_all(&mut *connection);
    for row in rows.await? {
        let (salt, address): (String, String) = (row.try_get("salt")?, row.try_get("address")?);
        places.insert(row.try_get::<i64>("event")?, hash_of(&(salt, address)));
    }
    let (mut previous, mut expected) = (String::new(), 1_i64);
    let mut passwords = BTreeMap::new();
    let rows = query("SELECT * FROM access_event ORDER BY id").fetch_all(&mut *connection);
    for row in rows.await? {
        let event = EventRow::read(&row)?;
        let id = event.id;
        if id != expected {
            return Ok(Some(format!(
                "access_event: found row {id}, expected row {expected}"
            )));
        }
        expected = expected.saturating_add(1);
        let kept: String = row.try_get("hash")?;
        if event.previous != previous || event.hash() != kept {
            return Ok(Some(format!(
                "access_event, row {id}: found a hash that does not follow from it and the one before, expected an unbroken chain"
            )));
        }
        previous = kept;
        if places.remove(&id).is_some_and(|place| place != event.place) {
            return Ok(Some(format!(
                "access_place, event {id}: found another address, expected the one written down"
            )));
        }
        if let Some(what) = missing_from_journal(&event, heads) {
            return Ok(Some(what));
        }
        if [What::Claimed.name(), What::PasswordSet.name()].contains(&event.what.as_str()) {
            let since = seq_of(&event.head).unwrap_or(0);
            passwords.insert((event.kind, event.who), (id, since, event.subject));
        }
    }
    for ((kind, who), (id, since, expected)) in passwords {
        // one made anew has a password of its own or none
        let whose = match Kind::from_name(&kind) {
            Some(Kind::Staff) => Some((Kind::Staff, who.to_ascii_lowercase())),
            other => other.map(|kind| (kind, who.clone())),
        };
        let gone = whose.and_then(|whose| removed.get(&whose));
        if gone.is_some_and(|gone| *gone > since) {
            continue;
        }
        let held = query(
            "SELECT password_hash FROM account WHERE kind = $1 AND login = CASE $1 WHEN 'student' THEN
             (SELECT number FROM people WHERE key = $2) ELSE $2 END",
        );
        let held = held.bind(kind).bind(&who).fetch_optional(&mut *connection);
        let Some(row) = held.await? else { continue };
        let held: Option<String> = row.try_get("password_hash")?;
        if held.is_none_or(|held| hash(&held) != expected) {
            return Ok(Some(format!(
                "account, {who}: found another password than the one set in row {id} of access_event, expected that"
            )));
        }
    }
    Ok(None)
}

/// Number of the row of the journal that a head names.
fn seq_of(head: &str) -> Option<i64> {
    head.split_once('-')?.0.parse().ok()
}

fn missing_from_journal(event: &EventRow, heads: &BTreeMap<i64, String>) -> Option<String> {
    let (_, hash) = event.head.split_once('-')?;
    let seq = seq_of(&event.head)?;
    (heads.get(&seq).map(String::as_str) != Some(hash)).then(|| {
        format!(
            "journal, row {seq}: found another or none, expected the one that was the newest when row {} of access_event was written",
            event.id
        )
    })
}

/// Number and hash of an event, or (none) of the newest.
pub async fn newest_event(
    connection: &mut Connection,
    id: Option<i64>,
) -> Result<Option<String>, StoreError> {
    let newest = query_scalar(
        "SELECT id || '-' || hash FROM access_event WHERE id = coalesce($1, (SELECT max(id) FROM access_event))",
    );
    Ok(newest.bind(id).fetch_optional(connection).await?)
}

async fn key_of(connection: &mut Connection, id: &AccountId) -> Result<String, StoreError> {
    if id.kind == Kind::Staff {
        return Ok(id.login.clone());
    }
    let key = query_scalar("SELECT key FROM person WHERE number = $1 ORDER BY id DESC LIMIT 1");
    let key: Option<String> = key.bind(&id.login).fetch_optional(connection).await?;
    Ok(key.unwrap_or_default())
}

fn read_all(rows: &[Row]) -> Result<Vec<AccessEvent>, StoreError> {
    let read = rows.iter().map(|row| {
        Ok(AccessEvent {
            at: instant(row.try_get("at")?, "access_event.at")?,
            what: row.try_get("what")?,
            who: row.try_get("login")?,
            by: row.try_get("by_login")?,
            subject: row.try_get("subject")?,
            network: row.try_get("address")?,
        })
    });
    read.collect()
}
