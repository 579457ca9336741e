//! Wrong answers worked out as a student with a calculator would, by arithmetic written here for each scheme from its
//! chemistry, and what the judgement makes of them. Nothing here asks the code that predicts slips what an answer is.

mod addition;
mod aliquot_mass;
mod aliquot_volume;
mod back;
mod bent_line;
mod conductance;
mod count;
mod course;
mod density;
mod direct_mass;
mod direct_volume;
mod gravimetric;
mod heating;
mod hydrate;
mod line;
mod named;
mod standardisation;
mod two_absorbances;
mod two_endpoint;
mod two_species;
mod weighted_line;
mod weights;

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

/// An experiment of its own: a procedure, its lots, and hand-ins.
pub struct Lab {
    pub key: &'static str,
    /// The procedure's file up to `[trials]`; marking and text are the same for all.
    pub procedure: &'static str,
    /// The reading columns of `readings/KEY.csv`, after `student_id`.
    pub columns: &'static str,
    /// Code, reagent, molarity.
    pub lots: &'static [(&'static str, &'static str, &'static str)],
    /// How near an answer has to be to count as right, percent.
    pub within: f64,
    /// Figures of an answer.
    pub figures: [usize; 2],
    /// One hand-in with readings written down here.
    pub written: fn() -> Sheet,
    /// A hand-in of somebody invented.
    pub invented: fn(&mut ChaCha20Rng) -> Sheet,
}

pub const LABS: [&Lab; 18] = [
    &direct_volume::LAB,
    &direct_mass::LAB,
    &aliquot_mass::LAB,
    &aliquot_volume::LAB,
    &back::LAB,
    &standardisation::LAB,
    &two_endpoint::LAB,
    &gravimetric::LAB,
    &density::LAB,
    &line::LAB,
    &weighted_line::LAB,
    &bent_line::LAB,
    &addition::LAB,
    &two_absorbances::LAB,
    &two_species::LAB,
    &heating::LAB,
    &hydrate::LAB,
    &conductance::LAB,
];

/// The slips in calculations, all of which are made here.
pub const CODES: [&str; 24] = [
    "back-not-subtracted",
    "blank-omitted",
    "dilution-omitted",
    "end-not-difference",
    "intercept-ignored",
    "line-through-origin",
    "masses-as-amounts",
    "masses-exchanged",
    "millilitres-as-litres",
    "nominal-molarity",
    "one-trial-only",
    "other-component",
    "other-ignored",
    "other-line",
    "ratio-ignored",
    "ratio-inverted",
    "rough-included",
    "rounded-early",
    "signals-exchanged",
    "start-not-zero-ignored",
    "unit-slip",
    "volume-not-corrected",
    "volumes-exchanged",
    "wrong-species",
];

/// What one bench group wrote down, and what can be made of it.
#[derive(Clone)]
pub struct Sheet {
    /// Rows of `readings/KEY.csv`, after `student_id`.
    pub rows: Vec<String>,
    pub right: f64,
    pub wrong: Vec<Wrong>,
    /// Answers from a sample that was diluted, with steps of it forgotten, by the solution that was taken for another.
    pub diluted: Vec<(Taken, f64)>,
}

/// A solution taken for another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Taken {
    /// What the flask holds, for the sample.
    FlaskForSample,
    /// What was pipetted out of the flask, for what was made of it and measured.
    PipettedForMeasured,
    /// What was measured, for the sample.
    MeasuredForSample,
}

/// An answer with one mistake in it.
#[derive(Clone, Copy, Debug)]
pub struct Wrong {
    pub code: &'static str,
    pub answer: f64,
}

pub fn wrong(code: &'static str, answer: f64) -> Wrong {
    Wrong { code, answer }
}

impl Sheet {
    /// Every mistake worked out here.
    pub fn all(&self) -> impl Iterator<Item = Wrong> {
        let diluted = self.diluted.iter();
        let diluted = diluted.map(|(_, answer)| wrong("dilution-omitted", *answer));
        self.wrong.iter().copied().chain(diluted)
    }

    /// The codes of all mistakes that give this answer to a unit of its last figure.
    pub fn codes_of(&self, answer: &Answer) -> Vec<&'static str> {
        let near = |wrong: &Wrong| (wrong.answer - answer.value).abs() <= answer.unit;
        let mut codes: Vec<_> = self.all().filter(near).map(|w| w.code).collect();
        codes.sort_unstable();
        codes.dedup();
        codes
    }
}

/// An answer as it is handed in.
#[derive(Clone, Debug)]
pub struct Answer {
    pub text: String,
    pub value: f64,
    /// One unit of the last figure kept.
    pub unit: f64,
}

