//! The minutes of one local day: daily light integral, peak, and what should not be.

use super::minute::Gathered;
use super::programme::{Programme, seconds};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use undim_model::{Flag, Tank, Text};
use undim_stats::robust::{median, quantile};

/// A logger's minute stands for the time until its next one, but for no longer than this, minutes.
const LONGEST_STEP: i64 = 60;
/// So many minutes may be missing in a good day.
const MISSING_IN_GOOD: u32 = 15;
/// With a larger share missing a day is bad.
const MISSING_IN_QUESTIONABLE: f64 = 0.25;
/// A day is no longer than this, minutes; a stretch of missing days no longer than a century is written out.
const LONGEST_DAY: i64 = 26 * 60;
const MOST_EMPTY_DAYS: usize = 36_600;
/// Anything above this is light, µmol m⁻² s⁻¹ (our choice: above a display's zero and a moonlight programme).
const LIGHT_PPFD: f64 = 5.0;
/// So many minutes of a morning with the programme on must have been read before it counts as dark.
const MORNING_READ: u32 = 30;
const NOON: i64 = 12 * 3600;

/// One row of `days.csv`, but for the change; and what a reminder rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Day {
    /// Day of the site's zone.
    pub date: Date,
    /// Daily light integral, mol m⁻² d⁻¹: what was measured, nothing filled in. `None` for a bad day.
    pub dli: Option<f64>,
    /// The 99th percentile of the day's minutes, µmol m⁻² s⁻¹.
    pub peak: Option<f64>,
    /// Readings used.
    pub n: u64,
    /// Readings not used.
    pub rejected: u64,
    /// 1: at most a quarter of an hour is missing; 3: at most a quarter of the day, or most readings are
    /// questionable; 4: more; 2: no way to µmol; 9: no reading.
    pub flag: Flag,
    /// Minutes missing of those that the programme has light in; of all, where there is no programme.
    pub missing_minutes: u32,
    /// Shared standard uncertainty of the light, k = 1, as a fraction.
    pub u_shared: f64,
    /// Which corrections made it; the same text for the same ones.
    pub correction: Text,
    /// Minutes with light while the programme is surely dark; `None` without a programme.
    pub lit_at_night: Option<u32>,
    /// True where no light came by noon although the programme is on; `None` where nobody can tell.
    pub dark_by_noon: Option<bool>,
}

/// A minute of the day.
struct Point {
    at: i64,
    mean: f64,
}

/// Days as they come.
pub(crate) struct Days<'a> {
    tank: &'a Tank,
    scene: Option<&'a str>,
    zone: &'a TimeZone,
    present: Option<Present>,
    done: Vec<(Day, Vec<usize>)>,
    /// The last minute of the day before stands until this minute since 1970, with this light.
    carried: Option<(i64, f64)>,
    /// The usual step of the day before, minutes.
    step: i64,
}

struct Present {
    date: Date,
    /// First minute since 1970, and the first of the next day.
    from: i64,
    until: i64,
    points: Vec<Point>,
    n: u64,
    rejected: u64,
    questionable: u64,
    not_evaluated: u64,
    light: f64,
    u_light: f64,
    chains: Vec<usize>,
}

impl<'a> Days<'a> {
    pub(crate) fn new(tank: &'a Tank, scene: Option<&'a str>, zone: &'a TimeZone) -> Self {
        Self {
            tank,
            scene,
            zone,
            present: None,
            done: Vec::new(),
            carried: None,
            step: 1,
        }
    }

    /// One more minute; they come in order of time.
    pub(crate) fn add(&mut self, gathered: &Gathered) {
        let minute = &gathered.minute;
        let at = minute.time.as_second().div_euclid(60);
        if self.present.as_ref().is_some_and(|present| at >= present.until) {
            self.end_day();
        }
        if self.present.is_none() {
            self.present = Some(self.begin_day(minute.time, at));
        }
        let Some(present) = &mut self.present else { return };
        present.n += minute.n;
        present.rejected += minute.rejected;
        present.questionable += gathered.questionable;
        present.not_evaluated += gathered.not_evaluated;
        if let Some(mean) = minute.mean {
            present.points.push(Point { at, mean });
            present.light += mean * minute.n as f64;
            present.u_light += gathered.u_shared * minute.n as f64;
        }
        for chain in &gathered.chains {
            if !present.chains.contains(chain) {
                present.chains.push(*chain);
            }
        }
    }

    /// All days; `keys` are the corrections by their number.
    pub(crate) fn finish(mut self, keys: &[Text]) -> Vec<Day> {
        self.end_day();
        let mut days: Vec<Day> = Vec::with_capacity(self.done.len());
        for (mut day, chains) in self.done {
            let mut names: Vec<&str> = chains
                .iter()
                .filter_map(|chain| keys.get(*chain))
                .map(|key| &**key)
                .collect();
            names.sort_unstable();
            names.dedup();
            day.correction = Text::from(names.join(" + "));
            let mut next = days.last().and_then(|last| last.date.tomorrow().ok());
            let mut empty = 0;
            while let Some(date) = next
                && date < day.date
                && empty < MOST_EMPTY_DAYS
            {
                days.push(Day::without_reading(date));
                next = date.tomorrow().ok();
                empty += 1;
            }
            days.push(day);
        }
        days
    }

    fn begin_day(&self, time: Timestamp, at: i64) -> Present {
        let date = self.zone.to_datetime(time).date();
        let start = |day: Date| {
            let midnight = self.zone.to_timestamp(day.at(0, 0, 0, 0)).ok()?;
            Some(midnight.as_second().div_euclid(60))
        };
        let from = start(date).unwrap_or(at);
        let until = date.tomorrow().ok().and_then(start).unwrap_or(at + 1);
        Present {
            date,
            from,
            until: until.clamp(at + 1, from.saturating_add(LONGEST_DAY).max(at + 1)),
            points: Vec::new(),
            n: 0,
            rejected: 0,
            questionable: 0,
            not_evaluated: 0,
            light: 0.0,
            u_light: 0.0,
            chains: Vec::new(),
        }
    }

