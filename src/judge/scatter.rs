//! Trials that agree better than reading and endpoint allow.

use rust_decimal::Decimal;

use super::case::Case;
use super::flags::{Flag, FlagCode};
use crate::measure::{as_f64, from_f64, plain};
use crate::stats::{Replicates, chi_square_below};
use crate::workup::{WorkUp, titre_scatter};

/// Level of the test: 24 clean submissions raise a twentieth of a flag by chance. It is strict because a steady hand
/// does better than a procedure states, and a student who rounds is not one who invents.
pub(super) const SCATTER_LOW_LEVEL: f64 = 0.002;

/// The lower tail of chi-square for the scatter of **all** trials titrated, whether they count or not: the trials that
/// a rule chooses agree because they were chosen.
///
/// Titres are written in steps, and equal titres need not have been equal. The test allows for as much scatter as the
/// steps can hide: what was written stands for a cell of the lattice of titres less their mean, none of whose points
/// is further from its centre than h √((n² − 1)/(12 n)) (the covering radius of the lattice A*; Conway and Sloane,
/// Sphere Packings, Lattices and Groups, chapter 4, 6.6). So three equal titres, in steps of 0.01 mL, are never flagged.
pub(super) fn scatter_low(case: &Case, work_up: &WorkUp) -> Option<Flag> {
    let step = as_f64(case.procedure.burette()?.readable_step()?);
    let (predicted, titre) = (work_up.predicted_scatter?, titre_scatter(case.procedure)?);
    let titrated = work_up.trials.iter().filter_map(|trial| trial.result);
    let results: Vec<Decimal> = titrated.map(|id| work_up.graph.value(id)).collect();
    let spread = Replicates::of(&results).ok()?;
    let (s, n) = (spread.s?, spread.n as f64);
    // no point in the tail of a chi-square where s is half of what is expected
    if s > 0.5 * predicted {
        return None;
    }
    let hidden = step / titre * ((n * n - 1.0) / (12.0 * n)).sqrt();
    let radius = s / predicted * (n - 1.0).sqrt() + hidden;
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
