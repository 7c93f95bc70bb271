//! Whether a curve holds at all, and what must be allowed for where it does not.

use undim_stats::errors_in_variables::{Curve, Fitted, Form, Pair};
use undim_stats::regression::{self, Observations, Settings};

/// Beyond this many standard deviations the scatter is larger than stated.
const FAR: f64 = 3.0;
/// What a step costs in the criterion, its size and its place, which is searched. Settled by simulation, so that the 95 %
/// intervals hold for a device that jumps and stay near 95 % for one that does not (`tests/side_by_side.rs`); between
/// the 4 of two free numbers and the 8 of Y. Ninomiya, *Ann. Inst. Stat. Math.* 67 (2015) 943–961.
const COST_OF_A_STEP: f64 = 4.5;
/// An allowance of the largest difference over this covers it with 95 % as well.
const LARGEST_OVER: f64 = 1.6;
/// Of a gain, whose allowance is in parts of the value, the dimmest part of the span does not count.
const PART_OF_GAIN: f64 = 0.9;
/// A jump is told in words from this advantage on.
const SAID_FROM: f64 = 4.0;
/// Pairs on either side of a step.
const PAIRS_A_SIDE: usize = 3;
/// Places where a step is tried.
const MOST_STEPS: usize = 60;

/// What the device does beside a curve.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Lack {
    /// Its standard uncertainty, in the reference's unit; for a gain in parts of the value. 0 where nothing shows.
    pub u: f64,
    /// Where the device jumps and by how much, if that is told better by the pairs than any curve.
    pub step: Option<Step>,
}

/// A jump of a device.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The device's value where it lies.
    pub at: f64,
    /// How much more must be added above than below, in the reference's unit.
    pub size: f64,
    /// χ² that it saves.
    pub saves: f64,
}

/// The scatter of pairs about a curve in units of their stated uncertainties, from differences between neighbours along
/// it, which a curve that does not hold hardly moves; and whether it is larger than stated beyond chance.
/// J. von Neumann, R. H. Kent, H. R. Bellinson, B. I. Hart, *Ann. Math. Statist.* 12 (1941) 153–162: the mean square
/// successive difference, its variance (3n − 4)/(n − 1)² times σ⁴ for half of it.
pub(super) fn scatter(fitted: &Fitted, pairs: &[Pair]) -> (f64, bool) {
    let mut distances: Vec<(f64, f64)> = (pairs.iter())
        .map(|pair| (pair.x, fitted.distance(pair)))
        .collect();
    distances.sort_by(|one, other| one.0.total_cmp(&other.0));
    let n = distances.len() as f64;
    let steps = distances.iter().zip(distances.iter().skip(1));
    let sum: f64 = steps.map(|(one, other)| (other.1 - one.1).powi(2)).sum();
    let taken = n / (n - fitted.form.parameters() as f64).max(1.0);
    let square = taken * sum / (2.0 * (n - 1.0).max(1.0));
    let sd = (3.0 * n - 4.0).max(1.0).sqrt() / (n - 1.0).max(1.0);
    (square.sqrt(), square > 1.0 + FAR * sd)
}

/// Sets the curve against the same straight forms with a step anywhere, which no continuous curve can follow.
///
/// The two are weighed by their corrected criteria, more sharply than Akaike weights (K. P. Burnham, D. R. Anderson,
/// *Model Selection and Multimodel Inference*, 2nd ed., 2002, section 2.9), and the curve's variance is widened by what
/// they differ, times the weight of the step: next to nothing where a step explains nothing, all of it where it
/// explains much.
pub(super) fn lack_of_fit(fitted: &Fitted, pairs: &[Pair], scale: f64) -> Lack {
    let none = Lack::default();
    let scale = if scale > 0.0 { scale } else { return none };
    let Some(best) = stepped(fitted, pairs, scale) else {
        return none;
    };
    let is_gain = fitted.form == Form::Gain;
    let mut sizes: Vec<f64> = (best.grid.iter())
        .map(|at| {
            let size = if is_gain {
                at.abs().max(f64::MIN_POSITIVE)
            } else {
                1.0
            };
            ((best.value(*at) - fitted.curve.at(*at)) / size).abs()
        })
        .collect();
    sizes.sort_by(f64::total_cmp);
    if is_gain {
        sizes.truncate((sizes.len() as f64 * PART_OF_GAIN) as usize);
    }
    let squares: f64 = sizes.iter().map(|size| size * size).sum();
    let mean = (squares / sizes.len().max(1) as f64).sqrt();
    let largest = sizes.last().copied().unwrap_or(0.0);
    let advantage = best.advantage;
    let weight = 1.0 / (1.0 + (-advantage).exp());
    let u = weight.sqrt() * mean.max(largest / LARGEST_OVER);
    Lack {
        u: if u.is_finite() { u } else { 0.0 },
        step: (advantage > SAID_FROM).then_some(Step {
            at: best.at,
            size: best.size,
            saves: best.saves,
        }),
    }
}

