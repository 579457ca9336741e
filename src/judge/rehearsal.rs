//! Rehearsal: what titre to expect, and simulated students with a seed.
//!
//! The randomness is a seeded generator handed in, so a rehearsal repeats exactly.

use std::collections::BTreeSet;

use rand::{Rng, RngExt};
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use crate::columns::Column;
use crate::measure::{Glassware, Reading, as_f64, to_decimals};
use crate::procedure::{Procedure, SampleBy, Scheme};
use crate::submission::{HandIn, Piece, SampleReadings, Titration, TrialLabel};
use crate::truth::Lot;
use crate::workup::{WorkUpInput, work_up};

/// How a simulated student works.
#[derive(Clone, Copy, Debug)]
pub struct Hand {
    /// Reading and endpoint errors as multiples of what the procedure states; 1 is careful.
    pub care: f64,
    /// Probability that a reading is written with the wrong number of decimals.
    pub sloppy_decimals: f64,
    /// Trials titrated.
    pub trials: u32,
    /// Whether a rough titration comes first.
    pub rough: bool,
}

/// The bottle and lots a simulated student works with.
#[derive(Clone, Copy, Debug)]
pub struct Bench<'a> {
    /// True value in the result unit.
    pub truth: f64,
    /// Titrant.
    pub lot: Option<&'a Lot>,
    /// Excess reagent.
    pub excess_lot: Option<&'a Lot>,
    /// Blank volume, mL, where one is titrated.
    pub blank: f64,
}

/// The delivered volume, mL, that gives `truth` for a sample of the nominal amount; none if no volume does.
#[must_use]
pub fn expected_titre(procedure: &Procedure, bench: &Bench) -> Option<f64> {
    titre_for(
        procedure,
        bench,
        as_f64(procedure.sample.nominal),
        blank_of(procedure, bench),
    )
}

/// What one student writes down. None where the bottle cannot be titrated with this procedure at all.
pub fn simulate(
    procedure: &Procedure,
    bench: &Bench,
    hand: &Hand,
    rng: &mut impl Rng,
) -> Option<HandIn> {
    let mut student = Student {
        procedure,
        hand,
        rng,
        burette: 0.0,
        biases: Biases::default(),
    };
    student.biases = student.draw_biases();
    let mut titrations = Vec::new();
    let blank = if procedure.trials.blank {
        bench.blank
    } else {
        0.0
    };
    if procedure.trials.blank {
        titrations.push(student.titrate(TrialLabel::Blank, blank, None)?);
    }
    if hand.rough {
        let sample = student.take_sample();
        let titre = titre_for(procedure, bench, sample, blank)? + student.uniform(0.2, 0.9);
        titrations.push(student.titrate(TrialLabel::Rough, titre, Some(sample))?);
    }
    for n in 1..=hand.trials.saturating_add(MORE_TRIALS) {
        // whose titres do not agree yet titrates again, twice at most
        if n > hand.trials && agree(procedure, bench, hand, &titrations) {
            break;
        }
        let sample = student.take_sample();
        let titre = titre_for(procedure, bench, sample, blank)?;
        titrations.push(student.titrate(TrialLabel::Numbered(n), titre, Some(sample))?);
    }
    let fill = |t: &mut Titration| {
        t.lot = bench.lot.map(|lot| lot.code.clone());
        t.excess_lot = bench.excess_lot.map(|lot| lot.code.clone());
    };
    titrations.iter_mut().for_each(fill);
    Some(HandIn {
        titrations,
        reported: None,
        confirmed: Vec::new(),
    })
}

/// Trials a student adds where titres do not agree.
const MORE_TRIALS: u32 = 2;

/// Whether as many trials count as were to be titrated.
fn agree(procedure: &Procedure, bench: &Bench, hand: &Hand, titrations: &[Titration]) -> bool {
    let hand_in = HandIn {
        titrations: titrations.to_vec(),
        ..HandIn::default()
    };
    let lots = vec![(bench.lot, bench.excess_lot); titrations.len()];
    let none = BTreeSet::new();
    let done = work_up(WorkUpInput {
        procedure,
        hand_in: &hand_in,
        lots: &lots,
        left_out: &none,
    });
    done.counted() >= hand.trials as usize && !done.none_agree
}