    fn end_day(&mut self) {
        let Some(present) = self.present.take() else {
            return;
        };
        let steps: Vec<f64> = present
            .points
            .windows(2)
            .map(|pair| (pair[1].at - pair[0].at) as f64)
            .collect();
        if let Some(step) = median(&steps) {
            self.step = (step.round() as i64).clamp(1, LONGEST_STEP);
        }
        let length = usize::try_from(present.until - present.from).unwrap_or_default();
        let mut light: Vec<Option<f64>> = vec![None; length];
        let mut fill = |from: i64, until: i64, mean: f64| {
            for at in from.max(present.from)..until.min(present.until) {
                if let Some(minute) = usize::try_from(at - present.from)
                    .ok()
                    .and_then(|index| light.get_mut(index))
                {
                    *minute = Some(mean);
                }
            }
        };
        if let Some((until, mean)) = self.carried.take() {
            let first = present.points.first().map_or(until, |point| point.at);
            fill(present.from, until.min(first), mean);
        }
        for (index, point) in present.points.iter().enumerate() {
            let next = present.points.get(index + 1).map_or(i64::MAX, |next| next.at);
            let until = next.min(point.at + self.step);
            fill(point.at, until, point.mean);
            self.carried = (until > present.until).then_some((until, point.mean));
        }
        let day = self.judged(&present, &light);
        self.done.push((day, present.chains));
    }

    fn judged(&self, present: &Present, light: &[Option<f64>]) -> Day {
        let programme = Programme::on(self.tank, self.scene, present.date);
        let times: Vec<i64> = (0..light.len() as i64)
            .map(|minute| self.clock_at(present.from + minute))
            .collect();
        let is_wanted = |at: i64| {
            programme
                .as_ref()
                .is_none_or(|programme| programme.factor(at) > 0.0)
        };
        let wanted = times.iter().filter(|at| is_wanted(**at)).count();
        let missing = times
            .iter()
            .zip(light)
            .filter(|(at, light)| light.is_none() && is_wanted(**at))
            .count();
        let flag = if present.n == 0 {
            if present.not_evaluated > 0 {
                Flag::NotEvaluated
            } else {
                Flag::Bad
            }
        } else if missing as f64 > MISSING_IN_QUESTIONABLE * wanted as f64 {
            Flag::Bad
        } else if missing > MISSING_IN_GOOD as usize || 2 * present.questionable > present.n {
            Flag::Questionable
        } else {
            Flag::Good
        };
        let sum: f64 = light.iter().flatten().sum();
        let means: Vec<f64> = present.points.iter().map(|point| point.mean).collect();
        let is_told = matches!(flag, Flag::Good | Flag::Questionable);
        Day {
            date: present.date,
            // µmol m⁻² s⁻¹ for a minute each, in mol.
            dli: is_told.then_some(sum * 60.0 / 1e6),
            peak: quantile(&means, 0.99).filter(|_| is_told),
            n: present.n,
            rejected: present.rejected,
            flag,
            missing_minutes: u32::try_from(missing).unwrap_or(u32::MAX),
            u_shared: if present.light > 0.0 {
                present.u_light / present.light
            } else {
                0.0
            },
            correction: Text::from(""),
            lit_at_night: programme
                .as_ref()
                .map(|programme| lit_at_night(programme, &times, light)),
            dark_by_noon: programme
                .as_ref()
                .and_then(|programme| dark_by_noon(programme, &times, light)),
        }
    }

    /// Seconds since midnight on the site's clock at a minute since 1970.
    fn clock_at(&self, minute: i64) -> i64 {
        Timestamp::from_second(minute.saturating_mul(60))
            .map_or(0, |time| seconds(self.zone.to_datetime(time).time()))
    }
}

impl Day {
    fn without_reading(date: Date) -> Self {
        Self {
            date,
            dli: None,
            peak: None,
            n: 0,
            rejected: 0,
            flag: Flag::Missing,
            missing_minutes: 24 * 60,
            u_shared: 0.0,
            correction: Text::from(""),
            lit_at_night: None,
            dark_by_noon: None,
        }
    }
}

fn lit_at_night(programme: &Programme, times: &[i64], light: &[Option<f64>]) -> u32 {
    let lit = times.iter().zip(light).filter(|(at, light)| {
        light.is_some_and(|light| light > LIGHT_PPFD) && programme.is_surely_dark(**at)
    });
    u32::try_from(lit.count()).unwrap_or(u32::MAX)
}

/// Whether a morning that was read, and in which the programme is on for half an hour at least, had no light.
fn dark_by_noon(programme: &Programme, times: &[i64], light: &[Option<f64>]) -> Option<bool> {
    let half = times.iter().map(|at| programme.factor(*at)).fold(0.0, f64::max) / 2.0;
    let morning: Vec<f64> = times
        .iter()
        .zip(light)
        .filter(|(at, _)| **at < NOON && programme.factor(**at) >= half)
        .filter_map(|(_, light)| *light)
        .collect();
    // It is not noon yet where the log ends before.
    let is_noon = times
        .iter()
        .zip(light)
        .any(|(at, light)| *at >= NOON - 300 && light.is_some());
    let is_read = is_noon && morning.len() >= MORNING_READ as usize;
    is_read.then(|| morning.iter().all(|light| *light <= LIGHT_PPFD))
}
