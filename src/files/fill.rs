//! The coordinator's own file filled in with points: which row is whose, and what each cell will say.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use super::gradebook::{Grades, points};
use super::sheet::{Filling, Sheet};
use crate::course::Student;
use crate::ids::ExperimentKey;
use crate::term::{Judged, Slot, Term};
use crate::text::unguarded;

/// How a file is to be filled in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FillChoice {
    /// The column that says whose row it is.
    pub id_column: usize,
    /// What stands in that column.
    pub by: IdKind,
    /// What goes into which column.
    pub targets: Vec<(Points, usize)>,
    /// Whether cells that say something already are replaced, or kept.
    pub replace: bool,
    /// Whether points are written with a decimal comma.
    pub decimal_comma: bool,
}

/// What names a student in somebody's file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum IdKind {
    /// The student id, letter for letter.
    #[default]
    StudentId,
    /// The e-mail address; capitals do not matter.
    Email,
}

/// Points to be written.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Points {
    /// Of the experiment with this key.
    Experiment(ExperimentKey),
    /// Of all experiments together.
    Total,
}

/// What filling a file in comes to; nothing is written yet.
#[derive(Clone, Debug, Default)]
pub struct FillPlan {
    /// Rows that are one student's.
    pub matched: usize,
    /// Cells that will say something else.
    pub written: Vec<FilledCell>,
    /// Cells that say something else already and are kept.
    pub kept: Vec<FilledCell>,
    /// Cells that say just that already.
    pub same: usize,
    /// Cells of students who handed nothing in: they are left as they are.
    pub nothing: usize,
    /// Rows nobody on the roster matches: line and what stands in the id column.
    pub strangers: Vec<(u64, String)>,
    /// Students of the course whose ids differ from those of strangers in zeros at the beginning alone.
    pub without_zeros: BTreeMap<String, String>,
    /// Rows with nothing in the id column.
    pub blank: usize,
    /// Students who have left, with their lines: their rows are not filled in.
    pub left: Vec<(u64, Student)>,
    /// Students who are in no row.
    pub missing: Vec<Student>,
    /// Ids that stand in several rows, with their lines: none of these rows is filled in.
    pub repeated: Vec<(String, Vec<u64>)>,
    /// E-mail addresses that several students share: their rows are not filled in.
    pub shared: Vec<(u64, String)>,
}

/// A cell before and after.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FilledCell {
    /// Line of the file.
    pub line: u64,
    /// Id of the student.
    pub student: String,
    /// Name of the column.
    pub column: String,
    pub before: String,
    /// What the points are.
    pub after: String,
    pub filling: Filling,
}

impl IdKind {
    /// As forms and the command line name it.
    pub fn name(self) -> &'static str {
        match self {
            Self::StudentId => "student-id",
            Self::Email => "email",
        }
    }

    /// The kind of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::StudentId, Self::Email]
            .into_iter()
            .find(|kind| kind.name() == name)
    }

    fn of_student(self, student: &Student) -> String {
        match self {
            Self::StudentId => student.id.to_string(),
            Self::Email => student.email.trim().to_lowercase(),
        }
    }

    fn of_cell(self, cell: &str) -> String {
        let cell = unguarded(cell.trim()).trim();
        // as some programs keep a spreadsheet from taking an id for a number
        let kept = cell
            .strip_prefix("=\"")
            .and_then(|rest| rest.strip_suffix('"'));
        let cell = kept.unwrap_or(cell);
        match self {
            Self::StudentId => cell.to_owned(),
            Self::Email => cell.to_lowercase(),
        }
    }
}

impl FillChoice {
    /// A choice to begin with: the column in which most cells name a student of the course, and the columns that are
    /// called like an experiment or the total.
    pub fn guess(sheet: &Sheet<'_>, term: &Term) -> Self {
        let mut choice = Self {
            id_column: 0,
            by: IdKind::StudentId,
            targets: Vec::new(),
            replace: false,
            decimal_comma: false,
        };
        let mut most = 0;
        for by in [IdKind::StudentId, IdKind::Email] {
            let named = |student: &Student| by.of_student(student);
            let known: BTreeSet<String> = term.students.iter().map(named).collect();
            for column in 0..sheet.columns().len() {
                let names = |row: &usize| {
                    let id = by.of_cell(&sheet.cell(*row, column));
                    !id.is_empty() && known.contains(&id)
                };
                let count = (0..sheet.rows()).filter(names).count();
                if count > most {
                    (most, choice.id_column, choice.by) = (count, column, by);
                }
            }
        }
        for (place, name) in sheet.columns().iter().enumerate() {
            let name = name.trim();
            let called = |text: &str| text.eq_ignore_ascii_case(name);
            let experiment = term
                .experiments
                .iter()
                .find(|e| called(&e.key) || called(&e.procedure.title));
            let what = match experiment {
                Some(experiment) => Points::Experiment(experiment.key.clone()),
                None if called("total") => Points::Total,
                None => continue,
            };
            let taken = choice.targets.iter().any(|(one, _)| *one == what);
            if place != choice.id_column && !taken {
                choice.targets.push((what, place));
            }
        }
        choice
    }

