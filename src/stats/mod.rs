//! Statistics: spread and confidence of replicates, outliers, robust estimates, scores.
//!
//! Pure. Means are decimal and exact; deviations are taken before anything is squared, so the certified digits of
//! the NIST StRD sets come out.

mod compare;
mod counts;
mod distributions;
mod dixon;
mod grubbs;
mod joined;
mod replicates;
mod robust;
mod scores;
mod sequential;
mod several;
mod sums;

pub use compare::{Difference, Summary, fisher_exact, welch, welch_of};
pub use counts::{binomial_at_least, binomial_at_most, weights_at_least};
pub use distributions::{
    COVERAGE_95, chi_square_above, chi_square_below, ln_gamma, student_t_quantile,
    student_t_two_sided, two_sided_normal_p, two_sided_t_p, variance_ratio_above,
};
pub use dixon::{DixonCritical, DixonLevel, dixon_critical, dixon_outlier, dixon_printed};
pub use grubbs::{Grubbs, GrubbsSide, grubbs, grubbs_critical};
pub use joined::joined_mean;
pub use replicates::{Replicates, ReplicatesError, mean, mean_and_s};
pub use robust::{AlgorithmA, algorithm_a, algorithm_a_of_sorted, median};
pub use scores::{ScoreClass, z_score, zeta_score};
pub use sequential::{Scaled, centre_within, lies_above};
pub use several::holm;
