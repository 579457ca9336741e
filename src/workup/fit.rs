//! Least squares: the slope of a line between means, and the coefficients of a weighted line or parabola.

use rust_decimal::Decimal;

use super::graph::{StepId, StepIds};
use crate::measure::as_f64;
use crate::stats::mean;

const RANGE: &str = "why.too-large";
const ONE_ABSCISSA: &str = "why.few-abscissae";

/// y = Σ βₖ·xᵏ by weighted least squares, pair by pair.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    pub x: StepIds,
    pub y: StepIds,
    /// One for each pair; only their proportions count.
    pub weights: Vec<Decimal>,
    /// Highest power of x: 1 of a line, 2 of a parabola.
    pub degree: usize,
}

/// Σ(x − x̄)(y − ȳ) / Σ(x − x̄)².
pub fn slope(x: &[Decimal], y: &[Decimal]) -> Result<Decimal, &'static str> {
    let middle = |values: &[Decimal]| mean(values).ok_or("why.no-points");
    let (x_mean, y_mean) = (middle(x)?, middle(y)?);
    let (mut xy, mut xx) = (Decimal::ZERO, Decimal::ZERO);
    for (x, y) in x.iter().zip(y) {
        let from_mean = x.checked_sub(x_mean).zip(y.checked_sub(y_mean));
        let (dx, dy) = from_mean.ok_or(RANGE)?;
        let products = dx.checked_mul(dy).zip(dx.checked_mul(dx));
        let (with_y, with_x) = products.ok_or(RANGE)?;
        xy = xy.checked_add(with_y).ok_or(RANGE)?;
        xx = xx.checked_add(with_x).ok_or(RANGE)?;
    }
    if xx.is_zero() {
        return Err("why.one-abscissa");
    }
    xy.checked_div(xx).ok_or(RANGE)
}

/// ∂slope/∂x and ∂slope/∂y of each point.
pub fn slope_by(x: &[f64], y: &[f64], slope: f64) -> Vec<(f64, f64)> {
    let n = x.len() as f64;
    let (x_mean, y_mean) = (x.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
    let xx: f64 = x.iter().map(|x| (x - x_mean).powi(2)).sum();
    x.iter()
        .zip(y)
        .map(|(x, y)| {
            let (dx, dy) = (x - x_mean, y - y_mean);
            ((dy - 2.0 * slope * dx) / xx, dx / xx)
        })
        .collect()
}

impl Fit {
    /// The coefficient of that power of x. The normal equations are solved in x over its largest value, so that powers of
    /// small concentrations keep their digits.
    pub fn coefficient(
        &self,
        power: usize,
        value: impl Fn(StepId) -> Decimal,
    ) -> Result<Decimal, &'static str> {
        let most = self.x.iter().map(|id| value(*id).abs()).max();
        let scale = most.filter(|most| !most.is_zero()).ok_or(ONE_ABSCISSA)?;
        let terms = self.terms();
        let mut rows = vec![vec![Decimal::ZERO; terms.saturating_add(1)]; terms];
        for ((x, y), weight) in self.x.iter().zip(&self.y).zip(&self.weights) {
            let x = value(*x).checked_div(scale).ok_or(RANGE)?;
            let powers = powers(x, terms).ok_or(RANGE)?;
            for (row, left) in rows.iter_mut().zip(&powers) {
                let weighted = weight.checked_mul(*left).ok_or(RANGE)?;
                let right = powers.iter().copied().chain([value(*y)]);
                for (cell, right) in row.iter_mut().zip(right) {
                    let more = weighted.checked_mul(right).ok_or(RANGE)?;
                    *cell = cell.checked_add(more).ok_or(RANGE)?;
                }
            }
        }
        let solved = solved(rows)?;
        let coefficient = solved.get(power).copied().ok_or(RANGE)?;
        (0..power)
            .try_fold(coefficient, |one, _| one.checked_div(scale))
            .ok_or(RANGE)
    }

    /// ∂β/∂x and ∂β/∂y of each point, for the coefficient of that power: with N = XᵀWX and the residual r,
    /// ∂β/∂yᵢ = N⁻¹·wᵢ·Xᵢ and ∂β/∂xᵢ = N⁻¹·wᵢ·(rᵢ·X′ᵢ − f′(xᵢ)·Xᵢ).
    pub fn by(&self, power: usize, value: impl Fn(StepId) -> f64) -> Vec<(f64, f64)> {
        let scale = self.x.iter().map(|id| value(*id).abs()).fold(0.0, f64::max);
        let terms = self.terms();
        let weights: Vec<f64> = self.weights.iter().map(|w| as_f64(*w)).collect();
        let points: Vec<(f64, f64)> = self
            .x
            .iter()
            .zip(&self.y)
            .map(|(x, y)| (value(*x) / scale, value(*y)))
            .collect();
        let row = |x: f64| (0..terms).map(|k| x.powi(k as i32)).collect::<Vec<_>>();
        let slope_row = |x: f64| {
            let term = |k: usize| match k {
                0 => 0.0,
                k => k as f64 * x.powi((k as i32).saturating_sub(1)),
            };
            (0..terms).map(term).collect::<Vec<_>>()
        };
        let mut normal = vec![vec![0.0; terms]; terms];
        let mut right = vec![0.0; terms];
        for ((x, y), weight) in points.iter().zip(&weights) {
            let powers = row(*x);
            for (k, left) in powers.iter().enumerate() {
                right[k] += weight * left * y;
                for (cell, other) in normal[k].iter_mut().zip(&powers) {
                    *cell += weight * left * other;
                }
            }
        }
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let beta = solved_floats(&normal, &right);
        let mut unit = vec![0.0; terms];
        unit[power] = 1.0;
        // N is symmetric, so this is the row of its inverse
        let inverse = solved_floats(&normal, &unit);
        let whole = scale.powi(power as i32);
        let one = |((x, y), weight): (&(f64, f64), &f64)| {
            let (powers, slopes) = (row(*x), slope_row(*x));
            let residual = y - dot(&beta, &powers);
            let by_y = weight * dot(&inverse, &powers);
            let by_x = weight * residual * dot(&inverse, &slopes) - dot(&beta, &slopes) * by_y;
            (by_x / scale / whole, by_y / whole)
        };
        points.iter().zip(&weights).map(one).collect()
    }

    fn terms(&self) -> usize {
        self.degree.saturating_add(1)
    }
}

