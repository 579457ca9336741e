//! A course as tables for people who analyse: a row is one observation, students are known by a key that tells nothing,
//! and `dictionary.csv` is made of the same declarations as the columns.
//!
//! No name, number or address of a student is in them unless asked for, and no free text, which may hold any of these.
//! What was in the bottles, and how far results are off it, is there for experiments whose truth students are shown.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::folder::Folder;
use super::gradebook::points;
use crate::columns::Column;
use crate::course::{Experiment, Student};
use crate::ids::StudentId;
use crate::judge::{Flag, Outcome, PartMark};
use crate::measure::{Reading, from_f64, plain};
use crate::submission::Titration;
use crate::term::{Judged, Slot, Term};
use crate::text::{guarded, write_csv};

/// A course and what its students are called in the tables.
pub struct Tidy<'t> {
    pub term: &'t Term,
    pub judged: &'t [(Slot, Judged)],
    /// A key for every student, which tells nothing.
    pub keys: &'t BTreeMap<StudentId, String>,
    /// Whether the table of students says who they are.
    pub names: bool,
}

/// Name, unit and meaning of a column, and how a row writes it.
type TidyColumn<R> = (&'static str, &'static str, &'static str, fn(&R) -> String);

struct TidySubmission<'t> {
    key: &'t str,
    slot: &'t Slot,
    judged: &'t Judged,
    term: &'t Term,
}

/// A reading in its row.
struct TidyReading<'t> {
    key: &'t str,
    slot: &'t Slot,
    row: usize,
    titration: &'t Titration,
    column: Column,
    reading: &'t Reading,
}

const STUDENT: &str =
    "the student: a random key, the same in all tables and in later exports of the course";
const EXPERIMENT: &str = "key of the experiment";
const RESULT_UNIT: &str = "unit of the experiment";

impl Tidy<'_> {
    /// The tables, and the dictionary of all their columns.
    pub fn folder(&self) -> Folder {
        let mut folder = Folder::default();
        let mut dictionary = Vec::new();
        let mut tables = Tables {
            folder: &mut folder,
            dictionary: &mut dictionary,
        };
        // not in the order of the roster, which would say who is who
        let mut students: Vec<(&str, &Student)> = self
            .term
            .students
            .iter()
            .map(|student| (self.key(&student.id), student))
            .collect();
        students.sort_by_key(|(key, _)| *key);
        let mut submissions: Vec<TidySubmission<'_>> = self.submissions().collect();
        submissions.sort_by_key(|one| (one.slot.experiment.clone(), one.key));
        tables.put("experiments.csv", &experiments(), &self.term.experiments);
        tables.put("students.csv", &student_columns(self.names), &students);
        tables.put("submissions.csv", &submission_columns(), &submissions);
        let marks: Vec<_> = submissions
            .iter()
            .flat_map(|one| {
                one.judged
                    .evaluation
                    .marks
                    .parts
                    .iter()
                    .map(move |part| (one, part))
            })
            .collect();
        tables.put("marks.csv", &mark_columns(), &marks);
        let flags: Vec<_> = submissions
            .iter()
            .flat_map(|one| {
                one.judged
                    .evaluation
                    .flags
                    .iter()
                    .map(move |flag| (one, flag))
            })
            .collect();
        tables.put("flags.csv", &flag_columns(), &flags);
        let readings: Vec<_> = submissions.iter().flat_map(readings_of).collect();
        tables.put("readings.csv", &reading_columns(), &readings);
        let header = ["table", "column", "unit", "meaning"];
        folder.put("dictionary.csv", write_csv(&header, dictionary));
        folder
    }

    fn key(&self, student: &StudentId) -> &str {
        self.keys.get(student).map_or("", String::as_str)
    }

    fn submissions(&self) -> impl Iterator<Item = TidySubmission<'_>> {
        self.judged.iter().map(|(slot, judged)| TidySubmission {
            key: self.key(&slot.student),
            slot,
            judged,
            term: self.term,
        })
    }
}

struct Tables<'f> {
    folder: &'f mut Folder,
    dictionary: &'f mut Vec<[String; 4]>,
}

impl Tables<'_> {
    fn put<R>(&mut self, file: &'static str, columns: &[TidyColumn<R>], rows: &[R]) {
        let header: Vec<&str> = columns.iter().map(|(name, ..)| *name).collect();
        let cells = |row| {
            columns
                .iter()
                .map(move |(_, _, _, write)| write(row))
                .collect()
        };
        let rows: Vec<Vec<String>> = rows.iter().map(cells).collect();
        self.folder.put(file, write_csv(&header, rows));
        let table = file.trim_end_matches(".csv");
        self.dictionary
            .extend(columns.iter().map(|(name, unit, meaning, _)| {
                [table, name, unit, meaning].map(|cell| (*cell).to_owned())
            }));
    }
}

