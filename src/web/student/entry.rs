//! What is typed into the bench form, as text, and how it becomes a hand-in.

use std::collections::BTreeSet;

use super::entry_curve::pasted_field;
use super::instruments::lot_labels;
use crate::columns::{Cells, Column, MAX_FILLINGS, read_cells};
use crate::ids::{LotCode, UnknownCode};
use crate::judge::{questions, refusals};
use crate::language::{Message, message};
use crate::measure::Reading;
use crate::procedure::Procedure;
use crate::submission::{HandIn, Titration, TrialLabel, spoiled_because};
use crate::text::{code, shown};
use crate::web::Fields;

/// The bench form as it is typed. Nothing of it is lost, whatever is wrong with it.
#[derive(Clone, Debug, Default)]
pub struct Entry {
    /// Names the request, from the first look at the form to the receipt.
    pub key: String,
    /// Revisions the student had when the form was opened.
    pub seen: usize,
    pub lot: String,
    pub excess_lot: String,
    /// Code on the bottle.
    pub unknown: String,
    /// Number on the burette; empty if it has none.
    pub instrument: String,
    /// The student's own answer.
    pub reported: String,
    /// Why it corrects what was handed in.
    pub reason: String,
    pub confirmed: BTreeSet<String>,
    /// Blank, rough and numbered titrations, in the order of the form.
    pub rows: Vec<EntryRow>,
}

/// One titration as it is typed.
#[derive(Clone, Debug)]
pub struct EntryRow {
    pub trial: TrialLabel,
    pub cells: Cells,
    /// What went wrong with a numbered trial that is not to count; empty if nothing did.
    pub spoiled: String,
    /// A curve as it was pasted or came in a file, until it is put into the table.
    pub pasted: String,
}

/// Something wrong with a field, beside which it is said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldFault {
    /// Name of the field.
    pub field: String,
    /// What people call it.
    pub label: Message,
    /// What was found and what was expected.
    pub what: Message,
}

/// Something odd about a field, which the student may stand by.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Doubt {
    /// Names it in the record.
    pub id: String,
    /// Name of the field.
    pub field: String,
    /// What people call the field.
    pub label: Message,
    pub text: Message,
}

/// Most numbered trials of the form.
pub const MOST_TRIALS: u32 = 12;
/// Fillings of the burette the form offers for a titration.
pub const FILLINGS: usize = 3;

/// The same, or the points of a curve.
fn offered(procedure: &Procedure) -> usize {
    match Column::most(procedure) {
        MAX_FILLINGS => FILLINGS,
        points => points,
    }
}

impl Entry {
    /// An empty form for a procedure.
    pub fn empty(procedure: &Procedure, key: String) -> Self {
        let labels = labels(procedure, procedure.trials.minimum);
        Self {
            key,
            rows: labels.into_iter().map(EntryRow::empty).collect(),
            ..Self::default()
        }
    }

    /// The form filled with what was handed in before.
    pub fn of_hand_in(procedure: &Procedure, hand_in: &HandIn, seen: usize, key: String) -> Self {
        let mut entry = Self {
            seen,
            ..Self::empty(procedure, key)
        };
        let first = hand_in.titrations.first();
        entry.lot = first
            .and_then(|t| t.lot.as_deref())
            .unwrap_or_default()
            .to_owned();
        entry.excess_lot = first
            .and_then(|t| t.excess_lot.as_deref())
            .unwrap_or_default()
            .to_owned();
        entry.unknown = hand_in
            .unknown_written()
            .map_or("", UnknownCode::as_str)
            .to_owned();
        entry.instrument = first.and_then(|t| t.instrument.clone()).unwrap_or_default();
        entry.reported = hand_in
            .reported
            .as_ref()
            .map(|r| r.written().to_owned())
            .unwrap_or_default();
        for titration in &hand_in.titrations {
            let columns = Column::with_notes(procedure, titration.fillings()).into_iter();
            let cells = columns
                .filter_map(|c| Some((c, c.get(titration)?.written().to_owned())))
                .collect();
            let row = EntryRow {
                trial: titration.trial,
                cells,
                spoiled: titration.spoiled.clone().unwrap_or_default(),
                pasted: String::new(),
            };
            match entry
                .rows
                .iter_mut()
                .find(|known| known.trial == row.trial && known.is_blank())
            {
                Some(known) => *known = row,
                None => entry.rows.push(row),
            }
        }
        entry
    }

