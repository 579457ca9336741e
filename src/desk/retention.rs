//! Taking out for good who students are and what was written about them, and going on from a copy.

use std::sync::Arc;

use jiff::{Timestamp, civil};

use super::Desk;
use super::accounts::{By, Event, What};
use crate::changes::{Change, Made, Restored, Retired};
use crate::ids::StudentId;
use crate::store::{Store, StoreError, Writing, last_of, newest, write_changes};

/// Numbers are left out up to a multiple of this when a course goes on from a copy: nobody hands in as often between
/// two copies.
const STEP: i64 = 1_000_000;

/// What is to be taken out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Retirement {
    /// Whatever happened on this day or later keeps it.
    pub before: civil::Date,
    /// None: everybody's, of the whole course.
    pub students: Vec<StudentId>,
    /// What was written about them alone, and not who they are.
    pub texts_only: bool,
}

/// Why nothing was taken out.
#[derive(Debug, thiserror::Error)]
pub enum RetireError {
    #[error("found no student {0} on the roster, expected one who is or was on it")]
    Unknown(StudentId),
    #[error("found something of {who} on {last}, expected nothing on {before} or later")]
    TooRecent {
        who: String,
        last: civil::Date,
        before: civil::Date,
    },
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Whose it would be, if all of it is old enough.
pub async fn retirable(desk: &Desk, asked: &Retirement) -> Result<Vec<StudentId>, RetireError> {
    let image = desk.look().await?;
    let zone = &image.term.course.zone;
    let mut reader = desk.store().read().await?;
    let whole = [None];
    let some: Vec<Option<&StudentId>> = asked.students.iter().map(Some).collect();
    let about = if some.is_empty() { &whole[..] } else { &some };
    for student in about {
        if let Some(id) = student
            && image.term.student(id).is_none()
        {
            return Err(RetireError::Unknown((*id).clone()));
        }
        let Some(last) = last_of(&mut reader, *student).await? else {
            continue;
        };
        let last = Timestamp::from_millisecond(last)
            .map_err(|why| StoreError::damaged("journal.at", why))?;
        let last = zone.local(last).date();
        if last >= asked.before {
            return Err(RetireError::TooRecent {
                who: student.map_or("the course".to_owned(), |id| format!("student {id}")),
                last,
                before: asked.before,
            });
        }
    }
    if asked.students.is_empty() {
        Ok(image.term.students.iter().map(|s| s.id.clone()).collect())
    } else {
        Ok(asked.students.clone())
    }
}

/// Takes it out, as an event of the journal and of the record of access.
pub async fn retire(
    desk: &Desk,
    asked: &Retirement,
    by: By<'_>,
    at: Timestamp,
) -> Result<Vec<StudentId>, RetireError> {
    let students = retirable(desk, asked).await?;
    let change = Retired {
        before: asked.before,
        students: students.clone(),
        texts_only: asked.texts_only,
    };
    let mut transaction = desk.store().write().await?;
    let made = Made {
        seq: newest(&mut transaction).await?.saturating_add(1),
        at,
        by: by.login.to_owned(),
    };
    let writing = alone(change.into(), made);
    write_changes(&mut transaction, &writing).await?;
    let subject = format!(
        "{} of {} students, before {}",
        if asked.texts_only {
            "texts"
        } else {
            "identity and texts"
        },
        students.len(),
        asked.before
    );
    let event = Event {
        at,
        what: What::Retired,
        who: None,
        by: by.login,
        subject: &subject,
        network: by.network,
    };
    transaction.accounts().note(event).await?;
    transaction.commit().await?;
    desk.store().empty_log().await?;
    Ok(students)
}

/// Makes a copy the course that goes on: no number that was given out since the copy was made is given out again. Returns
/// the number of the row that says so.
pub async fn go_on(store: &Store, at: Timestamp) -> Result<i64, StoreError> {
    let mut transaction = store.write().await?;
    let after = newest(&mut transaction).await?;
    let seq = (after / STEP).saturating_add(1).saturating_mul(STEP);
    let made = Made {
        seq,
        at,
        by: By::COMMAND_LINE.login.to_owned(),
    };
    let writing = alone(Restored { after }.into(), made);
    write_changes(&mut transaction, &writing).await?;
    transaction.commit().await?;
    Ok(seq)
}

fn alone(change: Change, made: Made) -> Arc<Writing> {
    Arc::new(Writing {
        changes: vec![change],
        made: vec![made],
        judged: Default::default(),
    })
}
