//! A course set up where there is none, and the answer key of an experiment opened.

use jiff::Timestamp;

use super::forms::{PrepareError, course_of, enter};
use super::{Desk, StoreError};
use crate::changes::{Change, KeyOpened, ReleaseForm, Who};
use crate::form::{Faults, Typed};
use crate::ids::ExperimentKey;

/// Sets up a course in a database that has none.
pub async fn new_course(
    desk: &Desk,
    typed: &Typed,
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    let course = course_of(typed)?;
    desk.apply_if(login, at, |image| match image {
        Some(image) => {
            let held = &image.term.course.title;
            let expected = "no course in the database yet";
            Err(PrepareError::Fields(Faults::found("title", held, expected)))
        }
        None => Ok(vec![Change::Course(course)]),
    })
    .await?;
    Ok(())
}

/// Notes in the log that the answer key of an experiment was opened, and by whom.
pub async fn open_key(
    desk: &Desk,
    experiment: &ExperimentKey,
    (login, at): (&str, Timestamp),
) -> Result<(), StoreError> {
    let opened = Change::KeyOpened(KeyOpened {
        experiment: experiment.clone(),
    });
    desk.apply(vec![opened], login, at).await.map(|_| ())
}

/// Releases the results of an experiment to everybody, whatever is still to review.
pub async fn release(
    desk: &Desk,
    experiment: &ExperimentKey,
    who: Who<'_>,
) -> Result<(), PrepareError> {
    let form = ReleaseForm {
        experiment: experiment.clone(),
        out: true,
    };
    let typed = Typed::from([("as_they_are", "yes")]);
    enter(desk, &form, &typed, who).await.map(|_| ())
}
