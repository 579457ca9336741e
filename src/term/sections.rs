//! Sections and assistants beside one another: what their students score, what is given by hand, what is decided.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use super::{Decision, Judged, Ruling, Slot, Term};
use crate::course::StaffRole;
use crate::ids::SectionName;
use crate::judge::{AUDIT_LEVEL, Marks, Part};
use crate::measure::as_f64;
use crate::stats::{Difference, fisher_exact, holm, mean_and_s, welch};

/// What is compared between groups of students, in percent of the points there are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Measure {
    /// Points that follow from what was read and reported, less lateness: nobody's choice.
    Readings,
    /// Points given by hand.
    ByHand,
}

/// What is compared between decisions, as a share of all of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Habit {
    /// Accepted as it was.
    Accepted,
    /// Points added or taken off.
    Adjusted,
    /// Returned to the student.
    Returned,
}

/// A section, or somebody who teaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Teaching {
    Section,
    /// An assistant, or whoever else decided.
    Person,
}

/// One section or person beside the rest.
#[derive(Clone, Debug)]
pub struct Beside {
    pub teaching: Teaching,
    /// Name of the section; login of the person.
    pub key: String,
    /// Students with a mark.
    pub students: usize,
    pub marks: BTreeMap<Measure, Contrast>,
    pub decided: usize,
    pub habits: BTreeMap<Habit, Share>,
    /// Mean points of adjustments; none without any.
    pub mean_adjustment: Option<f64>,
}

/// A mean beside that of the rest.
#[derive(Clone, Copy, Debug)]
pub struct Contrast {
    /// Mean, percent of the points there are.
    pub mean: f64,
    /// From the rest, in percent of the points, of students of the same experiments; none where either has too few.
    pub difference: Option<Difference>,
    /// Over all comparisons of the page (Holm).
    pub adjusted_p: Option<f64>,
}

/// A share of decisions beside that of the rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    pub count: usize,
    /// How many of the decisions of the rest, and of how many.
    pub rest: (usize, usize),
    /// Probability that chance deals them as unevenly; none where there is nothing to compare.
    pub p: Option<f64>,
    /// Over all comparisons of the page (Holm).
    pub adjusted_p: Option<f64>,
}

impl Contrast {
    /// Whether it differs from the rest by more than chance, over all comparisons together.
    pub fn stands_out(&self) -> bool {
        self.adjusted_p.is_some_and(|p| p < AUDIT_LEVEL)
    }
}

impl Share {
    /// Whether it differs from the rest by more than chance, over all comparisons together.
    pub fn stands_out(&self) -> bool {
        self.adjusted_p.is_some_and(|p| p < AUDIT_LEVEL)
    }
}

impl Habit {
    pub const ALL: [Self; 3] = [Self::Accepted, Self::Adjusted, Self::Returned];

    fn of(ruling: &Ruling) -> Option<Self> {
        match ruling {
            Ruling::Accept => Some(Self::Accepted),
            Ruling::Adjust { .. } => Some(Self::Adjusted),
            Ruling::Return => Some(Self::Returned),
            Ruling::LeaveOut { .. }
            | Ruling::PutBack { .. }
            | Ruling::AgainstWritten { .. }
            | Ruling::ExcuseLate { .. }
            | Ruling::TakeBack => None,
        }
    }
}

