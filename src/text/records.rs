//! CSV files of records: each column is declared once, and read and written by that.

use super::cells::guarded;
use super::fault::Fault;
use super::known::Known;
use super::table::{Columns, Once, Row, Table, again, is_hopeless, write_csv};

/// A file with a record to a row.
pub struct RecordFile<R> {
    pub name: &'static str,
    /// A record before any of its cells is read.
    pub new: fn() -> R,
    pub columns: Vec<RecordColumn<R>>,
    /// The columns that no two rows may have the same; none: rows may repeat.
    pub once: &'static [&'static str],
}

/// A row of such a file, with whatever of it could be read.
pub struct RecordRow<R> {
    pub line: u64,
    pub record: R,
    /// The columns that could not be read.
    pub at_fault: Vec<&'static str>,
}

/// A column: how a cell of it gets into a record, and out again.
pub struct RecordColumn<R> {
    name: &'static str,
    read: fn(&mut R, &str, &Known) -> Result<(), String>,
    write: fn(&R) -> String,
    optional: bool,
    used: Option<fn(&R) -> bool>,
    after: Option<&'static str>,
    plain: bool,
    in_any_case: bool,
}

impl<R> RecordColumn<R> {
    /// A column that a file has to have.
    pub fn new(
        name: &'static str,
        read: fn(&mut R, &str, &Known) -> Result<(), String>,
        write: fn(&R) -> String,
    ) -> Self {
        Self {
            name,
            read,
            write,
            optional: false,
            used: None,
            after: None,
            plain: false,
            in_any_case: false,
        }
    }

    /// A file may leave it out.
    pub fn optional(self) -> Self {
        Self {
            optional: true,
            ..self
        }
    }

    /// A file may leave it out, and does unless a record needs it.
    pub fn if_used(self, used: fn(&R) -> bool) -> Self {
        Self {
            used: Some(used),
            ..self.optional()
        }
    }

    /// It can only be read where another column could.
    pub fn after(self, other: &'static str) -> Self {
        Self {
            after: Some(other),
            ..self
        }
    }

    /// A number: no text that a spreadsheet could run.
    pub fn plain(self) -> Self {
        Self {
            plain: true,
            ..self
        }
    }

    /// Two cells that differ in case alone are the same.
    pub fn in_any_case(self) -> Self {
        Self {
            in_any_case: true,
            ..self
        }
    }
}

/// A column that holds one field of a record; with `any`, a field that may be empty, with `known`, a name that has to be
/// among those of its kind.
macro_rules! column {
    ($record:ty: $name:expr, $($field:ident).+, any known $read:ident) => {
        $crate::text::RecordColumn::new(
            $name,
            |one: &mut $record, text, known| {
                let read = $crate::text::if_any(text, |text| known.$read(text));
                read.map(|value| one.$($field).+ = value)
            },
            |one| $crate::text::or_empty(one.$($field).+.as_ref()),
        )
    };
    ($record:ty: $name:expr, $($field:ident).+, known $read:ident) => {
        $crate::text::RecordColumn::new(
            $name,
            |one: &mut $record, text, known| {
                known.$read(text).map(|value| one.$($field).+ = value)
            },
            |one| one.$($field).+.to_string(),
        )
    };
    ($record:ty: $name:expr, $($field:ident).+, any $read:expr) => {
        $crate::text::RecordColumn::new(
            $name,
            |one: &mut $record, text, _| {
                $crate::text::if_any(text, $read).map(|value| one.$($field).+ = value)
            },
            |one| $crate::text::or_empty(one.$($field).+.as_ref()),
        )
    };
    ($record:ty: $name:expr, $($field:ident).+, $read:expr) => {
        $crate::text::RecordColumn::new(
            $name,
            |one: &mut $record, text, _| $read(text).map(|value| one.$($field).+ = value),
            |one| one.$($field).+.to_string(),
        )
    };
}

pub(crate) use column;

impl<R> RecordFile<R> {
    /// The records of the rows without a fault.
    pub fn read(&self, bytes: &[u8], known: &Known, faults: &mut Vec<Fault>) -> Vec<R> {
        let records = self.read_with(bytes, known, faults, &mut |_, _| {});
        records.unwrap_or_default()
    }

