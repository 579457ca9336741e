//! A file as rows of cells, whatever kind of file it is.

use super::book::sheets;
use super::plain::{after_hint, any_text, likely, rows_of};
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
}

/// The tables of a file, by what is in it and not by its name.
pub fn read_grids(file: &str, bytes: &[u8]) -> Result<Vec<Grid>, Vec<Fault>> {
    let one = |what: String| vec![Fault::of_file(file, what)];
    if bytes.starts_with(b"PK\x03\x04") {
        return sheets(bytes).map_err(|why| {
            one(format!(
                "found a file that cannot be read as .xlsx or .ods ({why}): save its sheet as \u{201c}CSV UTF-8\u{201d}"
            ))
        });
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
