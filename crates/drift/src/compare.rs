//! The change at each station that a survey and its baseline both hold.
//!
//! Everything is relative: the change is ln(now / then), uncertainties are parts of the value. The own parts
//! of both add in quadrature. What all stations of a survey share stands in columns, so that the noise of the
//! changes has covariance diag(own²) + U·Uᵀ:
//!
//! - how well a survey repeats (`survey_repeat_percent`), once for each of the two surveys;
//! - what is new in every survey (re-zeroing, the rod's height), for both, in quadrature;
//! - what lasts between surveys (calibration, fit, factors): where device and correction are the same it is
//!   one and the same error, of which only the difference of its relative sizes is left; else both count.

use crate::mean::Reference;
use crate::words;
use undim_model::{Measured, Reason, SharedKind, StationValue, Survey, Text};

/// No place repeats better than this, relative, k = 1: a stated 0 would give it all the weight.
pub(crate) const LEAST_OWN: f64 = 0.002;
/// Places whose own uncertainty is larger than this, relative, say nothing about the tank.
pub(crate) const MOST_OWN: f64 = 0.5;

/// One station in both surveys.
#[derive(Debug, Clone)]
pub(crate) struct Pair {
    /// Its name.
    pub(crate) station: Text,
    /// Where it stands among the baseline's stations.
    pub(crate) index_then: usize,
    /// ln(now / then).
    pub(crate) ln_ratio: f64,
    /// Own standard uncertainty of that.
    pub(crate) own: f64,
    /// The own part that comes from the baseline alone.
    pub(crate) own_then: f64,
    /// Its row of U.
    pub(crate) shared: Vec<f64>,
    /// True where the later survey can't be trusted to show a steady light there.
    pub(crate) doubtful: bool,
}

impl Pair {
    /// Standard uncertainty of `ln_ratio`, shared parts included.
    pub(crate) fn u(&self) -> f64 {
        self.shared
            .iter()
            .fold(self.own * self.own, |sum, part| sum + part * part)
            .sqrt()
    }

    /// True where it may speak for the tank.
    pub(crate) fn tells_of_the_tank(&self) -> bool {
        self.own <= MOST_OWN
    }
}

/// Two surveys held against one another.
#[derive(Debug, Clone, Default)]
pub(crate) struct Compared {
    /// In the order of the later survey.
    pub(crate) pairs: Vec<Pair>,
    /// Sentences on what limits the comparison.
    pub(crate) limits: Vec<String>,
}

/// A station's value, where it may be used for a change.
pub(crate) fn usable(station: &StationValue) -> Option<Measured> {
    station.value.filter(|value| {
        station.flag.is_used()
            && value.ppfd.is_finite()
            && value.ppfd > 0.0
            && value.u_own.is_finite()
            && value.u_shared.is_finite()
    })
}

/// Holds a survey against its baseline. `repeat_percent` is the tank's `survey_repeat_percent`.
pub(crate) fn compare(now: &Survey, reference: &Reference<'_>, repeat_percent: f64) -> Compared {
    let then = &*reference.survey;
    let mut pairs = Vec::new();
    let mut columns = Columns::default();
    let mut otherwise_read = 0_usize;
    let mut sorted: Vec<(usize, &StationValue)> = then.stations.iter().enumerate().collect();
    sorted.sort_by(|a, b| a.1.station.cmp(&b.1.station));
    for station in &now.stations {
        let found = sorted
            .binary_search_by(|(_, other)| other.station.cmp(&station.station))
            .ok()
            .and_then(|at| sorted.get(at));
        let Some((index_then, before)) = found.copied() else {
            continue;
        };
        let (Some(value), Some(value_then)) = (usable(station), usable(before)) else {
            continue;
        };
        let own_now = (value.u_own / value.ppfd).max(LEAST_OWN);
        let own_then = (value_then.u_own / value_then.ppfd).max(LEAST_OWN);
        let alike = station.device == before.device && station.correction == before.correction;
        otherwise_read += usize::from(!alike);
        let shared = columns.row(
            station,
            value.ppfd,
            before,
            value_then.ppfd,
            alike,
            // Once for each survey: this one, and the mean of those before.
            repeat_percent * (1.0 + 1.0 / f64::from(reference.surveys_at(index_then))).sqrt(),
        );
        pairs.push(Pair {
            station: station.station.clone(),
            index_then,
            ln_ratio: (value.ppfd / value_then.ppfd).ln(),
            own: own_now.hypot(own_then),
            own_then,
            shared,
            doubtful: is_doubtful(station),
        });
    }
    columns.square_up(&mut pairs);
    let limits = limits(now, then, pairs.len(), otherwise_read);
    Compared { pairs, limits }
}

/// Reasons that spoil a comparison. A correction stretched beyond its span or made for another light is left
/// out: it is the same in both surveys and cancels, or counts in full.
pub(crate) fn is_doubtful(station: &StationValue) -> bool {
    station.flag == undim_model::Flag::Questionable
        && [
            Reason::Flat,
            Reason::Unsteady,
            Reason::PositionOff,
            Reason::WarmUp,
        ]
        .into_iter()
        .any(|reason| station.reasons.has(reason))
}

