//! What a simulated student hands in who writes down another's readings.

use rand::seq::SliceRandom;
use rand::{Rng, RngExt};
use rust_decimal::Decimal;

use super::mistakes::{stands, written};
use crate::columns::Column;
use crate::measure::{Glassware, Reading, from_f64, to_decimals};
use crate::procedure::Procedure;
use crate::submission::{HandIn, Piece, Titration, TrialLabel};

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
    let readings = || copy.titrations.iter().flat_map(pieces);
    let lowest = readings().map(|piece| piece.start.value()).min()?;
    let highest = readings().map(|piece| piece.end.value()).max()?;
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
        for reading in burette_readings(row) {
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
        for piece in row.burette.iter_mut().chain(&mut row.other.second) {
            let delivered = piece.end.value().checked_sub(piece.start.value())?;
            let decimals = piece.end.decimals();
            let room = procedure.burette()?.capacity().checked_sub(delivered)?;
            let start = from_f64(rng.random_range(0.0..2.0), 6)?.min(room);
            let start = to_decimals(start, decimals);
            piece.start = written(start, decimals)?;
            piece.end = written(start.checked_add(delivered)?, decimals)?;
        }
        let first = (row.burette.first(), original.burette.first());
        if let (Some(endpoint), (Some(new), Some(old))) = (&mut row.other.first_endpoint, first) {
            let by = new.start.value().checked_sub(old.start.value())?;
            *endpoint = written(endpoint.value().checked_add(by)?, endpoint.decimals())?;
        }
        let heavier = from_f64(rng.random_range(0.5..3.0), 6)?;
        let weighed = [
            &mut row.sample.before,
            &mut row.sample.after,
            &mut row.other.empty,
            &mut row.other.full,
            &mut row.other.water,
        ];
        for reading in weighed.into_iter().flatten() {
            let decimals = reading.decimals();
            let by = to_decimals(heavier, decimals);
            *reading = written(reading.value().checked_add(by)?, decimals)?;
        }
    }
    Some(())
}

fn pieces(row: &Titration) -> impl Iterator<Item = &Piece> {
    row.burette.iter().chain(&row.other.second)
}

fn burette_readings(row: &mut Titration) -> impl Iterator<Item = &mut Reading> {
    let pieces = row.burette.iter_mut().chain(&mut row.other.second);
    pieces
        .flat_map(|piece| [&mut piece.start, &mut piece.end])
        .chain(&mut row.other.first_endpoint)
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
    let fillings = row.burette.len().max(row.other.second.len());
    let columns = Column::of(procedure, fillings);
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
    let index = |n: usize| n.saturating_sub(1);
    let place = match column {
        Column::BuretteStart(n) => &mut row.burette.get_mut(index(n))?.start,
        Column::BuretteEnd(n) => &mut row.burette.get_mut(index(n))?.end,
        Column::SecondStart(n) => &mut row.other.second.get_mut(index(n))?.start,
        Column::SecondEnd(n) => &mut row.other.second.get_mut(index(n))?.end,
        Column::FirstEndpoint => row.other.first_endpoint.as_mut()?,
        Column::Crucible | Column::Vessel => row.other.empty.as_mut()?,
        Column::CrucibleFull | Column::VesselFull => row.other.full.as_mut()?,
        Column::VesselWater => row.other.water.as_mut()?,
        Column::Absorbance => row.other.absorbance.as_mut()?,
        Column::SampleVolume => row.sample.volume.as_mut()?,
        Column::SampleMass => row.sample.mass.as_mut()?,
        Column::SampleBefore => row.sample.before.as_mut()?,
        Column::SampleAfter => row.sample.after.as_mut()?,
    };
    *place = reading;
    Some(())
}
