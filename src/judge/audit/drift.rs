//! A straight line through results in time: whether the bias of a lot runs, and where it is from day to day.

use super::crossed::Crossed;
use super::fit::Effect;
use super::group::{AuditKind, Drift, DriftDay};
use crate::stats::{median, two_sided_t_p};

/// Fewest days through which a line is drawn: through two any line goes.
const FEWEST_DAYS: usize = 3;
const FEWEST_RESULTS: usize = 9;

/// A robust straight line, percent against days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Line {
    /// Mean of the times, where level and slope do not depend on each other.
    pub middle: f64,
    /// Where it is in the middle.
    pub level: f64,
    /// 1.25 s*/√p, as for a mean.
    pub level_standard: f64,
    pub per_day: f64,
    /// 1.25 s* over the root of the summed squares of the times.
    pub per_day_standard: f64,
    /// Two-sided probability of such a slope by chance.
    pub p: f64,
}

impl Line {
    /// Where it is at a time; in the middle where none is known.
    pub fn at(&self, at_days: Option<f64>) -> f64 {
        self.level + at_days.map_or(0.0, |at| self.per_day * (at - self.middle))
    }
}

/// Algorithm A with a line in place of the mean: what lies further than 1.5 s* from the line is pulled in to there, the
/// line is drawn anew by least squares, s* with the constant 1.134 and two parameters, until nothing moves. It starts
/// from the median of the slopes between the medians of the days.
pub(super) fn line(points: &[(f64, f64)]) -> Option<Line> {
    const STILL: f64 = 1e-12;
    let n = points.len() as f64;
    let mut slope = slope_of_days(points)?;
    let middle = points.iter().map(|(at, _)| at).sum::<f64>() / n;
    let points = points.iter().map(|(at, y)| (at - middle, *y));
    let points: Vec<(f64, f64)> = points.collect();
    let squares: f64 = points.iter().map(|(at, _)| at * at).sum();
    let mut pulled: Vec<f64> = points.iter().map(|(at, y)| y - slope * at).collect();
    let mut level = median(&pulled)?;
    pulled.iter_mut().for_each(|y| *y = (*y - level).abs());
    let mut s = 1.483 * median(&pulled)?;
    for _ in 0..1_000 {
        let width = 1.5 * s;
        let (mut sum, mut product, mut left) = (0.0, 0.0, 0.0);
        for (pulled, (at, y)) in pulled.iter_mut().zip(&points) {
            let on_line = level + slope * at;
            *pulled = on_line + (y - on_line).clamp(-width, width);
            sum += *pulled;
            product += at * *pulled;
        }
        let (next, next_slope) = (sum / n, product / squares);
        for (pulled, (at, _)) in pulled.iter().zip(&points) {
            left += (pulled - next - next_slope * at).powi(2);
        }
        let next_s = 1.134 * (left / (n - 2.0)).sqrt();
        let moved = (next - level).abs() + (next_slope - slope).abs() + (next_s - s).abs();
        (level, slope, s) = (next, next_slope, next_s);
        if moved <= STILL * (s + level.abs() + slope.abs()) {
            break;
        }
    }
    let standard = 1.25 * s / squares.sqrt();
    (standard > 0.0).then(|| Line {
        middle,
        level,
        level_standard: 1.25 * s / n.sqrt(),
        per_day: slope,
        per_day_standard: standard,
        p: two_sided_t_p(slope / standard, n - 2.0),
    })
}

/// Median slope between the medians of the days; none for too few days or results.
fn slope_of_days(points: &[(f64, f64)]) -> Option<f64> {
    let mut days: std::collections::BTreeMap<i64, (Vec<f64>, Vec<f64>)> = Default::default();
    for (at, y) in points {
        let (times, values) = days.entry(at.floor() as i64).or_default();
        times.push(*at);
        values.push(*y);
    }
    if days.len() < FEWEST_DAYS || points.len() < FEWEST_RESULTS {
        return None;
    }
    let middle = |(times, values): &(Vec<f64>, Vec<f64>)| Some((median(times)?, median(values)?));
    let days: Vec<(f64, f64)> = days.values().filter_map(middle).collect();
    let mut slopes = Vec::new();
    for (place, (at, y)) in days.iter().enumerate() {
        let before = days.iter().take(place);
        slopes.extend(before.map(|(other_at, other)| (y - other) / (at - other_at)));
    }
    median(&slopes)
}

/// The drift of a group, if its effect is one, for people.
pub(super) fn drift(crossed: &Crossed, effect: &Effect, effects: &[Effect]) -> Option<Drift> {
    let line = effect.line?;
    let day_of = |results: &[usize]| {
        let first = *results.first()?;
        let day = crossed.group_of(first, AuditKind::Day)?;
        Some(crossed.groups[day].name.key.clone())
    };
    let mut drift = Drift {
        per_day_percent: line.per_day,
        standard_percent: line.per_day_standard,
        p: line.p,
        middle_days: line.middle,
        middle_percent: line.level,
        middle_standard_percent: line.level_standard,
        days: Vec::new(),
    };
    for (number, results) in crossed.by_day(effect.group) {
        let at_days = crossed.middle_of(&results)?;
        let (percent, standard_percent) = drift.at(Some(at_days));
        drift.days.push(DriftDay {
            day: day_of(&results).map_or_else(|| number.to_string(), String::from),
            n: results.len(),
            at_days,
            percent,
            standard_percent,
            found_percent: crossed.robust(&results, effects, Some(effect.group)).mean,
        });
    }
    Some(drift)
}
