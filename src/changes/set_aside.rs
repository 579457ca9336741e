//! A row of a file that could not be read: kept as it was written, so that somebody enters what is legible.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{Made, OfSlot, Reach, RecordsOf, SlotEvent, SlotKind, records};
use crate::columns::Column;
use crate::ids::StudentId;
use crate::term::{Revision, Slot, Term};
use crate::text::{RecordColumn, column, found, line_of_text, whole};

pub type SetAside = OfSlot<UnreadRow>;

/// A row as it was written, with the cell that could not be read.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct UnreadRow {
    pub file: String,
    pub line: u32,
    /// Of the first cell that could not be read.
    pub column: String,
    pub cell: String,
    /// What the row says it is; empty of an answer.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub trial: String,
    /// Every cell of the row, by its column.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub row: BTreeMap<String, String>,
}

impl SlotKind for UnreadRow {
    const NAME: &'static str = "set-aside";
    const FILE: Option<fn() -> RecordsOf<SetAside>> = Some(file);

    fn apply(&self, slot: &Slot, term: &mut Term, _: Option<&Made>) {
        term.set_aside.push(slot, self.clone());
    }

    fn reach(slot: &Slot) -> Reach {
        Reach::Section(slot.clone())
    }

    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        term.set_aside.get(slot).cloned().unwrap_or_default()
    }

    fn event(&self, _: usize) -> Option<SlotEvent> {
        Some(SlotEvent {
            at: None,
            what: "A row was set aside".to_owned(),
            by: None,
            why: self.in_words(),
        })
    }
}

impl UnreadRow {
    /// Which cell it is, and what stands there.
    pub fn in_words(&self) -> String {
        let Self {
            file,
            line,
            column,
            cell,
            ..
        } = self;
        format!("line {line} of {file} says \u{201c}{cell}\u{201d} in the column {column}")
    }

    /// Whether it is a student's own answer and no titration.
    pub fn is_answer(&self) -> bool {
        self.row.contains_key("value")
    }

    /// How often the burette was filled, by the columns of the file that say something.
    pub fn fillings(&self) -> usize {
        let said = self.row.iter().filter(|(_, cell)| !cell.trim().is_empty());
        let numbers = said.filter_map(|(name, _)| Some(Column::from_name(name)?.number()));
        numbers.max().unwrap_or(1).max(1)
    }

    /// What whoever reviews it is told.
    pub fn flagged(&self, revisions: &[Revision]) -> String {
        let trial = match self.trial.as_str() {
            "" => String::new(),
            trial => format!(", trial {trial}"),
        };
        let after = match self.is_entered(revisions) {
            true => "what could be read of it has been entered since",
            false => {
                "the row is left out of the result until somebody enters what can be read of it"
            }
        };
        format!("{}{trial}: {after}", self.in_words())
    }

    /// Why a version is handed in that holds what could be read of it.
    pub fn entered_because(&self) -> String {
        format!("{}; entered as it can be read", self.in_words())
    }

    /// Whether somebody has entered what could be read of it.
    pub fn is_entered(&self, revisions: &[Revision]) -> bool {
        let because = self.entered_because();
        revisions.iter().any(|one| one.reason.starts_with(&because))
    }
}

/// `set-aside.csv`: which cell it is first, so that the file reads like a list of faults.
fn file() -> RecordsOf<SetAside> {
    let student = || {
        RecordColumn::new(
            "student_id",
            |one: &mut SetAside, text, known| {
                known
                    .student(text)
                    .map(|id: StudentId| one.slot.student = id)
            },
            |one| one.slot.student.to_string(),
        )
    };
    let (mut file, all) = records("set-aside.csv", &[], []);
    let experiment = file.columns.remove(0);
    file.columns = vec![
        column!(SetAside: "file", body.file, line_of_text),
        column!(SetAside: "line", body.line, |text: &str| whole(text, 1..=u32::MAX)),
        column!(SetAside: "column", body.column, line_of_text),
        RecordColumn::new(
            "cell",
            |one: &mut SetAside, text, _| {
                one.body.cell = text.to_owned();
                Ok(())
            },
            |one| one.body.cell.clone(),
        ),
        student(),
        experiment,
        column!(SetAside: "trial", body.trial, line_of_text),
        RecordColumn::new(
            "row",
            |one: &mut SetAside, text, _| {
                let read = serde_json::from_str(text);
                one.body.row = read.map_err(|_| found(text, "the cells of the row as JSON"))?;
                Ok(())
            },
            |one| serde_json::to_string(&one.body.row).unwrap_or_default(),
        ),
    ];
    (file, all)
}
