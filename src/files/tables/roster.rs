//! Students out of somebody's roster.

use std::collections::HashMap;

use super::cell::Odd;
use super::columns::{RosterColumns, RosterField, best};
use super::grid::{Grid, GridRow, read_grids};
use crate::course::Student;
use crate::ids::{SectionName, StudentId};
use crate::text::{Fault, day, found, is_power_of_ten, line_of_text, unguarded};

/// A roster as it was sent: a header, and what stands below it.
#[derive(Clone, Debug)]
pub struct RosterFile {
    name: String,
    /// The sheet it stands on; empty of a CSV file.
    pub sheet: String,
    pub header: GridRow,
    rows: Vec<GridRow>,
    /// Other sheets that look like a roster: they are not read.
    pub other_sheets: Vec<String>,
    /// The columns as far as their names say them.
    pub columns: RosterColumns,
}

/// What a roster says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RosterRead {
    pub students: Vec<Student>,
    /// Lines that are about nobody: totals and the like.
    pub passed_over: Vec<(u64, String)>,
}

/// Reads a roster whose columns have names that say what they are.
pub fn read_roster(name: &str, bytes: &[u8]) -> Result<RosterRead, Vec<Fault>> {
    let file = RosterFile::read(name, bytes, &[])?;
    file.students(&file.columns)
}

impl RosterFile {
    /// Finds the table and its header. `remembered` are the names of columns chosen earlier.
    pub fn read(
        name: &str,
        bytes: &[u8],
        remembered: &[(RosterField, String)],
    ) -> Result<Self, Vec<Fault>> {
        let grids = read_grids(name, bytes)?;
        let guess = |row: &GridRow| {
            let names = remembered
                .iter()
                .map(|(field, name)| (*field, name.as_str()));
            let known = RosterColumns::named(row, names);
            match known.lacks().is_empty() {
                true => known,
                false => RosterColumns::guess(row),
            }
        };
        let Some((grid, place, columns)) = best(&grids, &guess) else {
            let what = "found no rows, expected a header and a row for each student";
            return Err(vec![Fault::of_file(name, what)]);
        };
        let mut header = grid.rows.get(place).cloned().unwrap_or_default();
        let below = grid.rows.iter().skip(place.saturating_add(1));
        let rows: Vec<GridRow> = below.cloned().collect();
        // separators at the end of every line make columns that say nothing
        let is_used = |at: usize| {
            let says = |row: &GridRow| row.cells.get(at).is_some_and(|cell| !cell.is_empty());
            says(&header) || rows.iter().any(says)
        };
        let is_roster = |other: &&Grid| {
            let table = best(std::slice::from_ref(*other), &guess);
            table.is_some_and(|(other, place, columns)| {
                columns.lacks().is_empty() && other.rows.len() > place.saturating_add(1)
            })
        };
        let others = grids.iter().filter(|other| !std::ptr::eq(*other, grid));
        let others = others.filter(is_roster).map(|other| other.sheet.clone());
        let width = (0..header.cells.len()).rev().find(|at| is_used(*at));
        let width = width.map_or(0, |last| last.saturating_add(1));
        header.cells.truncate(width);
        Ok(Self {
            name: name.to_owned(),
            sheet: grid.sheet.clone(),
            other_sheets: others.collect(),
            header,
            rows,
            columns,
        })
    }

    /// Which sheet was read, where the file has others that look like a roster too.
    pub fn says_of_sheets(&self) -> Option<String> {
        let (first, more) = self.other_sheets.split_first()?;
        let (others, are) = match more.len() {
            0 => (format!("the sheet \u{201c}{first}\u{201d}"), "looks"),
            _ => (
                format!(
                    "the sheets \u{201c}{}\u{201d}",
                    self.other_sheets.join("\u{201d}, \u{201c}")
                ),
                "look",
            ),
        };
        Some(format!(
            "read the sheet \u{201c}{}\u{201d} alone; {others} {are} like a roster too: to bring in its students, save it as a file of its own, or put all students on one sheet",
            self.sheet
        ))
    }

    /// How many rows stand below the header.
    pub fn rows(&self) -> usize {
        self.rows.len()
    }

