//! Rows that are set aside while a folder is read, so that one cell does not keep everybody from their grades.

use std::collections::BTreeMap;

use crate::changes::{SetAside, UnreadRow};
use crate::ids::ExperimentKey;
use crate::term::Slot;
use crate::text::{Fault, Known, Row, Table, guarded, write_csv};

/// A row that could not be read.
#[derive(Clone, Debug)]
pub struct AsideRow {
    /// What is wrong with it, the first of all.
    pub fault: Fault,
    /// What the file says is the student's id.
    pub student: String,
    /// The row as it is kept; its slot names a student of the roster.
    kept: UnreadRow,
    slot: Option<Slot>,
}

/// Where rows go that cannot be read; `None`, and their faults stay faults.
pub(super) type Aside<'a> = Option<&'a mut Vec<AsideRow>>;

/// Sets a row aside with its faults, if rows may be. Says whose it is, where that is somebody on the roster.
pub(super) fn set_aside(
    aside: &mut Aside,
    (table, row): (&Table, &Row),
    (experiment, known): (Option<&ExperimentKey>, &Known),
    faults: Vec<Fault>,
) -> Option<Slot> {
    let rows = aside.as_deref_mut()?;
    let fault = faults.into_iter().next()?;
    let cells: BTreeMap<String, String> = table
        .named_cells(row)
        .map(|(name, cell)| (name.to_owned(), cell.to_owned()))
        .collect();
    let cell = |name: &str| cells.get(name).cloned().unwrap_or_default();
    let column = fault.column.clone().unwrap_or_default();
    let student = cell("student_id");
    let slot = known.student(&student).ok().zip(experiment);
    let slot = slot.map(|(student, experiment)| Slot::new(experiment, &student));
    rows.push(AsideRow {
        student,
        slot: slot.clone(),
        kept: UnreadRow {
            file: fault.file.clone(),
            line: fault.line.and_then(|n| u32::try_from(n).ok()).unwrap_or(1),
            cell: cell(&column),
            trial: cell("trial"),
            column,
            row: cells,
        },
        fault,
    });
    slot
}

impl AsideRow {
    /// What the course keeps of it; none where no student of the roster is named.
    pub(super) fn change(&self) -> Option<SetAside> {
        Some(SetAside {
            slot: self.slot.clone()?,
            body: self.kept.clone(),
        })
    }
}

/// `set-aside.csv` of everything that was set aside.
pub fn set_aside_csv(rows: &[AsideRow]) -> String {
    let row = |one: &AsideRow| {
        [
            guarded(&one.kept.file),
            one.kept.line.to_string(),
            guarded(&one.kept.column),
            guarded(&one.kept.cell),
            guarded(&one.student),
        ]
    };
    write_csv(
        &["file", "line", "column", "cell", "student_id"],
        rows.iter().map(row),
    )
}
