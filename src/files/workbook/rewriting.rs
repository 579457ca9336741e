//! A sheet's XML gone through cell by cell and written again where something changes.

use std::collections::{BTreeMap, HashMap};
use std::ops::Range;

use quick_xml::events::BytesStart;

use crate::files::office::formats::{Format, Formats};
use crate::files::office::formula::{Changed, Refers};
use crate::files::office::xml::{Takes, attribute, cell_place, go_through};

/// Numbers by row, from 1, and column, from 0.
pub type Wanted<'n> = BTreeMap<u64, BTreeMap<usize, &'n str>>;

/// Goes through one sheet.
pub struct Rewriting<'x> {
    xml: &'x str,
    out: String,
    /// How much of the XML stands in `out`, or is left out of it.
    copied: usize,
    /// Which sheet of which it is.
    place: usize,
    sheets: &'x [String],
    /// Where something changes; none where everything may.
    pub changed: Option<Changed>,
    wanted: Wanted<'x>,
    formats: Option<&'x Formats>,
    pub has_formulas: bool,
    /// Formulas that others repeat, by their numbers, with their columns.
    shared: HashMap<String, (usize, Refers)>,
    in_rows: bool,
    row: Row<'x>,
    cell: Option<Cell<'x>>,
}

#[derive(Default)]
struct Row<'x> {
    number: u64,
    /// The column of a cell that does not say where it is.
    next: usize,
    tag: Range<usize>,
    prefix: String,
    wanted: BTreeMap<usize, &'x str>,
}

struct Cell<'x> {
    column: usize,
    tag: Range<usize>,
    /// The tag without the kind of its value.
    without_kind: String,
    style: Option<String>,
    /// The number that goes into it.
    number: Option<&'x str>,
    formula: Option<Formula>,
    in_formula: bool,
    value: Option<Range<usize>>,
}

#[derive(Default)]
struct Formula {
    text: String,
    /// The number of a formula that is shared.
    shared: Option<String>,
}

impl<'x> Rewriting<'x> {
    pub fn of(xml: &'x str, place: usize, sheets: &'x [String], changed: Option<Changed>) -> Self {
        Self {
            xml,
            out: String::new(),
            copied: 0,
            place,
            sheets,
            changed,
            wanted: Wanted::new(),
            formats: None,
            has_formulas: false,
            shared: HashMap::new(),
            in_rows: false,
            row: Row::default(),
            cell: None,
        }
    }

    /// Numbers to be put into cells.
    pub fn put(&mut self, wanted: Wanted<'x>, formats: &'x Formats) {
        (self.wanted, self.formats) = (wanted, Some(formats));
    }

    /// The sheet as it is then; none where nothing of it changes.
    pub fn done(mut self) -> Result<Option<String>, String> {
        if let Some((row, _)) = self.wanted.first_key_value() {
            return Err(format!("found no row {row} in the sheet"));
        }
        if self.copied == 0 {
            return Ok(None);
        }
        self.instead(self.xml.len()..self.xml.len(), "");
        Ok(Some(self.out))
    }

    /// Writes a text in the place of some of the XML.
    fn instead(&mut self, at: Range<usize>, text: &str) {
        let before = self.xml.get(self.copied..at.start);
        self.out.push_str(before.unwrap_or_default());
        self.out.push_str(text);
        self.copied = at.end;
    }

    fn start_of_cell(&mut self, element: &BytesStart, at: Range<usize>) -> Result<(), String> {
        let said = attribute(element, "r")?.as_deref().and_then(cell_place);
        let column = said.map_or(self.row.next, |(column, _)| column);
        self.row.next = column.saturating_add(1);
        // cells that are not there yet, before this one
        let after = self.row.wanted.split_off(&column);
        let before = std::mem::replace(&mut self.row.wanted, after);
        let made = self.made(before);
        if !made.is_empty() {
            self.instead(at.start..at.start, &made);
        }
        self.cell = Some(Cell {
            column,
            without_kind: without_kind(element)?,
            style: attribute(element, "s")?,
            number: self.row.wanted.remove(&column),
            tag: at,
            formula: None,
            in_formula: false,
            value: None,
        });
        Ok(())
    }

