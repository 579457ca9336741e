//! A decision of an assistant or coordinator.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, newer_of};
use crate::ids::StudentId;
use crate::term::{Decision, Slot, Term};

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Decide {
    #[serde(flatten)]
    pub slot: Slot,
    #[serde(flatten)]
    pub decision: Decision,
}

impl ChangeKind for Decide {
    const NAME: &'static str = "decision";

    fn subject(&self) -> String {
        self.slot.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        visit(&mut self.slot.student);
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let decisions = term.decisions.entry(self.slot.clone()).or_default();
        decisions.push(self.decision.clone());
    }

    fn reach(&self) -> Reach {
        Reach::Section(self.slot.clone())
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let fresh = newer_of(&held.decisions, &incoming.decisions);
        fresh
            .map(|(slot, decision)| Self { slot, decision })
            .collect()
    }
}