/// The columns of U met so far.
#[derive(Default)]
struct Columns {
    keys: Vec<Key>,
}

/// Two stations share a column where the same error moves both.
#[derive(PartialEq, Eq)]
enum Key {
    /// The survey's own repeatability.
    Repeat,
    /// New in every survey: by the devices then and now.
    New(SharedKind, Text, Text),
    /// Lasts, and is the same in both surveys: by device and correction.
    Same(SharedKind, Text, Text),
    /// Lasts, but differs: one of the two surveys (true: the later), by device and correction.
    One(SharedKind, bool, Text, Text),
}

impl Columns {
    fn row(
        &mut self,
        now: &StationValue,
        ppfd: f64,
        then: &StationValue,
        ppfd_then: f64,
        alike: bool,
        repeat_percent: f64,
    ) -> Vec<f64> {
        let mut row = vec![0.0; self.keys.len()];
        self.put(&mut row, Key::Repeat, repeat_percent.max(0.0) / 100.0);
        let sizes = |station: &StationValue, ppfd: f64, kind| {
            station
                .shared
                .iter()
                .filter(|part| part.kind == kind && part.u_ppfd.is_finite())
                .fold(0.0_f64, |sum, part| sum.hypot(part.u_ppfd / ppfd))
        };
        let mut kinds: Vec<SharedKind> = now
            .shared
            .iter()
            .chain(&then.shared)
            .map(|part| part.kind)
            .collect();
        kinds.sort_unstable();
        kinds.dedup();
        for kind in kinds {
            let (size, size_then) = (sizes(now, ppfd, kind), sizes(then, ppfd_then, kind));
            if !kind.lasts_between_surveys() {
                let key = Key::New(kind, now.device.clone(), then.device.clone());
                self.put(&mut row, key, size.hypot(size_then));
            } else if alike {
                let key = Key::Same(kind, now.device.clone(), now.correction.clone());
                self.put(&mut row, key, size - size_then);
            } else {
                let key = Key::One(kind, true, now.device.clone(), now.correction.clone());
                self.put(&mut row, key, size);
                let key = Key::One(kind, false, then.device.clone(), then.correction.clone());
                self.put(&mut row, key, -size_then);
            }
        }
        row
    }

    fn put(&mut self, row: &mut Vec<f64>, key: Key, size: f64) {
        // A part in ten million can't matter, but every column costs time.
        if size.abs() < 1e-7 {
            return;
        }
        let at = self
            .keys
            .iter()
            .position(|known| *known == key)
            .unwrap_or_else(|| {
                self.keys.push(key);
                self.keys.len() - 1
            });
        if row.len() <= at {
            row.resize(at + 1, 0.0);
        }
        if let Some(cell) = row.get_mut(at) {
            *cell = cell.hypot(size).copysign(size);
        }
    }

    /// Gives every row all columns.
    fn square_up(&self, pairs: &mut [Pair]) {
        for pair in pairs {
            pair.shared.resize(self.keys.len(), 0.0);
        }
    }
}

/// What else differs between the two surveys, in sentences.
fn limits(now: &Survey, then: &Survey, pairs: usize, otherwise_read: usize) -> Vec<String> {
    let mut limits = Vec::new();
    let usable_now = now.stations.iter().filter(|s| usable(s).is_some()).count();
    let new = usable_now.saturating_sub(pairs);
    if new > 0 && pairs > 0 {
        limits.push(format!(
            "{new} of {usable_now} places have no value in the baseline of {} and are not compared.",
            words::day(then.date)
        ));
    }
    let missing = then
        .stations
        .iter()
        .filter(|s| usable(s).is_some())
        .count()
        .saturating_sub(pairs);
    if missing > 0 && pairs > 0 {
        limits.push(format!(
            "{missing} places of the baseline of {} have no value in this one.",
            words::day(then.date)
        ));
    }
    if otherwise_read > 0 {
        limits.push(format!(
            "{otherwise_read} of {pairs} places were read with another device or correction than in the baseline of {}: the full uncertainty of both counts, so only a large change can be proven.",
            words::day(then.date)
        ));
    }
    if let (Some(on), Some(on_then)) = (now.pumps_on, then.pumps_on)
        && on != on_then
    {
        let (this, other) = if on { ("on", "off") } else { ("off", "on") };
        limits.push(format!(
            "The pumps were {this} in this survey and {other} in the baseline of {}: moving water makes single places differ more than their uncertainty says.",
            words::day(then.date)
        ));
    }
    if let (Some(water), Some(water_then)) = (now.water_cm, then.water_cm)
        && (water - water_then).abs() >= 1.0
    {
        limits.push(format!(
            "The water stood {:.1} cm {} than in the baseline of {}: places measured from the surface were read elsewhere.",
            (water - water_then).abs(),
            if water > water_then { "higher" } else { "lower" },
            words::day(then.date)
        ));
    }
    limits
}
