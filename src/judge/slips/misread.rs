//! What a reading may have been, if it was misread once.
#![deny(clippy::wildcard_enum_match_arm)]

use rust_decimal::Decimal;

use super::SlipCode;
use crate::workup::{Graph, Instrument, Of, Role, Step, StepId};

/// One way a reading of a row may have been another.
pub(super) struct Misread {
    pub code: SlipCode,
    pub place: String,
    pub substitutes: Vec<(StepId, Decimal)>,
}

/// Every way in which one reading of a numbered trial may have been misread. A burette that was carried on without
/// refilling is read once for the end of one trial and the start of the next: then both are one reading.
pub(super) fn misread(graph: &Graph, trial: u32) -> Vec<Misread> {
    let mut found = Vec::new();
    for (id, step) in graph.steps() {
        let Some(instrument) = step
            .quantity
            .read
            .filter(|_| step.quantity.of == Of::Trial(trial))
        else {
            continue;
        };
        let carried = carried_on(graph, step);
        let label = step.quantity.label();
        for (code, value) in alternatives(instrument, step) {
            let place = format!("{label}: {} for {value}", step.value);
            let alone = vec![(id, value)];
            let both = carried.map(|start| vec![(id, value), (start, value)]);
            let ways = [Some(alone), both];
            found.extend(ways.into_iter().flatten().map(|substitutes| Misread {
                code,
                place: place.clone(),
                substitutes,
            }));
        }
    }
    found
}

/// Every reading of every trial's burette taken upward.
pub(super) fn all_upward(graph: &Graph) -> Vec<(StepId, Decimal)> {
    let burette = graph
        .steps()
        .filter(|(_, step)| step.quantity.read == Some(Instrument::Burette));
    let burette = burette.filter(|(_, step)| step.quantity.of.is_trial());
    let read_upward = burette.filter_map(|(id, step)| Some((id, upward(step.value)?)));
    read_upward.collect()
}

/// The start of another trial that is the same reading as this end.
fn carried_on(graph: &Graph, end: &Step) -> Option<StepId> {
    let Role::BuretteEnd(delivery) = end.quantity.role else {
        return None;
    };
    let is_it = |step: &Step| {
        let start = step.quantity.role == Role::BuretteStart(delivery);
        start && step.quantity.of.is_trial() && step.quantity.of != end.quantity.of
    };
    let mut starts = graph.steps().filter(|(_, step)| is_it(step));
    starts
        .find(|(_, step)| step.value == end.value)
        .map(|(id, _)| id)
}

/// The reading on the other side of the mark: 27.64 for 27.36; none for a reading on a mark.
fn upward(value: Decimal) -> Option<Decimal> {
    let part = Decimal::ONE.checked_sub(value.fract())?;
    let upward = value.trunc().checked_add(part)?;
    (!value.fract().is_zero()).then_some(upward)
}

fn alternatives(instrument: Instrument, step: &Step) -> Vec<(SlipCode, Decimal)> {
    let value = step.value;
    let mut found = Vec::new();
    let (steps, counts_downward): (&[(SlipCode, Decimal)], bool) = match instrument {
        Instrument::Burette => (&OF_A_BURETTE, true),
        Instrument::Graduated => (&OF_A_BURETTE[..2], false),
        Instrument::Balance | Instrument::Display => (&[], false),
    };
    if counts_downward {
        found.extend(upward(value).map(|value| (SlipCode::ReadUpward, value)));
    }
    for (code, step) in steps {
        let both = [value.checked_add(*step), value.checked_sub(*step)];
        found.extend(both.into_iter().flatten().map(|value| (*code, value)));
    }
    // below ten a burette is read with a nought before it: 03.14 for 30.14
    let digits = match counts_downward && value < Decimal::TEN {
        true => format!("0{value}"),
        false => value.to_string(),
    };
    found.extend(transposed(&digits).map(|value| (SlipCode::TransposedDigits, value)));
    found.retain(|(_, other)| *other >= Decimal::ZERO && *other != value);
    found
}

/// By how much a graduated piece is misread, mL; the last only of a burette, whose marks run that far.
const OF_A_BURETTE: [(SlipCode, Decimal); 3] = [
    (SlipCode::WholeMillilitre, Decimal::ONE),
    (SlipCode::Tenth, Decimal::from_parts(1, 0, 0, false, 1)),
    (SlipCode::TenMillilitres, Decimal::TEN),
];

/// The values with two neighbouring digits exchanged.
fn transposed(digits: &str) -> impl Iterator<Item = Decimal> {
    let digits: Vec<char> = digits.chars().collect();
    let places: Vec<usize> = (0..digits.len())
        .filter(|i| digits[*i].is_ascii_digit())
        .collect();
    let pairs: Vec<(usize, usize)> = places
        .iter()
        .copied()
        .zip(places.iter().copied().skip(1))
        .collect();
    pairs.into_iter().filter_map(move |(one, other)| {
        let mut changed = digits.clone();
        changed.swap(one, other);
        changed.into_iter().collect::<String>().parse().ok()
    })
}
