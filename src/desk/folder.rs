//! A course folder into a database, out of it, and straight through to grades.

use jiff::Timestamp;

use super::import::changes_to;
use super::{Desk, Image};
use crate::changes::{Change, HandInMade};
use crate::files::{self, Folder};
use crate::store::{Store, StoreError};
use crate::term::Term;
use crate::text::Fault;

/// Why a folder was not brought in.
#[derive(Debug, thiserror::Error)]
pub enum BringError {
    /// The files are at fault; nothing was imported.
    #[error("found {} faults in the course folder; nothing was imported", .0.len())]
    Faults(Vec<Fault>),
    /// The database holds another course.
    #[error(
        "found the course \u{201c}{held}\u{201d} in the database, expected \u{201c}{folder}\u{201d} as in the folder, or an empty database"
    )]
    OtherCourse {
        /// Title and term of the course in the database.
        held: String,
        /// Title and term of the folder's.
        folder: String,
    },
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What bringing a folder in did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Brought {
    /// Changes made; 0 if the database held all of it already.
    pub changes: usize,
    pub hand_ins: usize,
}

/// Brings everything of a folder into the database: what is new and what differs. Nothing is taken away, and the same
/// folder brought in again changes nothing.
pub async fn bring_in(
    desk: &Desk,
    folder: &Folder,
    login: &str,
    at: Timestamp,
) -> Result<Brought, BringError> {
    let incoming = files::read_term(folder).map_err(BringError::Faults)?;
    bring_in_term(desk, &incoming, login, at).await
}

/// As [`bring_in`], for a folder already read.
pub async fn bring_in_term(
    desk: &Desk,
    incoming: &Term,
    login: &str,
    at: Timestamp,
) -> Result<Brought, BringError> {
    let mut brought = Brought {
        changes: 0,
        hand_ins: 0,
    };
    desk.apply_if(login, at, |image| {
        let changes = match image.map(|image| &image.term) {
            None => changes_of_new(incoming),
            Some(held) => changes_to(held, incoming)?,
        };
        brought.changes = changes.len();
        brought.hand_ins = changes
            .iter()
            .filter(|c| matches!(c, Change::HandIn(HandInMade { .. })))
            .count();
        Ok::<_, BringError>(changes)
    })
    .await?;
    Ok(brought)
}

/// The four files of grades for a course as it stands.
pub fn output_files(image: &Image) -> Folder {
    files::outputs(&image.term, &image.in_course_order())
}

/// The whole job with no server: a folder in, the four files of grades out, through a database that passes.
pub async fn grade(folder: &Folder, at: Timestamp) -> Result<Folder, BringError> {
    let incoming = files::read_term(folder).map_err(BringError::Faults)?;
    grade_term(incoming, at).await
}

/// As [`grade`], for a folder already read, which is not held any longer than it is needed.
pub async fn grade_term(incoming: Term, at: Timestamp) -> Result<Folder, BringError> {
    let desk = Desk::open(Store::passing().await?).await?;
    let changes = changes_of_new(&incoming);
    drop(incoming);
    desk.apply(changes, "grade", at).await?;
    let view = desk.view().await?;
    // what it keeps to change the course by is not needed any more
    drop(desk);
    Ok(output_files(&view))
}

/// Everything of a term as changes to a database that holds no course.
fn changes_of_new(incoming: &Term) -> Vec<Change> {
    let empty = Term::new(incoming.course.clone(), incoming.glassware.clone());
    let mut changes = vec![Change::Course(incoming.course.clone())];
    changes.extend(empty.changes_from(incoming));
    changes
}
