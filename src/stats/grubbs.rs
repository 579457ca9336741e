//! Grubbs' test for one outlier.

use super::distributions::student_t_quantile;
use super::replicates::mean_and_s;

/// Where Grubbs' test looks for an outlier.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum GrubbsSide {
    /// Above only (one-sided).
    Largest,
    /// Below only (one-sided).
    Smallest,
    /// At whichever end lies further from the mean (two-sided).
    Either,
}

/// What Grubbs' test found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grubbs {
    /// Index of the value furthest out on the side looked at; the first of several equal ones.
    pub index: usize,
    /// G, its distance from the mean in standard deviations (n − 1).
    pub g: f64,
    /// What G exceeds by chance with probability 1 − level at most.
    pub critical: f64,
}

impl Grubbs {
    /// Whether that value is an outlier at the level asked for.
    pub fn is_outlier(&self) -> bool {
        self.g > self.critical
    }
}

/// Grubbs' G = |x − x̄| / s of the value furthest out, beside its critical value at a level such as 0.95.
///
/// F. E. Grubbs, Technometrics 11 (1969) 1; NIST/SEMATECH e-Handbook 1.3.5.17.1. None for fewer than three values, for
/// values that are all alike or not all finite, and for a level outside 0..1. At equal distances the upper value is taken.
pub fn grubbs(values: &[f64], side: GrubbsSide, level: f64) -> Option<Grubbs> {
    let critical = grubbs_critical(values.len(), side, level);
    if critical.is_nan() || values.iter().any(|x| !x.is_finite()) {
        return None;
    }
    let (mean, s) = mean_and_s(values)?;
    let extreme = |best: fn(f64, f64) -> bool| {
        let further = |found: usize, i: usize| {
            if best(values[i], values[found]) {
                i
            } else {
                found
            }
        };
        (0..values.len()).reduce(further)
    };
    let (high, low) = (extreme(|a, b| a > b)?, extreme(|a, b| a < b)?);
    // the rounding of a mean leaves an s above zero even where all values are alike
    if values[high] <= values[low] || !s.is_finite() || s <= 0.0 {
        return None;
    }
    let (above, below) = (values[high] - mean, mean - values[low]);
    let (index, distance) = match side {
        GrubbsSide::Largest => (high, above),
        GrubbsSide::Smallest => (low, below),
        GrubbsSide::Either if above >= below => (high, above),
        GrubbsSide::Either => (low, below),
    };
    Some(Grubbs {
        index,
        g: distance / s,
        critical,
    })
}

/// The critical G for n normal values, (n − 1)/√n · √(t² / (n − 2 + t²)), t being Student's at (1 − level)/n above (one
/// side) or (1 − level)/2n (either), n − 2 degrees of freedom.
///
/// NIST/SEMATECH e-Handbook 1.3.5.17.1; ISO 5725-2:1994, Table 5, prints the two-sided ones. Exact as long as two values
/// cannot lie that far out at once (E. S. Pearson, C. Chandra Sekar, Biometrika 28 (1936) 308), that is for small n;
/// beyond, it rejects slightly less often than stated. NaN for fewer than three values or a level outside 0..1.
pub fn grubbs_critical(n: usize, side: GrubbsSide, level: f64) -> f64 {
    if n < 3 || !(level > 0.0 && level < 1.0) {
        return f64::NAN;
    }
    let n = n as f64;
    let ends = match side {
        GrubbsSide::Largest | GrubbsSide::Smallest => 1.0,
        GrubbsSide::Either => 2.0,
    };
    // the lower tail, since 1 − p would round a small p away; the square takes its sign off
    let t = student_t_quantile((1.0 - level) / (ends * n), n - 2.0);
    // divided through by t², which may pass the largest double
    (n - 1.0) / n.sqrt() / (1.0 + (n - 2.0) / t / t).sqrt()
}
