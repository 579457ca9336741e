//! Why a goal of a rehearsal is not met, where the readings cannot say more or too few were looked at.

use super::copying::Copying;
use super::table::{Goal, Kind, Tally};
use crate::judge::signal::{Bench, Signal, result_at};
use crate::procedure::{Procedure, SampleBy};
use crate::stats::{binomial_at_least, binomial_at_most};
use crate::truth::Lot;

/// How seldom chance alone misses a goal by as much.
const BY_CHANCE: f64 = 0.05;
/// From how many times as much a result follows its lot on, a lot that is off looks like a slip.
const STEEP: f64 = 1.5;

/// None where nothing of the procedure says it: then it is for the judgement to do better.
pub fn why_not_met(kind: Kind, tally: Tally, procedure: Option<&Procedure>) -> Option<String> {
    let of_procedure = procedure.and_then(|procedure| in_the_readings(kind, procedure));
    of_procedure.or_else(|| by_chance(kind.goal()?, tally))
}

fn in_the_readings(kind: Kind, procedure: &Procedure) -> Option<String> {
    let is_titrated = procedure.titrant().is_some();
    match kind {
        Kind::Copy(_) | Kind::CopyAcross(_) if !procedure.scheme.tells_apart() => Some(
            "everybody measures the same solutions, or adds the same volumes, with one instrument: honest readings are as alike as copied ones".into(),
        ),
        Kind::CopyAcross(Copying::Differences) if procedure.sample.aliquot.is_some() => Some(
            "one sample is made up and titrated in parts: what is left of a copy is one weighing, and titres that others have too".into(),
        ),
        Kind::CopyAcross(Copying::Differences) if procedure.sample.by == SampleBy::Mass => Some(
            "masses are read once, tared: nothing stays that weighings could be made up around".into(),
        ),
        Kind::AccusedByLot | Kind::ToldApart(_) => {
            let times = per_lot(procedure).filter(|times| *times > STEEP)?;
            Some(format!(
                "the result is a small difference and follows its titre {times:.1} times: what is a little off there is far off here, and several slips and errors fit"
            ))
        }
        Kind::Decay if !is_titrated => Some(
            "a student\u{2019}s result scatters by more than the lot loses between two days".into(),
        ),
        _ => None,
    }
}

/// By how many percent a result in the middle changes with one percent of its titre.
fn per_lot(procedure: &Procedure) -> Option<f64> {
    let (_, nominal) = procedure.lot_reagent()?;
    let lot = Lot::nominal(nominal);
    let excess = procedure
        .excess()
        .map(|excess| Lot::nominal(excess.nominal));
    let bench = Bench {
        truth: 1.0,
        lot: Some(&lot),
        excess_lot: excess.as_ref(),
        blank: 0.0,
    };
    let middle = Signal::of(procedure).at(0.5);
    let at = |signal: f64| result_at(procedure, &bench, signal);
    let (here, further) = (at(middle)?, at(1.01 * middle)?);
    Some(100.0 * (further / here - 1.0).abs()).filter(|times| times.is_finite())
}

fn by_chance(goal: Goal, Tally { made, found }: Tally) -> Option<String> {
    let (found, n) = (found as u64, made as u64);
    let chance = match goal {
        Goal::AtMost(percent) => binomial_at_least(found, n, percent / 100.0),
        Goal::AtLeast(percent) => binomial_at_most(found, n, percent / 100.0),
    };
    (chance > BY_CHANCE).then(|| {
        let times = 100.0 * chance;
        format!("so few were looked at: chance alone misses the goal by as much in {times:.0} of a hundred rehearsals")
    })
}
