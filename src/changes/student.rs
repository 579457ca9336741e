//! A student, new or with another name, section or address, or who has left.

pub use crate::course::Student;

use std::collections::BTreeMap;

use super::{ChangeKind, Made, Reach, RecordsOf, Replaced, put};
use crate::ids::{SectionName, StudentId};
use crate::term::Term;
use crate::text::{RecordFile, column, day, line_of_text};

impl ChangeKind for Student {
    const NAME: &'static str = "student";
    /// The roster is read before everything that names somebody on it, and written even if nobody is.
    const FILE: Option<fn() -> RecordsOf<Self>> = None;
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = places;

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
            column!(Student: "student_id", id, StudentId::parse),
            column!(Student: "family_name", family_name, line_of_text),
            column!(Student: "given_name", given_name, line_of_text),
            column!(Student: "section", section, SectionName::parse),
            column!(Student: "email", email, line_of_text).if_used(|one| !one.email.is_empty()),
            column!(Student: "left", left, any day).if_used(|one| one.left.is_some()),
        ],
        once: &["student_id"],
    }
}

/// Their section, and whether they have left.
fn places(student: &Student, term: &Term) -> Vec<Replaced> {
    let words = |s: &Student| match s.left {
        Some(day) => format!("{s}, section {}, left on {day}", s.section),
        None => format!("{s}, section {}", s.section),
    };
    let before = term.student(&student.id);
    let before = before.map_or("not on the roster".to_owned(), words);
    let name = format!("Student {}", student.id);
    vec![Replaced::plain(name, "", before, words(student))]
}
