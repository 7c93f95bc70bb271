//! Straight and bent lines through pairs with errors in both variables.
//!
//! A pair is one measured point (x, y) with standard uncertainties of both and their correlation. A fit is the
//! curve that has the least sum of squared distances χ² to the pairs, each distance in its own pair's
//! uncertainties: D. York, N. M. Evensen, M. López Martínez, J. De Basabe Delgado, *Am. J. Phys.* 72 (2004)
//! 367–375, equations 1 to 13, and the same principle for a line that bends once. For straight lines without
//! errors in x it is weighted least squares.
//!
//! Five kinds of standard error are in circulation for one such fit. Given here is that of York et al. 2004
//! (equation 13d and the text below it): the inverse of the normal matrix at the *adjusted* points, uncertainties
//! taken as they are stated and not scaled by χ²/(n − p).

mod nearest;
mod search;
mod small;

pub use nearest::Curve;

use nearest::nearest;

/// One measured point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// The first variable.
    pub x: f64,
    /// The second.
    pub y: f64,
    /// Standard uncertainty of x, from 0.
    pub u_x: f64,
    /// Standard uncertainty of y, from 0; one of the two is positive.
    pub u_y: f64,
    /// Correlation of the two errors, between −1 and 1, both excluded.
    pub correlation: f64,
}

/// The form of a curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Form {
    /// y = x + a.
    Offset,
    /// y = b·x.
    Gain,
    /// y = a + b·x.
    Line,
    /// y = a + b·x + c·max(0, x − knot).
    Hinge,
}

impl Form {
    /// The simplest first.
    pub const ALL: [Self; 4] = [Self::Offset, Self::Gain, Self::Line, Self::Hinge];

    /// How many numbers are fitted, the knot among them.
    pub fn parameters(self) -> usize {
        match self {
            Self::Offset | Self::Gain => 1,
            Self::Line => 2,
            Self::Hinge => 4,
        }
    }

    /// Which of a, b, c, knot are fitted.
    fn free(self) -> &'static [usize] {
        match self {
            Self::Offset => &[0],
            Self::Gain => &[1],
            Self::Line => &[0, 1],
            Self::Hinge => &[0, 1, 2, 3],
        }
    }
}

/// A fitted curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    /// Its form.
    pub form: Form,
    /// The curve.
    pub curve: Curve,
    /// Of what was fitted, in the order a, b, c, knot; York et al. 2004, unscaled.
    pub covariance: Vec<Vec<f64>>,
    /// Sum of squared distances.
    pub chi2: f64,
    /// Pairs less fitted numbers.
    pub dof: usize,
}

impl Fitted {
    /// What was fitted but the knot: a · b · a, b · a, b, c.
    pub fn coefficients(&self) -> Vec<f64> {
        let all = self.curve.numbers();
        (self.form.free().iter())
            .filter(|place| **place < 3)
            .map(|place| all[*place])
            .collect()
    }

    /// Standard uncertainty of the curve at an exact x (JCGM 100:2008, 5.2.2; for a line, H.3.5).
    pub fn u_at(&self, x: f64) -> f64 {
        let slopes = self.curve.slopes(x);
        let free = self.form.free();
        let variance: f64 = (free.iter().zip(&self.covariance))
            .map(|(row, line)| {
                let sum: f64 = (free.iter().zip(line)).map(|(at, c)| slopes[*at] * c).sum();
                slopes[*row] * sum
            })
            .sum();
        variance.max(0.0).sqrt()
    }

    /// The distance of a pair in its own uncertainties, signed: positive where y lies above the curve.
    pub fn distance(&self, pair: &Pair) -> f64 {
        let near = nearest(&self.curve, pair);
        near.squared
            .max(0.0)
            .sqrt()
            .copysign(pair.y - self.curve.at(pair.x))
    }

