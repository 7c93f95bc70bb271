//! Trend by ranks: Mann–Kendall, its seasonal form, and the Theil–Sen slope; and the exponential decline.

use crate::normal;

/// A Mann–Kendall test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kendall {
    /// S: pairs that rise less pairs that fall.
    pub s: f64,
    /// Its variance without a trend, ties taken into account.
    pub variance: f64,
    /// (S − sign S) / √variance; 0 where S is.
    pub z: f64,
    /// Two-sided, by the normal approximation.
    pub p: f64,
}

impl Kendall {
    fn new(s: f64, variance: f64) -> Option<Self> {
        let z = if variance > 0.0 {
            (s - s.signum() * f64::from(u8::from(s != 0.0))) / variance.sqrt()
        } else {
            return None;
        };
        Some(Self {
            s,
            variance,
            z,
            p: normal::two_sided(z),
        })
    }
}

/// Mann–Kendall of y over x, ties in both allowed.
///
/// H. B. Mann, *Econometrica* 13 (1945) 245–259; M. G. Kendall, *Rank Correlation Methods*; variance with ties in both as in
/// R. O. Gilbert, *Statistical Methods for Environmental Pollution Monitoring* (1987), equation 16.3 and its extension.
/// `None` where nothing can be said: fewer than two values, not finite, or all tied.
pub fn mann_kendall(x: &[f64], y: &[f64]) -> Option<Kendall> {
    let (s, variance) = s_and_variance(x, y)?;
    Kendall::new(s, variance)
}

/// The seasonal form: each season by itself, S and variances added.
///
/// R. M. Hirsch, J. R. Slack, R. A. Smith, *Water Resour. Res.* 18 (1982) 107–121. `season` numbers each value's season.
pub fn seasonal_kendall(x: &[f64], y: &[f64], season: &[u32]) -> Option<Kendall> {
    let mut seasons: Vec<u32> = season.to_vec();
    seasons.sort_unstable();
    seasons.dedup();
    let (mut s, mut variance) = (0.0, 0.0);
    for wanted in seasons {
        let (xs, ys) = of_season(x, y, season, wanted);
        if let Some((more_s, more_variance)) = s_and_variance(&xs, &ys) {
            s += more_s;
            variance += more_variance;
        }
    }
    Kendall::new(s, variance)
}

fn of_season(x: &[f64], y: &[f64], season: &[u32], wanted: u32) -> (Vec<f64>, Vec<f64>) {
    x.iter()
        .zip(y)
        .zip(season)
        .filter(|(_, season)| **season == wanted)
        .map(|((x, y), _)| (*x, *y))
        .unzip()
}

fn s_and_variance(x: &[f64], y: &[f64]) -> Option<(f64, f64)> {
    if x.len() != y.len() || x.len() < 2 || !x.iter().chain(y).all(|value| value.is_finite()) {
        return None;
    }
    let mut s = 0.0;
    for (at, (x1, y1)) in x.iter().zip(y).enumerate() {
        for (x2, y2) in x.iter().zip(y).skip(at + 1) {
            s += sign(x2 - x1) * sign(y2 - y1);
        }
    }
    let n = x.len() as f64;
    let whole = |t: f64| t * (t - 1.0) * (2.0 * t + 5.0);
    let threes = |t: f64| t * (t - 1.0) * (t - 2.0);
    let twos = |t: f64| t * (t - 1.0);
    let (tx, ty) = (ties(x), ties(y));
    let over = |ties: &[f64], f: &dyn Fn(f64) -> f64| ties.iter().map(|t| f(*t)).sum::<f64>();
    let mut variance = (whole(n) - over(&tx, &whole) - over(&ty, &whole)) / 18.0;
    if n > 2.0 {
        variance += over(&tx, &threes) * over(&ty, &threes) / (9.0 * threes(n));
    }
    variance += over(&tx, &twos) * over(&ty, &twos) / (2.0 * twos(n));
    Some((s, variance))
}

fn sign(value: f64) -> f64 {
    if value > 0.0 {
        1.0
    } else if value < 0.0 {
        -1.0
    } else {
        0.0
    }
}

/// Sizes of the groups of equal values that hold more than one.
fn ties(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted
        .chunk_by(|a, b| a == b)
        .filter(|group| group.len() > 1)
        .map(|group| group.len() as f64)
        .collect()
}

/// A Theil–Sen line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TheilSen {
    /// Median of the slopes of all pairs.
    pub slope: f64,
    /// Median of y − slope·x.
    pub intercept: f64,
    /// Interval of the slope.
    pub interval: [f64; 2],
}

/// The Theil–Sen line with an interval of this two-sided confidence.
///
/// P. K. Sen, *J. Amer. Statist. Assoc.* 63 (1968) 1379–1389; ranks of the interval by the variance of S, interpolated
/// between slopes. `None` without two different x, or where a number is not finite.
pub fn theil_sen(x: &[f64], y: &[f64], confidence: f64) -> Option<TheilSen> {
    seasonal_theil_sen(x, y, &vec![0; x.len()], confidence)
}

