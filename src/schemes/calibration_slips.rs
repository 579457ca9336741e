//! What goes wrong in reading a concentration off a line.

use super::calibration_fit::{CONCENTRATION, IN_BLANK, INTERCEPT, SQUARE, STEEPNESS};
use super::calibration_line::Calibration;
use super::line_weights::{LineShape, LineWeights};
use super::own_slips::{OwnSlip, decimal};
use crate::judge::SlipCode;
use crate::measure::as_f64;
use crate::workup::{Graph, Of, Role};
use rust_decimal::Decimal;

impl Calibration {
    /// Intercept left out or added, the line forced through the origin, without its weights or its bend, and the reagent blank
    /// left on.
    pub(super) fn slips(&self, graph: &Graph) -> Vec<OwnSlip> {
        let find = |role| graph.find(role, Of::All);
        let slope = find(Role::Slope).or_else(|| find(Role::Own(STEEPNESS)));
        let (Some(slope), Some(intercept)) = (slope, find(Role::Own(INTERCEPT))) else {
            return Vec::new();
        };
        let square = find(Role::Own(SQUARE));
        let mut points = Vec::new();
        for number in (1..).take(self.stock.len()) {
            let of = Of::Standard(number);
            let x = graph.find(Role::Own(CONCENTRATION), of);
            let y = graph.find(Role::Absorbance, of);
            if let (Some(x), Some(y)) = (x, y) {
                points.push((as_f64(graph.value(x)), as_f64(graph.value(y))));
            }
        }
        let n = points.len() as f64;
        let sum =
            |term: &dyn Fn(f64, f64) -> f64| points.iter().map(|(x, y)| term(*x, *y)).sum::<f64>();
        let (x, y) = (sum(&|x, _| x) / n, sum(&|_, y| y) / n);
        let plain = sum(&|a, b| (a - x) * (b - y)) / sum(&|a, _| (a - x).powi(2));
        let origin = sum(&|x, y| x * y) / sum(&|x, _| x * x);
        let straight = square.map(|square| (square, Some(Decimal::ZERO)));
        let negative = Decimal::ZERO.checked_sub(graph.value(intercept));
        let mut found = vec![
            OwnSlip::new(
                SlipCode::InterceptIgnored,
                "left out",
                [(intercept, Some(Decimal::ZERO))],
            ),
            OwnSlip::new(
                SlipCode::InterceptIgnored,
                "added instead of taken off",
                [(intercept, negative)],
            ),
            OwnSlip::new(
                SlipCode::LineThroughOrigin,
                "",
                [(slope, decimal(origin)), (intercept, Some(Decimal::ZERO))]
                    .into_iter()
                    .chain(straight),
            ),
        ];
        let place = match (self.shape, &self.weights) {
            (LineShape::Quadratic, _) => Some("a straight line for the parabola"),
            (LineShape::Straight, LineWeights::Equal) => None,
            (LineShape::Straight, _) => Some("all standards weighing alike"),
        };
        if let Some(place) = place {
            let line = [(slope, decimal(plain)), (intercept, decimal(y - plain * x))];
            let line = line.into_iter().chain(straight);
            found.push(OwnSlip::new(SlipCode::OtherLine, place, line));
        }
        if let Some(blank) = find(Role::Own(IN_BLANK)) {
            let none = [(blank, Some(Decimal::ZERO))];
            found.push(OwnSlip::new(SlipCode::BlankOmitted, "", none));
        }
        found.into_iter().flatten().collect()
    }
}
