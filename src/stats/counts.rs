//! Exact tails of counts and of sums of weights.

use statrs::distribution::{Binomial, DiscreteCDF};

/// Probability of at least `count` successes among `n` trials of probability `p`.
///
/// NaN for `p` outside 0..=1.
pub fn binomial_at_least(count: u64, n: u64, p: f64) -> f64 {
    match (Binomial::new(p, n), count.checked_sub(1)) {
        (Err(_), _) => f64::NAN,
        (Ok(_), None) => 1.0,
        (Ok(binomial), Some(below)) => binomial.sf(below),
    }
}

/// Probability of at most `count` successes among `n` trials of probability `p`.
///
/// NaN for `p` outside 0..=1.
pub fn binomial_at_most(count: u64, n: u64, p: f64) -> f64 {
    Binomial::new(p, n).map_or(f64::NAN, |binomial| binomial.cdf(count))
}

/// Probability that the weights of those independent events that happen add up to at least `total`; each event is its
/// probability and its weight. By convolution, without approximation.
pub fn weights_at_least(events: &[(f64, usize)], total: usize) -> f64 {
    // chance[w] that the weights so far add up to w; whatever reaches the total is kept in its last place
    let mut chance = vec![0.0; total.saturating_add(1)];
    chance[0] = 1.0;
    for (p, weight) in events {
        for sum in (0..=total).rev() {
            let here = chance[sum];
            let moved = sum.saturating_add(*weight).min(total);
            if moved != sum {
                chance[sum] = here * (1.0 - p);
                chance[moved] += here * p;
            }
        }
    }
    chance.last().copied().unwrap_or(1.0)
}
