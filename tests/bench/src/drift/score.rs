//! How well the judge does on histories whose truth is known.

use crate::drift::scenario::{History, Kind, SURVEYS};
use std::collections::BTreeMap;
use undim_drift::{History as Past, Judged, judge};
use undim_model::{Alert, AlertStep, AlertTarget, Cause, Survey};

/// Ten bins of stated probability: how many were stated, their sum, and how many were true.
pub(crate) type Reliability = [(usize, f64, usize); 10];

/// Counts over histories of one kind.
#[derive(Debug, Clone, Default)]
pub(crate) struct Score {
    /// Histories.
    pub(crate) histories: usize,
    /// Alerts opened before anything happened.
    pub(crate) false_alerts: usize,
    /// Surveys before anything happened.
    pub(crate) quiet_surveys: usize,
    /// Opened on the right target at the first survey that shows it.
    pub(crate) at_once: usize,
    /// Opened on the right target by the third survey.
    pub(crate) by_third: usize,
    /// Opened within three surveys after it.
    pub(crate) within_three: usize,
    /// Opened at all, on the right target.
    pub(crate) found: usize,
    /// Of those found: the cause named at the end is the right one.
    pub(crate) named: usize,
    /// Alerts beside the right one, once it has begun.
    pub(crate) beside: usize,
    /// 95 % intervals of the last survey's changes that hold the truth: even, fixtures, the alert's; and how many.
    pub(crate) covered: [(usize, usize); 3],
    /// What each was taken for.
    pub(crate) taken_for: BTreeMap<String, usize>,
    /// Of the probabilities stated by alerts in their last state.
    pub(crate) reliability: Reliability,
    /// The highest probability stated for a cause that has others alike.
    pub(crate) highest_alike: f64,
}

/// Judges a history.
pub(crate) fn judged(history: &History) -> Judged {
    let surveys: Vec<&Survey> = history.surveys.iter().collect();
    judge(&Past {
        tank: &history.truth.tank,
        surveys: &surveys,
        upkeep: &[],
    })
}

impl Score {
    /// Adds one history.
    pub(crate) fn add(&mut self, kind: Kind, history: &History) {
        let judged = judged(history);
        self.histories += 1;
        self.quiet_surveys += history.begins.min(SURVEYS);
        let mut opened: Vec<(usize, &Alert)> = Vec::new();
        for (t, judgement) in judged.judgements.iter().enumerate() {
            for change in judgement
                .alert_changes
                .iter()
                .filter(|change| change.step == AlertStep::Opened)
            {
                if let Some(alert) = judged.alerts.iter().find(|alert| alert.id == change.alert.id) {
                    opened.push((t, alert));
                }
            }
        }
        self.false_alerts += opened.iter().filter(|(t, _)| *t < history.begins).count();
        let right = opened
            .iter()
            .find(|(t, alert)| *t >= history.begins && history.target.as_ref() == Some(&alert.target));
        self.beside += opened
            .iter()
            .filter(|(t, alert)| *t >= history.begins && history.target.as_ref() != Some(&alert.target))
            .count();
        if let Some((t, alert)) = right {
            self.found += 1;
            self.at_once += usize::from(*t <= history.shows_at);
            self.by_third += usize::from(*t <= history.shows_at + 2);
            self.within_three += usize::from(*t <= history.shows_at + 3);
            self.named += usize::from(names(kind, alert, history));
            self.stated(alert, history);
        }
        let taken_for = right
            .or_else(|| opened.iter().find(|(t, _)| *t >= history.begins))
            .map_or_else(|| "nothing".to_owned(), |(_, alert)| spoken(alert));
        *self.taken_for.entry(taken_for).or_default() += 1;
        self.cover(history, &judged, right.map(|(_, alert)| *alert));
    }

