//! The sheets of a workbook, from its XML: ISO/IEC 29500-1, 18.3 (sheets), 18.4 (shared texts).

use std::ops::Range;

use quick_xml::events::BytesStart;

use super::book::{MOST_CELLS, Room, SheetCells, within};
use super::cell::{Odd, Shown};
use super::grid::Grid;
use crate::files::office::formats::Formats;
use crate::files::office::xml::{Takes, attribute, cell_place, go_through};
use crate::files::office::{BookParts, Package, Unreadable};

/// Last row of a sheet.
const LAST_ROW: u64 = 1_048_576;

/// The sheets that can be seen, in their order.
pub(super) fn sheets(package: &mut Package<'_>, book: &BookParts) -> Result<Vec<Grid>, Unreadable> {
    let mut texts = Texts::default();
    if let Some(part) = optional(package, book.strings.as_deref())? {
        go_through(&part, &mut texts)?;
    }
    let formats = match optional(package, book.styles.as_deref())? {
        Some(part) => Formats::read(&part)?,
        None => Formats::default(),
    };
    let (mut grids, mut room) = (Vec::new(), Room::default());
    for sheet in book.sheets.iter().filter(|sheet| !sheet.is_hidden) {
        room.take_sheet()?;
        let part = package.needed(&sheet.path)?;
        let mut reader = SheetReader {
            texts: &texts.all,
            formats: &formats,
            from_1904: book.from_1904,
            room: &mut room,
            cells: SheetCells::default(),
            in_rows: false,
            row: 0,
            next: 0,
            cell: None,
            part: Part::None,
            phonetic: 0,
        };
        go_through(&part, &mut reader)?;
        let cells = reader.cells;
        grids.push(cells.grid(&mut room, sheet.name.clone())?);
    }
    Ok(grids)
}

fn optional(package: &mut Package<'_>, path: Option<&str>) -> Result<Option<String>, Unreadable> {
    path.map_or(Ok(None), |path| package.part(path))
}

/// The texts that cells share.
#[derive(Default)]
struct Texts {
    all: Vec<String>,
    in_text: bool,
    /// Inside how a text is pronounced, which is no part of it.
    phonetic: usize,
}

impl Takes for Texts {
    fn start(&mut self, element: &BytesStart, _: Range<usize>) -> Result<(), String> {
        match element.local_name().as_ref() {
            b"si" => {
                self.all.push(String::new());
                within(self.all.len() <= MOST_CELLS, "texts", MOST_CELLS as u64)?;
            }
            b"rPh" => self.phonetic = self.phonetic.saturating_add(1),
            b"t" => self.in_text = self.phonetic == 0,
            _ => {}
        }
        Ok(())
    }

