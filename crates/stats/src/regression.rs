//! Linear regression with known standard deviations: weighted, robust, with noise that observations share
//! and with what was known beforehand.
//!
//! The model is y = X·β + U·γ + ε. The ε are independent with the given standard deviations; γ are standard
//! normal, so that the noise has covariance diag(sd²) + U·Uᵀ. Robustness is Huber's (P. J. Huber, *Ann. Math.
//! Statist.* 35 (1964) 73–101) on the own part ε alone: a value far off loses weight, while an error that all
//! share is carried by γ and never mistaken for an outlier.

mod least_squares;

use least_squares::{Factored, residual};

/// Huber's constant that keeps 95 % efficiency under normal noise (Huber 1964; common in every text since).
pub const HUBER_K: f64 = 1.345;

/// The divisor that turns a median absolute residual into a standard deviation, as usually rounded
/// (W. N. Venables, B. D. Ripley, *Modern Applied Statistics with S*, section 8.3).
const MEDIAN_TO_SD: f64 = 0.6745;

/// What was known of a coefficient beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// Best guess.
    pub mean: f64,
    /// Its standard deviation.
    pub sd: f64,
}

/// Observations of a linear model. Matrices are row by row.
#[derive(Debug, Clone, Copy)]
pub struct Observations<'a> {
    /// One row per observation, as long as there are coefficients.
    pub x: &'a [Vec<f64>],
    /// The observed values.
    pub y: &'a [f64],
    /// Own standard deviation of each.
    pub sd: &'a [f64],
    /// One row per observation, one column per shared error of unit variance; empty where nothing is shared.
    pub shared: &'a [Vec<f64>],
    /// For each coefficient; empty where nothing was known of any.
    pub priors: &'a [Option<Prior>],
}

/// What the given standard deviations mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// They are known.
    Known,
    /// Only their ratios are; the scale is the median absolute residual over 0.6745, found anew at each step.
    MedianResidual,
}

/// How to fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Huber's constant; infinite for plain least squares.
    pub huber_k: f64,
    /// What the standard deviations mean.
    pub scale: Scale,
    /// Steps end once no fitted value moves by more than this part of its standard deviation.
    pub tolerance: f64,
    /// And after so many steps in any case.
    pub most_steps: u32,
}

impl Settings {
    /// Least squares, no robustness.
    pub const PLAIN: Self = Self {
        huber_k: f64::INFINITY,
        scale: Scale::Known,
        tolerance: 0.0,
        most_steps: 1,
    };

    /// Huber's weights at known standard deviations.
    pub const HUBER: Self = Self {
        huber_k: HUBER_K,
        scale: Scale::Known,
        tolerance: 1e-6,
        most_steps: 50,
    };
}

/// A fitted model.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    /// β.
    pub coefficients: Vec<f64>,
    /// Of β, shared errors included; for known standard deviations as they stand, else times the scale squared.
    pub covariance: Vec<Vec<f64>>,
    /// y − X·β.
    pub residuals: Vec<f64>,
    /// y − X·β − U·γ: what is left to each observation alone.
    pub own_residuals: Vec<f64>,
    /// Standard uncertainty of each X·β + U·γ, shared errors cancelling as they do in `own_residuals`.
    pub u_fitted: Vec<f64>,
    /// Huber's weight of each, 0 to 1.
    pub weights: Vec<f64>,
    /// The scale: 1 where the standard deviations are known.
    pub scale: f64,
    /// False where it still moved at the last allowed step.
    pub settled: bool,
}

/// Why there is no fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RegressionError {
    /// Lists of different lengths, or none at all.
    Shape,
    /// A number that is not finite, or a standard deviation that is not positive.
    NotFinite,
    /// The observations do not determine every coefficient.
    Undetermined,
}

impl std::fmt::Display for RegressionError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Shape => "the lists of observations differ in length",
            Self::NotFinite => "a number is not finite, or a standard deviation is not positive",
            Self::Undetermined => "the observations do not determine every coefficient",
        })
    }
}