    /// What a few rows say in a column, for whoever chooses.
    pub fn examples(&self, column: usize) -> String {
        let cells = self.rows.iter().filter_map(|row| row.cells.get(column));
        let cells = cells.filter(|cell| !cell.is_empty()).take(2);
        cells.map(String::as_str).collect::<Vec<_>>().join(", ")
    }

    /// The students, by these columns.
    pub fn students(&self, columns: &RosterColumns) -> Result<RosterRead, Vec<Fault>> {
        let mut faults: Vec<Fault> = columns
            .lacks()
            .into_iter()
            .map(|field| {
                let what = format!("found no column {}, expected one", field.name());
                self.fault(self.header.line, field.name(), what)
            })
            .collect();
        if !faults.is_empty() {
            return Err(faults);
        }
        let mut read = RosterRead::default();
        let mut by_id: HashMap<StudentId, (u64, Student)> = HashMap::new();
        let mut by_bare: HashMap<String, (u64, StudentId)> = HashMap::new();
        for row in &self.rows {
            if self.is_about_nobody(row, columns) {
                let text: Vec<&str> = row.cells.iter().map(String::as_str).collect();
                let text = text.join(" ").trim().to_owned();
                read.passed_over.push((row.line, text));
                continue;
            }
            let Some(student) = self.student(row, columns, &mut faults) else {
                continue;
            };
            let id = self.named(columns, RosterField::StudentId);
            match by_id.get(&student.id) {
                Some((_, known)) if *known == student => {}
                Some((line, known)) => {
                    let expected = format!(
                        "it once, or the same of it: line {line} says {known}, section {}",
                        known.section
                    );
                    let what = format!(
                        "found \u{201c}{}\u{201d} again as {student}, section {}, expected {expected}",
                        student.id, student.section
                    );
                    faults.push(self.fault(row.line, &id, what));
                }
                None => {
                    let bare = student.id.trim_start_matches('0').to_owned();
                    if let Some((line, other)) = by_bare.get(&bare) {
                        let expected = format!(
                            "ids that differ in more than leading zeros: line {line} has {other}; where a spreadsheet took them off, format the column as text"
                        );
                        faults.push(self.fault(row.line, &id, found(&student.id, &expected)));
                    }
                    by_bare.insert(bare, (row.line, student.id.clone()));
                    by_id.insert(student.id.clone(), (row.line, student.clone()));
                    read.students.push(student);
                }
            }
        }
        if read.students.is_empty() && faults.is_empty() {
            let what = "found no student below the header, expected a row for each";
            faults.push(self.fault(self.header.line, "", what.to_owned()));
        }
        match faults.is_empty() {
            true => Ok(read),
            false => Err(faults),
        }
    }

    /// A total, or a remark: all but a cell or two is empty, or says 0 as a link to an empty cell does.
    fn is_about_nobody(&self, row: &GridRow, columns: &RosterColumns) -> bool {
        let cell = |field| self.cell(row, columns, field);
        let is_unknown = |field| {
            let odd = columns.get(field).and_then(|place| row.odd(place));
            odd == Some(Odd::NoValue)
        };
        let is_blank = |field| matches!(cell(field), "" | "0") && !is_unknown(field);
        let names = [
            RosterField::FamilyName,
            RosterField::GivenName,
            RosterField::Name,
        ];
        let id = cell(RosterField::StudentId);
        let says_total = ["total", "sum", "summe", "gesamt", "anzahl", "totale"]
            .iter()
            .any(|word| id.to_lowercase().starts_with(word));
        let nameless = names.into_iter().all(is_blank);
        let section = is_blank(RosterField::Section);
        let again = row.cells == self.header.cells;
        again
            || nameless && (section || is_blank(RosterField::StudentId) || says_total)
            || says_total && section
    }