    fn end(&mut self, name: &[u8], _: Range<usize>) -> Result<(), String> {
        match name {
            b"rPh" => self.phonetic = self.phonetic.saturating_sub(1),
            b"t" => self.in_text = false,
            b"si" => {
                if let Some(text) = self.all.last_mut().filter(|text| text.contains("_x")) {
                    *text = unescaped(text);
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn said(&mut self, text: &str) {
        if let Some(last) = self.all.last_mut().filter(|_| self.in_text) {
            last.push_str(text);
        }
    }
}

struct SheetReader<'s> {
    texts: &'s [String],
    formats: &'s Formats,
    from_1904: bool,
    room: &'s mut Room,
    cells: SheetCells,
    in_rows: bool,
    row: u64,
    /// The column of a cell that does not say where it is.
    next: usize,
    cell: Option<Cell>,
    part: Part,
    phonetic: usize,
}

#[derive(Default)]
struct Cell {
    column: usize,
    /// What its value is: a number where nothing is said.
    kind: String,
    style: usize,
    value: String,
    has_value: bool,
    is_formula: bool,
}

/// Which part of a cell is being read.
#[derive(PartialEq, Eq)]
enum Part {
    None,
    Value,
    Inline,
}

impl Takes for SheetReader<'_> {
    fn start(&mut self, element: &BytesStart, _: Range<usize>) -> Result<(), String> {
        let of = |name| attribute(element, name);
        match element.local_name().as_ref() {
            b"sheetData" => self.in_rows = true,
            b"row" if self.in_rows => {
                let said = of("r")?.and_then(|row| row.parse().ok());
                self.row = said.unwrap_or(self.row.saturating_add(1));
                self.next = 0;
                within(self.row <= LAST_ROW, "rows", LAST_ROW)?;
            }
            b"c" if self.in_rows => {
                let said = of("r")?.as_deref().and_then(cell_place);
                if let Some((column, row)) = said {
                    (self.next, self.row) = (column, row);
                }
                within(self.row <= LAST_ROW, "rows", LAST_ROW)?;
                self.cell = Some(Cell {
                    column: self.next,
                    kind: of("t")?.unwrap_or_default(),
                    style: of("s")?.and_then(|s| s.parse().ok()).unwrap_or(0),
                    ..Cell::default()
                });
                self.next = self.next.saturating_add(1);
            }
            b"f" => {
                if let Some(cell) = self.cell.as_mut() {
                    cell.is_formula = true;
                }
            }
            b"rPh" => self.phonetic = self.phonetic.saturating_add(1),
            b"v" => {
                self.part = Part::Value;
                if let Some(cell) = self.cell.as_mut() {
                    cell.has_value = true;
                }
            }
            b"t" if self.phonetic == 0 => self.part = Part::Inline,
            _ => {}
        }
        Ok(())
    }

    fn end(&mut self, name: &[u8], _: Range<usize>) -> Result<(), String> {
        match name {
            b"sheetData" => self.in_rows = false,
            b"rPh" => self.phonetic = self.phonetic.saturating_sub(1),
            b"v" | b"t" => self.part = Part::None,
            b"c" => {
                if let Some(cell) = self.cell.take() {
                    let column = cell.column;
                    let shown = self.shown(cell)?;
                    self.cells.put(self.room, (self.row, column), shown)?;
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn said(&mut self, text: &str) {
        if let Some(cell) = self.cell.as_mut().filter(|_| self.part != Part::None) {
            cell.value.push_str(text);
        }
    }
}

impl SheetReader<'_> {
    fn shown(&self, cell: Cell) -> Result<Shown, String> {
        let value = cell.value.trim();
        let mut shown = match cell.kind.as_str() {
            _ if cell.is_formula && !cell.has_value => Shown::odd("", Odd::NoValue),
            "s" if value.is_empty() => Shown::default(),
            "s" => {
                let text = value.parse().ok().and_then(|at: usize| self.texts.get(at));
                Shown::text(text.ok_or_else(|| {
                    format!("found the text number {value} in a cell, expected one of the file")
                })?)
            }
            "str" | "inlineStr" => Shown::text(&unescaped(&cell.value)),
            // as some programs write a formula that they did not work out
            _ if value.is_empty() && cell.is_formula => Shown::odd("", Odd::NoValue),
            _ if value.is_empty() => Shown::default(),
            "e" => Shown::odd(value, Odd::Error),
            "b" => Shown::logical(value == "1" || value.eq_ignore_ascii_case("true")),
            "d" => Shown::day(value),
            _ => {
                let number: f64 = value.parse().map_err(|_| {
                    format!(
                        "found \u{201c}{value}\u{201d} as the value of a cell, expected a number"
                    )
                })?;
                Shown::number(number, &self.formats.of(cell.style), self.from_1904)
            }
        };
        shown.is_formula = cell.is_formula;
        Ok(shown)
    }
}

/// A text with its `_x000D_` as the letters that they stand for (ISO/IEC 29500-1, 22.4.2.4).
fn unescaped(text: &str) -> String {
    let (mut out, mut rest) = (String::with_capacity(text.len()), text);
    while let Some((before, after)) = rest.split_once("_x") {
        out.push_str(before);
        let digits = after.get(..4).filter(|_| after.get(4..5) == Some("_"));
        let letter = digits.and_then(|digits| u32::from_str_radix(digits, 16).ok());
        match letter.and_then(char::from_u32) {
            Some(letter) => {
                out.push(letter);
                rest = after.get(5..).unwrap_or_default();
            }
            None => {
                out.push_str("_x");
                rest = after;
            }
        }
    }
    out.push_str(rest);
    out
}