fn powers(x: Decimal, terms: usize) -> Option<Vec<Decimal>> {
    let mut all = vec![Decimal::ONE];
    while all.len() < terms {
        all.push(all.last()?.checked_mul(x)?);
    }
    Some(all)
}

/// Solves a positive definite system, each row with its right side.
fn solved(mut rows: Vec<Vec<Decimal>>) -> Result<Vec<Decimal>, &'static str> {
    let size = rows.len();
    for pivot in 0..size {
        let lead = rows[pivot].clone();
        if lead[pivot].abs() < Decimal::new(1, 20) {
            return Err(ONE_ABSCISSA);
        }
        for (place, row) in rows.iter_mut().enumerate() {
            if place == pivot {
                continue;
            }
            let factor = row[pivot].checked_div(lead[pivot]).ok_or(RANGE)?;
            for (cell, above) in row.iter_mut().zip(&lead) {
                let less = factor.checked_mul(*above).ok_or(RANGE)?;
                *cell = cell.checked_sub(less).ok_or(RANGE)?;
            }
        }
    }
    let quotient = |(place, row): (usize, &Vec<Decimal>)| row[size].checked_div(row[place]);
    let all: Option<Vec<Decimal>> = rows.iter().enumerate().map(quotient).collect();
    all.ok_or(RANGE)
}

fn solved_floats(matrix: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let size = right.len();
    let mut rows: Vec<Vec<f64>> = matrix.to_vec();
    let mut right = right.to_vec();
    for pivot in 0..size {
        let (lead, value) = (rows[pivot].clone(), right[pivot]);
        for place in (0..size).filter(|place| *place != pivot) {
            let factor = rows[place][pivot] / lead[pivot];
            for (cell, above) in rows[place].iter_mut().zip(&lead) {
                *cell -= factor * above;
            }
            right[place] -= factor * value;
        }
    }
    (0..size).map(|k| right[k] / rows[k][k]).collect()
}

/// The x nearest zero at which q·x² + b·x = y: 2·y / (b + √(b² + 4·q·y)), with the sign of b before the root.
pub fn root(q: Decimal, b: Decimal, y: Decimal) -> Result<Decimal, &'static str> {
    let inside = || {
        let product = q.checked_mul(y)?.checked_mul(Decimal::from(4))?;
        b.checked_mul(b)?.checked_add(product)
    };
    let inside = inside().ok_or(RANGE)?;
    if inside.is_sign_negative() {
        return Err("why.beyond-bend");
    }
    let root = square_root(inside).ok_or(RANGE)?;
    let under = if b.is_sign_negative() {
        b.checked_sub(root)
    } else {
        b.checked_add(root)
    };
    let under = under.filter(|u| !u.is_zero()).ok_or(ONE_ABSCISSA)?;
    let over = y.checked_mul(Decimal::TWO).ok_or(RANGE)?;
    over.checked_div(under).ok_or(RANGE)
}

/// By Newton, from a double's root on.
fn square_root(of: Decimal) -> Option<Decimal> {
    if of.is_zero() {
        return Some(of);
    }
    let guess = as_f64(of).sqrt();
    let mut root = Decimal::from_f64_retain(guess).filter(|root| !root.is_zero())?;
    for _ in 0..3 {
        root = root
            .checked_add(of.checked_div(root)?)?
            .checked_div(Decimal::TWO)?;
    }
    Some(root)
}
