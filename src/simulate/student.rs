//! One simulated student at the bench. The generator is handed in, so the same seed gives the same readings.
#![deny(clippy::wildcard_enum_match_arm)]

use rand::{Rng, RngExt};
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use super::hands::{Filling, Hands, Spread};
use crate::columns::Column;
use crate::judge::signal::{Bench, Signal, blank_of, signal_for};
use crate::measure::{Glassware, GlasswareKind, Reading, as_f64, to_decimals};
use crate::procedure::{Procedure, SampleBy};
use crate::schemes::Measurement;
use crate::submission::{Delivery, HandIn, Readings, Titration, TrialLabel};

/// What one student writes down. None where the bottle cannot be titrated with this procedure at all.
pub fn simulate(
    procedure: &Procedure,
    bench: &Bench,
    hands: &Hands,
    rng: &mut impl Rng,
) -> Option<HandIn> {
    let mut student = Student {
        procedure,
        hands,
        rng,
        burette: 0.0,
        last_end: None,
        first_titre: None,
        titrations: 0,
        biases: Biases::default(),
        made_up: None,
        made_up_readings: None,
        bottle: None,
    };
    student.biases = student.draw_biases();
    let bench = &Bench {
        truth: bench.truth * student.share_taken(),
        ..*bench
    };
    let mut titrations = Vec::new();
    if procedure.trials.blank {
        let blank = blank_of(procedure, bench);
        titrations.push(student.measure(TrialLabel::Blank, blank, None)?);
    }
    for (number, standard) in (1..).zip(procedure.scheme.standards()) {
        let label = TrialLabel::Standard(number);
        titrations.push(student.measure(label, standard.signal, None)?);
    }
    if hands.rough && procedure.titrant().is_some() {
        let sample = student.take_sample();
        let titre = signal_for(procedure, bench, sample)? + student.uniform(0.2, 0.9);
        titrations.push(student.measure(TrialLabel::Rough, titre, Some(sample))?);
    }
    for n in 1..=hands.trials.saturating_add(MORE_TRIALS) {
        // whose titres do not agree yet titrates again, twice at most
        if n > hands.trials && agree(procedure, bench, hands, &titrations) {
            break;
        }
        let sample = student.take_sample();
        let signal = signal_for(procedure, bench, sample)?;
        titrations.push(student.measure(TrialLabel::Numbered(n), signal, Some(sample))?);
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
fn agree(procedure: &Procedure, bench: &Bench, hands: &Hands, titrations: &[Titration]) -> bool {
    let done = bench.work_up(procedure, titrations.to_vec());
    done.counted() >= hands.trials as usize && !done.none_agree
}

/// Errors that a student's glassware makes the same way in every trial, in mL or g.
#[derive(Clone, Copy, Debug, Default)]
struct Biases {
    burette: f64,
    sample: f64,
    aliquot: f64,
}

struct Student<'a, R> {
    procedure: &'a Procedure,
    hands: &'a Hands,
    rng: &'a mut R,
    /// Where the meniscus stands, mL from the top.
    burette: f64,
    /// The reading last written of it.
    last_end: Option<Reading>,
    /// What the first numbered trial took, mL.
    first_titre: Option<f64>,
    titrations: u32,
    biases: Biases,
    /// What went into the flask, once a sample is made up: every trial is a part of the same one.
    made_up: Option<f64>,
    made_up_readings: Option<Readings>,
    /// What the weighing bottle with the sample in it weighs, g.
    bottle: Option<f64>,
}

/// The lightest weighing bottle, g (common practice), and how much heavier others are.
const BOTTLE: f64 = 12.0;
const HEAVIER: f64 = 6.0;
/// Portions that a weighing bottle is filled for.
const PORTIONS: f64 = 8.0;

impl<R: Rng> Student<'_, R> {
    fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.rng.random::<f64>()
    }

    fn triangular(&mut self, half_width: f64) -> f64 {
        Spread::Triangle(half_width).draw(self.rng)
    }

    fn draw_biases(&mut self) -> Biases {
        let tolerance = |piece: Option<&Glassware>| piece.map_or(0.0, |p| as_f64(p.tolerance()));
        let burette = self.triangular(tolerance(self.procedure.burette()));
        let sample = self.triangular(tolerance(Some(&self.procedure.sample.glassware)));
        let relative = |piece: &Glassware| as_f64(piece.tolerance()) / as_f64(piece.capacity());
        let aliquot = match &self.procedure.sample.aliquot {
            Some(aliquot) => {
                let taken = self.triangular(relative(&aliquot.pipette));
                taken - self.triangular(relative(&aliquot.flask))
            }
            None => 0.0,
        };
        Biases {
            burette,
            sample,
            aliquot,
        }
    }

    /// What was really taken of a sample measured with single-mark glassware, as a factor of the true value that the
    /// titre shows.
    fn share_taken(&self) -> f64 {
        let sample = &self.procedure.sample;
        let unread = sample.by == SampleBy::Volume && !self.procedure.reads_sample_volume();
        let signal = Signal::of(self.procedure);
        let of_vessel = signal.of_vessel;
        let taken = if unread && !of_vessel {
            self.biases.sample / as_f64(sample.nominal)
        } else {
            0.0
        };
        let pipetted = unread && !of_vessel || sample.aliquot.is_some();
        let own = if pipetted {
            self.hands.pipette_bias
        } else {
            0.0
        };
        let share = 1.0 + taken + self.biases.aliquot + own;
        if signal.inverse { 1.0 / share } else { share }
    }

    /// The true amount taken, mL or g.
    fn take_sample(&mut self) -> f64 {
        if let Some(amount) = self.made_up {
            return amount;
        }
        let sample = &self.procedure.sample;
        let nominal = as_f64(sample.nominal);
        let amount = match sample.by {
            SampleBy::Volume if self.procedure.reads_sample_volume() => {
                nominal * self.hands.cylinder_level + self.hands.cylinder_filling.draw(self.rng)
            }
            SampleBy::Volume => nominal,
            SampleBy::Mass | SampleBy::MassDifference => nominal * self.uniform(0.92, 1.08),
        };
        self.made_up = sample.aliquot.is_some().then_some(amount);
        amount
    }

    /// One row, for the signal that the true amounts give.
    fn measure(
        &mut self,
        trial: TrialLabel,
        signal: f64,
        sample: Option<f64>,
    ) -> Option<Titration> {
        let procedure = self.procedure;
        let signal = signal * (1.0 + self.hands.determination.draw(self.rng));
        self.titrations = self.titrations.saturating_add(1);
        let numbered = trial.number().is_some();
        let nominal = as_f64(procedure.sample.nominal);
        let share = if Signal::of(procedure).of_vessel {
            (nominal + self.biases.sample) / nominal
        } else {
            1.0
        };
        let measurements = procedure
            .scheme
            .measurements(signal * share, sample.unwrap_or(nominal) * share)?;
        let titres = measurements.iter();
        let titres = titres.filter(|one| !matches!(one, Measurement::Deliver(Delivery::Excess, _)));
        let towards_the_first = numbered && titres.count() == 1;
        let instrument = procedure.scheme.instrument();
        let mut row = Titration::new(trial);
        let mut empty_mass = 0.0;
        // where the burette stood, from which all points of a curve are counted
        let start = match measurements.first() {
            Some(Measurement::Point { .. }) => {
                self.hands.reading.draw(self.rng) - self.biases.burette
            }
            _ => 0.0,
        };
        for measurement in measurements {
            match measurement {
                Measurement::Deliver(Delivery::Excess, volume) => {
                    self.deliver_excess(&mut row, volume)?;
                }
                Measurement::Deliver(delivery, volume) => {
                    self.deliver(&mut row, delivery, volume, towards_the_first)?;
                }
                Measurement::FirstEndpoint(volume) => {
                    let piece = row.pieces(Delivery::First).next()?;
                    let (start, end) = (as_f64(piece.start.value()), as_f64(piece.end.value()));
                    let seen = start + volume + self.endpoint() + self.hands.reading.draw(self.rng);
                    let reading = self.read(seen.clamp(start, end), instrument)?;
                    row.readings.insert(Column::FirstEndpoint, reading);
                }
                Measurement::Weigh {
                    empty,
                    full,
                    content,
                    tare,
                } => {
                    empty_mass = self.uniform(tare.0, tare.1);
                    self.display(&mut row, empty, empty_mass)?;
                    self.display(&mut row, full, empty_mass + content)?;
                }
                Measurement::WeighAgain { full, content, .. } => {
                    self.display(&mut row, full, empty_mass + content)?;
                }
                Measurement::Point {
                    volume,
                    added,
                    signal,
                    shows,
                } => {
                    let seen = added + self.hands.reading.draw(self.rng) - start;
                    let reading = self.read(seen.max(0.0), procedure.burette()?)?;
                    row.readings.insert(volume, reading);
                    let unsteady = instrument.readable_step().map_or(0.0, as_f64);
                    let seen = shows + self.triangular(2.0 * unsteady);
                    row.readings.insert(signal, self.read(seen, instrument)?);
                }
                Measurement::Display(column, value) => {
                    let seen = value + self.hands.absorbance.draw(self.rng);
                    self.display(&mut row, column, seen.max(0.0))?;
                }
            }
        }
        if let Some(amount) = sample {
            row.readings.extend(self.read_sample(amount)?);
        }
        Some(row)
    }

    /// A delivery of so many mL, refilled where it does not fit.
    fn deliver(
        &mut self,
        row: &mut Titration,
        delivery: Delivery,
        titre: f64,
        towards_the_first: bool,
    ) -> Option<()> {
        let burette = self.procedure.burette()?;
        let capacity = as_f64(burette.capacity());
        let mut titre = (titre + self.endpoint()).max(0.02);
        if towards_the_first {
            titre = self.towards_the_first(titre);
        }
        let mut left = titre + self.biases.burette;
        let mut filling: usize = 0;
        let mut carried_on = matches!(
            self.hands.filling,
            Filling::CarriedOn | Filling::CarriedOnUnread
        );
        while left > 0.0 {
            let part = left.min(capacity * 0.9);
            if !carried_on || self.burette + part > capacity - 0.5 {
                self.fill();
            }
            carried_on = true;
            let low = self.meniscus(capacity);
            self.burette += part;
            let high = self.meniscus(capacity);
            let start = self.start(low, burette)?;
            let end = self.read(high.clamp(0.0, capacity), burette)?;
            self.last_end = Some(end.clone());
            filling = filling.saturating_add(1);
            let columns = Column::piece(delivery, filling);
            let (start, end) = if end.value() < start.value() {
                (end, start)
            } else {
                (start, end)
            };
            row.readings.extend([(columns.0, start), (columns.1, end)]);
            left -= part;
        }
        Some(())
    }

    /// From a burette of its own, filled each time, to where it should stand.
    fn deliver_excess(&mut self, row: &mut Titration, volume: f64) -> Option<()> {
        let burette = self.procedure.excess()?.burette()?;
        let capacity = as_f64(burette.capacity());
        let stands = self.uniform(0.0, (capacity - volume).clamp(0.0, 0.6));
        let start = stands + self.hands.reading.draw(self.rng);
        let end = stands + volume + self.hands.reading.draw(self.rng);
        for (column, seen) in <[Column; 2]>::from(Column::piece(Delivery::Excess, 1))
            .into_iter()
            .zip([start, end])
        {
            let reading = self.read(seen.clamp(0.0, capacity), burette)?;
            row.readings.insert(column, reading);
        }
        Some(())
    }

    fn fill(&mut self) {
        self.last_end = None;
        self.burette = match self.hands.filling {
            Filling::CarriedOn | Filling::CarriedOnUnread => self.uniform(0.0, 0.6),
            Filling::NearTop => self.uniform(0.0, 1.0),
            // the meniscus stands where the eye sees the mark
            Filling::ToZero => self.hands.reading.draw(self.rng) - self.parallax(0.0),
        };
    }

    /// The start as it is written.
    fn start(&mut self, seen: f64, burette: &Glassware) -> Option<Reading> {
        match (self.hands.filling, &self.last_end) {
            (Filling::ToZero, None) => self.read(0.0, burette),
            (Filling::CarriedOnUnread, Some(end)) => Some(end.clone()),
            _ => self.read(seen.max(0.0), burette),
        }
    }

    /// What the meniscus is seen to stand at, mL.
    fn meniscus(&mut self, capacity: f64) -> f64 {
        self.burette + self.parallax(self.burette / capacity) + self.hands.reading.draw(self.rng)
    }

    /// What a reading so far down the burette is too high by, mL.
    fn parallax(&self, down: f64) -> f64 {
        self.hands.parallax * (1.0 + down) / 2.0
    }

    /// Where the burette is closed, mL past the endpoint.
    fn endpoint(&mut self) -> f64 {
        let before = f64::from(self.titrations.saturating_sub(1));
        self.hands.endpoint.draw(self.rng) + self.hands.drift * before
    }

    /// What is delivered where the first titre is known and the colour in doubt: within two drops of it.
    fn towards_the_first(&mut self, titre: f64) -> f64 {
        let first = *self.first_titre.get_or_insert(titre);
        let doubt = 2.0 * as_f64(self.procedure.uncertainty.drop);
        if (first - titre).abs() < doubt {
            titre + self.hands.to_first_titre * (first - titre)
        } else {
            titre
        }
    }

    /// What an instrument displays, its last digit unsteady.
    fn display(&mut self, row: &mut Titration, column: Column, value: f64) -> Option<()> {
        let instrument = self.procedure.scheme.instrument();
        let step = instrument.readable_step().map_or(0.0, as_f64);
        let seen = value + self.triangular(step);
        let reading = self.read(seen.max(0.0), instrument)?;
        row.readings.insert(column, reading);
        Some(())
    }

    /// What the student writes of a sample: of one made up in a flask, the same readings in every row.
    fn read_sample(&mut self, amount: f64) -> Option<Readings> {
        if let Some(written) = &self.made_up_readings {
            return Some(written.clone());
        }
        let mut readings = Readings::new();
        let piece = &self.procedure.sample.glassware;
        let noise = piece.readable_step().map_or(0.0, as_f64);
        match Column::of_sample(self.procedure) {
            [before, after] => {
                let full = match self.bottle {
                    Some(left) if self.hands.one_bottle && left > BOTTLE + amount => left,
                    _ => self.fill_bottle(amount),
                };
                let left = full - amount;
                self.bottle = Some(left);
                readings.insert(*before, self.read(full, piece)?);
                readings.insert(*after, self.read(left, piece)?);
            }
            [Column::SampleVolume] => {
                let error = self.triangular(noise * self.hands.cylinder_reading);
                let seen = amount + self.biases.sample + error;
                readings.insert(Column::SampleVolume, self.read(seen, piece)?);
            }
            mass => {
                for column in mass {
                    let seen = amount + self.triangular(noise);
                    readings.insert(*column, self.read(seen, piece)?);
                }
            }
        }
        if self.made_up.is_some() {
            self.made_up_readings = Some(readings.clone());
        }
        Some(readings)
    }

    /// What it weighs: an empty one with a portion in it, or with enough for all of them.
    fn fill_bottle(&mut self, portion: f64) -> f64 {
        let empty = self.uniform(BOTTLE, BOTTLE + HEAVIER);
        let portions = if self.hands.one_bottle { PORTIONS } else { 1.0 };
        empty + portions * portion
    }

    /// A number as this student writes it.
    fn read(&mut self, value: f64, piece: &Glassware) -> Option<Reading> {
        let step = piece.readable_step()?;
        let mut decimals = step.scale();
        if decimals > 0 && self.rng.random::<f64>() < self.hands.wrong_decimals {
            decimals = decimals.saturating_sub(1);
        }
        let estimated = matches!(
            piece.kind(),
            GlasswareKind::Burette | GlasswareKind::Cylinder | GlasswareKind::GraduatedPipette
        );
        let preferred = estimated
            && self.hands.digit_preference > 0.0
            && self.rng.random::<f64>() < self.hands.digit_preference;
        let (step, steps) = if preferred {
            let half_division = step.checked_mul(Decimal::from(5))?;
            (half_division, value / as_f64(half_division))
        } else {
            (step, value / as_f64(step))
        };
        let steps = Decimal::from_f64(steps.round())?;
        let seen = to_decimals(steps.checked_mul(step)?, decimals);
        Reading::parse_signed(&seen.to_string()).ok()
    }
}
