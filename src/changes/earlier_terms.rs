//! Which courses of a department count as earlier terms of one.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach};
use crate::ids::{CourseKey, StudentId};
use crate::term::Term;

/// All of them: it takes the place of what was said before.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct SetEarlierTerms {
    pub course: CourseKey,
    pub earlier: BTreeSet<CourseKey>,
}

impl ChangeKind for SetEarlierTerms {
    const NAME: &'static str = "earlier-terms";

    fn subject(&self) -> String {
        self.course.to_string()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let (course, earlier) = (self.course.clone(), self.earlier.clone());
        term.earlier_terms.insert(course, earlier);
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }
}
