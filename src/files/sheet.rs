//! Somebody else's table, read so that cells can be filled in and every other byte stays as it was: bytes to spans and
//! back.
//!
//! Nothing of the file is normalised. A [`Sheet`] knows where each cell begins and ends in the bytes;
//! [`Sheet::filled`] copies the bytes and puts new text in place of the spans of the cells filled in. A mark of the
//! encoding, quotation marks, either line end or a mix of them, blank lines and the last line end or none are outside
//! those spans and so cannot change.
//!
//! What is read: cells separated by commas, semicolons or tabs (the first line shows which), quotation marks doubled
//! inside quoted cells (RFC 4180), lines that end in LF, CRLF or CR, a first line `sep=;` as spreadsheets write it.
//! Cells may be in any encoding of which ASCII is a part.

mod guessed;

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::ops::Range;

use self::guessed::{after_hint, header_among, likely, says_total};
use super::separator::Separator;
use crate::text::{Fault, found};

/// A file as cells with their places in its bytes.
#[derive(Clone, Debug)]
pub struct Sheet<'b> {
    bytes: &'b [u8],
    separator: Separator,
    header: Line,
    rows: Vec<Line>,
    formulas: Formulas,
}

/// Cells that a formula gives, by line and column, and whether each has a value.
#[derive(Clone, Debug, Default)]
pub struct Formulas(BTreeMap<(u64, usize), bool>);

impl Formulas {
    pub(super) fn put(&mut self, at: (u64, usize), has_value: bool) {
        self.0.insert(at, has_value);
    }
}

/// New text for one cell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Filling {
    /// Row below the header, from 0.
    pub row: usize,
    /// Column, from 0.
    pub column: usize,
    /// What is to stand there.
    pub text: String,
}

/// A line of cells, with the number of the line in the file on which it starts.
#[derive(Clone, Debug)]
struct Line {
    number: u64,
    cells: Vec<Range<usize>>,
}

impl<'b> Sheet<'b> {
    /// Most faults listed of one file.
    const MOST_FAULTS: usize = 50;

