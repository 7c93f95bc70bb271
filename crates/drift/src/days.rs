//! A mounted sensor's days against its baseline of days.
//!
//! The baseline is the first seven good days (flag 1) since the last upkeep that resets (formats, section 3) and
//! under the same programme: their mean. A day's light moves with the water, the corals' growth and the fixtures'
//! own scatter; how much it does so shows in the baseline itself, and that is a later day's uncertainty.

use jiff::civil::Date;
use undim_model::{Baseline, DateSpan, Flag, Tank, Text, Upkeep, valid_on};

/// Days of a baseline: a week, so that weekly habits weigh the same.
pub const BASELINE_DAYS: usize = 7;

/// No sensor and no fixture repeats better from day to day, k = 1 (our choice: a baseline that happens to agree
/// better tells nothing more).
const LEAST_SCATTER: f64 = 0.005;

/// A day as it is judged.
#[derive(Debug, Clone, PartialEq)]
pub struct DayOfLight {
    /// Day of the site's zone; they come in order.
    pub date: Date,
    /// Daily light integral, mol m⁻² d⁻¹.
    pub dli: Option<f64>,
    /// Quality.
    pub flag: Flag,
    /// Which correction made it.
    pub correction: Text,
    /// Shared standard uncertainty, k = 1, as a fraction.
    pub u_shared: f64,
}

/// A day's change against its baseline; empty where there is none or the day is part of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DayChange {
    /// Percent of the baseline; negative where light fell. Only for good days.
    pub change_percent: Option<f64>,
    /// Its standard uncertainty, k = 1, percentage points.
    pub u_change_percent: Option<f64>,
    /// First and last day of the baseline.
    pub baseline: Option<(Date, Date)>,
}

/// The light that later days are held against.
struct Base {
    from: Date,
    until: Date,
    mean: f64,
    /// Relative standard deviation from day to day.
    scatter: f64,
    correction: Text,
    u_shared: f64,
}

/// Holds each day against the baseline before it, so that a later day never changes an earlier one.
///
/// With `d` the day's and `b` the baseline's light, u² = (d/b)² (s² (1 + 1/7) + v²): s the relative standard
/// deviation of the baseline's days, and v the shared uncertainties of both where device or correction differ;
/// where they are the same these cancel (JCGM 100:2008, 5.2.2).
pub fn judge_days(
    days: &[DayOfLight],
    tank: &Tank,
    scene: Option<&str>,
    upkeep: &[Upkeep],
) -> Vec<DayChange> {
    let mut changes = Vec::with_capacity(days.len());
    let mut gathered: Vec<&DayOfLight> = Vec::new();
    let mut base: Option<Base> = None;
    let mut before: Option<&DayOfLight> = None;
    for day in days {
        let is_reset = before.is_some_and(|before| resets(before.date, day.date, tank, scene, upkeep));
        before = Some(day);
        if is_reset {
            gathered.clear();
            base = None;
        }
        let light = day.dli.filter(|dli| day.flag == Flag::Good && *dli > 0.0);
        let Some(base) = &base else {
            if light.is_some() {
                gathered.push(day);
            }
            if gathered.len() == BASELINE_DAYS {
                base = base_of(&gathered);
            }
            changes.push(DayChange::default());
            continue;
        };
        changes.push(match day.dli.filter(|_| day.flag == Flag::Good) {
            Some(dli) => base.change(day, dli),
            None => DayChange {
                baseline: Some((base.from, base.until)),
                ..DayChange::default()
            },
        });
    }
    changes
}

/// True where something was done after one day, up to another one, that starts the baseline anew.
fn resets(before: Date, day: Date, tank: &Tank, scene: Option<&str>, upkeep: &[Upkeep]) -> bool {
    if tank.drift.baseline == Baseline::First {
        return false;
    }
    let since = DateSpan {
        from: before.tomorrow().ok(),
        until: Some(day),
    };
    let was_done = upkeep
        .iter()
        .any(|line| line.what.resets_baseline() && since.holds(line.date));
    let programme = |day: Date| {
        let scene = valid_on(&tank.scenes, day)
            .into_iter()
            .find(|found| Some(found.id.as_str()) == scene);
        scene.map(|scene| (&scene.day, &scene.levels))
    };
    was_done || programme(before) != programme(day)
}

