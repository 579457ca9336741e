//! Mean, standard deviation, range and confidence interval of replicate results.

use rust_decimal::Decimal;

use super::distributions::student_t_two_sided;
use crate::measure::as_f64;

/// Replicate values, summed up once. All in the unit of the values.
#[derive(Clone, Debug, PartialEq)]
pub struct Replicates {
    /// How many, at least one.
    pub n: usize,
    /// Arithmetic mean.
    pub mean: Decimal,
    /// Largest less smallest; 0 for a single value.
    pub range: Decimal,
    /// Sample standard deviation with n − 1; none for a single value.
    pub s: Option<f64>,
}

/// Why values cannot be summed up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReplicatesError {
    /// No values.
    #[error("found no values, expected at least one")]
    Empty,
    /// A sum past the range of decimals.
    #[error("found values too large to add")]
    TooLarge,
}

impl Replicates {
    /// Sums up the values. The mean is exact to 28 figures and deviations from it are taken in decimals, so nothing
    /// cancels before it is squared.
    ///
    /// # Errors
    /// [`ReplicatesError`] for no values or an overflow.
    pub fn of(values: &[Decimal]) -> Result<Self, ReplicatesError> {
        let n = values.len();
        let (Some(low), Some(high)) = (values.iter().min(), values.iter().max()) else {
            return Err(ReplicatesError::Empty);
        };
        let mean = mean(values).ok_or(ReplicatesError::TooLarge)?;
        let range = high.checked_sub(*low).ok_or(ReplicatesError::TooLarge)?;
        let mut squares = 0.0;
        for x in values {
            squares += as_f64(x.checked_sub(mean).ok_or(ReplicatesError::TooLarge)?).powi(2);
        }
        let s = (n > 1).then(|| (squares / (n as f64 - 1.0)).sqrt());
        Ok(Self { n, mean, range, s })
    }

    /// Range / |mean| in percent; none if the mean is zero.
    #[must_use]
    pub fn range_percent(&self) -> Option<Decimal> {
        self.range
            .checked_mul(Decimal::ONE_HUNDRED)?
            .checked_div(self.mean.abs())
    }

    /// s / |mean| in percent; none for a single value or a mean of zero.
    #[must_use]
    pub fn relative_s_percent(&self) -> Option<f64> {
        let mean = as_f64(self.mean).abs();
        self.s.filter(|_| mean > 0.0).map(|s| 100.0 * s / mean)
    }

    /// Half-width of the 95 % confidence interval of the mean, t·s/√n; none for a single value.
    #[must_use]
    pub fn confidence_95(&self) -> Option<f64> {
        let n = self.n as f64;
        self.s
            .map(|s| student_t_two_sided(0.95, n - 1.0) * s / n.sqrt())
    }
}

/// Arithmetic mean; none for no values or past the range of decimals. Taken from the first value on, so that equal
/// values have themselves as their mean and only the differences are rounded.
#[must_use]
pub fn mean(values: &[Decimal]) -> Option<Decimal> {
    let first = *values.first()?;
    let from_first = |sum: Decimal, x: &Decimal| sum.checked_add(x.checked_sub(first)?);
    let sum = values.iter().try_fold(Decimal::ZERO, from_first)?;
    first.checked_add(sum.checked_div(Decimal::from(values.len()))?)
}

/// Mean and s (n − 1) of doubles, in two passes with the second pass's residual sum taken off (Chan, Golub and
/// LeVeque, Am. Stat. 37 (1983) 242). None for no values; s is 0 for one.
#[must_use]
pub fn mean_and_s(values: &[f64]) -> Option<(f64, f64)> {
    let n = values.len() as f64;
    if values.is_empty() {
        return None;
    }
    let rough = values.iter().sum::<f64>() / n;
    let residual = values.iter().map(|x| x - rough).sum::<f64>();
    let mean = rough + residual / n;
    if values.len() == 1 {
        return Some((mean, 0.0));
    }
    let squares = values.iter().map(|x| (x - rough).powi(2)).sum::<f64>() - residual.powi(2) / n;
    Some((mean, (squares.max(0.0) / (n - 1.0)).sqrt()))
}
