//! Quality flags and the reasons for them.
//!
//! Flags: IOC Manuals and Guides 54, Vol. 3 (2013), primary level. The reasons are words of our own
//! second level; `Reason::ALL` is their written order.

use std::fmt;

/// A primary-level quality flag, IOC Manuals and Guides 54, Vol. 3, table 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Flag {
    /// 1: passed every test that was run.
    Good,
    /// 2: not evaluated, not available or unknown.
    NotEvaluated,
    /// 3: questionable; still used.
    Questionable,
    /// 4: bad; written, never used.
    Bad,
    /// 9: no value stands in the source.
    Missing,
}

impl Flag {
    /// Every flag, best first.
    pub const ALL: [Self; 5] = [
        Self::Good,
        Self::NotEvaluated,
        Self::Questionable,
        Self::Bad,
        Self::Missing,
    ];

    /// The number that is written.
    pub fn number(self) -> u8 {
        match self {
            Self::Good => 1,
            Self::NotEvaluated => 2,
            Self::Questionable => 3,
            Self::Bad => 4,
            Self::Missing => 9,
        }
    }

    /// The flag with this number.
    pub fn from_number(number: u8) -> Option<Self> {
        Self::ALL.into_iter().find(|flag| flag.number() == number)
    }

    /// True for a value that may count towards a station (1, 2 and 3).
    pub fn is_used(self) -> bool {
        self <= Self::Questionable
    }

    /// The worse of two flags.
    #[must_use]
    pub fn worst(self, other: Self) -> Self {
        self.max(other)
    }
}

macro_rules! reasons {
    ($($(#[doc = $doc:literal])+ $name:ident = $word:literal,)+) => {
        /// Why a reading or a station has its flag. In written order.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Reason { $($(#[doc = $doc])+ $name,)+ }

        impl Reason {
            /// Every reason, in written order.
            pub const ALL: &'static [Self] = &[$(Self::$name,)+];

            /// The word that is written.
            pub fn word(self) -> &'static str {
                match self { $(Self::$name => $word,)+ }
            }
        }
    };
}

reasons! {
    /// Above what the device can read.
    OverRange = "over-range",
    /// Below what the device can read.
    UnderRange = "under-range",
    /// Far above its burst.
    Spike = "spike",
    /// A run of identical values in a burst that otherwise moves.
    Flat = "flat",
    /// Far below its burst: an arm's shadow.
    Shadow = "shadow",
    /// Tilted beyond the device's limit.
    Tilt = "tilt",
    /// The burst scatters too much to be a steady light: pumps left on.
    Unsteady = "unsteady",
    /// Outside the glass.
    OutsideTank = "outside-tank",
    /// No place is known, or not all of it.
    NoPosition = "no-position",
    /// Carries a station's name yet lies beyond that station's radius.
    PositionOff = "position-off",
    /// No time in a file that otherwise has times.
    NoTime = "no-time",
    /// Earlier than a reading before it in the same file.
    OutOfOrder = "out-of-order",
    /// The source holds no value, or none that can be read.
    MissingValue = "missing-value",
    /// Outside the span over which the correction was fitted.
    BeyondCorrection = "beyond-correction",
    /// No correction is known for this device and time.
    NoCorrection = "no-correction",
    /// The correction was made under another light, or in another medium.
    OtherSpectrum = "other-spectrum",
    /// Taken while the fixtures were still warming up.
    WarmUp = "warm-up",
    /// The same device, time, place and value as a reading already taken in.
    Repeat = "repeat",
}

impl Reason {
    /// The flag this reason gives (FORMATS §10, flags): `None` where it changes nothing.
    pub fn flag(self) -> Option<Flag> {
        match self {
            Self::MissingValue => Some(Flag::Missing),
            Self::OverRange
            | Self::UnderRange
            | Self::OutsideTank
            | Self::Tilt
            | Self::Repeat
            | Self::Spike
            | Self::Shadow
            | Self::NoPosition => Some(Flag::Bad),
            Self::NoCorrection => None,
            Self::Flat
            | Self::Unsteady
            | Self::PositionOff
            | Self::NoTime
            | Self::OutOfOrder
            | Self::BeyondCorrection
            | Self::OtherSpectrum
            | Self::WarmUp => Some(Flag::Questionable),
        }
    }

    /// The reason written with this word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|reason| reason.word() == word)
    }
}

/// A set of reasons; displays as words joined by `;` in written order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub struct Reasons(u32);

impl Reasons {
    /// No reason.
    pub const NONE: Self = Self(0);

    /// Adds one.
    pub fn add(&mut self, reason: Reason) {
        self.0 |= 1 << reason as u32;
    }

    /// The same with one more.
    #[must_use]
    pub fn with(mut self, reason: Reason) -> Self {
        self.add(reason);
        self
    }

    /// All of both.
    #[must_use]
    pub fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// True where the reason stands.
    pub fn has(self, reason: Reason) -> bool {
        self.0 & (1 << reason as u32) != 0
    }

    /// True where none stands.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// In written order.
    pub fn iter(self) -> impl Iterator<Item = Reason> {
        Reason::ALL
            .iter()
            .copied()
            .filter(move |reason| self.has(*reason))
    }

    /// The worst flag that any of them gives, on top of `base`.
    pub fn flag_from(self, base: Flag) -> Flag {
        self.iter().filter_map(Reason::flag).fold(base, Flag::worst)
    }
}

impl fmt::Display for Reasons {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, reason) in self.iter().enumerate() {
            if index > 0 {
                f.write_str(";")?;
            }
            f.write_str(reason.word())?;
        }
        Ok(())
    }
}

impl FromIterator<Reason> for Reasons {
    fn from_iter<I: IntoIterator<Item = Reason>>(iter: I) -> Self {
        iter.into_iter().fold(Self::NONE, Self::with)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flags_are_those_of_ioc_54_v3() {
        // IOC Manuals and Guides 54, Vol. 3 (2013), table 1: 1 good, 2 not evaluated, 3 questionable, 4 bad, 9 missing.
        assert_eq!(Flag::ALL.map(Flag::number), [1, 2, 3, 4, 9]);
        assert!(
            Flag::ALL
                .into_iter()
                .all(|flag| Flag::from_number(flag.number()) == Some(flag))
        );
        assert_eq!(Flag::from_number(5), None);
    }

    #[test]
    fn reasons_are_written_in_the_listed_order() {
        let reasons: Reasons = [
            Reason::Repeat,
            Reason::OverRange,
            Reason::PositionOff,
            Reason::NoPosition,
        ]
        .into_iter()
        .collect();
        assert_eq!(reasons.to_string(), "over-range;no-position;position-off;repeat");
        assert!(
            Reason::ALL
                .iter()
                .all(|reason| Reason::from_word(reason.word()) == Some(*reason))
        );
    }

    #[test]
    fn the_worst_reason_wins_and_no_correction_changes_nothing() {
        let reasons: Reasons = [Reason::NoCorrection].into_iter().collect();
        assert_eq!(reasons.flag_from(Flag::Good), Flag::Good);
        assert_eq!(
            reasons.with(Reason::Unsteady).flag_from(Flag::Good),
            Flag::Questionable
        );
        assert_eq!(
            reasons
                .with(Reason::Unsteady)
                .with(Reason::Tilt)
                .flag_from(Flag::Good),
            Flag::Bad
        );
    }
}
