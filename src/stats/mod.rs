//! Statistics of replicates: spread, confidence, outliers, robust estimates.
//!
//! Pure. Means are decimal and exact; deviations are taken before anything is squared, so the certified digits of
//! the NIST StRD univariate sets come out.

mod distributions;
mod outliers;
mod replicates;
mod robust;

pub use distributions::{
    COVERAGE_95, chi_square_above, student_t_quantile, student_t_two_sided, two_sided_normal_p,
    variance_ratio_above,
};
pub use outliers::{DixonLevel, dixon_critical, dixon_outlier};
pub use replicates::{Replicates, ReplicatesError, mean, mean_and_s};
pub use robust::{AlgorithmA, algorithm_a, median};
