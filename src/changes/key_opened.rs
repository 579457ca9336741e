//! The answer key of an experiment was opened: nothing alters, and the journal says who and when.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach};
use crate::ids::{ExperimentKey, StudentId};
use crate::term::Term;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct KeyOpened {
    pub experiment: ExperimentKey,
}

impl ChangeKind for KeyOpened {
    const NAME: &'static str = "answer-key";

    fn subject(&self) -> String {
        self.experiment.to_string()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, _: &mut Term, _: Option<&Made>) {}

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }
}
