//! The tables of an open document, from its XML: OpenDocument 1.3 part 3, 9.1 (tables), 19.383 to 19.389 (values of cells).

use std::collections::BTreeSet;
use std::ops::Range;

use quick_xml::events::BytesStart;

use super::book::{Room, SheetCells};
use super::cell::{Odd, Shown};
use super::grid::{Grid, MOST_ROWS};
use crate::files::office::formats::Format;
use crate::files::office::xml::{Takes, attribute, go_through};

/// Most spaces that one element stands for.
const MOST_SPACES: usize = 100;

/// Where in the document the reader stands.
#[derive(Default)]
struct Place {
    /// Table, its name and how deep it lies in others: one in a cell of another is a part of that cell.
    table: Option<(String, SheetCells)>,
    tables_deep: usize,
    room: Room,
    grids: Vec<Grid>,
    /// The style that is being read, and those of tables that nobody sees.
    style: String,
    hidden: BTreeSet<String>,
    is_hidden: bool,
    /// How many rows there were, repeated ones as often as they are.
    line: u64,
    row: Option<Row>,
    cell: Option<Cell>,
    /// Inside a remark, which is not what the cell shows.
    remarks_deep: usize,
}

struct Row {
    repeated: u64,
    column: usize,
    /// By the columns in which they are repeated.
    cells: Vec<(Range<usize>, Shown)>,
}

struct Cell {
    repeated: usize,
    is_formula: bool,
    value: Value,
    text: String,
    paragraphs: usize,
}

/// What a cell holds by its attributes.
enum Value {
    /// What its paragraphs say.
    None,
    Number(f64),
    Day(String),
    Logical(bool),
    Text(String),
    Error,
}

/// The sheets of `content.xml` that can be seen, in its order.
pub(super) fn sheets(content: &str) -> Result<Vec<Grid>, String> {
    let mut place = Place::default();
    go_through(content, &mut place)?;
    Ok(place.grids)
}

impl Takes for Place {
    fn start(&mut self, element: &BytesStart, _: Range<usize>) -> Result<(), String> {
        match element.local_name().as_ref() {
            b"style" => self.style = attribute(element, "name")?.unwrap_or_default(),
            b"table-properties" => {
                let shown = attribute(element, "display")?;
                if shown.is_some_and(|shown| shown == "false") {
                    self.hidden.insert(std::mem::take(&mut self.style));
                }
            }
            b"table" => {
                if self.tables_deep == 0 {
                    let name = attribute(element, "name")?.unwrap_or_default();
                    let style = attribute(element, "style-name")?;
                    self.is_hidden = style.is_some_and(|style| self.hidden.contains(&style));
                    self.room.take_sheet()?;
                    (self.table, self.line) = (Some((name, SheetCells::default())), 0);
                }
                self.tables_deep = self.tables_deep.saturating_add(1);
            }
            b"table-row" if self.tables_deep == 1 => {
                self.row = Some(Row {
                    repeated: number(element, "number-rows-repeated")?,
                    column: 0,
                    cells: Vec::new(),
                });
            }
            b"table-cell" | b"covered-table-cell" if self.tables_deep == 1 => {
                let repeated = number(element, "number-columns-repeated")?;
                self.cell = Some(Cell {
                    repeated: usize::try_from(repeated).unwrap_or(usize::MAX),
                    is_formula: attribute(element, "formula")?.is_some(),
                    value: value(element)?,
                    text: String::new(),
                    paragraphs: 0,
                });
            }
            b"annotation" => self.remarks_deep = self.remarks_deep.saturating_add(1),
            b"p" => {
                if let Some(cell) = self.shown() {
                    if cell.paragraphs > 0 {
                        cell.text.push('\n');
                    }
                    cell.paragraphs = cell.paragraphs.saturating_add(1);
                }
            }
            b"s" => {
                let spaces = number(element, "c")?;
                let spaces = usize::try_from(spaces).unwrap_or(usize::MAX);
                self.said(&" ".repeat(spaces.min(MOST_SPACES)));
            }
            b"tab" | b"line-break" => self.said("\n"),
            _ => {}
        }
        Ok(())
    }

