//! Where a trend leads, as far as the surveys allow it to be said.

use crate::AlertTarget;
use jiff::civil::Date;

/// When a threshold will be reached if the trend goes on: an interval of days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reach {
    /// The threshold, percent lost.
    pub loss_percent: u32,
    /// The first day that is likely.
    pub earliest: Date,
    /// The last day that is likely; `None` where it lies further ahead than was observed.
    pub latest: Option<Date>,
}

/// The trend of the tank or of one fixture since its baseline.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// The scene of the surveys.
    pub scene: Option<String>,
    /// The tank or a fixture.
    pub target: AlertTarget,
    /// Surveys since the baseline, the baseline included.
    pub surveys: usize,
    /// Days from the first to the last of them.
    pub days: i64,
    /// Theil–Sen slope, percent of the light a year, with its 95 % interval; negative for a loss. `None` where there are not
    /// enough surveys yet.
    pub percent_a_year: Option<(f64, [f64; 2])>,
    /// Two-sided probability of so much order by chance: Mann–Kendall, in its seasonal form from two years on.
    pub p_chance: Option<f64>,
    /// Decline a year of the exponential maintenance curve, percent; negative for a rise.
    pub decline_percent: Option<f64>,
    /// True where a control chart (EWMA or CUSUM) shows a slow loss while no threshold is reached.
    pub creeps: bool,
    /// When the thresholds will be reached, the notice first; no further ahead than the observed span.
    pub reaches: Vec<Reach>,
    /// What can be said, in one sentence.
    pub said: String,
}
