//! A student put into a bench group.

use serde::{Deserialize, Serialize};

use super::{Made, OfSlot, Reach, RecordsOf, SlotEvent, SlotKind, records};
use crate::term::{Slot, Term};
use crate::text::{code, column};

pub type JoinGroup = OfSlot<Group>;

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Group {
    pub group: String,
}

impl SlotKind for Group {
    const NAME: &'static str = "group";
    const FILE: Option<fn() -> RecordsOf<JoinGroup>> = Some(file);

    fn apply(&self, slot: &Slot, term: &mut Term, _: Option<&Made>) {
        term.groups.insert(slot.clone(), self.group.clone());
    }

    /// Those who shared readings with the student before are no longer to be told from the term.
    fn reach(slot: &Slot) -> Reach {
        Reach::Experiment(slot.experiment.clone())
    }

    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        let group = term.groups.get(slot).cloned();
        group.map(|group| Self { group }).into_iter().collect()
    }

    fn event(&self, _: usize) -> Option<SlotEvent> {
        None
    }
}

fn file() -> RecordsOf<JoinGroup> {
    let group = column!(JoinGroup: "group", body.group, code);
    records("groups.csv", &["experiment", "student_id"], [group])
}
