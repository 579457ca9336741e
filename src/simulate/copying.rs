//! What a simulated student hands in who writes down another's readings.

use rand::seq::SliceRandom;
use rand::{Rng, RngExt};
use rust_decimal::Decimal;

use super::mistakes::{stands, written};
use crate::columns::Column;
use crate::measure::{Glassware, Reading, from_f64, to_decimals};
use crate::procedure::Procedure;
use crate::submission::{HandIn, Titration, TrialLabel};

/// How readings are copied.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Copying {
    Exact,
    /// All burette readings higher or lower by one amount, so that the delivered volumes stay.
    Shifted,
    /// The numbered trials in another order.
    Reordered,
    /// One digit of one reading altered.
    DigitAltered,
    /// Delivered volumes and masses by difference kept, the readings around them invented.
    Differences,
}

impl Copying {
    pub const ALL: [Self; 5] = [
        Self::Exact,
        Self::Shifted,
        Self::Reordered,
        Self::DigitAltered,
        Self::Differences,
    ];

    /// In words, after “copied”.
    pub fn words(self) -> &'static str {
        match self {
            Self::Exact => "as they are",
            Self::Shifted => "all shifted by one amount",
            Self::Reordered => "trials in another order",
            Self::DigitAltered => "one digit altered",
            Self::Differences => "readings invented around the differences",
        }
    }
}

/// Furthest that readings are shifted, in readable steps.
const FURTHEST: i64 = 60;
/// How often an alteration is tried again where the entry would refuse what came out.
const TRIES: usize = 40;

/// The readings of another, copied. None where they cannot be copied so: a burette without room for the shift, a
/// single trial to reorder. The same generator gives the same copy.
pub fn copied(
    how: Copying,
    procedure: &Procedure,
    hand_in: &HandIn,
    rng: &mut impl Rng,
) -> Option<HandIn> {
    let mut copy = HandIn {
        reported: None,
        confirmed: Vec::new(),
        ..hand_in.clone()
    };
    match how {
        Copying::Exact => {}
        Copying::Shifted => shift(procedure, &mut copy, rng)?,
        Copying::Reordered => reorder(&mut copy, rng)?,
        Copying::Differences => invent_around(procedure, &mut copy, rng)?,
        Copying::DigitAltered => {
            for _ in 0..TRIES {
                let mut altered = copy.clone();
                if alter(procedure, &mut altered, rng).is_some() && stands(procedure, &altered) {
                    return Some(altered);
                }
            }
            return None;
        }
    }
    stands(procedure, &copy).then_some(copy)
}

fn shift(procedure: &Procedure, copy: &mut HandIn, rng: &mut impl Rng) -> Option<()> {
    let burette = procedure.burette()?;
    let step = burette.readable_step()?;
    let of_burette = |row: &Titration| -> Vec<Decimal> {
        let readings = row
            .readings
            .iter()
            .filter(|(column, _)| column.is_of_burette());
        readings.map(|(_, reading)| reading.value()).collect()
    };
    let readings: Vec<Decimal> = copy.titrations.iter().flat_map(of_burette).collect();
    let (lowest, highest) = (*readings.iter().min()?, *readings.iter().max()?);
    let steps = |room: Decimal| -> Option<i64> {
        let steps: i64 = room.checked_div(step)?.trunc().try_into().ok()?;
        Some(steps.clamp(0, FURTHEST))
    };
    let down = steps(lowest)?;
    let up = steps(burette.capacity().checked_sub(highest)?)?;
    let choices: Vec<i64> = (down.saturating_neg()..=up).filter(|by| *by != 0).collect();
    let by = *choices.get(rng.random_range(0..choices.len().max(1)))?;
    let by = step.checked_mul(Decimal::from(by))?;
    for row in &mut copy.titrations {
        let readings = row.readings.iter_mut();
        for (_, reading) in readings.filter(|(column, _)| column.is_of_burette()) {
            *reading = moved(reading, by, burette)?;
        }
    }
    Some(())
}

fn moved(reading: &Reading, by: Decimal, burette: &Glassware) -> Option<Reading> {
    written(reading.value().checked_add(by)?, burette.decimals()?)
}

