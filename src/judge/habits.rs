//! What a student's reports of a term show together: trials that agree too well, and last digits that nobody estimated.
//!
//! One experiment holds too little to tell invented trials from lucky ones. Here each submission gives its share, which is
//! small and can be kept, and a student's shares are put together over the term.
#![deny(clippy::wildcard_enum_match_arm)]

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::end_digits::{EndDigits, OddDigits};
use crate::measure::{Glassware, as_f64, from_f64, plain, to_figures};
use crate::procedure::Procedure;
use crate::stats::{Replicates, chi_square_below, median};
use crate::submission::HandIn;
use crate::workup::{Instrument, StepId, WorkUp};

/// Level at which a student's trials of a term agree too well.
pub const TERM_SCATTER_LEVEL: f64 = 0.002;
/// What the most careful of a class scatter, over what the class does; a class's robust figure is a sixth too high where
/// one in five of it is careless.
const MOST_CAREFUL: f64 = 0.75;
/// The same over what reading and endpoint predict, where no class is known: stated errors may be larger than real ones.
const MOST_CAREFUL_OF_PREDICTED: f64 = 0.6;
/// A step up to this share of the scatter only adds to it, as rounding does; larger ones hide some.
const FINE_STEP: f64 = 0.75;
/// Who ends more readings than that in 0 or 5 reads to half a division.
const HALF_DIVISIONS: f64 = 0.4;
/// Fewest experiments, and degrees of freedom in them.
const FEWEST_EXPERIMENTS: usize = 3;
const FEWEST_FREEDOM: f64 = 6.0;

/// What one submission says of how far a student's trials lie apart.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ScatterShare {
    /// Trials titrated, whether they count or not: those that a rule chooses agree because they were chosen.
    pub trials: usize,
    /// Standard deviation of their results, in the result's unit.
    pub s: f64,
    /// What reading and endpoint predict for it.
    pub predicted: f64,
    /// By how much one readable step of titre and sample moves a result.
    pub step: f64,
    pub digits: EndDigits,
}

impl ScatterShare {
    /// None where nothing is read off a burette: a display repeats itself as often as it likes.
    pub fn of(procedure: &Procedure, hand_in: &HandIn, work_up: &WorkUp) -> Option<Self> {
        procedure.burette()?;
        let titrated = || work_up.trials.iter().filter_map(|trial| trial.result);
        let results: Vec<Decimal> = titrated().map(|id| work_up.graph.value(id)).collect();
        let spread = Replicates::of(&results).ok()?;
        Some(Self {
            trials: spread.n,
            s: spread.s?,
            predicted: work_up.predicted_scatter?,
            step: step(procedure, work_up, titrated().next()?),
            digits: EndDigits::of(procedure, hand_in),
        })
    }

    fn freedom(&self) -> f64 {
        self.trials as f64 - 1.0
    }

    /// Sum of squares about the mean, over the variance that the most careful have.
    fn chi_square(&self, yardstick: f64, reads_half_divisions: bool) -> f64 {
        let n = self.trials as f64;
        let step = if reads_half_divisions {
            5.0 * self.step
        } else {
            self.step
        };
        let hidden = if step <= FINE_STEP * yardstick {
            0.0
        } else {
            // what was written stands for a cell of the lattice of results less their mean, none of whose points is
            // further from its centre (the covering radius of A*; Conway and Sloane, Sphere Packings, Lattices and
            // Groups, chapter 4, 6.6)
            step * ((n * n - 1.0) / (12.0 * n)).sqrt()
        };
        let radius = (self.s * self.freedom().sqrt() + hidden) / yardstick;
        radius * radius
    }
}

/// Robust standard deviation within students, in the result's unit, from everybody's share in an experiment: the median
/// of their variances, each over the median of chi-square per degree of freedom (Wilson and Hilferty, 1931). None for
/// fewer than eight.
pub fn class_scatter<'s>(shares: impl Iterator<Item = &'s ScatterShare>) -> Option<f64> {
    const FEWEST: usize = 8;
    let variances: Vec<f64> = shares
        .filter(|share| share.trials > 1)
        .map(|share| share.s.powi(2) / (1.0 - 2.0 / (9.0 * share.freedom())).powi(3))
        .collect();
    if variances.len() < FEWEST {
        return None;
    }
    median(&variances).map(f64::sqrt)
}