    /// As [`RecordFile::read`]; none if the header cannot be used, or too many rows are faulty. `seen` is shown every row, with the columns at fault.
    pub fn read_with(
        &self,
        bytes: &[u8],
        known: &Known,
        faults: &mut Vec<Fault>,
        seen: &mut dyn FnMut(&R, &[&'static str]),
    ) -> Option<Vec<R>> {
        let (mut records, mut first) = (Vec::new(), Once::new());
        let named = |column: &&RecordColumn<R>| self.once.contains(&column.name);
        let rows = self.rows(bytes, known, faults)?;
        let before = faults.len();
        for row in rows {
            if is_hopeless(self.name, row.line, before, faults) {
                return None;
            }
            seen(&row.record, &row.at_fault);
            if let Some(last) = self.columns.iter().rfind(named)
                && !self.once.iter().any(|name| row.at_fault.contains(name))
            {
                let key = |column: &RecordColumn<R>| match column.in_any_case {
                    true => (column.write)(&row.record).to_ascii_lowercase(),
                    false => (column.write)(&row.record),
                };
                let key: Vec<String> = self.columns.iter().filter(named).map(key).collect();
                if let Some(line) = first.seen(key, row.line) {
                    let text = (last.write)(&row.record);
                    faults.push(self.fault(row.line, last.name, again(&text, line)));
                    continue;
                }
            }
            if row.at_fault.is_empty() {
                records.push(row.record);
            }
        }
        Some(records)
    }

    /// Every row, faulty ones as well; none if the header cannot be used, or too many are faulty.
    pub fn rows(
        &self,
        bytes: &[u8],
        known: &Known,
        faults: &mut Vec<Fault>,
    ) -> Option<Vec<RecordRow<R>>> {
        let names = |optional| {
            let columns = self.columns.iter().filter(|c| c.optional == optional);
            columns.map(|c| c.name).collect::<Vec<_>>()
        };
        let columns = Columns::new(&names(false), &names(true));
        let table = Table::read(self.name, bytes, &columns, faults)?;
        let before = faults.len();
        let row = |row: &Row| {
            if is_hopeless(self.name, row.line, before, faults) {
                return None;
            }
            let (mut record, mut at_fault) = ((self.new)(), Vec::new());
            for column in &self.columns {
                if column.after.is_some_and(|other| at_fault.contains(&other)) {
                    continue;
                }
                let read = (column.read)(&mut record, table.cell(row, column.name), known);
                if let Err(what) = read {
                    faults.push(table.fault(row, column.name, what));
                    at_fault.push(column.name);
                }
            }
            Some(RecordRow {
                line: row.line,
                record,
                at_fault,
            })
        };
        table.rows.iter().map(row).collect()
    }

    pub fn fault(&self, line: u64, column: &str, what: impl Into<String>) -> Fault {
        Fault::of_file(self.name, what).at(line).in_column(column)
    }

    /// As [`RecordFile::write`]; none of no records.
    pub fn write_any(&self, records: &[R]) -> Option<String> {
        (!records.is_empty()).then(|| self.write(records))
    }

    pub fn write(&self, records: &[R]) -> String {
        let is_used =
            |column: &&RecordColumn<R>| column.used.is_none_or(|used| records.iter().any(used));
        let columns: Vec<&RecordColumn<R>> = self.columns.iter().filter(is_used).collect();
        let header: Vec<&str> = columns.iter().map(|c| c.name).collect();
        let rows = records.iter().map(|record| {
            let cell = |column: &&RecordColumn<R>| {
                let text = (column.write)(record);
                if column.plain { text } else { guarded(&text) }
            };
            columns.iter().map(cell).collect::<Vec<_>>()
        });
        write_csv(&header, rows)
    }
}

/// A cell that may be empty.
pub fn if_any<T>(
    text: &str,
    read: impl FnOnce(&str) -> Result<T, String>,
) -> Result<Option<T>, String> {
    match text.trim() {
        "" => Ok(None),
        _ => read(text).map(Some),
    }
}

/// What a cell that may be empty says.
pub fn or_empty(value: Option<&impl ToString>) -> String {
    value.map(ToString::to_string).unwrap_or_default()
}

/// A column of a file that is written and never read, with what it says of a row.
pub type WrittenColumn<R> = (&'static str, fn(&R) -> String);

pub fn write_columns<R>(columns: &[WrittenColumn<R>], rows: impl IntoIterator<Item = R>) -> String {
    let header: Vec<&str> = columns.iter().map(|(name, _)| *name).collect();
    let cells = |row: R| columns.iter().map(move |(_, write)| write(&row)).collect();
    write_csv(
        &header,
        rows.into_iter().map(cells).collect::<Vec<Vec<String>>>(),
    )
}