    /// The corrected Akaike criterion for stated uncertainties, up to what all curves share:
    /// χ² + 2p + 2p(p + 1)/(n − p − 1) (C. M. Hurvich, C.-L. Tsai, *Biometrika* 76 (1989) 297–307); `None` where too
    /// few pairs are left for the correction.
    pub fn aicc(&self) -> Option<f64> {
        let p = self.form.parameters() as f64;
        let left = self.dof as f64 - 1.0;
        (left > 0.0).then(|| self.chi2 + 2.0 * p + 2.0 * p * (p + 1.0) / left)
    }

    /// The same where only the ratios of the uncertainties are known: n ln(χ²/n) and one number more, the scale.
    pub fn aicc_unknown_scale(&self) -> Option<f64> {
        let p = self.form.parameters() as f64 + 1.0;
        let n = (self.dof + self.form.parameters()) as f64;
        let left = n - p - 1.0;
        // A perfect fit would be −∞; below rounding all fits are alike.
        let mean = (self.chi2 / n).max(1e-20);
        (left > 0.0).then(|| n * mean.ln() + 2.0 * p + 2.0 * p * (p + 1.0) / left)
    }
}

/// Why there is no fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FitError {
    /// A number that is not finite, an uncertainty below 0 or both 0, a correlation of 1 or more.
    NotUsable,
    /// Fewer pairs than numbers to be fitted.
    TooFew,
    /// The pairs do not determine every number, as where all lie at one x.
    Undetermined,
}

impl std::fmt::Display for FitError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::NotUsable => "a pair has a number that is not finite, or no uncertainty at all",
            Self::TooFew => "there are fewer pairs than numbers to be fitted",
            Self::Undetermined => "the pairs do not determine every number of this form",
        })
    }
}

impl std::error::Error for FitError {}

/// Fits a curve of this form.
pub fn fit(pairs: &[Pair], form: Form) -> Result<Fitted, FitError> {
    fit_weighted(pairs, &[], form)
}

/// Fits from a curve that is nearly right already, as when one pair of many is left out; the knot moves only
/// downhill from where it is.
pub fn fit_from(pairs: &[Pair], form: Form, start: Curve) -> Result<Fitted, FitError> {
    usable(pairs, &[], form)?;
    search::descend(pairs, &[], form, start).ok_or(FitError::Undetermined)
}

/// A fit that a few wild pairs can't move: Huber's weights on the distances (P. J. Huber, *Ann. Math. Statist.* 35
/// (1964) 73–101), then Tukey's biweight (A. E. Beaton, J. W. Tukey, *Technometrics* 16 (1974) 147–185), which gives
/// them none. Distances are taken in units of `scale` times the stated uncertainties; `None` finds the scale from
/// the median distance, never below 1.
pub fn fit_robust(pairs: &[Pair], form: Form, scale: Option<f64>) -> Result<Fitted, FitError> {
    usable(pairs, &[], form)?;
    search::robust(pairs, form, scale).ok_or(FitError::Undetermined)
}

fn fit_weighted(pairs: &[Pair], weights: &[f64], form: Form) -> Result<Fitted, FitError> {
    usable(pairs, weights, form)?;
    search::best(pairs, weights, form).ok_or(FitError::Undetermined)
}

fn usable(pairs: &[Pair], weights: &[f64], form: Form) -> Result<(), FitError> {
    let is_usable = |pair: &Pair| {
        [pair.x, pair.y, pair.u_x, pair.u_y, pair.correlation]
            .iter()
            .all(|number| number.is_finite() && number.abs() < 1e100)
            && pair.u_x >= 0.0
            && pair.u_y >= 0.0
            && (pair.u_x > 0.0 || pair.u_y > 0.0)
            && pair.correlation.abs() < 1.0
    };
    if !pairs.iter().all(is_usable) {
        return Err(FitError::NotUsable);
    }
    let counted = pairs.len() - weights.iter().filter(|weight| **weight == 0.0).count();
    if counted < form.parameters() {
        return Err(FitError::TooFew);
    }
    Ok(())
}

#[cfg(test)]
mod tests;
