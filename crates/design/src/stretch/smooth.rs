//! The smooth curve of offsets that comes nearest to the wanted octaves.

use crate::stretch::OCTAVE_NOTES;

/// Minimises Σ (θ(k+12) − θ(k) − wanted(k))² + λ·Σ (second difference)², with θ = 0 at `anchor`.
///
/// The normal equations without the anchor's row and column are positive definite: only a constant costs nothing, and the
/// anchor takes that away. They are solved by Cholesky's method; a hundred unknowns need no band storage.
pub(crate) fn offsets(wanted: &[f64], smoothness: f64, anchor: usize) -> Vec<f64> {
    let n = wanted.len() + OCTAVE_NOTES;
    let mut matrix = vec![vec![0.0; n]; n];
    let mut right = vec![0.0; n];
    for (low, want) in wanted.iter().enumerate() {
        let high = low + OCTAVE_NOTES;
        matrix[low][low] += 1.0;
        matrix[high][high] += 1.0;
        matrix[high][low] -= 1.0;
        matrix[low][high] -= 1.0;
        right[low] -= want;
        right[high] += want;
    }
    for first in 0..n.saturating_sub(2) {
        for (i, a) in [1.0, -2.0, 1.0].into_iter().enumerate() {
            for (j, b) in [1.0, -2.0, 1.0].into_iter().enumerate() {
                matrix[first + i][first + j] += smoothness * a * b;
            }
        }
    }
    for row in &mut matrix {
        row[anchor] = 0.0;
    }
    matrix[anchor].fill(0.0);
    matrix[anchor][anchor] = 1.0;
    right[anchor] = 0.0;
    solve(&mut matrix, &mut right);
    right
}

/// Solves a symmetric positive definite system in place. Only the lower triangle is read and becomes Cholesky's factor.
fn solve(matrix: &mut [Vec<f64>], right: &mut [f64]) {
    let n = right.len();
    for i in 0..n {
        for j in 0..=i {
            let products: f64 = (0..j).map(|k| matrix[i][k] * matrix[j][k]).sum();
            let rest = matrix[i][j] - products;
            matrix[i][j] = if i == j { rest.sqrt() } else { rest / matrix[j][j] };
        }
    }
    for i in 0..n {
        let products: f64 = (0..i).map(|k| matrix[i][k] * right[k]).sum();
        right[i] = (right[i] - products) / matrix[i][i];
    }
    for i in (0..n).rev() {
        let products: f64 = (i + 1..n).map(|k| matrix[k][i] * right[k]).sum();
        right[i] = (right[i] - products) / matrix[i][i];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_octaves_make_a_straight_line() {
        // A line has no second difference and meets every octave, whatever the smoothness.
        for smoothness in [1e-3, 1.0, 1e6] {
            let theta = offsets(&[6.0; 76], smoothness, 48);
            for (k, value) in (0_i16..).zip(&theta) {
                assert!((value - f64::from(k - 48) * 0.5).abs() < 1e-6, "{smoothness} {k} {value}");
            }
        }
    }

    #[test]
    fn no_small_change_is_better() {
        let wanted: Vec<f64> =
            (0..76_i32).map(|k| if k < 20 { 1.0 } else { f64::from(k) / 10.0 + 3.0 }).collect();
        let cost = |theta: &[f64]| {
            let octaves: f64 =
                wanted.iter().enumerate().map(|(k, w)| (theta[k + 12] - theta[k] - w).powi(2)).sum();
            let bends: f64 = theta.windows(3).map(|t| (t[0] - 2.0 * t[1] + t[2]).powi(2)).sum();
            octaves + 10.0 * bends
        };
        let theta = offsets(&wanted, 10.0, 48);
        assert_eq!(theta[48], 0.0);
        let least = cost(&theta);
        for k in (0..88).filter(|k| *k != 48) {
            for by in [-1e-3, 1e-3] {
                let mut other = theta.clone();
                other[k] += by;
                assert!(cost(&other) > least, "{k} {by}");
            }
        }
    }
}