impl std::error::Error for RegressionError {}

/// Fits by iteratively reweighted least squares, each step by orthogonal reflections.
pub fn fit(observations: &Observations<'_>, settings: &Settings) -> Result<Fitted, RegressionError> {
    let problem = Problem::new(observations)?;
    let mut weights = vec![1.0; problem.n];
    let mut scale = 1.0;
    let mut settled = settings.huber_k.is_infinite() && settings.scale == Scale::Known;
    let mut at = problem.solve(&weights, scale, settled)?;
    let mut own = problem.own_residuals(&at.coefficients);
    for _ in 0..if settled { 0 } else { settings.most_steps } {
        if settings.scale == Scale::MedianResidual {
            scale = problem.median_residual(&own);
        }
        for ((weight, own), sd) in weights.iter_mut().zip(&own).zip(observations.sd) {
            let distance = (own / (sd * scale)).abs();
            // A perfect fit has scale 0 and distance NaN: full weight.
            *weight = if distance > settings.huber_k {
                settings.huber_k / distance
            } else {
                1.0
            };
        }
        if scale == 0.0 {
            settled = true;
            break;
        }
        at = problem.solve(&weights, scale, false)?;
        let next = problem.own_residuals(&at.coefficients);
        let most = next
            .iter()
            .zip(&own)
            .zip(observations.sd)
            .fold(0.0, |most: f64, ((next, own), sd)| {
                most.max(((next - own) / (sd * scale)).abs())
            });
        own = next;
        if most <= settings.tolerance {
            settled = true;
            break;
        }
    }
    if settings.scale == Scale::MedianResidual {
        scale = problem.median_residual(&own);
    }
    Ok(problem.finish(&at, own, weights, scale, settled))
}

struct Problem<'a> {
    given: &'a Observations<'a>,
    n: usize,
    p: usize,
    q: usize,
}

struct Solution {
    /// β, then γ.
    coefficients: Vec<f64>,
    factored: Factored,
}

impl<'a> Problem<'a> {
    fn new(given: &'a Observations<'a>) -> Result<Self, RegressionError> {
        let n = given.y.len();
        let p = given.x.first().map_or(0, Vec::len);
        let q = given.shared.first().map_or(0, Vec::len);
        let same_length = |rows: &[Vec<f64>], width| rows.iter().all(|row| row.len() == width);
        let fits = n > 0
            && p > 0
            && given.x.len() == n
            && given.sd.len() == n
            && same_length(given.x, p)
            && (given.shared.is_empty() || given.shared.len() == n)
            && same_length(given.shared, q)
            && (given.priors.is_empty() || given.priors.len() == p);
        if !fits {
            return Err(RegressionError::Shape);
        }
        let mut rows = given.x.iter().chain(given.shared).flatten().chain(given.y);
        let priors = given.priors.iter().flatten();
        if !rows.all(|v| v.is_finite())
            || !given.sd.iter().all(|sd| sd.is_finite() && *sd > 0.0)
            || !priors
                .clone()
                .all(|prior| prior.mean.is_finite() && prior.sd.is_finite() && prior.sd > 0.0)
        {
            return Err(RegressionError::NotFinite);
        }
        Ok(Self { given, n, p, q })
    }

