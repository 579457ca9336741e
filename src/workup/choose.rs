//! Which trials count.

use std::collections::BTreeSet;

use rust_decimal::Decimal;

use super::graph::Graph;
use super::trials::TrialOutcome;
use crate::procedure::{Accept, Procedure};
use crate::stats::{DixonCritical, dixon_outlier, dixon_printed};

/// Marks the trials that count and says of the others why not. True if titres should agree and no two do.
pub(super) fn choose(
    graph: &Graph,
    trials: &mut [TrialOutcome],
    procedure: &Procedure,
    left_out: &BTreeSet<u32>,
) -> bool {
    let mut open: Vec<usize> = Vec::new();
    for (index, trial) in trials.iter_mut().enumerate() {
        match trial.trial.number() {
            Some(n) if left_out.contains(&n) => trial.why_not = Some("left out by decision".into()),
            Some(_) if trial.result.is_some() => open.push(index),
            _ => {}
        }
    }
    let mut none_agree = false;
    let counted = match procedure.trials.accept {
        Accept::All => open.clone(),
        Accept::Concordant { within } => {
            // where a second portion is titrated, its titres have to agree as well
            let titre = |id: Option<_>| id.map_or(Decimal::ZERO, |id| graph.value(id));
            let titres: Vec<(u32, [Decimal; 2])> = open
                .iter()
                .map(|i| &trials[*i])
                .map(|t| {
                    (
                        t.trial.number().unwrap_or(0),
                        [titre(t.delivered), titre(t.second)],
                    )
                })
                .collect();
            match concordant(&titres, within) {
                Some(chosen) => open
                    .iter()
                    .zip(&chosen)
                    .filter(|(_, c)| **c)
                    .map(|(i, _)| *i)
                    .collect(),
                None => {
                    none_agree = open.len() > 1;
                    open.clone()
                }
            }
        }
        Accept::Dixon {
            level,
            from,
            critical,
        } => {
            let values: Vec<Decimal> = open
                .iter()
                .filter_map(|i| trials[*i].result)
                .map(|id| graph.value(id))
                .collect();
            let outlier = if values.len() >= from {
                dixon_outlier(&values, level, critical)
            } else {
                None
            };
            open.iter()
                .enumerate()
                .filter(|(place, _)| Some(*place) != outlier)
                .map(|(_, i)| *i)
                .collect()
        }
    };
    let reason = match procedure.trials.accept {
        Accept::Concordant { within } => format!("not within {within} mL of the concordant titres"),
        Accept::Dixon {
            level, critical, ..
        } => {
            let source = match critical {
                DixonCritical::Exact => "",
                DixonCritical::Rorabacher if dixon_printed(open.len(), level).is_some() => {
                    " by Rorabacher\u{2019}s table"
                }
                DixonCritical::Rorabacher => {
                    " by exact critical values, since Rorabacher\u{2019}s table ends at 30 trials"
                }
            };
            let percent = level.percent();
            format!("an outlier by Dixon\u{2019}s test at {percent} %{source}")
        }
        Accept::All => String::new(),
    };
    for index in open {
        if counted.contains(&index) {
            trials[index].counted = true;
        } else {
            trials[index].why_not = Some(reason.clone());
        }
    }
    none_agree
}

/// Which of the (trial number, titres) form the largest set, at least two, within so many mL; of equally large ones
/// that with the smallest range, then the latest (the higher trial numbers). None if no two agree.
pub fn concordant(titres: &[(u32, [Decimal; 2])], within: Decimal) -> Option<Vec<bool>> {
    let above = |low: [Decimal; 2]| {
        move |titre: &(u32, [Decimal; 2])| {
            low.iter()
                .zip(titre.1)
                .all(|(low, v)| v >= *low && v.checked_sub(*low).is_some_and(|gap| gap <= within))
        }
    };
    let mut seconds: Vec<Decimal> = titres.iter().map(|t| t.1[1]).collect();
    seconds.dedup();
    let seconds = &seconds;
    let lows = titres
        .iter()
        .flat_map(|(_, [first, _])| seconds.iter().map(move |second| [*first, *second]));
    lows.filter_map(|low| {
        let inside: Vec<_> = titres.iter().filter(|t| above(low)(t)).collect();
        let high = |which: usize| inside.iter().map(|t| t.1[which]).max();
        let range = |which: usize| high(which)?.checked_sub(low[which]);
        let widest = range(0)?.max(range(1)?);
        let mut numbers: Vec<u32> = inside.iter().map(|t| t.0).collect();
        numbers.sort_unstable_by(|a, b| b.cmp(a));
        (inside.len() > 1).then_some((inside.len(), std::cmp::Reverse(widest), numbers, low))
    })
    .max_by(|a, b| (a.0, a.1, &a.2).cmp(&(b.0, b.1, &b.2)))
    .map(|(_, _, _, low)| titres.iter().map(above(low)).collect())
}
