//! Alerts (FORMATS §7).

use jiff::Timestamp;

/// What an alert is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum About {
    /// A loss or a gain of light.
    Light,
    /// No survey for too long.
    Overdue,
    /// A mounted sensor that fell silent.
    Silent,
    /// A file set aside, or a folder missing.
    Intake,
}

/// Open or closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum State {
    /// Still so.
    Open,
    /// Over.
    Closed,
}

/// How pressing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Level {
    /// Worth knowing.
    Notice,
    /// Act soon.
    Urgent,
}

/// The likeliest cause of a change of light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Cause {
    /// Fixtures give less with age.
    FixtureAgeing,
    /// A film on a lens or cover.
    LensDirty,
    /// The water's clarity or colour.
    WaterClarity,
    /// The device itself.
    DeviceDrift,
    /// Another programme or level.
    LevelsChanged,
    /// A broken fixture.
    FixtureFault,
    /// A fixture hangs elsewhere.
    FixtureMoved,
    /// The rockwork changed.
    RockMoved,
    /// Something shades a station.
    StationShaded,
    /// Growth on the sensor.
    SensorFouled,
    /// Daylight or a room lamp.
    RoomLight,
    /// Read at another place.
    PositionOff,
    /// None of the known ones fits.
    Unexplained,
}

macro_rules! words {
    ($noun:ty { $($variant:ident = $word:literal),+ $(,)? }) => {
        impl $noun {
            /// The word that is written.
            pub fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)+ }
            }

            /// The value written with this word.
            pub fn from_word(word: &str) -> Option<Self> {
                match word { $($word => Some(Self::$variant),)+ _ => None }
            }
        }
    };
}

words!(About { Light = "light", Overdue = "overdue", Silent = "silent", Intake = "intake" });
words!(State { Open = "open", Closed = "closed" });
words!(Level { Notice = "notice", Urgent = "urgent" });
words!(Cause {
    FixtureAgeing = "fixture-ageing",
    LensDirty = "lens-dirty",
    WaterClarity = "water-clarity",
    DeviceDrift = "device-drift",
    LevelsChanged = "levels-changed",
    FixtureFault = "fixture-fault",
    FixtureMoved = "fixture-moved",
    RockMoved = "rock-moved",
    StationShaded = "station-shaded",
    SensorFouled = "sensor-fouled",
    RoomLight = "room-light",
    PositionOff = "position-off",
    Unexplained = "unexplained",
});

/// What the light changed under.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum AlertTarget {
    /// The whole tank.
    Tank,
    /// One fixture, by id.
    Fixture(String),
    /// One station, by id.
    Station(String),
    /// Several stations that nothing explains together.
    Stations(Vec<String>),
    /// A file or folder, by path.
    Path(String),
}

/// Another cause with the probability given to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alternative {
    /// The cause.
    pub cause: Cause,
    /// 0 to 1.
    pub probability: f64,
}

/// An alert in its present state.
#[derive(Debug, Clone, PartialEq)]
pub struct Alert {
    /// Unique within the tank, `[a-z0-9-]`, the same however often the past is derived.
    pub id: String,
    /// The tank's id; empty where it belongs to the whole site.
    pub tank: String,
    /// What it is about.
    pub about: About,
    /// Open or closed.
    pub state: State,
    /// How pressing.
    pub level: Level,
    /// The likeliest cause; `None` where it is not about light.
    pub cause: Option<Cause>,
    /// The probability given to that cause, where causes were weighed.
    pub cause_probability: Option<f64>,
    /// Where.
    pub target: AlertTarget,
    /// Percent against the baseline; negative where light fell.
    pub change_percent: Option<f64>,
    /// 95 % interval of the change.
    pub ci95: Option<[f64; 2]>,
    /// The survey that shows it now.
    pub survey: Option<String>,
    /// The baseline survey.
    pub baseline: Option<String>,
    /// Survey or reading time.
    pub opened: Timestamp,
    /// Survey or reading time.
    pub updated: Timestamp,
    /// Survey or reading time.
    pub closed: Option<Timestamp>,
    /// Why, in whole sentences with numbers.
    pub evidence: Vec<String>,
    /// What to do, in order, safety first.
    pub next_step: Vec<String>,
    /// Other causes.
    pub alternatives: Vec<Alternative>,
    /// Causes that can't be told apart with what is known.
    pub alike: Vec<Cause>,
    /// Probability that anything changed at all.
    pub p_real: Option<f64>,
}

/// What happened to an alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum AlertStep {
    /// New.
    Opened,
    /// Now urgent.
    Raised,
    /// Still open; its place or its cause reads differently now.
    Changed,
    /// Over.
    Closed,
}

words!(AlertStep { Opened = "opened", Raised = "raised", Changed = "changed", Closed = "closed" });

/// One change of an alert: one line of `alerts.jsonl`, at most one notice.
#[derive(Debug, Clone, PartialEq)]
pub struct AlertChange {
    /// What happened.
    pub step: AlertStep,
    /// The alert after it.
    pub alert: Alert,
}
