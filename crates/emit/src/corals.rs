//! What a survey knows of each coral's light: the nearest station with a value, if one lies within 5 cm.
//! Between stations nothing is guessed.

use crate::Report;
use crate::words::{ppfd, ppfd_and_interval};
use undim_model::{Coral, LightRange, Position, Reason, StationValue, valid_on};

/// A station farther away than this says nothing about a coral, cm (our own choice).
const NEAR_CM: f64 = 5.0;
/// Standard uncertainty to half a 95 % interval (normal law; JCGM 100:2008, table G.1).
pub(crate) const TO_95: f64 = 1.96;

/// How a coral's light stands to what it should get.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Standing {
    Below,
    Inside,
    Above,
    /// No range is declared, or it is a daily dose, which one survey does not give.
    NotJudged,
    NoReadingNear,
}

/// A coral and its light.
pub(crate) struct CoralLight<'a> {
    pub(crate) coral: &'a Coral,
    pub(crate) station: Option<&'a StationValue>,
    pub(crate) standing: Standing,
    /// True where the 95 % interval of the light leaves no doubt of that.
    pub(crate) is_sure: bool,
    /// True where it was read in unsteady light: with the pumps on, or so flagged.
    pub(crate) is_unsteady: bool,
}

/// Every coral that stands in the tank on the survey's day, in declared order.
pub(crate) fn corals<'a>(report: &Report<'a>) -> Vec<CoralLight<'a>> {
    let stations = &report.survey.stations;
    valid_on(&report.tank.corals, report.survey.date)
        .into_iter()
        .map(|coral| {
            let station = nearest(stations, coral.at);
            let light = station.and_then(|station| station.value).map(|value| value.ppfd);
            let half = station
                .and_then(|station| station.value)
                .map_or(0.0, |value| TO_95 * value.u());
            let is_unsteady = station.is_some_and(|station| {
                report.survey.pumps_on == Some(true) || station.reasons.has(Reason::Unsteady)
            });
            let is_sure = match (light, coral.wanted) {
                (Some(light), Some(LightRange::Ppfd(from, to))) => {
                    light + half < from || light - half > to || (light - half >= from && light + half <= to)
                }
                _ => true,
            } && !is_unsteady;
            let standing = match (light, coral.wanted) {
                (None, _) => Standing::NoReadingNear,
                (Some(light), Some(LightRange::Ppfd(from, _))) if light < from => Standing::Below,
                (Some(light), Some(LightRange::Ppfd(_, to))) if light > to => Standing::Above,
                (Some(_), Some(LightRange::Ppfd(..))) => Standing::Inside,
                (Some(_), _) => Standing::NotJudged,
            };
            CoralLight {
                coral,
                station,
                standing,
                is_sure,
                is_unsteady,
            }
        })
        .collect()
}

fn nearest(stations: &[StationValue], at: Position) -> Option<&StationValue> {
    stations
        .iter()
        .filter(|station| station.value.is_some_and(|value| value.ppfd.is_finite()))
        .filter_map(|station| Some((station, station.position?.distance_cm(at))))
        .filter(|(_, distance)| *distance <= NEAR_CM)
        .min_by(|(_, a), (_, b)| a.total_cmp(b))
        .map(|(station, _)| station)
}

impl CoralLight<'_> {
    /// "118 ± 10", where something is known.
    pub(crate) fn light(&self) -> Option<String> {
        let value = self.station?.value?;
        let (value, half) = ppfd_and_interval(value.ppfd, TO_95 * value.u());
        Some(format!("{value} ± {half}"))
    }

    /// "80 to 150", with its unit where that is not µmol m⁻² s⁻¹.
    pub(crate) fn wanted(&self) -> Option<String> {
        self.coral.wanted.map(|wanted| match wanted {
            LightRange::Ppfd(from, to) => format!("{} to {}", ppfd(from), ppfd(to)),
            LightRange::Dli(from, to) => format!("{} to {} mol m⁻² d⁻¹", ppfd(from), ppfd(to)),
        })
    }

    /// In words.
    pub(crate) fn standing_phrase(&self) -> &'static str {
        match self.standing {
            Standing::Below if self.is_unsteady => "below its range, but the light was unsteady",
            Standing::Inside if self.is_unsteady => "in its range, but the light was unsteady",
            Standing::Above if self.is_unsteady => "above its range, but the light was unsteady",
            Standing::Below if !self.is_sure => "just below its range, perhaps in it",
            Standing::Above if !self.is_sure => "just above its range, perhaps in it",
            Standing::Below => "below its range",
            Standing::Inside => "in its range",
            Standing::Above => "above its range",
            Standing::NoReadingNear => "no reading near",
            Standing::NotJudged if matches!(self.coral.wanted, Some(LightRange::Dli(..))) => {
                "a daily dose is not judged from one survey"
            }
            Standing::NotJudged => "no range declared",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples;

    #[test]
    fn only_a_station_within_five_centimetres_counts() {
        let scenario = samples::loss();
        let report = samples_report(&scenario);
        let found: Vec<_> = corals(&report)
            .iter()
            .map(|coral| (coral.coral.id.clone(), coral.standing, coral.light()))
            .collect();
        assert_eq!(
            found,
            [
                (
                    "plating-1".to_owned(),
                    Standing::Above,
                    Some("276 ± 21".to_owned())
                ),
                ("brain-1".to_owned(), Standing::Below, Some("118 ± 9".to_owned())),
                (
                    "branching-2".to_owned(),
                    Standing::NotJudged,
                    Some("288 ± 22".to_owned())
                ),
                ("far-off".to_owned(), Standing::NoReadingNear, None),
            ]
        );
    }

    fn samples_report(scenario: &samples::Scenario) -> Report<'_> {
        Report {
            site_name: "North room",
            tank: &scenario.tank,
            survey: &scenario.survey,
            judgement: &scenario.judgement,
            earlier: None,
            side_by_side: &[],
            in_site: true,
            software_version: "0.1.0",
        }
    }
}
