//! A bottle given to a student.

use serde::{Deserialize, Serialize};

use super::{Made, OfSlot, Reach, RecordsOf, Replaced, SlotEvent, SlotKind, nothing};
use crate::ids::UnknownCode;
use crate::term::{Slot, Term};

pub type Issue = OfSlot<Issued>;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Issued {
    pub unknown: UnknownCode,
}

impl SlotKind for Issued {
    const NAME: &'static str = "issue";
    const FILE: Option<fn() -> RecordsOf<Issue>> = None;
    const REPLACED: fn(&Issue, &Term) -> Vec<Replaced> = nothing;

    fn apply(&self, slot: &Slot, term: &mut Term, _: Option<&Made>) {
        term.issued.insert(slot.clone(), self.unknown.clone());
    }

    fn reach(slot: &Slot) -> Reach {
        Reach::Section(slot.clone())
    }

    /// The first bottle.
    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        let first = term.reissues_of(slot).first().map(|one| &one.instead_of);
        let unknown = first.or_else(|| term.issued.get(slot)).cloned();
        unknown
            .map(|unknown| Self { unknown })
            .into_iter()
            .collect()
    }

    fn event(&self, _: usize) -> Option<SlotEvent> {
        None
    }

    /// First bottles. A folder that knows less of a student’s bottles than is held takes none of them back.
    fn fresh(held: &Term, incoming: &Term) -> Vec<Issue> {
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
                let first = Self::held(incoming, slot).into_iter();
                fresh.extend(first.map(|body| OfSlot {
                    slot: slot.clone(),
                    body,
                }));
            }
        }
        fresh
    }
}
