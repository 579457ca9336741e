//! A titration curve as it is read: its points, where it jumps or bends, and what keeps it from being worked up.

use super::curve::{CurveMethod, CurveSignal};
use crate::columns::Column;
use crate::language::{Message, message};
use crate::measure::as_f64;
use crate::submission::Titration;
use rust_decimal::Decimal;

/// How many times as steep as it mostly is a curve has to be somewhere, to have a jump (common practice).
const STEEPER: f64 = 3.0;
/// How much the slopes of two lines differ, over the larger, so that they can be told from one.
const BENT: f64 = 0.2;
/// Points that one of two lines needs.
const OF_A_LINE: usize = 3;
/// Share of the equivalence volume that lies between the points around it, from which on it is asked about.
const COARSE: f64 = 0.05;
/// Between which shares of the equivalence volume Gran's function is a straight line: below, an acid has dissociated of
/// itself; above, water has a part in it (common practice).
const STRAIGHT: (f64, f64) = (0.5, 0.98);

#[derive(Clone, Copy, Debug)]
pub struct Point {
    /// From 1, as the columns are numbered.
    pub number: usize,
    pub volume: Decimal,
    pub signal: Decimal,
}

/// Points in the order they were read, those with both readings.
#[derive(Clone, Debug)]
pub struct CurvePoints {
    pub points: Vec<Point>,
    signal: CurveSignal,
}

impl Point {
    pub fn xy(&self) -> (f64, f64) {
        (as_f64(self.volume), as_f64(self.signal))
    }
}

impl CurvePoints {
    pub fn of(signal: CurveSignal, row: &Titration) -> Self {
        let point = |number| {
            let read = |column: Column| Some(column.get(row)?.value());
            Some(Point {
                number,
                volume: read(Column::CurveVolume(number))?,
                signal: read(signal.column(number))?,
            })
        };
        Self {
            points: (1..=row.fillings()).filter_map(point).collect(),
            signal,
        }
    }

    /// What keeps it from being worked up, the key of a text, with the column where it is seen.
    pub fn fault(&self, method: CurveMethod, start: f64) -> Option<(Column, &'static str)> {
        let found = match method {
            CurveMethod::SecondDerivative => self.jump().map(|_| ()),
            CurveMethod::Gran => self.straight().map(|_| ()),
            CurveMethod::TwoLines => self.bend(start).map(|_| ()),
        };
        let last = self.points.last().map_or(1, |point| point.number);
        let place = self.falls_back().map(Column::CurveVolume);
        let place = place.unwrap_or(self.signal.column(last));
        found.err().map(|what| (place, what))
    }

    /// The number of the first point whose volume is no more than the one before.
    fn falls_back(&self) -> Option<usize> {
        let mut pairs = self.points.windows(2);
        let pair = pairs.find(|pair| pair[1].volume <= pair[0].volume)?;
        Some(pair[1].number)
    }

    fn enough(&self, fewest: usize) -> Result<(), &'static str> {
        if self.falls_back().is_some() {
            return Err("curve.falls-back");
        }
        if self.points.len() < fewest {
            return Err("curve.few-points");
        }
        Ok(())
    }

    /// The four points around the jump, the steepest rise or fall between the second and the third of them.
    pub fn jump(&self) -> Result<[Point; 4], &'static str> {
        self.enough(2 * OF_A_LINE)?;
        let slopes = self.points.windows(2).map(|pair| {
            let ((x, y), (next_x, next_y)) = (pair[0].xy(), pair[1].xy());
            ((next_y - y) / (next_x - x)).abs()
        });
        let slopes: Vec<f64> = slopes.collect();
        let mut sorted = slopes.clone();
        sorted.sort_by(f64::total_cmp);
        let usual = sorted[sorted.len() / 2];
        let by_slope = |one: &(usize, &f64), other: &(usize, &f64)| one.1.total_cmp(other.1);
        let Some((place, steepest)) = slopes.iter().enumerate().max_by(by_slope) else {
            return Err("curve.no-points");
        };
        if *steepest <= STEEPER * usual {
            return Err("curve.no-jump");
        }
        let around = place
            .checked_sub(1)
            .and_then(|first| self.points.get(first..first.saturating_add(4)));
        match around {
            Some(&[a, b, c, d]) => Ok([a, b, c, d]),
            _ => Err("curve.jump-at-end"),
        }
    }

    /// Points before the jump where Gran's function is a straight line.
    pub fn straight(&self) -> Result<&[Point], &'static str> {
        let [_, before, after, _] = self.jump()?;
        let at = f64::midpoint(before.xy().0, after.xy().0);
        let is_below = |share: f64| move |point: &Point| point.xy().0 < share * at;
        let first = self.points.partition_point(is_below(STRAIGHT.0));
        let last = self.points.partition_point(is_below(STRAIGHT.1));
        let straight = self.points.get(first..last).unwrap_or_default();
        if straight.len() < OF_A_LINE.saturating_add(1) {
            return Err("curve.few-gran");
        }
        Ok(straight)
    }

    /// The points of two straight lines, before and after: those by which what is left over is least. `start` is the
    /// volume before anything was added, mL.
    pub fn bend(&self, start: f64) -> Result<(&[Point], &[Point]), &'static str> {
        self.enough(2 * OF_A_LINE)?;
        let corrected = self.points.iter().map(|point| {
            let (x, y) = point.xy();
            (x, y * (start + x) / start)
        });
        let corrected: Vec<(f64, f64)> = corrected.collect();
        let places = OF_A_LINE..=corrected.len().saturating_sub(OF_A_LINE);
        let left_over = |at: usize| {
            let (before, after) = corrected.split_at(at);
            (at, fitted(before).1 + fitted(after).1)
        };
        let best = places.map(left_over).min_by(|a, b| a.1.total_cmp(&b.1));
        let (at, _) = best.ok_or("curve.no-points")?;
        let (before, after) = corrected.split_at(at);
        let (first, second) = (fitted(before).0, fitted(after).0);
        if (first - second).abs() <= BENT * first.abs().max(second.abs()) {
            return Err("curve.no-bend");
        }
        Ok(self.points.split_at(at))
    }

    /// What is odd about a curve that can be worked up: points too far apart around its jump.
    pub fn coarse(&self) -> Option<(Column, Message)> {
        let [_, before, after, _] = self.jump().ok()?;
        let (from, to) = (before.xy().0, after.xy().0);
        (to - from > COARSE * to).then(|| {
            let (before, after) = (before.volume, after.volume);
            let text = message!("curve.coarse", before = before, after = after);
            (Column::CurveVolume(self.points[0].number), text)
        })
    }

    /// The two points between which a volume lies.
    pub fn around(&self, volume: Decimal) -> Option<[Point; 2]> {
        let mut pairs = self.points.windows(2);
        let pair = pairs.find(|pair| (pair[0].volume..=pair[1].volume).contains(&volume))?;
        Some([pair[0], pair[1]])
    }
}

/// Slope of the least-squares line, and the sum of squares left over.
pub fn fitted(points: &[(f64, f64)]) -> (f64, f64) {
    let n = points.len() as f64;
    let mean = |value: fn(&(f64, f64)) -> f64| points.iter().map(value).sum::<f64>() / n;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    let along: f64 = points.iter().map(|p| (p.0 - x).powi(2)).sum();
    let across: f64 = points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum();
    let slope = across / along;
    let left: f64 = points
        .iter()
        .map(|p| (p.1 - y - slope * (p.0 - x)).powi(2))
        .sum();
    (slope, left)
}
