//! `readings/KEY.csv` and `superseded/KEY.csv`: a row per titration, read into drafts by student.

use std::collections::{BTreeMap, HashMap};

use jiff::Timestamp;

use super::set_aside::{Aside, set_aside};
use crate::columns::{Cells, Column, read_cells};
use crate::ids::{ExperimentKey, LotCode, StudentId, UnknownCode};
use crate::judge::{refusals, row_label};
use crate::procedure::Procedure;
use crate::submission::{Titration, TrialLabel, spoiled_because};
use crate::text::{
    Columns, Fault, Known, Once, Row, Table, again, code, found, instant, is_hopeless, whole,
};

/// What the rows of one student (in a superseded file: of one revision) say.
#[derive(Default)]
pub(super) struct Draft {
    pub line: u64,
    pub titrations: Vec<Titration>,
    /// Number of the revision, where a row says it.
    pub revision: Option<u32>,
    pub reason: String,
    pub confirmed: Vec<String>,
    pub submitted_at: Option<Timestamp>,
}

/// Drafts by student, then by revision as the file says it; 0 where a current file says none.
pub(super) type Drafts = HashMap<StudentId, BTreeMap<u32, Draft>>;

/// Columns of our own at the end.
pub(super) const OWN: [&str; 3] = ["revision", "reason", "confirmed"];
/// The number on the burette, last of all.
pub(super) const INSTRUMENT: &str = "instrument";
/// What went wrong with a trial that is not used.
pub(super) const SPOILED: &str = "spoiled";
pub(super) const MOST_REVISIONS: u32 = 10_000;

struct Reader<'r> {
    procedure: &'r Procedure,
    known: &'r Known,
    table: Table<'r>,
    readings: Vec<(Column, usize)>,
}

/// Reads the rows of one experiment.
pub(super) fn read_readings(
    (key, file): (&ExperimentKey, &str),
    bytes: &[u8],
    procedure: &Procedure,
    known: &Known,
    superseded: bool,
    mut aside: Aside,
    faults: &mut Vec<Fault>,
) -> Drafts {
    let mut drafts = Drafts::new();
    let Some(table) = Table::read(file, bytes, &columns(procedure, superseded), faults) else {
        return drafts;
    };
    for start in refills(procedure) {
        let Some(end) = start.end() else {
            continue;
        };
        let there = [start, end].map(|column| table.has(&column.to_string()));
        if there[0] != there[1] {
            let lacking = if there[0] { end } else { start };
            let what = format!("found no column {lacking}, expected one beside its other half");
            faults.push(
                Fault::of_file(file, what)
                    .at(1)
                    .in_column(lacking.to_string()),
            );
            return drafts;
        }
    }
    let readings = Column::with_notes(procedure, Column::most(procedure))
        .into_iter()
        .filter_map(|column| Some((column, table.place(&column.to_string())?)))
        .collect();
    let reader = Reader {
        procedure,
        known,
        table,
        readings,
    };
    let mut once = Once::new();
    let at_first = faults.len();
    for row in &reader.table.rows {
        if is_hopeless(file, row.line, at_first, faults) {
            break;
        }
        let before = faults.len();
        reader.row(row, superseded, &mut drafts, &mut once, faults);
        let whose = (Some(key), known);
        if aside.is_some() {
            let own = faults.split_off(before);
            set_aside(&mut aside, (&reader.table, row), whose, own);
        }
    }
    drafts
}

/// Columns of second and later fillings.
fn refills(procedure: &Procedure) -> impl Iterator<Item = Column> {
    let columns = Column::of(procedure, Column::most(procedure));
    columns.into_iter().filter(|column| column.is_of_refill())
}

fn columns(procedure: &Procedure, superseded: bool) -> Columns {
    let mut columns = Columns::new(&["student_id", "trial", "lot", "unknown"], &[]);
    if procedure.uses_excess_lot() {
        let excess = if procedure.trials.blank {
            &mut columns.optional
        } else {
            &mut columns.required
        };
        excess.push("excess_lot".to_owned());
    }
    columns
        .required
        .extend(Column::of(procedure, 1).iter().map(ToString::to_string));
    columns
        .optional
        .extend(refills(procedure).map(|column| column.to_string()));
    let notes = Column::with_notes(procedure, 1).into_iter();
    let notes = notes.filter(|column| column.is_note(procedure));
    columns
        .optional
        .extend(notes.map(|column| column.to_string()));
    columns.optional.push("submitted_at".to_owned());
    let own = OWN.map(str::to_owned);
    if superseded {
        columns.required.push(OWN[0].to_owned());
        columns.optional.extend(own.into_iter().skip(1));
    } else {
        columns.optional.extend(own);
    }
    columns.optional.push(INSTRUMENT.to_owned());
    columns.optional.push(SPOILED.to_owned());
    columns
}

