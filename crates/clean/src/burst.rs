//! Bursts: the readings at one place become one value.
//!
//! - **Flags** `shadow` far below the burst and `spike` far above it (bad); `unsteady` where the light itself
//!   moves too much (questionable); `flat` for a value that stuck (questionable).
//! - **Why**: an arm's shadow or a slip is no light; ripple is light, but its median is not its mean.
//! - **Example**: 201, 199, 118, 202, 200: the 118 is a shadow.
//! - **Limits**: two readings that disagree can't tell which is wrong; more than half of them wrong is taken for
//!   an unsteady light. Small differences are never flagged.
//! - **Sources**: modified z-score, Iglewicz & Hoaglin 1993; location, Huber 1981; a prior for few readings, JCGM
//!   100:2008, 4.2.4 and 4.3; US IOOS QARTOD, spike and flat line tests. Readings are steadier with the pumps off
//!   (common practice, no source).

use undim_model::{Reason, Reasons};
use undim_stats::robust::{
    HUBER_K, MAD_TO_SD, MODIFIED_Z_LIMIT, huber_location, mean_and_sd, median, median_absolute_deviation,
};

/// Differences smaller than this are a display's last digit, µmol m⁻² s⁻¹.
const FINEST_PPFD: f64 = 0.5;
/// A reading is only rejected when it lies this many repeatabilities away.
const LEAST_REPEATS_AWAY: f64 = 5.0;
/// A burst that scatters more than this is unsteady, percent.
const UNSTEADY_PERCENT: f64 = 8.0;
/// Or more than this many repeatabilities.
const UNSTEADY_REPEATS: f64 = 4.0;
/// How much the device's repeatability counts beside the burst's own scatter, degrees of freedom.
const PRIOR_FREEDOM: f64 = 4.0;
/// A run of equal values this long is a value that stuck.
const STUCK_RUN: usize = 5;
/// Longer bursts are cut into blocks, so that a log of millions needs no more memory than one.
pub const BLOCK: usize = 4096;

/// What is known of the device before the burst.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BurstSettings {
    /// Standard uncertainty of one reading, k = 1, percent.
    pub repeat_percent: f64,
}

/// A judged burst.
#[derive(Debug, Clone, PartialEq)]
pub struct Burst {
    /// The light at the place, µmol m⁻² s⁻¹.
    pub value: f64,
    /// Its own standard uncertainty, k = 1, µmol m⁻² s⁻¹.
    pub u_own: f64,
    /// Relative standard deviation of the readings in the value, percent; `None` for fewer than three.
    pub scatter_percent: Option<f64>,
    /// True where the light moved too much.
    pub unsteady: bool,
    /// Readings in the value.
    pub used: usize,
    /// For each reading what there is to say about it, in the order they came.
    pub reasons: Vec<Reasons>,
}

/// Judges the readings of one device at one place; `None` for no readings, or for one that is no number.
pub fn judge(values: &[f64], settings: BurstSettings) -> Option<Burst> {
    let middle = median(values)?;
    let mad = median_absolute_deviation(values, middle)?;
    let repeat = settings.repeat_percent.abs() / 100.0;
    let finest = (repeat * middle.abs()).max(FINEST_PPFD);
    let scale = (mad * MAD_TO_SD).max(finest);
    // Of a few readings the MAD is small by chance now and then.
    let few = 1.0 + 2.0 / values.len() as f64;
    let far = (MODIFIED_Z_LIMIT * scale * few).max(LEAST_REPEATS_AWAY * finest);
    let low = |value: f64| middle - value > far;
    let high = |value: f64| value - middle > far;
    let can_tell = values.len() >= 3;
    let flashes = values.iter().filter(|value| can_tell && high(**value)).count();
    // One wild high value is a slip; several are the flashes of a rippled surface, and are light.
    let rippled = flashes >= 2;
    let rejected = |value: f64| can_tell && (low(value) || (high(value) && !rippled));
    let kept: Vec<f64> = values.iter().copied().filter(|value| !rejected(*value)).collect();
    let (mean, sd) = mean_and_sd(&kept)?;
    let limit = (UNSTEADY_PERCENT / 100.0).max(UNSTEADY_REPEATS * repeat) * mean.abs();
    let unsteady = kept.len() >= 2 && (rippled || sd > limit.max(LEAST_REPEATS_AWAY * FINEST_PPFD));
    let value = if unsteady {
        mean
    } else {
        huber_location(&kept, sd.max(finest), HUBER_K)?
    };
    let mut reasons = flat(values, sd);
    for (reason, reading) in reasons.iter_mut().zip(values) {
        if can_tell && low(*reading) {
            reason.add(Reason::Shadow);
        } else if rejected(*reading) {
            reason.add(Reason::Spike);
        } else if unsteady {
            reason.add(Reason::Unsteady);
        }
    }
    Some(Burst {
        value,
        u_own: u_of_mean(sd, kept.len(), repeat * value.abs()),
        scatter_percent: (kept.len() >= 3 && mean != 0.0).then(|| 100.0 * sd / mean.abs()),
        unsteady,
        used: kept.len(),
        reasons,
    })
}

