//! A bottle given to a student.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach};
use crate::ids::{StudentId, UnknownCode};
use crate::term::{Slot, Term};
use crate::text::RecordFile;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Issue {
    #[serde(flatten)]
    pub slot: Slot,
    pub unknown: UnknownCode,
}

impl ChangeKind for Issue {
    const NAME: &'static str = "issue";

    fn subject(&self) -> String {
        self.slot.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        visit(&mut self.slot.student);
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        term.issued.insert(self.slot.clone(), self.unknown.clone());
    }

    fn reach(&self) -> Reach {
        // likeness looks at all sections
        Reach::Experiment(self.slot.experiment.clone())
    }

    fn file() -> Option<(RecordFile<Self>, fn(&Term) -> Vec<Self>)> {
        None
    }

    /// First bottles. A folder that knows less of a student’s bottles than is held takes none of them back.
    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let mut fresh = Vec::new();
        for (slot, code) in &incoming.issued {
            let known = held.reissues_of(slot);
            let theirs = incoming.reissues_of(slot);
            if known.len() > theirs.len() && known.starts_with(theirs) {
                continue;
            }
            let now = held.issued.get(slot);
            let nothing_new = theirs.iter().all(|one| known.contains(one));
            if now.is_none() || (now != Some(code) && nothing_new) {
                let first = theirs.first().map_or(code, |one| &one.instead_of);
                fresh.push(Self {
                    slot: slot.clone(),
                    unknown: first.clone(),
                });
            }
        }
        fresh
    }
}
