//! A file as rows of cells, whatever kind of file it is.

use super::book::sheets;
use super::cell::{Odd, Shown};
use super::plain::{after_hint, any_text, likely, rows_of};
use crate::files::office::no_table;
use crate::text::Fault;

/// Most rows of a table of people.
pub(super) const MOST_ROWS: usize = 50_000;

/// One table: a CSV file, or a sheet of a workbook.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Grid {
    /// The name of the sheet; empty of a CSV file.
    pub sheet: String,
    /// Which column of the sheet the first cells are of, from 0.
    pub first_column: usize,
    /// The rows that are not blank.
    pub rows: Vec<GridRow>,
}

#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct GridRow {
    /// Line of the file, or row of the sheet, from 1.
    pub line: u64,
    pub cells: Vec<String>,
    /// Places of cells whose text may not be what somebody typed.
    odd: Vec<(usize, Odd)>,
    /// Places of cells whose text a formula gave.
    formulas: Vec<usize>,
}

impl GridRow {
    /// What is odd about a cell.
    pub fn odd(&self, place: usize) -> Option<Odd> {
        let found = self.odd.iter().find(|(at, _)| *at == place);
        found.map(|(_, odd)| *odd)
    }

    pub fn is_formula(&self, place: usize) -> bool {
        self.formulas.contains(&place)
    }

    pub(super) fn empty(line: u64, width: usize) -> Self {
        Self {
            line,
            cells: vec![String::new(); width],
            ..Self::default()
        }
    }

    pub(super) fn put(&mut self, place: usize, shown: Shown) {
        self.odd.extend(shown.odd.map(|odd| (place, odd)));
        self.formulas.extend(shown.is_formula.then_some(place));
        if let Some(cell) = self.cells.get_mut(place) {
            *cell = shown.text;
        }
    }
}

/// The tables of a file, by what is in it and not by its name.
pub fn read_grids(file: &str, bytes: &[u8]) -> Result<Vec<Grid>, Vec<Fault>> {
    let one = |what: String| vec![Fault::of_file(file, what)];
    if bytes.starts_with(b"PK\x03\x04") {
        return sheets(bytes).map_err(one);
    }
    if let Some(what) = no_table(bytes) {
        return Err(one(what.to_owned()));
    }
    let text = any_text(file, bytes).map_err(|fault| vec![fault])?;
    let (text, skipped, separator) = after_hint(text.trim_start_matches('\u{feff}'));
    let separator = separator.unwrap_or_else(|| likely(text));
    if text.bytes().filter(|b| *b == b'"').count() % 2 == 1 {
        return Err(one(
            "found a quotation mark that is not closed, expected them in pairs (doubled within a cell)"
                .to_owned(),
        ));
    }
    let rows: Vec<GridRow> = rows_of(text, separator)
        .into_iter()
        .map(|(line, cells)| GridRow {
            line: line.saturating_add(skipped),
            cells: cells.iter().map(|cell| on_one_line(cell)).collect(),
            ..GridRow::default()
        })
        .collect();
    if rows.len() > MOST_ROWS {
        return Err(one(format!(
            "found {} rows, expected at most {MOST_ROWS}",
            rows.len()
        )));
    }
    Ok(vec![Grid {
        sheet: String::new(),
        first_column: 0,
        rows,
    }])
}

/// A cell whose line breaks are only how it was laid out.
pub(super) fn on_one_line(text: &str) -> String {
    match text.contains(['\r', '\n', '\u{a0}']) {
        true => text.split_whitespace().collect::<Vec<_>>().join(" "),
        false => text.trim().to_owned(),
    }
}
