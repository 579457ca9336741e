//! Whole-number solutions of a homogeneous system, exactly.
//!
//! Rows stay whole numbers in lowest terms and every step is checked, so an answer is exact or there is none.

/// A basis of the vectors x with `rows`·x = 0, each in lowest terms; none if a number grew too large to be exact.
///
/// Every row has `columns` numbers.
pub(super) fn null_space(mut rows: Vec<Vec<i128>>, columns: usize) -> Option<Vec<Vec<i128>>> {
    let mut pivots: Vec<usize> = Vec::new();
    for column in 0..columns {
        let top = pivots.len();
        let Some(found) = (top..rows.len()).find(|row| rows[*row][column] != 0) else {
            continue;
        };
        rows.swap(top, found);
        let pivot = rows[top].clone();
        for (index, row) in rows.iter_mut().enumerate() {
            if index != top && row[column] != 0 {
                *row = lowest_terms(&without(row, &pivot, column)?);
            }
        }
        pivots.push(column);
    }
    (0..columns)
        .filter(|column| !pivots.contains(column))
        .map(|free| solution(&rows, &pivots, free, columns))
        .collect()
}

/// `row` with its number in `column` removed by means of `pivot`.
fn without(row: &[i128], pivot: &[i128], column: usize) -> Option<Vec<i128>> {
    let (by_row, by_pivot) = (pivot[column], row[column]);
    row.iter()
        .zip(pivot)
        .map(|(r, p)| r.checked_mul(by_row)?.checked_sub(p.checked_mul(by_pivot)?))
        .collect()
}

/// The solution in which one free unknown is not zero and the other free ones are.
fn solution(
    rows: &[Vec<i128>],
    pivots: &[usize],
    free: usize,
    columns: usize,
) -> Option<Vec<i128>> {
    let bound = || rows.iter().zip(pivots).filter(|(row, _)| row[free] != 0);
    let common = bound().try_fold(1_i128, |common, (row, pivot)| {
        let divisor = row[*pivot].checked_abs()?;
        common
            .checked_div(greatest_divisor(common, divisor)?)?
            .checked_mul(divisor)
    })?;
    let mut x = vec![0; columns];
    x[free] = common;
    for (row, pivot) in bound() {
        let share = common.checked_div(row[*pivot])?;
        x[*pivot] = row[free].checked_mul(share)?.checked_neg()?;
    }
    Some(lowest_terms(&x))
}

/// The numbers divided by their greatest common divisor.
pub(super) fn lowest_terms(numbers: &[i128]) -> Vec<i128> {
    let divisor = numbers
        .iter()
        .try_fold(0, |divisor, n| greatest_divisor(divisor, *n));
    match divisor {
        Some(divisor) if divisor > 1 => {
            let divided = numbers.iter().map(|n| n.checked_div(divisor).unwrap_or(*n));
            divided.collect()
        }
        _ => numbers.to_vec(),
    }
}

/// Never negative; none if it does not fit.
fn greatest_divisor(one: i128, other: i128) -> Option<i128> {
    let (mut a, mut b) = (one.unsigned_abs(), other.unsigned_abs());
    while let Some(rest) = a.checked_rem(b) {
        (a, b) = (b, rest);
    }
    i128::try_from(a).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_basis_solves_the_system_in_lowest_terms() {
        let rows = vec![vec![2, 4, -6, 0], vec![0, 3, -3, 9], vec![2, 7, -9, 9]];
        let basis = null_space(rows.clone(), 4).expect("small numbers");
        assert_eq!(basis, [[1, 1, 1, 0], [6, -3, 0, 1]]);
        for x in basis {
            for row in &rows {
                assert_eq!(row.iter().zip(&x).map(|(a, b)| a * b).sum::<i128>(), 0);
            }
        }
        assert_eq!(null_space(vec![vec![1, 0], vec![0, 5]], 2), Some(vec![]));
        assert_eq!(null_space(vec![], 1), Some(vec![vec![1]]));
    }

    #[test]
    fn numbers_too_large_give_nothing() {
        let large = i128::MAX - 1;
        assert_eq!(
            null_space(vec![vec![large, 3, 5], vec![7, large, 11]], 3),
            None
        );
        assert_eq!(null_space(vec![vec![i128::MIN, 1]], 2), None);
        assert_eq!(lowest_terms(&[i128::MIN, 0]), [i128::MIN, 0]);
    }
}