    /// Reads a file.
    ///
    /// # Errors
    /// Every [`Fault`]: text in UTF-16, no header, a quotation mark that is not closed or is followed by more text, a
    /// line with more or fewer cells than the header.
    pub fn read(file: &str, bytes: &'b [u8]) -> Result<Self, Vec<Fault>> {
        if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
            let what = "found text in UTF-16, expected UTF-8 or another encoding of single bytes: save it again as \u{201c}CSV UTF-8\u{201d}";
            return Err(vec![Fault::of_file(file, what).at(1)]);
        }
        let start = if bytes.starts_with(b"\xef\xbb\xbf") {
            3
        } else {
            0
        };
        let (start, number, said) = after_hint(bytes, start);
        let by = |separator| Self::read_by(file, bytes, separator, (start, number));
        if let Some(separator) = said {
            return by(separator);
        }
        let [likeliest, others @ ..] = likely(bytes.get(start..).unwrap_or_default());
        // a header may hold another's mark inside a name: then the rows do not fit
        by(likeliest).or_else(|faults| {
            let mut fitting = others.into_iter().filter_map(|other| by(other).ok());
            let fits = fitting.find(|sheet| sheet.header.cells.len() > 1);
            fits.ok_or(faults)
        })
    }

    fn read_by(
        file: &str,
        bytes: &'b [u8],
        separator: Separator,
        (start, number): (usize, u64),
    ) -> Result<Self, Vec<Fault>> {
        let mut scan = Scan {
            bytes,
            separator: separator.byte(),
            at: start,
            number,
        };
        let one = |(number, what): (u64, &str)| vec![Fault::of_file(file, what).at(number)];
        let mut lines = Vec::new();
        while let Some(line) = scan.next_line().map_err(one)? {
            lines.push(line);
        }
        let says = |cell: &Range<usize>| {
            let bytes = bytes.get(cell.clone()).unwrap_or_default();
            bytes
                .iter()
                .any(|byte| !byte.is_ascii_whitespace() && *byte != b'"')
        };
        let is_word = |cell: &Range<usize>| {
            let text = String::from_utf8_lossy(bytes.get(cell.clone()).unwrap_or_default());
            let text = text.trim_matches(['"', ' ']).replace(',', ".");
            !text.contains('@') && text.parse::<f64>().is_err()
        };
        let header = header_among(
            &lines,
            |line| line.cells.iter().filter(|c| says(c)).count(),
            |line| line.cells.iter().all(is_word),
        );
        let mut lines = lines.into_iter().skip(header);
        let Some(header) = lines.next() else {
            let what = "found no header, expected the names of the columns in the first line";
            return Err(vec![Fault::of_file(file, what)]);
        };
        let (mut rows, mut faults) = (Vec::new(), Vec::new());
        for line in lines {
            let first = line.cells.first().cloned().unwrap_or_default();
            let first = bytes.get(first).unwrap_or_default();
            if line.cells.len() == header.cells.len() {
                rows.push(line);
            } else if says_total(first) && line.cells.iter().filter(|c| says(c)).count() < 3 {
                // a line below the table, which stays as it is
            } else if faults.len() < Self::MOST_FAULTS {
                let what = format!(
                    "found {} cells, expected {} as in the first line",
                    line.cells.len(),
                    header.cells.len()
                );
                faults.push(Fault::of_file(file, what).at(line.number));
            }
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        Ok(Self {
            bytes,
            separator,
            header,
            rows,
            formulas: Formulas::default(),
        })
    }

    /// The same, of a workbook with formulas in these cells.
    pub(super) fn with_formulas(self, formulas: Formulas) -> Self {
        Self { formulas, ..self }
    }

    /// Whether a formula gives a cell.
    pub fn is_formula(&self, row: usize, column: usize) -> bool {
        self.formulas.0.contains_key(&(self.line(row), column))
    }

    /// Whether a formula gives a cell that was never worked out.
    pub fn lacks_value(&self, row: usize, column: usize) -> bool {
        self.formulas.0.get(&(self.line(row), column)) == Some(&false)
    }

    /// What stands between its cells.
    pub fn separator(&self) -> Separator {
        self.separator
    }

    /// How many rows there are below the header.
    pub fn rows(&self) -> usize {
        self.rows.len()
    }

    /// The line of the file on which a row starts, from 1.
    pub fn line(&self, row: usize) -> u64 {
        self.rows.get(row).map_or(0, |line| line.number)
    }

    /// The names of the columns.
    pub fn columns(&self) -> Vec<Cow<'b, str>> {
        self.header
            .cells
            .iter()
            .map(|span| self.text(span))
            .collect()
    }

    /// The text of a cell, without its quotation marks; empty if there is no such cell.
    pub fn cell(&self, row: usize, column: usize) -> Cow<'b, str> {
        self.span(row, column)
            .map_or(Cow::Borrowed(""), |span| self.text(span))
    }

    /// The bytes with cells filled in. A cell that says just that already is left as it is written. The last filling
    /// of a cell counts; one of a cell that is not there is passed over.
    pub fn filled(&self, fillings: &[Filling]) -> Vec<u8> {
        let mut spans: Vec<(&Range<usize>, &str)> = fillings
            .iter()
            .filter_map(|f| Some((self.span(f.row, f.column)?, f.text.as_str())))
            .collect();
        // stable: of two fillings of one cell the later stays behind the earlier
        spans.sort_by_key(|(span, _)| (span.start, span.end));
        let mut out = Vec::with_capacity(self.bytes.len().saturating_add(spans.len() * 8));
        let mut copied = 0;
        for (place, (span, text)) in spans.iter().enumerate() {
            let again = spans.get(place.saturating_add(1));
            if again.is_some_and(|(next, _)| next == span) || self.text(span) == *text {
                continue;
            }
            out.extend_from_slice(self.bytes.get(copied..span.start).unwrap_or_default());
            out.extend_from_slice(self.written(text).as_bytes());
            copied = span.end;
        }
        out.extend_from_slice(self.bytes.get(copied..).unwrap_or_default());
        out
    }

    fn span(&self, row: usize, column: usize) -> Option<&Range<usize>> {
        self.rows.get(row)?.cells.get(column)
    }

    fn text(&self, span: &Range<usize>) -> Cow<'b, str> {
        let raw = self.bytes.get(span.clone()).unwrap_or_default();
        let text = |bytes: &'b [u8]| match std::str::from_utf8(bytes) {
            Ok(text) => Cow::Borrowed(text),
            // only shown and compared: the bytes themselves are never written from this
            Err(_) => Cow::Owned(bytes.iter().map(|byte| char::from(*byte)).collect()),
        };
        match raw {
            [b'"', inner @ .., b'"'] => {
                let text = text(inner);
                if text.contains('"') {
                    Cow::Owned(text.replace("\"\"", "\""))
                } else {
                    text
                }
            }
            _ => text(raw),
        }
    }

    /// A text as a cell of this file, quoted only where it has to be.
    fn written<'t>(&self, text: &'t str) -> Cow<'t, str> {
        let separator = char::from(self.separator.byte());
        if text.contains([separator, '"', '\r', '\n']) {
            Cow::Owned(format!("\"{}\"", text.replace('"', "\"\"")))
        } else {
            Cow::Borrowed(text)
        }
    }
}

/// The column of that name, which must be there once.
pub fn column_named(sheet: &Sheet<'_>, name: &str) -> Result<usize, String> {
    let columns = sheet.columns();
    let mut places = columns
        .iter()
        .enumerate()
        .filter(|(_, column)| column.trim() == name.trim());
    match (places.next(), places.next()) {
        (Some((place, _)), None) => Ok(place),
        (Some(_), Some(_)) => Err(format!(
            "found the column \u{201c}{name}\u{201d} twice, expected it once"
        )),
        (None, _) => {
            let names: Vec<&str> = columns.iter().map(|c| c.trim()).collect();
            let expected = format!("one of the columns {}", names.join(", "));
            Err(found(name, &expected))
        }
    }
}

/// Goes through the bytes line by line.
struct Scan<'b> {
    bytes: &'b [u8],
    separator: u8,
    at: usize,
    number: u64,
}

