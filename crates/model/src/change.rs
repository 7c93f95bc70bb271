//! What a survey shows against its baseline.

use crate::{Alert, AlertChange, Text};
use jiff::civil::Date;

/// Less light or more.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Direction {
    /// Less light.
    Loss,
    /// More light.
    Gain,
}

/// A change of light, percent of the baseline; negative where light fell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// Best estimate.
    pub percent: f64,
    /// Standard uncertainty, k = 1, percentage points.
    pub u_percent: f64,
    /// 95 % interval.
    pub ci95: [f64; 2],
    /// Probability that the change has the sign of its estimate.
    pub p_real: f64,
}

/// The change at one station.
#[derive(Debug, Clone, PartialEq)]
pub struct StationChange {
    /// Its name.
    pub station: Text,
    /// Against the baseline.
    pub change: Change,
    /// What is left after the tank's and the fixtures' change, percent, with its own standard uncertainty.
    pub left_over: Option<(f64, f64)>,
    /// True where it was given less weight for not fitting the rest.
    pub outlying: bool,
}

/// The change of one fixture's light.
#[derive(Debug, Clone, PartialEq)]
pub struct FixtureChange {
    /// Its id.
    pub fixture: String,
    /// Against the baseline.
    pub change: Change,
    /// How many stations get at least half of their light from it.
    pub stations: u32,
}

/// How a survey stands against its baseline.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// The survey is the baseline.
    Baseline,
    /// Nothing to hold it against yet.
    NoBaseline,
    /// Too few places or too poor to judge.
    TooPoor,
    /// No change is proven.
    NoChangeProven,
    /// A change is proven but lies under the threshold.
    BelowThreshold,
    /// A change is proven and past the threshold.
    PastThreshold,
}

/// One point of a trend: a survey's change against its baseline.
#[derive(Debug, Clone, PartialEq)]
pub struct TrendPoint {
    /// The survey's id.
    pub survey: Text,
    /// Its day.
    pub date: Date,
    /// Against the baseline.
    pub change: Change,
}

/// A judged survey. Depends on this survey and earlier ones only, so a later survey never changes it.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// The survey's id.
    pub survey: String,
    /// The baseline survey's id; `None` where there is none.
    pub baseline: Option<String>,
    /// The baseline survey's day.
    pub baseline_date: Option<Date>,
    /// Where the baseline is a mean: ids of the surveys it is the mean of, oldest first. `baseline` and
    /// `baseline_date` are then those of the first.
    pub baseline_mean_of: Vec<String>,
    /// How it stands.
    pub verdict: Verdict,
    /// Change at each station that both surveys hold; in the survey's order.
    pub stations: Vec<StationChange>,
    /// Robust even change of the whole tank.
    pub even: Option<Change>,
    /// Change of each fixture, in declared order; empty without fixtures.
    pub fixtures: Vec<FixtureChange>,
    /// True where the fixtures differ by more than chance, so that `fixtures` tells more than `even`.
    pub fixtures_differ: bool,
    /// The smallest even loss that this survey could have shown with 95 %, percent (positive).
    pub smallest_loss_percent: Option<f64>,
    /// Even change of this survey and those before it since the same baseline, oldest first.
    pub even_trend: Vec<TrendPoint>,
    /// The same for each fixture, in declared order.
    pub fixture_trends: Vec<(String, Vec<TrendPoint>)>,
    /// Why a survey is too poor, or what limits the comparison; whole sentences.
    pub limits: Vec<String>,
    /// What opened, grew or closed with this survey.
    pub alert_changes: Vec<AlertChange>,
    /// The alerts on light that are open after this survey, each as it stands then, in order of opening.
    pub open_alerts: Vec<Alert>,
}
