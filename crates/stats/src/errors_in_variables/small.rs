//! Symmetric systems of at most four unknowns.

/// Room for four; only the first `n` rows and columns count.
pub(super) type Square = [[f64; 4]; 4];

/// The inverse, by Cholesky's factorisation of the matrix scaled to a unit diagonal; `None` where it is not
/// positive definite beyond rounding.
#[expect(
    clippy::needless_range_loop,
    reason = "rows and columns of a matrix are read best by their numbers"
)]
pub(super) fn inverse(matrix: &Square, n: usize) -> Option<Square> {
    let mut scale = [1.0; 4];
    for i in 0..n {
        scale[i] = matrix[i][i].sqrt();
        if !scale[i].is_finite() || scale[i] <= 0.0 {
            return None;
        }
    }
    let mut lower = [[0.0; 4]; 4];
    for i in 0..n {
        for j in 0..=i {
            let done: f64 = (0..j).map(|k| lower[i][k] * lower[j][k]).sum();
            let rest: f64 = matrix[i][j] / (scale[i] * scale[j]) - done;
            if i == j {
                if rest.is_nan() || rest < 1e-13 {
                    return None;
                }
                lower[i][i] = rest.sqrt();
            } else {
                lower[i][j] = rest / lower[j][j];
            }
        }
    }
    let mut inverse = [[0.0; 4]; 4];
    for column in 0..n {
        let mut x = [0.0; 4];
        for i in 0..n {
            let unit = if i == column { 1.0 } else { 0.0 };
            let done: f64 = (0..i).map(|k| lower[i][k] * x[k]).sum();
            x[i] = (unit - done) / lower[i][i];
        }
        for i in (0..n).rev() {
            let done: f64 = (i + 1..n).map(|k| lower[k][i] * x[k]).sum();
            x[i] = (x[i] - done) / lower[i][i];
        }
        for i in 0..n {
            inverse[i][column] = x[i] / (scale[i] * scale[column]);
        }
    }
    // Exactly symmetric, so that what is written can be read back.
    for i in 0..n {
        for j in 0..i {
            let mean = f64::midpoint(inverse[i][j], inverse[j][i]);
            inverse[i][j] = mean;
            inverse[j][i] = mean;
        }
    }
    Some(inverse)
}

/// A matrix times a list.
pub(super) fn times(matrix: &Square, list: &[f64; 4], n: usize) -> [f64; 4] {
    let mut product = [0.0; 4];
    for i in 0..n {
        product[i] = (0..n).map(|k| matrix[i][k] * list[k]).sum();
    }
    product
}
