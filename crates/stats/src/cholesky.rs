//! Cholesky's factor of a small symmetric positive definite matrix, and what it solves.

/// A matrix A = L·Lᵀ, held as L.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Cholesky {
    n: usize,
    /// Row by row, the upper part unused.
    l: Vec<f64>,
}

impl Cholesky {
    /// Factors a matrix of `n` rows, row by row, of which the lower part is read. `None` where it is not positive definite.
    pub fn new(n: usize, matrix: &[f64]) -> Option<Self> {
        if matrix.len() != n * n {
            return None;
        }
        let mut l = matrix.to_vec();
        for row in 0..n {
            for column in 0..=row {
                let mut sum = l[row * n + column];
                for k in 0..column {
                    sum -= l[row * n + k] * l[column * n + k];
                }
                if row == column {
                    if sum.is_nan() || sum <= 0.0 || sum.is_infinite() {
                        return None;
                    }
                    l[row * n + row] = sum.sqrt();
                } else {
                    l[row * n + column] = sum / l[column * n + column];
                }
            }
        }
        Some(Self { n, l })
    }

    /// ln |A|.
    pub fn ln_determinant(&self) -> f64 {
        2.0 * (0..self.n).map(|at| self.l[at * self.n + at].ln()).sum::<f64>()
    }

    /// L⁻¹·b in place: its square is bᵀ·A⁻¹·b. What lies beyond the matrix is left alone.
    pub fn half_solve(&self, b: &mut [f64]) {
        let n = self.n.min(b.len());
        for row in 0..n {
            let known: f64 = self.l[row * self.n..]
                .iter()
                .zip(&b[..row])
                .map(|(l, b)| l * b)
                .sum();
            b[row] = (b[row] - known) / self.l[row * self.n + row];
        }
    }

    /// A⁻¹·b in place.
    pub fn solve(&self, b: &mut [f64]) {
        self.half_solve(b);
        let n = self.n.min(b.len());
        for row in (0..n).rev() {
            let below = b.iter().enumerate().take(n).skip(row + 1);
            let known: f64 = below.map(|(k, b)| self.l[k * self.n + row] * b).sum();
            b[row] = (b[row] - known) / self.l[row * self.n + row];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_matrix_is_factored_and_solved() {
        // Worked by hand: L = [2; 6 1; -8 5 3].
        let matrix = [4.0, 0.0, 0.0, 12.0, 37.0, 0.0, -16.0, -43.0, 98.0];
        let factor = Cholesky::new(3, &matrix).unwrap();
        assert!((factor.ln_determinant() - 36.0_f64.ln()).abs() < 1e-12);
        let mut b = [4.0 - 32.0 + 16.0, 12.0 - 74.0 + 43.0, -16.0 + 86.0 - 98.0];
        // b = A·(1, -2, -1).
        b[0] = 4.0 - 24.0 + 16.0;
        factor.solve(&mut b);
        for (found, expected) in b.into_iter().zip([1.0, -2.0, -1.0]) {
            assert!((found - expected).abs() < 1e-9, "{found} {expected}");
        }
    }

    #[test]
    fn what_is_not_positive_definite_has_no_factor() {
        assert_eq!(Cholesky::new(2, &[1.0, 2.0, 2.0, 1.0]), None);
        assert_eq!(Cholesky::new(1, &[f64::NAN]), None);
        assert_eq!(Cholesky::new(2, &[1.0]), None);
    }
}
