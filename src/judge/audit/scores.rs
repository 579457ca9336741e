//! Single results: how far each is from the class and from what was assigned, and whether one is an outlier of its group.

use std::collections::BTreeMap;

use super::{AuditGroup, AuditKind, FEWEST_TO_JUDGE, GroupName, Observed};
use crate::stats::{AlgorithmA, GrubbsSide, ScoreClass, algorithm_a, grubbs, z_score, zeta_score};

/// Level at which a result is an outlier of its group (ISO 5725-2:1994, 7.3.4).
const OUTLIER_LEVEL: f64 = 0.99;

/// The results of an experiment beside the class.
#[derive(Clone, Debug, PartialEq)]
pub struct Scores {
    /// Robust mean and standard deviation of all errors, percent.
    pub class: AlgorithmA,
    /// Those that are not satisfactory by z, the largest |z| first.
    pub standing_out: Vec<ResultScore>,
}

/// A result that stands out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResultScore {
    /// Its place among those observed.
    pub result: usize,
    /// From the robust mean of the class, in its robust standard deviations.
    pub z: f64,
    /// From what was assigned to the bottle, in the uncertainty of the two; none where one of them is not known.
    pub zeta: Option<f64>,
}

/// The results beside the class; none for too few, or results that are all alike. `stated` as for
/// [`audit`](super::audit).
pub fn scores(observed: &[Observed], stated: &BTreeMap<GroupName, f64>) -> Option<Scores> {
    let errors: Vec<f64> = observed.iter().map(|one| one.error_percent).collect();
    let class = algorithm_a(&errors).filter(|class| class.n >= FEWEST_TO_JUDGE)?;
    let mut standing_out = Vec::new();
    for (result, one) in observed.iter().enumerate() {
        let z = z_score(one.error_percent, class.mean, class.s)?;
        if ScoreClass::of(z) == ScoreClass::Satisfactory {
            continue;
        }
        let bottle = one
            .groups
            .iter()
            .find(|name| name.kind == AuditKind::Unknown);
        let assigned = bottle.and_then(|name| stated.get(name)).copied();
        // an uncertainty of zero is one that nobody stated
        let known = assigned.filter(|u| *u > 0.0 && one.standard_percent > 0.0);
        let found = (one.error_percent, one.standard_percent);
        standing_out.push(ResultScore {
            result,
            z,
            zeta: known.and_then(|u| zeta_score(found, (0.0, u))),
        });
    }
    standing_out.sort_by(|a, b| b.z.abs().total_cmp(&a.z.abs()));
    Some(Scores {
        class,
        standing_out,
    })
}

/// The result that Grubbs' test names an outlier of a group, if it names one; none for a group that cannot be tested:
/// of fewer than three results, or of results that are all alike.
pub fn outlier(observed: &[Observed], group: &AuditGroup) -> Option<Option<usize>> {
    let errors = group.members.iter().map(|at| observed[*at].error_percent);
    let errors: Vec<f64> = errors.collect();
    let found = grubbs(&errors, GrubbsSide::Either, OUTLIER_LEVEL)?;
    Some(found.is_outlier().then(|| group.members[found.index]))
}
