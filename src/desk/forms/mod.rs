//! Forms that change the course: each a declaration of what is asked and of the changes that follow from it, looked at
//! and entered in one way.

mod dates;
mod days;
mod experiment;
mod extension;
mod issue;
mod procedure;
mod record;
mod reissue;
mod release;
mod rules;
mod section_lots;
mod staff;
mod stated;
mod student;
mod truth;

use jiff::Timestamp;

pub use dates::{ExperimentDates, SectionDates};
pub use days::BottleDays;
pub use experiment::{NewExperiment, course_form, course_of, procedure_titles};
pub use extension::ExtensionForm;
pub use issue::{IssueForm, deal};
pub use procedure::{ProcedureText, handed_in_by_procedure};
pub use record::{How, RecordForm, What, recorded, unit_of};
pub use reissue::ReissueForm;
pub use release::{ReleaseForm, open_reviews, release};
pub use rules::{RulesForm, rules_of};
pub use section_lots::SectionLotsForm;
pub use staff::{RemoveStaffForm, StaffForm};
pub use stated::{StatedForm, reagents};
pub use student::StudentForm;
pub use truth::ShowTruth;

use super::{Desk, Image};
use crate::changes::{Change, SetExperiment};
use crate::course::{Experiment, Student};
use crate::form::{Faults, Field, Form, Typed};
use crate::store::StoreError;
use crate::term::Term;

/// Who asks, by login, and when.
pub type Who<'a> = (&'a str, Timestamp);

/// A form whose answers come to changes.
pub trait ChangeForm: Send + Sync {
    /// What is asked, of the course as it is. Some fields depend on what was typed into others.
    fn form(&self, term: &Term, typed: &Typed) -> Form;

    /// What the form is filled in with before anybody has typed, where a page was asked for with a query.
    fn held(&self, _term: &Term, query: &Typed) -> Typed {
        query.clone()
    }

