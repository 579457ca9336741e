//! Somebody of staff enters what can be read of a row that was set aside. The row stays as it was written.

use std::sync::Arc;

use jiff::Timestamp;

use super::{Desk, ReviewError};
use crate::changes::{Change, HandInMade, HandedIn, UnreadRow};
use crate::columns::{Cells, Column, read_cells};
use crate::ids::{LotCode, UnknownCode};
use crate::judge::{refusals, row_label};
use crate::language::Message;
use crate::measure::Reading;
use crate::procedure::Procedure;
use crate::store::StoreError;
use crate::submission::{Titration, TrialLabel};
use crate::term::{Revision, Slot};

/// What could be read of a row.
#[derive(Clone, Debug, PartialEq)]
pub enum RowRead {
    Titration(Box<Titration>),
    Answer(Reading),
}

/// Reads what was typed for a row: the trial, and a cell for every column.
///
/// # Errors
/// What is wrong with each field, by its name.
pub fn read_row(
    procedure: &Procedure,
    row: &UnreadRow,
    typed: impl Fn(&str) -> String,
) -> Result<RowRead, Vec<(String, String)>> {
    let one = |name: &str, what: String| vec![(name.to_owned(), what)];
    if row.is_answer() {
        let unit = procedure.result.unit;
        let answer = Reading::parse_answer_in(&typed("value"), |text| unit.is_written(text));
        let answer = answer.map_err(|why| one("value", why.to_string()))?;
        return Ok(RowRead::Answer(answer));
    }
    let trial = TrialLabel::parse(&typed("trial")).and_then(|label| row_label(procedure, label));
    let trial = trial.map_err(|what| one("trial", what))?;
    let columns = Column::of_row(procedure, trial, row.fillings());
    let cells: Cells = columns
        .into_iter()
        .map(|column| (column, typed(&column.to_string())))
        .collect();
    let named = |(column, what): (Column, Message)| (column.to_string(), what.to_string());
    let read = read_cells(procedure, trial, &cells);
    let readings = read.map_err(|faults| faults.into_iter().map(named).collect::<Vec<_>>())?;
    let written = |name: &str| {
        row.row
            .get(name)
            .map(|text| text.trim())
            .filter(|t| !t.is_empty())
    };
    let lot = |name: &str| written(name).and_then(|text| LotCode::parse(text).ok());
    let titration = Titration {
        lot: lot("lot"),
        excess_lot: lot("excess_lot"),
        unknown: written("unknown").and_then(|text| UnknownCode::parse(text).ok()),
        instrument: written("instrument").map(str::to_owned),
        readings,
        ..Titration::new(trial)
    };
    let refused = refusals(procedure, 0, &titration);
    match refused.is_empty() {
        true => Ok(RowRead::Titration(Box::new(titration))),
        false => Err(refused
            .into_iter()
            .map(|question| named((question.column, question.text)))
            .collect()),
    }
}

/// Hands in another version for a student, with the row that was set aside as somebody can read it. `seen` is how many
/// versions the page showed.
pub async fn enter_row(
    desk: &Desk,
    slot: Slot,
    (line, file): (u32, &str),
    read: RowRead,
    seen: usize,
    (login, at): (&str, Timestamp),
) -> Result<(), ReviewError> {
    desk.apply_if(login, at, |image| {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let rows = term.set_aside.get(&slot).into_iter().flatten();
        let mut rows = rows.filter(|row| row.line == line && row.file == file);
        let revisions = term.submissions.get(&slot).map_or(&[][..], Vec::as_slice);
        let (Some(row), Some(last)) = (rows.next(), revisions.last()) else {
            return Err(ReviewError::NotFound);
        };
        if revisions.len() != seen {
            return Err(ReviewError::Stale);
        }
        let mut revision = Revision {
            // what somebody else enters makes nobody late
            submitted_at: last.submitted_at.or(last.hand_in.submitted_at()),
            reason: format!("{} by {login}", row.entered_because()),
            receipt: None,
            hand_in: last.hand_in.clone(),
        };
        match read {
            RowRead::Titration(titration) => {
                let trial = titration.trial;
                let numbered = |one: &Titration| one.trial.number();
                let titrations = &mut Arc::make_mut(&mut revision.hand_in).titrations;
                if trial.number().is_some() && titrations.iter().any(|one| one.trial == trial) {
                    return Err(ReviewError::TrialThere(trial.to_string()));
                }
                // among the numbered ones by its number, else behind all
                let after = |one: &Titration| numbered(one) > trial.number();
                let place = match trial.number() {
                    Some(_) => titrations.iter().position(after),
                    None => None,
                };
                titrations.insert(place.unwrap_or(titrations.len()), *titration);
            }
            RowRead::Answer(answer) => {
                Arc::make_mut(&mut revision.hand_in).reported = Some(answer);
            }
        }
        Ok(vec![Change::HandIn(HandInMade {
            slot,
            body: HandedIn {
                revision,
                key: None,
            },
        })])
    })
    .await?;
    Ok(())
}
