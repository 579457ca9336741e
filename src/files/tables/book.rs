//! A spreadsheet as rows of cells, read cell by cell: what is larger than anybody's table is refused before there is room
//! made for it.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Cursor, Read as _};

use calamine::{Data, Reader as _, Xlsx, XlsxError};
use zip::ZipArchive;

use super::grid::{Grid, GridRow, MOST_ROWS, on_one_line};
use super::open_document;
use crate::text::MOST_COLUMNS;

/// Most bytes of all parts, unpacked, and of all cells' texts.
const MOST_UNPACKED: u64 = 64 * 1024 * 1024;
/// Most cells of all sheets, empty ones between others included.
const MOST_CELLS: usize = 1_000_000;
const MOST_SHEETS: usize = 250;
/// Most bytes of one tag: every one of its attributes is compared with those before it.
const MOST_OF_TAG: usize = 16 * 1024;

/// The sheets of an .xlsx or .ods file.
pub(super) fn sheets(bytes: &[u8]) -> Result<Vec<Grid>, String> {
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(|why| why.to_string())?;
    let mut left = MOST_UNPACKED;
    for place in 0..zip.len() {
        let part = zip.by_index(place).map_err(|why| why.to_string())?;
        // whatever size it states
        let mut part = BufReader::new(part.take(left.saturating_add(1)));
        let unpacked = unpacked(&mut part)?;
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

/// How many bytes a part has.
fn unpacked(part: &mut impl BufRead) -> Result<u64, String> {
    let (mut all, mut of_tag) = (0_u64, 0_usize);
    loop {
        let bytes = part.fill_buf().map_err(|why| why.to_string())?;
        if bytes.is_empty() {
            return Ok(all);
        }
        for byte in bytes {
            // a bracket within an attribute begins a count anew, which makes no tag look longer than it is
            of_tag = match byte {
                b'<' => 1,
                b'>' => 0,
                _ if of_tag > 0 => of_tag.saturating_add(1),
                _ => 0,
            };
            if of_tag > MOST_OF_TAG {
                return Err(format!(
                    "found a tag of more than {MOST_OF_TAG} bytes, which are the most expected"
                ));
            }
        }
        let read = bytes.len();
        all = all.saturating_add(read as u64);
        part.consume(read);
    }
}

/// The sheets of an .xlsx file.
fn workbook(bytes: &[u8]) -> Result<Vec<Grid>, String> {
    let said = |why: XlsxError| why.to_string();
    let mut book = Xlsx::new(Cursor::new(bytes)).map_err(said)?;
    let (mut grids, mut room) = (Vec::new(), Room::default());
    for name in book.sheet_names() {
        let mut cells = match book.worksheet_cells_reader(&name) {
            // a sheet that is a chart
            Err(XlsxError::NotAWorksheet(_)) => continue,
            cells => cells.map_err(said)?,
        };
        room.take_sheet()?;
        let mut sheet = SheetCells::default();
        while let Some(cell) = cells.next_cell().map_err(said)? {
            let (row, column) = cell.get_position();
            let line = u64::from(row).saturating_add(1);
            let column = usize::try_from(column).unwrap_or(usize::MAX);
            let value = Data::from(cell.get_value().clone());
            sheet.put(&mut room, line, column, text_of(&value))?;
        }
        grids.push(sheet.grid(&mut room, name)?);
    }
    Ok(grids)
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
        within(
            self.size <= MOST_UNPACKED,
            "bytes in its cells",
            MOST_UNPACKED,
        )
    }
}

fn within(fits: bool, what: &str, most: u64) -> Result<(), String> {
    let too_many = || format!("found more than {most} {what}, which are the most expected");
    fits.then_some(()).ok_or_else(too_many)
}

/// The cells of a sheet that are not empty: by line, from 1, then by column, from 0.
#[derive(Debug, Default)]
pub(super) struct SheetCells(BTreeMap<u64, BTreeMap<usize, String>>);

impl SheetCells {
    pub fn put(
        &mut self,
        room: &mut Room,
        line: u64,
        column: usize,
        text: String,
    ) -> Result<(), String> {
        if text.is_empty() {
            return Ok(());
        }
        if column >= MOST_COLUMNS {
            return Err(format!(
                "found a cell in column {} of row {line}, expected at most {MOST_COLUMNS} columns",
                column.saturating_add(1)
            ));
        }
        room.take(1, text.len())?;
        self.0.entry(line).or_default().insert(column, text);
        within(self.0.len() <= MOST_ROWS, "rows", MOST_ROWS as u64)
    }

    /// From the first column in which anything is, each row as far as there is something in it.
    pub fn grid(self, room: &mut Room, sheet: String) -> Result<Grid, String> {
        let columns = self.0.values();
        let first = columns.filter_map(|row| row.first_key_value());
        let first_column = first.map(|(column, _)| *column).min().unwrap_or(0);
        let mut rows = Vec::with_capacity(self.0.len());
        for (line, mut row) in self.0 {
            let last = row.last_key_value().map_or(0, |(column, _)| *column);
            let places = first_column..=last;
            let width = last.saturating_sub(first_column).saturating_add(1);
            room.take(width.saturating_sub(row.len()), 0)?;
            let cells = places.map(|column| row.remove(&column).unwrap_or_default());
            rows.push(GridRow {
                line,
                cells: cells.collect(),
            });
        }
        Ok(Grid {
            sheet,
            first_column,
            rows,
        })
    }
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
