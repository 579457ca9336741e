//! Many tests at once.

/// Probabilities adjusted so that a level holds over all of them together, in their order: the step-down of S. Holm,
/// Scand. J. Stat. 6 (1979) 65. Good whatever the tests have to do with one another.
pub fn holm(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|a, b| p[*a].total_cmp(&p[*b]));
    let mut adjusted = vec![1.0; p.len()];
    let mut least: f64 = 0.0;
    for (rank, at) in order.into_iter().enumerate() {
        let left = p.len().saturating_sub(rank) as f64;
        least = least.max((left * p[at]).min(1.0));
        adjusted[at] = least;
    }
    adjusted
}
