//! Bursts: the readings at one place become one value.
//!
//! - **Flags** `shadow` far below the burst and `spike` far above it (bad); `unsteady` where the light itself
//!   moves too much (questionable); `flat` for a value that stuck (questionable).
//! - **Why**: an arm's shadow or a slip is no light; ripple is light, but its median is not its mean.
//! - **Example**: 201, 199, 118, 202, 200: the 118 is a shadow.
//! - **Limits**: two readings that disagree can't tell which is wrong; more than half of them wrong is taken for
//!   an unsteady light. Small differences are never flagged. Flashes of a rippled surface are light: where
//!   the burst is restless, or several readings are high, only what no ripple makes is a spike.
//! - **Sources**: modified z-score, Iglewicz & Hoaglin 1993; location, Huber 1981; a prior for few readings,
//!   JCGM 101:2008, 6.4.9; spike and flat line tests, US IOOS, *Manual for Real-Time Quality Control of Ocean
//!   Optics Data*, version 1.1 (2017). Readings are steadier with the pumps off (common practice, no source).

mod blocks;
mod flat;

pub use blocks::{BLOCK, BlockedBurst};

use undim_model::{Reason, Reasons};
use undim_stats::normal;
use undim_stats::robust::{
    HUBER_K, MAD_TO_SD, MODIFIED_Z_LIMIT, huber_location, mean_and_sd, median, median_absolute_deviation,
};

/// Differences smaller than this are a display's last digit, µmol m⁻² s⁻¹.
const FINEST_PPFD: f64 = 0.5;
/// No value is known better than the tenths of a display, µmol m⁻² s⁻¹: 0.1/√12 (JCGM 100:2008, F.2.2.1).
/// Keeps a dark place from being taken as exact.
const LEAST_U_PPFD: f64 = 0.03;
/// Far stronger than any light; sums of such values stay finite.
const MOST_PPFD: f64 = 1e12;
/// A reading is only rejected when it lies this many repeatabilities away.
const LEAST_REPEATS_AWAY: f64 = 5.0;
/// Among how many clean bursts one may have a reading rejected by chance. Of thousands of readings some lie
/// beyond any fixed number of standard deviations.
const FALSE_REJECTIONS: f64 = 0.01;
/// A spike lies this many times as far above as a shadow lies below: an arm gets in the way often, a slip is
/// rare, and a flash of ripple is light.
const SPIKE_FAR: f64 = 2.0;
/// High readings that are this share of the burst, and at least two, are flashes of ripple.
const FLASH_SHARE: f64 = 0.02;
/// A flash under ripple is no more than this many times the middle above it.
const FLASH_TIMES: f64 = 4.0;
/// Or than this many times as far as a steady burst would allow.
const FLASH_FAR: f64 = 5.0;
/// A burst that scatters more than this is unsteady, percent.
const UNSTEADY_PERCENT: f64 = 8.0;
/// Or more than this many repeatabilities.
const UNSTEADY_REPEATS: f64 = 4.0;
/// How much the device's repeatability counts beside the burst's own scatter, degrees of freedom.
const PRIOR_FREEDOM: f64 = 4.0;

/// What is known of the device before the burst.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BurstSettings {
    /// Standard uncertainty of one reading, k = 1, percent.
    pub repeat_percent: f64,
}

impl BurstSettings {
    fn repeat(self) -> f64 {
        if self.repeat_percent.is_finite() {
            self.repeat_percent.abs() / 100.0
        } else {
            0.0
        }
    }
}

/// A judged burst.
#[derive(Debug, Clone, PartialEq)]
pub struct Burst {
    /// The light at the place, µmol m⁻² s⁻¹.
    pub value: f64,
    /// Its own standard uncertainty, k = 1, µmol m⁻² s⁻¹.
    pub u_own: f64,
    /// Relative standard deviation of the readings in the value, percent; `None` for fewer than three, or
    /// where there is no light to speak of.
    pub scatter_percent: Option<f64>,
    /// True where the light moved too much.
    pub unsteady: bool,
    /// Readings in the value.
    pub used: usize,
    /// For each reading what there is to say about it, in the order they came.
    pub reasons: Vec<Reasons>,
}

/// Judges the readings of one device at one place, µmol m⁻² s⁻¹.
///
/// A reading that is no finite number, or is beyond any light, gets `missing-value`; `None` where no other is
/// left.
pub fn judge(values: &[f64], settings: BurstSettings) -> Option<Burst> {
    judge_with_sd(values, settings).map(|(burst, _)| burst)
}

