//! CSV files as rows of named cells, and back.

use std::collections::HashMap;

use super::cells::{decode, unguarded};
use super::fault::{Fault, found};

/// A CSV file read: every row has a cell for every column of its header.
pub struct Table<'f> {
    file: &'f str,
    columns: Vec<String>,
    pub rows: Vec<Row>,
}

pub struct Row {
    pub line: u64,
    cells: Vec<String>,
}

/// More columns than these no file of a course has: the longest curve is written in a thousand.
pub const MOST_COLUMNS: usize = 2_000;

/// The columns a file may have.
#[derive(Default)]
pub struct Columns {
    pub required: Vec<String>,
    pub optional: Vec<String>,
    /// Whether other columns are passed over, as another program's standard allows.
    pub others: bool,
}

impl Columns {
    pub fn new(required: &[&str], optional: &[&str]) -> Self {
        let owned = |names: &[&str]| names.iter().map(|n| (*n).to_owned()).collect();
        Self {
            required: owned(required),
            optional: owned(optional),
            others: false,
        }
    }

    /// As [`Columns::new`], with any other column passed over.
    pub fn with_others(required: &[&str], optional: &[&str]) -> Self {
        Self {
            others: true,
            ..Self::new(required, optional)
        }
    }
}

impl<'f> Table<'f> {
    /// Reads a file. None if its header cannot be used; other faults leave out the row only.
    pub fn read(
        file: &'f str,
        bytes: &[u8],
        columns: &Columns,
        faults: &mut Vec<Fault>,
    ) -> Option<Self> {
        let text = match decode(file, bytes) {
            Ok(text) => text,
            Err(fault) => {
                faults.push(fault);
                return None;
            }
        };
        let mut records = Records::new(text);
        let Some((header_line, header)) = records.next_row() else {
            faults.push(Fault::of_file(
                file,
                "found no header, expected the names of the columns in the first line",
            ));
            return None;
        };
        if let ([only], true) = (header.as_slice(), columns.required.len() > 1)
            && let Some(other) = [';', '\t'].into_iter().find(|c| only.contains(*c))
        {
            let name = if other == ';' { "semicolons" } else { "tabs" };
            let what = format!("found cells separated by {name}, expected commas");
            faults.push(Fault::of_file(file, what).at(header_line));
            return None;
        }
        if header.len() > MOST_COLUMNS {
            let found = header.len();
            let what = format!("found {found} columns, expected at most {MOST_COLUMNS}");
            faults.push(Fault::of_file(file, what).at(header_line));
            return None;
        }
        let header: Vec<String> = header.iter().map(|name| name.trim().to_owned()).collect();
        let before = faults.len();
        check_header(file, header_line, &header, columns, faults);
        if faults.len() > before {
            return None;
        }
        let mut rows = Vec::new();
        let before = faults.len();
        while let Some((line, cells)) = records.next_row() {
            if is_hopeless(file, line, before, faults) {
                return None;
            }
            if cells.iter().all(|cell| cell.trim().is_empty()) {
                continue;
            }
            if records.quotes_unpaired {
                let what = "found a quotation mark that is not closed, expected them in pairs (doubled within a cell)";
                faults.push(Fault::of_file(file, what).at(line));
            } else if cells.len() == header.len() {
                rows.push(Row { line, cells });
            } else {
                let what = format!("found {} cells, expected {}", cells.len(), header.len());
                faults.push(Fault::of_file(file, what).at(line));
            }
        }
        Some(Self {
            file,
            columns: header,
            rows,
        })
    }

    /// Whether the file has the column.
    pub fn has(&self, column: &str) -> bool {
        self.columns.iter().any(|name| name == column)
    }

    /// The place of a column in the rows.
    pub fn place(&self, column: &str) -> Option<usize> {
        self.columns.iter().position(|name| name == column)
    }