/// Errors that a student's glassware makes the same way in every trial, in mL or g.
#[derive(Clone, Copy, Debug, Default)]
struct Biases {
    burette: f64,
    sample: f64,
}

struct Student<'a, R> {
    procedure: &'a Procedure,
    hand: &'a Hand,
    rng: &'a mut R,
    /// Where the meniscus stands, mL from the top.
    burette: f64,
    biases: Biases,
}

impl<R: Rng> Student<'_, R> {
    fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.rng.random::<f64>()
    }

    /// Triangular on ±half-width.
    fn triangular(&mut self, half_width: f64) -> f64 {
        half_width * (self.rng.random::<f64>() - self.rng.random::<f64>())
    }

    fn draw_biases(&mut self) -> Biases {
        let burette = self.triangular(as_f64(self.procedure.titrant.burette.tolerance()));
        let sample = self.triangular(as_f64(self.procedure.sample.glassware.tolerance()));
        Biases { burette, sample }
    }

    /// The true amount taken, mL or g.
    fn take_sample(&mut self) -> f64 {
        let sample = &self.procedure.sample;
        let nominal = as_f64(sample.nominal);
        match sample.by {
            // a careful student keeps below the last mark
            SampleBy::Volume if self.procedure.reads_sample_volume() => {
                nominal * 0.985 + self.uniform(-0.1, 0.1)
            }
            SampleBy::Volume => nominal + self.biases.sample,
            SampleBy::Mass | SampleBy::MassDifference => nominal * self.uniform(0.92, 1.08),
        }
    }

    fn titrate(&mut self, trial: TrialLabel, titre: f64, sample: Option<f64>) -> Option<Titration> {
        let procedure = self.procedure;
        let burette = &procedure.titrant.burette;
        let capacity = as_f64(burette.capacity());
        let half_drop = as_f64(procedure.uncertainty.drop) / 2.0;
        let endpoint = self.uniform(-half_drop, half_drop) * self.hand.care;
        let titre = (titre + endpoint).max(0.02);
        let mut left = titre + self.biases.burette;
        let mut pieces = Vec::new();
        while left > 0.0 {
            if self.burette + left.min(capacity * 0.9) > capacity - 0.5 {
                self.burette = self.uniform(0.0, 0.6);
            }
            let part = left.min(capacity * 0.9);
            let start = self.burette;
            self.burette += part;
            let step = as_f64(procedure.uncertainty.burette_reading) * self.hand.care;
            let (low, high) = (
                start + self.triangular(step),
                self.burette + self.triangular(step),
            );
            let start = self.read(low.max(0.0), burette)?;
            let end = self.read(high.clamp(0.0, capacity), burette)?;
            pieces.push(if end.value() < start.value() {
                Piece {
                    start: end,
                    end: start,
                }
            } else {
                Piece { start, end }
            });
            left -= part;
        }
        let mut readings = SampleReadings::default();
        if let Some(amount) = sample {
            let piece = &procedure.sample.glassware;
            let noise = piece.readable_step().map_or(0.0, as_f64);
            for column in Column::of_sample(procedure) {
                match column {
                    Column::SampleVolume => {
                        let seen = amount
                            + self.biases.sample
                            + self.triangular(2.0 * noise * self.hand.care);
                        readings.volume = Some(self.read(seen, piece)?);
                    }
                    Column::SampleMass => {
                        let seen = amount + self.triangular(noise);
                        readings.mass = Some(self.read(seen, piece)?);
                    }
                    Column::SampleBefore => {
                        let tare = self.uniform(12.0, 18.0);
                        readings.before = Some(self.read(tare + amount, piece)?);
                        readings.after = Some(self.read(tare, piece)?);
                    }
                    _ => {}
                }
            }
        }
        Some(Titration {
            trial,
            lot: None,
            excess_lot: None,
            unknown: None,
            burette: pieces,
            sample: readings,
            submitted_at: None,
        })
    }

    /// A number as this student writes it.
    fn read(&mut self, value: f64, piece: &Glassware) -> Option<Reading> {
        let step = piece.readable_step()?;
        let mut decimals = step.scale();
        if decimals > 0 && self.rng.random::<f64>() < self.hand.sloppy_decimals {
            decimals = decimals.saturating_sub(1);
        }
        let steps = Decimal::from_f64((value / as_f64(step)).round())?;
        let seen = to_decimals(steps.checked_mul(step)?, decimals);
        Reading::parse(&seen.to_string()).ok()
    }
}

