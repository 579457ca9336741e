//! A student put into a bench group.

use serde::{Deserialize, Serialize};

use super::{Made, OfSlot, Reach, SlotKind, slot_columns};
use crate::term::{Slot, Term};
use crate::text::{RecordColumn, RecordFile, code};

pub type JoinGroup = OfSlot<Group>;

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Group {
    pub group: String,
}

impl SlotKind for Group {
    const NAME: &'static str = "group";
    const FILE: Option<fn() -> RecordFile<JoinGroup>> = Some(file);

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
}

fn file() -> RecordFile<JoinGroup> {
    let group = RecordColumn::new(
        "group",
        |one: &mut JoinGroup, text, _| code(text).map(|group| one.body.group = group),
        |one| one.body.group.clone(),
    );
    RecordFile {
        name: "groups.csv",
        new: JoinGroup::default,
        columns: slot_columns([group]),
        once: &["experiment", "student_id"],
    }
}
