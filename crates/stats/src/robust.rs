//! Location and scale that a few wild values can't move.
//!
//! All functions take values in any one unit and give results in the same unit. An empty slice or a value
//! that is not finite gives `None`.
//!
//! Few values tell little of their own scale: of three, the median absolute deviation is the smaller of two
//! gaps and often next to nothing, so that a good value looks like an outlier. Where the scale is known
//! beforehand, hand it in as a floor (P. J. Rousseeuw and S. Verboven, Robust estimation in very small samples,
//! *Computational Statistics & Data Analysis* 40 (2002) 741–758).

/// Turns a median absolute deviation into a standard deviation for normal values: 1 / Φ⁻¹(3/4)
/// (Hampel 1974, J. Am. Stat. Assoc. 69:383).
pub const MAD_TO_SD: f64 = 1.482_602_218_505_602;
/// Modified z-scores beyond this are outliers (Iglewicz & Hoaglin 1993, How to Detect and Handle Outliers).
pub const MODIFIED_Z_LIMIT: f64 = 3.5;
/// Huber's tuning constant for 95 % efficiency at the normal (Huber 1981, Robust Statistics, chapter 4).
pub const HUBER_K: f64 = 1.345;

/// Mean and standard deviation (n − 1), by two passes so that large offsets cost no digits; the deviation
/// of a single value is 0.
pub fn mean_and_sd(values: &[f64]) -> Option<(f64, f64)> {
    if values.is_empty() || !all_finite(values) {
        return None;
    }
    let n = values.len() as f64;
    let rough = values.iter().sum::<f64>() / n;
    // The correction takes out what the first pass rounded away (Chan, Golub & LeVeque 1983).
    let correction = values.iter().map(|value| value - rough).sum::<f64>() / n;
    let mean = rough + correction;
    let squares = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
    let sd = if values.len() > 1 {
        (squares / (n - 1.0)).sqrt()
    } else {
        0.0
    };
    (mean.is_finite() && sd.is_finite()).then_some((mean, sd))
}

/// The median; of an even count the mean of the two middle values. Reorders `values`.
pub fn median_in_place(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() || !all_finite(values) {
        return None;
    }
    let middle = values.len() / 2;
    let even = values.len().is_multiple_of(2);
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if !even {
        return Some(upper);
    }
    let lower = below.iter().copied().max_by(f64::total_cmp)?;
    Some(f64::midpoint(lower, upper))
}

/// The median; of an even count the mean of the two middle values.
pub fn median(values: &[f64]) -> Option<f64> {
    median_in_place(&mut values.to_vec())
}

/// Median absolute deviation from `centre`, not scaled.
pub fn median_absolute_deviation(values: &[f64], centre: f64) -> Option<f64> {
    let mut distances: Vec<f64> = values.iter().map(|value| (value - centre).abs()).collect();
    median_in_place(&mut distances)
}

/// Modified z-scores, 0.6745 (x − median) / MAD (Iglewicz & Hoaglin 1993). `scale_floor` stands in for a
/// MAD that is smaller: where most values are equal the MAD is 0 and every other value would be an outlier.
pub fn modified_z(values: &[f64], scale_floor: f64) -> Option<Vec<f64>> {
    let centre = median(values)?;
    let scale = median_absolute_deviation(values, centre)?.max(scale_floor);
    if scale <= 0.0 {
        return Some(
            values
                .iter()
                .map(|value| if *value == centre { 0.0 } else { f64::INFINITY })
                .collect(),
        );
    }
    Some(
        values
            .iter()
            .map(|value| 0.6745 * (value - centre) / scale)
            .collect(),
    )
}

/// The value below which a share `p` of the values lies, between the two nearest by straight line: the value
/// at place (n − 1)·p of the ordered values, counted from 0 (R. J. Hyndman and Y. Fan, *The American
/// Statistician* 50 (1996) 361–365, definition 7). `None` for `p` outside 0 to 1, too.
pub fn quantile(values: &[f64], p: f64) -> Option<f64> {
    if values.is_empty() || !all_finite(values) || !(0.0..=1.0).contains(&p) {
        return None;
    }
    let place = (values.len() - 1) as f64 * p;
    let mut ordered = values.to_vec();
    let (_, lower, above) = ordered.select_nth_unstable_by(place as usize, f64::total_cmp);
    let lower = *lower;
    let upper = above.iter().copied().min_by(f64::total_cmp).unwrap_or(lower);
    let share = place.fract();
    Some(lower * (1.0 - share) + upper * share)
}

/// Huber's M-estimate of location with a given scale, converged: the solution of Σ ψ((x − μ)/scale) = 0 with
/// ψ(z) = max(−k, min(k, z)) (Huber 1981, chapter 4). The median where scale or `k` is not above 0.
pub fn huber_location(values: &[f64], scale: f64, k: f64) -> Option<f64> {
    let mut location = median(values)?;
    let reach = k * scale;
    if !(scale > 0.0 && k > 0.0 && reach.is_finite()) {
        return Some(location);
    }
    let mut low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let mut high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    // Σ ψ falls in straight pieces: Newton's step is exact within a piece, and a step out of the bracket is
    // replaced by halving it. Usually five steps; 200 would halve any bracket away.
    for _ in 0..200 {
        let (mut pull, mut within) = (0.0, 0_usize);
        for value in values {
            let distance = value - location;
            pull += distance.clamp(-reach, reach);
            within += usize::from(distance.abs() < reach);
        }
        if pull > 0.0 {
            low = location;
        } else {
            high = location;
        }
        let newton = location + pull / within as f64;
        let next = if low < newton && newton < high {
            newton
        } else if pull.abs() <= f64::EPSILON * reach {
            break;
        } else {
            f64::midpoint(low, high)
        };
        let step = (next - location).abs();
        location = next;
        if step <= 4.0 * f64::EPSILON * location.abs() {
            break;
        }
    }
    Some(location)
}

fn all_finite(values: &[f64]) -> bool {
    values.iter().all(|value| value.is_finite())
}

#[cfg(test)]
mod tests;
