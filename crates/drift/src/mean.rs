//! What surveys are held against: one survey, or the mean of several.
//!
//! The mean of n surveys, station by station: own parts and what is new in every survey (re-zeroing, the rod's
//! height) are independent, √Σu²/n; what lasts between surveys (calibration, fit, factors) is one and the same error
//! in each, Σu/n (JCGM 100:2008, 5.1.2 and 5.2.2, correlation 0 and 1). A station's mean takes in only those surveys
//! that read it with the device and correction of the last of them, so that what is shared stays one error.

use crate::compare::usable;
use std::borrow::Cow;
use undim_model::{Measured, SharedKind, SharedPart, StationValue, Survey};

/// What surveys are held against.
#[derive(Debug, Clone)]
pub(crate) struct Reference<'a> {
    /// Its values; a mean goes by the id and the day of its first survey.
    pub(crate) survey: Cow<'a, Survey>,
    /// Ids of the surveys that it is the mean of; empty for a single one.
    pub(crate) mean_of: Vec<String>,
    /// How many surveys each station's value rests on, in their order; a single survey's may be left out.
    counts: Vec<u32>,
}

impl<'a> Reference<'a> {
    /// One survey.
    pub(crate) fn one(survey: &'a Survey) -> Self {
        Self {
            survey: Cow::Borrowed(survey),
            mean_of: Vec::new(),
            counts: Vec::new(),
        }
    }

    /// The mean of several, oldest first; `None` for none.
    pub(crate) fn mean(surveys: &[&'a Survey]) -> Option<Self> {
        let (first, last) = (*surveys.first()?, *surveys.last()?);
        let mut stations: Vec<StationValue> = Vec::new();
        let mut counts = Vec::new();
        for survey in surveys.iter().rev() {
            for station in &survey.stations {
                if stations.iter().any(|known| known.station == station.station) {
                    continue;
                }
                if let Some((mean, count)) = mean_of_station(station, surveys) {
                    stations.push(mean);
                    counts.push(count);
                }
            }
        }
        let survey = Survey {
            id: first.id.clone(),
            date: first.date,
            start: first.start,
            stations,
            pumps_on: last.pumps_on,
            ..last.clone()
        };
        Some(Self {
            survey: Cow::Owned(survey),
            mean_of: surveys.iter().map(|survey| survey.id.clone()).collect(),
            counts,
        })
    }

    /// How many surveys a station's value rests on.
    pub(crate) fn surveys_at(&self, station: usize) -> u32 {
        self.counts.get(station).copied().unwrap_or(1).max(1)
    }

    /// How many surveys it rests on as a whole.
    pub(crate) fn surveys(&self) -> usize {
        self.mean_of.len().max(1)
    }
}

/// The mean of a station over the surveys that read it as this one does, and how many those are.
fn mean_of_station(as_read: &StationValue, surveys: &[&Survey]) -> Option<(StationValue, u32)> {
    usable(as_read)?;
    let alike: Vec<(&StationValue, Measured)> = surveys
        .iter()
        .flat_map(|survey| &survey.stations)
        .filter(|station| {
            station.station == as_read.station
                && station.device == as_read.device
                && station.correction == as_read.correction
        })
        .filter_map(|station| Some((station, usable(station)?)))
        .collect();
    let count = u32::try_from(alike.len()).unwrap_or(u32::MAX).max(1);
    let n = f64::from(count);
    let mean = |value: fn(&Measured) -> f64| alike.iter().map(|(_, m)| value(m)).sum::<f64>() / n;
    let independent = |parts: &mut dyn Iterator<Item = f64>| parts.fold(0.0_f64, f64::hypot) / n;
    let shared: Vec<SharedPart> = SharedKind::ALL
        .into_iter()
        .filter_map(|kind| {
            let mut sizes = alike.iter().map(|(station, _)| size(station, kind));
            let u_ppfd = if kind.lasts_between_surveys() {
                sizes.sum::<f64>() / n
            } else {
                independent(&mut sizes)
            };
            (u_ppfd > 0.0).then_some(SharedPart { kind, u_ppfd })
        })
        .collect();
    let value = Measured {
        ppfd: mean(|value| value.ppfd),
        u_own: independent(&mut alike.iter().map(|(_, value)| value.u_own)),
        u_shared: shared.iter().fold(0.0_f64, |sum, part| sum.hypot(part.u_ppfd)),
    };
    let station = StationValue {
        value: Some(value),
        shared,
        ..as_read.clone()
    };
    Some((station, count))
}

fn size(station: &StationValue, kind: SharedKind) -> f64 {
    station
        .shared
        .iter()
        .filter(|part| part.kind == kind && part.u_ppfd.is_finite())
        .fold(0.0, |sum, part| sum.hypot(part.u_ppfd))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{month, station, survey};
    use undim_model::Text;

    fn part(kind: SharedKind, u_ppfd: f64) -> SharedPart {
        SharedPart { kind, u_ppfd }
    }

    /// JCGM 100:2008, 5.1.2 for what is independent (√Σu²/n), 5.2.2 note 1 for what is one error (Σu/n).
    #[test]
    fn own_parts_average_and_what_lasts_does_not() {
        let read = |number, ppfd| {
            let shared = [part(SharedKind::Calibration, 6.0), part(SharedKind::Rezero, 3.0)];
            survey(
                month(number),
                "noon",
                vec![station("p", None, ppfd, 2.0, &shared)],
            )
        };
        let surveys = [read(0, 100.0), read(1, 104.0), read(2, 108.0)];
        let mean = Reference::mean(&surveys.iter().collect::<Vec<_>>()).expect("a mean");
        let station = &mean.survey.stations[0];
        let value = station.value.expect("a value");
        assert!((value.ppfd - 104.0).abs() < 1e-12);
        assert!((value.u_own - 2.0 / 3.0_f64.sqrt()).abs() < 1e-12);
        assert!((size(station, SharedKind::Calibration) - 6.0).abs() < 1e-12);
        assert!((size(station, SharedKind::Rezero) - 3.0_f64.sqrt()).abs() < 1e-12);
        assert!((value.u_shared - 39.0_f64.sqrt()).abs() < 1e-12);
        assert_eq!((mean.surveys_at(0), mean.surveys()), (3, 3));
        assert_eq!(mean.survey.id, surveys[0].id);
        assert_eq!(mean.mean_of.len(), 3);
    }

    #[test]
    fn only_what_was_read_alike_is_averaged() {
        let read = |number, names: &[&str], device: &str| {
            let stations = names.iter().map(|name| StationValue {
                device: Text::from(device),
                ..station(name, None, 100.0 + f64::from(number), 2.0, &[])
            });
            survey(month(number as usize), "noon", stations.collect())
        };
        let surveys = [
            read(0_u8, &["p", "q"], "old"),
            read(1, &["p"], "new"),
            read(2, &["p"], "new"),
        ];
        let mean = Reference::mean(&surveys.iter().collect::<Vec<_>>()).expect("a mean");
        let of = |name: &str| {
            let at = mean.survey.stations.iter().position(|s| &*s.station == name);
            let at = at.expect("a station");
            (
                mean.survey.stations[at].value.expect("a value").ppfd,
                mean.surveys_at(at),
            )
        };
        assert_eq!(of("p"), (101.5, 2));
        assert_eq!(of("q"), (100.0, 1));
        assert!(Reference::mean(&[]).is_none());
    }
}
