//! Title, term and time zone of the course.

pub use crate::course::Course;

use super::{ChangeKind, Made, Reach};
use crate::ids::StudentId;
use crate::term::Term;

impl ChangeKind for Course {
    const NAME: &'static str = "course";

    fn subject(&self) -> String {
        String::new()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        term.course = self.clone();
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::All
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let same = held.course == incoming.course;
        (!same)
            .then(|| incoming.course.clone())
            .into_iter()
            .collect()
    }
}
