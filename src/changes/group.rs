//! A student put into a bench group.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, newer, slot_columns};
use crate::ids::StudentId;
use crate::term::{Slot, Term};
use crate::text::{RecordColumn, RecordFile, code};

#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct JoinGroup {
    #[serde(flatten)]
    pub slot: Slot,
    pub group: String,
}

of_slot!(JoinGroup);

impl ChangeKind for JoinGroup {
    const NAME: &'static str = "group";

    fn subject(&self) -> String {
        self.slot.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        visit(&mut self.slot.student);
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        term.groups.insert(self.slot.clone(), self.group.clone());
    }

    /// Those who shared readings with the student before are no longer to be told from the term.
    fn reach(&self) -> Reach {
        Reach::Experiment(self.slot.experiment.clone())
    }

    fn file() -> Option<(RecordFile<Self>, fn(&Term) -> Vec<Self>)> {
        let group = RecordColumn::new(
            "group",
            |one: &mut Self, text, _| code(text).map(|group| one.group = group),
            |one| one.group.clone(),
        );
        let file = RecordFile {
            name: "groups.csv",
            new: Self::default,
            columns: slot_columns([group]),
            once: &["experiment", "student_id"],
        };
        Some((file, |term| {
            let group = |slot: Slot| {
                let group = term.groups.get(&slot)?.clone();
                Some(Self { slot, group })
            };
            term.slots().filter_map(group).collect()
        }))
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let change = |(slot, group): (&Slot, &String)| Self {
            slot: slot.clone(),
            group: group.clone(),
        };
        newer(&held.groups, &incoming.groups).map(change).collect()
    }
}
