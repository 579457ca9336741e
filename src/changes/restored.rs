//! The course goes on from a copy: numbers that may have been given out since the copy was made are left out.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach};
use crate::ids::StudentId;
use crate::term::Term;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Restored {
    /// The last number of the copy: the next row is this one.
    pub after: i64,
}

impl ChangeKind for Restored {
    const NAME: &'static str = "restored";

    fn subject(&self) -> String {
        format!("after {}", self.after)
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, _: &mut Term, _: Option<&Made>) {}

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }
}
