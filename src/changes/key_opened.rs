//! The answer key of an experiment was opened: nothing alters, and the journal says who and when.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, RecordsOf, Replaced, nothing};
use crate::ids::{ExperimentKey, StudentId};
use crate::term::Term;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct KeyOpened {
    pub experiment: ExperimentKey,
}

impl ChangeKind for KeyOpened {
    const NAME: &'static str = "answer-key";
    const FILE: Option<fn() -> RecordsOf<Self>> = None;
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = nothing;

    fn subject(&self) -> String {
        self.experiment.to_string()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, _: &mut Term, _: Option<&Made>) {}

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }

    fn fresh(_: &Term, _: &Term) -> Vec<Self> {
        Vec::new()
    }
}
