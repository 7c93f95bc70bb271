//! A tank as its keeper declares it (FORMATS §3): its shape, frames, fixtures, scenes, stations and
//! corals, each with the span of days for which it holds.

use crate::{DateSpan, Dated, Position};
use jiff::civil::{Date, Time};

/// Everything known about one tank.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tank {
    /// The file's stem.
    pub id: String,
    /// As shown to people.
    pub name: String,
    /// False for a tank that only a folder or a file names.
    pub declared: bool,
    /// Inside measures through time.
    pub inside: Vec<Inside>,
    /// How somebody's x, y, z lie in the tank.
    pub frames: Vec<Frame>,
    /// Light fixtures.
    pub fixtures: Vec<Fixture>,
    /// Lighting scenes.
    pub scenes: Vec<Scene>,
    /// Declared stations, in declared order.
    pub stations: Vec<Station>,
    /// Corals.
    pub corals: Vec<Coral>,
    /// What counts as drift.
    pub drift: DriftSettings,
}

impl Tank {
    /// A tank of which only the id is known.
    pub fn undeclared(id: &str) -> Self {
        Self {
            id: id.to_owned(),
            name: id.to_owned(),
            ..Self::default()
        }
    }

    /// The inside measures that hold on a day.
    pub fn inside_on(&self, day: Date) -> Option<&Inside> {
        self.inside
            .iter()
            .filter(|inside| inside.span.holds(day))
            .max_by_key(|inside| inside.span.from)
    }
}

/// Inside measures, cm.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Inside {
    /// Left to right.
    pub length_cm: f64,
    /// Front to back.
    pub front_to_back_cm: f64,
    /// Bottom pane to rim.
    pub height_cm: f64,
    /// Bottom pane to surface; `None` where the keeper gives none.
    pub water_cm: Option<f64>,
    /// Corners (`from_left`, `from_front`), where the tank is no box; empty for a box.
    pub footprint_cm: Vec<[f64; 2]>,
    /// When it holds.
    pub span: DateSpan,
}

/// A direction along one of the tank's axes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Direction3 {
    /// Towards the right pane.
    Right,
    /// Towards the left pane.
    Left,
    /// Towards the surface.
    Up,
    /// Towards the bottom pane.
    Down,
    /// Towards the rear pane.
    Back,
    /// Towards the front pane.
    Front,
}

impl Direction3 {
    /// The tank axis it lies along (0 from left, 1 from bottom, 2 from front) and its sign.
    pub fn axis_and_sign(self) -> (usize, f64) {
        match self {
            Self::Right => (0, 1.0),
            Self::Left => (0, -1.0),
            Self::Up => (1, 1.0),
            Self::Down => (1, -1.0),
            Self::Back => (2, 1.0),
            Self::Front => (2, -1.0),
        }
    }
}

/// A unit of length that coordinates come in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum LengthUnit {
    /// Millimetre.
    Millimetre,
    /// Centimetre.
    #[default]
    Centimetre,
    /// Metre.
    Metre,
    /// International inch, 2.54 cm exactly.
    Inch,
}

impl LengthUnit {
    /// How many centimetres one of it is; exact.
    pub fn cm(self) -> f64 {
        match self {
            Self::Millimetre => 0.1,
            Self::Centimetre => 1.0,
            Self::Metre => 100.0,
            Self::Inch => 2.54,
        }
    }

    /// From `mm`, `cm`, `m`, `in` (or UCUM's `[in_i]`).
    pub fn from_code(code: &str) -> Option<Self> {
        match code {
            "mm" => Some(Self::Millimetre),
            "cm" => Some(Self::Centimetre),
            "m" => Some(Self::Metre),
            "in" | "[in_i]" => Some(Self::Inch),
            _ => None,
        }
    }
}

/// What the second number of a frame's origin is counted from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum Zero {
    /// The bottom pane.
    #[default]
    Bottom,
    /// The day's water surface, positive upwards.
    Surface,
}

/// How somebody's x, y, z lie in the tank.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// Its id.
    pub id: String,
    /// Where its zero lies: from left, from bottom (or from the surface), from front, cm.
    pub origin_cm: [f64; 3],
    /// Where its x, y, z point.
    pub axes: [Direction3; 3],
    /// The unit of its numbers, where a file states none.
    pub unit: LengthUnit,
    /// What the second number of the origin is counted from.
    pub zero: Zero,
    /// How well a place is found again, k = 1, cm; own to each place.
    pub place_cm: f64,
    /// What a whole survey may share in height, k = 1, cm.
    pub rod_cm: f64,
    /// When it holds.
    pub span: DateSpan,
}