type BadLine = (u64, &'static str);

impl Scan<'_> {
    /// The next line that is not blank.
    fn next_line(&mut self) -> Result<Option<Line>, BadLine> {
        while self.pass_line_end() {}
        if self.peek().is_none() {
            return Ok(None);
        }
        let number = self.number;
        let mut cells = vec![self.cell()?];
        while self.peek() == Some(self.separator) {
            self.at += 1;
            cells.push(self.cell()?);
        }
        self.pass_line_end();
        Ok(Some(Line { number, cells }))
    }

    fn cell(&mut self) -> Result<Range<usize>, BadLine> {
        let start = self.at;
        if self.peek() == Some(b'"') {
            self.quoted(start)?;
        } else {
            while !self.ends_cell() {
                self.at += 1;
            }
        }
        Ok(start..self.at)
    }

    fn quoted(&mut self, start: usize) -> Result<(), BadLine> {
        let number = self.number;
        self.at += 1;
        loop {
            match self.peek() {
                None => {
                    self.at = start;
                    return Err((
                        number,
                        "found a quotation mark that is not closed, expected them in pairs (doubled within a cell)",
                    ));
                }
                Some(b'"') if self.bytes.get(self.at + 1) == Some(&b'"') => self.at += 2,
                Some(b'"') => {
                    self.at += 1;
                    break;
                }
                Some(_) => {
                    if !self.pass_line_end() {
                        self.at += 1;
                    }
                }
            }
        }
        if self.ends_cell() {
            Ok(())
        } else {
            Err((
                self.number,
                "found text after a closing quotation mark, expected the end of the cell",
            ))
        }
    }

    fn ends_cell(&self) -> bool {
        match self.peek() {
            None | Some(b'\r' | b'\n') => true,
            Some(byte) => byte == self.separator,
        }
    }

    fn peek(&self) -> Option<u8> {
        self.bytes.get(self.at).copied()
    }

    /// Steps over LF, CRLF or CR.
    fn pass_line_end(&mut self) -> bool {
        let length = match (self.peek(), self.bytes.get(self.at + 1)) {
            (Some(b'\r'), Some(b'\n')) => 2,
            (Some(b'\r' | b'\n'), _) => 1,
            _ => return false,
        };
        self.at += length;
        self.number = self.number.saturating_add(1);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fill(text: &str, row: usize, column: usize, new: &str) -> String {
        let sheet = Sheet::read("x.csv", text.as_bytes()).expect("is sound");
        let filling = Filling {
            row,
            column,
            text: new.to_owned(),
        };
        String::from_utf8(sheet.filled(&[filling])).expect("is text")
    }

    #[test]
    fn only_the_cell_changes() {
        assert_eq!(fill("a,b\r\n1,2\n3,4", 1, 1, "9.50"), "a,b\r\n1,2\n3,9.50");
        assert_eq!(
            fill("a;b\n\"x;\"\"y\";\n", 0, 1, "9,50"),
            "a;b\n\"x;\"\"y\";9,50\n"
        );
        assert_eq!(fill("a,b\n1,\"2\"\n", 0, 1, "2"), "a,b\n1,\"2\"\n");
        assert_eq!(fill("a,b\n1,\"2\"\n", 0, 1, "2,5"), "a,b\n1,\"2,5\"\n");
        assert_eq!(
            fill("sep=;\r\na;b,c\r\n1;2\r\n", 0, 1, "3"),
            "sep=;\r\na;b,c\r\n1;3\r\n"
        );
        assert_eq!(fill("a\tb,c,d\n1\t\n", 0, 1, "3"), "a\tb,c,d\n1\t3\n");
    }

    #[test]
    fn faults_name_their_line() {
        let faults = |text: &str| {
            let faults = Sheet::read("x.csv", text.as_bytes()).expect_err("has faults");
            faults.iter().map(ToString::to_string).collect::<Vec<_>>()
        };
        assert_eq!(
            faults("a,b\n1\n1,2,3\n1,2\n"),
            [
                "x.csv:2: found 1 cells, expected 2 as in the first line",
                "x.csv:3: found 3 cells, expected 2 as in the first line"
            ]
        );
        assert!(
            faults("a,b\n\n\"x\ny\",2\n\"1,2\n")[0].starts_with("x.csv:5: found a quotation mark")
        );
        assert!(faults("a,b\n\"1\"2,3\n")[0].starts_with("x.csv:2: found text after a closing"));
        assert!(faults("")[0].contains("found no header"));
    }

    #[test]
    fn other_encodings_are_kept_byte_for_byte() {
        let bytes = b"Name;Note\r\nM\xfcller;\r\n";
        let sheet = Sheet::read("x.csv", bytes).expect("is sound");
        assert_eq!(sheet.cell(0, 0), "Müller");
        let filling = Filling {
            row: 0,
            column: 1,
            text: "7".to_owned(),
        };
        assert_eq!(sheet.filled(&[filling]), b"Name;Note\r\nM\xfcller;7\r\n");
        assert!(Sheet::read("x.csv", b"\xff\xfea\0").is_err());
    }
}
