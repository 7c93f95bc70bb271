//! Bad pairs: far off every curve and off their neighbours on either side.

use super::propose::Judged;
use undim_stats::errors_in_variables::{Form, Pair, fit_robust};
use undim_stats::robust::{MAD_TO_SD, MODIFIED_Z_LIMIT, median};

/// Fewer pairs can't tell which of them is bad.
const FEWEST: usize = 6;
/// With fewer a bend is not told from bad pairs.
const FEWEST_FOR_A_BEND: usize = 12;
/// Neighbours that are asked on either side.
const NEIGHBOURS: usize = 5;
/// If more than this part seem bad, it is not they that are.
const MOST: f64 = 0.25;

/// Which pairs are bad.
///
/// A robust curve is laid through all of them. A pair is bad where it lies beyond Iglewicz & Hoaglin's limit of 3.5
/// from that curve and as far from the middle of its neighbours below as of those above, so that the pairs at a jump
/// or a bend, which a curve can't follow, are not taken for shadows. Stated uncertainties are never taken as smaller
/// than they are, but as larger where most pairs scatter more.
pub(super) fn bad(pairs: &[Pair]) -> Vec<bool> {
    let none = vec![false; pairs.len()];
    if pairs.len() < FEWEST {
        return none;
    }
    let bent = (pairs.len() >= FEWEST_FOR_A_BEND).then_some(Form::Hinge);
    let forms = bent.into_iter().chain([Form::Line, Form::Gain]);
    let mut forms = forms;
    let Some(fitted) = forms.find_map(|form| fit_robust(pairs, form, None).ok()) else {
        return none;
    };
    let distances: Vec<f64> = pairs.iter().map(|pair| fitted.distance(pair)).collect();
    let sizes: Vec<f64> = distances.iter().map(|distance| distance.abs()).collect();
    // The fit has taken up its share of the scatter.
    let taken = (pairs.len() as f64 / (pairs.len() - fitted.form.parameters()).max(1) as f64).sqrt();
    let scale = (median(&sizes).unwrap_or(0.0) * MAD_TO_SD * taken).max(1.0);
    let limit = MODIFIED_Z_LIMIT * scale;
    let mut order: Vec<usize> = (0..pairs.len()).collect();
    order.sort_by(|one, other| pairs[*one].x.total_cmp(&pairs[*other].x));
    let mut found = none.clone();
    for (place, number) in order.iter().enumerate() {
        let own = distances[*number];
        if own.abs() <= limit {
            continue;
        }
        let middle = |side: &[usize]| {
            let values: Vec<f64> = side.iter().map(|other| distances[*other]).collect();
            // Two or fewer may be bad themselves.
            (values.len() > 2).then(|| median(&values)).flatten()
        };
        let below = middle(&order[place.saturating_sub(NEIGHBOURS)..place]);
        let above = middle(&order[place + 1..(place + 1 + NEIGHBOURS).min(order.len())]);
        let is_off = |middle: Option<f64>| middle.is_none_or(|middle| (own - middle).abs() > limit);
        found[*number] = is_off(below) && is_off(above);
    }
    let count = found.iter().filter(|bad| **bad).count();
    if count as f64 > MOST * pairs.len() as f64 {
        return none;
    }
    found
}

/// Pairs at which a device or the reference stood at its upper end: three or more at one and the same highest value
/// while the other of the two still rose beyond its noise.
pub(super) fn saturated(judged: &[Judged]) -> Vec<usize> {
    let used: Vec<usize> = (0..judged.len()).filter(|place| judged[*place].used).collect();
    let reference = |place: usize| judged[place].pair.reference;
    let device = |place: usize| judged[place].pair.device;
    let mut found = at_top(&used, &reference, &device);
    found.extend(at_top(&used, &device, &reference));
    found.sort_unstable();
    found.dedup();
    found
}

/// At one highest value are this many at least.
const FEWEST_AT_TOP: usize = 3;
/// While the other reading rose by this part.
const RISE: f64 = 0.2;

fn at_top(used: &[usize], of: &dyn Fn(usize) -> f64, other: &dyn Fn(usize) -> f64) -> Vec<usize> {
    let Some(top) = used.iter().map(|place| of(*place)).max_by(f64::total_cmp) else {
        return Vec::new();
    };
    let at: Vec<usize> = used.iter().copied().filter(|place| of(*place) == top).collect();
    let low = at.iter().map(|place| other(*place)).fold(f64::INFINITY, f64::min);
    let high = at
        .iter()
        .map(|place| other(*place))
        .fold(f64::NEG_INFINITY, f64::max);
    let is_stuck = at.len() >= FEWEST_AT_TOP && at.len() < used.len() && high - low > RISE * high.abs();
    if is_stuck { at } else { Vec::new() }
}
