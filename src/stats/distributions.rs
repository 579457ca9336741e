//! Quantiles and tail probabilities.

use std::sync::LazyLock;

use statrs::distribution::{Continuous, ContinuousCDF, Normal, StudentsT};

/// Two-sided 95 % quantile of the normal distribution, the coverage factor at infinite degrees of freedom.
pub const COVERAGE_95: f64 = 1.959_963_984_540_054;

/// The quantile of Student's t (JCGM 100:2008, G.3; Table G.2 prints it) at probability `p`; degrees of freedom need
/// not be whole, infinite gives the normal's.
///
/// NaN for `freedom` not above zero or `p` outside 0..1.
pub fn student_t_quantile(p: f64, freedom: f64) -> f64 {
    if !(p > 0.0 && p < 1.0) {
        return f64::NAN;
    }
    if p < 0.5 {
        return -upper_t(p, freedom);
    }
    upper_t(1.0 - p, freedom)
}

/// From so many degrees of freedom on, an expansion about the normal is exact to the last figures of a double.
const NEARLY_NORMAL: f64 = 1000.0;

/// The t that Student's t exceeds with probability `above`, at most one half.
///
/// By its own search: the library's inverse is 18 % off at 10⁷ degrees of freedom and never comes back from 4·10⁸, where
/// a scatter that is hardly seen beside a systematic part leads.
fn upper_t(above: f64, freedom: f64) -> f64 {
    if freedom >= NEARLY_NORMAL {
        return near_normal(-Normal::standard().inverse_cdf(above), freedom);
    }
    let Ok(t) = StudentsT::new(0.0, 1.0, freedom) else {
        return f64::NAN;
    };
    let (mut low, mut high) = (0.0, 1.0);
    while t.sf(high) > above && high < f64::MAX / 4.0 {
        (low, high) = (high, 2.0 * high);
    }
    // Newton's step where it stays between the two, else halving: 200 halvings leave nothing to divide
    let mut x = f64::midpoint(low, high);
    for _ in 0..200 {
        let off = t.sf(x) - above;
        if off > 0.0 {
            low = x;
        } else {
            high = x;
        }
        let newton = x + off / t.pdf(x);
        let inside = newton > low && newton < high;
        let next = if inside {
            newton
        } else {
            f64::midpoint(low, high)
        };
        if (next - x).abs() <= 1e-15 * x.abs() {
            return next;
        }
        x = next;
    }
    x
}

/// Abramowitz and Stegun 26.7.5: t for many degrees of freedom from the normal quantile z.
fn near_normal(z: f64, freedom: f64) -> f64 {
    let s = z * z;
    let terms = [
        (s + 1.0) / 4.0,
        ((5.0 * s + 16.0) * s + 3.0) / 96.0,
        (((3.0 * s + 19.0) * s + 17.0) * s - 15.0) / 384.0,
        ((((79.0 * s + 776.0) * s + 1482.0) * s - 1920.0) * s - 945.0) / 92160.0,
    ];
    let per = 1.0 / freedom;
    z + z * per * (terms[0] + per * (terms[1] + per * (terms[2] + per * terms[3])))
}

/// The factor k with probability `level` between −k and +k, e.g. 0.95.
pub fn student_t_two_sided(level: f64, freedom: f64) -> f64 {
    // asked for with every submission, nearly always for a few trials or for none observed
    static AT_95: LazyLock<Vec<f64>> = LazyLock::new(|| {
        let whole = (0..=30).map(f64::from);
        whole
            .map(|freedom| student_t_quantile(0.975, freedom))
            .collect()
    });
    if level == 0.95 && freedom.is_infinite() {
        return COVERAGE_95;
    }
    if level == 0.95
        && freedom.fract() == 0.0
        && let Some(known) = AT_95.get(freedom as usize)
    {
        return *known;
    }
    student_t_quantile(0.5 + level / 2.0, freedom)
}

/// Probability that a standard normal (JCGM 100:2008, C.2.14) lies further from zero than `z`.
pub fn two_sided_normal_p(z: f64) -> f64 {
    (2.0 * Normal::standard().sf(z.abs())).min(1.0)
}

/// Probability that Student's t lies further from zero than `t`; infinite degrees of freedom give the normal's. NaN for
/// `freedom` not above zero.
pub fn two_sided_t_p(t: f64, freedom: f64) -> f64 {
    if freedom.is_infinite() || freedom > 1e9 {
        return two_sided_normal_p(t);
    }
    StudentsT::new(0.0, 1.0, freedom).map_or(f64::NAN, |dist| (2.0 * dist.sf(t.abs())).min(1.0))
}

/// Probability that a standard normal lies below `z`.
pub(super) fn normal_below(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// Probability that a chi-square (NIST/SEMATECH e-Handbook 1.3.6.6.6) of that many degrees of freedom exceeds `value`.
pub fn chi_square_above(value: f64, freedom: f64) -> f64 {
    statrs::distribution::ChiSquared::new(freedom).map_or(f64::NAN, |chi| chi.sf(value.max(0.0)))
}

/// Probability that the ratio of a variance with `freedom` degrees of freedom to one with `other` exceeds `ratio`:
/// Snedecor's F; with infinite `other`, the chi-square test of a variance against a known one.
pub fn variance_ratio_above(ratio: f64, freedom: f64, other: f64) -> f64 {
    if other.is_infinite() {
        return chi_square_above(freedom * ratio, freedom);
    }
    statrs::distribution::FisherSnedecor::new(freedom, other)
        .map_or(f64::NAN, |f| f.sf(ratio.max(0.0)))
}

/// Probability that a chi-square of that many degrees of freedom is at most `value`.
pub fn chi_square_below(value: f64, freedom: f64) -> f64 {
    statrs::distribution::ChiSquared::new(freedom).map_or(f64::NAN, |chi| chi.cdf(value.max(0.0)))
}

/// Logarithm of the gamma function, for factorials of any size.
#[must_use]
pub fn ln_gamma(x: f64) -> f64 {
    statrs::function::gamma::ln_gamma(x)
}
