//! A hand-in. Its number in the journal is that of its receipt.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach};
use crate::ids::StudentId;
use crate::term::{Revision, Slot, Term};
use crate::text::RecordFile;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct HandInMade {
    #[serde(flatten)]
    pub slot: Slot,
    #[serde(flatten)]
    pub revision: Revision,
    /// Names the request that brought it, so that a repeat is recognised.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
}

impl ChangeKind for HandInMade {
    const NAME: &'static str = "hand-in";

    fn subject(&self) -> String {
        self.slot.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        visit(&mut self.slot.student);
    }

    fn apply(&self, term: &mut Term, made: Option<&Made>) {
        let revisions = term.submissions.entry(self.slot.clone()).or_default();
        revisions.push(Revision {
            receipt: made.map(|made| made.seq),
            ..self.revision.clone()
        });
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
        for (slot, revisions) in &incoming.submissions {
            let known = held.submissions.get(slot).map_or(&[][..], Vec::as_slice);
            let new = |r: &&Revision| !known.iter().any(|k| k.hand_in == r.hand_in);
            fresh.extend(revisions.iter().filter(new).map(|revision| Self {
                slot: slot.clone(),
                revision: Revision {
                    receipt: None,
                    ..revision.clone()
                },
                key: None,
            }));
        }
        fresh
    }
}
