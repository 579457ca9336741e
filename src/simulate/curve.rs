//! Where a student finds the equivalence of a curve, on paper: plain numbers, apart from the work-up.

use crate::columns::Column;
use crate::measure::as_f64;
use crate::schemes::{CurveMethod, CurveRead};
use crate::submission::Titration;

/// mL.
pub(super) fn equivalence(curve: &CurveRead, row: &Titration) -> Option<f64> {
    let read = |column: Column| Some(as_f64(column.get(row)?.value()));
    let point = |n| Some((read(Column::CurveVolume(n))?, read(curve.signal.column(n))?));
    let points: Vec<(f64, f64)> = (1..=row.fillings()).filter_map(point).collect();
    let start = as_f64(curve.start);
    match curve.method {
        CurveMethod::SecondDerivative => steepest(&points).map(|(_, zero)| zero),
        CurveMethod::Gran => {
            let (middle, _) = steepest(&points)?;
            let near = points
                .iter()
                .filter(|(v, _)| (0.5..0.98).contains(&(v / middle)));
            let near: Vec<(f64, f64)> = near.copied().collect();
            let sign = if near.last()?.1 > near.first()?.1 {
                -1.0
            } else {
                1.0
            };
            let factor = |v: f64| if curve.pk.is_some() { v } else { start + v };
            let gran = near
                .iter()
                .map(|(v, p)| (*v, factor(*v) * 10_f64.powf(sign * p)));
            let (intercept, slope) = line(&gran.collect::<Vec<_>>())?;
            Some(-intercept / slope)
        }
        CurveMethod::TwoLines => {
            let corrected = points.iter().map(|(v, g)| (*v, g * (start + v) / start));
            let corrected: Vec<(f64, f64)> = corrected.collect();
            let off = |part: &[(f64, f64)], (a, b): (f64, f64)| -> f64 {
                part.iter().map(|(v, g)| (g - a - b * v).powi(2)).sum()
            };
            let cut = |at: usize| {
                let (before, after) = corrected.split_at(at);
                let (one, two) = (line(before)?, line(after)?);
                let meet = (two.0 - one.0) / (one.1 - two.1);
                Some((off(before, one) + off(after, two), meet))
            };
            let cuts = (3..=corrected.len().checked_sub(3)?).filter_map(cut);
            let best = cuts.min_by(|one, other| one.0.total_cmp(&other.0));
            best.map(|(_, meet)| meet)
        }
    }
}

/// The middle of the steepest part, and where the second derivative beside it goes through zero.
fn steepest(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let between = |points: &[(f64, f64)]| -> Vec<(f64, f64)> {
        let pairs = points.iter().zip(points.iter().skip(1));
        let one = |(a, b): (&(f64, f64), &(f64, f64))| {
            (f64::midpoint(a.0, b.0), (b.1 - a.1) / (b.0 - a.0))
        };
        pairs.map(one).collect()
    };
    let first = between(points);
    let second = between(&first);
    let by_slope =
        |a: &(usize, &(f64, f64)), b: &(usize, &(f64, f64))| a.1.1.abs().total_cmp(&b.1.1.abs());
    let (place, (middle, _)) = first.iter().enumerate().max_by(by_slope)?;
    let (low, high) = (second.get(place.checked_sub(1)?)?, second.get(place)?);
    let zero = low.0 + (high.0 - low.0) * low.1 / (low.1 - high.1);
    zero.is_finite().then_some((*middle, zero))
}

/// Intercept and slope by least squares.
pub(super) fn line(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let n = points.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    let across: f64 = points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum();
    let along: f64 = points.iter().map(|p| (p.0 - x).powi(2)).sum();
    let slope = across / along;
    slope.is_finite().then_some((y - slope * x, slope))
}
