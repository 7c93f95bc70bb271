//! Alerts on single places.
//!
//! A place is judged on what is left to it after the tank's and the fixtures' change. Many places are looked at, so the
//! chance of the strangest among them is what counts; and a place read wrong once looks just like a place newly
//! shaded, so an alert waits until two surveys running show it. The threshold is twice the tank's. More than three at
//! once become one alert. Where a tank has only one or two places each is judged on its whole change instead, at
//! the tank's threshold, and nothing is left to wait for.

use super::{Alerts, Claim, Finding, ONE_SIDED_95, Outcome, thresholds};
use crate::estimate::{TWO_SIDED_95, from_ln, from_relative, probability, toward};
use crate::fit::Place;
use crate::joint::Said;
use undim_model::{AlertTarget, Change, Direction, Thresholds};

/// More than this many at once become one alert.
const MOST_SINGLE: usize = 3;

/// A place's left-over in this survey.
struct Left<'a> {
    station: &'a str,
    /// Of the whole light there.
    whole: Change,
    /// What is left.
    left: Change,
    /// Probability that it is real, allowing for how many places were looked at.
    p: f64,
    /// True where the survey before shows it, too.
    confirmed: bool,
    /// What the last reading differs by, where it looks like one gone wrong.
    strange: Option<Change>,
}

fn waiting(station: &str, left: &Change) -> String {
    format!(
        "{station} reads {} (± {:.1} with 95 %) than the rest of the tank leads to expect there: read it again. One survey can't tell a place that changed from a reading gone wrong, so an alert waits for the next one.",
        crate::words::amount(left.percent),
        TWO_SIDED_95 * left.u_percent
    )
}

impl Alerts {
    pub(super) fn lone_places(&mut self, finding: &Finding<'_>, direction: Direction, outcome: &mut Outcome) {
        let looked_at = finding.stations.len();
        for station in finding.stations {
            let claim = Claim {
                target: AlertTarget::Station(station.station.to_string()),
                change: station.change,
                judged: station.change,
                p: among(looked_at, probability(direction, &station.change)),
                left_over: None,
                thresholds: thresholds(finding.tank, direction),
            };
            self.weigh(finding, direction, &claim, true, outcome);
        }
    }

    pub(super) fn left_overs(&mut self, finding: &Finding<'_>, direction: Direction, outcome: &mut Outcome) {
        let tank = thresholds(finding.tank, direction);
        let twice = Thresholds {
            notice: 2.0 * tank.notice,
            urgent: 2.0 * tank.urgent,
        };
        let all = match finding.said {
            Some(said) => left_together(finding, said, direction),
            None => lefts(finding, direction, tank.notice),
        };
        let claim = |left: &Left<'_>| Claim {
            target: AlertTarget::Station(left.station.to_owned()),
            change: left.whole,
            judged: left.left,
            p: left.p,
            left_over: Some((left.left.percent, left.left.u_percent)),
            thresholds: twice,
        };
        // Those that an open alert already speaks of are carried on by it.
        let mut several = None;
        let mut spoken_of: Vec<String> = Vec::new();
        for at in 0..self.kept.len() {
            let Some(kept) = self.kept.get(at).filter(|kept| kept.is_open(direction)) else {
                continue;
            };
            match kept.alert.target.clone() {
                AlertTarget::Station(id) => {
                    if let Some(left) = all.iter().find(|left| left.station == id) {
                        self.carry_on(at, finding, &claim(left), outcome);
                    }
                    spoken_of.push(id);
                }
                AlertTarget::Stations(ids) => {
                    if kept.scene == finding.survey.scene {
                        several = Some((at, ids.clone()));
                    }
                    spoken_of.extend(ids);
                }
                _ => {}
            }
        }
        let mut new = Vec::new();
        for left in &all {
            // The place itself must stand out, whatever the whole light there did.
            let past = left.p >= super::OPENS && toward(direction, left.left.percent) >= twice.notice;
            if let Some(strange) = left
                .strange
                .filter(|strange| toward(direction, strange.percent) >= twice.notice)
            {
                outcome.waiting.push(waiting(left.station, &strange));
            }
            if past && left.confirmed {
                outcome.past_threshold = true;
            }
            if !past || spoken_of.iter().any(|id| id == left.station) {
                continue;
            }
            if left.confirmed {
                new.push(left);
            } else {
                outcome.waiting.push(waiting(left.station, &left.left));
            }
        }
        if let Some((at, mut ids)) = several {
            ids.extend(new.iter().map(|left| left.station.to_owned()));
            if let Some(claim) = together(&all, &ids, direction, twice) {
                self.carry_on(at, finding, &claim, outcome);
            }
        } else if new.len() > MOST_SINGLE {
            let ids: Vec<String> = new.iter().map(|left| left.station.to_owned()).collect();
            if let Some(claim) = together(&all, &ids, direction, twice) {
                self.open(finding, direction, &claim, outcome);
            }
        } else {
            for left in new {
                self.open(finding, direction, &claim(left), outcome);
            }
        }
    }
}