    /// What cannot be, by the field it is about: `id`, or the place of the target.
    pub fn faults(&self, sheet: &Sheet<'_>) -> Vec<(Option<usize>, String)> {
        let columns = sheet.columns();
        let mut faults = Vec::new();
        if self.targets.is_empty() {
            let what = "found no column to fill in, expected at least one";
            faults.push((None, what.to_owned()));
        }
        let named = |column: usize| columns.get(column).map_or("", |name| name.trim());
        if (0..sheet.rows()).any(|row| sheet.lacks_value(row, self.id_column)) {
            let what = format!(
                "found formulas without a value in the column \u{201c}{}\u{201d}, expected ids: open the file in a spreadsheet program and save it",
                named(self.id_column)
            );
            faults.push((None, what));
        }
        let mut taken = BTreeSet::from([self.id_column]);
        for (place, (_, column)) in self.targets.iter().enumerate() {
            let name = named(*column);
            if !taken.insert(*column) {
                let what = if *column == self.id_column {
                    format!(
                        "found \u{201c}{name}\u{201d}, which names the students, expected another column"
                    )
                } else {
                    format!("found \u{201c}{name}\u{201d} again, expected a column of its own")
                };
                faults.push((Some(place), what));
            } else if self.is_of_formulas(sheet, *column) {
                let what = format!(
                    "found formulas in the column \u{201c}{name}\u{201d}, expected points or empty cells: choose another column"
                );
                faults.push((Some(place), what));
            } else if let Some(other) = self.text_among(sheet, *column) {
                let what = format!(
                    "found \u{201c}{other}\u{201d} and the like in the column \u{201c}{name}\u{201d}, expected points or empty cells"
                );
                faults.push((Some(place), what));
            }
        }
        faults
    }

    /// Whether formulas give most of what a column says of people.
    fn is_of_formulas(&self, sheet: &Sheet<'_>, column: usize) -> bool {
        let says = |row: usize, column| !sheet.cell(row, column).trim().is_empty();
        let rows = (0..sheet.rows()).filter(|row| says(*row, self.id_column));
        let (formulas, others): (Vec<usize>, Vec<usize>) = rows
            .filter(|row| sheet.is_formula(*row, column) || says(*row, column))
            .partition(|row| sheet.is_formula(*row, column));
        formulas.len() > others.len()
    }

    /// A text in a column that holds more texts than numbers, so that it is not one of points. Rows of nobody, such as a
    /// second header, do not count.
    fn text_among(&self, sheet: &Sheet<'_>, column: usize) -> Option<String> {
        let is_of_somebody = |row: &usize| !sheet.cell(*row, self.id_column).trim().is_empty();
        let rows = (0..sheet.rows()).filter(is_of_somebody);
        let cells = rows.map(|row| sheet.cell(row, column).trim().to_owned());
        let (numbers, texts): (Vec<String>, Vec<String>) = cells
            .filter(|cell| !cell.is_empty())
            .partition(|cell| is_of_points(cell));
        (texts.len() > numbers.len())
            .then(|| texts.into_iter().next())
            .flatten()
    }

