//! What somebody's own files call a column: chosen once, and known from then on.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, RecordsOf, newer};
use crate::ids::StudentId;
use crate::term::Term;
use crate::text::{RecordFile, column, line_of_text};

/// `roster`, `student_id`, `Matrikelnummer`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct OwnColumn {
    /// The kind of file.
    pub table: String,
    /// What we call it.
    pub field: String,
    pub column: String,
}

impl ChangeKind for OwnColumn {
    const NAME: &'static str = "own-column";
    const FILE: Option<fn() -> RecordsOf<Self>> = Some(file);

    fn subject(&self) -> String {
        format!("{}, {}", self.table, self.field)
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let key = (self.table.clone(), self.field.clone());
        term.own_columns.insert(key, self.column.clone());
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        newer(&held.own_columns, &incoming.own_columns)
            .map(one)
            .collect()
    }
}

fn one(((table, field), column): (&(String, String), &String)) -> OwnColumn {
    OwnColumn {
        table: table.clone(),
        field: field.clone(),
        column: column.clone(),
    }
}

/// `columns.csv`.
fn file() -> RecordsOf<OwnColumn> {
    let file = RecordFile {
        name: "columns.csv",
        new: OwnColumn::default,
        columns: vec![
            column!(OwnColumn: "table", table, line_of_text),
            column!(OwnColumn: "field", field, line_of_text),
            column!(OwnColumn: "column", column, line_of_text),
        ],
        once: &["table", "field"],
    };
    (file, |term| term.own_columns.iter().map(one).collect())
}
