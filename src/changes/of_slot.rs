//! Changes about one student in one experiment.

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, RecordsOf, Replaced, SlotEvent, nothing};
use crate::ids::StudentId;
use crate::term::{Slot, Term};
use crate::text::{RecordColumn, RecordFile, column};

/// A change about one student in one experiment.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct OfSlot<T> {
    #[serde(flatten)]
    pub slot: Slot,
    #[serde(flatten)]
    pub body: T,
}

/// What such a kind of change has to say of itself, as [`ChangeKind`].
pub trait SlotKind: Clone + PartialEq + Serialize + DeserializeOwned {
    const NAME: &'static str;

    const FILE: Option<fn() -> RecordsOf<OfSlot<Self>>>;

    const REPLACED: fn(&OfSlot<Self>, &Term) -> Vec<Replaced> = nothing;

    /// Shows the students in it that are not the slot’s.
    fn students(&mut self, _visit: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, slot: &Slot, term: &mut Term, made: Option<&Made>);

    fn reach(slot: &Slot) -> Reach;

    /// All that a term has of this kind for a slot, in order.
    fn held(term: &Term, slot: &Slot) -> Vec<Self>;

    /// What became of a submission by it; none where that stands elsewhere. `index` is its place among all of its kind.
    fn event(&self, index: usize) -> Option<SlotEvent>;

    /// Whether one that is held and one that comes in are the same.
    fn is_same(&self, incoming: &Self) -> bool {
        self == incoming
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<OfSlot<Self>> {
        let mut fresh = all(incoming);
        fresh.retain(|one| {
            let known = Self::held(held, &one.slot);
            !known.iter().any(|known| known.is_same(&one.body))
        });
        fresh
    }
}

impl<T: SlotKind> ChangeKind for OfSlot<T> {
    const NAME: &'static str = T::NAME;
    const FILE: Option<fn() -> RecordsOf<Self>> = T::FILE;
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = T::REPLACED;

    fn subject(&self) -> String {
        self.slot.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        self.body.students(visit);
        visit(&mut self.slot.student);
    }

    fn apply(&self, term: &mut Term, made: Option<&Made>) {
        self.body.apply(&self.slot, term, made);
    }

    fn reach(&self, _: &Term) -> Reach {
        T::reach(&self.slot)
    }

    fn events(term: &Term, slot: &Slot) -> Vec<SlotEvent> {
        let held = T::held(term, slot);
        let events = held.iter().enumerate();
        events.filter_map(|(index, one)| one.event(index)).collect()
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        T::fresh(held, incoming)
    }
}

/// All of a kind, in the order of files.
fn all<T: SlotKind>(term: &Term) -> Vec<OfSlot<T>> {
    let of_one = |slot: Slot| {
        let held = T::held(term, &slot).into_iter();
        held.map(move |body| OfSlot {
            slot: slot.clone(),
            body,
        })
    };
    term.slots().flat_map(of_one).collect()
}

/// A file with columns that say which student and which experiment, then those of the kind.
pub(super) fn records<T: SlotKind + Default, const N: usize>(
    name: &'static str,
    once: &'static [&'static str],
    columns: [RecordColumn<OfSlot<T>>; N],
) -> RecordsOf<OfSlot<T>> {
    let experiment = column!(OfSlot<T>: "experiment", slot.experiment, known experiment);
    let student = column!(OfSlot<T>: "student_id", slot.student, known student);
    let columns = [experiment, student].into_iter().chain(columns).collect();
    let file = RecordFile {
        name,
        new: OfSlot::default,
        columns,
        once,
    };
    (file, all)
}