    fn end(&mut self, name: &[u8], _: Range<usize>) -> Result<(), String> {
        match name {
            b"annotation" => self.remarks_deep = self.remarks_deep.saturating_sub(1),
            b"table" => {
                self.tables_deep = self.tables_deep.saturating_sub(1);
                let done = self.table.take_if(|_| self.tables_deep == 0);
                if let Some((name, cells)) = done.filter(|_| !self.is_hidden) {
                    self.grids.push(cells.grid(&mut self.room, name)?);
                }
            }
            b"table-row" if self.tables_deep == 1 => {
                let done = self.row.take().zip(self.table.as_mut());
                if let Some((row, (_, sheet))) = done {
                    put((sheet, &mut self.room), self.line, &row)?;
                    self.line = self.line.saturating_add(row.repeated);
                }
            }
            b"table-cell" | b"covered-table-cell" if self.tables_deep == 1 => {
                if let Some((cell, row)) = self.cell.take().zip(self.row.as_mut()) {
                    row.put(cell);
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn said(&mut self, text: &str) {
        if let Some(cell) = self.shown().filter(|cell| cell.paragraphs > 0) {
            cell.text.push_str(text);
        }
    }
}

impl Place {
    /// The cell that text belongs to.
    fn shown(&mut self) -> Option<&mut Cell> {
        let is_shown = self.tables_deep == 1 && self.remarks_deep == 0;
        self.cell.as_mut().filter(|_| is_shown)
    }
}

impl Row {
    fn put(&mut self, cell: Cell) {
        let next = self.column.saturating_add(cell.repeated);
        let shown = cell.shown();
        if !shown.is_nothing() {
            self.cells.push((self.column..next, shown));
        }
        self.column = next;
    }
}

impl Cell {
    fn shown(self) -> Shown {
        let mut shown = match self.value {
            Value::Error => Shown::odd(&self.text, Odd::Error),
            Value::Day(day) => Shown::day(&day),
            Value::Logical(is_true) => Shown::logical(is_true),
            Value::Number(number) => {
                let shown = Shown::number(number, &Format::Number, false);
                match is_padded(&self.text, &shown.text) {
                    true => Shown::text(&self.text),
                    false => shown,
                }
            }
            Value::Text(text) => Shown::text(&text),
            Value::None if self.is_formula && self.paragraphs == 0 => Shown::odd("", Odd::NoValue),
            Value::None => Shown::text(&self.text),
        };
        shown.is_formula = self.is_formula;
        shown
    }
}

/// Whether a text shows a whole number with zeros before it, or letters, as ids are.
fn is_padded(text: &str, number: &str) -> bool {
    let digits: String = text.chars().filter(char::is_ascii_digit).collect();
    let is_of_id = |c: char| c.is_alphanumeric() || matches!(c, '-' | '/');
    digits.trim_start_matches('0') == number && text.chars().all(is_of_id) && text != number
}

/// Puts a row as often as it is repeated, after so many others.
fn put((sheet, room): (&mut SheetCells, &mut Room), before: u64, row: &Row) -> Result<(), String> {
    if row.cells.is_empty() {
        return Ok(());
    }
    let repeated = usize::try_from(row.repeated).unwrap_or(usize::MAX);
    // one more than allowed says that it is too many
    let lines = (before.saturating_add(1)..).take(repeated.min(MOST_ROWS.saturating_add(1)));
    for line in lines {
        for (columns, shown) in &row.cells {
            for column in columns.clone() {
                sheet.put(room, (line, column), shown.clone())?;
            }
        }
    }
    Ok(())
}

/// What a cell holds by its attributes.
fn value(element: &BytesStart) -> Result<Value, String> {
    let of = |name: &str| attribute(element, name);
    // as LibreOffice says it, beside an empty text
    let mut kinds = element.attributes();
    kinds.with_checks(false);
    let mut kinds = kinds.flatten();
    if kinds.any(|one| one.key.local_name().as_ref() == b"value-type" && *one.value == *b"error") {
        return Ok(Value::Error);
    }
    if let Some(number) = of("value")? {
        let read = number.parse().map_err(|_| {
            format!("found \u{201c}{number}\u{201d} as the value of a cell, expected a number")
        })?;
        return Ok(Value::Number(read));
    }
    for name in ["date-value", "time-value"] {
        if let Some(day) = of(name)? {
            return Ok(Value::Day(day));
        }
    }
    if let Some(is_true) = of("boolean-value")? {
        return Ok(Value::Logical(is_true.eq_ignore_ascii_case("true")));
    }
    Ok(of("string-value")?.map_or(Value::None, Value::Text))
}

/// A count, 1 where none is given.
fn number(element: &BytesStart, name: &str) -> Result<u64, String> {
    let Some(text) = attribute(element, name)? else {
        return Ok(1);
    };
    text.parse().map_err(|_| {
        format!("found \u{201c}{text}\u{201d}, expected how often something is repeated")
    })
}
