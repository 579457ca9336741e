//! Results that belong to several groups at once, and robust shifts of some groups fitted together.

use std::collections::BTreeMap;

use super::FEWEST_TO_JUDGE;
use super::group::{GroupName, Observed, OwnShift};
use crate::stats::{AlgorithmA, algorithm_a, mean_and_s, median, two_sided_t_p};

/// Results and the groups they fall into.
pub(super) struct Crossed {
    errors: Vec<f64>,
    /// Standard uncertainty of each result.
    standards: Vec<f64>,
    /// In order of kind and key.
    pub groups: Vec<Members>,
}

/// The results of one group.
pub(super) struct Members {
    pub name: GroupName,
    pub results: Vec<usize>,
    /// The same as a mask.
    within: Vec<bool>,
    /// Relative standard uncertainty of the assigned value, percent.
    stated: f64,
}

/// A group allowed for: its results are taken to be shifted.
#[derive(Clone, Copy, Debug)]
pub(super) struct Effect {
    pub group: usize,
    pub shift: f64,
    /// 1.25 s*/√p, percent.
    standard: f64,
}

/// A group looked at beside effects.
#[derive(Clone, Copy, Debug)]
pub(super) struct Looked {
    pub own: OwnShift,
    /// s*, percent.
    pub scatter: f64,
    pub p: Option<f64>,
}

impl Members {
    fn has(&self, result: usize) -> bool {
        self.within[result]
    }

    /// The share of these results that are the other's as well.
    pub fn share_of(&self, other: &Self) -> f64 {
        let both = self.results.iter().filter(|r| other.has(**r)).count();
        both as f64 / self.results.len() as f64
    }

    /// Those that are not the other's.
    pub fn outside(&self, other: &Self) -> Vec<usize> {
        let not_there = |result: &usize| !other.has(*result);
        self.results.iter().copied().filter(not_there).collect()
    }
}

impl Crossed {
    pub fn of(observed: &[Observed], stated: &BTreeMap<GroupName, f64>) -> Self {
        let mut groups: BTreeMap<&GroupName, Vec<usize>> = BTreeMap::new();
        for (at, one) in observed.iter().enumerate() {
            for name in &one.groups {
                groups.entry(name).or_default().push(at);
            }
        }
        let members = |(name, results): (&GroupName, Vec<usize>)| {
            let mut within = vec![false; observed.len()];
            results.iter().for_each(|result| within[*result] = true);
            Members {
                name: name.clone(),
                results,
                within,
                stated: stated.get(name).copied().unwrap_or(0.0),
            }
        };
        Self {
            errors: observed.iter().map(|one| one.error_percent).collect(),
            standards: observed.iter().map(|one| one.standard_percent).collect(),
            groups: groups.into_iter().map(members).collect(),
        }
    }

    /// Relative standard uncertainty of a group's assigned value, percent; 0 where it has none.
    pub fn stated(&self, group: usize) -> f64 {
        self.groups[group].stated
    }

    /// Robust shifts of some groups, each with the others taken away, by turns until they stand still.
    pub fn fit(&self, selected: &[usize]) -> Vec<Effect> {
        const MOST_TURNS: usize = 100;
        const STILL: f64 = 1e-9;
        let start = |group: &usize| Effect {
            group: *group,
            shift: 0.0,
            standard: 0.0,
        };
        let mut effects: Vec<Effect> = selected.iter().map(start).collect();
        for _ in 0..MOST_TURNS {
            let mut moved: f64 = 0.0;
            for at in 0..effects.len() {
                let group = effects[at].group;
                let found = self.robust(&self.groups[group].results, &effects, Some(group));
                moved = moved.max((found.mean - effects[at].shift).abs());
                effects[at].shift = found.mean;
                effects[at].standard = found.standard_uncertainty();
            }
            if moved < STILL {
                break;
            }
        }
        effects
    }

    /// A group as it is beside the effects of others; its own, if it is among them, is not taken away.
    pub fn look(&self, group: usize, effects: &[Effect]) -> Looked {
        let members = &self.groups[group];
        let found = self.robust(&members.results, effects, Some(group));
        let standard = found.standard_uncertainty();
        let mut variance = standard.powi(2) + members.stated.powi(2);
        for (at, other) in self.groups.iter().enumerate() {
            if at == group {
                continue;
            }
            // a value that looks off is as uncertain as the results that say so
            let effect = effects.iter().find(|effect| effect.group == at);
            let uncertainty = effect.map_or(other.stated, |effect| effect.standard);
            if uncertainty > 0.0 {
                variance += (members.share_of(other) * uncertainty).powi(2);
            }
        }
        let joined = variance.sqrt();
        let enough = found.n >= FEWEST_TO_JUDGE && joined > 0.0;
        Looked {
            own: OwnShift {
                percent: found.mean,
                standard_percent: standard,
                joined_percent: joined,
            },
            scatter: found.s,
            p: enough.then(|| two_sided_t_p(found.mean / joined, found.n as f64 - 1.0)),
        }
    }

    /// How much nearer to zero a shift of the group brings its results, in absolute values, all together.
    pub fn gain(&self, group: usize, shift: f64, effects: &[Effect]) -> f64 {
        let results = self.groups[group].results.iter();
        let gain = |result: &usize| {
            let left = self.left(*result, effects, None);
            left.abs() - (left - shift).abs()
        };
        results.map(gain).sum()
    }

    /// Robust mean and s* of some results beside effects; without the effect of one group, if so asked.
    pub fn robust(&self, results: &[usize], effects: &[Effect], but: Option<usize>) -> AlgorithmA {
        let left = results.iter().map(|r| self.left(*r, effects, but));
        let left: Vec<f64> = left.collect();
        let none = AlgorithmA {
            mean: 0.0,
            s: 0.0,
            n: left.len(),
        };
        let found = algorithm_a(&left).unwrap_or(none);
        if found.s > 0.0 {
            return found;
        }
        // more than half of them are the same number: their plain mean and scatter; all of them are, by coarse readings:
        // the scatter that each is known to have
        let (mean, s) = mean_and_s(&left).unwrap_or((0.0, 0.0));
        let alike = s <= 1e-9 * mean.abs();
        let known = || {
            median(
                &results
                    .iter()
                    .map(|r| self.standards[*r])
                    .collect::<Vec<_>>(),
            )
        };
        let s = if alike { known().unwrap_or(0.0) } else { s };
        AlgorithmA { mean, s, ..none }
    }

    fn left(&self, result: usize, effects: &[Effect], but: Option<usize>) -> f64 {
        let counts = |e: &&Effect| Some(e.group) != but && self.groups[e.group].has(result);
        let shifts: f64 = effects.iter().filter(counts).map(|e| e.shift).sum();
        self.errors[result] - shifts
    }
}
