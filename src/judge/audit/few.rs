//! Groups of few results beside the class: how far out they lie among the results of everybody else.

use std::collections::BTreeMap;

use super::crossed::Crossed;
use super::fit::Effect;
use super::{AUDIT_LEVEL, FEWEST_OF_ALL, FEWEST_TO_JUDGE};
use crate::stats::{algorithm_a_of_sorted, ln_gamma, student_t_two_sided};

/// So few results say nothing of their own scatter: the class's is taken.
pub(super) const FEW: usize = 4;
/// Up to so many results their place among the class is looked at beside Student's t.
const MOST: usize = 8;
/// A place among fewer others shows nothing.
const FEWEST_OTHERS: usize = 30;
/// Share of groups in which a shift is to be seen.
const SEEN: f64 = 0.8;
/// What the assigned values may be off by, in their standard uncertainties.
const ALLOWED: f64 = 3.0;

/// All results of an experiment beside effects, in order of size.
pub(super) struct Class {
    sorted: Vec<f64>,
}

/// Whether so many others are a class to be compared with.
pub(super) fn is_class(others: usize) -> bool {
    others >= FEWEST_OTHERS
}

/// Whether a group of so many results, with so many others, is judged at all.
pub(super) fn is_judged(n: usize, others: usize) -> bool {
    n >= FEWEST_TO_JUDGE || (n >= FEWEST_OF_ALL && is_class(others))
}

impl Class {
    pub fn of(crossed: &Crossed, effects: &[Effect]) -> Self {
        if effects.is_empty() {
            return Self {
                sorted: crossed.sorted().to_vec(),
            };
        }
        let mut sorted = crossed.all_lefts(effects);
        sorted.sort_unstable_by(f64::total_cmp);
        Self { sorted }
    }

    /// Probability that chance puts a group so far from zero: by Student's t, by its place among the class, or the
    /// smaller of the two, taken twice.
    pub fn p(
        &self,
        crossed: &Crossed,
        group: usize,
        effects: &[Effect],
        by_t: Option<f64>,
    ) -> Option<f64> {
        let n = crossed.groups[group].results.len();
        let drifts = effects.iter().any(|e| e.group == group && e.line.is_some());
        if drifts || !has_place(n, crossed.others(n)) {
            return by_t;
        }
        let by_place = self.p_by_place(crossed, group, effects);
        Some(by_t.map_or(by_place, |by_t| (2.0 * by_t.min(by_place)).min(1.0)))
    }

    /// Were the group as the rest of the class, all orders of the results would be alike; so the chance that all of the
    /// group, or all but one, come before the (k + 1)th of the others is a share of combinations, whatever the spread of
    /// the class (a precedence test; L. S. Nelson, Technometrics 5 (1963) 491). What the assigned values may be off by is
    /// taken from the group first.
    fn p_by_place(&self, crossed: &Crossed, group: usize, effects: &[Effect]) -> f64 {
        let n = crossed.groups[group].results.len();
        let mut least: f64 = 1.0;
        self.each_place(crossed, group, effects, |count, beyond| {
            least = least.min(at_least(count, n, beyond, crossed.others(n)));
        });
        (2.0 * counts(n).count() as f64 * least).min(1.0)
    }

    /// On either side, for so many of a group that count: how many others lie as far out.
    fn each_place(
        &self,
        crossed: &Crossed,
        group: usize,
        effects: &[Effect],
        mut look: impl FnMut(usize, usize),
    ) {
        let results = &crossed.groups[group].results;
        let allowed = ALLOWED * crossed.allowance(group, effects);
        let left = crossed.lefts(results, effects, Some(group));
        let among = crossed.lefts(results, effects, None);
        for sign in [1.0, -1.0] {
            let mut out: Vec<f64> = left.iter().map(|x| sign * x - allowed).collect();
            out.sort_unstable_by(|a, b| b.total_cmp(a));
            for count in counts(results.len()) {
                let last = out.get(count.saturating_sub(1)).copied();
                let Some(from) = last.filter(|from| *from > 0.0) else {
                    continue;
                };
                let own = among.iter().filter(|x| sign * **x >= from).count();
                look(count, self.beyond(sign, from).saturating_sub(own));
            }
        }
    }

    /// What places among the class put a group below a level.
    pub fn places<'a>(&'a self, crossed: &'a Crossed, level: f64) -> Places<'a> {
        Places {
            class: self,
            crossed,
            level,
            most: BTreeMap::new(),
        }
    }

    /// Results of the class that far out or further.
    fn beyond(&self, sign: f64, from: f64) -> usize {
        if sign > 0.0 {
            let below = self.sorted.partition_point(|x| *x < from);
            self.sorted.len().saturating_sub(below)
        } else {
            self.sorted.partition_point(|x| *x <= -from)
        }
    }

    /// s* of all of them, percent.
    pub fn scatter(&self) -> f64 {
        algorithm_a_of_sorted(&self.sorted).map_or(0.0, |found| found.s)
    }
}

/// Which groups may look off by their place: quickly told, since most do not.
pub(super) struct Places<'a> {
    class: &'a Class,
    crossed: &'a Crossed,
    level: f64,
    /// By the size of a group and how many of it count: how many others may lie as far out.
    most: BTreeMap<(usize, usize), Option<usize>>,
}

