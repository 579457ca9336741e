//! Other dates for one student, or those of before again.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, newer_of};
use crate::ids::StudentId;
use crate::term::{Extension, Slot, Term};

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Extend {
    #[serde(flatten)]
    pub slot: Slot,
    #[serde(flatten)]
    pub extension: Extension,
}

impl ChangeKind for Extend {
    const NAME: &'static str = "extension";

    fn subject(&self) -> String {
        self.slot.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        visit(&mut self.slot.student);
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let extensions = term.extensions.entry(self.slot.clone()).or_default();
        extensions.push(self.extension.clone());
    }

    /// A student who works with another section is compared with that one.
    fn reach(&self) -> Reach {
        Reach::Experiment(self.slot.experiment.clone())
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let fresh = newer_of(&held.extensions, &incoming.extensions);
        fresh
            .map(|(slot, extension)| Self { slot, extension })
            .collect()
    }
}