    /// Reads the fields of the form.
    pub fn of_fields(procedure: &Procedure, fields: &Fields) -> Self {
        let text = |name: &str| fields.text(name).to_owned();
        let trials = fields
            .text("trials")
            .parse::<u32>()
            .unwrap_or(procedure.trials.minimum);
        let rows = labels(procedure, trials.clamp(1, MOST_TRIALS));
        let columns = Column::with_notes(procedure, offered(procedure));
        let row = |trial: TrialLabel| {
            let cell = |column: &Column| {
                let typed = fields.one(&field_name(trial, *column))?;
                (!typed.is_empty()).then(|| (*column, typed.to_owned()))
            };
            EntryRow {
                trial,
                cells: columns.iter().filter_map(cell).collect(),
                spoiled: fields.text(&spoiled_field(trial)).trim().to_owned(),
                pasted: fields
                    .one(&pasted_field(trial))
                    .unwrap_or_default()
                    .to_owned(),
            }
        };
        Self {
            key: text("key"),
            seen: fields.text("seen").parse().unwrap_or(0),
            lot: text("lot"),
            excess_lot: text("excess_lot"),
            unknown: text("unknown"),
            instrument: text("instrument"),
            reported: text("reported"),
            reason: text("reason"),
            confirmed: fields.list("stand[]").map(str::to_owned).collect(),
            rows: rows.into_iter().map(row).collect(),
        }
    }

    /// Whether nothing is typed that a student reads or reckons.
    pub fn is_empty(&self) -> bool {
        self.reported.is_empty() && self.rows.iter().all(EntryRow::is_blank)
    }

    /// How many numbered trials the form shows.
    pub fn trials(&self) -> u32 {
        self.rows
            .iter()
            .filter_map(|row| row.trial.number())
            .max()
            .unwrap_or(0)
    }

    /// Room for one more trial, if there is any.
    pub fn add_trial(&mut self) {
        let next = self.trials().saturating_add(1);
        if next <= MOST_TRIALS {
            self.rows.push(EntryRow::empty(TrialLabel::Numbered(next)));
        }
    }

    /// Starts a trial where the one before ended.
    pub fn carry(&mut self, procedure: &Procedure, trial: &str) -> Result<(), FieldFault> {
        let Ok(TrialLabel::Numbered(number)) = TrialLabel::parse(trial) else {
            return Ok(());
        };
        let (from, to) = (
            TrialLabel::Numbered(number.saturating_sub(1)),
            TrialLabel::Numbered(number),
        );
        let ends = Column::of_row(procedure, from, FILLINGS)
            .into_iter()
            .filter(|column| column.is_end());
        let before = self.rows.iter().find(|row| row.trial == from);
        let read = |column: Column| before?.cells.get(&column).filter(|text| !text.is_empty());
        let last = ends.filter_map(read).next_back().cloned();
        let start = Column::BuretteStart(1);
        let last = last.ok_or_else(|| FieldFault {
            field: field_name(to, start),
            label: label(to, start),
            what: message!("bench.fault.no-end", n = number.saturating_sub(1)),
        })?;
        if let Some(row) = self.rows.iter_mut().find(|row| row.trial == to) {
            row.cells.insert(start, last);
        }
        Ok(())
    }