impl Reader<'_> {
    fn row(
        &self,
        row: &Row,
        superseded: bool,
        drafts: &mut Drafts,
        once: &mut Once<(StudentId, u32, TrialLabel)>,
        faults: &mut Vec<Fault>,
    ) {
        let table = &self.table;
        let before = faults.len();
        let student = table.get(row, "student_id", |text| self.known.student(text), faults);
        let number = |text: &str| whole(text, 1..=MOST_REVISIONS);
        let revision = if superseded {
            table.get(row, "revision", number, faults)
        } else {
            table.get_if_any(row, "revision", number, faults)
        };
        let submitted_at = table.get_if_any(row, "submitted_at", instant, faults);
        let (Some(student), true) = (student, revision.is_some() || !superseded) else {
            // the readings are looked at all the same, so that one look shows every fault
            self.titration(row, submitted_at, faults);
            return;
        };
        let place = if superseded {
            revision.unwrap_or_default()
        } else {
            0
        };
        let titration = if self.is_empty(row) {
            None
        } else {
            let Some(titration) = self.titration(row, submitted_at, faults) else {
                drafts.entry(student).or_default().entry(place).or_default();
                return;
            };
            if titration.trial.number().is_some()
                && let Some(first) = once.seen((student.clone(), place, titration.trial), row.line)
            {
                faults.push(table.fault(row, "trial", again(&titration.trial.to_string(), first)));
            }
            Some(titration)
        };
        let draft = drafts.entry(student).or_default().entry(place).or_default();
        if draft.line == 0 {
            draft.line = row.line;
        }
        self.of_hand_in(row, draft, revision, faults);
        draft.submitted_at = draft.submitted_at.max(submitted_at);
        if faults.len() == before {
            draft.titrations.extend(titration);
        }
    }

    /// A row that stands for a hand-in without titrations: it has no trial and no reading, but a time or a revision.
    fn is_empty(&self, row: &Row) -> bool {
        let blank = |name: &str| self.table.cell(row, name).trim().is_empty();
        let says_something = ["submitted_at", "revision", "reason", "confirmed"]
            .iter()
            .any(|name| !blank(name));
        blank("trial")
            && says_something
            && self
                .readings
                .iter()
                .all(|(_, place)| row.at(*place).trim().is_empty())
    }

    /// What is said once for the whole hand-in, in any of its rows.
    fn of_hand_in(
        &self,
        row: &Row,
        draft: &mut Draft,
        revision: Option<u32>,
        faults: &mut Vec<Fault>,
    ) {
        let table = &self.table;
        let other = |first: u64| format!("nothing, or what line {first} says of the same hand-in");
        match (draft.revision, revision) {
            (Some(first), Some(now)) if first != now => {
                faults.push(table.fault(
                    row,
                    "revision",
                    found(&now.to_string(), &other(draft.line)),
                ));
            }
            (None, Some(now)) => draft.revision = Some(now),
            _ => {}
        }
        let reason = table.cell(row, "reason");
        if draft.reason.is_empty() {
            reason.clone_into(&mut draft.reason);
        } else if !reason.is_empty() && reason != draft.reason {
            faults.push(table.fault(row, "reason", found(reason, &other(draft.line))));
        }
        let confirmed: Vec<String> = table
            .cell(row, "confirmed")
            .split_whitespace()
            .map(str::to_owned)
            .collect();
        if draft.confirmed.is_empty() {
            draft.confirmed = confirmed;
        } else if !confirmed.is_empty() && confirmed != draft.confirmed {
            faults.push(table.fault(
                row,
                "confirmed",
                found(&confirmed.join(" "), &other(draft.line)),
            ));
        }
    }

    fn titration(
        &self,
        row: &Row,
        submitted_at: Option<Timestamp>,
        faults: &mut Vec<Fault>,
    ) -> Option<Titration> {
        let (table, procedure) = (&self.table, self.procedure);
        let before = faults.len();
        let trial = table.get(
            row,
            "trial",
            |text| row_label(procedure, TrialLabel::parse(text)?),
            faults,
        );
        let lot = |used: bool| {
            move |text: &str| {
                if used {
                    self.known.lot(text)
                } else {
                    LotCode::parse(text)
                }
            }
        };
        let titrant = table.get_if_any(row, "lot", lot(procedure.uses_titrant_lot()), faults);
        let excess_lot =
            table.get_if_any(row, "excess_lot", lot(procedure.uses_excess_lot()), faults);
        // a code that no bottle has is the student's mistake and raises a flag; it is no fault of the file
        let unknown = table.get_if_any(row, "unknown", UnknownCode::parse, faults);
        let instrument = table.get_if_any(row, INSTRUMENT, code, faults);
        let spoiled = table.get_if_any(row, SPOILED, spoiled_because, faults);
        let cells: Cells = self
            .readings
            .iter()
            .map(|(column, place)| (*column, row.at(*place).to_owned()))
            .collect();
        let read = read_cells(procedure, trial.unwrap_or(TrialLabel::Rough), &cells);
        let read =
            match read {
                Ok(read) => read,
                Err(more) => {
                    faults.extend(more.into_iter().map(|(column, what)| {
                        table.fault(row, &column.to_string(), what.to_string())
                    }));
                    return None;
                }
            };
        let titration = Titration {
            trial: trial.unwrap_or(TrialLabel::Rough),
            lot: titrant,
            excess_lot,
            unknown,
            instrument,
            spoiled,
            readings: read,
            submitted_at,
        };
        let refused = refusals(procedure, 0, &titration).into_iter();
        faults.extend(refused.map(|q| table.fault(row, &q.column.to_string(), q.text.to_string())));
        (faults.len() == before).then_some(titration)
    }
}