fn experiments() -> [TidyColumn<Experiment>; 7] {
    [
        ("experiment", "", EXPERIMENT, |e| e.key.to_string()),
        ("title", "", "title of its procedure", |e| {
            guarded(&e.procedure.title)
        }),
        ("unit", "", "unit of its results", |e| {
            e.procedure.result.unit.name().to_owned()
        }),
        ("trials_needed", "trials", "fewest trials to hand in", |e| {
            e.procedure.trials.minimum.to_string()
        }),
        ("possible", "points", "most points there are", |e| {
            points(e.procedure.marking.possible())
        }),
        (
            "opens",
            "local date and time",
            "when it opens, for sections without dates of their own",
            |e| e.dates.opens.to_string(),
        ),
        (
            "due",
            "local date and time",
            "when it is due, for sections without dates of their own",
            |e| e.dates.due.to_string(),
        ),
    ]
}

fn student_columns<'t>(names: bool) -> Vec<TidyColumn<(&'t str, &'t Student)>> {
    let mut columns: Vec<TidyColumn<(&'t str, &'t Student)>> = vec![
        ("student", "", STUDENT, |row| row.0.to_owned()),
        ("section", "", "the section they are in now", |row| {
            guarded(&row.1.section)
        }),
        (
            "left",
            "day",
            "when they left the course; empty: they are on it",
            |row| row.1.left.map_or_else(String::new, |day| day.to_string()),
        ),
    ];
    if names {
        columns.push(("student_id", "", "their number", |row| guarded(&row.1.id)));
        columns.push(("family_name", "", "as on the roster", |row| {
            guarded(&row.1.family_name)
        }));
        columns.push(("given_name", "", "as on the roster", |row| {
            guarded(&row.1.given_name)
        }));
        columns.push(("email", "", "as on the roster", |row| guarded(&row.1.email)));
    }
    columns
}

fn submission_columns<'t>() -> [TidyColumn<TidySubmission<'t>>; 25] {
    [
        ("experiment", "", EXPERIMENT, |row| {
            row.slot.experiment.to_string()
        }),
        ("student", "", STUDENT, |row| row.key.to_owned()),
        ("section", "", "the section the student is in now", |row| {
            guarded(row.section())
        }),
        (
            "released",
            "yes or no",
            "whether the student has the result",
            |row| {
                yes(row
                    .term
                    .released_to(&row.slot.experiment, row.section())
                    .is_some())
            },
        ),
        (
            "own_readings",
            "yes or no",
            "no: the readings are those of somebody of the same bench group, and stand in the table of readings once for each",
            |row| {
                yes(row
                    .term
                    .handed_in_by(row.slot)
                    .is_some_and(|(reader, _)| reader == row.slot))
            },
        ),
        (
            "versions",
            "versions",
            "how often readings were handed in",
            |row| {
                row.term
                    .handed_in_by(row.slot)
                    .map_or(0, |(_, all)| all.len())
                    .to_string()
            },
        ),
        (
            "submitted_at",
            "instant, UTC",
            "when the version that counts was handed in",
            |row| {
                let last = row
                    .term
                    .handed_in_by(row.slot)
                    .and_then(|(_, all)| all.last());
                let at = last.and_then(|last| last.submitted_at);
                at.map_or_else(String::new, |at| at.to_string())
            },
        ),
        ("unknown", "", "code of the bottle", |row| {
            guarded(&row.judged.evaluation.unknown)
        }),
        (
            "lot",
            "",
            "lots of the titrant, separated by spaces",
            |row| guarded(&row.judged.evaluation.titrant_lots_written()),
        ),
        (
            "trials_counted",
            "trials",
            "trials the result is the mean of",
            |row| row.outcome().map_or(0, |o| o.counted).to_string(),
        ),
        (
            "mean_delivered",
            "mL",
            "mean volume delivered in these",
            |row| number(row.outcome().and_then(|o| o.mean_delivered)),
        ),
        (
            "result",
            RESULT_UNIT,
            "mean of the results of these trials, recomputed from the readings",
            |row| number(row.outcome().map(|o| o.result)),
        ),
        (
            "reported",
            RESULT_UNIT,
            "the student\u{2019}s own answer, as written",
            |row| {
                let hand_in = row.term.hand_in_of(row.slot);
                let reported = hand_in.and_then(|hand_in| hand_in.reported.clone());
                reported.map_or_else(String::new, |reading| guarded(reading.written()))
            },
        ),
        (
            "std_dev",
            RESULT_UNIT,
            "sample standard deviation of these results",
            |row| number(row.outcome().and_then(|o| o.std_dev)),
        ),
        (
            "range_percent",
            "% of the result",
            "range of these results",
            |row| number(row.outcome().and_then(|o| o.range_percent)),
        ),
        (
            "standard_uncertainty",
            RESULT_UNIT,
            "standard uncertainty of the result",
            |row| number(row.outcome().map(|o| o.standard_uncertainty)),
        ),
        (
            "expanded_uncertainty",
            RESULT_UNIT,
            "expanded uncertainty, for 95 %",
            |row| number(row.outcome().map(|o| o.expanded_uncertainty)),
        ),
        (
            "true_value",
            RESULT_UNIT,
            "what was in the bottle; empty unless students are shown it",
            |row| number(row.truth_shown().and(row.judged.evaluation.true_value)),
        ),
        (
            "off_percent",
            "% of the true value",
            "how far the result is off what was in the bottle, with its sign; empty unless students are shown that",
            |row| {
                let told = row.term.told(row.slot, row.judged);
                number(told.and_then(|told| told.off_percent))
            },
        ),
        ("late", "points", "lost for lateness", |row| {
            points(row.judged.evaluation.marks.late)
        }),
        (
            "adjustment",
            "points",
            "added or taken off by a person",
            |row| points(row.judged.evaluation.marks.adjustment),
        ),
        (
            "total",
            "points",
            "the parts of the table of marks, less late, plus adjustment, between 0 and possible",
            |row| points(row.judged.evaluation.marks.total),
        ),
        ("possible", "points", "most points there were", |row| {
            points(row.judged.evaluation.marks.possible)
        }),
        (
            "likely_slip",
            "",
            "code of the slip that explains what is wrong far better than any other; several separated by spaces",
            |row| {
                let explained = row.judged.evaluation.explanations().into_iter();
                let likely = explained.filter_map(|one| Some(one.likely()?.code.code()));
                likely.collect::<Vec<_>>().join(" ")
            },
        ),
        (
            "status",
            "",
            "clear, to-review, returned or settled",
            |row| row.judged.status.name().to_owned(),
        ),
    ]
}

