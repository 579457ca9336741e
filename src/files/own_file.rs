//! Somebody's own file, text or workbook, as a table that points are filled into, and the same file filled in.

use std::borrow::Cow;

use super::separator::Separator;
use super::sheet::{Filling, Sheet};
use super::tables::{Grid, read_grids};
use super::workbook::{CellNumber, filled_workbook};
use crate::text::{Fault, write_csv};

/// A file that cells are filled into, of whatever kind.
#[derive(Clone, Debug)]
pub struct OwnFile<'b> {
    name: String,
    bytes: Cow<'b, [u8]>,
    sheet: Option<SheetText>,
}

/// The sheet of a workbook.
#[derive(Clone, Debug)]
struct SheetText {
    name: String,
    /// Which column of the sheet the first cells are of, from 0.
    first_column: usize,
    /// Its cells.
    text: Vec<u8>,
}

impl<'b> OwnFile<'b> {
    /// Knows a workbook by its first bytes.
    pub fn read(name: &str, bytes: impl Into<Cow<'b, [u8]>>) -> Result<Self, Vec<Fault>> {
        let bytes = bytes.into();
        let one = |what: &str| vec![Fault::of_file(name, what)];
        if bytes.starts_with(b"\xd0\xcf\x11\xe0") {
            return Err(one(
                "this is a spreadsheet file of the old kind (.xls): save it as .xlsx or as \u{201c}CSV UTF-8\u{201d}",
            ));
        }
        let mut sheet = None;
        if bytes.starts_with(b"PK\x03\x04") {
            if bytes
                .windows(15)
                .take(200)
                .any(|part| part == b"application/vnd")
            {
                return Err(one(
                    "this is a spreadsheet file of the kind .ods, which is not filled in: save it as .xlsx or as \u{201c}CSV UTF-8\u{201d}",
                ));
            }
            let grids = read_grids(name, &bytes)?;
            let largest = grids.into_iter().max_by_key(|grid| grid.rows.len());
            let Some(grid) = largest.filter(|grid| !grid.rows.is_empty()) else {
                return Err(one(
                    "found no cells, expected a header and a row for each student",
                ));
            };
            sheet = Some(SheetText {
                text: as_text(&grid),
                name: grid.sheet,
                first_column: grid.first_column,
            });
        }
        Ok(Self {
            name: name.to_owned(),
            bytes,
            sheet,
        })
    }

    /// The table that points go into. A row of a workbook is a line.
    pub fn table(&self) -> Result<Sheet<'_>, Vec<Fault>> {
        let sheet = self.sheet.as_ref();
        Sheet::read(&self.name, sheet.map_or(&self.bytes, |sheet| &sheet.text))
    }

    /// How its cells are told apart, in words.
    pub fn words(&self, separator: Separator) -> Cow<'static, str> {
        match &self.sheet {
            Some(sheet) => Cow::Owned(format!("in the sheet \u{201c}{}\u{201d}", sheet.name)),
            None => Cow::Owned(format!("separated by {}", separator.words())),
        }
    }

    /// Whether points can be written with a decimal comma: not where commas separate cells, nor in a workbook, which has
    /// numbers.
    pub fn may_have_decimal_comma(&self, separator: Separator) -> bool {
        self.sheet.is_none() && separator == Separator::Semicolon
    }

    /// What a browser is told it is.
    pub fn kind(&self) -> &'static str {
        match self.sheet {
            Some(_) => "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
            None => "text/csv",
        }
    }

    /// The file with cells filled in; every other byte of a text, and of every other part of a workbook, as it was.
    pub fn filled(&self, table: &Sheet<'_>, fillings: &[Filling]) -> Result<Vec<u8>, Fault> {
        let Some(sheet) = &self.sheet else {
            return Ok(table.filled(fillings));
        };
        let number = |filling: &Filling| CellNumber {
            row: table.line(filling.row),
            column: sheet.first_column.saturating_add(filling.column),
            number: filling.text.clone(),
        };
        let numbers: Vec<CellNumber> = fillings.iter().map(number).collect();
        filled_workbook(&self.bytes, &sheet.name, &numbers).map_err(|what| {
            let what = format!(
                "{what}; choose another column, or save the sheet as \u{201c}CSV UTF-8\u{201d}"
            );
            Fault::of_file(&self.name, what)
        })
    }
}

/// A sheet as CSV in which the line of a row is its number.
fn as_text(grid: &Grid) -> Vec<u8> {
    let width = grid
        .rows
        .iter()
        .map(|row| row.cells.len())
        .max()
        .unwrap_or(0);
    let (mut text, mut line) = (String::new(), 1_u64);
    for row in &grid.rows {
        for _ in line..row.line {
            text.push('\n');
        }
        let mut cells = row.cells.clone();
        cells.resize(width, String::new());
        // the header of a file without one is an empty line
        let row_text = write_csv(&[], [cells]);
        text.push_str(row_text.split_once('\n').map_or("", |(_, rest)| rest));
        line = row.line.saturating_add(1);
    }
    text.into_bytes()
}