/// The burst, and the standard deviation of the readings in its value.
fn judge_with_sd(values: &[f64], settings: BurstSettings) -> Option<(Burst, f64)> {
    let repeat = settings.repeat();
    let readings: Vec<f64> = values.iter().copied().filter(|value| is_light(*value)).collect();
    let fences = Fences::around(&readings, repeat)?;
    let kept: Vec<f64> = readings
        .into_iter()
        .filter(|reading| fences.reject(*reading).is_none())
        .collect();
    let (mean, sd) = mean_and_sd(&kept)?;
    let unsteady = sd > unsteady_above(mean, repeat);
    let value = if unsteady {
        mean
    } else {
        huber_location(&kept, fences.scale, HUBER_K)?
    };
    let mut reasons = vec![Reasons::NONE; values.len()];
    flat::mark(values, sd, &mut reasons);
    for (reason, value) in reasons.iter_mut().zip(values) {
        if !is_light(*value) {
            reason.add(Reason::MissingValue);
        } else if let Some(rejected) = fences.reject(*value) {
            reason.add(rejected);
        } else if unsteady {
            reason.add(Reason::Unsteady);
        }
    }
    let burst = Burst {
        value,
        u_own: u_of_mean(sd, kept.len(), repeat * value.abs(), unsteady),
        scatter_percent: scatter_percent(sd, mean, kept.len()),
        unsteady,
        used: kept.len(),
        reasons,
    };
    Some((burst, sd))
}

fn is_light(value: f64) -> bool {
    value.abs() <= MOST_PPFD
}

fn scatter_percent(sd: f64, mean: f64, n: usize) -> Option<f64> {
    (n >= 3 && mean.abs() >= FINEST_PPFD).then(|| 100.0 * sd / mean.abs())
}

/// The standard deviation above which a light of this mean is unsteady.
fn unsteady_above(mean: f64, repeat: f64) -> f64 {
    let share = (UNSTEADY_PERCENT / 100.0).max(UNSTEADY_REPEATS * repeat);
    (share * mean.abs()).max(LEAST_REPEATS_AWAY * FINEST_PPFD)
}

/// Between which values a reading belongs to its burst.
#[derive(Debug, Clone, Copy)]
struct Fences {
    lowest: f64,
    highest: f64,
    /// The robust standard deviation of one reading, never below what the device can tell.
    scale: f64,
}

impl Fences {
    fn around(readings: &[f64], repeat: f64) -> Option<Self> {
        let middle = median(readings)?;
        let spread = median_absolute_deviation(readings, middle)? * MAD_TO_SD;
        let finest = (repeat * middle.abs()).max(FINEST_PPFD);
        let scale = spread.max(finest);
        let n = readings.len() as f64;
        if readings.len() < 3 {
            return Some(Self {
                lowest: f64::NEG_INFINITY,
                highest: f64::INFINITY,
                scale,
            });
        }
        let z = MODIFIED_Z_LIMIT.max(normal::quantile(1.0 - FALSE_REJECTIONS / (2.0 * n)));
        // Of a few readings the spread is small by chance now and then.
        let few = 1.0 + 2.0 / n;
        let far = (z * scale * few).max(LEAST_REPEATS_AWAY * finest);
        let flashes = readings.iter().filter(|reading| **reading > middle + far).count();
        let rippled = flashes >= 2 && flashes as f64 >= FLASH_SHARE * n;
        let far_above = if rippled || spread > unsteady_above(middle, repeat) {
            (FLASH_FAR * far).max(FLASH_TIMES * middle.abs())
        } else {
            SPIKE_FAR * far
        };
        Some(Self {
            lowest: middle - far,
            highest: middle + far_above,
            scale,
        })
    }

    fn reject(self, reading: f64) -> Option<Reason> {
        if reading < self.lowest {
            Some(Reason::Shadow)
        } else if reading > self.highest {
            Some(Reason::Spike)
        } else {
            None
        }
    }
}

/// Standard uncertainty of a mean.
///
/// In steady light one reading's share is the burst's scatter or, where that is smaller, the scatter drawn
/// towards the device's repeatability as if that had been seen with [`PRIOR_FREEDOM`] degrees of freedom. In
/// unsteady light what the device does in steady light says nothing, and the scatter stands alone. Both are
/// widened for how few readings there are by √(ν/(ν − 2)), the standard deviation of Student's t with ν degrees
/// of freedom (JCGM 101:2008, 6.4.9; Kacker & Jones 2003, *Metrologia* 40:235). Never below repeatability / √n
/// (formats, section 10, uncertainty).
fn u_of_mean(sd: f64, n: usize, repeat: f64, unsteady: bool) -> f64 {
    let n_readings = n as f64;
    let least = (repeat / n_readings.sqrt()).max(LEAST_U_PPFD);
    if n < 2 {
        return least;
    }
    let own_freedom = n_readings - 1.0;
    let (one_reading, freedom) = if unsteady {
        // Student's t has no standard deviation for two readings or three: they count as four.
        (sd, own_freedom.max(3.0))
    } else {
        let freedom = PRIOR_FREEDOM + own_freedom;
        let squares = PRIOR_FREEDOM * repeat * repeat + own_freedom * sd * sd;
        (sd.max((squares / freedom).sqrt()), freedom)
    };
    (one_reading * (freedom / (freedom - 2.0)).sqrt() / n_readings.sqrt()).max(least)
}

#[cfg(test)]
mod tests;
