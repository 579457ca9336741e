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
    pub fn from_percent(percent: u32) -> Option<Self> {
        match percent {
            90 => Some(Self::P90),
            95 => Some(Self::P95),
            99 => Some(Self::P99),
            _ => None,
        }
    }

    /// In percent.
    pub fn percent(self) -> u32 {
        match self {
            Self::P90 => 90,
            Self::P95 => 95,
            Self::P99 => 99,
        }
    }
}

/// Where the critical values of Dixon's r10 are taken from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum DixonCritical {
    /// From the distribution, see [`dixon_critical`].
    #[default]
    Exact,
    /// From the table most textbooks print, see [`dixon_printed`]; where the table ends, from the distribution.
    Rorabacher,
}

/// The index of the value that Dixon's r10 = gap / range rejects at that level; none if no value is rejected, if
/// there are fewer than three, or if they are all alike.
///
/// W. J. Dixon, Ann. Math. Stat. 21 (1950) 488; R. B. Dean, W. J. Dixon, Anal. Chem. 23 (1951) 636. An r10 just at the
/// critical value is not rejected. At equal gaps the upper value is suspected.
pub fn dixon_outlier(
    values: &[Decimal],
    level: DixonLevel,
    critical: DixonCritical,
) -> Option<usize> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by_key(|i| values[*i]);
    let (&[low, next, ..], &[.., before, high]) = (order.as_slice(), order.as_slice()) else {
        return None;
    };
    let range = values[high].checked_sub(values[low])?;
    if order.len() < 3 || range.is_zero() {
        return None;
    }
    let above = values[high].checked_sub(values[before])?;
    let below = values[next].checked_sub(values[low])?;
    let (suspect, gap) = if above >= below {
        (high, above)
    } else {
        (low, below)
    };
    let r10 = gap.checked_div(range)?;
    let printed = match critical {
        DixonCritical::Exact => None,
        DixonCritical::Rorabacher => dixon_printed(values.len(), level),
    };
    let rejected = match printed {
        // in decimals: results of few digits do meet a limit of three
        Some(limit) => r10 > limit,
        None => as_f64(r10) > dixon_critical(values.len(), level),
    };
    rejected.then_some(suspect)
}

/// The critical r10 as printed, for 3 to 30 values: D. B. Rorabacher, Anal. Chem. 63 (1991) 139, two-sided. None beyond.
///
/// In the third digit it is not what the distribution gives: 0.926 against 0.9207 for four values at 99 %.
pub fn dixon_printed(n: usize, level: DixonLevel) -> Option<Decimal> {
    let column = match level {
        DixonLevel::P90 => &PRINTED_90,
        DixonLevel::P95 => &PRINTED_95,
        DixonLevel::P99 => &PRINTED_99,
    };
    let thousandths = *column.get(n.checked_sub(3)?)?;
    Some(Decimal::new(thousandths, 3))
}

// thousandths, from three values on
const PRINTED_90: [i64; 28] = [
    941, 765, 642, 560, 507, 468, 437, 412, 392, 376, 361, 349, 338, 329, 320, 313, 306, 300, 295,
    290, 285, 281, 277, 273, 269, 266, 263, 260,
];
const PRINTED_95: [i64; 28] = [
    970, 829, 710, 625, 568, 526, 493, 466, 444, 426, 410, 396, 384, 374, 365, 356, 349, 342, 337,
    331, 326, 321, 317, 312, 308, 305, 301, 298,
];
const PRINTED_99: [i64; 28] = [
    994, 926, 821, 740, 680, 634, 598, 568, 542, 522, 503, 488, 475, 463, 452, 442, 433, 425, 418,
    411, 404, 399, 393, 388, 384, 380, 376, 372,
];

/// The critical r10 for n normal values: exceeded at either end with probability 1 − level.
///
/// By quadrature of P(r10 > r) = n(n−1) ∫∫ φ(x)φ(y) [Φ(y − r(y−x)) − Φ(x)]ⁿ⁻² dx dy for one end (y > x), doubled
/// for two; agrees with Rorabacher, Anal. Chem. 63 (1991) 139, to the digits that table got right. At least 3 values.
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