    fn stated(&mut self, alert: &Alert, history: &History) {
        let mut all: Vec<(Cause, f64)> = alert
            .alternatives
            .iter()
            .map(|other| (other.cause, other.probability))
            .collect();
        all.extend(alert.cause.zip(alert.cause_probability));
        for (cause, probability) in all {
            let bin = &mut self.reliability[((10.0 * probability) as usize).min(9)];
            bin.0 += 1;
            bin.1 += probability;
            bin.2 += usize::from(history.cause == Some(cause));
        }
        if !alert.alike.is_empty() {
            self.highest_alike = self
                .highest_alike
                .max(alert.cause_probability.unwrap_or_default());
        }
    }

    fn cover(&mut self, history: &History, judged: &Judged, alert: Option<&Alert>) {
        let (Some(last), Some(state), Some(first)) = (
            judged.judgements.last(),
            history.states.last(),
            history.states.first(),
        ) else {
            return;
        };
        let holds = |ci: [f64; 2], truth: f64| (ci[0]..=ci[1]).contains(&truth);
        let ratio =
            |change: f64, before: f64| 100.0 * ((1.0 + change / 100.0) / (1.0 + before / 100.0) - 1.0);
        let even = ratio(
            history.truth.even_percent(state),
            history.truth.even_percent(first),
        );
        let mut count = |which: usize, held: bool| {
            self.covered[which].0 += usize::from(held);
            self.covered[which].1 += 1;
        };
        if let Some(change) = last.even {
            count(0, holds(change.ci95, even));
        }
        // A fixture's change means something where only fixtures changed.
        if state.water_per_m == 0.0 && state.zero == 0.0 {
            for (index, fixture) in last.fixtures.iter().enumerate() {
                let truth = 100.0 * (state.device * state.given[index] - 1.0);
                count(1, holds(fixture.change.ci95, truth));
            }
        }
        if let Some((alert, ci)) = alert.and_then(|alert| Some((alert, alert.ci95?))) {
            match &alert.target {
                AlertTarget::Fixture(id) => {
                    let which = usize::from(id == "east");
                    count(2, holds(ci, 100.0 * (state.given[which] - 1.0)));
                }
                AlertTarget::Tank => count(2, holds(ci, even)),
                AlertTarget::Station(_) => {
                    if let Some((_, left)) = state.shaded {
                        count(2, holds(ci, 100.0 * (left - 1.0)));
                    }
                }
                _ => {}
            }
        }
    }

    /// Adds the counts of another.
    pub(crate) fn merge(&mut self, other: &Self) {
        for (mine, theirs) in self.reliability.iter_mut().zip(other.reliability) {
            mine.0 += theirs.0;
            mine.1 += theirs.1;
            mine.2 += theirs.2;
        }
        self.highest_alike = self.highest_alike.max(other.highest_alike);
    }

    /// Part of the histories, percent.
    pub(crate) fn percent(&self, count: usize) -> f64 {
        100.0 * count as f64 / self.histories.max(1) as f64
    }

    /// False alerts in ten quiet tank-years.
    pub(crate) fn false_in_ten_years(&self) -> f64 {
        120.0 * self.false_alerts as f64 / self.quiet_surveys.max(1) as f64
    }
}

/// True where the alert says what happened, as far as light can tell it.
fn names(kind: Kind, alert: &Alert, history: &History) -> bool {
    match kind {
        Kind::Lens | Kind::OneFixture | Kind::Water => alert.cause == history.cause,
        Kind::Shade => matches!(alert.cause, Some(Cause::StationShaded | Cause::Unexplained)),
        _ => {
            let said = alert
                .alike
                .iter()
                .copied()
                .chain(alert.cause)
                .chain(alert.alternatives.iter().map(|a| a.cause));
            said.into_iter().any(|cause| Some(cause) == history.cause)
        }
    }
}

fn spoken(alert: &Alert) -> String {
    let whose = match &alert.target {
        AlertTarget::Tank => "tank",
        AlertTarget::Fixture(_) => "fixture",
        AlertTarget::Station(_) => "place",
        AlertTarget::Stations(_) => "places",
        AlertTarget::Path(_) => "path",
    };
    format!("{whose}: {}", alert.cause.map_or("none", Cause::word))
}
