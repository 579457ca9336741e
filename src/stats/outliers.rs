//! Dixon's r10 test for one outlier.

use std::collections::HashMap;
use std::sync::{LazyLock, Mutex};

use rust_decimal::Decimal;

use super::distributions::normal_below;
use crate::measure::as_f64;

/// The two-sided confidence level of a Dixon test.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum DixonLevel {
    /// 90 %
    P90,
    /// 95 %
    P95,
    /// 99 %
    P99,
}

impl DixonLevel {
    /// The level of that many percent, if it is one of the three.
    #[must_use]
    pub fn from_percent(percent: u32) -> Option<Self> {
        match percent {
            90 => Some(Self::P90),
            95 => Some(Self::P95),
            99 => Some(Self::P99),
            _ => None,
        }
    }

    /// In percent.
    #[must_use]
    pub fn percent(self) -> u32 {
        match self {
            Self::P90 => 90,
            Self::P95 => 95,
            Self::P99 => 99,
        }
    }
}

/// The index of the value that Dixon's r10 = gap / range rejects at that level; none if no value is rejected, if
/// there are fewer than three, or if they are all alike.
#[must_use]
pub fn dixon_outlier(values: &[Decimal], level: DixonLevel) -> Option<usize> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by_key(|i| values[*i]);
    let (&[low, next, ..], &[.., before, high]) = (order.as_slice(), order.as_slice()) else {
        return None;
    };
    if order.len() < 3 {
        return None;
    }
    let range = as_f64(values[high].checked_sub(values[low])?);
    if range <= 0.0 {
        return None;
    }
    let below = as_f64(values[next].checked_sub(values[low])?) / range;
    let above = as_f64(values[high].checked_sub(values[before])?) / range;
    let (suspect, r10) = if above >= below {
        (high, above)
    } else {
        (low, below)
    };
    (r10 > dixon_critical(values.len(), level)).then_some(suspect)
}

/// The critical r10 for n normal values: exceeded at either end with probability 1 − level.
///
/// By quadrature of P(r10 > r) = n(n−1) ∫∫ φ(x)φ(y) [Φ(y − r(y−x)) − Φ(x)]ⁿ⁻² dx dy for one end (y > x), doubled
/// for two; agrees with Rorabacher, Anal. Chem. 63 (1991) 139, to the digits that table got right. At least 3 values.
#[must_use]
pub fn dixon_critical(n: usize, level: DixonLevel) -> f64 {
    static KNOWN: LazyLock<Mutex<HashMap<(usize, DixonLevel), f64>>> =
        LazyLock::new(Mutex::default);
    let mut known = KNOWN
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner);
    *known.entry((n, level)).or_insert_with(|| {
        let wanted = (1.0 - f64::from(level.percent()) / 100.0) / 2.0;
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..40 {
            let middle = f64::midpoint(low, high);
            if one_end_exceeds(n, middle) > wanted {
                low = middle
            } else {
                high = middle
            }
        }
        f64::midpoint(low, high)
    })
}

/// P(r10 at the upper end > r) for n standard normal values, by Simpson's rule on x and on the gap-weighted y.
fn one_end_exceeds(n: usize, r: f64) -> f64 {
    const STEPS: usize = 160;
    const EDGE: f64 = 7.0;
    let density = |x: f64| (-0.5 * x * x).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let simpson = |i: usize| {
        if i == 0 || i == STEPS {
            1.0
        } else if i % 2 == 1 {
            4.0
        } else {
            2.0
        }
    };
    let power = i32::try_from(n.saturating_sub(2)).unwrap_or(i32::MAX);
    let mut total = 0.0;
    let h = 2.0 * EDGE / STEPS as f64;
    for i in 0..=STEPS {
        let x = -EDGE + h * i as f64;
        let below_x = normal_below(x);
        let k = (EDGE - x) / STEPS as f64;
        let inner: f64 = (0..=STEPS)
            .map(|j| {
                let y = x + k * j as f64;
                simpson(j)
                    * density(y)
                    * (normal_below(y - r * (y - x)) - below_x)
                        .max(0.0)
                        .powi(power)
            })
            .sum();
        total += simpson(i) * density(x) * inner * k / 3.0;
    }
    let n = n as f64;
    n * (n - 1.0) * total * h / 3.0
}