    /// Least squares on the rows of the observations, one row for each shared error and one for each prior; with
    /// one step of refinement where digits matter more than time. (Reweighting refines by itself.)
    fn solve(&self, weights: &[f64], scale: f64, refine: bool) -> Result<Solution, RegressionError> {
        let priors: Vec<(usize, Prior)> = self
            .given
            .priors
            .iter()
            .enumerate()
            .filter_map(|(k, prior)| prior.map(|prior| (k, prior)))
            .collect();
        let rows = self.n + self.q + priors.len();
        let columns = self.p + self.q;
        let mut matrix = vec![0.0; rows * columns];
        let mut right = vec![0.0; rows];
        let mut factor = vec![1.0; rows];
        for (i, weight) in weights.iter().enumerate() {
            factor[i] = weight.sqrt() / (self.given.sd[i] * scale);
            for (k, value) in self.given.x[i].iter().enumerate() {
                matrix[k * rows + i] = value * factor[i];
            }
            if let Some(shared) = self.given.shared.get(i) {
                for (k, value) in shared.iter().enumerate() {
                    matrix[(self.p + k) * rows + i] = value * factor[i];
                }
            }
            right[i] = self.given.y[i] * factor[i];
        }
        for k in 0..self.q {
            matrix[(self.p + k) * rows + self.n + k] = 1.0;
        }
        for (at, (k, prior)) in priors.iter().enumerate() {
            let row = self.n + self.q + at;
            matrix[k * rows + row] = 1.0 / prior.sd;
            right[row] = prior.mean / prior.sd;
        }
        let factored = Factored::new(matrix, rows, columns).ok_or(RegressionError::Undetermined)?;
        let mut coefficients = factored.solve(&right);
        if !refine {
            return Ok(Solution {
                coefficients,
                factored,
            });
        }
        let mut left = self.exact_residuals(&coefficients);
        for (left, factor) in left.iter_mut().zip(&factor) {
            *left *= factor;
        }
        left.extend(coefficients[self.p..].iter().map(|gamma| -gamma));
        left.extend(
            priors
                .iter()
                .map(|(k, prior)| (prior.mean - coefficients[*k]) / prior.sd),
        );
        for (value, change) in coefficients.iter_mut().zip(factored.solve(&left)) {
            *value += change;
        }
        Ok(Solution {
            coefficients,
            factored,
        })
    }

    fn own_residuals(&self, coefficients: &[f64]) -> Vec<f64> {
        (0..self.n)
            .map(|i| self.given.y[i] - self.row(i).zip(coefficients).map(|(a, c)| a * c).sum::<f64>())
            .collect()
    }

    fn exact_residuals(&self, coefficients: &[f64]) -> Vec<f64> {
        (0..self.n)
            .map(|i| residual(self.given.y[i], self.row(i).zip(coefficients.iter().copied())))
            .collect()
    }

    /// The i-th row of [X U].
    fn row(&self, i: usize) -> impl Iterator<Item = f64> {
        let shared = self.given.shared.get(i).into_iter().flatten();
        self.given.x[i].iter().chain(shared).copied()
    }

    fn median_residual(&self, own: &[f64]) -> f64 {
        let mut sizes: Vec<f64> = own
            .iter()
            .zip(self.given.sd)
            .map(|(r, sd)| (r / sd).abs())
            .collect();
        sizes.sort_by(f64::total_cmp);
        let upper = sizes[self.n / 2];
        let lower = sizes[(self.n - 1) / 2];
        f64::midpoint(lower, upper) / MEDIAN_TO_SD
    }

    fn finish(&self, at: &Solution, own: Vec<f64>, weights: Vec<f64>, scale: f64, settled: bool) -> Fitted {
        let full = at.factored.covariance();
        let u_fitted = (0..self.n)
            .map(|i| {
                let row: Vec<f64> = self.row(i).collect();
                let variance: f64 = full
                    .iter()
                    .zip(&row)
                    .map(|(line, a)| a * line.iter().zip(&row).map(|(c, b)| c * b).sum::<f64>())
                    .sum();
                variance.max(0.0).sqrt()
            })
            .collect();
        let residuals = (0..self.n)
            .map(|i| {
                let products = self.given.x[i]
                    .iter()
                    .copied()
                    .zip(at.coefficients.iter().copied());
                residual(self.given.y[i], products)
            })
            .collect();
        Fitted {
            coefficients: at.coefficients[..self.p].to_vec(),
            covariance: full[..self.p].iter().map(|row| row[..self.p].to_vec()).collect(),
            residuals,
            own_residuals: own,
            u_fitted,
            weights,
            scale,
            settled,
        }
    }
}

#[cfg(test)]
mod tests;
