//! A spreadsheet as rows of cells, read cell by cell: what is larger than anybody's table is refused before there is room
//! made for it.

use std::collections::BTreeMap;

use super::cell::Shown;
use super::grid::{Grid, GridRow, MOST_ROWS};
use super::{open_document, open_xml};
use crate::files::office::{Package, Unreadable, no_table_within};
use crate::text::MOST_COLUMNS;

/// Most bytes of all cells' texts.
const MOST_TEXT: u64 = 64 * 1024 * 1024;
/// Most cells of all sheets, empty ones between others included.
pub(super) const MOST_CELLS: usize = 1_000_000;
const MOST_SHEETS: usize = 250;

/// The sheets of a workbook or an open document that can be seen.
///
/// # Errors
/// In words what the file is where it is none of them, why it cannot be read, and what to do.
pub(super) fn sheets(bytes: &[u8]) -> Result<Vec<Grid>, String> {
    read(bytes).map_err(|why| match why {
        Unread::Kind(what) => what.to_owned(),
        Unread::Part(why @ Unreadable::Damaged(_)) => why.to_string(),
        Unread::Part(Unreadable::Other(why)) => format!(
            "found a file that cannot be read as .xlsx or .ods ({why}): save its sheet as \u{201c}CSV UTF-8\u{201d}"
        ),
    })
}

/// Why there are no sheets.
enum Unread {
    /// It is another kind of file: in words, with what to do.
    Kind(&'static str),
    Part(Unreadable),
}

impl<U: Into<Unreadable>> From<U> for Unread {
    fn from(why: U) -> Self {
        Self::Part(why.into())
    }
}

fn read(bytes: &[u8]) -> Result<Vec<Grid>, Unread> {
    let mut package = Package::open(bytes)?;
    if let Some(what) = no_table_within(&mut package)? {
        return Err(Unread::Kind(what));
    }
    if let Some(book) = package.workbook()? {
        return Ok(open_xml::sheets(&mut package, &book)?);
    }
    let content = package.part("content.xml")?;
    let content = content.ok_or_else(|| "found no workbook in it".to_owned())?;
    Ok(open_document::sheets(&content)?)
}

/// What the sheets of a file have taken so far.
#[derive(Debug, Default)]
pub(super) struct Room {
    sheets: usize,
    cells: usize,
    /// Bytes of all texts.
    size: u64,
}

impl Room {
    pub fn take_sheet(&mut self) -> Result<(), String> {
        self.sheets = self.sheets.saturating_add(1);
        within(self.sheets <= MOST_SHEETS, "sheets", MOST_SHEETS as u64)
    }

    fn take(&mut self, cells: usize, size: usize) -> Result<(), String> {
        self.cells = self.cells.saturating_add(cells);
        self.size = self.size.saturating_add(size as u64);
        within(self.cells <= MOST_CELLS, "cells", MOST_CELLS as u64)?;
        within(self.size <= MOST_TEXT, "bytes in its cells", MOST_TEXT)
    }
}

pub(super) fn within(fits: bool, what: &str, most: u64) -> Result<(), String> {
    let too_many = || format!("found more than {most} {what}, which are the most expected");
    fits.then_some(()).ok_or_else(too_many)
}

/// The cells of a sheet of which something is to be said: by line, from 1, then by column, from 0.
#[derive(Debug, Default)]
pub(super) struct SheetCells(BTreeMap<u64, BTreeMap<usize, Shown>>);

impl SheetCells {
    pub fn put(
        &mut self,
        room: &mut Room,
        (line, column): (u64, usize),
        shown: Shown,
    ) -> Result<(), String> {
        if shown.is_nothing() {
            return Ok(());
        }
        if column >= MOST_COLUMNS {
            return Err(format!(
                "found a cell in column {} of row {line}, expected at most {MOST_COLUMNS} columns",
                column.saturating_add(1)
            ));
        }
        room.take(1, shown.text.len())?;
        self.0.entry(line).or_default().insert(column, shown);
        within(self.0.len() <= MOST_ROWS, "rows", MOST_ROWS as u64)
    }

    /// From the first column in which anything is, each row as far as there is something in it.
    pub fn grid(self, room: &mut Room, sheet: String) -> Result<Grid, String> {
        let columns = self.0.values();
        let first = columns.filter_map(|row| row.first_key_value());
        let first_column = first.map(|(column, _)| *column).min().unwrap_or(0);
        let mut rows = Vec::with_capacity(self.0.len());
        for (line, cells) in self.0 {
            let last = cells.last_key_value().map_or(0, |(column, _)| *column);
            let width = last.saturating_sub(first_column).saturating_add(1);
            room.take(width.saturating_sub(cells.len()), 0)?;
            let mut row = GridRow::empty(line, width);
            for (column, shown) in cells {
                row.put(column.saturating_sub(first_column), shown);
            }
            rows.push(row);
        }
        Ok(Grid {
            sheet,
            first_column,
            rows,
        })
    }
}
