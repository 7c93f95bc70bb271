//! A side-by-side fit as a curve: its value, slope and standard uncertainty at any v.

use undim_model::{Fit, FitModel};

/// How many parameters the widest form has: a, b, c and the knot.
const PARAMETERS: usize = 4;

/// A share of the distance to the end of `over` that is added to u beyond it (formats, section 10).
const BEYOND_SHARE: f64 = 0.1;

/// Every form of fit, seen as `a + b·v + c·max(0, v − knot)`: `offset` has b = 1 and `gain` a = 0, known
/// exactly; `offset`, `gain` and `line` have no knot.
///
/// Each branch is straight, so the tangent at an end of `over` is the branch that ends there, drawn on.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Curve {
    a: f64,
    b: f64,
    c: f64,
    knot: Option<f64>,
    /// Of (a, b, c, knot); zero for what the form does not have.
    covariance: [[f64; PARAMETERS]; PARAMETERS],
    over: Option<[f64; 2]>,
    /// Where it is not, a distance in v becomes µmol m⁻² s⁻¹ by the slope.
    v_is_micromol: bool,
}

/// What a curve gives at one v.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Point {
    /// On the reference's scale, µmol m⁻² s⁻¹.
    pub(crate) value: f64,
    /// d value / d v.
    pub(crate) slope: f64,
    /// Standard uncertainty from the fit alone, k = 1.
    pub(crate) u: f64,
    /// True where v lies outside `over`.
    pub(crate) beyond: bool,
}

impl Curve {
    /// `None` where the coefficients are not as many as the form has. `v_is_micromol` tells whether v, the
    /// value after the factors, is in µmol m⁻² s⁻¹.
    pub(crate) fn new(fit: &Fit, v_is_micromol: bool) -> Option<Self> {
        let (a, b, c, knot, places): (f64, f64, f64, Option<f64>, &[usize]) =
            match (fit.model, fit.coefficients.as_slice()) {
                (FitModel::Offset, &[a]) => (a, 1.0, 0.0, None, &[0]),
                (FitModel::Gain, &[b]) => (0.0, b, 0.0, None, &[1]),
                (FitModel::Line, &[a, b]) => (a, b, 0.0, None, &[0, 1]),
                (FitModel::Hinge { knot }, &[a, b, c]) => (a, b, c, Some(knot), &[0, 1, 2, 3]),
                _ => return None,
            };
        // A 3 × 3 covariance of a hinge leaves the knot's row at zero: the knot is taken as exact.
        let mut covariance = [[0.0; PARAMETERS]; PARAMETERS];
        for (row, &to_row) in fit.covariance.iter().zip(places) {
            for (&entry, &to_column) in row.iter().zip(places) {
                covariance[to_row][to_column] = entry;
            }
        }
        Some(Self {
            a,
            b,
            c,
            knot,
            covariance,
            over: fit.over,
            v_is_micromol,
        })
    }

    /// Value, slope and uncertainty at v.
    ///
    /// u² = gᵀ·C·g with g the gradient in the coefficients (JCGM 100:2008, 5.2.2, equation 13; H.3.4 for a
    /// line). Beyond `over` the nearest end's tangent is taken, g along it, and a tenth of the distance to
    /// that end, in v, is added to u.
    pub(crate) fn at(&self, v: f64) -> Point {
        let (anchor, outward) = self.nearest_in_span(v);
        let upper = self.is_upper(anchor);
        let slope = if upper { self.b + self.c } else { self.b };
        let rise = if upper { v - self.knot.unwrap_or(v) } else { 0.0 };
        let distance = if outward == 0.0 { 0.0 } else { (v - anchor).abs() };
        let per_v = if self.v_is_micromol { 1.0 } else { slope.abs() };
        Point {
            value: self.a + self.b * v + self.c * rise,
            slope,
            u: self.u_along(self.gradient(v, upper)) + BEYOND_SHARE * distance * per_v,
            beyond: outward != 0.0,
        }
    }

    /// The nearest v inside `over`, and on which side of it v lies: −1 below, 0 inside, 1 above.
    fn nearest_in_span(&self, v: f64) -> (f64, f64) {
        match self.over {
            Some([low, _]) if v < low => (low, -1.0),
            Some([_, high]) if v > high => (high, 1.0),
            _ => (v, 0.0),
        }
    }

    /// True where the branch above the knot holds at `anchor`. At a knot it is the branch inside `over`:
    /// the upper one only where `over` begins there.
    fn is_upper(&self, anchor: f64) -> bool {
        let Some(knot) = self.knot else { return false };
        let over_begins_here = self.over.is_some_and(|[low, high]| low == anchor && low < high);
        anchor > knot || (anchor == knot && over_begins_here)
    }

    /// ∂ value / ∂ (a, b, c, knot) along one branch.
    fn gradient(&self, v: f64, upper: bool) -> [f64; PARAMETERS] {
        match self.knot {
            Some(knot) if upper => [1.0, v, v - knot, -self.c],
            _ => [1.0, v, 0.0, 0.0],
        }
    }

    fn u_along(&self, gradient: [f64; PARAMETERS]) -> f64 {
        let mut variance = 0.0;
        for (row, along) in self.covariance.iter().zip(gradient) {
            for (entry, across) in row.iter().zip(gradient) {
                variance += along * entry * across;
            }
        }
        // Rounding can leave a hair below zero where coefficients are fully correlated.
        variance.max(0.0).sqrt()
    }
}

#[cfg(test)]
mod tests;