/// A student's share in one experiment of the term.
#[derive(Clone, Copy, Debug)]
pub struct TermScatter<'a> {
    /// What people call the experiment.
    pub experiment: &'a str,
    pub share: ScatterShare,
    /// What the class scatters in it, as [`class_scatter`] says; none where that is not known.
    pub class_s: Option<f64>,
}

/// Trials of a term that agree better than careful people's.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct EvenTrials {
    pub experiments: Vec<String>,
    pub trials: usize,
    /// Pooled standard deviation over the class's.
    pub ratio: f64,
    /// At most this is the chance that the most careful come so low.
    pub p: f64,
}

/// The lower tail of chi-square for all trials of a student's term, against what the most careful of each class show.
pub fn pooled_scatter(term: &[TermScatter]) -> Option<EvenTrials> {
    let digits = term.iter().map(|one| one.share.digits);
    let digits = digits.fold(EndDigits::default(), EndDigits::with);
    let half_divisions = digits.round as f64 > HALF_DIVISIONS * digits.estimated as f64;
    let (mut chi_square, mut squares, mut freedom, mut trials) = (0.0, 0.0, 0.0, 0_usize);
    let mut experiments = Vec::new();
    for one in term {
        let class = one.class_s.filter(|s| *s > 0.0);
        let yardstick = class.map_or(MOST_CAREFUL_OF_PREDICTED * one.share.predicted, |s| {
            MOST_CAREFUL * s
        });
        if one.share.trials < 2 || yardstick <= 0.0 {
            continue;
        }
        let compared = class.unwrap_or(one.share.predicted);
        chi_square += one.share.chi_square(yardstick, half_divisions);
        squares += one.share.freedom() * (one.share.s / compared).powi(2);
        freedom += one.share.freedom();
        trials = trials.saturating_add(one.share.trials);
        experiments.push(one.experiment.to_owned());
    }
    if experiments.len() < FEWEST_EXPERIMENTS || freedom < FEWEST_FREEDOM {
        return None;
    }
    let p = chi_square_below(chi_square, freedom);
    (p < TERM_SCATTER_LEVEL).then(|| EvenTrials {
        experiments,
        trials,
        ratio: (squares / freedom).sqrt(),
        p,
    })
}

impl EvenTrials {
    /// The evidence in a sentence.
    pub fn words(&self) -> String {
        let percent = from_f64(100.0 * self.ratio, 2).map(plain);
        let among = from_f64(1.0 / self.p.max(1e-6), 2);
        let among = among.map(|n| plain(to_figures(n, 2).trunc()));
        format!(
            "over {} experiments ({}) {} trials scatter {} % of what the class does; of the most careful, fewer than one \
             student in {} comes so low",
            self.experiments.len(),
            self.experiments.join(", "),
            self.trials,
            percent.unwrap_or_default(),
            among.unwrap_or_default(),
        )
    }
}

/// What is odd about a student's last digits of a term.
pub fn pooled_digits(term: &[EndDigits]) -> Option<OddDigits> {
    let digits = term.iter().copied();
    digits.fold(EndDigits::default(), EndDigits::with).of_term()
}

/// By how much one step of what is read moves the result of a trial: titre and sample volume, as a root of squares.
fn step(procedure: &Procedure, work_up: &WorkUp, result: StepId) -> f64 {
    let readable = |piece: Option<&Glassware>| {
        let step = piece.and_then(Glassware::readable_step);
        step.map_or(0.0, as_f64)
    };
    let burette = readable(procedure.burette());
    let sample = readable(Some(&procedure.sample.glassware));
    let by = work_up.graph.sensitivities(result);
    let mut squares = 0.0;
    for ((_, step), by) in work_up.graph.steps().zip(&by) {
        if !step.quantity.of.is_trial() {
            continue;
        }
        squares += match step.quantity.read {
            // a volume is one step of two readings
            Some(Instrument::Burette) => (by * burette).powi(2) / 2.0,
            Some(Instrument::Graduated) => (by * sample).powi(2),
            Some(Instrument::Balance | Instrument::Display) | None => 0.0,
        };
    }
    squares.sqrt()
}