    /// What can be read of it so far, and what is wrong with what is typed. What is not typed yet is not wrong.
    pub fn so_far(&self, procedure: &Procedure) -> (HandIn, Vec<FieldFault>) {
        let (mut hand_in, mut faults) = (HandIn::default(), Vec::new());
        for row in self.rows.iter().filter(|row| !row.is_blank()) {
            let mut titration = Titration::new(row.trial);
            titration.spoiled = (!row.spoiled.is_empty()).then(|| row.spoiled.clone());
            let mut wrong: Vec<(Column, Message)> = Vec::new();
            for (column, text) in row.cells.iter().filter(|(_, text)| !text.trim().is_empty()) {
                match column.parse(text.trim()) {
                    Ok(reading) => drop(titration.readings.insert(*column, reading)),
                    Err(why) => wrong.push((*column, why.into())),
                }
            }
            let refused = refusals(procedure, hand_in.titrations.len(), &titration);
            wrong.extend(refused.into_iter().map(|q| (q.column, q.text)));
            if wrong.is_empty() {
                hand_in.titrations.push(titration);
            }
            faults.extend(wrong.into_iter().map(|(column, what)| FieldFault {
                field: field_name(row.trial, column),
                label: label(row.trial, column),
                what,
            }));
        }
        (hand_in, faults)
    }

    /// The hand-in, or everything wrong with the fields. Titrations with nothing typed are left out.
    pub fn read(
        &self,
        procedure: &Procedure,
        has_lot: impl Fn(&str) -> bool,
    ) -> Result<HandIn, Vec<FieldFault>> {
        let mut faults = Vec::new();
        let mut titrations = Vec::new();
        let lot = |code: &str,
                   needed: bool,
                   field: &str,
                   label: &Message,
                   faults: &mut Vec<FieldFault>| {
            if needed && !has_lot(code) {
                let what = match code {
                    "" => message!("bench.fault.lot-none"),
                    code => message!("bench.fault.lot", code = code),
                };
                faults.push(FieldFault {
                    field: field.into(),
                    label: label.clone(),
                    what,
                });
            }
            (!code.is_empty()).then(|| LotCode::new(code))
        };
        let [lot_label, excess_label] = lot_labels(procedure);
        let titrant = lot(
            &self.lot,
            procedure.uses_titrant_lot(),
            "lot",
            &lot_label,
            &mut faults,
        );
        let needs_excess = procedure.uses_excess_lot() && !procedure.trials.blank;
        let excess = lot(
            &self.excess_lot,
            needs_excess,
            "excess_lot",
            &excess_label,
            &mut faults,
        );
        for row in self.rows.iter().filter(|row| !row.is_blank()) {
            let fault = |column: Column, what: Message| FieldFault {
                field: field_name(row.trial, column),
                label: label(row.trial, column),
                what,
            };
            match read_cells(procedure, row.trial, &row.cells) {
                Err(found) => {
                    faults.extend(found.into_iter().map(|(column, what)| fault(column, what)))
                }
                Ok(read) => {
                    let titration = Titration {
                        trial: row.trial,
                        lot: titrant.clone(),
                        excess_lot: excess.clone(),
                        unknown: (!self.unknown.is_empty())
                            .then(|| UnknownCode::new(self.unknown.as_str())),
                        instrument: (!self.instrument.is_empty()).then(|| self.instrument.clone()),
                        spoiled: (!row.spoiled.is_empty()).then(|| row.spoiled.clone()),
                        readings: read,
                        submitted_at: None,
                    };
                    let refused = refusals(procedure, titrations.len(), &titration);
                    faults.extend(refused.into_iter().map(|q| fault(q.column, q.text)));
                    titrations.push(titration);
                }
            }
        }
        let field_fault = |field: &str, label: Message, what: Message| FieldFault {
            field: field.to_owned(),
            label,
            what,
        };
        for row in self.rows.iter().filter(|row| !row.spoiled.is_empty()) {
            if spoiled_because(&row.spoiled).is_err() {
                let label = message!("bench.of-trial-spoiled", trial = trial_words(row.trial));
                let what = message!("reading.spoiled-long");
                faults.push(field_fault(&spoiled_field(row.trial), label, what));
            }
        }
        if titrations.is_empty() && faults.is_empty() {
            let trial = TrialLabel::Numbered(1);
            let first = Column::of_row(procedure, trial, 1).first().copied();
            let what = message!("bench.fault.nothing");
            faults.push(field_fault(
                &first
                    .map(|first| field_name(trial, first))
                    .unwrap_or_default(),
                trial_words(trial),
                what,
            ));
        }
        if self.unknown.chars().count() > 40 {
            let what = message!("bench.fault.long-code");
            faults.push(field_fault("unknown", message!("bench.code"), what));
        }
        if !self.instrument.is_empty() && code(&self.instrument).is_err() {
            let what = message!("form.code", found = shown(&self.instrument));
            let label = Message::new(instrument_label(procedure));
            faults.push(field_fault("instrument", label, what));
        }
        let reported = match self.reported.as_str() {
            "" => None,
            text => Reading::parse_answer_in(text, |unit| procedure.result.unit.is_written(unit))
                .map_err(|why| {
                    faults.push(field_fault(
                        "reported",
                        message!("bench.answer"),
                        why.into(),
                    ))
                })
                .ok(),
        };
        if self.seen > 0 && self.reason.is_empty() {
            let what = message!("bench.fault.reason");
            faults.push(field_fault("reason", message!("bench.reason-short"), what));
        }
        if faults.is_empty() {
            Ok(HandIn {
                titrations,
                reported,
                confirmed: self.confirmed.iter().cloned().collect(),
            })
        } else {
            Err(faults)
        }
    }
}

