//! Robust mean and standard deviation by Algorithm A.

use super::sums::Outwards;

/// A robust mean and standard deviation in the unit of the values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AlgorithmA {
    /// Robust mean x*.
    pub mean: f64,
    /// Robust standard deviation s*.
    pub s: f64,
    pub n: usize,
}

impl AlgorithmA {
    /// Standard uncertainty of the robust mean, 1.25 s*/√p (ISO 13528:2015, 7.7).
    pub fn standard_uncertainty(&self) -> f64 {
        1.25 * self.s / (self.n as f64).sqrt()
    }
}

/// Algorithm A of ISO 13528 (Annex C; = ISO 5725-5, 6.2) with its constants 1.483, 1.5 and 1.134.
///
/// Iterated until mean and s* stand still to 1e-12 of s*, not to the third figure as the standard allows: stopping there
/// can leave s* more than 1 % off. None for no values.
///
/// What is pulled in lies on a limit, so that a round needs only how many lie beyond each limit and the sums of those
/// between: it takes two look-ups, however many there are.
pub fn algorithm_a(values: &[f64]) -> Option<AlgorithmA> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    algorithm_a_of_sorted(&sorted)
}

/// The same of values in order of size.
pub fn algorithm_a_of_sorted(sorted: &[f64]) -> Option<AlgorithmA> {
    let middle = middle_of(sorted)?;
    let mut s = 1.483
        * median(
            &sorted
                .iter()
                .map(|x| (x - middle).abs())
                .collect::<Vec<_>>(),
        )?;
    let sums = Outwards::of(sorted, middle);
    let n = sorted.len() as f64;
    let freedom = (n - 1.0).max(1.0);
    // from the middle, so that nothing cancels
    let mut mean = 0.0;
    for _ in 0..10_000 {
        let (low, high) = (mean - 1.5 * s, mean + 1.5 * s);
        let from = sorted.partition_point(|x| x - middle < low);
        let to = sorted.partition_point(|x| x - middle <= high).max(from);
        let (below, above) = (from as f64, (sorted.len().saturating_sub(to)) as f64);
        let (sum, squares) = sums.between(from, to);
        let sum = below * low + sum + above * high;
        let squares = below * low * low + squares + above * high * high;
        let next = sum / n;
        let next_s = 1.134 * ((squares - sum * next).max(0.0) / freedom).sqrt();
        let moved = (next - mean).abs().max((next_s - s).abs());
        (mean, s) = (next, next_s);
        if moved <= 1e-12 * s {
            break;
        }
    }
    let (mean, n) = (middle + mean, sorted.len());
    Some(AlgorithmA { mean, s, n })
}

/// The median of values in order of size.
fn middle_of(sorted: &[f64]) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let (low, high) = (sorted.get(last / 2)?, sorted.get(last.div_ceil(2))?);
    Some(low.midpoint(*high))
}

/// The middle value, or the mean of the two middle ones (NIST/SEMATECH e-Handbook 1.3.5.1); none for no values.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut values = values.to_vec();
    let (middle, even) = (values.len() / 2, values.len().is_multiple_of(2));
    if values.is_empty() {
        return None;
    }
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let lower = below.iter().copied().max_by(f64::total_cmp);
    lower
        .filter(|_| even)
        .map_or(Some(*upper), |lower| Some(lower.midpoint(*upper)))
}
