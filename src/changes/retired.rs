//! Who students are, or what was written about them, was taken out for good: the journal says of whom and when.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach};
use crate::ids::StudentId;
use crate::term::Term;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Retired {
    /// Nothing happened to them on this day or later.
    pub before: jiff::civil::Date,
    pub students: Vec<StudentId>,
    /// Free text alone, and not who they are.
    pub texts_only: bool,
}

impl ChangeKind for Retired {
    const NAME: &'static str = "retired";

    fn subject(&self) -> String {
        format!("before {}", self.before)
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        self.students.iter_mut().for_each(visit);
    }

    /// What is gone is not there when the journal is read again; nobody is a student beside a login of staff any more.
    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        if !self.texts_only {
            term.one_person
                .retain(|student, _| !self.students.contains(student));
        }
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }
}
