//! Another bottle for one student, in place of the one before.

use super::{Made, OfSlot, Reach, RecordsOf, SlotKind};
use crate::term::{Reissue, Slot, Term};

pub type Replace = OfSlot<Reissue>;

impl SlotKind for Reissue {
    const NAME: &'static str = "reissue";
    const FILE: Option<fn() -> RecordsOf<Replace>> = None;

    fn apply(&self, slot: &Slot, term: &mut Term, _: Option<&Made>) {
        term.issued.insert(slot.clone(), self.unknown.clone());
        let reissued = term.reissued.entry(slot.clone()).or_default();
        reissued.push(self.clone());
    }

    fn reach(slot: &Slot) -> Reach {
        Reach::Section(slot.clone())
    }

    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        term.reissues_of(slot).to_vec()
    }
}
