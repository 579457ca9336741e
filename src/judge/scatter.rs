//! Trials that agree better than reading and endpoint allow.
#![deny(clippy::wildcard_enum_match_arm)]

use rust_decimal::Decimal;

use super::case::Case;
use super::flags::{Flag, FlagCode};
use crate::measure::{Glassware, as_f64, from_f64, plain};
use crate::procedure::Procedure;
use crate::stats::{Replicates, chi_square_below};
use crate::workup::{Instrument, StepId, WorkUp};

/// Level of the test: 24 clean submissions raise an eighth of a flag by chance.
const SCATTER_LOW_LEVEL: f64 = 0.005;

/// The lower tail of chi-square for the scatter of **all** trials titrated, whether they count or not: the trials that
/// a rule chooses agree because they were chosen.
///
/// Readings are written in steps, and equal titres need not have been equal. The test allows for as much scatter as the
/// steps can hide: what was written stands for a cell of the lattice of results less their mean, none of whose points
/// is further from its centre than h √((n² − 1)/(12 n)) (the covering radius of the lattice A*; Conway and Sloane,
/// Sphere Packings, Lattices and Groups, chapter 4, 6.6). Three titres in steps of 0.01 mL can never agree too well for
/// the usual reading and endpoint; five that are all the same do.
pub(super) fn scatter_low(case: &Case, work_up: &WorkUp) -> Option<Flag> {
    // a display repeats itself as often as it likes
    case.procedure.burette()?;
    let predicted = work_up.predicted_scatter?;
    let titrated = || work_up.trials.iter().filter_map(|trial| trial.result);
    let results: Vec<Decimal> = titrated().map(|id| work_up.graph.value(id)).collect();
    let spread = Replicates::of(&results).ok()?;
    let (s, n) = (spread.s?, spread.n as f64);
    // far below the middle or not at all
    if s > 0.5 * predicted {
        return None;
    }
    let step = step(case.procedure, work_up, titrated().next()?);
    let hidden = step * ((n * n - 1.0) / (12.0 * n)).sqrt();
    let radius = (s * (n - 1.0).sqrt() + hidden) / predicted;
    let p = chi_square_below(radius * radius, n - 1.0);
    let unit = case.procedure.result.unit.name();
    let figures = |v: f64| from_f64(v, 2).map(plain).unwrap_or_default();
    (p < SCATTER_LOW_LEVEL).then(|| Flag {
        code: FlagCode::ScatterLow,
        evidence: format!(
            "s of {} trials is {} {unit}, reading and endpoint predict {} {unit} (chance {})",
            spread.n,
            figures(s),
            figures(predicted),
            figures(p),
        ),
        chance: SCATTER_LOW_LEVEL,
    })
}

/// By how much one step of what is read moves the result of a trial: titre and sample volume, as a root of squares.
pub(super) fn step(procedure: &Procedure, work_up: &WorkUp, result: StepId) -> f64 {
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
            Some(Instrument::Balance | Instrument::Spectrophotometer) | None => 0.0,
        };
    }
    squares.sqrt()
}
