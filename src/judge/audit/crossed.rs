//! Results that belong to several groups at once.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use smallvec::SmallVec;

use super::drift::Line;
use super::few::{FEW, is_class};
use super::group::{AuditKind, GroupName, Observed};
use crate::stats::{AlgorithmA, algorithm_a_of_sorted, median};

/// Results and the groups they fall into. A result can be added and taken away: what is known of a group without effects
/// is kept until one of its results changes.
#[derive(Clone, Debug, Default)]
pub struct Crossed {
    /// By place; none where there is no result.
    pub(super) points: Vec<Option<Point>>,
    /// By number, in the order in which they were first seen.
    pub(super) groups: Vec<Members>,
    numbers: BTreeMap<GroupName, usize>,
    /// All errors in order of size, unless it is being filled.
    sorted: Vec<f64>,
    /// Whether results are put in one after the other, of which the order is made once, when all are there.
    is_filling: bool,
    /// The scatter within a group that is usual in this experiment, percent.
    scatter: OnceLock<f64>,
}

#[derive(Clone, Debug)]
pub(super) struct Point {
    pub error: f64,
    /// Its standard uncertainty.
    pub standard: f64,
    pub at_days: Option<f64>,
    pub groups: SmallVec<[usize; 7]>,
}

/// The results of one group.
#[derive(Clone, Debug)]
pub(super) struct Members {
    pub name: GroupName,
    /// Their places, in order.
    pub results: Vec<usize>,
    /// Their errors in order of size.
    errors: Vec<f64>,
    /// Other groups that hold some of the same results, and how many.
    pub shares: BTreeMap<usize, usize>,
    /// Relative standard uncertainty of the assigned value, percent.
    pub stated: f64,
    pub alone: Alone,
}

/// A group without effects.
#[derive(Clone, Debug, Default)]
pub(super) struct Alone {
    pub robust: OnceLock<AlgorithmA>,
    pub line: OnceLock<Option<Line>>,
    /// Variance that the values of other groups leave it.
    pub others: OnceLock<f64>,
}

impl Members {
    /// Other groups with some of the same results.
    pub fn neighbours(&self) -> impl Iterator<Item = usize> + '_ {
        self.shares.keys().copied()
    }

    /// The share of these results that are the other's as well.
    pub fn share_of(&self, other: usize) -> f64 {
        let both = self.shares.get(&other).copied().unwrap_or(0);
        both as f64 / self.results.len() as f64
    }
}

impl Crossed {
    pub fn of(observed: &[Observed], stated: &BTreeMap<GroupName, f64>) -> Self {
        let mut crossed = Self::filling();
        for (place, one) in observed.iter().enumerate() {
            crossed.put(place, Some(one));
        }
        crossed.state(stated);
        crossed
    }

    /// To be filled with the results of a class. Nothing is asked of it before [`Crossed::state`].
    pub fn filling() -> Self {
        Self {
            is_filling: true,
            ..Self::default()
        }
    }

    fn fill(&mut self) {
        if std::mem::take(&mut self.is_filling) {
            self.sorted.sort_unstable_by(f64::total_cmp);
            for members in &mut self.groups {
                members.errors.sort_unstable_by(f64::total_cmp);
            }
        }
    }

    /// Puts a result in the place of what was there, or none.
    pub fn put(&mut self, place: usize, observed: Option<&Observed>) {
        if let Some(before) = self.points.get_mut(place).and_then(Option::take) {
            self.count(place, &before, false);
        }
        let Some(observed) = observed else { return };
        let point = Point {
            error: observed.error_percent,
            standard: observed.standard_percent,
            at_days: observed.at_days,
            groups: observed
                .groups
                .iter()
                .map(|name| self.number(name))
                .collect(),
        };
        self.count(place, &point, true);
        if self.points.len() <= place {
            self.points.resize(place.saturating_add(1), None);
        }
        self.points[place] = Some(point);
    }

    fn number(&mut self, name: &GroupName) -> usize {
        if let Some(number) = self.numbers.get(name) {
            return *number;
        }
        let number = self.groups.len();
        self.numbers.insert(name.clone(), number);
        self.groups.push(Members {
            name: name.clone(),
            results: Vec::new(),
            errors: Vec::new(),
            shares: BTreeMap::new(),
            stated: 0.0,
            alone: Alone::default(),
        });
        number
    }

    /// Counts a result in its groups, or no longer.
    fn count(&mut self, place: usize, point: &Point, there: bool) {
        if !there {
            self.fill();
        }
        let count = match self.is_filling {
            true => |errors: &mut Vec<f64>, error, _| errors.push(error),
            false => count_in_order,
        };
        count(&mut self.sorted, point.error, there);
        self.scatter = OnceLock::new();
        for group in &point.groups {
            let members = &mut self.groups[*group];
            members.alone = Alone::default();
            count(&mut members.errors, point.error, there);
            match members.results.binary_search(&place) {
                Err(at) if there => members.results.insert(at, place),
                Ok(at) if !there => _ = members.results.remove(at),
                Ok(_) | Err(_) => {}
            }
            for other in point.groups.iter().filter(|other| *other != group) {
                let both = members.shares.entry(*other).or_insert(0);
                *both = if there {
                    both.saturating_add(1)
                } else {
                    both.saturating_sub(1)
                };
                if *both == 0 {
                    members.shares.remove(other);
                }
            }
        }
    }

    /// States of each group the relative standard uncertainty of its assigned value, percent; none of those not named.
    pub fn state(&mut self, stated: &BTreeMap<GroupName, f64>) {
        self.fill();
        for group in 0..self.groups.len() {
            let members = &mut self.groups[group];
            let value = stated.get(&members.name).copied().unwrap_or(0.0);
            if members.stated != value {
                members.stated = value;
                let neighbours: Vec<usize> = members.neighbours().collect();
                for other in neighbours {
                    self.groups[other].alone.others = OnceLock::new();
                }
            }
        }
    }