/// What is odd about a hand-in.
pub fn doubts(
    procedure: &Procedure,
    hand_in: &HandIn,
    issued: Option<&str>,
    is_bottle: impl Fn(&str) -> bool,
) -> Vec<Doubt> {
    let mut doubts: Vec<Doubt> = questions(procedure, hand_in)
        .into_iter()
        .filter_map(|question| {
            let titration = hand_in.titrations.get(question.row)?;
            let (id, label) = (question.id(), label(titration.trial, question.column));
            Some(Doubt {
                id,
                field: field_name(titration.trial, question.column),
                label,
                text: question.text,
            })
        })
        .collect();
    let written = hand_in.unknown_written();
    let other = |code: &&UnknownCode| issued.is_none_or(|own| !own.eq_ignore_ascii_case(code));
    if let Some(code) = written.filter(other) {
        let text = match (is_bottle(code), issued) {
            (true, None) => return doubts,
            (true, Some(own)) => {
                message!("bench.doubt.other-bottle", code = code.as_str(), own = own)
            }
            (false, _) => message!("bench.doubt.no-bottle", code = code.as_str()),
        };
        doubts.push(Doubt {
            id: "unknown".into(),
            field: "unknown".into(),
            label: message!("bench.code"),
            text,
        });
    }
    doubts
}

impl EntryRow {
    fn empty(trial: TrialLabel) -> Self {
        Self {
            trial,
            cells: Cells::new(),
            spoiled: String::new(),
            pasted: String::new(),
        }
    }

    /// Nothing is typed in it.
    pub fn is_blank(&self) -> bool {
        self.cells.values().all(|text| text.trim().is_empty())
    }
}

/// The rows of the form, in the order in which they are measured.
fn labels(procedure: &Procedure, trials: u32) -> Vec<TrialLabel> {
    let mut labels = procedure.rows_before_trials();
    labels.extend((1..=trials).map(TrialLabel::Numbered));
    labels
}

/// Name of the field of a reading.
pub fn field_name(trial: TrialLabel, column: Column) -> String {
    format!("{trial}.{column}")
}

/// Name of the field that says why a trial is spoiled.
pub fn spoiled_field(trial: TrialLabel) -> String {
    format!("{trial}.spoiled")
}

/// The key of what people call the number on what is read.
pub fn instrument_label(procedure: &Procedure) -> &'static str {
    if procedure.burette().is_some() {
        "bench.burette-number"
    } else {
        "bench.instrument-number"
    }
}

/// What people call a reading.
pub fn label(trial: TrialLabel, column: Column) -> Message {
    let trial = trial_words(trial);
    message!("reading.of-trial", trial = trial, reading = column.words())
}

/// What people call a titration, in English.
pub fn title(trial: TrialLabel) -> String {
    trial_words(trial).to_string()
}

/// What people call a titration.
pub fn trial_words(trial: TrialLabel) -> Message {
    match trial {
        TrialLabel::Numbered(n) => message!("trial.numbered", n = n),
        TrialLabel::Rough => message!("trial.rough"),
        TrialLabel::Blank => message!("trial.blank"),
        TrialLabel::Standard(n) => message!("trial.standard", n = n),
    }
}
