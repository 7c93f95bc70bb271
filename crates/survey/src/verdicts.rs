//! What the bursts tell about each reading, in one byte each: logs have millions.

use undim_model::{Flag, FlagCounts, Reason, Reasons};

/// Where a reading stands: its source, and its place among that source's readings in order of time.
pub(crate) type At = (usize, usize);

/// What was told about every reading, and how many readings have which flag.
#[derive(Debug)]
pub(crate) struct Verdicts {
    told: Vec<Vec<Told>>,
    pub(crate) counts: FlagCounts,
}

/// What only a look at other readings tells about one.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Told(u8);

impl Told {
    const REASONS: [Reason; 5] = [
        Reason::Spike,
        Reason::Flat,
        Reason::Shadow,
        Reason::Unsteady,
        Reason::Repeat,
    ];

    fn add(&mut self, reasons: Reasons) {
        for (bit, reason) in Self::REASONS.iter().enumerate() {
            if reasons.has(*reason) {
                self.0 |= 1 << bit;
            }
        }
    }

    fn reasons(self) -> Reasons {
        let mut reasons = Reasons::NONE;
        if self.0 != 0 {
            for (bit, reason) in Self::REASONS.into_iter().enumerate() {
                if self.0 & (1 << bit) != 0 {
                    reasons.add(reason);
                }
            }
        }
        reasons
    }
}

impl Verdicts {
    /// What is held for each reading of a survey.
    #[cfg(test)]
    pub(crate) const BYTES_A_READING: usize = size_of::<Told>();

    /// Room for as many readings as each source has.
    pub(crate) fn for_sources(rows: impl Iterator<Item = u64>) -> Self {
        let room = |rows: u64| Vec::with_capacity(usize::try_from(rows).unwrap_or(0));
        Self {
            told: rows.map(room).collect(),
            counts: FlagCounts::default(),
        }
    }

    /// The next reading of a source, with its flag.
    pub(crate) fn add(&mut self, source: usize, reasons: Reasons, flag: Flag) -> At {
        let mut told = Told::default();
        if !reasons.is_empty() {
            told.add(reasons);
        }
        self.counts.count(flag);
        let of_source = &mut self.told[source];
        of_source.push(told);
        (source, of_source.len() - 1)
    }

    /// Its burst has something to say about a reading that had `before`; gives the flag it has now.
    pub(crate) fn tell(&mut self, (source, index): At, reasons: Reasons, before: Flag) -> Flag {
        if reasons.is_empty() {
            return before;
        }
        self.told[source][index].add(reasons);
        let now = reasons.flag_from(before);
        if now != before {
            self.counts.recount(before, now);
        }
        now
    }

    /// What was told about a reading.
    pub(crate) fn of(&self, (source, index): At) -> Reasons {
        self.told
            .get(source)
            .and_then(|of_source| of_source.get(index))
            .map_or(Reasons::NONE, |told| told.reasons())
    }

    /// Readings of each source.
    pub(crate) fn rows(&self) -> impl Iterator<Item = u64> {
        self.told.iter().map(|of_source| of_source.len() as u64)
    }
}