/// What an answer is beside the right one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Standing {
    Right,
    /// Not near enough, yet the right value to within a unit of its last figure: it can be seen either way.
    Between,
    Wrong,
}

impl Answer {
    pub fn new(value: f64, figures: usize) -> Self {
        let text = rounded(value, figures);
        let value = text.parse().expect("a number");
        let unit = 2.0 * half_unit(value, figures);
        Self { text, value, unit }
    }

    pub fn standing(&self, right: f64, within: f64) -> Standing {
        let off = (self.value - right).abs();
        match (off <= right * within / 100.0, off <= self.unit) {
            (true, _) => Standing::Right,
            (false, true) => Standing::Between,
            (false, false) => Standing::Wrong,
        }
    }
}

/// One delivery as read, mL.
#[derive(Clone, Copy, Debug)]
pub struct Burette {
    pub start: f64,
    pub end: f64,
}

impl Burette {
    pub fn delivered(self) -> f64 {
        self.end - self.start
    }
}

pub fn readings(pairs: &[(f64, f64)]) -> Vec<Burette> {
    let burette = |&(start, end): &(f64, f64)| Burette { start, end };
    pairs.iter().map(burette).collect()
}

pub fn delivered(trials: &[Burette]) -> Vec<f64> {
    trials.iter().map(|trial| trial.delivered()).collect()
}

pub fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// The end taken for the volume in every trial, and in one trial that started elsewhere than at zero; `answer` says what
/// comes of volumes, one per trial.
pub fn starts_forgotten(trials: &[Burette], answer: impl Fn(&[f64]) -> f64) -> Vec<Wrong> {
    let started: Vec<usize> = (0..trials.len())
        .filter(|&i| trials[i].start > 0.0)
        .collect();
    let ends: Vec<f64> = trials.iter().map(|trial| trial.end).collect();
    let mut mistakes = Vec::new();
    if !started.is_empty() {
        mistakes.push(wrong("end-not-difference", answer(&ends)));
    }
    for i in started {
        let mut volumes = delivered(trials);
        volumes[i] = ends[i];
        mistakes.push(wrong("start-not-zero-ignored", answer(&volumes)));
    }
    mistakes
}

/// The result of one trial handed in for the mean of all.
pub fn single_trials(results: &[f64]) -> impl Iterator<Item = Wrong> {
    results
        .iter()
        .map(|result| wrong("one-trial-only", *result))
}

/// Volumes or masses in the wrong unit: nobody can tell millilitres taken for litres from grams taken for milligrams.
pub fn thousands(right: f64) -> impl Iterator<Item = Wrong> {
    let codes = ["millilitres-as-litres", "unit-slip"];
    let both = move |code| [wrong(code, right * 1000.0), wrong(code, right / 1000.0)];
    codes.into_iter().flat_map(both)
}

/// As a student writes it: 22.3, 0.0223, 22300.
pub fn rounded(value: f64, figures: usize) -> String {
    let scientific = format!("{:.*e}", figures - 1, value);
    let (digits, power) = scientific.split_once('e').expect("an exponent");
    let power: i32 = power.parse().expect("a whole number");
    let value: f64 = digits.parse::<f64>().expect("a number") * 10_f64.powi(power);
    let decimals = figures as i32 - 1 - power;
    format!("{value:.*}", decimals.max(0) as usize)
}

pub fn to_figures(value: f64, figures: usize) -> f64 {
    rounded(value, figures).parse().expect("a number")
}

/// Half a unit of the last figure that was kept.
pub fn half_unit(value: f64, figures: usize) -> f64 {
    let power = value.abs().log10().floor() as i32;
    0.5 * 10_f64.powi(power + 1 - figures as i32)
}

/// As an instrument shows it.
pub fn read(value: f64, decimals: usize) -> f64 {
    format!("{value:.decimals$}").parse().expect("a number")
}

/// Titres about `titre`, each up to `spread` off; some go on where the last one ended, some start a little below zero.
pub fn titrations(rng: &mut ChaCha20Rng, titre: f64, spread: f64, n: usize) -> Vec<Burette> {
    let goes_on = rng.random_bool(0.4);
    let mut last = 0.0;
    let mut trials = Vec::new();
    for _ in 0..n {
        let volume = titre + rng.random_range(-spread..=spread);
        let refilled = !goes_on || last + volume > 49.0;
        let start = match refilled {
            true if rng.random_bool(0.4) => 0.0,
            true => read(rng.random_range(0.05..2.5), 2),
            false => last,
        };
        let end = read(start + volume, 2);
        trials.push(Burette { start, end });
        last = end;
    }
    trials
}

/// Most hands are steady; one in three is not.
pub fn spread(rng: &mut ChaCha20Rng) -> f64 {
    if rng.random_bool(0.33) { 0.8 } else { 0.04 }
}
