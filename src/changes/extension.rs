//! Other dates for one student, or those of before again.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, listed, newer_of, slot_columns};
use crate::ids::StudentId;
use crate::term::{Extension, Slot, Term};
use crate::text::{RecordColumn, RecordFile, if_any, instant, line_of_text, local_time, or_empty};

#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Extend {
    #[serde(flatten)]
    pub slot: Slot,
    #[serde(flatten)]
    pub extension: Extension,
}

of_slot!(Extend);

impl ChangeKind for Extend {
    const NAME: &'static str = "extension";

    fn subject(&self) -> String {
        self.slot.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        visit(&mut self.slot.student);
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let extensions = term.extensions.entry(self.slot.clone()).or_default();
        extensions.push(self.extension.clone());
    }

    /// A student who works with another section is compared with that one.
    fn reach(&self) -> Reach {
        Reach::Experiment(self.slot.experiment.clone())
    }

    fn file() -> Option<(RecordFile<Self>, fn(&Term) -> Vec<Self>)> {
        let file = RecordFile {
            name: "extensions.csv",
            new: Self::default,
            columns: slot_columns([
                RecordColumn::new(
                    "due",
                    |one: &mut Self, text, _| if_any(text, local_time).map(|due| one.extension.due = due),
                    |one| or_empty(one.extension.due.as_ref()),
                ),
                RecordColumn::new(
                    "section",
                    |one: &mut Self, text, known| {
                        let read = if_any(text, |text| known.section(text));
                        read.map(|section| one.extension.section = section)
                    },
                    |one| or_empty(one.extension.section.as_ref()),
                ),
                RecordColumn::new(
                    "reason",
                    |one: &mut Self, text, _| line_of_text(text).map(|reason| one.extension.reason = reason),
                    |one| one.extension.reason.clone(),
                ),
                RecordColumn::new(
                    "by",
                    |one: &mut Self, text, _| line_of_text(text).map(|by| one.extension.by = by),
                    |one| one.extension.by.clone(),
                )
                .optional(),
                RecordColumn::new(
                    "at",
                    |one: &mut Self, text, _| if_any(text, instant).map(|at| one.extension.at = at),
                    |one| or_empty(one.extension.at.as_ref()),
                )
                .optional(),
            ]),
            once: &[],
        };
        Some((file, |term| {
            listed(term, &term.extensions, |slot, extension| Self { slot, extension })
        }))
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let fresh = newer_of(&held.extensions, &incoming.extensions);
        fresh
            .map(|(slot, extension)| Self { slot, extension })
            .collect()
    }
}
