//! The nouns of undim.
//!
//! Every value that passes from one stage to the next, is stored, or is reported lives here:
//!
//! `intake → import → clean → correct → place → survey → drift → emit`
//!
//! Nothing in this crate reads a file, a clock or the environment, and nothing here can be serialised:
//! the crates at the edge own their written forms and convert by hand, so that a stored format never
//! freezes a noun.
//!
//! Units stand in the names: `_cm` centimetres, `_percent` percent, `_deg` degrees, `ppfd`
//! µmol m⁻² s⁻¹. Every `u_` is a standard uncertainty, k = 1 (JCGM 100:2008, 2.3.1).

mod alert;
mod change;
mod device;
mod flag;
mod imported;
mod measured;
mod outlook;
mod position;
mod reading;
mod reminder;
mod side_by_side;
mod span;
mod spectrum_sheet;
mod survey;
mod tank;
mod upkeep;

pub use alert::{About, Alert, AlertChange, AlertStep, AlertTarget, Alternative, Cause, Level, State};
pub use change::{Change, Direction, FixtureChange, Judgement, StationChange, TrendPoint, Verdict};
pub use device::{Correction, Device, DeviceUnit, Factor, Fit, FitModel, Medium, Role};
pub use flag::{Flag, Reason, Reasons};
pub use imported::{Fact, ImportProblem, ImportedRow, ImportedTime, Text};
pub use measured::{Measured, SharedKind, SharedPart};
pub use outlook::{Outlook, Reach};
pub use position::Position;
pub use reading::Reading;
pub use reminder::{NoticeStep, Noticed, Reminder, Subject};
pub use side_by_side::{AcceptedHolds, CorrectedAt, SideBySide, SidePair};
pub use span::{DateSpan, Dated, valid_on};
pub use spectrum_sheet::{SpectrumCurve, SpectrumSheet};
pub use survey::{DeviceUse, FlagCounts, ReadAgain, SourceFile, StationValue, Survey, WithdrawnFile};
pub use tank::{
    Baseline, Coral, Direction3, DriftSettings, Fixture, Frame, Inside, LengthUnit, LevelSet, LightRange,
    Priors, Scene, Station, Tank, Thresholds, Zero,
};
pub use upkeep::{Upkeep, UpkeepKind};
