//! Where the centre of results lies, looked at after every one of them: the error holds over all looks together.
//!
//! A bet against “the centre is at most m” multiplies, for each result y of scale s, by exp(λ ψ((y − m)/s)) over what that is
//! worth at most where the bet is lost; ψ cuts off beyond [`CUT`] scales. What it is worth at most is reckoned for results of
//! which a share [`STRAY`] may be anything at all, and the others spread symmetrically about a centre at or below m, no
//! wider than a normal of that scale. So the product is a supermartingale whatever the tails are, and exceeds 1/α at any
//! look with a chance of at most α (Ville; Howard, Ramdas, McAuliffe & Sekhon 2021; of bets that strays cannot win, Huber
//! 1965). A mixture of several λ is one such bet (Robbins 1970).

use std::sync::LazyLock;

use super::distributions::two_sided_normal_p;

/// Beyond so many scales a result counts no more.
const CUT: f64 = 2.5;
/// Share of results that may be anything.
const STRAY: f64 = 0.12;
/// What is bet, in equal parts.
const BETS: [f64; 6] = [0.2, 0.4, 0.7, 1.0, 1.4, 1.9];
/// Halvings of an interval in which a bound is looked for.
const HALVINGS: usize = 50;

/// A result with its scale: what a careful person's result may be off by, as a standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scaled {
    pub value: f64,
    pub scale: f64,
}

impl Scaled {
    fn score(self, from: f64) -> f64 {
        ((self.value - from) / self.scale).clamp(-CUT, CUT)
    }
}

/// Probability that a standard normal is above z.
fn above(z: f64) -> f64 {
    let tail = two_sided_normal_p(z) / 2.0;
    if z < 0.0 { 1.0 - tail } else { tail }
}

/// The most that one result multiplies a lost bet by, on the mean.
fn price(bet: f64) -> f64 {
    let within = (bet * bet / 2.0).exp() * (above(-CUT - bet) - above(CUT - bet));
    let cut = above(CUT) * 2.0 * (bet * CUT).cosh();
    (1.0 - STRAY) * (within + cut) + STRAY * (bet * CUT).exp()
}

/// ln of the prices of [`BETS`].
static LN_PRICES: LazyLock<[f64; 6]> = LazyLock::new(|| BETS.map(|bet| price(bet).ln()));

/// ln of what the bets have come to, with that sum of scores of n results.
fn ln_won(sum: f64, n: f64) -> f64 {
    let mut each = BETS;
    for (bet, ln_price) in each.iter_mut().zip(*LN_PRICES) {
        *bet = *bet * sum - n * ln_price;
    }
    let most = each.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let shares: f64 = each.iter().map(|one| (one - most).exp()).sum();
    most + (shares / BETS.len() as f64).ln()
}

/// The least sum of scores of so many results at which the bet is won; none where they are too few.
fn least_sum(n: usize, error: f64) -> Option<f64> {
    let n = n as f64;
    let wanted = -error.ln();
    let (mut low, mut high) = (0.0, n * CUT);
    if ln_won(high, n) < wanted {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle = (low + high) / 2.0;
        if ln_won(middle, n) < wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(high)
}

/// Whether results lie above their limits: their centre, each against its own. Said falsely with a chance of at most
/// `error`, all looks together.
pub fn lies_above(results: impl Iterator<Item = (Scaled, f64)>, error: f64) -> bool {
    let (mut sum, mut n) = (0.0, 0_usize);
    for (result, limit) in results {
        sum += result.score(limit);
        n = n.saturating_add(1);
    }
    least_sum(n, error).is_some_and(|least| sum >= least)
}

/// Bounds of the centre that hold at every look but for a chance of `error`; none where results are too few for any.
pub fn centre_within(results: &[Scaled], error: f64) -> Option<(f64, f64)> {
    let least = least_sum(results.len(), error / 2.0)?;
    let sum = |from: f64| -> f64 { results.iter().map(|one| one.score(from)).sum() };
    let far = |one: &Scaled| one.scale * (CUT + 1.0);
    let lowest = results.iter().map(|one| one.value - far(one));
    let lowest = lowest.fold(f64::INFINITY, f64::min);
    let highest = results.iter().map(|one| one.value + far(one));
    let highest = highest.fold(f64::NEG_INFINITY, f64::max);
    // sums fall as the place from which scores are counted rises
    let place = |wanted: f64| {
        let (mut low, mut high) = (lowest, highest);
        for _ in 0..HALVINGS {
            let middle = (low + high) / 2.0;
            if sum(middle) > wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        (low + high) / 2.0
    };
    Some((place(least), place(-least)))
}