    /// What filling the file in comes to, with the points as they stand.
    pub fn plan(&self, sheet: &Sheet<'_>, term: &Term, judged: &[(Slot, Judged)]) -> FillPlan {
        let grades = Grades::of(judged);
        let columns = sheet.columns();
        let mut plan = FillPlan::default();
        let people = self.people(term);
        let rows = self.rows_by_id(sheet, &mut plan);
        let mut found = BTreeSet::new();
        for (id, rows) in rows {
            let students = people.get(&id).map_or(&[][..], Vec::as_slice);
            found.extend(students.iter().map(|s| s.id.as_str()));
            let lines = || rows.iter().map(|row| sheet.line(*row));
            match (students, rows.as_slice()) {
                ([], _) => plan
                    .strangers
                    .extend(lines().map(|line| (line, id.clone()))),
                ([student], [row]) if !student.is_enrolled() => {
                    plan.left.push((sheet.line(*row), (*student).clone()));
                }
                ([_], [row]) => {
                    plan.matched += 1;
                    for (what, column) in &self.targets {
                        let Some(value) = grades.points(&students[0].id, what) else {
                            plan.nothing += 1;
                            continue;
                        };
                        let cell = FilledCell {
                            line: sheet.line(*row),
                            student: students[0].id.to_string(),
                            column: columns
                                .get(*column)
                                .map_or_else(String::new, |c| c.trim().to_owned()),
                            before: sheet.cell(*row, *column).into_owned(),
                            after: self.written(value),
                            filling: Filling {
                                row: *row,
                                column: *column,
                                text: self.written(value),
                            },
                        };
                        plan.sort_in(cell, self.replace);
                    }
                }
                ([_], _) => plan.repeated.push((id.clone(), lines().collect())),
                _ => plan.shared.extend(lines().map(|line| (line, id.clone()))),
            }
        }
        plan.strangers.sort();
        if self.by == IdKind::StudentId {
            let bare = |id: &str| id.trim_start_matches('0').to_owned();
            let known = people.keys().map(|id| (bare(id), id));
            let known: BTreeMap<String, &String> = known.collect();
            let strangers = plan.strangers.iter();
            let alike = strangers
                .filter_map(|(_, id)| Some((id.clone(), (*known.get(&bare(id))?).clone())));
            plan.without_zeros = alike.collect();
        }
        plan.left.sort_by_key(|(line, _)| *line);
        plan.written
            .sort_by_key(|cell| (cell.line, cell.filling.column));
        plan.kept
            .sort_by_key(|cell| (cell.line, cell.filling.column));
        plan.missing = term
            .enrolled_in_order()
            .filter(|s| !found.contains(s.id.as_str()))
            .cloned()
            .collect();
        plan
    }

    fn people<'t>(&self, term: &'t Term) -> BTreeMap<String, Vec<&'t Student>> {
        let mut people: BTreeMap<String, Vec<&Student>> = BTreeMap::new();
        for student in &term.students {
            let id = self.by.of_student(student);
            if !id.is_empty() {
                people.entry(id).or_default().push(student);
            }
        }
        people
    }

    fn rows_by_id(&self, sheet: &Sheet<'_>, plan: &mut FillPlan) -> BTreeMap<String, Vec<usize>> {
        let mut rows: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for row in 0..sheet.rows() {
            let id = self.by.of_cell(&sheet.cell(row, self.id_column));
            if id.is_empty() {
                plan.blank += 1;
            } else {
                rows.entry(id).or_default().push(row);
            }
        }
        rows
    }

    fn written(&self, value: Decimal) -> String {
        let text = points(value);
        if self.decimal_comma {
            text.replace('.', ",")
        } else {
            text
        }
    }
}

/// A number as gradebooks hold them: `12`, `12.50`, `12,5`, `12/15`, `85 %`.
fn is_of_points(cell: &str) -> bool {
    let parts = cell.trim_end_matches(['%', ' ']).splitn(2, '/');
    let is_number = |part: &str| {
        let digits = part.trim().trim_start_matches(['-', '\u{2212}']);
        digits.bytes().any(|b| b.is_ascii_digit())
            && digits
                .bytes()
                .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b','))
    };
    parts.into_iter().all(is_number)
}

impl FillPlan {
    /// Whether no row has anything to do with the course, so that the column is another one or the file is.
    pub fn says_nothing(&self) -> bool {
        self.matched == 0
            && self.without_zeros.is_empty()
            && self.repeated.is_empty()
            && self.shared.is_empty()
            && self.left.is_empty()
    }

    /// What may have happened to the id of somebody whom nobody of the course is.
    pub fn remedy(&self, stranger: &str) -> Option<String> {
        let meant = self.without_zeros.get(stranger)?;
        Some(format!(
            "{meant} is: where a spreadsheet took leading zeros off, format the column as text and type the ids again"
        ))
    }

    /// The cells to write.
    pub fn fillings(&self) -> Vec<Filling> {
        self.written
            .iter()
            .map(|cell| cell.filling.clone())
            .collect()
    }

    fn sort_in(&mut self, cell: FilledCell, replace: bool) {
        if cell.before == cell.after {
            self.same += 1;
        } else if replace || cell.before.trim().is_empty() {
            self.written.push(cell);
        } else {
            self.kept.push(cell);
        }
    }
}