    /// What was stated of groups that have results.
    pub fn stated_by_name(&self) -> BTreeMap<GroupName, f64> {
        let stated = self.each().filter_map(|group| {
            let members = &self.groups[group];
            let is_stated = members.stated > 0.0;
            is_stated.then(|| (members.name.clone(), members.stated))
        });
        stated.collect()
    }

    pub fn has_results(&self, name: &GroupName) -> bool {
        let group = self.numbers.get(name);
        group.is_some_and(|group| !self.groups[*group].results.is_empty())
    }

    /// The groups of a kind that have results.
    pub fn names(&self, kind: AuditKind) -> impl Iterator<Item = &GroupName> {
        let of_kind = self.of_kind(kind);
        let there = of_kind.filter(|(_, group)| !self.groups[*group].results.is_empty());
        there.map(|(name, _)| name)
    }

    /// Groups of a kind with their numbers, those without results as well.
    fn of_kind(&self, kind: AuditKind) -> impl Iterator<Item = (&GroupName, usize)> {
        let from = GroupName::new(kind, "");
        let of_kind = self.numbers.range(from..);
        let of_kind = of_kind.take_while(move |(name, _)| name.kind == kind);
        of_kind.map(|(name, group)| (name, *group))
    }

    /// The numbers of groups that have results, in order of kind and key.
    pub(super) fn each(&self) -> impl Iterator<Item = usize> + '_ {
        let numbers = self.numbers.values().copied();
        numbers.filter(|group| !self.groups[*group].results.is_empty())
    }

    /// Of each result its place, its error and the standard uncertainty of that, percent.
    pub fn errors(&self) -> impl Iterator<Item = (usize, f64, f64)> + '_ {
        let points = self.points.iter().enumerate();
        points.filter_map(|(place, point)| {
            let point = point.as_ref()?;
            Some((place, point.error, point.standard))
        })
    }

    /// Places that have a result.
    pub(super) fn places(&self) -> impl Iterator<Item = usize> + '_ {
        let points = self.points.iter().enumerate();
        points
            .filter(|(_, point)| point.is_some())
            .map(|(place, _)| place)
    }

    /// Median s* of the groups of a kind, of that kind whose groups scatter least: what shifts groups of one kind makes
    /// those of the others scatter more.
    fn usual_scatter(&self) -> Option<f64> {
        let of_kind = |kind: AuditKind| {
            let groups = self.of_kind(kind).map(|(_, group)| group);
            let many = groups.filter(|group| self.groups[*group].results.len() > FEW);
            let scatters: Vec<f64> = many.map(|group| self.alone(group).s).collect();
            median(&scatters)
        };
        let kinds = AuditKind::ALL.into_iter().filter_map(of_kind);
        let all = || algorithm_a_of_sorted(&self.sorted).map(|all| all.s);
        kinds.min_by(f64::total_cmp).or_else(all)
    }

    /// Robust mean and s* of a group, nothing taken away.
    pub(super) fn alone(&self, group: usize) -> AlgorithmA {
        let members = &self.groups[group];
        let robust = || {
            let found = algorithm_a_of_sorted(&members.errors).filter(|found| found.s > 0.0);
            // of many alike it takes more to tell how they scatter
            found.unwrap_or_else(|| self.robust(&members.results, &[], None))
        };
        *members.alone.robust.get_or_init(robust)
    }

    /// All errors in order of size.
    pub(super) fn sorted(&self) -> &[f64] {
        &self.sorted
    }

    /// Usual within a group, percent.
    pub(super) fn scatter(&self) -> f64 {
        let usual = || self.usual_scatter().unwrap_or(0.0);
        *self.scatter.get_or_init(usual)
    }

    /// The group of a kind that a result belongs to.
    pub(super) fn group_of(&self, result: usize, kind: AuditKind) -> Option<usize> {
        let groups = self.points[result].as_ref()?.groups.iter().copied();
        let mut of_kind = groups.filter(|group| self.groups[*group].name.kind == kind);
        of_kind.next()
    }

    /// How many results there are in all.
    pub(super) fn results(&self) -> usize {
        self.sorted.len()
    }

    /// How many of them a group of so many leaves.
    pub(super) fn others(&self, n: usize) -> usize {
        self.results().saturating_sub(n)
    }

    /// Relative standard uncertainty of a group's assigned value, percent; 0 where it has none.
    pub(super) fn stated(&self, group: usize) -> f64 {
        self.groups[group].stated
    }

    /// Results of the first that are not the second's.
    pub(super) fn outside(&self, group: usize, other: usize) -> Vec<usize> {
        let results = self.groups[group].results.iter().copied();
        results.filter(|result| !self.has(other, *result)).collect()
    }

    fn has(&self, group: usize, result: usize) -> bool {
        let point = self.points[result].as_ref();
        point.is_some_and(|point| point.groups.contains(&group))
    }

    /// Whether a group has so few results that its scatter is taken from the class.
    pub(super) fn is_few(&self, group: usize) -> bool {
        let n = self.groups[group].results.len();
        n <= FEW && self.scatter() > 0.0 && is_class(self.others(n))
    }
}

/// Puts a number into its place among others in order of size, or takes it out.
fn count_in_order(sorted: &mut Vec<f64>, number: f64, there: bool) {
    let at = sorted.partition_point(|other| other.total_cmp(&number).is_lt());
    if there {
        sorted.insert(at, number);
    } else if at < sorted.len() {
        sorted.remove(at);
    }
}
