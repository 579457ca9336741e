//! Slips made on purpose, in hand-ins of simulated students.

use rand::{Rng, RngExt};
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use super::questions::refusals;
use super::slips::SlipCode;
use crate::columns::Column;
use crate::measure::{Reading, to_figures};
use crate::procedure::{Procedure, SampleBy};
use crate::submission::{HandIn, Titration};

/// Figures to which a simulated student writes an answer.
const ANSWER_FIGURES: u32 = 5;

/// Whether the slip is one of reading, which leaves the result off the truth; the others leave the answer off the
/// readings.
pub(super) fn is_of_reading(code: SlipCode) -> bool {
    matches!(
        code,
        SlipCode::ReadUpward
            | SlipCode::WholeMillilitre
            | SlipCode::Tenth
            | SlipCode::TransposedDigits
            | SlipCode::SampleNominal
            | SlipCode::OtherUnknown
            | SlipCode::OtherLot
            | SlipCode::Overshoot
    )
}

/// Makes a slip in what was written down. None where it cannot be made there, or the entry would refuse it.
pub(super) fn misread(
    code: SlipCode,
    procedure: &Procedure,
    hand_in: &HandIn,
    rng: &mut impl Rng,
) -> Option<HandIn> {
    let mut hand_in = hand_in.clone();
    match code {
        SlipCode::SampleNominal => sample_nominal(procedure, &mut hand_in)?,
        SlipCode::Overshoot => overshoot(procedure, &mut hand_in, rng)?,
        _ => one_reading(code, procedure, &mut hand_in, rng)?,
    }
    let refused = |row: &Titration| !refusals(procedure, 0, row).is_empty();
    (!hand_in.titrations.iter().any(refused)).then_some(hand_in)
}

/// An answer as a student writes it.
pub(super) fn answer(value: Decimal) -> Option<Reading> {
    Reading::parse_answer(&to_figures(value, ANSWER_FIGURES).to_string()).ok()
}

fn one_reading(
    code: SlipCode,
    procedure: &Procedure,
    hand_in: &mut HandIn,
    rng: &mut impl Rng,
) -> Option<()> {
    let numbered: Vec<usize> = hand_in
        .titrations
        .iter()
        .enumerate()
        .filter(|(_, row)| row.trial.number().is_some())
        .map(|(index, _)| index)
        .collect();
    let row = *numbered.get(rng.random_range(0..numbered.len().max(1)))?;
    let row = hand_in.titrations.get_mut(row)?;
    let columns: Vec<Column> = Column::of(procedure, row.burette.len())
        .into_iter()
        .filter(|column| fits(code, *column, procedure))
        .collect();
    let column = *columns.get(rng.random_range(0..columns.len().max(1)))?;
    let reading = column.get(row)?.clone();
    let changed = misread_value(code, &reading, rng)?;
    let changed = Reading::parse(&changed).ok()?;
    put(row, column, changed)
}

/// Whether a reading of that column can be misread so.
fn fits(code: SlipCode, column: Column, procedure: &Procedure) -> bool {
    let volume = column.glassware(procedure).kind().unit() == "mL";
    match code {
        SlipCode::ReadUpward => volume && column != Column::SampleVolume,
        SlipCode::WholeMillilitre | SlipCode::Tenth => volume,
        _ => true,
    }
}

fn misread_value(code: SlipCode, reading: &Reading, rng: &mut impl Rng) -> Option<String> {
    let (value, decimals) = (reading.value(), reading.decimals());
    let step = match code {
        SlipCode::WholeMillilitre => Decimal::ONE,
        _ => Decimal::new(1, 1),
    };
    let changed = match code {
        SlipCode::ReadUpward => {
            let part = Decimal::ONE.checked_sub(value.fract())?;
            value.trunc().checked_add(part)?
        }
        SlipCode::WholeMillilitre | SlipCode::Tenth if rng.random::<bool>() => {
            value.checked_add(step)?
        }
        SlipCode::WholeMillilitre | SlipCode::Tenth => value.checked_sub(step)?,
        SlipCode::TransposedDigits => {
            let mut digits: Vec<char> = reading.written().chars().collect();
            let places: Vec<usize> = (1..digits.len())
                .filter(|i| {
                    digits[*i].is_ascii_digit() && digits[i.saturating_sub(1)].is_ascii_digit()
                })
                .collect();
            let place = *places.get(rng.random_range(0..places.len().max(1)))?;
            digits.swap(place.checked_sub(1)?, place);
            return Some(digits.into_iter().collect());
        }
        _ => return None,
    };
    let mut changed = changed;
    changed.rescale(decimals);
    (changed != value && changed >= Decimal::ZERO).then(|| changed.to_string())
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

fn sample_nominal(procedure: &Procedure, hand_in: &mut HandIn) -> Option<()> {
    if procedure.sample.by != SampleBy::Volume || !procedure.reads_sample_volume() {
        return None;
    }
    let decimals = procedure.sample.glassware.decimals()?;
    let mut nominal = procedure.sample.nominal;
    nominal.rescale(decimals);
    for row in hand_in
        .titrations
        .iter_mut()
        .filter(|row| row.sample.volume.is_some())
    {
        row.sample.volume = Some(Reading::parse(&nominal.to_string()).ok()?);
    }
    Some(())
}

/// Every trial some drops too far: later readings of the burette move with it.
fn overshoot(procedure: &Procedure, hand_in: &mut HandIn, rng: &mut impl Rng) -> Option<()> {
    let drops = Decimal::from_u32(rng.random_range(1..=3))?;
    let more = procedure.uncertainty.drop.checked_mul(drops)?;
    let rows = hand_in.titrations.iter_mut();
    for row in rows.filter(|row| row.trial.number().is_some()) {
        let two = [row.burette.last_mut(), row.other.second.last_mut()];
        for piece in two.into_iter().flatten() {
            let decimals = piece.end.decimals();
            let mut end = piece.end.value().checked_add(more)?;
            end.rescale(decimals);
            piece.end = Reading::parse(&end.to_string()).ok()?;
        }
    }
    procedure.burette().map(|_| ())
}
