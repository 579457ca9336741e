//! Robust shifts of some groups fitted together, and a group beside the effects of others.

use std::collections::BTreeMap;

use super::FEWEST_TO_JUDGE;
use super::crossed::Crossed;
use super::drift::{Line, line};
use super::group::OwnShift;
use crate::stats::{AlgorithmA, algorithm_a, mean_and_s, median, two_sided_t_p};

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

impl Effect {
    pub fn selected(&self) -> Selected {
        Selected {
            group: self.group,
            drifts: self.line.is_some(),
        }
    }
}

impl Crossed {
    /// Robust shifts of some groups, each with the others taken away, by turns until they stand still.
    pub(super) fn fit(&self, selected: &[Selected]) -> Vec<Effect> {
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
            let standard = 1.25 * self.scatter() / (results.len() as f64).sqrt();
            return (middle.unwrap_or(0.0), standard);
        }
        let found = self.beside(group, effects);
        (found.mean, found.standard_uncertainty())
    }

    /// Robust mean and s* of a group beside the effects of others.
    fn beside(&self, group: usize, effects: &[Effect]) -> AlgorithmA {
        if effects.is_empty() {
            return self.alone(group);
        }
        self.robust(&self.groups[group].results, effects, Some(group))
    }

    /// A line through the results of a group in time; none for results of fewer than three days.
    pub(super) fn line(&self, group: usize, effects: &[Effect]) -> Option<Line> {
        let members = &self.groups[group];
        let drawn = || {
            let points = members.results.iter().filter_map(|result| {
                let at = self.at_days(*result)?;
                Some((at, self.left(*result, effects, Some(group))))
            });
            line(&points.collect::<Vec<_>>())
        };
        if effects.is_empty() {
            return *members.alone.line.get_or_init(drawn);
        }
        drawn()
    }

    fn at_days(&self, result: usize) -> Option<f64> {
        self.points[result].as_ref()?.at_days
    }

    /// Results of a group by the number of the day.
    pub(super) fn by_day(&self, group: usize) -> BTreeMap<i64, Vec<usize>> {
        let mut days: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
        for result in &self.groups[group].results {
            if let Some(at) = self.at_days(*result) {
                days.entry(at.floor() as i64).or_default().push(*result);
            }
        }
        days
    }

    /// Median of the times of some results.
    pub(super) fn middle_of(&self, results: &[usize]) -> Option<f64> {
        let times: Vec<f64> = results.iter().filter_map(|r| self.at_days(*r)).collect();
        median(&times)
    }

    /// A group as it is beside the effects of others; its own, if it is among them, is not taken away.
    pub(super) fn look(&self, group: usize, effects: &[Effect]) -> Looked {
        let found = self.beside(group, effects);
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
        let others = || {
            let mut variances: Vec<f64> = members
                .shares
                .iter()
                .map(|(other, both)| {
                    // a value that looks off is as uncertain as the results that say so
                    let effect = effects.iter().find(|effect| effect.group == *other);
                    let stated = self.groups[*other].stated;
                    let uncertainty = effect.map_or(stated, |effect| effect.standard);
                    let share = *both as f64 / members.results.len() as f64;
                    (share * uncertainty).powi(2)
                })
                .filter(|variance| *variance > 0.0)
                .collect();
            // the same sum in whatever order groups were first seen
            variances.sort_unstable_by(f64::total_cmp);
            variances.into_iter().sum::<f64>()
        };
        let others = if effects.is_empty() {
            *members.alone.others.get_or_init(others)
        } else {
            others()
        };
        (standard.powi(2) + members.stated.powi(2) + others).sqrt()
    }

    /// What the assigned values alone leave a group's shift uncertain by, percent.
    pub(super) fn allowance(&self, group: usize, effects: &[Effect]) -> f64 {
        self.joined(group, effects, 0.0)
    }

    /// How much nearer to zero a shift of the group brings its results, in absolute values, all together.
    pub(super) fn gain(&self, group: usize, shift: f64, effects: &[Effect]) -> f64 {
        let results = self.groups[group].results.iter();
        let gain = |result: &usize| {
            let left = self.left(*result, effects, None);
            left.abs() - (left - shift).abs()
        };
        results.map(gain).sum()
    }

    /// Robust mean and s* of some results beside effects; without the effect of one group, if so asked.
    pub(super) fn robust(
        &self,
        results: &[usize],
        effects: &[Effect],
        but: Option<usize>,
    ) -> AlgorithmA {
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
            let standards = results.iter().filter_map(|r| self.points[*r].as_ref());
            median(&standards.map(|point| point.standard).collect::<Vec<_>>())
        };
        let s = if alike { known().unwrap_or(0.0) } else { s };
        AlgorithmA { mean, s, ..none }
    }

    /// What is left of some results once effects are taken away.
    pub(super) fn lefts(
        &self,
        results: &[usize],
        effects: &[Effect],
        but: Option<usize>,
    ) -> Vec<f64> {
        let left = results.iter().map(|r| self.left(*r, effects, but));
        left.collect()
    }

    /// The same of all results, in their order.
    pub(super) fn all_lefts(&self, effects: &[Effect]) -> Vec<f64> {
        let left = self.places().map(|result| self.left(result, effects, None));
        left.collect()
    }

    fn left(&self, result: usize, effects: &[Effect], but: Option<usize>) -> f64 {
        // groups hold no other places
        let Some(point) = self.points[result].as_ref() else {
            return 0.0;
        };
        let counts = |e: &&Effect| Some(e.group) != but && point.groups.contains(&e.group);
        let shift = |e: &Effect| e.line.map_or(e.shift, |line| line.at(point.at_days));
        let shifts: f64 = effects.iter().filter(counts).map(shift).sum();
        point.error - shifts
    }
}