    /// A cell with the guard against formulas taken off; empty if the file has no such column.
    pub fn cell<'r>(&self, row: &'r Row, column: &str) -> &'r str {
        self.place(column).map_or("", |place| row.at(place))
    }

    /// Every cell of a row with the name of its column.
    pub fn named_cells<'r>(&'r self, row: &'r Row) -> impl Iterator<Item = (&'r str, &'r str)> {
        let names = self.columns.iter().map(String::as_str);
        names.enumerate().map(|(place, name)| (name, row.at(place)))
    }

    /// A fault in a column of a row.
    pub fn fault(&self, row: &Row, column: &str, what: impl Into<String>) -> Fault {
        Fault::of_file(self.file, what)
            .at(row.line)
            .in_column(column)
    }

    /// The cell read by `read`; a fault is kept and gives none.
    pub fn get<T>(
        &self,
        row: &Row,
        column: &str,
        read: impl FnOnce(&str) -> Result<T, String>,
        faults: &mut Vec<Fault>,
    ) -> Option<T> {
        read(self.cell(row, column))
            .map_err(|what| faults.push(self.fault(row, column, what)))
            .ok()
    }

    /// As [`Table::get`], for a cell that may be empty.
    pub fn get_if_any<T>(
        &self,
        row: &Row,
        column: &str,
        read: impl FnOnce(&str) -> Result<T, String>,
        faults: &mut Vec<Fault>,
    ) -> Option<T> {
        if self.cell(row, column).trim().is_empty() {
            None
        } else {
            self.get(row, column, read, faults)
        }
    }
}

impl Row {
    pub fn at(&self, place: usize) -> &str {
        self.cells.get(place).map_or("", |cell| unguarded(cell))
    }
}

/// Names the first line of every key, so that a second one is a fault that says where the first is.
pub struct Once<K>(HashMap<K, u64>);

impl<K: std::hash::Hash + Eq> Default for Once<K> {
    fn default() -> Self {
        Self::new()
    }
}

impl<K: std::hash::Hash + Eq> Once<K> {
    pub fn new() -> Self {
        Self(HashMap::new())
    }

    /// Notes a key; its first line if it was noted before.
    pub fn seen(&mut self, key: K, line: u64) -> Option<u64> {
        match self.0.entry(key) {
            std::collections::hash_map::Entry::Occupied(first) => Some(*first.get()),
            std::collections::hash_map::Entry::Vacant(place) => {
                place.insert(line);
                None
            }
        }
    }
}

/// Whether there are so many faults since that the rest of the file is not looked at, which is then said.
pub fn is_hopeless(file: &str, line: u64, before: usize, faults: &mut Vec<Fault>) -> bool {
    const MOST_FAULTS: usize = 1_000;
    let is_hopeless = faults.len().saturating_sub(before) >= MOST_FAULTS;
    if is_hopeless {
        let what = format!(
            "found {MOST_FAULTS} faults in the rows before: what follows is looked at once there are fewer"
        );
        faults.push(Fault::of_file(file, what).at(line));
    }
    is_hopeless
}

/// “found “…” again, expected it once: line 3 has it”.
pub fn again(text: &str, first: u64) -> String {
    format!("found \u{201c}{text}\u{201d} again, expected it once: line {first} has it already")
}

fn check_header(
    file: &str,
    line: u64,
    header: &[String],
    columns: &Columns,
    faults: &mut Vec<Fault>,
) {
    let known: Vec<&String> = columns.required.iter().chain(&columns.optional).collect();
    let fault = |what: String| Fault::of_file(file, what).at(line);
    for (place, name) in header.iter().enumerate() {
        if header.iter().take(place).any(|earlier| earlier == name) {
            faults.push(
                fault(format!("found the column {name} twice, expected it once")).in_column(name),
            );
        } else if !columns.others && !known.contains(&name) {
            let names: Vec<&str> = known.iter().map(|n| n.as_str()).collect();
            let expected = format!("one of the columns {}", names.join(", "));
            let place = if name.is_empty() {
                place.saturating_add(1).to_string()
            } else {
                name.clone()
            };
            faults.push(fault(found(name, &expected)).in_column(place));
        }
    }
    for name in columns
        .required
        .iter()
        .filter(|name| !header.contains(name))
    {
        faults.push(fault(format!("found no column {name}, expected one")).in_column(name));
    }
}

/// The records of a text with the line each starts on. The reader counts lines where the last record ended, which
/// is not where the next one starts after blank lines; so they are counted here.
struct Records<'a> {
    text: &'a [u8],
    reader: csv::Reader<&'a [u8]>,
    counted_to: usize,
    line: u64,
    quotes_unpaired: bool,
}

impl<'a> Records<'a> {
    fn new(text: &'a str) -> Self {
        let reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .from_reader(text.as_bytes());
        Self {
            text: text.as_bytes(),
            reader,
            counted_to: 0,
            line: 1,
            quotes_unpaired: false,
        }
    }

