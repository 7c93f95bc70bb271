//! Single stations: what is left to each after the tank, as a run of levels.
//!
//! A station's residuals are cut into stretches of one level each, at the least cost: every reading costs −ln of its density,
//! normal with a broad tail for readings gone wrong, and every cut costs −ln of how likely a station changes between two
//! surveys. (Optimal partitioning; B. Jackson et al., *IEEE Signal Process. Lett.* 12 (2005) 105–108.) One reading gone wrong
//! is likelier than a station that changed, so a change shows with its second survey.

use super::cells::Cells;
use undim_stats::regression::HUBER_K;

/// Stations that change for good, a year and tank.
const CHANGES: f64 = 0.5;
/// Readings gone wrong, and how far.
const WRONG: f64 = 0.01;
const WRONG_BY: f64 = 0.3;
/// A change of a station has this size.
const CHANGE: f64 = 0.3;
/// Calm stations never lie further than this from their level on average, in standard deviations of a contrast.
const CALM: f64 = 3.0;

/// A reading further off than this, in standard deviations, is strange.
const STRANGE: f64 = 4.0;

/// A station's present state.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Station {
    /// Against its first level, ln.
    pub(crate) ln: f64,
    pub(crate) u: f64,
    /// Probability that it is not at its first level.
    pub(crate) p_real: f64,
    /// What the last reading differs by from the first level, where it may have gone wrong, ln.
    pub(crate) strange: Option<f64>,
    /// Standard deviation of one reading, ln.
    pub(crate) sd: f64,
}

/// Every station of the record. `misfit` is the variance that known events leave at it.
pub(super) fn stations(cells: &Cells, misfit: &[f64], years: &[f64]) -> Vec<Station> {
    let n = cells.stations;
    let ln_change: Vec<f64> = years
        .windows(2)
        .map(|pair| (CHANGES * (pair[1] - pair[0]).max(1.0 / 365.0) / n as f64).ln())
        .collect();
    (0..n)
        .map(|station| {
            let mut read = Vec::with_capacity(years.len());
            for t in 0..years.len() {
                let (residual, sd) = (cells.residuals[t * n + station], cells.sds[t * n + station]);
                if !residual.is_nan() {
                    let ln_change = if t == 0 { 0.0 } else { ln_change[t - 1] };
                    read.push(Read {
                        t,
                        residual,
                        sd,
                        ln_change,
                    });
                }
            }
            one(&read, years.len(), misfit.get(station).copied().unwrap_or(0.0))
        })
        .collect()
}

#[derive(Clone, Copy)]
struct Read {
    t: usize,
    residual: f64,
    sd: f64,
    ln_change: f64,
}

fn one(read: &[Read], surveys: usize, misfit: f64) -> Station {
    let Some(last) = read.last().filter(|last| last.t + 1 == surveys) else {
        return Station::default();
    };
    let calm = Station {
        sd: last.sd,
        ..Station::default()
    };
    if read.len() < 2 || is_calm(read) {
        return calm;
    }
    let m = read.len();
    // Least cost of the first j readings, and where their last stretch begins.
    let mut least = vec![(0.0, 0_usize); m + 1];
    for j in 1..=m {
        let mut best = (f64::INFINITY, 0);
        for i in 0..j {
            let cut = if i == 0 { 0.0 } else { cut(read[i]) };
            let cost = least[i].0 + cut + cost(&read[i..j], level(&read[i..j]));
            if cost < best.0 {
                best = (cost, i);
            }
        }
        least[j] = best;
    }
    let last_from = least[m].1;
    let mut first_to = m;
    while least[first_to].1 > 0 {
        first_to = least[first_to].1;
    }
    let (first, now) = (level(&read[..first_to]), level(&read[last_from..]));
    // The least cost of being at the first level now.
    let same = (0..m)
        .map(|i| {
            let cut = if i == 0 { 0.0 } else { cut(read[i]) };
            let before = if i == 0 { 0.0 } else { least[i].0 };
            before + cut + cost(&read[i..], first)
        })
        .fold(f64::INFINITY, f64::min)
        .min(cost(read, level(read)));
    let ln = if last_from == 0 { 0.0 } else { now - first };
    let spread = |stretch: &[Read]| stretch.iter().map(|r| r.sd.powi(-2)).sum::<f64>().recip();
    let p_real = if last_from == 0 {
        0.0
    } else {
        (1.0 + (least[m].0 - same).exp()).recip()
    };
    // Near its first level, or at a new one beyond doubt, a reading is not strange.
    let off = last.residual - first;
    let settled = p_real >= super::search::REAL && (last.residual - now).abs() <= STRANGE * last.sd;
    Station {
        ln,
        u: (spread(&read[..first_to]) + spread(&read[last_from..]) + misfit).sqrt(),
        p_real,
        strange: (off.abs() > STRANGE * last.sd && !settled).then_some(off),
        sd: last.sd,
    }
}

/// What a cut costs: that the station changed, and that its new level is not known beforehand.
fn cut(at: Read) -> f64 {
    (CHANGE / at.sd).max(1.0).ln() - at.ln_change
}

/// Robust mean.
fn level(read: &[Read]) -> f64 {
    let mut middle: Vec<f64> = read.iter().map(|r| r.residual).collect();
    middle.sort_by(f64::total_cmp);
    let mut level = middle.get(middle.len() / 2).copied().unwrap_or(0.0);
    if middle.len().is_multiple_of(2) {
        level = f64::midpoint(
            level,
            middle
                .get((middle.len() / 2).saturating_sub(1))
                .copied()
                .unwrap_or(level),
        );
    }
    for _ in 0..3 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for r in read {
            let z = (r.residual - level).abs() / r.sd;
            let weight = if z <= HUBER_K { 1.0 } else { HUBER_K / z } / (r.sd * r.sd);
            sum += weight * r.residual;
            weights += weight;
        }
        level = sum / weights;
    }
    level
}

/// −ln of the readings' density about a level, beside that of a reading on it.
fn cost(read: &[Read], level: f64) -> f64 {
    read.iter()
        .map(|r| {
            let z = (r.residual - level) / r.sd;
            let wide = r.sd.hypot(WRONG_BY);
            let tail = WRONG * r.sd / wide * (-0.5 * ((r.residual - level) / wide).powi(2)).exp();
            -((1.0 - WRONG) * (-0.5 * z * z).exp() + tail).ln()
        })
        .sum()
}

/// True where no stretch to the end lies off what was before it, and the last reading lies near.
fn is_calm(read: &[Read]) -> bool {
    let n = read.len() as f64;
    let clamped = |r: &Read| r.residual.clamp(-2.5 * r.sd, 2.5 * r.sd);
    let all: f64 = read.iter().map(clamped).sum();
    let sd = read.iter().map(|r| r.sd).sum::<f64>() / n;
    let mut before = 0.0;
    for (at, r) in read.iter().enumerate() {
        if at > 0 {
            let many = at as f64;
            let contrast = (all - before) / (n - many) - before / many;
            if contrast.abs() > CALM * sd * (n / (many * (n - many))).sqrt() {
                return false;
            }
        }
        before += clamped(r);
    }
    read.last()
        .is_none_or(|last| last.residual.abs() < CALM * last.sd)
}