impl Places<'_> {
    pub fn may_be_off(&mut self, group: usize, effects: &[Effect]) -> bool {
        let (crossed, level) = (self.crossed, self.level);
        let n = crossed.groups[group].results.len();
        let others = crossed.others(n);
        if !has_place(n, others) {
            return false;
        }
        let most = &mut self.most;
        let mut may_be = false;
        let look = |count: usize, beyond: usize| {
            let wanted = level / (2.0 * counts(n).count() as f64);
            let most = most.entry((n, count));
            let most = most.or_insert_with(|| most_beyond(count, n, others, wanted));
            may_be |= most.is_some_and(|most| beyond <= most);
        };
        self.class.each_place(crossed, group, effects, look);
        may_be
    }
}

/// Whether a group of so many, with so many others, is looked at by its place.
fn has_place(n: usize, others: usize) -> bool {
    (FEWEST_OF_ALL..=MOST).contains(&n) && is_class(others)
}

/// What shifts would be seen in groups of an experiment.
pub(super) struct Seen<'a> {
    crossed: &'a Crossed,
    /// Level of one test among all of them.
    level: f64,
    /// By the size of a group: how many of the others may lie as far out, if its place is to show anything.
    beyond: BTreeMap<usize, Option<usize>>,
}

impl<'a> Seen<'a> {
    pub fn of(crossed: &'a Crossed, tested: usize) -> Self {
        Self {
            crossed,
            level: AUDIT_LEVEL / tested.max(1) as f64,
            beyond: BTreeMap::new(),
        }
    }

    /// The least shift of a group that would be seen in four of five groups like it; none where none would be.
    pub fn from(
        &mut self,
        class: &Class,
        group: usize,
        effects: &[Effect],
        joined: f64,
    ) -> Option<f64> {
        let crossed = self.crossed;
        let n = crossed.groups[group].results.len();
        let in_class = n <= MOST && is_class(crossed.others(n));
        let by_t = (!crossed.is_few(group)).then(|| {
            let level = if in_class {
                self.level / 2.0
            } else {
                self.level
            };
            // four in five t's lie above −0.84 for many results, above −0.95 for five
            (student_t_two_sided(1.0 - level, n as f64 - 1.0) + 0.9) * joined
        });
        let by_place = in_class.then(|| {
            let from = class.nth(self.beyond(n)?)?;
            let allowed = ALLOWED * crossed.allowance(group, effects);
            // all of the group have to be out there
            let short = class.quantile(1.0 - SEEN.powf(1.0 / n as f64))?;
            Some(from + allowed + short.abs())
        });
        by_t.into_iter()
            .chain(by_place.flatten())
            .min_by(f64::total_cmp)
    }

    fn beyond(&mut self, n: usize) -> Option<usize> {
        let others = self.crossed.others(n);
        let twice = if n <= FEW { 2.0 } else { 4.0 };
        let wanted = self.level / (twice * counts(n).count() as f64);
        let most = || most_beyond(n, n, others, wanted);
        *self.beyond.entry(n).or_insert_with(most)
    }
}

impl Class {
    /// How far out the (n + 1)th furthest lies, on the side where it is further.
    fn nth(&self, n: usize) -> Option<f64> {
        let low = self.sorted.get(n)?;
        let high = self.sorted.iter().rev().nth(n)?;
        Some(high.max(-low).max(0.0))
    }

    fn quantile(&self, share: f64) -> Option<f64> {
        let at = (share * self.sorted.len() as f64) as usize;
        self.sorted.get(at).copied()
    }
}

/// How many of a group have to lie out there: all of them, or all but one where three are left.
fn counts(n: usize) -> impl Iterator<Item = usize> + Clone {
    let fewest = n.saturating_sub(1).max(FEWEST_OF_ALL);
    fewest..=n
}

/// Chance that at least `count` of `n` come before the (`beyond` + 1)th of the others, if all orders are alike.
fn at_least(count: usize, n: usize, beyond: usize, others: usize) -> f64 {
    // of the first `drawn` in order, at least `count` are the group's
    let drawn = beyond.saturating_add(count);
    let all = log_choose(others.saturating_add(n), drawn);
    let exactly = |i: usize| match drawn.checked_sub(i) {
        Some(rest) if rest <= others => (log_choose(n, i) + log_choose(others, rest) - all).exp(),
        _ => 0.0,
    };
    (count..=n).map(exactly).sum::<f64>().min(1.0)
}

/// The most others that may lie further out than `count` of `n`, if that is to be less likely than wanted; none where
/// not even the first place is.
fn most_beyond(count: usize, n: usize, others: usize, wanted: f64) -> Option<usize> {
    let (mut few, mut many) = (0, others);
    // the chance grows with the others beyond
    while few < many {
        let middle = few.midpoint(many);
        if at_least(count, n, middle, others) < wanted {
            few = middle.saturating_add(1);
        } else {
            many = middle;
        }
    }
    few.checked_sub(1)
}

fn log_choose(n: usize, k: usize) -> f64 {
    let log_factorial = |n: usize| ln_gamma(n as f64 + 1.0);
    log_factorial(n) - log_factorial(k) - log_factorial(n.saturating_sub(k))
}