impl Term {
    /// Compares sections, and assistants, over all experiments or in one. Of each student one number counts, the mean
    /// over experiments of how far from the course's mean they are: students are independent, their experiments not.
    pub fn side_by_side<'a>(
        &self,
        judged: impl Iterator<Item = (&'a Slot, &'a Judged)>,
        experiment: Option<&str>,
    ) -> Vec<Beside> {
        let wanted = |slot: &Slot| experiment.is_none_or(|key| slot.experiment == key);
        let judged: Vec<(&Slot, &Judged)> = judged.filter(|(slot, _)| wanted(slot)).collect();
        // looked up once, and compared as numbers for every section and everybody who teaches
        let names = self.sections();
        let section = |student: &str| {
            let student = self.student(student)?;
            names.binary_search(&student.section.as_str()).ok()
        };
        let measures = [Measure::Readings, Measure::ByHand];
        let scores = measures.map(|measure| (measure, self.scores(&judged, measure, section)));
        let decisions = self.decisions.iter().filter(|(slot, _)| wanted(slot));
        let decisions: Vec<(Option<usize>, &Decision)> = decisions
            .flat_map(|(slot, all)| {
                let section = section(&slot.student);
                let standing = super::standing(all).into_iter();
                standing.map(move |one| (section, one))
            })
            .collect();
        let mut all = Vec::new();
        for (number, name) in names.iter().enumerate() {
            let made = |(section, _): &(Option<usize>, &Decision)| *section == Some(number);
            let within = |section: usize| section == number;
            all.push(beside(
                Teaching::Section,
                name,
                &scores,
                within,
                &decisions,
                made,
            ));
        }
        for (login, sections) in self.people(&decisions) {
            let made = |(_, decision): &(Option<usize>, &Decision)| decision.by == login;
            let taught: Vec<bool> = names.iter().map(|name| sections.contains(name)).collect();
            let within = |section: usize| taught.get(section).copied().unwrap_or(false);
            all.push(beside(
                Teaching::Person,
                login,
                &scores,
                within,
                &decisions,
                made,
            ));
        }
        adjust(&mut all);
        all
    }

    /// Everybody who teaches or decided, with the sections they teach.
    fn people<'t>(
        &'t self,
        decisions: &[(Option<usize>, &'t Decision)],
    ) -> BTreeMap<&'t str, BTreeSet<&'t str>> {
        let mut people: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        for staff in self.staff.iter().filter(|s| s.role == StaffRole::Assistant) {
            let sections = staff.sections.iter().map(SectionName::as_str);
            people.insert(&staff.login, sections.collect());
        }
        for (_, decision) in decisions {
            people.entry(&decision.by).or_default();
        }
        people
    }

    /// One for each student.
    fn scores(
        &self,
        judged: &[(&Slot, &Judged)],
        measure: Measure,
        section: impl Fn(&str) -> Option<usize>,
    ) -> Vec<Score> {
        let percent = |slot: &Slot, judged: &Judged| {
            let marks = &judged.evaluation.marks;
            match measure {
                Measure::Readings => from_readings(marks),
                // points that nobody has given yet are no points given
                Measure::ByHand if self.by_hand.contains_key(slot) => by_hand(marks),
                Measure::ByHand => None,
            }
        };
        let all = judged.iter();
        let all = all.filter_map(|(slot, judged)| Some((*slot, percent(slot, judged)?)));
        let all: Vec<(&Slot, f64)> = all.collect();
        let mut of_experiment: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
        for (slot, percent) in &all {
            of_experiment
                .entry(&slot.experiment)
                .or_default()
                .push(*percent);
        }
        let mean = |values: &[f64]| mean_and_s(values).map_or(0.0, |(mean, _)| mean);
        let means: BTreeMap<&str, f64> = of_experiment
            .into_iter()
            .map(|(key, values)| (key, mean(&values)))
            .collect();
        let mut of_student: BTreeMap<&str, (Vec<f64>, Vec<f64>)> = BTreeMap::new();
        for (slot, percent) in &all {
            let (percents, distances) = of_student.entry(&slot.student).or_default();
            percents.push(*percent);
            distances.push(percent - means[slot.experiment.as_str()]);
        }
        let scores = of_student
            .into_iter()
            .filter_map(|(student, (percents, distances))| {
                Some(Score {
                    section: section(student)?,
                    percent: mean(&percents),
                    distance: mean(&distances),
                })
            });
        scores.collect()
    }
}

/// Of a student, over experiments.
struct Score {
    /// The number of their section.
    section: usize,
    percent: f64,
    /// From the course's mean of the same experiments, in percent.
    distance: f64,
}

