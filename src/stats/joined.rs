//! Several values of one quantity that are not independent of one another, joined into one.

/// The mean of least variance of values with that covariance, by generalised least squares (Aitken 1936; CCQM/13-22, 5.3),
/// and its standard uncertainty. None where the covariance has no inverse.
pub fn joined_mean(values: &[f64], covariance: &[Vec<f64>]) -> Option<(f64, f64)> {
    let weights = solved(covariance, values.len())?;
    let sum: f64 = weights.iter().sum();
    let mean = weights.iter().zip(values).map(|(w, y)| w * y).sum::<f64>() / sum;
    (sum > 0.0 && mean.is_finite()).then(|| (mean, sum.sqrt().recip()))
}

/// What the matrix takes to ones: elimination with the largest pivot.
fn solved(matrix: &[Vec<f64>], size: usize) -> Option<Vec<f64>> {
    let mut rows: Vec<Vec<f64>> = Vec::with_capacity(size);
    for row in matrix {
        let ones = row.iter().copied().chain([1.0]);
        rows.push(ones.collect());
    }
    if rows.len() != size || rows.iter().any(|row| row.len() != size.saturating_add(1)) {
        return None;
    }
    for pivot in 0..size {
        let largest = (pivot..size).max_by(|a, b| {
            let [a, b] = [a, b].map(|at| rows[*at][pivot].abs());
            a.total_cmp(&b)
        })?;
        rows.swap(pivot, largest);
        let scale = rows[pivot][pivot];
        if scale == 0.0 || !scale.is_finite() {
            return None;
        }
        rows[pivot].iter_mut().for_each(|cell| *cell /= scale);
        let by = rows[pivot].clone();
        for (at, row) in rows.iter_mut().enumerate() {
            let share = row[pivot];
            if at != pivot {
                let cells = row.iter_mut().zip(&by);
                cells.for_each(|(cell, by)| *cell -= share * by);
            }
        }
    }
    rows.iter().map(|row| row.last().copied()).collect()
}
