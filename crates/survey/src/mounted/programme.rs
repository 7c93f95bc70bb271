//! A scene's daily programme: when the light should be on.

use jiff::civil::{Date, Time};
use undim_model::{Tank, valid_on};

/// Seconds of a day.
const DAY: i64 = 86_400;

/// Times of day with a factor on the levels, by straight lines between them.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Programme {
    points: Vec<(i64, f64)>,
}

impl Programme {
    /// That of a scene on a day; `None` where nothing is said of the day.
    pub(crate) fn on(tank: &Tank, scene: Option<&str>, day: Date) -> Option<Self> {
        let scenes = valid_on(&tank.scenes, day);
        let scene = scenes
            .into_iter()
            .find(|found| Some(found.id.as_str()) == scene)?;
        let mut points: Vec<(i64, f64)> = scene
            .day
            .iter()
            .map(|(time, factor)| (seconds(*time), *factor))
            .collect();
        points.sort_by_key(|(at, _)| *at);
        // One that is never on can't tell dark hours from lit ones.
        let is_ever_on = points.iter().any(|(_, factor)| *factor > 0.0);
        is_ever_on.then_some(Self { points })
    }

    /// The factor at a time of day, seconds; before the first and after the last point that point's.
    pub(crate) fn factor(&self, at: i64) -> f64 {
        let at = at.rem_euclid(DAY);
        let next = self.points.partition_point(|(time, _)| *time <= at);
        match (
            next.checked_sub(1).and_then(|last| self.points.get(last)),
            self.points.get(next),
        ) {
            (Some((from, low)), Some((to, high))) => {
                low + (high - low) * (at - from) as f64 / (to - from) as f64
            }
            (Some((_, factor)), None) | (None, Some((_, factor))) => *factor,
            (None, None) => 0.0,
        }
    }

    /// True where the programme is dark, and was and will be for a while: clocks and ramps differ a little.
    pub(crate) fn is_surely_dark(&self, at: i64) -> bool {
        const MARGIN: i64 = 30 * 60;
        [at - MARGIN, at, at + MARGIN]
            .into_iter()
            .all(|at| self.factor(at) <= 0.0)
    }
}

/// Seconds since midnight on the clock's face.
pub(crate) fn seconds(time: Time) -> i64 {
    i64::from(time.hour()) * 3600 + i64::from(time.minute()) * 60 + i64::from(time.second())
}
