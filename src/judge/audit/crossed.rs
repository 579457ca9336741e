//! Results that belong to several groups at once, and robust shifts of some groups fitted together.

use std::collections::BTreeMap;

use super::FEWEST_TO_JUDGE;
use super::drift::{Line, line};
use super::few::{FEW, is_class};
use super::group::{AuditKind, GroupName, Observed, OwnShift};
use crate::stats::{AlgorithmA, algorithm_a, mean_and_s, median, two_sided_t_p};

/// Results and the groups they fall into.
pub(super) struct Crossed {
    errors: Vec<f64>,
    /// Standard uncertainty of each result.
    standards: Vec<f64>,
    at_days: Vec<Option<f64>>,
    /// Of each result, its groups.
    groups_of: Vec<Vec<usize>>,
    /// In order of kind and key.
    pub groups: Vec<Members>,
    /// The scatter within a group that is usual in this experiment, percent.
    scatter: f64,
}

/// The results of one group.
pub(super) struct Members {
    pub name: GroupName,
    pub results: Vec<usize>,
    /// Other groups that hold some of the same results, and how many.
    shares: Vec<(usize, usize)>,
    /// Relative standard uncertainty of the assigned value, percent.
    stated: f64,
}

/// What is allowed for: a group whose results are shifted, or shifted by more from day to day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Selected {
    pub group: usize,
    pub drifts: bool,
}

/// A group allowed for: its results are taken to be shifted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Effect {
    pub group: usize,
    /// In the middle of the times, for a drift.
    pub shift: f64,
    /// 1.25 s*/√p, percent.
    standard: f64,
    pub line: Option<Line>,
}

/// A group looked at beside effects.
#[derive(Clone, Copy, Debug)]
pub(super) struct Looked {
    pub own: OwnShift,
    /// s*, percent.
    pub scatter: f64,
    /// By Student's t on its own scatter.
    pub p: Option<f64>,
}

impl Members {
    /// Other groups with some of the same results.
    pub fn neighbours(&self) -> impl Iterator<Item = usize> + '_ {
        self.shares.iter().map(|(group, _)| *group)
    }

    /// The share of these results that are the other's as well.
    pub fn share_of(&self, other: usize) -> f64 {
        let at = self.shares.binary_search_by_key(&other, |share| share.0);
        let both = at.map_or(0, |at| self.shares[at].1);
        both as f64 / self.results.len() as f64
    }
}

impl Effect {
    pub fn selected(&self) -> Selected {
        Selected {
            group: self.group,
            drifts: self.line.is_some(),
        }
    }
}

impl Crossed {
    pub fn of(observed: &[Observed], stated: &BTreeMap<GroupName, f64>) -> Self {
        let mut results: BTreeMap<&GroupName, Vec<usize>> = BTreeMap::new();
        for (at, one) in observed.iter().enumerate() {
            for name in &one.groups {
                results.entry(name).or_default().push(at);
            }
        }
        let mut groups_of = vec![Vec::new(); observed.len()];
        for (group, results) in results.values().enumerate() {
            for result in results {
                groups_of[*result].push(group);
            }
        }
        let members = |(group, (name, results)): (usize, (&GroupName, Vec<usize>))| {
            let mut shares: BTreeMap<usize, usize> = BTreeMap::new();
            for other in results.iter().flat_map(|result| &groups_of[*result]) {
                let count = shares.entry(*other).or_insert(0);
                *count = count.saturating_add(1);
            }
            shares.remove(&group);
            Members {
                name: name.clone(),
                results,
                shares: shares.into_iter().collect(),
                stated: stated.get(name).copied().unwrap_or(0.0),
            }
        };
        let groups = results.into_iter().enumerate().map(members).collect();
        let mut crossed = Self {
            errors: observed.iter().map(|one| one.error_percent).collect(),
            standards: observed.iter().map(|one| one.standard_percent).collect(),
            at_days: observed.iter().map(|one| one.at_days).collect(),
            groups_of,
            groups,
            scatter: 0.0,
        };
        crossed.scatter = crossed.usual_scatter().unwrap_or(0.0);
        crossed
    }

