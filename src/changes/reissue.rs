//! Another bottle for one student, in place of the one before.

use super::{Made, OfSlot, Reach, RecordsOf, Replaced, SlotEvent, SlotKind};
use crate::term::{Reissue, Slot, Term};

pub type Replace = OfSlot<Reissue>;

impl SlotKind for Reissue {
    const NAME: &'static str = "reissue";
    const FILE: Option<fn() -> RecordsOf<Replace>> = None;
    const REPLACED: fn(&Replace, &Term) -> Vec<Replaced> = bottles;

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

    fn event(&self, _: usize) -> Option<SlotEvent> {
        Some(SlotEvent {
            at: Some(self.at),
            what: format!("Bottle {} in place of {}", self.unknown, self.instead_of),
            by: Some(self.by.clone()),
            why: self.reason.clone(),
        })
    }
}

fn bottles(change: &Replace, term: &Term) -> Vec<Replaced> {
    let name = term.student(&change.slot.student).map(ToString::to_string);
    let name = format!("Bottle, {}", name.unwrap_or_default());
    let Reissue {
        instead_of,
        unknown,
        ..
    } = &change.body;
    vec![Replaced::plain(
        name,
        "",
        instead_of.as_str(),
        unknown.as_str(),
    )]
}
