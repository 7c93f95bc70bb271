//! Linear least squares by Householder reflections, with one step of refinement.

/// A matrix, factored as Q·R.
///
/// Å. Björck, *Numerical Methods for Least Squares Problems* (1996), sections 2.3 and 2.9.
pub(super) struct Factored {
    rows: usize,
    columns: usize,
    /// Column after column: below the diagonal the reflections, on and above it R.
    packed: Vec<f64>,
    /// The diagonal entries of the reflections.
    heads: Vec<f64>,
    /// Each column was divided by this.
    scales: Vec<f64>,
}

impl Factored {
    /// Factors a matrix given column after column. `None` where its columns do not span their own number of
    /// dimensions, or where a number is not finite.
    pub(super) fn new(mut packed: Vec<f64>, rows: usize, columns: usize) -> Option<Self> {
        if rows < columns || rows == 0 || packed.len() != rows * columns {
            return None;
        }
        let mut scales = Vec::with_capacity(columns);
        for column in packed.chunks_exact_mut(rows) {
            let norm = norm(column);
            if !norm.is_finite() || norm == 0.0 {
                return None;
            }
            for entry in column.iter_mut() {
                *entry /= norm;
            }
            scales.push(norm);
        }
        let mut heads = Vec::with_capacity(columns);
        for k in 0..columns {
            let (done, rest) = packed.split_at_mut((k + 1) * rows);
            let column = &mut done[k * rows + k..];
            let size = norm(column);
            // The columns have unit length: what is left of one after the earlier ones must stand above rounding.
            if size < 1e-13 {
                return None;
            }
            let alpha = -size.copysign(column[0]);
            let head = column[0] - alpha;
            column[0] = alpha;
            // v = (head, column[1..]); vᵀv / 2 = size · |head|
            let half = size * head.abs();
            for other in rest.chunks_exact_mut(rows) {
                reflect(&column[1..], head, half, &mut other[k..]);
            }
            heads.push(head);
        }
        Some(Self {
            rows,
            columns,
            packed,
            heads,
            scales,
        })
    }

    /// The coefficients that come nearest to `right`.
    pub(super) fn solve(&self, right: &[f64]) -> Vec<f64> {
        let mut b = right.to_vec();
        for k in 0..self.columns {
            let column = &self.packed[k * self.rows + k..(k + 1) * self.rows];
            let head = self.heads[k];
            reflect(&column[1..], head, column[0].abs() * head.abs(), &mut b[k..]);
        }
        let mut x = b;
        x.truncate(self.columns);
        for k in (0..self.columns).rev() {
            for j in k + 1..self.columns {
                x[k] -= self.r(k, j) * x[j];
            }
            x[k] /= self.r(k, k);
        }
        for (value, scale) in x.iter_mut().zip(&self.scales) {
            *value /= scale;
        }
        x
    }

    /// (AᵀA)⁻¹, row by row.
    pub(super) fn covariance(&self) -> Vec<Vec<f64>> {
        let n = self.columns;
        // R⁻¹, column by column.
        let mut inverse = vec![vec![0.0; n]; n];
        for (j, column) in inverse.iter_mut().enumerate() {
            column[j] = 1.0 / self.r(j, j);
            for k in (0..j).rev() {
                let sum: f64 = (k + 1..=j).map(|m| self.r(k, m) * column[m]).sum();
                column[k] = -sum / self.r(k, k);
            }
        }
        (0..n)
            .map(|row| {
                (0..n)
                    .map(|column| {
                        let sum: f64 = (row.max(column)..n)
                            .map(|m| inverse[m][row] * inverse[m][column])
                            .sum();
                        sum / (self.scales[row] * self.scales[column])
                    })
                    .collect()
            })
            .collect()
    }

    fn r(&self, row: usize, column: usize) -> f64 {
        self.packed[column * self.rows + row]
    }
}

/// Applies the reflection with `head` and `tail` and half its squared length to a vector.
fn reflect(tail: &[f64], head: f64, half: f64, vector: &mut [f64]) {
    let Some((first, others)) = vector.split_first_mut() else {
        return;
    };
    let dot = head * *first + tail.iter().zip(others.iter()).map(|(v, x)| v * x).sum::<f64>();
    let factor = dot / half;
    *first -= factor * head;
    for (value, v) in others.iter_mut().zip(tail) {
        *value -= factor * v;
    }
}

fn norm(values: &[f64]) -> f64 {
    let largest = values.iter().fold(0.0, |most: f64, v| most.max(v.abs()));
    if largest == 0.0 || !largest.is_finite() {
        return values.iter().map(|v| v.abs()).sum();
    }
    largest * values.iter().map(|v| (v / largest).powi(2)).sum::<f64>().sqrt()
}

/// `value` − Σ aᵢ·xᵢ in twice the working precision, rounded once at the end.
///
/// Products by fused multiply-add, sums by Knuth's two-sum: T. Ogita, S. M. Rump, S. Oishi, *SIAM J. Sci.
/// Comput.* 26 (2005) 1955–1988, algorithm 5.3.
pub(super) fn residual(value: f64, products: impl Iterator<Item = (f64, f64)>) -> f64 {
    let mut sum = value;
    let mut lost = 0.0;
    for (a, x) in products {
        let product = -a * x;
        lost += (-a).mul_add(x, -product);
        let next = sum + product;
        let part = next - sum;
        lost += (sum - (next - part)) + (product - part);
        sum = next;
    }
    sum + lost
}