fn base_of(days: &[&DayOfLight]) -> Option<Base> {
    let lights: Vec<f64> = days.iter().filter_map(|day| day.dli).collect();
    let (mean, sd) = undim_stats::robust::mean_and_sd(&lights)?;
    let (first, last) = (days.first()?, days.last()?);
    Some(Base {
        from: first.date,
        until: last.date,
        mean,
        scatter: (sd / mean).max(LEAST_SCATTER),
        correction: last.correction.clone(),
        u_shared: last.u_shared,
    })
}

impl Base {
    fn change(&self, day: &DayOfLight, dli: f64) -> DayChange {
        let ratio = dli / self.mean;
        let own = self.scatter * (1.0 + 1.0 / BASELINE_DAYS as f64).sqrt();
        let shared = if day.correction == self.correction {
            0.0
        } else {
            day.u_shared.hypot(self.u_shared)
        };
        DayChange {
            change_percent: Some(100.0 * (ratio - 1.0)),
            u_change_percent: Some(100.0 * ratio * own.hypot(shared)),
            baseline: Some((self.from, self.until)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::ToSpan as _;
    use jiff::civil::date;
    use undim_model::{DriftSettings, UpkeepKind};

    fn days(lights: &[f64]) -> Vec<DayOfLight> {
        let first = date(2026, 3, 1);
        let day = |(number, light): (usize, &f64)| DayOfLight {
            date: first.saturating_add((number as i64).days()),
            dli: Some(*light),
            flag: Flag::Good,
            correction: Text::from("a"),
            u_shared: 0.03,
        };
        lights.iter().enumerate().map(day).collect()
    }

    #[test]
    fn the_first_good_week_is_the_baseline_and_later_days_are_held_against_it() {
        let mut all = days(&[10.0, 10.2, 9.8, 10.0, 10.1, 9.9, 10.0, 9.0, 9.0]);
        all[8].correction = Text::from("b");
        let changes = judge_days(&all, &Tank::undeclared("reef"), None, &[]);
        assert!(changes[..7].iter().all(|change| *change == DayChange::default()));
        assert_eq!(changes[7].baseline, Some((date(2026, 3, 1), date(2026, 3, 7))));
        assert!((changes[7].change_percent.expect("a change") + 10.0).abs() < 1e-9);
        // By hand: the squared distances sum to 0.1, s = √(0.1/6)/10 = 0.01291, u = 90 · s · √(8/7).
        let by_hand = 90.0 * ((0.1_f64 / 6.0).sqrt() / 10.0) * (8.0_f64 / 7.0).sqrt();
        assert!((changes[7].u_change_percent.expect("its u") - by_hand).abs() < 1e-9);
        let more = 90.0 * (by_hand / 90.0).hypot(0.03_f64.hypot(0.03));
        assert!((changes[8].u_change_percent.expect("its u") - more).abs() < 1e-9);
    }

    #[test]
    fn a_poor_day_is_no_baseline_and_has_no_change() {
        let mut all = days(&[10.0; 10]);
        all[0].flag = Flag::Questionable;
        all[9].flag = Flag::Questionable;
        let changes = judge_days(&all, &Tank::undeclared("reef"), None, &[]);
        assert_eq!(changes[8].baseline, Some((date(2026, 3, 2), date(2026, 3, 8))));
        assert_eq!(changes[9].change_percent, None);
        assert_eq!(changes[9].baseline, changes[8].baseline);
    }

    #[test]
    fn what_resets_starts_anew_and_cleaning_does_not() {
        let all = days(&[10.0; 12]);
        let done = |what| Upkeep {
            date: date(2026, 3, 9),
            what,
            target: None,
            remark: None,
        };
        let mut tank = Tank::undeclared("reef");
        let after = |tank: &Tank, what| judge_days(&all, tank, None, &[done(what)])[10].baseline;
        assert!(after(&tank, UpkeepKind::LensCleaned).is_some());
        assert!(after(&tank, UpkeepKind::FixtureChanged).is_none());
        tank.drift = DriftSettings {
            baseline: Baseline::First,
            ..DriftSettings::default()
        };
        assert!(after(&tank, UpkeepKind::FixtureChanged).is_some());
    }
}