/// The result that a delivered volume, mL, gives for a sample of the nominal amount; none if it cannot be computed.
#[must_use]
pub fn result_at(procedure: &Procedure, bench: &Bench, delivered: f64) -> Option<f64> {
    probe(
        procedure,
        bench,
        as_f64(procedure.sample.nominal),
        delivered,
        blank_of(procedure, bench),
    )
}

/// The blank, where the procedure has one, mL.
fn blank_of(procedure: &Procedure, bench: &Bench) -> f64 {
    if procedure.trials.blank {
        bench.blank
    } else {
        0.0
    }
}

fn probe(
    procedure: &Procedure,
    bench: &Bench,
    sample: f64,
    delivered: f64,
    blank: f64,
) -> Option<f64> {
    let hand_in = nominal_trial(procedure, sample, delivered, blank)?;
    let lots = vec![(bench.lot, bench.excess_lot); hand_in.titrations.len()];
    let none = BTreeSet::new();
    work_up(WorkUpInput {
        procedure,
        hand_in: &hand_in,
        lots: &lots,
        left_out: &none,
    })
    .value()
    .map(as_f64)
}

/// Results are linear in the delivered volume, or in its inverse for a standardisation: two probes give the volume.
fn titre_for(procedure: &Procedure, bench: &Bench, sample: f64, blank: f64) -> Option<f64> {
    let (low, high) = (blank + 10.0, blank + 20.0);
    let at_low = probe(procedure, bench, sample, low, blank)?;
    let at_high = probe(procedure, bench, sample, high, blank)?;
    let titre = if procedure.scheme == Scheme::Standardisation {
        blank + (low - blank) * at_low / bench.truth
    } else {
        low + (bench.truth - at_low) * (high - low) / (at_high - at_low)
    };
    (titre.is_finite() && titre > 0.0).then_some(titre)
}

/// One trial of the given sample and volume, as exactly as readings can be written.
fn nominal_trial(procedure: &Procedure, sample: f64, volume: f64, blank: f64) -> Option<HandIn> {
    let zero = Reading::parse("0.00").ok()?;
    let end = Reading::parse(&format!("{volume:.6}")).ok()?;
    let read = |value: f64| Reading::parse(&format!("{value:.6}")).ok();
    let mut readings = SampleReadings::default();
    for column in Column::of_sample(procedure) {
        match column {
            Column::SampleVolume => readings.volume = Some(read(sample)?),
            Column::SampleMass => readings.mass = Some(read(sample)?),
            Column::SampleBefore => readings.before = Some(read(sample + 10.0)?),
            _ => readings.after = Some(read(10.0)?),
        }
    }
    let row = |trial, end, sample| Titration {
        trial,
        lot: None,
        excess_lot: None,
        unknown: None,
        burette: vec![Piece {
            start: zero.clone(),
            end,
        }],
        sample,
        submitted_at: None,
    };
    let mut titrations = vec![row(TrialLabel::Numbered(1), end, readings)];
    if procedure.trials.blank {
        titrations.push(row(
            TrialLabel::Blank,
            read(blank)?,
            SampleReadings::default(),
        ));
    }
    Some(HandIn {
        titrations,
        reported: None,
        confirmed: Vec::new(),
    })
}