/// A light fixture above the tank.
#[derive(Debug, Clone, PartialEq)]
pub struct Fixture {
    /// Its id.
    pub id: String,
    /// Its middle.
    pub centre: Position,
    /// Left to right, front to back, cm; zero for a point.
    pub size_cm: [f64; 2],
    /// When it was hung.
    pub installed: Option<Date>,
    /// Where its emitters sit; empty: spread over its size.
    pub lenses: Vec<Position>,
    /// When it holds.
    pub span: DateSpan,
}

/// What is set on a fixture: one fraction, or one for each channel.
#[derive(Debug, Clone, PartialEq)]
pub enum LevelSet {
    /// 0 to 1.
    Whole(f64),
    /// Channel name and 0 to 1.
    Channels(Vec<(String, f64)>),
}

/// A lighting scene that readings are taken under.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// Its id.
    pub id: String,
    /// What is set, fixture by fixture.
    pub levels: Vec<(String, LevelSet)>,
    /// The one fixture that is on.
    pub only: Option<String>,
    /// Daily programme: time of day and a factor on the levels.
    pub day: Vec<(Time, f64)>,
    /// When it holds.
    pub span: DateSpan,
}

/// A named place that is read again and again.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// Its id.
    pub id: String,
    /// A name that a file may use instead of the id.
    pub name: Option<String>,
    /// Where it is.
    pub at: Position,
    /// A reading this near belongs to it, cm.
    pub radius_cm: f64,
    /// When it holds.
    pub span: DateSpan,
}

/// The light a coral should get.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LightRange {
    /// From, to, µmol m⁻² s⁻¹.
    Ppfd(f64, f64),
    /// From, to, mol m⁻² d⁻¹.
    Dli(f64, f64),
}

/// A coral.
#[derive(Debug, Clone, PartialEq)]
pub struct Coral {
    /// Its id.
    pub id: String,
    /// Where it sits.
    pub at: Position,
    /// What it should get.
    pub wanted: Option<LightRange>,
    /// When it holds.
    pub span: DateSpan,
}

macro_rules! dated {
    ($($noun:ty),+) => { $(impl Dated for $noun {
        fn id(&self) -> &str { &self.id }
        fn span(&self) -> DateSpan { self.span }
    })+ };
}
dated!(Frame, Fixture, Scene, Station, Coral);

/// Where a finding becomes worth a notice, and where it becomes urgent, percent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thresholds {
    /// Percent.
    pub notice: f64,
    /// Percent.
    pub urgent: f64,
}

/// How often each kind of event is expected, events a year (DESIGN §10, step 8).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Priors {
    /// All fixtures alike.
    pub even: f64,
    /// The water's clarity.
    pub water: f64,
    /// Each fixture.
    pub fixture: f64,
    /// The device's zero.
    pub zero: f64,
    /// Anything else.
    pub unexplained: f64,
}

/// What later surveys are held against.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Baseline {
    /// The first survey since the last upkeep that resets.
    #[default]
    SinceChange,
    /// The first survey of all.
    First,
    /// A survey named by its id.
    Survey(String),
}

/// What counts as drift in this tank.
#[derive(Debug, Clone, PartialEq)]
pub struct DriftSettings {
    /// For losses, percent.
    pub loss_percent: Thresholds,
    /// For gains, percent.
    pub gain_percent: Thresholds,
    /// How well a whole survey repeats if nothing changed, k = 1, percent.
    pub survey_repeat_percent: f64,
    /// Expected events a year.
    pub priors: Priors,
    /// What later surveys are held against.
    pub baseline: Baseline,
    /// A survey is overdue after this many seconds; `None`: never.
    pub every_seconds: Option<u64>,
}

impl Default for DriftSettings {
    fn default() -> Self {
        Self {
            loss_percent: Thresholds {
                notice: 7.0,
                urgent: 20.0,
            },
            gain_percent: Thresholds {
                notice: 10.0,
                urgent: 25.0,
            },
            survey_repeat_percent: 2.0,
            priors: Priors {
                even: 0.3,
                water: 0.2,
                fixture: 0.3,
                zero: 0.1,
                unexplained: 0.1,
            },
            baseline: Baseline::SinceChange,
            every_seconds: None,
        }
    }
}
