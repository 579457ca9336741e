//! A course of a department begins, is closed, opened again or put by.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach};
use crate::course::Standing;
use crate::ids::{CourseKey, StudentId};
use crate::term::Term;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct SetStanding {
    pub course: CourseKey,
    pub standing: Standing,
}

impl ChangeKind for SetStanding {
    const NAME: &'static str = "course-standing";

    fn subject(&self) -> String {
        self.course.to_string()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        term.courses.insert(self.course.clone(), self.standing);
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }
}
