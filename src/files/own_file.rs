//! Somebody's own file, text or workbook, as a table that points are filled into, and the same file filled in.

use std::borrow::Cow;

use super::office::no_table;
use super::separator::Separator;
use super::sheet::{Filling, Formulas, Sheet};
use super::tables::{Grid, GridRow, Odd, read_grids};
use super::workbook::{CellNumber, filled_workbook, is_signed};
use crate::text::{Fault, write_csv};

/// A file that cells are filled into, of whatever kind.
#[derive(Clone, Debug)]
pub struct OwnFile<'b> {
    name: String,
    bytes: Cow<'b, [u8]>,
    sheet: Option<SheetText>,
    /// What somebody has to know of it: which sheet it is, and what is lost.
    pub remarks: Vec<String>,
}

/// The sheet of a workbook.
#[derive(Clone, Debug)]
struct SheetText {
    name: String,
    /// Which column of the sheet the first cells are of, from 0.
    first_column: usize,
    /// Its cells.
    text: Vec<u8>,
    /// Those that a formula gives, by line and column of the text.
    formulas: Formulas,
}

impl<'b> OwnFile<'b> {
    /// Knows a workbook by its first bytes.
    pub fn read(name: &str, bytes: impl Into<Cow<'b, [u8]>>) -> Result<Self, Vec<Fault>> {
        let bytes = bytes.into();
        let one = |what: &str| vec![Fault::of_file(name, what)];
        if let Some(what) = no_table(&bytes) {
            return Err(one(what));
        }
        let is_wide = bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]);
        if !is_wide && !bytes.starts_with(b"PK\x03\x04") && bytes.contains(&0) {
            return Err(one(
                "found bytes that cannot be read as text, expected a table as a .csv or .xlsx file: fetch it again, or save it as \u{201c}CSV UTF-8\u{201d}",
            ));
        }
        let (mut sheet, mut remarks) = (None, Vec::new());
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
            // of several that are as large, the first
            let largest = grids.iter().rev().max_by_key(|grid| grid.rows.len());
            let Some(grid) = largest.filter(|grid| !grid.rows.is_empty()) else {
                return Err(one(
                    "found no cells, expected a header and a row for each student",
                ));
            };
            remarks.extend(grids.iter().filter(|other| is_alike(grid, other)).map(|other| {
                format!(
                    "the sheet \u{201c}{}\u{201d} is filled in alone; the sheet \u{201c}{}\u{201d} has the same columns: to fill it in too, save it as a file of its own",
                    grid.sheet, other.sheet
                )
            }));
            if is_signed(&bytes) {
                remarks.push(
                    "this workbook is signed: filled in, it is no longer what was signed"
                        .to_owned(),
                );
            }
            sheet = Some(SheetText {
                text: as_text(grid),
                formulas: Formulas::of(grid),
                name: grid.sheet.clone(),
                first_column: grid.first_column,
            });
        }
        Ok(Self {
            name: name.to_owned(),
            bytes,
            sheet,
            remarks,
        })
    }

    /// The table that points go into. A row of a workbook is a line.
    pub fn table(&self) -> Result<Sheet<'_>, Vec<Fault>> {
        match &self.sheet {
            None => Sheet::read(&self.name, &self.bytes),
            Some(sheet) => {
                let table = Sheet::read(&self.name, &sheet.text)?;
                Ok(table.with_formulas(sheet.formulas.clone()))
            }
        }
    }

    /// How its cells are told apart, in words.
    pub fn words(&self, separator: Separator) -> Cow<'static, str> {
        match &self.sheet {
            Some(sheet) => Cow::Owned(format!("in the sheet \u{201c}{}\u{201d}", sheet.name)),
            None => Cow::Owned(format!("separated by {}", separator.words())),
        }
    }

    pub fn is_workbook(&self) -> bool {
        self.sheet.is_some()
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

/// Whether another sheet has the same header as one.
fn is_alike(grid: &Grid, other: &Grid) -> bool {
    const FIRST: usize = 15;
    let says = |row: &&GridRow| row.cells.iter().filter(|cell| !cell.is_empty()).count() > 2;
    let headers = || grid.rows.iter().take(FIRST).filter(says);
    let mut others = other.rows.iter().take(FIRST);
    let is_header = |row: &GridRow| headers().any(|header| header.cells == row.cells);
    !std::ptr::eq(grid, other) && others.any(is_header)
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

impl Formulas {
    /// Those of a sheet whose rows are lines.
    fn of(grid: &Grid) -> Self {
        let mut formulas = Self::default();
        for row in &grid.rows {
            for column in 0..row.cells.len() {
                if row.is_formula(column) {
                    let has_value = row.odd(column) != Some(Odd::NoValue);
                    formulas.put((row.line, column), has_value);
                }
            }
        }
        formulas
    }
}