    fn student(
        &self,
        row: &GridRow,
        columns: &RosterColumns,
        faults: &mut Vec<Fault>,
    ) -> Option<Student> {
        let before = faults.len();
        let header = self.header.cells.len();
        let beyond = row.cells.iter().skip(header).any(|cell| !cell.is_empty());
        if beyond || self.lacks_cells(row, columns) {
            let what = format!("found {} cells, expected {header}", row.cells.len());
            faults.push(Fault::of_file(&self.name, what).at(row.line));
            return None;
        }
        let mut read = |field: RosterField, read: &dyn Fn(&str) -> Result<String, String>| {
            let text = match self.odd(row, columns, field) {
                Some(what) => Err(what),
                None => read(unguarded(self.cell(row, columns, field))),
            };
            text.map_err(|what| {
                faults.push(self.fault(row.line, &self.named(columns, field), what));
            })
            .ok()
        };
        let id = read(
            RosterField::StudentId,
            &|text| match is_power_of_ten(text) {
                true => Err(found(
                    text,
                    "the id itself and not a number as a spreadsheet shows it: format the column as text and save it again",
                )),
                false => StudentId::parse(text).map(|id| id.to_string()),
            },
        );
        let section = read(RosterField::Section, &|text| {
            SectionName::parse(text).map(|name| name.to_string())
        });
        let (family, given) = match columns.get(RosterField::Name) {
            Some(_) => {
                let name = read(RosterField::Name, &|text| match text.contains(',') {
                    true => line_of_text(text),
                    false => Err(found(text, "a name as Family, Given")),
                });
                let name = name.unwrap_or_default();
                let (family, given) = name.split_once(',').unwrap_or((&name, ""));
                (family.trim().to_owned(), given.trim().to_owned())
            }
            None => {
                let family = read(RosterField::FamilyName, &line_of_text);
                let given = read(RosterField::GivenName, &line_of_text);
                (family.unwrap_or_default(), given.unwrap_or_default())
            }
        };
        let email = read(RosterField::Email, &line_of_text).unwrap_or_default();
        let left = read(RosterField::Left, &|text| match text {
            "" => Ok(String::new()),
            text => day(text).map(|day| day.to_string()),
        });
        let left = left.and_then(|text| text.parse().ok());
        if faults.len() > before {
            return None;
        }
        Some(Student {
            id: StudentId::new(id?),
            family_name: family,
            given_name: given,
            section: SectionName::new(section?),
            email,
            sourced_id: String::new(),
            left,
        })
    }

    /// Whether cells are missing in a line of text: of a column that is needed, or in the middle, which an address shows that
    /// stands in a column where others have none. A row that only ends sooner says nothing in its last columns.
    fn lacks_cells(&self, row: &GridRow, columns: &RosterColumns) -> bool {
        let length = row.cells.len();
        let may_lack = |field| matches!(field, RosterField::Email | RosterField::Left);
        let (last, needed): (Vec<_>, Vec<_>) = columns
            .all()
            .filter(|(_, place)| *place >= length)
            .partition(|(field, _)| may_lack(*field));
        if !self.sheet.is_empty() || last.is_empty() || !needed.is_empty() {
            return self.sheet.is_empty() && !needed.is_empty();
        }
        let has_address = |row: &GridRow, at: usize| {
            let cell = row.cells.get(at);
            cell.is_some_and(|cell| cell.contains('@'))
        };
        let others = || {
            let all = self.rows.iter();
            all.filter(|other| other.cells.len() > length).take(50)
        };
        let is_lone =
            |at: usize| has_address(row, at) && !others().any(|other| has_address(other, at));
        (0..length).any(is_lone)
    }

    /// What is wrong with a cell whose text may not be what somebody typed.
    fn odd(&self, row: &GridRow, columns: &RosterColumns, field: RosterField) -> Option<String> {
        let odd = columns.get(field).and_then(|place| row.odd(place))?;
        let is_meant = field == RosterField::Left && odd == Odd::Date;
        (!is_meant).then(|| odd.fault(self.cell(row, columns, field)))
    }

    fn cell<'r>(&self, row: &'r GridRow, columns: &RosterColumns, field: RosterField) -> &'r str {
        let place = columns.get(field);
        place
            .and_then(|place| row.cells.get(place))
            .map_or("", String::as_str)
    }

    /// What the file calls a column.
    fn named(&self, columns: &RosterColumns, field: RosterField) -> String {
        let place = columns.get(field);
        let name = place.and_then(|place| self.header.cells.get(place));
        name.cloned().unwrap_or_else(|| field.name().to_owned())
    }

    fn fault(&self, line: u64, column: &str, what: String) -> Fault {
        let fault = Fault::of_file(&self.name, what).at(line);
        match column {
            "" => fault,
            column => fault.in_column(column),
        }
    }
}
