//! Everything was judged anew: nothing of the course alters, and the judgements written with it are those that differed.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach};
use crate::ids::StudentId;
use crate::term::Term;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Recomputed {}

impl ChangeKind for Recomputed {
    const NAME: &'static str = "recomputed";

    fn subject(&self) -> String {
        String::new()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, _: &mut Term, _: Option<&Made>) {}

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }
}
