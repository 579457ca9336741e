//! Results go out to students, or come back in: for one section or for all of them.

use jiff::Timestamp;

use super::{Desk, Image, PrepareError};
use crate::change::Change;
use crate::ids::{ExperimentKey, SectionName, StudentId};
use crate::store::StoreError;
use crate::term::{Slot, Status};

/// Releases the results of an experiment to everybody, whatever is still to review.
pub async fn release(
    desk: &Desk,
    experiment: &ExperimentKey,
    who: (&str, Timestamp),
) -> Result<(), PrepareError> {
    release_to(desk, experiment, None, true, who).await
}

/// Releases the results of an experiment to a section, or (none) to all of them. While submissions of theirs are to
/// review, `as_they_are` says that they go out nevertheless.
pub async fn release_to(
    desk: &Desk,
    experiment: &ExperimentKey,
    section: Option<&str>,
    as_they_are: bool,
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let image: &Image = image.ok_or(StoreError::NoCourse)?;
        known(image, experiment, section)?;
        let open = open_reviews(image, experiment, section);
        if open > 0 && !as_they_are {
            let what = format!(
                "found {open} still to review, expected none, or a tick that says they go out as they are"
            );
            return Err(PrepareError::Fields(vec![("as_they_are", what)]));
        }
        Ok(change(image, experiment, section, Some(at)))
    })
    .await?;
    Ok(())
}

/// Withdraws the results of an experiment from a section, or (none) from all of them.
pub async fn withdraw(
    desk: &Desk,
    experiment: &ExperimentKey,
    section: Option<&str>,
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let image: &Image = image.ok_or(StoreError::NoCourse)?;
        known(image, experiment, section)?;
        Ok(change(image, experiment, section, None))
    })
    .await?;
    Ok(())
}

/// Submissions of students on the course that a person should still look at, in a section or (none) in all of them.
pub fn open_reviews(image: &Image, experiment: &ExperimentKey, section: Option<&str>) -> usize {
    let students = image.term.enrolled();
    let of = students.filter(|s| section.is_none_or(|name| s.section == name));
    let waits = |id: &StudentId| {
        let judged = image.judged.get(&Slot::new(experiment, id));
        judged.is_some_and(|j| j.status == Status::ToReview)
    };
    of.filter(|s| waits(&s.id)).count()
}

fn known(
    image: &Image,
    experiment: &ExperimentKey,
    section: Option<&str>,
) -> Result<(), PrepareError> {
    if image.term.experiment(experiment).is_none() {
        let expected = "an experiment of the course";
        return Err(PrepareError::new("experiment", experiment, expected));
    }
    match section {
        Some(name) if !image.term.sections().contains(&name) => Err(PrepareError::new(
            "section",
            name,
            "a section of the roster",
        )),
        _ => Ok(()),
    }
}

/// The change, if it makes a difference to anybody.
fn change(
    image: &Image,
    experiment: &ExperimentKey,
    section: Option<&str>,
    at: Option<Timestamp>,
) -> Vec<Change> {
    let held = image
        .term
        .released
        .get(experiment)
        .cloned()
        .unwrap_or_default();
    let same = match section {
        Some(section) => held.of(section).is_some() == at.is_some(),
        None => held.everyone.is_some() == at.is_some() && held.sections.is_empty(),
    };
    if same {
        return Vec::new();
    }
    vec![Change::Release {
        experiment: experiment.clone(),
        section: section.map(SectionName::new),
        at,
    }]
}
