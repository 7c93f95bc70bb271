//! The least sum of squares: Gauss–Newton steps on the adjusted points, damped where they climb (D. W. Marquardt,
//! *J. Soc. Ind. Appl. Math.* 11 (1963) 431–441), and for a bent line a search for the knot first.

use super::nearest::{Foot, nearest, precision};
use super::small::{Square, inverse, times};
use super::{Curve, Fitted, Form, Pair};

/// Steps end once none moves a number by more than this part of its standard uncertainty.
const TOLERANCE: f64 = 1e-12;
const MOST_STEPS: u32 = 500;
/// Places where a knot is tried.
const MOST_KNOTS: usize = 40;
/// Steps at a knot that is only tried.
const TRIAL_STEPS: u32 = 6;
/// The best of those tried that are followed to their end: near each x a bent line may have a valley of its own. While
/// weights still change, fewer will do.
const FOLLOWED: usize = 12;
const FOLLOWED_WHILE_ROBUST: usize = 3;
/// Different places that must lie on either side of a knot.
const PAIRS_A_SIDE: usize = 3;
/// Huber's and Tukey's constants for 95 % efficiency under normal noise (Huber 1964; Beaton & Tukey 1974).
const HUBER: f64 = 1.345;
const TUKEY: f64 = 4.685;
const ROBUST_ROUNDS: u32 = 25;

/// What is asked of the curve: pairs, the weight of each (empty: 1), and which numbers move.
struct Problem<'a> {
    pairs: &'a [Pair],
    weights: &'a [f64],
    free: &'a [usize],
    /// The value is held at this x rather than at 0, which keeps offset and slope apart.
    middle: f64,
    /// Between these the knot may move.
    knots: [f64; 2],
}

impl<'a> Problem<'a> {
    fn new(pairs: &'a [Pair], weights: &'a [f64], free: &'a [usize]) -> Self {
        let has_both = free.contains(&0) && free.contains(&1);
        let middle = if has_both { middle(pairs, weights) } else { 0.0 };
        let mut knots = [f64::NEG_INFINITY, f64::INFINITY];
        if free.contains(&3) {
            let sorted = distinct_x(pairs, weights);
            let inner = |place: usize| sorted.get(place).copied();
            if let (Some(low), Some(high)) = (
                inner(PAIRS_A_SIDE - 1),
                sorted.len().checked_sub(PAIRS_A_SIDE).and_then(inner),
            ) && low < high
            {
                knots = [low, high];
            }
        }
        Self {
            pairs,
            weights,
            free,
            middle,
            knots,
        }
    }

    fn weight(&self, place: usize) -> f64 {
        self.weights.get(place).copied().unwrap_or(1.0)
    }

    fn sum(&self, curve: &Curve) -> f64 {
        (self.pairs.iter().enumerate())
            .map(|(place, pair)| match self.weight(place) {
                0.0 => 0.0,
                weight => weight * nearest(curve, pair).squared,
            })
            .sum()
    }

    /// The normal matrix and the right side of a Gauss–Newton step, in the numbers that move.
    fn normal(&self, curve: &Curve) -> (Square, [f64; 4]) {
        let n = self.free.len();
        let mut matrix = [[0.0; 4]; 4];
        let mut right = [0.0; 4];
        let mut add = |slopes: [f64; 4], other: [f64; 4], factor: f64, misfit: f64| {
            for i in 0..n {
                right[i] += factor * slopes[i] * misfit;
                for j in 0..n {
                    matrix[i][j] += factor * slopes[i] * other[j];
                }
            }
        };
        for (place, pair) in self.pairs.iter().enumerate() {
            let weight = self.weight(place);
            if weight == 0.0 {
                continue;
            }
            let near = nearest(curve, pair);
            match near.foot {
                Foot::Straight { misfit, variance } => {
                    let slopes = self.moving(self.slopes(curve, near.x));
                    add(slopes, slopes, weight / variance, misfit);
                }
                Foot::Knot => {
                    // The foot moves with the knot in x and along the curve below it in y.
                    let Some([xx, xy, yy]) = precision(pair) else {
                        continue;
                    };
                    let in_x = self.moving([0.0, 0.0, 0.0, 1.0]);
                    let in_y = self.moving([1.0, curve.knot - self.middle, 0.0, curve.b]);
                    let dx = pair.x - curve.knot;
                    let dy = pair.y - curve.a - curve.b * curve.knot;
                    add(in_x, in_x, weight * xx, dx);
                    add(in_y, in_y, weight * yy, dy);
                    add(in_x, in_y, weight * xy, dy);
                    add(in_y, in_x, weight * xy, dx);
                }
            }
        }
        (matrix, right)
    }