/// The same with slopes within seasons only.
pub fn seasonal_theil_sen(x: &[f64], y: &[f64], season: &[u32], confidence: f64) -> Option<TheilSen> {
    if x.len() != season.len() {
        return None;
    }
    let mut seasons: Vec<u32> = season.to_vec();
    seasons.sort_unstable();
    seasons.dedup();
    let mut variance = 0.0;
    let mut slopes = Vec::new();
    for wanted in seasons {
        let (xs, ys) = of_season(x, y, season, wanted);
        if let Some((_, more)) = s_and_variance(&xs, &ys) {
            variance += more;
        } else if xs.len() > 1 {
            return None;
        }
        for (at, (x1, y1)) in xs.iter().zip(&ys).enumerate() {
            for (x2, y2) in xs.iter().zip(&ys).skip(at + 1) {
                if x1 != x2 {
                    slopes.push((y2 - y1) / (x2 - x1));
                }
            }
        }
    }
    slopes.sort_by(f64::total_cmp);
    let slope = crate::robust::median_in_place(&mut slopes)?;
    slopes.sort_by(f64::total_cmp);
    let mut left: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - slope * x).collect();
    let reach = normal::quantile(0.5 + 0.5 * confidence) * variance.max(0.0).sqrt();
    let n = slopes.len() as f64;
    Some(TheilSen {
        slope,
        intercept: crate::robust::median_in_place(&mut left)?,
        interval: [
            at_rank(&slopes, f64::midpoint(n, -reach)),
            at_rank(&slopes, f64::midpoint(n, reach) + 1.0),
        ],
    })
}

/// The value at a rank counted from 1, between two of them in proportion; the ends beyond.
fn at_rank(sorted: &[f64], rank: f64) -> f64 {
    let rank = (rank - 1.0).clamp(0.0, sorted.len().saturating_sub(1) as f64);
    let below = rank.floor() as usize;
    let low = sorted.get(below).copied().unwrap_or(f64::NAN);
    let high = sorted.get(below + 1).copied().unwrap_or(low);
    low + (rank - rank.floor()) * (high - low)
}

/// Theil–Sen slope and S of many series read at the same times, without allocating for each.
#[derive(Debug, Clone)]
pub struct Slopes {
    n: usize,
    /// Reciprocal time between each pair.
    per: Vec<f64>,
    slopes: Vec<f64>,
}

impl Slopes {
    /// Times in rising order, all different; `None` otherwise.
    pub fn new(x: &[f64]) -> Option<Self> {
        if x.len() < 2 || !x.windows(2).all(|pair| pair[0] < pair[1]) {
            return None;
        }
        let mut per = Vec::with_capacity(x.len() * (x.len() - 1) / 2);
        for (at, first) in x.iter().enumerate() {
            per.extend(x.iter().skip(at + 1).map(|second| (second - first).recip()));
        }
        Some(Self {
            n: x.len(),
            slopes: Vec::with_capacity(per.len()),
            per,
        })
    }

    /// Median slope and S of one series; `None` where it is of another length or not finite.
    pub fn of(&mut self, y: &[f64]) -> Option<(f64, f64)> {
        if y.len() != self.n || !y.iter().all(|value| value.is_finite()) {
            return None;
        }
        self.slopes.clear();
        let mut per = self.per.iter();
        let mut s = 0_i64;
        for (at, first) in y.iter().enumerate() {
            for (second, per) in y.iter().skip(at + 1).zip(&mut per) {
                let rise = second - first;
                s += i64::from(rise > 0.0) - i64::from(rise < 0.0);
                self.slopes.push(rise * per);
            }
        }
        Some((crate::robust::median_in_place(&mut self.slopes)?, s as f64))
    }
}

/// An exponential decline y = B·exp(−α·t).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decline {
    /// α, per unit of t; negative for a rise.
    pub rate: f64,
    /// B.
    pub start: f64,
}

impl Decline {
    /// Least squares of ln y on t, the form in which ANSI/IES TM-21 projects photon-flux maintenance. The standard's own limits
    /// (how many samples allow how long a projection) are the caller's matter; no published worked example with its data could
    /// be verified. `None` for fewer than two different t or a y that is not positive.
    pub fn fit(t: &[f64], y: &[f64]) -> Option<Self> {
        if t.len() != y.len() || t.len() < 2 || y.iter().any(|y| !(*y > 0.0 && y.is_finite())) {
            return None;
        }
        let n = t.len() as f64;
        let mean_t = t.iter().sum::<f64>() / n;
        let mean_ln = y.iter().map(|y| y.ln()).sum::<f64>() / n;
        let spread: f64 = t.iter().map(|t| (t - mean_t).powi(2)).sum();
        let slope = t
            .iter()
            .zip(y)
            .map(|(t, y)| (t - mean_t) * (y.ln() - mean_ln))
            .sum::<f64>()
            / spread;
        (spread > 0.0 && slope.is_finite()).then(|| Self {
            rate: -slope,
            start: (mean_ln - slope * mean_t).exp(),
        })
    }

    /// When it reaches a part of 1: ln(B / part) / α; `None` where it does not decline.
    pub fn reaches(self, part: f64) -> Option<f64> {
        (self.rate > 0.0 && part > 0.0).then(|| (self.start / part).ln() / self.rate)
    }
}

#[cfg(test)]
mod tests;
