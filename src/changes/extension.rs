//! Other dates for one student, or those of before again.

use super::{Made, OfSlot, Reach, RecordsOf, SlotKind, records};
use crate::term::{Extension, Slot, Term};
use crate::text::{column, RecordColumn, if_any, instant, line_of_text, local_time, or_empty};

pub type Extend = OfSlot<Extension>;

impl SlotKind for Extension {
    const NAME: &'static str = "extension";
    const FILE: Option<fn() -> RecordsOf<Extend>> = Some(file);

    fn apply(&self, slot: &Slot, term: &mut Term, _: Option<&Made>) {
        let extensions = term.extensions.entry(slot.clone()).or_default();
        extensions.push(self.clone());
    }

    /// A student who works with another section is compared with that one.
    fn reach(slot: &Slot) -> Reach {
        Reach::Experiment(slot.experiment.clone())
    }

    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        term.extensions.get(slot).cloned().unwrap_or_default()
    }
}

fn file() -> RecordsOf<Extend> {
    records("extensions.csv", &[], [
            column!(Extend: "due", body.due, any local_time),
            RecordColumn::new(
                "section",
                |one: &mut Extend, text, known| {
                    let read = if_any(text, |text| known.section(text));
                    read.map(|section| one.body.section = section)
                },
                |one| or_empty(one.body.section.as_ref()),
            ),
            column!(Extend: "reason", body.reason, line_of_text),
            column!(Extend: "by", body.by, line_of_text)
            .optional(),
            column!(Extend: "at", body.at, any instant)
            .optional(),
        ])
}