    fn slopes(&self, curve: &Curve, x: f64) -> [f64; 4] {
        let [a, b, c, knot] = curve.slopes(x);
        [a, b - self.middle, c, knot]
    }

    fn moving(&self, all: [f64; 4]) -> [f64; 4] {
        let mut moving = [0.0; 4];
        for (to, place) in moving.iter_mut().zip(self.free) {
            *to = all[*place];
        }
        moving
    }

    fn stepped(&self, curve: &Curve, step: &[f64]) -> Curve {
        let mut numbers = curve.numbers();
        for (place, step) in self.free.iter().zip(step) {
            numbers[*place] += step;
            if *place == 1 && self.middle != 0.0 {
                numbers[0] -= step * self.middle;
            }
        }
        numbers[3] = numbers[3].clamp(self.knots[0], self.knots[1]);
        Curve::from_numbers(numbers)
    }

    /// Downhill to the end, or for so many steps; the curve and its sum of squares.
    fn descend(&self, start: Curve, most_steps: u32) -> Option<(Curve, f64)> {
        let n = self.free.len();
        let mut curve = start;
        let mut sum = self.sum(&curve);
        let mut damping = 0.0;
        for _ in 0..most_steps {
            let (matrix, right) = self.normal(&curve);
            let mut damped = matrix;
            for (i, row) in damped.iter_mut().enumerate() {
                row[i] *= 1.0 + damping;
            }
            let Some(inverse) = inverse(&damped, n) else {
                if damping > 1e6 {
                    return None;
                }
                damping = f64::max(damping * 10.0, 1e-3);
                continue;
            };
            let step = times(&inverse, &right, n);
            let next = self.stepped(&curve, &step);
            let next_sum = self.sum(&next);
            let moved = (step.iter().enumerate().take(n))
                .map(|(i, step)| step.abs() / inverse[i][i].sqrt())
                .fold(0.0, f64::max);
            // At the end sums differ by rounding only.
            if next_sum <= sum * (1.0 + 1e-14) {
                curve = next;
                sum = next_sum;
                damping = if damping < 1e-6 { 0.0 } else { damping / 10.0 };
                if moved <= TOLERANCE {
                    break;
                }
            } else if damping > 1e10 || moved <= TOLERANCE {
                break;
            } else {
                damping = f64::max(damping * 10.0, 1e-4);
            }
        }
        (sum.is_finite() && curve.numbers().iter().all(|number| number.is_finite())).then_some((curve, sum))
    }

    /// With the covariance at a, from the one at the middle.
    fn finish(&self, form: Form, curve: Curve, sum: f64) -> Option<Fitted> {
        let (matrix, _) = self.normal(&curve);
        let n = self.free.len();
        let mut covariance = inverse(&matrix, n)?;
        if self.middle != 0.0 {
            // a = value at the middle − b · middle.
            for row in &mut covariance {
                row[0] -= self.middle * row[1];
            }
            let [value, slope, ..] = &mut covariance;
            for (cell, of_slope) in value.iter_mut().zip(slope) {
                *cell -= self.middle * *of_slope;
            }
            // Exactly symmetric again.
            let first = covariance.map(|row| row[0]);
            covariance[0] = first;
        }
        let covariance: Vec<Vec<f64>> = covariance[..n].iter().map(|row| row[..n].to_vec()).collect();
        let counted = (0..self.pairs.len())
            .filter(|place| self.weight(*place) > 0.0)
            .count();
        let is_finite = covariance.iter().flatten().all(|number| number.is_finite());
        (is_finite && sum.is_finite()).then(|| Fitted {
            form,
            curve,
            covariance,
            chi2: sum,
            dof: counted.saturating_sub(form.parameters()),
        })
    }
}

/// From a start of one's own.
pub(super) fn descend(pairs: &[Pair], weights: &[f64], form: Form, start: Curve) -> Option<Fitted> {
    let problem = Problem::new(pairs, weights, form.free());
    let (curve, sum) = problem.descend(start, MOST_STEPS)?;
    problem.finish(form, curve, sum)
}

/// The best curve of a form.
pub(super) fn best(pairs: &[Pair], weights: &[f64], form: Form) -> Option<Fitted> {
    if form != Form::Hinge {
        return descend(pairs, weights, form, straight_start(pairs, weights, form));
    }
    let tried = Problem::new(pairs, weights, &[0, 1, 2]);
    let start = straight_start(pairs, weights, Form::Line);
    let mut found: Vec<(f64, Curve)> = knots(pairs, weights)
        .into_iter()
        .filter_map(|knot| {
            let (curve, sum) = tried.descend(Curve { knot, ..start }, TRIAL_STEPS)?;
            Some((sum, curve))
        })
        .collect();
    found.sort_by(|one, other| one.0.total_cmp(&other.0));
    let ends = found.iter().take(if weights.is_empty() {
        FOLLOWED
    } else {
        FOLLOWED_WHILE_ROBUST
    });
    ends.filter_map(|(_, curve)| descend(pairs, weights, form, *curve))
        .min_by(|one, other| one.chi2.total_cmp(&other.chi2))
}