fn mark_columns<'t>() -> [TidyColumn<(&'t TidySubmission<'t>, &'t PartMark)>; 5] {
    [
        ("experiment", "", EXPERIMENT, |row| {
            row.0.slot.experiment.to_string()
        }),
        ("student", "", STUDENT, |row| row.0.key.to_owned()),
        ("part", "", "part of the marking", |row| {
            row.1.part.to_string()
        }),
        ("points", "points", "given for it", |row| {
            points(row.1.points)
        }),
        ("possible", "points", "most there are for it", |row| {
            points(row.1.possible)
        }),
    ]
}

fn flag_columns<'t>() -> [TidyColumn<(&'t TidySubmission<'t>, &'t Flag)>; 4] {
    [
        ("experiment", "", EXPERIMENT, |row| {
            row.0.slot.experiment.to_string()
        }),
        ("student", "", STUDENT, |row| row.0.key.to_owned()),
        ("flag", "", "code of what a person should look at", |row| {
            row.1.code.code().to_owned()
        }),
        (
            "chance",
            "probability",
            "that clean work raises it; 0 where chance has no part in it",
            |row| number(from_f64(row.1.chance, 10)),
        ),
    ]
}

fn reading_columns<'t>() -> [TidyColumn<TidyReading<'t>>; 7] {
    [
        ("experiment", "", EXPERIMENT, |row| {
            row.slot.experiment.to_string()
        }),
        ("student", "", STUDENT, |row| row.key.to_owned()),
        ("row", "", "row of the version that counts, from 1", |row| {
            row.row.to_string()
        }),
        (
            "trial",
            "",
            "1, 2, \u{2026}, rough, blank or a standard",
            |row| row.titration.trial.to_string(),
        ),
        (
            "spoiled",
            "yes or no",
            "whether the student said that the row is not to count",
            |row| yes(row.titration.spoiled.is_some()),
        ),
        (
            "column",
            "",
            "what was read; its unit ends the name",
            |row| row.column.to_string(),
        ),
        (
            "written",
            "as the column says",
            "the reading exactly as it was written",
            |row| guarded(row.reading.written()),
        ),
    ]
}

fn readings_of<'t>(one: &TidySubmission<'t>) -> Vec<TidyReading<'t>> {
    let read = one
        .term
        .handed_in_by(one.slot)
        .and_then(|(_, all)| all.last());
    let rows = read
        .into_iter()
        .flat_map(|last| &last.hand_in.titrations)
        .enumerate();
    let (key, slot) = (one.key, one.slot);
    rows.flat_map(|(at, titration)| {
        titration
            .readings
            .iter()
            .map(move |(column, reading)| TidyReading {
                key,
                slot,
                row: at.saturating_add(1),
                titration,
                column: *column,
                reading,
            })
    })
    .collect()
}

impl TidySubmission<'_> {
    fn section(&self) -> &str {
        let student = self.term.student(&self.slot.student);
        student.map_or("", |student| student.section.as_str())
    }

    fn outcome(&self) -> Option<&Outcome> {
        self.judged.evaluation.outcome.as_ref()
    }

    fn truth_shown(&self) -> Option<()> {
        self.term.shows_truth(&self.slot.experiment).then_some(())
    }
}

fn yes(is_so: bool) -> String {
    if is_so { "yes" } else { "no" }.to_owned()
}

fn number(value: Option<Decimal>) -> String {
    value.map(plain).unwrap_or_default()
}
