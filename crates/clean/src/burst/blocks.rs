//! Bursts of any length in bounded memory.

use super::{
    Burst, BurstSettings, LEAST_U_PPFD, Reason, Reasons, judge_with_sd, scatter_percent, unsteady_above,
};

/// Longer bursts are cut into blocks, so that a log of millions needs no more memory than one.
pub const BLOCK: usize = 4096;

/// A burst of any length in bounded memory: blocks of [`BLOCK`] readings are judged one after another, and
/// their values averaged by how many readings are in them. Up to one block it gives what
/// [`judge`](super::judge) gives. The last block may be short, and is judged by what it has.
#[derive(Debug, Clone)]
pub struct BlockedBurst {
    settings: BurstSettings,
    open: Vec<f64>,
    /// The first block, without its reasons.
    first: Option<Burst>,
    /// Blocks with a value.
    blocks: usize,
    used: usize,
    /// Of these, in unsteady blocks.
    unsteady: usize,
    /// Mean of the blocks' values, and Σ used · (value − mean)².
    mean: f64,
    between: f64,
    /// Σ (used · u)².
    own: f64,
    /// Σ (used − 1) · sd².
    within: f64,
}

impl BlockedBurst {
    /// Without readings.
    pub fn new(settings: BurstSettings) -> Self {
        Self {
            settings,
            open: Vec::new(),
            first: None,
            blocks: 0,
            used: 0,
            unsteady: 0,
            mean: 0.0,
            between: 0.0,
            own: 0.0,
            within: 0.0,
        }
    }

    /// One more reading; where it fills a block, the judgement of that block's readings, oldest first. In a block
    /// without any number `used` is 0 and the value says nothing.
    pub fn push(&mut self, value: f64) -> Option<Burst> {
        self.open.push(value);
        (self.open.len() >= BLOCK).then(|| self.settle())
    }

    /// Judges the readings that wait as a block of their own, however few, and lets their memory go; `None`
    /// where none waits.
    pub fn cut(&mut self) -> Option<Burst> {
        let block = (!self.open.is_empty()).then(|| self.settle());
        self.open = Vec::new();
        block
    }

    fn settle(&mut self) -> Burst {
        let judged = judge_with_sd(&self.open, self.settings);
        let block = match judged {
            Some((block, sd)) => {
                self.add(&block, sd);
                block
            }
            None => Burst {
                value: 0.0,
                u_own: 0.0,
                scatter_percent: None,
                unsteady: false,
                used: 0,
                reasons: vec![Reasons::NONE.with(Reason::MissingValue); self.open.len()],
            },
        };
        self.open.clear();
        block
    }

    /// Weighted mean and sum of squares, updated block by block (D. H. D. West, *Communications of the ACM* 22
    /// (1979) 532–535).
    fn add(&mut self, block: &Burst, sd: f64) {
        let (before, added) = (self.used as f64, block.used as f64);
        let share = added / (before + added);
        let step = block.value - self.mean;
        self.mean += step * share;
        self.between += before * share * step * step;
        self.own += (added * block.u_own).powi(2);
        self.within += (added - 1.0).max(0.0) * sd * sd;
        self.blocks += 1;
        self.used += block.used;
        self.unsteady += if block.unsteady { block.used } else { 0 };
        if self.first.is_none() {
            self.first = Some(Burst {
                reasons: Vec::new(),
                ..block.clone()
            });
        }
    }

    /// The judgement of the readings of the last block, and the whole burst (its `reasons` are empty: they
    /// were given block by block). `None` where the last block is empty; where no number was pushed.
    pub fn finish(mut self) -> (Option<Burst>, Option<Burst>) {
        let last = (!self.open.is_empty()).then(|| self.settle());
        let whole = if self.blocks > 1 {
            Some(self.whole())
        } else {
            self.first
        };
        (last, whole)
    }

    /// Several blocks together. Where the light drifted from block to block, that difference is in the
    /// uncertainty and in the scatter, too.
    fn whole(&self) -> Burst {
        let used = self.used as f64;
        let by_blocks = (self.own.sqrt() / used).max(LEAST_U_PPFD);
        let by_drift = (self.between / (used * (self.blocks as f64 - 1.0))).sqrt();
        let sd = ((self.within + self.between) / (used - 1.0).max(1.0)).sqrt();
        Burst {
            value: self.mean,
            u_own: by_blocks.max(by_drift),
            scatter_percent: scatter_percent(sd, self.mean, self.used),
            unsteady: self.unsteady * 2 > self.used || sd > unsteady_above(self.mean, self.settings.repeat()),
            used: self.used,
            reasons: Vec::new(),
        }
    }
}