/// Huber's weights until they rest, then Tukey's.
pub(super) fn robust(pairs: &[Pair], form: Form, scale: Option<f64>) -> Option<Fitted> {
    let mut weights = vec![1.0; pairs.len()];
    let mut fitted: Option<Fitted> = None;
    for round in 0..ROBUST_ROUNDS {
        let next = match (&fitted, form) {
            // The knot is searched anew while the wild pairs lose their weight.
            (Some(last), _) if form != Form::Hinge || round % 4 != 0 => {
                descend(pairs, &weights, form, last.curve)
            }
            _ => best(pairs, &weights, form),
        };
        let Some(next) = next else { break };
        let sizes: Vec<f64> = pairs.iter().map(|pair| next.distance(pair).abs()).collect();
        let scale = scale.unwrap_or_else(|| scale_of(&sizes).max(1.0));
        let is_huber = round < ROBUST_ROUNDS / 2;
        let mut moved: f64 = 0.0;
        for (weight, size) in weights.iter_mut().zip(&sizes) {
            let size = size / scale;
            let new = if is_huber {
                (HUBER / size).min(1.0)
            } else {
                (1.0 - (size / TUKEY).powi(2)).max(0.0).powi(2)
            };
            moved = moved.max((new - *weight).abs());
            *weight = new;
        }
        fitted = Some(next);
        if !is_huber && moved < 1e-6 {
            break;
        }
    }
    fitted
}

/// The median distance as a standard deviation.
fn scale_of(sizes: &[f64]) -> f64 {
    crate::robust::median(sizes).unwrap_or(0.0) * crate::robust::MAD_TO_SD
}

/// Weighted least squares as if x were exact: near enough to start from.
fn straight_start(pairs: &[Pair], weights: &[f64], form: Form) -> Curve {
    let middle = if form == Form::Line {
        middle(pairs, weights)
    } else {
        0.0
    };
    let (mut w_sum, mut wy, mut wxx, mut wxy, mut wd) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (place, pair) in pairs.iter().enumerate() {
        let variance = pair.u_x * pair.u_x + pair.u_y * pair.u_y;
        let weight = weights.get(place).copied().unwrap_or(1.0) / variance;
        let x = pair.x - middle;
        w_sum += weight;
        wy += weight * pair.y;
        wxx += weight * x * x;
        wxy += weight * x * pair.y;
        wd += weight * (pair.y - pair.x);
    }
    let slope = if wxx > 0.0 { wxy / wxx } else { 1.0 };
    let straight = |a, b| Curve {
        a,
        b,
        c: 0.0,
        knot: 0.0,
    };
    match form {
        Form::Offset => straight(wd / w_sum, 1.0),
        Form::Gain => straight(0.0, slope),
        Form::Line | Form::Hinge => straight(wy / w_sum - slope * middle, slope),
    }
}

/// The weighted mean of x.
fn middle(pairs: &[Pair], weights: &[f64]) -> f64 {
    let (mut sum, mut total) = (0.0, 0.0);
    for (place, pair) in pairs.iter().enumerate() {
        let weight = weights.get(place).copied().unwrap_or(1.0) / (pair.u_x * pair.u_x + pair.u_y * pair.u_y);
        sum += weight;
        total += weight * pair.x;
    }
    if sum > 0.0 { total / sum } else { 0.0 }
}

/// The places of x, each once, in order.
fn distinct_x(pairs: &[Pair], weights: &[f64]) -> Vec<f64> {
    let mut sorted: Vec<f64> = (pairs.iter().enumerate())
        .filter(|(place, _)| weights.get(*place).is_none_or(|weight| *weight > 0.0))
        .map(|(_, pair)| pair.x)
        .collect();
    sorted.sort_by(f64::total_cmp);
    sorted.dedup();
    sorted
}

/// Half-way between neighbours, with enough places on either side; evenly thinned where there are many.
fn knots(pairs: &[Pair], weights: &[f64]) -> Vec<f64> {
    let sorted = distinct_x(pairs, weights);
    let all: Vec<f64> = (sorted.windows(2))
        .skip(PAIRS_A_SIDE - 1)
        .take((sorted.len() + 1).saturating_sub(2 * PAIRS_A_SIDE))
        .map(|neighbours| f64::midpoint(neighbours[0], neighbours[1]))
        .collect();
    if all.len() <= MOST_KNOTS {
        return all;
    }
    (0..MOST_KNOTS)
        .map(|i| all[i * (all.len() - 1) / (MOST_KNOTS - 1)])
        .collect()
}
