//! Another bottle for one student, in place of the one before.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach};
use crate::ids::StudentId;
use crate::term::{Reissue, Slot, Term};
use crate::text::RecordFile;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Replace {
    #[serde(flatten)]
    pub slot: Slot,
    #[serde(flatten)]
    pub reissue: Reissue,
}

impl ChangeKind for Replace {
    const NAME: &'static str = "reissue";

    fn subject(&self) -> String {
        self.slot.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        visit(&mut self.slot.student);
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let (slot, reissue) = (self.slot.clone(), self.reissue.clone());
        term.issued.insert(slot.clone(), reissue.unknown.clone());
        term.reissued.entry(slot).or_default().push(reissue);
    }

    fn reach(&self) -> Reach {
        // likeness looks at all sections
        Reach::Experiment(self.slot.experiment.clone())
    }

    fn file() -> Option<(RecordFile<Self>, fn(&Term) -> Vec<Self>)> {
        None
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let mut fresh = Vec::new();
        for (slot, theirs) in &incoming.reissued {
            let known = held.reissues_of(slot);
            let new = theirs.iter().filter(|one| !known.contains(one));
            fresh.extend(new.map(|reissue| Self {
                slot: slot.clone(),
                reissue: reissue.clone(),
            }));
        }
        fresh
    }
}
