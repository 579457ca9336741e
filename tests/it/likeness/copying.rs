//! What somebody hands in who writes down another's readings, in eight ways.

use concordant::columns::Column;
use concordant::measure::Reading;
use concordant::submission::{HandIn, Titration};
use rand::RngExt;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

use super::course::reading;

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Way {
    Exact,
    /// Weighings made up around the true differences; burette readings as they are.
    MassesInvented,
    /// Starts of the burette made up as well, around the true volumes.
    AllInvented,
    Shifted,
    Reordered,
    OneDigit,
    /// In every trial.
    DigitPerTrial,
    /// One numbered trial of one's own.
    TwoOfThree,
}

const START: Column = Column::BuretteStart(1);
const END: Column = Column::BuretteEnd(1);

/// In steps of so many decimals.
fn steps(reading: &Reading) -> (i64, u32) {
    let value = reading.value();
    let decimals = reading.decimals();
    let scaled = value * Decimal::from(10_i64.pow(decimals));
    (i64::try_from(scaled.trunc()).expect("whole"), decimals)
}

fn moved(row: &mut Titration, column: Column, by: i64) -> Option<()> {
    let old = row.readings.get(&column)?;
    let (value, decimals) = steps(old);
    let new = value + by;
    if new < 0 || (decimals == 2 && new > 5_000) {
        return None;
    }
    row.readings.insert(column, reading(new, decimals));
    Some(())
}

/// None where it cannot be done: no weighings, no room on the burette.
pub fn copied(way: Way, original: &HandIn, own: &HandIn, rng: &mut ChaCha20Rng) -> Option<HandIn> {
    let mut copy = original.clone();
    match way {
        Way::Exact => {}
        Way::MassesInvented => invent_masses(&mut copy, rng)?,
        Way::AllInvented => {
            invent_masses(&mut copy, rng)?;
            for row in &mut copy.titrations {
                let start = steps(row.readings.get(&START)?).0;
                let by = rng.random_range(0..150) - start;
                moved(row, START, by)?;
                moved(row, END, by)?;
            }
        }
        Way::Shifted => {
            let by = rng.random_range(1..80);
            for row in &mut copy.titrations {
                moved(row, START, by)?;
                moved(row, END, by)?;
            }
        }
        Way::Reordered => {
            let places: Vec<usize> = numbered(&copy);
            let mut order = places.clone();
            while order == places {
                order.shuffle(rng);
            }
            for (to, from) in places.iter().zip(&order) {
                let label = copy.titrations[*to].trial;
                copy.titrations[*to] = original.titrations[*from].clone();
                copy.titrations[*to].trial = label;
            }
        }
        Way::OneDigit => {
            let places = numbered(&copy);
            let place = places[rng.random_range(0..places.len())];
            alter(&mut copy.titrations[place], rng)?;
        }
        Way::DigitPerTrial => {
            for place in numbered(&copy) {
                alter(&mut copy.titrations[place], rng)?;
            }
        }
        Way::TwoOfThree => {
            let (places, own_places) = (numbered(&copy), numbered(own));
            let at = rng.random_range(0..places.len());
            let label = copy.titrations[places[at]].trial;
            copy.titrations[places[at]] = own.titrations[own_places[at]].clone();
            copy.titrations[places[at]].trial = label;
        }
    }
    Some(copy)
}

fn numbered(hand_in: &HandIn) -> Vec<usize> {
    let rows = hand_in.titrations.iter().enumerate();
    rows.filter(|(_, row)| row.trial.number().is_some())
        .map(|(place, _)| place)
        .collect()
}

fn invent_masses(copy: &mut HandIn, rng: &mut ChaCha20Rng) -> Option<()> {
    for row in &mut copy.titrations {
        let by = rng.random_range(-60_000..60_000);
        moved(row, Column::SampleBefore, by)?;
        moved(row, Column::SampleAfter, by)?;
    }
    Some(())
}

/// Another digit in one of the last two places of one reading.
fn alter(row: &mut Titration, rng: &mut ChaCha20Rng) -> Option<()> {
    for _ in 0..40 {
        let columns: Vec<Column> = row.readings.keys().copied().collect();
        let column = columns[rng.random_range(0..columns.len())];
        let (value, decimals) = steps(&row.readings[&column]);
        let place = 10_i64.pow(rng.random_range(0..2));
        let digit = value / place % 10;
        let new = value + (rng.random_range(0..10) - digit) * place;
        if new != value {
            row.readings.insert(column, reading(new, decimals));
            return Some(());
        }
    }
    None
}
