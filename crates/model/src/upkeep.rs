//! The dated list of what was done to a tank (formats, section 3).

use jiff::civil::Date;

macro_rules! kinds {
    ($($(#[doc = $doc:literal])+ $name:ident = $word:literal,)+) => {
        /// What was done.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum UpkeepKind { $($(#[doc = $doc])+ $name,)+ }

        impl UpkeepKind {
            /// Every kind, in the order of the formats.
            pub const ALL: &'static [Self] = &[$(Self::$name,)+];

            /// The word that is written.
            pub fn word(self) -> &'static str {
                match self { $(Self::$name => $word,)+ }
            }
        }
    };
}

kinds! {
    /// A fixture's lens.
    LensCleaned = "lens-cleaned",
    /// A cover glass.
    CoverCleaned = "cover-cleaned",
    /// A fixture, or its emitters, replaced.
    FixtureChanged = "fixture-changed",
    /// A fixture hung elsewhere.
    FixtureMoved = "fixture-moved",
    /// Another programme or level.
    LevelsChanged = "levels-changed",
    /// A large water change.
    WaterChanged = "water-changed",
    /// New activated carbon.
    CarbonChanged = "carbon-changed",
    /// A mounted sensor wiped.
    SensorWiped = "sensor-wiped",
    /// Another device, bag or diffuser.
    DeviceChanged = "device-changed",
    /// Rockwork moved.
    RockMoved = "rock-moved",
    /// Corals moved, added or taken out.
    CoralsChanged = "corals-changed",
    /// Anything else.
    Other = "other",
}

impl UpkeepKind {
    /// The kind written with this word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|kind| kind.word() == word)
    }

    /// True where `baseline = "since-change"` starts anew (formats, section 3): never for cleaning, water
    /// or carbon, which would hide ageing.
    pub fn resets_baseline(self) -> bool {
        matches!(
            self,
            Self::FixtureChanged | Self::FixtureMoved | Self::LevelsChanged | Self::RockMoved
        )
    }
}

/// One line of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Upkeep {
    /// Day of the site's zone.
    pub date: Date,
    /// What was done.
    pub what: UpkeepKind,
    /// A fixture, device or station id; `None` for the whole tank.
    pub target: Option<String>,
    /// Free text.
    pub remark: Option<String>,
}
