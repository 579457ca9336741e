//! Mail that waits, was sent or was refused, what people chose of it, and the addresses of calendars. Students stand here by
//! their key, so that who is taken out is nobody here either.

mod chosen;

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::StoreError;
use super::accounts::Kind;
use super::journal::instant;
use super::sending::{SendState, state_of};
use crate::store::sql::{Connection, Row, query, query_scalar};
use crate::words::named;

pub use chosen::Choice;

/// The mail of a database.
pub struct Mails<'c>(pub &'c mut Connection);

/// Whom it is for.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct MailFor {
    pub kind: Kind,
    /// A login of staff, or a student's key.
    pub key: String,
}

/// What a mail is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum MailKind {
    /// A one-time code to set a password with.
    Code,
    /// Work that came back to be corrected.
    Returned,
    /// Results that are out.
    Released,
    /// What waits for an assistant.
    Digest,
}

named! { MailKind, name, from_name:
    Code = "code": "one-time code",
    Returned = "returned": "work returned",
    Released = "released": "results are out",
    Digest = "digest": "what waits",
}

/// A mail to be queued.
#[derive(Clone, Debug)]
pub struct NewMail {
    /// What it is about: nothing is queued for it twice.
    pub event: String,
    pub what: MailKind,
    pub to: MailFor,
    /// Key of an experiment; empty if it is about none.
    pub experiment: String,
}

/// A mail as it is kept.
#[derive(Clone, Debug)]
pub struct Mail {
    pub id: i64,
    pub event: String,
    pub what: MailKind,
    pub to: MailFor,
    pub experiment: String,
    pub queued_at: Timestamp,
    pub state: SendState,
    /// How often it was tried.
    pub tries: i64,
    pub next_at: Timestamp,
    pub ended_at: Option<Timestamp>,
    pub why: String,
    pub address: String,
}

/// A row of the journal that mail may follow from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Occasion {
    pub seq: i64,
    pub experiment: String,
    pub what: OccasionKind,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub enum OccasionKind {
    /// Results out for a section, or (none) for all of them.
    Released(Option<String>),
    Withdrawn(Option<String>),
    /// Work back with the student of that key.
    Returned(String),
}