fn from_readings(marks: &Marks) -> Option<f64> {
    let parts = marks.parts.iter().filter(|part| part.part != Part::ByHand);
    let (mut points, mut possible) = (Decimal::ZERO, Decimal::ZERO);
    for part in parts {
        points = points.saturating_add(part.points);
        possible = possible.saturating_add(part.possible);
    }
    let kept = points.saturating_sub(marks.late).max(Decimal::ZERO);
    share(kept, possible)
}

fn by_hand(marks: &Marks) -> Option<f64> {
    let part = marks.parts.iter().find(|part| part.part == Part::ByHand)?;
    share(part.points, part.possible)
}

fn share(points: Decimal, possible: Decimal) -> Option<f64> {
    (!possible.is_zero()).then(|| 100.0 * as_f64(points) / as_f64(possible))
}

fn beside(
    teaching: Teaching,
    key: &str,
    scores: &[(Measure, Vec<Score>); 2],
    within: impl Fn(usize) -> bool,
    decisions: &[(Option<usize>, &Decision)],
    made: impl Fn(&(Option<usize>, &Decision)) -> bool,
) -> Beside {
    let mut marks = BTreeMap::new();
    let mut students = 0;
    for (measure, scores) in scores {
        let (own, rest): (Vec<_>, Vec<_>) = scores.iter().partition(|one| within(one.section));
        let percents: Vec<f64> = own.iter().map(|one| one.percent).collect();
        if *measure == Measure::Readings {
            students = own.len();
        }
        let Some((mean, _)) = mean_and_s(&percents) else {
            continue;
        };
        let distances =
            |of: Vec<&Score>| -> Vec<f64> { of.into_iter().map(|one| one.distance).collect() };
        let contrast = Contrast {
            mean,
            difference: welch(&distances(own), &distances(rest)),
            adjusted_p: None,
        };
        marks.insert(*measure, contrast);
    }
    let (own, rest): (Vec<_>, Vec<_>) = decisions.iter().partition(|one| made(one));
    let count = |of: &[&(Option<usize>, &Decision)], habit: Habit| {
        let such = of
            .iter()
            .filter(|(_, d)| Habit::of(&d.ruling) == Some(habit));
        such.count()
    };
    let habit = |habit: Habit| {
        let (count, other) = (count(&own, habit), count(&rest, habit));
        let without = |all: usize, with: usize| (with, all.saturating_sub(with));
        let p = (!own.is_empty() && !rest.is_empty())
            .then(|| fisher_exact(without(own.len(), count), without(rest.len(), other)));
        let share = Share {
            count,
            rest: (other, rest.len()),
            p,
            adjusted_p: None,
        };
        (habit, share)
    };
    let points = own
        .iter()
        .filter_map(|(_, decision)| match decision.ruling {
            Ruling::Adjust { points } => Some(as_f64(points)),
            _ => None,
        });
    let points: Vec<f64> = points.collect();
    Beside {
        teaching,
        key: key.to_owned(),
        students,
        marks,
        decided: own.len(),
        habits: Habit::ALL.into_iter().map(habit).collect(),
        mean_adjustment: mean_and_s(&points).map(|(mean, _)| mean),
    }
}

/// Probabilities over everything that is compared.
fn adjust(all: &mut [Beside]) {
    let marks = all.iter().flat_map(|one| one.marks.values());
    let marks = marks.filter_map(|contrast| contrast.difference.map(|d| d.p));
    let habits = all.iter().flat_map(|one| one.habits.values());
    let p: Vec<f64> = marks.chain(habits.filter_map(|share| share.p)).collect();
    let mut adjusted = holm(&p).into_iter();
    for contrast in all.iter_mut().flat_map(|one| one.marks.values_mut()) {
        contrast.adjusted_p = contrast.difference.and_then(|_| adjusted.next());
    }
    for share in all.iter_mut().flat_map(|one| one.habits.values_mut()) {
        share.adjusted_p = share.p.and_then(|_| adjusted.next());
    }
}