    fn next_row(&mut self) -> Option<(u64, Vec<String>)> {
        let mut start = usize::try_from(self.reader.position().byte()).ok()?;
        let mut record = csv::StringRecord::new();
        // the text is UTF-8 and rows may have any length, so reading from memory cannot fail
        if !self.reader.read_record(&mut record).ok()? {
            return None;
        }
        let end = usize::try_from(self.reader.position().byte()).ok()?;
        while matches!(self.text.get(start), Some(b'\r' | b'\n')) {
            start = start.saturating_add(1);
        }
        let passed = self.text.get(self.counted_to..start).unwrap_or_default();
        let breaks = passed.iter().filter(|b| **b == b'\n').count();
        self.line = self.line.saturating_add(breaks as u64);
        self.counted_to = start;
        let raw = self.text.get(start..end).unwrap_or_default();
        self.quotes_unpaired = raw.iter().filter(|b| **b == b'"').count() % 2 == 1;
        Some((self.line, record.iter().map(str::to_owned).collect()))
    }
}

/// Writes rows as CSV with LF line ends; cells are written as they are given.
pub fn write_csv<R, C>(header: &[&str], rows: R) -> String
where
    R: IntoIterator<Item = C>,
    C: IntoIterator<Item = String>,
{
    write(header, rows, csv::Terminator::Any(b'\n'))
}

/// As [`write_csv`], with the line ends of RFC 4180.
pub fn write_exchange<R, C>(header: &[&str], rows: R) -> String
where
    R: IntoIterator<Item = C>,
    C: IntoIterator<Item = String>,
{
    write(header, rows, csv::Terminator::CRLF)
}

fn write<R, C>(header: &[&str], rows: R, line_end: csv::Terminator) -> String
where
    R: IntoIterator<Item = C>,
    C: IntoIterator<Item = String>,
{
    let mut writer = csv::WriterBuilder::new()
        .terminator(line_end)
        .flexible(true)
        .from_writer(Vec::new());
    // writing to memory cannot fail
    let _ = writer.write_record(header);
    for row in rows {
        let cells: Vec<String> = row.into_iter().collect();
        let _ = writer.write_record(&cells);
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    type Lines = Vec<(u64, Vec<String>)>;

    fn read(text: &str) -> (Option<Lines>, Vec<String>) {
        let mut faults = Vec::new();
        let columns = Columns::new(&["a", "b"], &["c"]);
        let table = Table::read("x.csv", text.as_bytes(), &columns, &mut faults);
        let rows = table.map(|t| t.rows.into_iter().map(|r| (r.line, r.cells)).collect());
        (rows, faults.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn lines_are_counted_over_blank_lines_and_either_line_end() {
        for text in [
            "a,b\n\n1,2\n\n\n\"x\ny\",3\n4,5",
            "a,b\r\n\r\n1,2\r\n\r\n\r\n\"x\r\ny\",3\r\n4,5\r\n",
        ] {
            let (rows, faults) = read(text);
            let lines: Vec<u64> = rows.unwrap().iter().map(|(line, _)| *line).collect();
            assert_eq!((lines, faults), (vec![3, 6, 8], vec![]));
        }
    }

    #[test]
    fn of_a_hopeless_file_the_first_faults_are_told() {
        let text = format!("a,b\n{}", "1\n".repeat(50_000));
        let (_, faults) = read(&text);
        assert_eq!(faults.len(), 1_001);
        assert_eq!(faults[999], "x.csv:1001: found 1 cells, expected 2");
        let last = "x.csv:1002: found 1000 faults in the rows before: what follows is looked at once there are fewer";
        assert_eq!(faults[1_000], last);
    }

    #[test]
    fn a_wrong_number_of_cells_and_an_open_quote_are_faults() {
        let (_, faults) = read("a,b\n1\n1,2,3\n,,\n1,\"2\n");
        assert_eq!(
            faults,
            [
                "x.csv:2: found 1 cells, expected 2",
                "x.csv:3: found 3 cells, expected 2",
                "x.csv:5: found a quotation mark that is not closed, expected them in pairs (doubled within a cell)",
            ]
        );
    }

    #[test]
    fn columns_are_known_there_and_once() {
        let (_, faults) = read("a,a,d\n");
        assert_eq!(
            faults,
            [
                "x.csv:1, column a: found the column a twice, expected it once",
                "x.csv:1, column d: found “d”, expected one of the columns a, b, c",
                "x.csv:1, column b: found no column b, expected one",
            ]
        );
        assert!(read("c,b,a\n").1.is_empty());
        assert_eq!(
            read("a;b;c\n").1,
            ["x.csv:1: found cells separated by semicolons, expected commas"]
        );
        assert_eq!(
            read("").1,
            ["x.csv: found no header, expected the names of the columns in the first line"]
        );
    }
}