    /// What has to change so that the course is as the form wants it: nothing where it is.
    fn changes(&self, typed: &Typed, term: &Term, who: Who<'_>) -> Result<Vec<Change>, Faults>;

    /// What stands against it that a term alone does not tell.
    fn allowed(&self, _typed: &Typed, _image: &Image) -> Result<(), Faults> {
        Ok(())
    }

    /// What the changes would replace, by which somebody else's change is noticed.
    fn seen(&self, _typed: &Typed, _term: &Term) -> Option<String> {
        None
    }

    /// Whether it may be entered only by somebody who has looked.
    fn looks_first(&self) -> bool {
        false
    }

    /// The field of the reason, where one is wanted on top of what the form asks.
    fn reason(&self, _changes: &[Change]) -> Option<Field> {
        None
    }

    /// The fields that are sent again from the page that says what they would change.
    fn carried(&self, typed: &Typed, _changes: &[Change]) -> Typed {
        typed.clone()
    }

    /// What is to be said beside what would change. It may take a while to find out.
    fn remarks(&self, _term: &Term, _changes: &[Change]) -> Box<dyn FnOnce() -> Remarks + Send> {
        Box::new(Remarks::default)
    }
}

/// What is said beside the numbers.
#[derive(Default)]
pub struct Remarks {
    /// What a person should think about first.
    pub warnings: Vec<String>,
    pub sentences: Vec<String>,
}

/// What a form would do.
pub struct Looked {
    pub changes: Vec<Change>,
    /// The field of the reason that it still wants.
    pub reason: Option<Field>,
    /// The fields that do it, with what they would replace.
    pub carried: Typed,
}

/// Why something was not done.
#[derive(Debug, thiserror::Error)]
pub enum PrepareError {
    #[error("{0}")]
    Fields(Faults),
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl From<Faults> for PrepareError {
    fn from(faults: Faults) -> Self {
        Self::Fields(faults)
    }
}

/// What a form would change; nothing is changed.
pub fn look(
    image: &Image,
    form: &dyn ChangeForm,
    typed: &Typed,
    who: Who<'_>,
) -> Result<Looked, Faults> {
    let term = &image.term;
    form.allowed(typed, image)?;
    let changes = form.changes(typed, term, who)?;
    let asked = form.form(term, typed);
    let reason = form.reason(&changes);
    let is_asked = |name: &str| {
        let name = name.trim_end_matches("[]");
        let known = asked.field(name).is_some() || asked.is_sent_by_button(name);
        known && name != "do" && reason.as_ref().is_none_or(|field| field.name != name)
    };
    let mut carried = form.carried(typed, &changes).only(is_asked);
    if let Some(seen) = form.seen(typed, term) {
        carried.set("seen", seen);
    }
    Ok(Looked {
        changes,
        reason,
        carried,
    })
}

/// Does what a form asks, with nobody else at the desk. Returns the changes it took.
pub async fn enter(
    desk: &Desk,
    form: &dyn ChangeForm,
    typed: &Typed,
    who: Who<'_>,
) -> Result<Vec<Change>, PrepareError> {
    let mut made = Vec::new();
    desk.apply_if(who.0, who.1, |image| -> Result<Vec<Change>, PrepareError> {
        let image = image.ok_or(StoreError::NoCourse)?;
        let term = &image.term;
        form.allowed(typed, image)?;
        let changes = form.changes(typed, term, who)?;
        is_as_seen(form, typed, term)?;
        if let Some(field) = form.reason(&changes)
            && typed.text(&field.name).is_empty()
        {
            let what = format!(
                "found nothing, expected a sentence that says {}",
                field.label.to_lowercase()
            );
            return Err(Faults::one(field.name, what).into());
        }
        made.clone_from(&changes);
        Ok(changes)
    })
    .await?;
    Ok(made)
}

/// Whether what the form would replace is still what somebody looked at.
fn is_as_seen(form: &dyn ChangeForm, typed: &Typed, term: &Term) -> Result<(), Faults> {
    let Some(now) = form.seen(typed, term) else {
        return Ok(());
    };
    match typed.one("seen") {
        None if !form.looks_first() => Ok(()),
        Some(seen) if seen == now => Ok(()),
        _ => Err(Faults::one(
            "seen",
            "found that it was changed since you looked at what this would change, expected it as you saw it; look \
             again",
        )),
    }
}

/// What a reason is called that is wanted where a value is replaced.
fn reason_for_value(changes: &[Change]) -> Option<Field> {
    let replaces = |change: &Change| {
        let given = change.given_value();
        given.is_some_and(|given| given.version > 1)
    };
    let field = Field::text("reason", "Why the value changes")
        .hint("kept with the value; a later version can take it back")
        .wide();
    changes.iter().any(replaces).then_some(field)
}

fn reason_for_rules() -> Field {
    Field::text("reason", "Why it changes")
        .hint("kept with what stood before")
        .wide()
}

fn experiment<'t>(term: &'t Term, key: &str) -> Result<&'t Experiment, Faults> {
    let known = term.experiment(key);
    known.ok_or_else(|| Faults::found("experiment", key, "an experiment of the course"))
}

/// The experiment otherwise arranged; nothing where it is so already.
fn experiment_as(term: &Term, experiment: Experiment) -> Vec<Change> {
    let so_already = |old: &Experiment| {
        old.dates == experiment.dates
            && old.section_dates == experiment.section_dates
            && old.section_lots == experiment.section_lots
    };
    if term.experiment(&experiment.key).is_some_and(so_already) {
        return Vec::new();
    }
    let source = term.sources.experiments.get(&experiment.key).cloned();
    vec![SetExperiment::new(experiment, source.unwrap_or_default()).into()]
}

/// A student of the course by their id, or by their id and name as pages write it: “0042 Fennimore, Ada”.
fn enrolled<'t>(term: &'t Term, typed: &str) -> Result<&'t Student, String> {
    let by = |s: &&Student| s.id == typed || format!("{} {s}", s.id) == typed;
    let found = format!("found \u{201c}{typed}\u{201d}");
    match term.students.iter().find(by) {
        Some(student) if student.is_enrolled() => Ok(student),
        Some(_) => Err(format!(
            "{found}, who has left, expected a student on the course"
        )),
        None => Err(format!(
            "{found}, expected the id of a student on the roster"
        )),
    }
}

/// Students as suggestions: their ids, with who they are.
fn suggested<'t>(
    students: impl Iterator<Item = &'t Student>,
    more: impl Fn(&Student) -> Option<String>,
) -> Vec<(String, String)> {
    let one = |student: &Student| {
        let words = format!("{student}, {}{}", student.section, more(student)?);
        Some((student.id.to_string(), words))
    };
    students.filter_map(one).collect()
}

/// A local time as a date field of a form has it.
fn as_field(at: jiff::civil::DateTime) -> String {
    at.strftime("%Y-%m-%dT%H:%M").to_string()
}
