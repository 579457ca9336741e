//! Results released to a section or (none) to all of them, or (no time) withdrawn.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::{Change, ChangeForm, ChangeKind, Made, Reach, Who, experiment, newer};
use crate::form::{Button, Faults, Field, Form, Typed};
use crate::ids::{ExperimentKey, SectionName, StudentId};
use crate::term::{BySlot, Judged, Slot, Status, Term};
use crate::text::found;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct SetRelease {
    pub experiment: ExperimentKey,
    pub section: Option<SectionName>,
    pub released_at: Option<Timestamp>,
}

impl ChangeKind for SetRelease {
    const NAME: &'static str = "release";

    fn subject(&self) -> String {
        let section = self.section.as_ref().map(|name| format!("/{name}"));
        format!("{}{}", self.experiment, section.unwrap_or_default())
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        term.set_release(&self.experiment, self.section.as_ref(), self.released_at);
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let mut fresh = Vec::new();
        for (experiment, release) in newer(&held.released, &incoming.released) {
            let known = held.released.get(experiment).cloned().unwrap_or_default();
            let mut put = |section: Option<&SectionName>, released_at| {
                fresh.push(Self {
                    experiment: experiment.clone(),
                    section: section.cloned(),
                    released_at,
                });
            };
            // a release to everybody ends what was arranged for single sections
            let anew = release.everyone.is_some() && release.everyone != known.everyone;
            if anew {
                put(None, release.everyone);
            }
            for (section, at) in &release.sections {
                if anew || known.sections.get(section) != Some(at) {
                    put(Some(section), *at);
                }
            }
        }
        fresh
    }
}

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

    fn allowed(
        &self,
        typed: &Typed,
        term: &Term,
        judged: &BySlot<Judged>,
    ) -> Result<(), Faults> {
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
        let open = open_reviews(term, judged, &self.experiment, section);
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
        let change = SetRelease {
            experiment: self.experiment.clone(),
            section: section.map(SectionName::new),
            released_at: self.out.then_some(at),
        };
        Ok((!same).then_some(change.into()).into_iter().collect())
    }
}

/// Submissions of students on the course that a person should still look at, in a section or (none) in all of them.
pub fn open_reviews(
    term: &Term,
    judged: &BySlot<Judged>,
    experiment: &ExperimentKey,
    section: Option<&str>,
) -> usize {
    let students = term.enrolled();
    let of = students.filter(|s| section.is_none_or(|name| s.section == name));
    let waits = |id: &StudentId| {
        let judged = judged.get(&Slot::new(experiment, id));
        judged.is_some_and(|j| j.status == Status::ToReview)
    };
    of.filter(|s| waits(&s.id)).count()
}

fn section(typed: &Typed) -> Option<&str> {
    Some(typed.text("section")).filter(|name| !name.is_empty())
}
