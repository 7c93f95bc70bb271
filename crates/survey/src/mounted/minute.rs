//! The readings of one minute.

use super::Sample;
use jiff::Timestamp;
use undim_clean::burst::{BurstSettings, judge};
use undim_model::{Flag, Reason};
use undim_stats::robust::median_in_place;

/// Of so few readings none can be told to be a spike.
const FEW: usize = 5;

/// No logger that watches light reads more often in a minute; what comes beyond counts in `mean`, not in `median`.
const MOST_HELD: usize = 60_000;

/// Corrections of one minute beyond these are not told apart.
const MOST_CHAINS: usize = 8;

/// One row of `minutes-<year>.parquet`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Minute {
    /// Its start.
    pub time: Timestamp,
    /// Mean of the readings used, µmol m⁻² s⁻¹; `None` where there is none.
    pub mean: Option<f64>,
    /// Their median.
    pub median: Option<f64>,
    /// How many were used.
    pub n: u64,
    /// How many were not: bad or missing, repeats, spikes, and those without a way to µmol.
    pub rejected: u64,
}

/// A minute with what its day wants to know of it.
pub(crate) struct Gathered {
    pub(crate) minute: Minute,
    /// Of the readings used: how many are questionable.
    pub(crate) questionable: u64,
    /// Readings that no way leads to µmol from.
    pub(crate) not_evaluated: u64,
    /// Mean shared standard uncertainty of those used, µmol m⁻² s⁻¹.
    pub(crate) u_shared: f64,
    /// Numbers of the corrections used.
    pub(crate) chains: Vec<usize>,
}

/// Readings of the present minute.
#[derive(Default)]
pub(crate) struct Gathering {
    /// Minutes since 1970.
    at: Option<i64>,
    values: Vec<f64>,
    more: u64,
    more_sum: f64,
    rejected: u64,
    questionable: u64,
    not_evaluated: u64,
    u_shared: f64,
    chains: Vec<usize>,
    repeat_percent: f64,
}

impl Gathering {
    /// One more reading; gives the minute before it where that is over.
    pub(crate) fn add(&mut self, time: Option<Timestamp>, sample: Sample) -> Option<Gathered> {
        let at = time.map(|time| time.as_second().div_euclid(60));
        let over = if at.is_some() && self.at.is_some() && at != self.at {
            std::mem::take(self).finish()
        } else {
            None
        };
        self.at = self.at.or(at);
        let Some(ppfd) = sample.ppfd else {
            self.rejected += 1;
            self.not_evaluated += u64::from(sample.flag == Flag::NotEvaluated);
            return over;
        };
        if self.values.len() < MOST_HELD {
            self.values.push(ppfd);
        } else {
            self.more += 1;
            self.more_sum += ppfd;
        }
        self.questionable += u64::from(sample.flag == Flag::Questionable);
        self.u_shared += sample.u_shared;
        self.repeat_percent = sample.repeat_percent;
        if self.chains.len() < MOST_CHAINS && !self.chains.contains(&sample.chain) {
            self.chains.push(sample.chain);
        }
        over
    }

    /// The minute, where any reading with a time fell into it.
    pub(crate) fn finish(mut self) -> Option<Gathered> {
        let time = Timestamp::from_second(self.at?.checked_mul(60)?).ok()?;
        self.reject_spikes();
        let held = self.values.len() as u64;
        let n = held + self.more;
        let sum: f64 = self.values.iter().sum::<f64>() + self.more_sum;
        let mean = (n > 0).then(|| sum / n as f64).filter(|mean| mean.is_finite());
        Some(Gathered {
            minute: Minute {
                time,
                mean,
                median: median_in_place(&mut self.values),
                n,
                rejected: self.rejected,
            },
            questionable: self.questionable.min(n),
            not_evaluated: self.not_evaluated,
            u_shared: if n > 0 { self.u_shared / n as f64 } else { 0.0 },
            chains: self.chains,
        })
    }

    /// Only what no light makes: a shadow that passes is light that was missing, and a ripple's flash is light.
    fn reject_spikes(&mut self) {
        if self.values.len() < FEW {
            return;
        }
        let settings = BurstSettings {
            repeat_percent: self.repeat_percent,
        };
        let Some(burst) = judge(&self.values, settings) else {
            return;
        };
        let mut reasons = burst.reasons.iter();
        let before = self.values.len();
        self.values
            .retain(|_| !reasons.next().is_some_and(|reasons| reasons.has(Reason::Spike)));
        self.rejected += (before - self.values.len()) as u64;
    }
}