    /// Median s* of the groups of a kind, of that kind whose groups scatter least: what shifts groups of one kind makes
    /// those of the others scatter more.
    fn usual_scatter(&self) -> Option<f64> {
        let of_kind = |kind: AuditKind| {
            let groups = self.groups.iter().filter(|g| g.name.kind == kind);
            let many = groups.filter(|g| g.results.len() > FEW);
            let scatters: Vec<f64> = many.map(|g| self.robust(&g.results, &[], None).s).collect();
            median(&scatters)
        };
        let kinds = AuditKind::ALL.into_iter().filter_map(of_kind);
        let all = || algorithm_a(&self.errors).map(|all| all.s);
        kinds.min_by(f64::total_cmp).or_else(all)
    }

    /// Usual within a group, percent.
    pub fn scatter(&self) -> f64 {
        self.scatter
    }

    /// The group of a kind that a result belongs to.
    pub fn group_of(&self, result: usize, kind: AuditKind) -> Option<usize> {
        let mut groups = self.groups_of[result].iter().copied();
        groups.find(|group| self.groups[*group].name.kind == kind)
    }

    /// How many results there are in all.
    pub fn results(&self) -> usize {
        self.errors.len()
    }

    /// How many of them a group of so many leaves.
    pub fn others(&self, n: usize) -> usize {
        self.results().saturating_sub(n)
    }

    /// Relative standard uncertainty of a group's assigned value, percent; 0 where it has none.
    pub fn stated(&self, group: usize) -> f64 {
        self.groups[group].stated
    }

    /// Results of the first that are not the second's.
    pub fn outside(&self, group: usize, other: usize) -> Vec<usize> {
        let results = self.groups[group].results.iter().copied();
        results.filter(|result| !self.has(other, *result)).collect()
    }

    fn has(&self, group: usize, result: usize) -> bool {
        self.groups_of[result].contains(&group)
    }

    /// Whether a group has so few results that its scatter is taken from the class.
    pub fn is_few(&self, group: usize) -> bool {
        let n = self.groups[group].results.len();
        n <= FEW && self.scatter > 0.0 && is_class(self.others(n))
    }

    /// Robust shifts of some groups, each with the others taken away, by turns until they stand still.
    pub fn fit(&self, selected: &[Selected]) -> Vec<Effect> {
        const MOST_TURNS: usize = 100;
        const STILL: f64 = 1e-9;
        let start = |selected: &Selected| Effect {
            group: selected.group,
            shift: 0.0,
            standard: 0.0,
            line: None,
        };
        let mut effects: Vec<Effect> = selected.iter().map(start).collect();
        for _ in 0..MOST_TURNS {
            let mut moved: f64 = 0.0;
            for (at, Selected { group, drifts }) in selected.iter().enumerate() {
                let before = effects[at];
                let line = drifts.then(|| self.line(*group, &effects)).flatten();
                let (shift, standard) = line.map_or_else(
                    || self.centre(*group, &effects),
                    |line| (line.level, line.level_standard),
                );
                moved = moved.max((shift - before.shift).abs());
                if let (Some(line), Some(before)) = (line, before.line) {
                    moved = moved.max((line.per_day - before.per_day).abs());
                }
                effects[at] = Effect {
                    group: *group,
                    shift,
                    standard,
                    line,
                };
            }
            if moved < STILL {
                break;
            }
        }
        effects
    }

    /// Robust mean of a group and 1.25 s*/√p; of few results their median, by the scatter of the class.
    fn centre(&self, group: usize, effects: &[Effect]) -> (f64, f64) {
        let results = &self.groups[group].results;
        if self.is_few(group) {
            let middle = median(&self.lefts(results, effects, Some(group)));
            let standard = 1.25 * self.scatter / (results.len() as f64).sqrt();
            return (middle.unwrap_or(0.0), standard);
        }
        let found = self.robust(results, effects, Some(group));
        (found.mean, found.standard_uncertainty())
    }

