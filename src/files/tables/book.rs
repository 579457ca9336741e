//! A spreadsheet as rows of cells, read cell by cell: what is larger than anybody's table is refused before there is room
//! made for it.

use std::collections::BTreeMap;
use std::io::{Cursor, Read as _, copy, sink};

use calamine::{Data, Reader as _, Xlsx, XlsxError};
use zip::ZipArchive;

use super::grid::{Grid, GridRow, MOST_ROWS, on_one_line};
use super::open_document;
use crate::text::MOST_COLUMNS;

/// Most bytes of all parts, unpacked.
const MOST_UNPACKED: u64 = 64 * 1024 * 1024;
/// Most cells of a sheet, empty ones between others included.
const MOST_CELLS: usize = 1_000_000;

/// The sheets of an .xlsx or .ods file.
pub(super) fn sheets(bytes: &[u8]) -> Result<Vec<Grid>, String> {
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(|why| why.to_string())?;
    let mut left = MOST_UNPACKED;
    for place in 0..zip.len() {
        let part = zip.by_index(place).map_err(|why| why.to_string())?;
        // whatever size it states
        let mut part = part.take(left.saturating_add(1));
        let unpacked = copy(&mut part, &mut sink()).map_err(|why| why.to_string())?;
        left = left.checked_sub(unpacked).ok_or_else(|| {
            format!("unpacked it has more than {MOST_UNPACKED} bytes, which are the most expected")
        })?;
    }
    let Some(place) = zip.index_for_name("content.xml") else {
        return workbook(bytes);
    };
    let mut content = String::new();
    let mut part = zip.by_index(place).map_err(|why| why.to_string())?;
    part.read_to_string(&mut content)
        .map_err(|why| why.to_string())?;
    open_document::sheets(&content)
}

/// The sheets of an .xlsx file.
fn workbook(bytes: &[u8]) -> Result<Vec<Grid>, String> {
    let said = |why: XlsxError| why.to_string();
    let mut book = Xlsx::new(Cursor::new(bytes)).map_err(said)?;
    let mut grids = Vec::new();
    for name in book.sheet_names() {
        let mut cells = match book.worksheet_cells_reader(&name) {
            // a sheet that is a chart
            Err(XlsxError::NotAWorksheet(_)) => continue,
            cells => cells.map_err(said)?,
        };
        let mut sheet = SheetCells::default();
        while let Some(cell) = cells.next_cell().map_err(said)? {
            let (row, column) = cell.get_position();
            let line = u64::from(row).saturating_add(1);
            let column = usize::try_from(column).unwrap_or(usize::MAX);
            let value = Data::from(cell.get_value().clone());
            sheet.put(line, column, text_of(&value))?;
        }
        grids.push(sheet.grid(name)?);
    }
    Ok(grids)
}

/// The cells of a sheet that are not empty.
#[derive(Debug, Default)]
pub(super) struct SheetCells {
    /// By line, from 1, then by column, from 0.
    rows: BTreeMap<u64, BTreeMap<usize, String>>,
    cells: usize,
    /// Bytes of all their texts.
    size: u64,
}

impl SheetCells {
    pub fn put(&mut self, line: u64, column: usize, text: String) -> Result<(), String> {
        if text.is_empty() {
            return Ok(());
        }
        if column >= MOST_COLUMNS {
            return Err(format!(
                "found a cell in column {} of row {line}, expected at most {MOST_COLUMNS} columns",
                column.saturating_add(1)
            ));
        }
        self.cells = self.cells.saturating_add(1);
        self.size = self.size.saturating_add(text.len() as u64);
        if self.cells > MOST_CELLS {
            return Err(too_many());
        }
        if self.size > MOST_UNPACKED {
            return Err(format!(
                "found a sheet of more than {MOST_UNPACKED} characters, which are the most expected"
            ));
        }
        self.rows.entry(line).or_default().insert(column, text);
        if self.rows.len() > MOST_ROWS {
            return Err(format!(
                "found more than {MOST_ROWS} rows, which are the most expected"
            ));
        }
        Ok(())
    }

    /// From the first column in which anything is, each row as far as there is something in it.
    pub fn grid(self, sheet: String) -> Result<Grid, String> {
        let columns = || self.rows.values();
        let first = columns().filter_map(|row| row.first_key_value());
        let first = first.map(|(column, _)| *column).min().unwrap_or(0);
        let width = |row: &BTreeMap<usize, String>| {
            let last = row.last_key_value().map_or(0, |(column, _)| *column);
            last.saturating_sub(first).saturating_add(1)
        };
        if columns().map(width).fold(0, usize::saturating_add) > MOST_CELLS {
            return Err(too_many());
        }
        let rows = self.rows.into_iter().map(|(line, mut row)| {
            let places = first..first.saturating_add(width(&row));
            let cells = places.map(|column| row.remove(&column).unwrap_or_default());
            GridRow {
                line,
                cells: cells.collect(),
            }
        });
        Ok(Grid {
            sheet,
            rows: rows.collect(),
        })
    }
}

fn too_many() -> String {
    format!("found a sheet of more than {MOST_CELLS} cells, which are the most expected")
}

/// What a cell shows: a whole number has no decimals.
pub(super) fn text_of(cell: &Data) -> String {
    let text = match cell {
        Data::Float(number) if number.fract() == 0.0 && number.abs() < 1e15 => {
            format!("{number:.0}")
        }
        Data::Empty => String::new(),
        other => other.to_string(),
    };
    on_one_line(&text)
}