/// Standard uncertainty of a mean: the burst's scatter, drawn towards the device's repeatability as if that
/// had been seen with [`PRIOR_FREEDOM`] degrees of freedom, widened for how few there are (√(ν/(ν − 2)), the
/// standard deviation of Student's t; JCGM 101:2008, 6.4.9). Never below repeatability / √n (formats,
/// section 10, uncertainty).
fn u_of_mean(sd: f64, n: usize, repeat: f64) -> f64 {
    let n_readings = n as f64;
    let least = repeat / n_readings.sqrt();
    if n < 2 {
        return least;
    }
    let freedom = PRIOR_FREEDOM + n_readings - 1.0;
    let pooled = ((PRIOR_FREEDOM * repeat * repeat + (n_readings - 1.0) * sd * sd) / freedom).sqrt();
    (pooled * (freedom / (freedom - 2.0)).sqrt() / n_readings.sqrt()).max(least)
}

/// Marks runs of equal values in a burst that otherwise moves by more than its display's last digit.
fn flat(values: &[f64], sd: f64) -> Vec<Reasons> {
    let mut reasons = vec![Reasons::NONE; values.len()];
    if values.len() < STUCK_RUN + 3 {
        return reasons;
    }
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    sorted.dedup();
    let resolution = sorted
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .fold(f64::INFINITY, f64::min);
    // Where the display is coarse, equal neighbours are nothing special.
    if sorted.len() < 4 || sd < 2.0 * resolution {
        return reasons;
    }
    let mut start = 0;
    for end in 1..=values.len() {
        if end == values.len() || values[end] != values[start] {
            if end - start >= STUCK_RUN {
                reasons[start..end]
                    .iter_mut()
                    .for_each(|reason| reason.add(Reason::Flat));
            }
            start = end;
        }
    }
    reasons
}

/// A burst of any length in bounded memory: blocks of [`BLOCK`] readings are judged one after another, and
/// their values averaged by how many readings are in them.
#[derive(Debug, Clone)]
pub struct BlockedBurst {
    settings: BurstSettings,
    open: Vec<f64>,
    used: usize,
    unsteady: usize,
    /// Σ used · value, Σ (used · u)², Σ (used − 1) · sd².
    sums: [f64; 3],
}

impl BlockedBurst {
    /// Without readings.
    pub fn new(settings: BurstSettings) -> Self {
        Self {
            settings,
            open: Vec::new(),
            used: 0,
            unsteady: 0,
            sums: [0.0; 3],
        }
    }

    /// One more reading; where it fills a block, the judgement of that block's readings. A value that is no
    /// number counts as 0 and can't be in the burst's value; readings without a value are not pushed.
    pub fn push(&mut self, value: f64) -> Option<Burst> {
        self.open.push(if value.is_finite() { value } else { 0.0 });
        if self.open.len() < BLOCK {
            None
        } else {
            self.settle()
        }
    }

    fn settle(&mut self) -> Option<Burst> {
        let block = judge(&self.open, self.settings)?;
        self.open.clear();
        let used = block.used as f64;
        self.used += block.used;
        self.unsteady += if block.unsteady { block.used } else { 0 };
        self.sums[0] += used * block.value;
        self.sums[1] += (used * block.u_own).powi(2);
        let sd = block.scatter_percent.unwrap_or(0.0) / 100.0 * block.value;
        self.sums[2] += (used - 1.0).max(0.0) * sd * sd;
        Some(block)
    }

    /// The judgement of the readings of the last block, and the whole burst (its `reasons` are empty: they
    /// were given block by block). Both `None` where nothing was pushed.
    pub fn finish(mut self) -> (Option<Burst>, Option<Burst>) {
        let first_block = self.used == 0;
        let last = if self.open.is_empty() { None } else { self.settle() };
        if first_block && let Some(only) = &last {
            let whole = Burst {
                reasons: Vec::new(),
                ..only.clone()
            };
            return (last, Some(whole));
        }
        if self.used == 0 {
            return (last, None);
        }
        let used = self.used as f64;
        let value = self.sums[0] / used;
        let sd = (self.sums[2] / used).sqrt();
        let whole = Burst {
            value,
            u_own: self.sums[1].sqrt() / used,
            scatter_percent: (value != 0.0).then(|| 100.0 * sd / value.abs()),
            unsteady: self.unsteady * 2 > self.used,
            used: self.used,
            reasons: Vec::new(),
        };
        (last, Some(whole))
    }
}

#[cfg(test)]
mod tests;
