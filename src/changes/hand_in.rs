//! A hand-in. Its number in the journal is that of its receipt.

use serde::{Deserialize, Serialize};

use super::{Made, OfSlot, Reach, RecordsOf, SlotEvent, SlotKind};
use crate::term::{Revision, Slot, Term};

pub type HandInMade = OfSlot<HandedIn>;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HandedIn {
    #[serde(flatten)]
    pub revision: Revision,
    /// Names the request that brought it, so that a repeat is recognised.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
}

impl SlotKind for HandedIn {
    const NAME: &'static str = "hand-in";
    const FILE: Option<fn() -> RecordsOf<HandInMade>> = None;

    fn apply(&self, slot: &Slot, term: &mut Term, made: Option<&Made>) {
        let revision = Revision {
            receipt: made.map(|made| made.seq),
            ..self.revision.clone()
        };
        term.submissions.push(slot, revision);
    }

    fn reach(slot: &Slot) -> Reach {
        Reach::Student(slot.clone())
    }

    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        let revisions = term.submissions.get(slot).into_iter().flatten();
        let without_receipt = |revision: &Revision| Self {
            revision: Revision {
                receipt: None,
                ..revision.clone()
            },
            key: None,
        };
        revisions.map(without_receipt).collect()
    }

    fn event(&self, index: usize) -> Option<SlotEvent> {
        Some(SlotEvent {
            at: self.revision.submitted_at,
            what: match index {
                0 => "Handed in".to_owned(),
                _ => format!("Corrected, version {}", index.saturating_add(1)),
            },
            by: None,
            why: self.revision.reason.clone(),
        })
    }

    fn is_same(&self, incoming: &Self) -> bool {
        self.revision.hand_in == incoming.revision.hand_in
    }
}
