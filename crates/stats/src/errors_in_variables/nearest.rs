//! A curve, and its point nearest to a pair.

use super::Pair;

/// y = a + b·x + c·max(0, x − knot); straight where c is 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    /// Value at 0 of the part below the knot.
    pub a: f64,
    /// Slope below the knot.
    pub b: f64,
    /// Change of slope at the knot.
    pub c: f64,
    /// Where it bends.
    pub knot: f64,
}

impl Curve {
    /// Its value.
    pub fn at(&self, x: f64) -> f64 {
        self.a + self.b * x + self.c * (x - self.knot).max(0.0)
    }

    /// Its slope; at the knot the one below.
    pub fn slope(&self, x: f64) -> f64 {
        if x > self.knot { self.b + self.c } else { self.b }
    }

    pub(super) fn numbers(&self) -> [f64; 4] {
        [self.a, self.b, self.c, self.knot]
    }

    pub(super) fn from_numbers([a, b, c, knot]: [f64; 4]) -> Self {
        Self { a, b, c, knot }
    }

    /// ∂y/∂(a, b, c, knot).
    pub(super) fn slopes(&self, x: f64) -> [f64; 4] {
        if x > self.knot {
            [1.0, x, x - self.knot, -self.c]
        } else {
            [1.0, x, 0.0, 0.0]
        }
    }
}

/// Where the nearest point lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Foot {
    /// On a straight part: the pair's misfit in y at its own x, counted from the line that this part lies on, and
    /// the variance of that misfit.
    Straight { misfit: f64, variance: f64 },
    /// At the knot itself.
    Knot,
}

/// The nearest point of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Nearest {
    /// Its x: York's adjusted point.
    pub(super) x: f64,
    /// Squared distance in the pair's uncertainties.
    pub(super) squared: f64,
    pub(super) foot: Foot,
}

/// York et al. 2004 for each straight part; where its foot lies beyond the knot, the knot is the part's nearest.
pub(super) fn nearest(curve: &Curve, pair: &Pair) -> Nearest {
    if curve.c == 0.0 {
        return on_line(curve.a, curve.b, pair);
    }
    let below = on_line(curve.a, curve.b, pair);
    let above = on_line(curve.a - curve.c * curve.knot, curve.b + curve.c, pair);
    let mut best: Option<Nearest> = None;
    for (part, is_inside) in [(below, below.x <= curve.knot), (above, above.x > curve.knot)] {
        if is_inside && best.is_none_or(|best| part.squared < best.squared) {
            best = Some(part);
        }
    }
    // Where a part's own foot counts, the knot can't be nearer than it on that part, and where both do it is on neither.
    if below.x <= curve.knot && above.x > curve.knot {
        return best.unwrap_or(below);
    }
    let knot = at_knot(curve, pair);
    match best {
        Some(best) if best.squared <= knot.squared => best,
        _ => knot,
    }
}

fn on_line(a: f64, b: f64, pair: &Pair) -> Nearest {
    let together = pair.correlation * pair.u_x * pair.u_y;
    let variance = (pair.u_y * pair.u_y + b * b * pair.u_x * pair.u_x - 2.0 * b * together)
        .max(f64::MIN_POSITIVE / f64::EPSILON);
    let misfit = pair.y - a - b * pair.x;
    Nearest {
        x: pair.x + (b * pair.u_x * pair.u_x - together) * misfit / variance,
        squared: misfit * misfit / variance,
        foot: Foot::Straight { misfit, variance },
    }
}

fn at_knot(curve: &Curve, pair: &Pair) -> Nearest {
    let y = curve.a + curve.b * curve.knot;
    let squared = match precision(pair) {
        Some([xx, xy, yy]) => {
            let (dx, dy) = (pair.x - curve.knot, pair.y - y);
            xx * dx * dx + 2.0 * xy * dx * dy + yy * dy * dy
        }
        None => f64::INFINITY,
    };
    Nearest {
        x: curve.knot,
        squared,
        foot: Foot::Knot,
    }
}

/// The inverse of the pair's covariance, as xx, xy, yy; `None` where one variable is exact.
pub(super) fn precision(pair: &Pair) -> Option<[f64; 3]> {
    if pair.u_x == 0.0 || pair.u_y == 0.0 {
        return None;
    }
    let rest = 1.0 - pair.correlation * pair.correlation;
    Some([
        1.0 / (pair.u_x * pair.u_x * rest),
        -pair.correlation / (pair.u_x * pair.u_y * rest),
        1.0 / (pair.u_y * pair.u_y * rest),
    ])
}
