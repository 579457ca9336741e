//! Whether the expanded uncertainty covers what errors make of a result, for what needs more than a line of arithmetic
//! (`recomputed.rs` has the others): every error is drawn by its stated distribution, and the truth is what went in.

use std::collections::BTreeMap;

use concordant::columns::Column;
use concordant::measure::{Glassware, Reading};
use concordant::procedure::Procedure;
use concordant::schemes::{Pair, Scheme};
use concordant::submission::{Titration, TrialLabel};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

use super::{lot, read, text_of, worked};
use crate::reference::{dec, f};

/// Draws by the distributions that procedures state.
pub struct Errors(pub ChaCha20Rng);

impl Errors {
    pub fn triangle(&mut self, half: f64) -> f64 {
        half * (self.0.random::<f64>() - self.0.random::<f64>())
    }

    pub fn rectangle(&mut self, half: f64) -> f64 {
        half * (2.0 * self.0.random::<f64>() - 1.0)
    }

    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.0.random::<f64>()).sum::<f64>() - 6.0
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    /// What a single-mark piece really holds.
    pub fn really(&mut self, piece: &Glassware) -> f64 {
        f(piece.capacity()) + self.triangle(f(piece.tolerance()))
    }
}

/// Scatter of an absorbance of 0.9.
const NOISE: f64 = 0.003;
/// Relative standard uncertainty of the stock.
const STOCK: &str = "0.001";

/// g/mol.
fn molar_mass(key: &str) -> f64 {
    let all = BTreeMap::from([
        ("iron-absorbance", 55.845),
        ("zinc-tablet-flame", 65.38),
        ("nitrite-griess", 14.007),
        ("copper-addition-flame", 63.546),
        ("iron-wine-addition", 55.845),
        ("food-colours", 534.356_307_84),
    ]);
    all[key]
}

fn written(value: f64, decimals: usize) -> Reading {
    Reading::parse(&format!("{:.decimals$}", value.max(0.0))).expect("a reading")
}

fn put(row: &mut Titration, column: Column, value: f64) {
    row.readings.insert(column, written(value, 3));
}

/// What is in one sample, and in one flask that is measured, with what single-mark pieces really hold.
struct Sampled {
    /// Truth in the result's unit.
    truth: f64,
    /// mmol per unit of truth and mL or g of sample.
    per: f64,
    pipette: f64,
    /// Flask over pipette where a part is taken.
    parts: f64,
}

impl Sampled {
    fn of(key: &str, procedure: &Procedure, truth: f64, errors: &mut Errors) -> Self {
        let sample = &procedure.sample;
        let portion = sample.portion.map(f);
        let parts = sample
            .aliquot
            .as_ref()
            .map(|aliquot| errors.really(&aliquot.flask) / errors.really(&aliquot.pipette));
        Self {
            truth,
            per: 1.0 / molar_mass(key) / portion.unwrap_or(1000.0),
            pipette: match portion {
                Some(_) => 0.0,
                None => errors.really(&sample.glassware),
            },
            parts: parts.unwrap_or(1.0),
        }
    }

    /// mmol in what is measured, and what is written of the sample.
    fn taken(&self, procedure: &Procedure, row: &mut Titration, errors: &mut Errors) -> f64 {
        let mut amount = self.pipette;
        if self.pipette == 0.0 {
            amount = f(procedure.sample.nominal) * errors.between(0.95, 1.05);
            let balance = f(procedure.sample.glassware.tolerance());
            // tared: two weighings
            let seen = amount + errors.rectangle(balance) + errors.rectangle(balance);
            row.readings.insert(Column::SampleMass, written(seen, 4));
        }
        let repeat = f(procedure.uncertainty.repeatability) / 100.0;
        self.truth * self.per * amount / self.parts * (1.0 + repeat * errors.normal())
    }
}

