//! `gradebook.csv`: a row per student, a column per experiment, the total.

use std::collections::HashMap;

use rust_decimal::Decimal;
use rust_xlsxwriter::{Format, Workbook};

use super::fill::Points;
use crate::measure::to_decimals;
use crate::term::{Judged, Slot, Term};
use crate::text::{guarded, write_csv};

/// How free text is written to a file that may be opened in a spreadsheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FreeText {
    /// With an apostrophe in front of what a spreadsheet would run as a formula.
    Safe,
    /// Letter for letter as it is on the roster: for programs, not for spreadsheets.
    Exact,
}

/// How a gradebook is written for a spreadsheet that takes it no other way.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Dialect {
    /// Semicolons between cells, and commas in numbers, as spreadsheets set to such a language read them.
    pub semicolons: bool,
    /// A byte-order mark, by which spreadsheets know that it is UTF-8.
    pub mark: bool,
}

impl Dialect {
    /// A gradebook as it is to be written.
    pub fn written(self, gradebook: &str) -> Result<String, String> {
        let mark = if self.mark { "\u{feff}" } else { "" };
        if !self.semicolons {
            return Ok(format!("{mark}{gradebook}"));
        }
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .from_reader(gradebook.as_bytes());
        let mut writer = csv::WriterBuilder::new()
            .delimiter(b';')
            .from_writer(mark.as_bytes().to_vec());
        for (row, record) in reader.records().enumerate() {
            let record = record.map_err(|why| why.to_string())?;
            let cells = (0_u16..).zip(record.iter()).map(|(column, cell)| {
                match row > 0 && column >= PEOPLE {
                    true => cell.replace('.', ","),
                    false => cell.to_owned(),
                }
            });
            writer.write_record(cells).map_err(|why| why.to_string())?;
        }
        let written = writer.into_inner().map_err(|why| why.to_string())?;
        String::from_utf8(written).map_err(|why| why.to_string())
    }
}

/// Points with two decimals; an empty cell means nothing handed in. Students who have left are left out.
pub fn gradebook_csv(term: &Term, judged: &[(Slot, Judged)], text: FreeText) -> String {
    let grades = Grades::of(judged);
    let mut columns: Vec<Points> = term
        .experiments
        .iter()
        .map(|e| Points::Experiment(e.key.clone()))
        .collect();
    columns.push(Points::Total);
    let mut header = vec!["student_id", "family_name", "given_name", "section"];
    header.extend(term.experiments.iter().map(|e| e.key.as_str()));
    header.push("total");
    let rows = term.enrolled_in_order().map(|s| {
        let people = [&*s.id, &s.family_name, &s.given_name, &s.section];
        let people = people.map(|cell| match text {
            FreeText::Safe => guarded(cell),
            FreeText::Exact => cell.to_owned(),
        });
        let grades = columns.iter().map(|column| {
            let value = grades.points(&s.id, column);
            value.map_or_else(String::new, points)
        });
        people.into_iter().chain(grades).collect::<Vec<_>>()
    });
    write_csv(&header, rows)
}

/// The same as a workbook: ids and names as text, letter for letter, points as numbers with two decimals.
pub fn gradebook_xlsx(term: &Term, judged: &[(Slot, Judged)]) -> Result<Vec<u8>, String> {
    let exact = gradebook_csv(term, judged, FreeText::Exact);
    let mut book = Workbook::new();
    let (bold, decimals) = (
        Format::new().set_bold(),
        Format::new().set_num_format("0.00"),
    );
    let sheet = book.add_worksheet();
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(exact.as_bytes());
    for (row, record) in (0_u32..).zip(reader.records()) {
        let record = record.map_err(|why| why.to_string())?;
        for (column, cell) in (0_u16..).zip(record.iter()) {
            let number = cell
                .parse::<f64>()
                .ok()
                .filter(|_| row > 0 && column >= PEOPLE);
            let written = match number {
                Some(points) => sheet.write_number_with_format(row, column, points, &decimals),
                None if cell.is_empty() => continue,
                None if row == 0 => sheet.write_string_with_format(row, column, cell, &bold),
                None => sheet.write_string(row, column, cell),
            };
            written.map_err(|why| why.to_string())?;
        }
    }
    book.save_to_buffer().map_err(|why| why.to_string())
}

/// Columns that say who somebody is.
const PEOPLE: u16 = 4;

/// Points by student and experiment.
pub(super) struct Grades<'j> {
    totals: HashMap<(&'j str, &'j str), Decimal>,
    sums: HashMap<&'j str, Decimal>,
}

impl<'j> Grades<'j> {
    pub fn of(judged: &'j [(Slot, Judged)]) -> Self {
        let (mut totals, mut sums) = (HashMap::new(), HashMap::new());
        for (slot, judged) in judged {
            let total = judged.evaluation.marks.total;
            totals.insert((slot.student.as_str(), slot.experiment.as_str()), total);
            let sum: &mut Decimal = sums.entry(slot.student.as_str()).or_default();
            *sum = sum.saturating_add(total);
        }
        Self { totals, sums }
    }

    /// None where nothing was handed in, in the total as in an experiment.
    pub fn points(&self, student: &str, what: &Points) -> Option<Decimal> {
        match what {
            Points::Experiment(key) => self.totals.get(&(student, key.as_str())).copied(),
            Points::Total => self.sums.get(student).copied(),
        }
    }
}

/// Points as they are written: two decimals.
pub(super) fn points(points: Decimal) -> String {
    to_decimals(points, 2).to_string()
}
