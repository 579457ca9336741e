//! Mean, standard deviation, range and confidence interval of replicate results.

use rust_decimal::Decimal;

use super::distributions::student_t_two_sided;
use super::sums::{compensated, of_squares, of_squares_in_order};
use crate::measure::as_f64;

/// Replicate values, summed up once. All in the unit of the values.
#[derive(Clone, Debug, PartialEq)]
pub struct Replicates {
    /// How many, at least one.
    pub n: usize,
    pub mean: Decimal,
    /// Largest less smallest; 0 for a single value.
    pub range: Decimal,
    /// Sample standard deviation with n − 1; none for a single value.
    pub s: Option<f64>,
}

/// Why values cannot be summed up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReplicatesError {
    #[error("found no values, expected at least one")]
    Empty,
    /// A sum past the range of decimals.
    #[error("found values too large to add")]
    TooLarge,
}

impl Replicates {
    /// Sums up the values: the textbook's x̄ = Σx/n and s = √(Σ(x − x̄)²/(n − 1)) (JCGM 100:2008, 4.2). The mean is exact
    /// to 28 figures and deviations from it are taken in decimals, so nothing cancels before it is squared.
    pub fn of(values: &[Decimal]) -> Result<Self, ReplicatesError> {
        let n = values.len();
        let (Some(low), Some(high)) = (values.iter().min(), values.iter().max()) else {
            return Err(ReplicatesError::Empty);
        };
        let mean = mean(values).ok_or(ReplicatesError::TooLarge)?;
        let range = high.checked_sub(*low).ok_or(ReplicatesError::TooLarge)?;
        let from_mean = |x: &Decimal| x.checked_sub(mean).map(as_f64);
        let deviations: Option<Vec<f64>> = values.iter().map(from_mean).collect();
        let squares = of_squares(deviations.ok_or(ReplicatesError::TooLarge)?);
        let s = (n > 1).then(|| (squares / (n as f64 - 1.0)).sqrt());
        Ok(Self { n, mean, range, s })
    }

    /// Range / |mean| in percent; none if the mean is zero.
    pub fn range_percent(&self) -> Option<Decimal> {
        self.range
            .checked_mul(Decimal::ONE_HUNDRED)?
            .checked_div(self.mean.abs())
    }

    /// s / |mean| in percent; none for a single value or a mean of zero.
    pub fn relative_s_percent(&self) -> Option<f64> {
        let mean = as_f64(self.mean).abs();
        self.s.filter(|_| mean > 0.0).map(|s| 100.0 * s / mean)
    }

    /// Half-width of the 95 % confidence interval of the mean, t·s/√n (JCGM 100:2008, 4.2.3 and G.3.2); none for a
    /// single value.
    pub fn confidence_95(&self) -> Option<f64> {
        let n = self.n as f64;
        self.s
            .map(|s| student_t_two_sided(0.95, n - 1.0) * s / n.sqrt())
    }
}

/// Arithmetic mean; none for no values or past the range of decimals. Taken from the lowest value on, so that equal
/// values have themselves as their mean, only the differences are rounded, and the order of the values changes nothing.
pub fn mean(values: &[Decimal]) -> Option<Decimal> {
    let lowest = *values.iter().min()?;
    let from_lowest = |sum: Decimal, x: &Decimal| sum.checked_add(x.checked_sub(lowest)?);
    let sum = values.iter().try_fold(Decimal::ZERO, from_lowest)?;
    lowest.checked_add(sum.checked_div(Decimal::from(values.len()))?)
}

/// Mean and s (n − 1) of doubles, in two passes with the second pass's residual sum taken off (Chan, Golub and
/// LeVeque, Am. Stat. 37 (1983) 242), summed with compensation and in order of size, so that the order of the data
/// changes no digit. None for no values; s is 0 for one.
pub fn mean_and_s(values: &[f64]) -> Option<(f64, f64)> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let n = sorted.len() as f64;
    if sorted.is_empty() {
        return None;
    }
    let rough = compensated(sorted.iter().copied()) / n;
    let residual = compensated(sorted.iter().map(|x| x - rough));
    let mean = rough + residual / n;
    if sorted.len() == 1 {
        return Some((mean, 0.0));
    }
    let squares = of_squares_in_order(&sorted, rough) - residual * residual / n;
    Some((mean, (squares.max(0.0) / (n - 1.0)).sqrt()))
}