struct Stepped {
    at: f64,
    size: f64,
    below: Curve,
    saves: f64,
    /// Of the corrected criterion.
    advantage: f64,
    grid: Vec<f64>,
}

impl Stepped {
    fn value(&self, x: f64) -> f64 {
        self.below.at(x) + if x > self.at { self.size } else { 0.0 }
    }
}

/// The best straight form with a step: weighted least squares, x's uncertainty through the slope.
fn stepped(fitted: &Fitted, pairs: &[Pair], scale: f64) -> Option<Stepped> {
    let mut sorted: Vec<&Pair> = pairs.iter().collect();
    sorted.sort_by(|one, other| one.x.total_cmp(&other.x));
    let n = sorted.len();
    let sd: Vec<f64> = (sorted.iter())
        .map(|pair| {
            let slope = fitted.curve.slope(pair.x);
            let variance = pair.u_y * pair.u_y + (slope * pair.u_x).powi(2)
                - 2.0 * slope * pair.correlation * pair.u_x * pair.u_y;
            variance.max(f64::MIN_POSITIVE).sqrt() * scale
        })
        .collect();
    let places: Vec<usize> = (PAIRS_A_SIDE..=n.saturating_sub(PAIRS_A_SIDE))
        .filter(|place| sorted[place - 1].x < sorted[*place].x)
        .collect();
    let every = places.len().div_ceil(MOST_STEPS).max(1);
    let criterion = |chi2: f64, p: f64, cost: f64| {
        let left = n as f64 - p - 1.0;
        (left > 0.0).then(|| chi2 + cost + 2.0 * p * (p + 1.0) / left)
    };
    let numbers = fitted.form.parameters() as f64;
    let chi2 = fitted.chi2 / (scale * scale);
    let own = criterion(chi2, numbers, 2.0 * numbers)?;
    let (low, high) = (sorted.first()?.x, sorted.last()?.x);
    let mut best: Option<Stepped> = None;
    for form in [Form::Offset, Form::Gain, Form::Line] {
        for place in places.iter().step_by(every) {
            let at = f64::midpoint(sorted[place - 1].x, sorted[*place].x);
            let rows: Vec<Vec<f64>> = (sorted.iter())
                .map(|pair| {
                    let step = if pair.x > at { 1.0 } else { 0.0 };
                    match form {
                        Form::Offset => vec![1.0, step],
                        Form::Gain => vec![pair.x, step],
                        _ => vec![1.0, pair.x, step],
                    }
                })
                .collect();
            let less = if form == Form::Offset { 1.0 } else { 0.0 };
            let y: Vec<f64> = sorted.iter().map(|pair| pair.y - less * pair.x).collect();
            let observations = Observations {
                x: &rows,
                y: &y,
                sd: &sd,
                shared: &[],
                priors: &[],
            };
            let Ok(found) = regression::fit(&observations, &Settings::PLAIN) else {
                continue;
            };
            let stepped_chi2: f64 = found
                .residuals
                .iter()
                .zip(&sd)
                .map(|(r, sd)| (r / sd).powi(2))
                .sum();
            let base = form.parameters() as f64;
            let Some(criterion) = criterion(stepped_chi2, base + 2.0, 2.0 * base + COST_OF_A_STEP) else {
                continue;
            };
            if best
                .as_ref()
                .is_some_and(|best| best.advantage >= own - criterion)
            {
                continue;
            }
            let c = &found.coefficients;
            let (a, b, size) = match (form, c.as_slice()) {
                (Form::Offset, &[a, size]) => (a, 1.0, size),
                (Form::Gain, &[b, size]) => (0.0, b, size),
                (_, &[a, b, size]) => (a, b, size),
                _ => continue,
            };
            best = Some(Stepped {
                at,
                size,
                below: Curve {
                    a,
                    b,
                    c: 0.0,
                    knot: 0.0,
                },
                saves: chi2 - stepped_chi2,
                advantage: own - criterion,
                grid: (0..50)
                    .map(|i| low + (high - low) * (f64::from(i) + 0.5) / 50.0)
                    .collect(),
            });
        }
    }
    best
}