impl Mails<'_> {
    /// Whether the course sends mail of its own accord.
    pub async fn is_wanted(&mut self) -> Result<bool, StoreError> {
        let wanted = query_scalar("SELECT wanted FROM mail_course");
        let wanted: i64 = wanted.fetch_one(&mut *self.0).await?;
        Ok(wanted != 0)
    }

    /// Turns the course's own mail on or off. What happened before it was turned on is told to nobody.
    pub async fn want(&mut self, wanted: bool) -> Result<(), StoreError> {
        query(
            "UPDATE mail_course SET wanted = $1,
             seq = CASE WHEN wanted = $1 THEN seq ELSE (SELECT coalesce(max(seq), 0) FROM journal) END",
        )
        .bind(i64::from(wanted))
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// The newest row of the journal that was gone through.
    pub async fn gone_through(&mut self) -> Result<i64, StoreError> {
        let seq = query_scalar("SELECT seq FROM mail_course");
        Ok(seq.fetch_one(&mut *self.0).await?)
    }

    pub async fn go_through(&mut self, seq: i64) -> Result<(), StoreError> {
        let put = query("UPDATE mail_course SET seq = $1 WHERE seq < $1").bind(seq);
        put.execute(&mut *self.0).await?;
        Ok(())
    }

    /// What mail may follow from, after a row of the journal.
    pub async fn occasions_after(&mut self, seq: i64) -> Result<Vec<Occasion>, StoreError> {
        let rows = query(
            "SELECT seq, kind, body ->> '$.experiment' AS experiment, body ->> '$.section' AS section,
                    body ->> '$.released_at' AS released_at, body ->> '$.student' AS student
             FROM journal
             WHERE seq > $1 AND (kind = 'release' OR kind = 'decision' AND body ->> '$.ruling' = 'return')
             ORDER BY seq",
        );
        let rows = rows.bind(seq).fetch_all(&mut *self.0).await?;
        let read = rows.iter().map(|row| {
            let kind: String = row.try_get("kind")?;
            let section: Option<String> = row.try_get("section")?;
            let released_at: Option<String> = row.try_get("released_at")?;
            let what = match kind.as_str() {
                "decision" => OccasionKind::Returned(row.try_get("student")?),
                _ if released_at.is_some() => OccasionKind::Released(section),
                _ => OccasionKind::Withdrawn(section),
            };
            Ok(Occasion {
                seq: row.try_get("seq")?,
                experiment: row.try_get("experiment")?,
                what,
            })
        });
        read.collect()
    }

    /// Queues a mail, unless there is one for that event.
    pub async fn queue(&mut self, mail: &NewMail, at: Timestamp) -> Result<(), StoreError> {
        query(
            "INSERT INTO mail (event, what, kind, who, experiment, queued_at, state, tries, next_at, why, address)
             VALUES ($1, $2, $3, $4, $5, $6, 'waiting', 0, $6, '', '') ON CONFLICT (event) DO NOTHING",
        )
        .bind(&mail.event)
        .bind(mail.what.name())
        .bind(mail.to.kind.name())
        .bind(&mail.to.key)
        .bind(&mail.experiment)
        .bind(at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Whether a mail of a kind waits for somebody.
    pub async fn waits(&mut self, what: MailKind, to: &MailFor) -> Result<bool, StoreError> {
        let waits = query_scalar(
            "SELECT EXISTS (SELECT 1 FROM mail WHERE what = $1 AND kind = $2 AND who = $3 AND state = 'waiting')",
        );
        let waits = waits.bind(what.name()).bind(to.kind.name());
        Ok(waits.bind(&to.key).fetch_one(&mut *self.0).await?)
    }

    /// Frees the name of an event that no longer holds, so that the next one like it is told again; what still waits for
    /// it is dropped.
    pub async fn undo(
        &mut self,
        event: &str,
        undone_by: i64,
        why: &str,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        query(
            "UPDATE mail SET event = event || '/until-' || $2,
                 why = CASE state WHEN 'waiting' THEN $3 ELSE why END,
                 ended_at = CASE state WHEN 'waiting' THEN $4 ELSE ended_at END,
                 state = CASE state WHEN 'waiting' THEN 'dropped' ELSE state END
             WHERE event = $1",
        )
        .bind(event)
        .bind(undone_by)
        .bind(why)
        .bind(at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// The mail that is to be tried now, oldest first, and how much of it there may be at most.
    pub async fn due(&mut self, at: Timestamp, most: i64) -> Result<Vec<Mail>, StoreError> {
        let rows = query(
            "SELECT * FROM mail WHERE state = 'waiting' AND next_at <= $1 ORDER BY id LIMIT $2",
        );
        let rows = rows.bind(at.as_millisecond()).bind(most);
        let rows = rows.fetch_all(&mut *self.0).await?;
        rows.iter().map(read).collect()
    }

    /// Takes a mail that is due, so that nobody else tries it before `until`; says whether it was still there to take.
    pub async fn take(
        &mut self,
        mail: &Mail,
        address: &str,
        until: Timestamp,
    ) -> Result<bool, StoreError> {
        let taken = query(
            "UPDATE mail SET next_at = $3, tries = tries + 1, address = $4
             WHERE id = $1 AND state = 'waiting' AND next_at = $2",
        )
        .bind(mail.id)
        .bind(mail.next_at.as_millisecond())
        .bind(until.as_millisecond())
        .bind(address)
        .execute(&mut *self.0)
        .await?;
        Ok(taken == 1)
    }

    /// Says that a mail waits on, and why.
    pub async fn put_off(&mut self, id: i64, next: Timestamp, why: &str) -> Result<(), StoreError> {
        let put =
            query("UPDATE mail SET next_at = $2, why = $3 WHERE id = $1 AND state = 'waiting'");
        let put = put.bind(id).bind(next.as_millisecond()).bind(why);
        put.execute(&mut *self.0).await?;
        Ok(())
    }

    /// Says that the mail server cannot be had: a mail that was tried waits until `next`, and so does all that is due; what
    /// was queued before `old` is given up.
    pub async fn put_all_off(
        &mut self,
        (id, at): (i64, Timestamp),
        (next, old): (Timestamp, Timestamp),
        why: &str,
    ) -> Result<(), StoreError> {
        for statement in [
            "UPDATE mail SET state = 'refused', ended_at = $2, why = 'given up: ' || $5
             WHERE state = 'waiting' AND (id = $1 OR next_at <= $2) AND queued_at <= $4",
            "UPDATE mail SET next_at = $3, why = $5
             WHERE state = 'waiting' AND (id = $1 OR next_at <= $2) AND queued_at > $4",
        ] {
            query(statement)
                .bind(id)
                .bind(at.as_millisecond())
                .bind(next.as_millisecond())
                .bind(old.as_millisecond())
                .bind(why)
                .execute(&mut *self.0)
                .await?;
        }
        Ok(())
    }

    /// Whether a mail was ever queued for an event.
    pub async fn knows(&mut self, event: &str) -> Result<bool, StoreError> {
        let known = query_scalar("SELECT EXISTS (SELECT 1 FROM mail WHERE event = $1)");
        Ok(known.bind(event).fetch_one(&mut *self.0).await?)
    }

    /// Says what became of a mail in the end.
    pub async fn end(
        &mut self,
        id: i64,
        state: SendState,
        why: &str,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        query(
            "UPDATE mail SET state = $2, why = $3, ended_at = $4 WHERE id = $1 AND state = 'waiting'",
        )
        .bind(id)
        .bind(state.name())
        .bind(why)
        .bind(at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// The newest first, of one state if one is given.
    pub async fn newest(
        &mut self,
        state: Option<SendState>,
        most: i64,
    ) -> Result<Vec<Mail>, StoreError> {
        let rows =
            query("SELECT * FROM mail WHERE state = coalesce($1, state) ORDER BY id DESC LIMIT $2");
        let rows = rows.bind(state.map(SendState::name)).bind(most);
        let rows = rows.fetch_all(&mut *self.0).await?;
        rows.iter().map(read).collect()
    }

    /// How many stand how, of all of them.
    pub async fn counts(&mut self) -> Result<BTreeMap<SendState, u64>, StoreError> {
        let rows = query("SELECT state, count(*) AS n FROM mail GROUP BY state");
        let rows = rows.fetch_all(&mut *self.0).await?;
        let read = rows
            .iter()
            .map(|row| Ok((state_of(row)?, row.try_get::<i64>("n")?.unsigned_abs())));
        read.collect()
    }
}

fn read(row: &Row) -> Result<Mail, StoreError> {
    let what: String = row.try_get("what")?;
    let kind: String = row.try_get("kind")?;
    let ended: Option<i64> = row.try_get("ended_at")?;
    Ok(Mail {
        id: row.try_get("id")?,
        event: row.try_get("event")?,
        what: MailKind::from_name(&what).ok_or_else(|| StoreError::damaged("mail.what", what))?,
        to: MailFor {
            kind: Kind::from_name(&kind).ok_or_else(|| StoreError::damaged("mail.kind", kind))?,
            key: row.try_get("who")?,
        },
        experiment: row.try_get("experiment")?,
        queued_at: instant(row.try_get("queued_at")?, "mail.queued_at")?,
        state: state_of(row)?,
        tries: row.try_get("tries")?,
        next_at: instant(row.try_get("next_at")?, "mail.next_at")?,
        ended_at: ended.map(|at| instant(at, "mail.ended_at")).transpose()?,
        why: row.try_get("why")?,
        address: row.try_get("address")?,
    })
}