    /// A line through the results of a group in time; none for results of fewer than three days.
    pub fn line(&self, group: usize, effects: &[Effect]) -> Option<Line> {
        let results = self.groups[group].results.iter();
        let points = results.filter_map(|result| {
            let at = self.at_days[*result]?;
            Some((at, self.left(*result, effects, Some(group))))
        });
        line(&points.collect::<Vec<_>>())
    }

    /// Results of a group by the number of the day.
    pub fn by_day(&self, group: usize) -> BTreeMap<i64, Vec<usize>> {
        let mut days: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
        for result in &self.groups[group].results {
            if let Some(at) = self.at_days[*result] {
                days.entry(at.floor() as i64).or_default().push(*result);
            }
        }
        days
    }

    /// Median of the times of some results.
    pub fn middle_of(&self, results: &[usize]) -> Option<f64> {
        let times: Vec<f64> = results.iter().filter_map(|r| self.at_days[*r]).collect();
        median(&times)
    }

    /// A group as it is beside the effects of others; its own, if it is among them, is not taken away.
    pub fn look(&self, group: usize, effects: &[Effect]) -> Looked {
        let members = &self.groups[group];
        let found = self.robust(&members.results, effects, Some(group));
        let drifts = effects.iter().find(|e| e.group == group);
        let line = drifts.and_then(|effect| effect.line);
        let (mean, standard) = line.map_or_else(
            || self.centre(group, effects),
            |line| (line.level, line.level_standard),
        );
        let joined = self.joined(group, effects, standard);
        let enough = found.n >= FEWEST_TO_JUDGE && !self.is_few(group) && joined > 0.0;
        let by_t = || two_sided_t_p(mean / joined, found.n as f64 - 1.0);
        Looked {
            own: OwnShift {
                percent: mean,
                standard_percent: standard,
                joined_percent: joined,
            },
            scatter: found.s,
            p: line.map_or_else(|| enough.then(by_t), |line| Some(line.p)),
        }
    }

    /// A standard uncertainty of a group's shift joined with those of all values its results rest on, each by the share
    /// of results that rest on it.
    fn joined(&self, group: usize, effects: &[Effect], standard: f64) -> f64 {
        let members = &self.groups[group];
        let mut variance = standard.powi(2) + members.stated.powi(2);
        for other in members.neighbours() {
            // a value that looks off is as uncertain as the results that say so
            let effect = effects.iter().find(|effect| effect.group == other);
            let uncertainty = effect.map_or(self.groups[other].stated, |effect| effect.standard);
            if uncertainty > 0.0 {
                variance += (members.share_of(other) * uncertainty).powi(2);
            }
        }
        variance.sqrt()
    }

    /// What the assigned values alone leave a group's shift uncertain by, percent.
    pub fn allowance(&self, group: usize, effects: &[Effect]) -> f64 {
        self.joined(group, effects, 0.0)
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
        let left = self.lefts(results, effects, but);
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

    /// What is left of some results once effects are taken away.
    pub fn lefts(&self, results: &[usize], effects: &[Effect], but: Option<usize>) -> Vec<f64> {
        let left = results.iter().map(|r| self.left(*r, effects, but));
        left.collect()
    }

    /// The same of all results, in their order.
    pub fn all_lefts(&self, effects: &[Effect]) -> Vec<f64> {
        let left = (0..self.results()).map(|result| self.left(result, effects, None));
        left.collect()
    }

    fn left(&self, result: usize, effects: &[Effect], but: Option<usize>) -> f64 {
        let counts = |e: &&Effect| Some(e.group) != but && self.has(e.group, result);
        let at = self.at_days[result];
        let shift = |e: &Effect| e.line.map_or(e.shift, |line| line.at(at));
        let shifts: f64 = effects.iter().filter(counts).map(shift).sum();
        self.errors[result] - shifts
    }
}
