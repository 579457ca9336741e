//! Forms that change the course: each a declaration of what is asked and of the changes that follow from it.

use jiff::Timestamp;

use super::{Change, SetExperiment};
use crate::course::{Experiment, Student};
use crate::form::{Faults, Field, Form, Typed};
use crate::ids::ExperimentKey;
use crate::term::{BySlot, Judged, Slot, Term};

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
    fn allowed(
        &self,
        _typed: &Typed,
        _term: &Term,
        _judged: &BySlot<Judged>,
    ) -> Result<(), Faults> {
        Ok(())
    }

    /// How many of the changes are told to whoever made them.
    fn told(&self, changes: &[Change]) -> usize {
        changes.len()
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

/// A form about one student in one experiment, with a page of its own.
pub trait SlotForm: ChangeForm + 'static {
    const PAGE: SlotPage;

    fn of(experiment: ExperimentKey) -> Self;

    /// What to know first.
    fn words(&self, term: &Term, experiment: &Experiment) -> String;

    /// What stands in the place of the form while nothing can be asked.
    fn instead(&self, _term: &Term) -> Option<&'static str> {
        None
    }

    /// What was arranged for a student just now, in a sentence.
    fn said(&self, _term: &Term, _slot: &Slot) -> Option<String> {
        None
    }

    /// What was arranged for a student so far.
    fn arranged(&self, term: &Term, slot: &Slot) -> Vec<Arranged>;
}

/// The page of a form about single students.
pub struct SlotPage {
    pub path: &'static str,
    pub title: &'static str,
    /// What is said when it is done, and its name in addresses.
    pub done: (&'static str, &'static str),
    /// Over what was arranged so far.
    pub heading: &'static str,
    pub heads: [&'static str; 2],
    /// Whether the second of two cells takes the place of the first.
    pub replaces: bool,
}

/// Something that was arranged for a student.
pub struct Arranged {
    pub cells: [String; 2],
    /// Reason, who and when; the last one first.
    pub why: Vec<(String, String, Option<Timestamp>)>,
    /// Whether it was taken back.
    pub is_over: bool,
    /// Whether the form, sent without anything else, takes it back.
    pub can_end: bool,
}

/// What is said beside the numbers.
#[derive(Clone, Default)]
pub struct Remarks {
    /// What a person should think about first.
    pub warnings: Vec<String>,
    pub sentences: Vec<String>,
}

pub fn experiment<'t>(term: &'t Term, key: &str) -> Result<&'t Experiment, Faults> {
    let known = term.experiment(key);
    known.ok_or_else(|| Faults::found("experiment", key, "an experiment of the course"))
}

/// The experiment otherwise arranged; nothing where it is so already.
pub fn experiment_as(term: &Term, experiment: Experiment) -> Vec<Change> {
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
pub fn enrolled<'t>(term: &'t Term, typed: &str) -> Result<&'t Student, String> {
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
pub fn suggested<'t>(
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
pub fn as_field(at: jiff::civil::DateTime) -> String {
    at.strftime("%Y-%m-%dT%H:%M").to_string()
}