    /// New cells of the row.
    fn made(&self, wanted: BTreeMap<usize, &str>) -> String {
        let cells = wanted.into_iter();
        let cells = cells.map(|(column, number)| self.cell_of(column, None, number));
        cells.collect()
    }

    fn cell_of(&self, column: usize, style: Option<&str>, number: &str) -> String {
        let (prefix, at) = (&self.row.prefix, reference(self.row.number, column));
        let style = style.map(|style| format!(" s=\"{style}\""));
        let style = style.unwrap_or_default();
        format!("<{prefix}c r=\"{at}\"{style}><{prefix}v>{number}</{prefix}v></{prefix}c>")
    }

    fn end_of_cell(&mut self, cell: Cell<'x>, at: Range<usize>) -> Result<(), String> {
        let is_stale = match &cell.formula {
            Some(formula) => self.is_stale(cell.column, formula),
            None => false,
        };
        if let Some(number) = cell.number {
            let place = reference(self.row.number, cell.column);
            if cell.formula.is_some() {
                return Err(format!(
                    "found a formula at {place}, expected a cell without one"
                ));
            }
            self.check_format(&place, cell.style.as_deref())?;
            let text = self.cell_of(cell.column, cell.style.as_deref(), number);
            self.instead(cell.tag.start..at.end, &text);
        } else if let Some(value) = cell.value.filter(|_| is_stale) {
            self.instead(cell.tag, &cell.without_kind);
            self.instead(value, "");
        }
        Ok(())
    }

    /// That a number in a cell is seen as that number.
    fn check_format(&self, place: &str, style: Option<&str>) -> Result<(), String> {
        let style = style.and_then(|style| style.parse().ok()).unwrap_or(0);
        let format = self.formats.map(|formats| formats.of(style));
        let named = match format.unwrap_or_default() {
            Format::Percent => "percent",
            Format::Date => "a date",
            Format::Number | Format::Padded(_) => return Ok(()),
        };
        Err(format!(
            "found cells formatted as {named} such as {place}, expected numbers: format the column as number"
        ))
    }

    /// Whether the value of a formula may no longer be right. What rests on it is not right either, then.
    fn is_stale(&mut self, column: usize, formula: &Formula) -> bool {
        self.has_formulas = true;
        let Some(changed) = self.changed.as_mut() else {
            return true;
        };
        let read = || Refers::read(&formula.text, self.place, self.sheets);
        let is_stale = match (&formula.shared, formula.text.is_empty()) {
            // a table of what-ifs says its cells otherwise
            (None, true) => true,
            (None, false) => read().meets(changed, 0),
            (Some(number), false) => {
                let refers = read();
                let is_stale = refers.meets(changed, 0);
                self.shared.insert(number.clone(), (column, refers));
                is_stale
            }
            (Some(number), true) => self.shared.get(number).is_none_or(|(first, refers)| {
                let further = column.checked_signed_diff(*first).unwrap_or(0);
                refers.meets(changed, further)
            }),
        };
        if is_stale {
            changed.insert((self.place, column));
        }
        is_stale
    }
}

