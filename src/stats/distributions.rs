//! Quantiles and tail probabilities.

use std::sync::LazyLock;

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Two-sided 95 % quantile of the normal distribution, the coverage factor at infinite degrees of freedom.
pub const COVERAGE_95: f64 = 1.959_963_984_540_054;

/// The quantile of Student's t (JCGM 100:2008, G.3; Table G.2 prints it) at probability `p`; degrees of freedom need
/// not be whole, infinite gives the normal's.
///
/// NaN for `freedom` not above zero or `p` outside 0..1.
#[must_use]
pub fn student_t_quantile(p: f64, freedom: f64) -> f64 {
    if !(p > 0.0 && p < 1.0) {
        return f64::NAN;
    }
    if freedom.is_infinite() || freedom > 1e9 {
        return Normal::standard().inverse_cdf(p);
    }
    StudentsT::new(0.0, 1.0, freedom).map_or(f64::NAN, |t| t.inverse_cdf(p))
}

/// The factor k with probability `level` between −k and +k, e.g. 0.95.
#[must_use]
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
#[must_use]
pub fn two_sided_normal_p(z: f64) -> f64 {
    (2.0 * Normal::standard().sf(z.abs())).min(1.0)
}

/// Probability that a standard normal lies below `z`.
pub(super) fn normal_below(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// Probability that a chi-square (NIST/SEMATECH e-Handbook 1.3.6.6.6) of that many degrees of freedom exceeds `value`.
#[must_use]
pub fn chi_square_above(value: f64, freedom: f64) -> f64 {
    statrs::distribution::ChiSquared::new(freedom).map_or(f64::NAN, |chi| chi.sf(value.max(0.0)))
}