/// Result of a hand-in with drawn errors, its expanded uncertainty, and the truth.
fn drawn(key: &str, procedure: &Procedure, errors: &mut Errors) -> (f64, f64, f64) {
    let mut rows = Vec::new();
    let mut stock = lot("S", "1");
    let sampled = match &procedure.scheme {
        Scheme::CalibrationLine(scheme) => {
            let line = &scheme.calibration;
            let nominal = f(line.nominal);
            stock = lot("S", &line.nominal.to_string());
            let really = nominal * (1.0 + f(dec(STOCK)) * errors.normal());
            let most = line.stock.iter().map(|v| f(*v)).fold(0.0, f64::max);
            let flask = f(line.made_up_in.capacity());
            let top = nominal * most / flask;
            let bend = if key == "zinc-tablet-flame" {
                0.08
            } else {
                0.0
            };
            let weighted = key == "nitrite-griess";
            let shows = |c: f64, errors: &mut Errors| {
                let share = c / top;
                let least = if weighted { 0.1 } else { 0.0 };
                let noise = match weighted {
                    true => NOISE * share.max(least).sqrt(),
                    false => NOISE,
                };
                0.005 + 0.9 * share * (1.0 + bend - bend * share) + noise * errors.normal()
            };
            let off = errors.triangle(f(line.taken_with.tolerance()));
            let reading = f(procedure.uncertainty.burette_reading);
            for (number, volume) in (1..).zip(&line.stock) {
                let mut volume = f(*volume);
                if volume > 0.0 {
                    volume += off + errors.triangle(reading) + errors.triangle(reading);
                }
                let c = really * volume / errors.really(&line.made_up_in);
                let mut row = Titration::new(TrialLabel::Standard(number));
                put(&mut row, Column::Absorbance, shows(c, errors));
                rows.push(row);
            }
            let share = errors.between(0.25, 0.85);
            let reagents = if procedure.trials.blank {
                0.02 * top
            } else {
                0.0
            };
            let per = 1.0 / molar_mass(key) / procedure.sample.portion.map_or(1000.0, f);
            let parts = procedure.sample.aliquot.as_ref();
            let parts = parts.map_or(1.0, |a| f(a.flask.capacity()) / f(a.pipette.capacity()));
            let truth = share * top * flask * parts / (per * f(procedure.sample.nominal));
            let sampled = Sampled::of(key, procedure, truth, errors);
            if procedure.trials.blank {
                let mut row = Titration::new(TrialLabel::Blank);
                put(&mut row, Column::Absorbance, shows(reagents, errors));
                rows.push(row);
            }
            for n in 1..=3 {
                let mut row = Titration::new(TrialLabel::Numbered(n));
                let amount = sampled.taken(procedure, &mut row, errors);
                let c = amount / errors.really(&line.made_up_in) + reagents;
                put(&mut row, Column::Absorbance, shows(c, errors));
                rows.push(row);
            }
            sampled
        }
        Scheme::StandardAddition(scheme) => {
            let vessels = &scheme.vessels;
            let nominal = f(vessels.nominal);
            stock = lot("S", &vessels.nominal.to_string());
            let really = nominal * (1.0 + f(dec(STOCK)) * errors.normal());
            let most = vessels.stock.iter().map(|v| f(*v)).fold(0.0, f64::max);
            let flask = f(vessels.made_up_in.capacity());
            let top = nominal * most / flask;
            let per = 1.0 / molar_mass(key) / 1000.0;
            let truth =
                errors.between(0.4, 1.1) * top * flask / (per * f(procedure.sample.nominal));
            let sampled = Sampled::of(key, procedure, truth, errors);
            let off = errors.triangle(f(vessels.taken_with.tolerance()));
            let reading = f(procedure.uncertainty.burette_reading);
            for n in 1..=2 {
                let mut row = Titration::new(TrialLabel::Numbered(n));
                for (number, volume) in (1..).zip(&vessels.stock) {
                    let mut volume = f(*volume);
                    if volume > 0.0 {
                        volume += off + errors.triangle(reading) + errors.triangle(reading);
                    }
                    let amount = sampled.taken(procedure, &mut row, errors) + really * volume;
                    let c = amount / errors.really(&vessels.made_up_in);
                    let seen = 0.45 * c / top + NOISE * errors.normal();
                    put(&mut row, Column::Vessels(number), seen);
                }
                rows.push(row);
            }
            sampled
        }
        Scheme::TwoSignals(scheme) => {
            let Pair::Wavelengths {
                absorptivities,
                uncertainty,
                made_up_in,
                instrument,
                ..
            } = &scheme.pair
            else {
                panic!("{key}: a line of arithmetic");
            };
            let relative = f(*uncertainty) / 100.0;
            let mut really = absorptivities.map(|row| row.map(f));
            for one in really.iter_mut().flatten() {
                *one *= 1.0 + relative * errors.normal();
            }
            let accuracy = [(); 2].map(|()| errors.rectangle(f(instrument.tolerance())));
            let truth = errors.between(30.0, 120.0);
            let sampled = Sampled::of(key, procedure, truth, errors);
            let other = errors.between(2e-6, 6e-6);
            for n in 1..=3 {
                let mut row = Titration::new(TrialLabel::Numbered(n));
                let amount = sampled.taken(procedure, &mut row, errors);
                let c = amount / errors.really(made_up_in);
                let columns = [Column::Absorbance, Column::SecondAbsorbance];
                for ((column, row_of), off) in columns.into_iter().zip(really).zip(accuracy) {
                    let seen = row_of[0] * c + row_of[1] * other + off;
                    put(&mut row, column, seen);
                }
                rows.push(row);
            }
            sampled
        }
        _ => panic!("{key}: another scheme"),
    };
    stock.molarity.standard_uncertainty = stock.molarity.value * dec(STOCK);
    let done = worked(procedure, rows, (&stock, None));
    let value = done.value().map_or(f64::NAN, f);
    let expanded = done.budget.map_or(0.0, |b| b.expanded);
    (value, expanded, sampled.truth)
}

#[test]
fn the_expanded_uncertainty_covers_what_errors_do() {
    let long = std::env::var_os("CONCORDANT_LONG").is_some();
    let draws = if long { 4000 } else { 300 };
    let mut errors = Errors(ChaCha20Rng::seed_from_u64(28));
    for key in [
        "iron-absorbance",
        "zinc-tablet-flame",
        "nitrite-griess",
        "copper-addition-flame",
        "iron-wine-addition",
        "food-colours",
    ] {
        let procedure = read(&text_of(key)).expect(key);
        let mut covered = 0;
        for _ in 0..draws {
            let (value, expanded, truth) = drawn(key, &procedure, &mut errors);
            covered += usize::from((value - truth).abs() <= expanded);
        }
        let share = covered as f64 / f64::from(draws);
        println!("{key}: {share:.3}");
        let room = 3.0 * (0.95f64 * 0.05 / f64::from(draws)).sqrt();
        assert!(
            share >= 0.93 - room && share <= 0.98 + room,
            "{key}: {share}"
        );
    }
}
