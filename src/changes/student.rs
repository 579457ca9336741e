//! A student, new or with another name, section or address, or who has left.

pub use crate::course::Student;

use std::collections::BTreeMap;

use super::{ChangeKind, Made, Reach, put};
use crate::ids::StudentId;
use crate::term::Term;

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

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let known: BTreeMap<&StudentId, &Self> = held.students.iter().map(|s| (&s.id, s)).collect();
        let students = incoming.students.iter();
        let fresh = students.filter(|s| known.get(&s.id) != Some(s));
        fresh.cloned().collect()
    }
}
