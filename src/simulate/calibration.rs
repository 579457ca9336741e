//! Where a student reads a concentration off standards, on paper: plain numbers, apart from the work-up.

use super::curve::line;
use crate::columns::Column;
use crate::measure::as_f64;
use crate::schemes::{Calibration, LineShape, LineWeights, Pair, TwoSignals};
use crate::submission::{HandIn, Titration, TrialLabel};
use rust_decimal::Decimal;

/// A standard on the plot.
struct Plotted {
    x: f64,
    y: f64,
    weight: f64,
}

/// The concentration at which the line through a student's standards is so high, with that molarity of the stock.
pub(super) fn read_off(
    calibration: &Calibration,
    hand_in: &HandIn,
    molarity: f64,
    height: f64,
) -> Option<f64> {
    let flask = as_f64(calibration.made_up_in.capacity());
    let mut points = Vec::new();
    for row in &hand_in.titrations {
        let TrialLabel::Standard(number) = row.trial else {
            continue;
        };
        let index = (number as usize).checked_sub(1)?;
        points.push(Plotted {
            x: molarity * as_f64(*calibration.stock.get(index)?) / flask,
            y: as_f64(Column::Absorbance.get(row)?.value()),
            weight: weight(calibration, index)?,
        });
    }
    abscissa(&points, calibration.shape, height)
}

/// What the n-th standard weighs, from 0.
fn weight(calibration: &Calibration, index: usize) -> Option<f64> {
    let volume = as_f64(*calibration.stock.get(index)?);
    Some(match &calibration.weights {
        LineWeights::Equal => 1.0,
        LineWeights::Concentration => 1.0 / volume,
        LineWeights::ConcentrationSquared => 1.0 / volume.powi(2),
        LineWeights::Stated(list) => 1.0 / as_f64(*list.get(index)?).powi(2),
    })
}

/// A parabola is put together from polynomials that are orthogonal over the standards, and followed from its straight part.
fn abscissa(points: &[Plotted], shape: LineShape, height: f64) -> Option<f64> {
    let sum = |of: &dyn Fn(&Plotted) -> f64| points.iter().map(|p| p.weight * of(p)).sum::<f64>();
    let all = sum(&|_| 1.0);
    let (x, y) = (sum(&|p| p.x) / all, sum(&|p| p.y) / all);
    let first = |at: f64| at - x;
    let along = sum(&|p| first(p.x).powi(2));
    let slope = sum(&|p| first(p.x) * p.y) / along;
    let straight = x + (height - y) / slope;
    let found = match shape {
        LineShape::Straight => straight,
        LineShape::Quadratic => {
            let lean = sum(&|p| first(p.x).powi(3)) / along;
            let second = |at: f64| first(at) * (first(at) - lean) - along / all;
            let across = sum(&|p| second(p.x).powi(2));
            let bend = sum(&|p| second(p.x) * p.y) / across;
            let mut at = straight;
            for _ in 0..50 {
                let off = y + slope * first(at) + bend * second(at) - height;
                at -= off / (slope + bend * (2.0 * first(at) - lean));
            }
            at
        }
    };
    found.is_finite().then_some(found)
}

/// The amount in one vessel of a series of additions, mmol: where the line through absorbance against added amount is zero.
pub(super) fn extrapolated(vessels: &Calibration, row: &Titration, molarity: f64) -> Option<f64> {
    let point = |(number, stock): (usize, &Decimal)| {
        let read = Column::Vessels(number).get(row)?;
        Some((molarity * as_f64(*stock), as_f64(read.value())))
    };
    let points: Option<Vec<(f64, f64)>> = (1..).zip(&vessels.stock).map(point).collect();
    let (intercept, slope) = line(&points?)?;
    Some(intercept / slope)
}

/// Concentration of the analyte, mol/L: the other is eliminated from both absorbances.
pub(super) fn by_elimination(scheme: &TwoSignals, row: &Titration) -> Option<f64> {
    let Pair::Wavelengths {
        absorptivities: [[analyte, other], [analyte_second, other_second]],
        path,
        ..
    } = &scheme.pair
    else {
        return None;
    };
    let read = |column: Column| Some(as_f64(column.get(row)?.value()) / as_f64(*path));
    let first = read(Column::Absorbance)?;
    let second = read(Column::SecondAbsorbance)?;
    let share = as_f64(*other) / as_f64(*other_second);
    let found = (first - second * share) / (as_f64(*analyte) - as_f64(*analyte_second) * share);
    found.is_finite().then_some(found)
}
