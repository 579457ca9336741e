//! Other dates for one student, or those of before again.

use super::{ChangeKind, Made, OfSlot, Reach, RecordsOf, Replaced, SlotEvent, SlotKind, records};
use crate::term::{Extension, Slot, Term};
use crate::text::{RecordColumn, column, if_any, instant, line_of_text, local_time, or_empty};
use crate::words::local;

pub type Extend = OfSlot<Extension>;

impl SlotKind for Extension {
    const NAME: &'static str = "extension";
    const FILE: Option<fn() -> RecordsOf<Extend>> = Some(file);
    const REPLACED: fn(&Extend, &Term) -> Vec<Replaced> = dates;

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

    fn event(&self, _: usize) -> Option<SlotEvent> {
        let due = self.due.map(|due| format!("due {}", local(due)));
        let section = self.section.as_ref();
        let section = section.map(|name| format!("made up with section {name}"));
        let what: Vec<String> = [due, section].into_iter().flatten().collect();
        Some(SlotEvent {
            at: self.at,
            what: match what.is_empty() {
                true => "Dates as the section's again".to_owned(),
                false => format!("Arranged: {}", what.join(", ")),
            },
            by: Some(self.by.clone()),
            why: self.reason.clone(),
        })
    }
}

fn file() -> RecordsOf<Extend> {
    records(
        "extensions.csv",
        &[],
        [
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
            column!(Extend: "by", body.by, line_of_text).optional(),
            column!(Extend: "at", body.at, any instant).optional(),
        ],
    )
}

/// When the student is due, and with whom.
fn dates(change: &Extend, term: &Term) -> Vec<Replaced> {
    let slot = &change.slot;
    let mut after = term.clone();
    change.apply(&mut after, None);
    let name = term.student(&slot.student).map(ToString::to_string);
    let name = name.unwrap_or_default();
    let of = |term: &Term| {
        let experiment = term.experiment(&slot.experiment)?;
        let student = term.student(&slot.student)?;
        let due = local(term.dates_of(experiment, student).due);
        Some((due, term.works_in(&slot.experiment, student).to_string()))
    };
    let (before, then) = (of(term).unwrap_or_default(), of(&after).unwrap_or_default());
    let mut rows = vec![Replaced::plain(
        format!("Due, {name}"),
        "local time",
        before.0,
        then.0,
    )];
    if before.1 != then.1 {
        let name = format!("Works with section, {name}");
        rows.push(Replaced::plain(name, "", before.1, then.1));
    }
    rows
}
