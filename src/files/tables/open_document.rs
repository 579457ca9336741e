//! The tables of an open document, from its XML: OpenDocument 1.3 part 3, 9.1 (tables), 19.383 to 19.389 (values of cells).

use std::ops::Range;

use calamine::Data;
use quick_xml::Reader;
use quick_xml::escape::{resolve_predefined_entity, unescape};
use quick_xml::events::{BytesRef, BytesStart, Event};

use super::book::{Room, SheetCells, text_of};
use super::grid::{Grid, MOST_ROWS};

/// Most spaces that one element stands for.
const MOST_SPACES: usize = 100;

/// Where in the document the reader stands.
#[derive(Default)]
struct Place {
    /// Table, its name and how deep it lies in others: one in a cell of another is a part of that cell.
    table: Option<(String, SheetCells)>,
    tables_deep: usize,
    room: Room,
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
    cells: Vec<(Range<usize>, String)>,
}

struct Cell {
    repeated: usize,
    /// What it holds, where that is no text.
    value: Option<Data>,
    text: String,
    paragraphs: usize,
}

/// The sheets of `content.xml`, in its order.
pub(super) fn sheets(content: &str) -> Result<Vec<Grid>, String> {
    let mut reader = Reader::from_str(content);
    reader.config_mut().expand_empty_elements = true;
    let (mut place, mut grids, mut depth) = (Place::default(), Vec::new(), 0_usize);
    loop {
        let event = reader.read_event().map_err(|why| why.to_string())?;
        match event {
            Event::Start(element) => {
                depth = depth.saturating_add(1);
                place.start(&element)?;
            }
            Event::End(element) => {
                depth = depth.saturating_sub(1);
                grids.extend(place.end(element.local_name().as_ref())?);
            }
            Event::Text(text) => {
                let text = text.xml10_content().map_err(|why| why.to_string())?;
                place.said(&text);
            }
            Event::CData(text) => {
                let text = text.decode().map_err(|why| why.to_string())?;
                place.said(&text);
            }
            Event::GeneralRef(reference) => place.said(&referred(&reference)?),
            Event::Eof if depth > 0 => {
                return Err("it ends in the middle of its content".to_owned());
            }
            Event::Eof => return Ok(grids),
            Event::Empty(_)
            | Event::Comment(_)
            | Event::Decl(_)
            | Event::PI(_)
            | Event::DocType(_) => {}
        }
    }
}

impl Place {
    fn start(&mut self, element: &BytesStart) -> Result<(), String> {
        match element.local_name().as_ref() {
            b"table" => {
                if self.tables_deep == 0 {
                    let name = attribute(element, b"name")?.unwrap_or_default();
                    self.room.take_sheet()?;
                    (self.table, self.line) = (Some((name, SheetCells::default())), 0);
                }
                self.tables_deep = self.tables_deep.saturating_add(1);
            }
            b"table-row" if self.tables_deep == 1 => {
                self.row = Some(Row {
                    repeated: number(element, b"number-rows-repeated")?,
                    column: 0,
                    cells: Vec::new(),
                });
            }
            b"table-cell" | b"covered-table-cell" if self.tables_deep == 1 => {
                let repeated = number(element, b"number-columns-repeated")?;
                self.cell = Some(Cell {
                    repeated: usize::try_from(repeated).unwrap_or(usize::MAX),
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
                let spaces = number(element, b"c")?;
                let spaces = usize::try_from(spaces).unwrap_or(usize::MAX);
                self.said(&" ".repeat(spaces.min(MOST_SPACES)));
            }
            b"tab" | b"line-break" => self.said("\n"),
            _ => {}
        }
        Ok(())
    }

    /// Gives a table that has ended.
    fn end(&mut self, name: &[u8]) -> Result<Option<Grid>, String> {
        match name {
            b"annotation" => self.remarks_deep = self.remarks_deep.saturating_sub(1),
            b"table" => {
                self.tables_deep = self.tables_deep.saturating_sub(1);
                let done = self.table.take_if(|_| self.tables_deep == 0);
                return done
                    .map(|(name, cells)| cells.grid(&mut self.room, name))
                    .transpose();
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
        Ok(None)
    }

    fn said(&mut self, text: &str) {
        if let Some(cell) = self.shown().filter(|cell| cell.paragraphs > 0) {
            cell.text.push_str(text);
        }
    }

    /// The cell that text belongs to.
    fn shown(&mut self) -> Option<&mut Cell> {
        let is_shown = self.tables_deep == 1 && self.remarks_deep == 0;
        self.cell.as_mut().filter(|_| is_shown)
    }
}

impl Row {
    fn put(&mut self, cell: Cell) {
        let text = text_of(&cell.value.unwrap_or(Data::String(cell.text)));
        let next = self.column.saturating_add(cell.repeated);
        if !text.is_empty() {
            self.cells.push((self.column..next, text));
        }
        self.column = next;
    }
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
        for (columns, text) in &row.cells {
            for column in columns.clone() {
                sheet.put(room, line, column, text.clone())?;
            }
        }
    }
    Ok(())
}

/// What a cell holds by its attributes; none where its paragraphs say it.
fn value(element: &BytesStart) -> Result<Option<Data>, String> {
    let of = |name: &[u8]| attribute(element, name);
    if let Some(number) = of(b"value")? {
        let read = number.parse().map_err(|_| {
            format!("found \u{201c}{number}\u{201d} as the value of a cell, expected a number")
        })?;
        return Ok(Some(Data::Float(read)));
    }
    if let Some(date) = of(b"date-value")? {
        return Ok(Some(Data::DateTimeIso(date)));
    }
    if let Some(time) = of(b"time-value")? {
        return Ok(Some(Data::DurationIso(time)));
    }
    if let Some(is_true) = of(b"boolean-value")? {
        return Ok(Some(Data::Bool(is_true.eq_ignore_ascii_case("true"))));
    }
    Ok(of(b"string-value")?.map(Data::String))
}

/// A count, 1 where none is given.
fn number(element: &BytesStart, name: &[u8]) -> Result<u64, String> {
    let Some(text) = attribute(element, name)? else {
        return Ok(1);
    };
    text.parse().map_err(|_| {
        format!("found \u{201c}{text}\u{201d}, expected how often something is repeated")
    })
}

/// An attribute by its name without prefix.
fn attribute(element: &BytesStart, name: &[u8]) -> Result<Option<String>, String> {
    // twice the same says nothing here, and to look for it takes the square of their number
    for one in element.attributes().with_checks(false) {
        let one = one.map_err(|why| why.to_string())?;
        if one.key.local_name().as_ref() == name {
            let value = std::str::from_utf8(&one.value).map_err(|why| why.to_string())?;
            let value = unescape(value).map_err(|why| why.to_string())?;
            return Ok(Some(value.into_owned()));
        }
    }
    Ok(None)
}

/// The character that a reference such as `&amp;` stands for.
fn referred(reference: &BytesRef) -> Result<String, String> {
    if let Some(character) = reference
        .resolve_char_ref()
        .map_err(|why| why.to_string())?
    {
        return Ok(character.to_string());
    }
    let name = reference.decode().map_err(|why| why.to_string())?;
    let text = resolve_predefined_entity(&name);
    let text = text.ok_or_else(|| format!("found the unknown reference \u{201c}{name}\u{201d}"))?;
    Ok(text.to_owned())
}
