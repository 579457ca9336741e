//! Other dates for one student, or those of before again.

use super::{Made, OfSlot, Reach, SlotKind, slot_columns};
use crate::term::{Extension, Slot, Term};
use crate::text::{RecordColumn, RecordFile, if_any, instant, line_of_text, local_time, or_empty};

pub type Extend = OfSlot<Extension>;

impl SlotKind for Extension {
    const NAME: &'static str = "extension";
    const FILE: Option<fn() -> RecordFile<Extend>> = Some(file);

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

fn file() -> RecordFile<Extend> {
    RecordFile {
        name: "extensions.csv",
        new: Extend::default,
        columns: slot_columns([
            RecordColumn::new(
                "due",
                |one: &mut Extend, text, _| if_any(text, local_time).map(|due| one.body.due = due),
                |one| or_empty(one.body.due.as_ref()),
            ),
            RecordColumn::new(
                "section",
                |one: &mut Extend, text, known| {
                    let read = if_any(text, |text| known.section(text));
                    read.map(|section| one.body.section = section)
                },
                |one| or_empty(one.body.section.as_ref()),
            ),
            RecordColumn::new(
                "reason",
                |one: &mut Extend, text, _| line_of_text(text).map(|reason| one.body.reason = reason),
                |one| one.body.reason.clone(),
            ),
            RecordColumn::new(
                "by",
                |one: &mut Extend, text, _| line_of_text(text).map(|by| one.body.by = by),
                |one| one.body.by.clone(),
            )
            .optional(),
            RecordColumn::new(
                "at",
                |one: &mut Extend, text, _| if_any(text, instant).map(|at| one.body.at = at),
                |one| or_empty(one.body.at.as_ref()),
            )
            .optional(),
        ]),
        once: &[],
    }
}
