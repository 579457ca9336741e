//! What a procedure measures for a known result: the titre to expect, the mass, the absorbance.
#![deny(clippy::wildcard_enum_match_arm)]

use std::collections::BTreeSet;

use crate::columns::Column;
use crate::measure::as_f64;
use crate::procedure::{Procedure, ResultUnit};
use crate::schemes::Measurement;
use crate::submission::{HandIn, Titration, TrialLabel};
use crate::truth::Lot;
use crate::workup::{WorkUp, WorkUpInput, work_up};

pub use crate::schemes::Signal;

/// The bottle and lots somebody works with.
#[derive(Clone, Copy, Debug)]
pub struct Bench<'a> {
    /// True value in the result unit.
    pub truth: f64,
    pub lot: Option<&'a Lot>,
    pub excess_lot: Option<&'a Lot>,
    /// Blank volume, mL, where one is titrated.
    pub blank: f64,
}

impl Bench<'_> {
    /// What follows from rows of readings with these lots.
    pub(crate) fn work_up(&self, procedure: &Procedure, titrations: Vec<Titration>) -> WorkUp {
        let lots = vec![(self.lot, self.excess_lot); titrations.len()];
        let hand_in = HandIn {
            titrations,
            ..HandIn::default()
        };
        work_up(WorkUpInput {
            procedure,
            hand_in: &hand_in,
            lots: &lots,
            left_out: &BTreeSet::new(),
        })
    }
}

impl Signal {
    /// The signal of a procedure. Of two titres it is the larger.
    pub fn of(procedure: &Procedure) -> Self {
        procedure.scheme.signal(&procedure.sample)
    }
}

/// The delivered volume, mL, that gives `truth` for a sample of the nominal amount; a mass, g, or an absorbance where
/// nothing is titrated. None if nothing gives it.
pub fn expected_signal(procedure: &Procedure, bench: &Bench) -> Option<f64> {
    let sample = as_f64(procedure.sample.nominal);
    signal_for(procedure, bench, sample)
}

/// The result that a signal gives for a sample of the nominal amount; none if it cannot be computed.
pub fn result_at(procedure: &Procedure, bench: &Bench, signal: f64) -> Option<f64> {
    probe(procedure, bench, as_f64(procedure.sample.nominal), signal)
}

/// The blank, where the procedure has one: mL, or g.
pub(crate) fn blank_of(procedure: &Procedure, bench: &Bench) -> f64 {
    if procedure.trials.blank {
        Signal::of(procedure).blank.unwrap_or(bench.blank)
    } else {
        0.0
    }
}

/// Results are linear in the signal, or in its inverse: two probes give it.
pub(crate) fn signal_for(procedure: &Procedure, bench: &Bench, sample: f64) -> Option<f64> {
    let (blank, signal) = (blank_of(procedure, bench), Signal::of(procedure));
    let (low, high) = (blank + 0.2 * signal.full, blank + 0.4 * signal.full);
    let at_low = probe(procedure, bench, sample, low)?;
    let at_high = probe(procedure, bench, sample, high)?;
    let straight = if signal.inverse {
        blank + (low - blank) * at_low / bench.truth
    } else {
        low + (bench.truth - at_low) * (high - low) / (at_high - at_low)
    };
    let is_bent = signal.bent || procedure.result.unit == ResultUnit::MolPerMol;
    let signal = if is_bent {
        bent(procedure, bench, sample, (low, high))?
    } else {
        straight
    };
    (signal.is_finite() && signal > 0.0).then_some(signal)
}

/// Where a result grows faster than its signal, secants find it.
fn bent(
    procedure: &Procedure,
    bench: &Bench,
    sample: f64,
    (mut low, mut high): (f64, f64),
) -> Option<f64> {
    let off = |signal: f64| Some(probe(procedure, bench, sample, signal)? - bench.truth);
    let (mut at_low, mut at_high) = (off(low)?, off(high)?);
    for _ in 0..20 {
        if (at_high - at_low).abs() < 1e-12 {
            break;
        }
        let next = high - at_high * (high - low) / (at_high - at_low);
        (low, at_low) = (high, at_high);
        (high, at_high) = (next, off(next)?);
        if (high - low).abs() < 1e-7 {
            break;
        }
    }
    Some(high)
}

fn probe(procedure: &Procedure, bench: &Bench, sample: f64, signal: f64) -> Option<f64> {
    let trial = TrialLabel::Numbered(1);
    let mut rows = vec![row(procedure, trial, signal, Some(sample))?];
    if procedure.trials.blank {
        let blank = blank_of(procedure, bench);
        rows.push(row(procedure, TrialLabel::Blank, blank, None)?);
    }
    for (number, standard) in (1..).zip(procedure.scheme.standards()) {
        let label = TrialLabel::Standard(number);
        rows.push(row(procedure, label, standard.signal, None)?);
    }
    bench.work_up(procedure, rows).value().map(as_f64)
}

/// One row of the given sample and signal, as exactly as readings can be written.
fn row(
    procedure: &Procedure,
    trial: TrialLabel,
    signal: f64,
    sample: Option<f64>,
) -> Option<Titration> {
    const EMPTY: f64 = 20.0;
    let mut readings: Vec<(Column, f64)> = Vec::new();
    let amount = sample.unwrap_or(as_f64(procedure.sample.nominal));
    for measurement in procedure.scheme.measurements(signal, amount)? {
        match measurement {
            Measurement::Deliver(delivery, volume) => {
                let (start, end) = Column::piece(delivery, 1);
                readings.extend([(start, 0.0), (end, volume)]);
            }
            Measurement::FirstEndpoint(volume) => readings.push((Column::FirstEndpoint, volume)),
            Measurement::Weigh {
                empty,
                full,
                content,
                ..
            }
            | Measurement::WeighAgain {
                empty,
                full,
                content,
            } => readings.extend([(empty, EMPTY), (full, EMPTY + content)]),
            Measurement::Display(column, value) => readings.push((column, value)),
            Measurement::Point {
                volume,
                added,
                signal,
                shows,
            } => readings.extend([(volume, added), (signal, shows)]),
        }
    }
    if let Some(sample) = sample {
        readings.extend(sample_readings(procedure, sample, EMPTY));
    }
    let mut row = Titration::new(trial);
    for (column, value) in readings {
        row.readings
            .insert(column, column.parse(&format!("{value:.6}")).ok()?);
    }
    Some(row)
}

/// What the columns of a sample read for so much of it, mL or g, from a bottle of that empty mass.
pub fn sample_readings(
    procedure: &Procedure,
    sample: f64,
    empty: f64,
) -> impl Iterator<Item = (Column, f64)> {
    let columns = Column::of_sample(procedure);
    let values: &[f64] = match columns {
        [_, _] => &[empty + sample, empty],
        _ => &[sample],
    };
    columns.iter().copied().zip(values.to_vec())
}