/// Every burette starts, and every weighing bottle or crucible weighs, something else.
fn invent_around(procedure: &Procedure, copy: &mut HandIn, rng: &mut impl Rng) -> Option<()> {
    let originals = copy.titrations.clone();
    for (row, original) in copy.titrations.iter_mut().zip(originals) {
        for start in original.readings.keys() {
            let Some(end) = start.end() else {
                continue;
            };
            let piece = (start.get(&original)?, end.get(&original)?);
            let delivered = piece.1.value().checked_sub(piece.0.value())?;
            let decimals = piece.1.decimals();
            let room = procedure.burette()?.capacity().checked_sub(delivered)?;
            let from = from_f64(rng.random_range(0.0..2.0), 6)?.min(room);
            let from = to_decimals(from, decimals);
            row.readings.insert(*start, written(from, decimals)?);
            let to = written(from.checked_add(delivered)?, decimals)?;
            row.readings.insert(end, to);
        }
        if let Some(endpoint) = Column::FirstEndpoint.get(&original) {
            let (new, old) = (
                Column::BuretteStart(1).get(row)?,
                Column::BuretteStart(1).get(&original)?,
            );
            let by = new.value().checked_sub(old.value())?;
            let moved = written(endpoint.value().checked_add(by)?, endpoint.decimals())?;
            row.readings.insert(Column::FirstEndpoint, moved);
        }
        let heavier = from_f64(rng.random_range(0.5..3.0), 6)?;
        let readings = row.readings.iter_mut();
        for (_, reading) in readings.filter(|(column, _)| column.is_of_container()) {
            let decimals = reading.decimals();
            let by = to_decimals(heavier, decimals);
            *reading = written(reading.value().checked_add(by)?, decimals)?;
        }
    }
    Some(())
}

/// The numbered trials in any order but their own, under the labels that stand there.
fn reorder(copy: &mut HandIn, rng: &mut impl Rng) -> Option<()> {
    let numbered = |row: &&mut Titration| row.trial.number().is_some();
    let mut rows: Vec<&mut Titration> = copy.titrations.iter_mut().filter(numbered).collect();
    let own: Vec<Titration> = rows.iter().map(|row| (**row).clone()).collect();
    if own.len() < 2 {
        return None;
    }
    let mut order: Vec<usize> = (0..own.len()).collect();
    while order.is_sorted() {
        order.shuffle(rng);
    }
    for (row, from) in rows.iter_mut().zip(order) {
        let label = row.trial;
        **row = own.get(from)?.clone();
        row.trial = label;
    }
    Some(())
}

/// Another digit in place of one of the last two of a reading of a numbered trial: further left it would show.
fn alter(procedure: &Procedure, copy: &mut HandIn, rng: &mut impl Rng) -> Option<()> {
    let numbered = |row: &&mut Titration| matches!(row.trial, TrialLabel::Numbered(_));
    let mut rows: Vec<&mut Titration> = copy.titrations.iter_mut().filter(numbered).collect();
    let place = rng.random_range(0..rows.len().max(1));
    let row = rows.get_mut(place)?;
    let columns = Column::of(procedure, row.fillings());
    let there: Vec<Column> = columns
        .into_iter()
        .filter(|column| column.get(row).is_some())
        .collect();
    let column = *there.get(rng.random_range(0..there.len().max(1)))?;
    let reading = column.get(row)?;
    let mut characters: Vec<char> = reading.written().chars().collect();
    let digits: Vec<usize> = (0..characters.len())
        .rev()
        .filter(|at| characters.get(*at).is_some_and(char::is_ascii_digit))
        .take(2)
        .collect();
    let at = *digits.get(rng.random_range(0..digits.len().max(1)))?;
    let digit = characters.get_mut(at)?;
    let others: Vec<char> = ('0'..='9').filter(|other| other != digit).collect();
    *digit = *others.get(rng.random_range(0..others.len().max(1)))?;
    let altered: String = characters.into_iter().collect();
    put(row, column, Reading::parse(&altered).ok()?)
}

/// Puts a reading in place of one that is there.
pub(super) fn put(row: &mut Titration, column: Column, reading: Reading) -> Option<()> {
    *row.readings.get_mut(&column)? = reading;
    Some(())
}