/// What is left to each place by all surveys together, which see for themselves whether a change is confirmed.
fn left_together<'a>(finding: &Finding<'a>, said: &Said, direction: Direction) -> Vec<Left<'a>> {
    finding
        .stations
        .iter()
        .filter_map(|station| {
            let (_, found) = said.stations.iter().find(|(name, _)| *name == station.station)?;
            let left = from_ln(found.ln, found.u);
            let mine = toward(direction, left.percent) > 0.0;
            Some(Left {
                station: &station.station,
                whole: station.change,
                left,
                p: if mine { found.p_real } else { 1.0 - found.p_real },
                confirmed: true,
                strange: found.strange.map(|off| from_ln(off, found.sd)),
            })
        })
        .collect()
}

/// What is left to each place.
fn lefts<'a>(finding: &Finding<'a>, direction: Direction, notice_percent: f64) -> Vec<Left<'a>> {
    let looked_at = finding.field.places.iter().flatten().count();
    let shows = |place: &Place| {
        let size = toward(direction, place.left_over);
        size * 100.0 >= notice_percent && size >= ONE_SIDED_95 * place.u
    };
    finding
        .stations
        .iter()
        .zip(&finding.field.places)
        .filter_map(|(station, place)| {
            let place = (*place)?;
            let left = from_relative(place.left_over, place.u);
            Some(Left {
                station: &station.station,
                whole: station.change,
                left,
                p: among(looked_at, probability(direction, &left)),
                strange: None,
                confirmed: finding
                    .previous
                    .iter()
                    .any(|(name, before)| *name == station.station && shows(before)),
            })
        })
        .collect()
}

/// The probability that one of so many is real: a Bonferroni bound.
fn among(looked_at: usize, p: f64) -> f64 {
    (1.0 - looked_at as f64 * (1.0 - p)).max(0.0)
}

/// Several places as one: what is left to them on average, each counting by its certainty. Of those listed the ones that
/// this survey lacks are kept in the list.
fn together(all: &[Left<'_>], ids: &[String], direction: Direction, thresholds: Thresholds) -> Option<Claim> {
    let mine: Vec<&Left<'_>> = all
        .iter()
        .filter(|left| ids.iter().any(|id| id == left.station))
        .collect();
    let weight = |left: &Left<'_>| (left.left.u_percent / 100.0).max(1e-6).powi(-2);
    let weights: f64 = mine.iter().map(|left| weight(left)).sum();
    if mine.is_empty() || weights <= 0.0 {
        return None;
    }
    let mean = mine
        .iter()
        .map(|left| weight(left) * left.left.percent / 100.0)
        .sum::<f64>()
        / weights;
    let change = from_relative(mean, weights.sqrt().recip());
    let best = mine.iter().map(|left| left.p).fold(0.0, f64::max);
    Some(Claim {
        target: AlertTarget::Stations(ids.to_vec()),
        change,
        judged: change,
        p: best.min(probability(direction, &change)),
        left_over: None,
        thresholds,
    })
}
