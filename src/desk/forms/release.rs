//! Results go out to students, or come back in: for one section or for all of them.

use super::{ChangeForm, PrepareError, Who, enter, experiment};
use crate::changes::{Change, SetRelease};
use crate::desk::{Desk, Image};
use crate::form::{Button, Faults, Field, Form, Typed};
use crate::ids::{ExperimentKey, SectionName, StudentId};
use crate::term::{Slot, Status, Term};
use crate::text::found;

/// The results of an experiment, by its key, released or withdrawn.
pub struct ReleaseForm {
    pub experiment: ExperimentKey,
    /// Whether they go out.
    pub out: bool,
}

impl ReleaseForm {
    /// The form for a section or (empty) all of them; `waiting` go out though they are still to review.
    pub fn to(section: &str, words: &str, waiting: usize) -> Form {
        let mut fields = Vec::new();
        if !section.is_empty() {
            fields.push(Field::hidden("section"));
        }
        if waiting > 0 {
            let tick = match waiting {
                1 => "The one still to review goes out as it is".to_owned(),
                n => format!("The {n} still to review go out as they are"),
            };
            fields.push(Field::tick("as_they_are", tick));
        }
        let mut form = Form::of(fields);
        form.buttons = vec![Button::new(words)];
        form
    }
}

impl ChangeForm for ReleaseForm {
    fn form(&self, _: &Term, _: &Typed) -> Form {
        Form::of(vec![
            Field::hidden("section"),
            Field::tick("as_they_are", "Still to review"),
        ])
    }

    fn allowed(&self, typed: &Typed, image: &Image) -> Result<(), Faults> {
        let term = &image.term;
        experiment(term, &self.experiment)?;
        let section = section(typed);
        if let Some(name) = section
            && !term.sections().contains(&name)
        {
            return Err(Faults::one(
                "section",
                found(name, "a section of the roster"),
            ));
        }
        let open = open_reviews(image, &self.experiment, section);
        if self.out && open > 0 && typed.text("as_they_are") != "yes" {
            let what = format!(
                "found {open} still to review, expected none, or a tick that says they go out as they are"
            );
            return Err(Faults::one("as_they_are", what));
        }
        Ok(())
    }

    fn changes(&self, typed: &Typed, term: &Term, (_, at): Who<'_>) -> Result<Vec<Change>, Faults> {
        let held = term.released.get(&self.experiment).cloned();
        let held = held.unwrap_or_default();
        let section = section(typed);
        let same = match section {
            Some(section) => held.of(section).is_some() == self.out,
            None => held.everyone.is_some() == self.out && held.sections.is_empty(),
        };
        let change = Change::Release(SetRelease {
            experiment: self.experiment.clone(),
            section: section.map(SectionName::new),
            released_at: self.out.then_some(at),
        });
        Ok((!same).then_some(change).into_iter().collect())
    }
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

fn section(typed: &Typed) -> Option<&str> {
    Some(typed.text("section")).filter(|name| !name.is_empty())
}
