//! A student, new or with another name, section or address, or who has left.

pub use crate::course::Student;

use std::collections::BTreeMap;

use super::{ChangeKind, Made, Reach, RecordsOf, put};
use crate::ids::{SectionName, StudentId};
use crate::term::Term;
use crate::text::{RecordColumn, RecordFile, day, if_any, line_of_text, or_empty};

impl ChangeKind for Student {
    const NAME: &'static str = "student";

    fn subject(&self) -> String {
        self.id.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        visit(&mut self.id);
    }

    fn person(&mut self) -> Option<&mut Student> {
        Some(self)
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        put(&mut term.students, self, |s| &s.id);
    }

    fn reach(&self) -> Reach {
        Reach::All
    }

    /// The roster is read before everything that names somebody on it, and written even if nobody is.
    fn file() -> Option<RecordsOf<Self>> {
        None
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let known: BTreeMap<&StudentId, &Self> = held.students.iter().map(|s| (&s.id, s)).collect();
        let students = incoming.students.iter();
        let fresh = students.filter(|s| known.get(&s.id) != Some(s));
        fresh.cloned().collect()
    }
}

/// `roster.csv`.
pub fn roster() -> RecordFile<Student> {
    RecordFile {
        name: "roster.csv",
        new: Student::default,
        columns: vec![
            RecordColumn::new(
                "student_id",
                |one: &mut Student, text, _| StudentId::parse(text).map(|id| one.id = id),
                |one| one.id.to_string(),
            ),
            RecordColumn::new(
                "family_name",
                |one: &mut Student, text, _| line_of_text(text).map(|name| one.family_name = name),
                |one| one.family_name.clone(),
            ),
            RecordColumn::new(
                "given_name",
                |one: &mut Student, text, _| line_of_text(text).map(|name| one.given_name = name),
                |one| one.given_name.clone(),
            ),
            RecordColumn::new(
                "section",
                |one: &mut Student, text, _| SectionName::parse(text).map(|section| one.section = section),
                |one| one.section.to_string(),
            ),
            RecordColumn::new(
                "email",
                |one: &mut Student, text, _| line_of_text(text).map(|email| one.email = email),
                |one| one.email.clone(),
            )
            .if_used(|one| !one.email.is_empty()),
            RecordColumn::new(
                "left",
                |one: &mut Student, text, _| if_any(text, day).map(|day| one.left = day),
                |one| or_empty(one.left.as_ref()),
            )
            .if_used(|one| one.left.is_some()),
        ],
        once: &["student_id"],
    }
}
