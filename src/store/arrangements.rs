//! What was arranged for single students and sections, and texts that were replaced: written and read back.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use sqlx::{Row, SqliteConnection};

use super::StoreError;
use super::load::{instant, slot};
use crate::course::Experiment;
use crate::ids::{ExperimentKey, SectionName, UnknownCode};
use crate::term::{Amended, Amendment, Extension, Reissue, Slot, Term};

/// Writes the sections' own dates of an experiment in place of those it had.
pub(super) async fn write_section_dates(
    connection: &mut SqliteConnection,
    id: i64,
    experiment: &Experiment,
) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM section_date WHERE experiment_id = ?")
        .bind(id)
        .execute(&mut *connection)
        .await?;
    for (section, dates) in &experiment.section_dates {
        sqlx::query(
            "INSERT INTO section_date (experiment_id, section, opens, due) VALUES (?, ?, ?, ?)",
        )
        .bind(id)
        .bind(section)
        .bind(dates.opens.map(|at| at.to_string()))
        .bind(dates.due.map(|at| at.to_string()))
        .execute(&mut *connection)
        .await?;
    }
    Ok(())
}

pub(super) async fn write_extension(
    connection: &mut SqliteConnection,
    slot: &Slot,
    extension: &Extension,
) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO extension (experiment, student_id, due, section, reason, by_login, at)
         VALUES (?, ?, ?, ?, ?, ?, ?)",
    )
    .bind(slot.experiment.as_str())
    .bind(slot.student.as_str())
    .bind(extension.due.map(|at| at.to_string()))
    .bind(&extension.section)
    .bind(&extension.reason)
    .bind(&extension.by)
    .bind(extension.at.map(Timestamp::as_millisecond))
    .execute(connection)
    .await?;
    Ok(())
}

/// Writes a bottle given in place of another.
pub(super) async fn write_reissue(
    connection: &mut SqliteConnection,
    slot: &Slot,
    reissue: &Reissue,
) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO issue (experiment, student_id, unknown, reason, by_login, at) VALUES (?, ?, ?, ?, ?, ?)",
    )
    .bind(slot.experiment.as_str())
    .bind(slot.student.as_str())
    .bind(&reissue.unknown)
    .bind(&reissue.reason)
    .bind(&reissue.by)
    .bind(reissue.at.as_millisecond())
    .execute(connection)
    .await?;
    Ok(())
}

/// Writes the text that another one replaces.
pub(super) async fn write_amendment(
    connection: &mut SqliteConnection,
    amendment: &Amendment,
) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO amendment (what, key, before, reason, by_login, at) VALUES (?, ?, ?, ?, ?, ?)",
    )
    .bind(amendment.what.name())
    .bind(&amendment.key)
    .bind(&amendment.before)
    .bind(&amendment.reason)
    .bind(&amendment.by)
    .bind(amendment.at.as_millisecond())
    .execute(connection)
    .await?;
    Ok(())
}

/// Takes somebody off the staff list. Their account goes with it: on the list again, they set a password anew.
pub(super) async fn remove_staff(
    connection: &mut SqliteConnection,
    login: &str,
) -> Result<(), StoreError> {
    for statement in [
        "DELETE FROM session WHERE kind = 'staff' AND login = ? COLLATE NOCASE",
        "DELETE FROM claim_code WHERE kind = 'staff' AND login = ? COLLATE NOCASE",
        "DELETE FROM account WHERE kind = 'staff' AND login = ? COLLATE NOCASE",
        "DELETE FROM staff WHERE login = ?",
    ] {
        sqlx::query(statement)
            .bind(login)
            .execute(&mut *connection)
            .await?;
    }
    Ok(())
}

/// Ends the sessions of a student who has left.
pub(super) async fn end_sessions(
    connection: &mut SqliteConnection,
    student: &str,
) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM session WHERE kind = 'student' AND login = ?")
        .bind(student)
        .execute(connection)
        .await?;
    Ok(())
}

/// Reads the bottles issued, the releases, and what was arranged and replaced.
pub(super) async fn load_arrangements(
    connection: &mut SqliteConnection,
    term: &mut Term,
) -> Result<(), StoreError> {
    for row in sqlx::query("SELECT * FROM issue ORDER BY id")
        .fetch_all(&mut *connection)
        .await?
    {
        let (slot, unknown): (_, UnknownCode) = (slot(&row)?, row.try_get("unknown")?);
        let reason: String = row.try_get("reason")?;
        let before = term.issued.insert(slot.clone(), unknown.clone());
        if !reason.is_empty() {
            term.reissued.entry(slot).or_default().push(Reissue {
                unknown,
                instead_of: before.unwrap_or_else(|| UnknownCode::new("")),
                reason,
                by: row.try_get("by_login")?,
                at: instant(row.try_get("at")?, "issue")?,
            });
        }
    }
    for row in sqlx::query("SELECT * FROM release ORDER BY id")
        .fetch_all(&mut *connection)
        .await?
    {
        let (experiment, section): (ExperimentKey, Option<SectionName>) =
            (row.try_get("experiment")?, row.try_get("section")?);
        let at: Option<i64> = row.try_get("released_at")?;
        let at = at.map(|at| instant(at, "release")).transpose()?;
        term.set_release(&experiment, section.as_ref(), at);
    }
    for row in sqlx::query("SELECT * FROM extension ORDER BY id")
        .fetch_all(&mut *connection)
        .await?
    {
        let at: Option<i64> = row.try_get("at")?;
        let extension = Extension {
            due: local(row.try_get("due")?, "extension.due")?,
            section: row.try_get("section")?,
            reason: row.try_get("reason")?,
            by: row.try_get("by_login")?,
            at: at.map(|at| instant(at, "extension")).transpose()?,
        };
        term.extensions
            .entry(slot(&row)?)
            .or_default()
            .push(extension);
    }
    for row in sqlx::query("SELECT * FROM amendment ORDER BY id")
        .fetch_all(connection)
        .await?
    {
        let what: String = row.try_get("what")?;
        term.amendments.push(Amendment {
            what: Amended::from_name(&what)
                .ok_or_else(|| StoreError::damaged("amendment.what", what))?,
            key: row.try_get("key")?,
            before: row.try_get("before")?,
            reason: row.try_get("reason")?,
            by: row.try_get("by_login")?,
            at: instant(row.try_get("at")?, "amendment")?,
        });
    }
    Ok(())
}

/// A local time as it is kept.
pub(super) fn local(text: Option<String>, place: &str) -> Result<Option<DateTime>, StoreError> {
    let read = |text: String| text.parse().map_err(|why| StoreError::damaged(place, why));
    text.map(read).transpose()
}

/// A day as it is kept.
pub(super) fn day(text: Option<String>, place: &str) -> Result<Option<Date>, StoreError> {
    let read = |text: String| text.parse().map_err(|why| StoreError::damaged(place, why));
    text.map(read).transpose()
}