impl Takes for Rewriting<'_> {
    fn start(&mut self, element: &BytesStart, at: Range<usize>) -> Result<(), String> {
        match element.local_name().as_ref() {
            b"sheetData" => self.in_rows = true,
            b"row" if self.in_rows => {
                let said = attribute(element, "r")?.and_then(|row| row.parse().ok());
                let number = said.unwrap_or(self.row.number.saturating_add(1));
                let name = String::from_utf8_lossy(element.name().as_ref()).into_owned();
                self.row = Row {
                    number,
                    next: 0,
                    tag: at,
                    prefix: name.strip_suffix("row").unwrap_or_default().to_owned(),
                    wanted: self.wanted.remove(&number).unwrap_or_default(),
                };
            }
            b"c" if self.in_rows => self.start_of_cell(element, at)?,
            b"f" => {
                if let Some(cell) = self.cell.as_mut() {
                    let is_shared = attribute(element, "t")?.is_some_and(|kind| kind == "shared");
                    let number = attribute(element, "si")?;
                    cell.formula = Some(Formula {
                        text: String::new(),
                        shared: number.filter(|_| is_shared),
                    });
                    cell.in_formula = true;
                }
            }
            b"v" => {
                if let Some(cell) = self.cell.as_mut() {
                    cell.value = Some(at);
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn end(&mut self, name: &[u8], at: Range<usize>) -> Result<(), String> {
        match (name, self.cell.as_mut()) {
            (b"sheetData", _) => self.in_rows = false,
            (b"row", _) if self.in_rows => {
                let wanted = std::mem::take(&mut self.row.wanted);
                let made = self.made(wanted);
                if made.is_empty() {
                    return Ok(());
                }
                let tag = self.row.tag.clone();
                if at.is_empty() {
                    // an empty element gets an end of its own
                    let made = format!(">{made}</{}row>", self.row.prefix);
                    self.instead(tag.end.saturating_sub(2)..tag.end, &made);
                } else {
                    self.instead(at.start..at.start, &made);
                }
            }
            (b"f", Some(cell)) => cell.in_formula = false,
            (b"v", Some(cell)) => {
                if let Some(value) = cell.value.as_mut() {
                    value.end = at.end;
                }
            }
            (b"c", Some(_)) => {
                if let Some(cell) = self.cell.take() {
                    self.end_of_cell(cell, at)?;
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn said(&mut self, text: &str) {
        let cell = self.cell.as_mut().filter(|cell| cell.in_formula);
        if let Some(formula) = cell.and_then(|cell| cell.formula.as_mut()) {
            formula.text.push_str(text);
        }
    }
}

/// A start tag without what its value is, which goes with the value.
fn without_kind(element: &BytesStart) -> Result<String, String> {
    let mut tag = format!("<{}", String::from_utf8_lossy(element.name().as_ref()));
    for one in element.attributes().with_checks(false) {
        let one = one.map_err(|why| why.to_string())?;
        let text = |bytes| String::from_utf8_lossy(bytes).into_owned();
        let (key, value) = (text(one.key.as_ref()), text(&*one.value));
        if key != "t" {
            tag.push_str(&format!(" {key}=\"{}\"", value.replace('"', "&quot;")));
        }
    }
    tag.push('>');
    Ok(tag)
}

/// `D5`.
fn reference(row: u64, column: usize) -> String {
    let mut letters = Vec::new();
    let mut rest = column.saturating_add(1);
    while rest > 0 {
        let digit = (rest - 1) % 26;
        letters.push(char::from(
            b'A'.saturating_add(u8::try_from(digit).unwrap_or(0)),
        ));
        rest = (rest - 1) / 26;
    }
    letters.reverse();
    format!("{}{row}", letters.into_iter().collect::<String>())
}

/// That none of these cells is one of several that were made one.
pub fn merged_into(xml: &str, wanted: &Wanted<'_>) -> Result<(), String> {
    go_through(xml, &mut Merged(wanted))
}

struct Merged<'w>(&'w Wanted<'w>);

impl Takes for Merged<'_> {
    fn start(&mut self, element: &BytesStart, _: Range<usize>) -> Result<(), String> {
        if element.local_name().as_ref() != b"mergeCell" {
            return Ok(());
        }
        let range = attribute(element, "ref")?.unwrap_or_default();
        let ends = range.split_once(':').and_then(|(from, to)| {
            let (from, to) = (cell_place(from)?, cell_place(to)?);
            (from.0 <= to.0 && from.1 <= to.1).then_some((from, to))
        });
        let Some(((first, top), (last, bottom))) = ends else {
            return Ok(());
        };
        for (row, cells) in self.0.range(top..=bottom) {
            if let Some((column, _)) = cells.range(first..=last).next() {
                let at = reference(*row, *column);
                return Err(format!(
                    "found merged cells at {at}, expected a cell of its own"
                ));
            }
        }
        Ok(())
    }

    fn end(&mut self, _: &[u8], _: Range<usize>) -> Result<(), String> {
        Ok(())
    }

    fn said(&mut self, _: &str) {}
}
