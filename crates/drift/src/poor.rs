//! A baseline that was itself poor gives way to the mean of the first three good surveys after it.
//!
//! Poor is one that was read with the pumps on or whose places are mostly questionable (unsound), and one that holds
//! fewer than two thirds of the places that each of the three good ones holds (few). It is looked at once, when the
//! third good survey has come: later a fuller survey is no reason to forget how much light there was. The values
//! of a baseline with few places are sound, so it stays while an alert rests on it; those of an unsound one are not,
//! and alerts that rest on it close, saying so.

use crate::compare::{is_doubtful, usable};
use crate::fit::LEAST_PLACES;
use crate::words;
use undim_model::Survey;

/// So many good surveys make a mean.
pub(crate) const GOOD_ONES: usize = 3;

/// What is wrong with a survey's values as a whole, as the end of a sentence.
pub(crate) fn unsound(survey: &Survey) -> Option<String> {
    if survey.pumps_on == Some(true) {
        return Some("it was read with the pumps on".to_owned());
    }
    let doubtful = survey.stations.iter().filter(|one| is_doubtful(one)).count();
    (2 * doubtful > survey.stations.len()).then(|| {
        format!(
            "{doubtful} of its {} places are questionable",
            survey.stations.len()
        )
    })
}

/// Places with a value that later ones can be held against.
pub(crate) fn places(survey: &Survey) -> usize {
    survey.stations.iter().filter(|one| usable(one).is_some()).count()
}

/// What has come since a baseline that may prove poor.
#[derive(Debug, Clone, Default)]
pub(crate) struct Trial<'a> {
    /// The good surveys since, oldest first.
    good: Vec<&'a Survey>,
    /// The most places that any survey of the line held.
    most: usize,
    settled: bool,
}

/// What a trial comes to with one more survey.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Ruling<'a> {
    /// The baseline holds; where it is known to be poor, a sentence on what it waits for.
    Holds(Option<String>),
    /// The mean of these takes its place, because of this; true where its values were unsound.
    Replaced(Vec<&'a Survey>, String, bool),
}

impl<'a> Trial<'a> {
    /// Counts one more survey, unless the trial is over. `alert_open`: an alert rests on the baseline.
    pub(crate) fn next(&mut self, baseline: &Survey, survey: &'a Survey, alert_open: bool) -> Ruling<'a> {
        if self.settled {
            return Ruling::Holds(None);
        }
        self.most = self.most.max(places(baseline));
        let held = places(survey);
        let is_good = unsound(survey).is_none() && held >= LEAST_PLACES && 2 * held >= self.most;
        self.most = self.most.max(held);
        if is_good {
            self.good.push(survey);
        }
        let day = words::day(baseline.date);
        let bad = unsound(baseline);
        if self.good.len() < GOOD_ONES {
            return Ruling::Holds(bad.map(|why| {
                format!(
                    "The baseline of {day} is poor: {why}. Once {GOOD_ONES} good surveys have come after it their mean takes its place; so far: {}.",
                    self.good.len()
                )
            }));
        }
        self.settled = true;
        let good = std::mem::take(&mut self.good);
        if let Some(why) = bad {
            return Ruling::Replaced(good, why, true);
        }
        let (few, least) = (places(baseline), good.iter().map(|one| places(one)).min());
        let least = least.unwrap_or(0);
        if 3 * few >= 2 * least {
            return Ruling::Holds(None);
        }
        let why =
            format!("it holds {few} places, and the {GOOD_ONES} good surveys after it at least {least}");
        if alert_open {
            return Ruling::Holds(Some(format!(
                "The baseline of {day} is poor: {why}. It stays all the same, because an alert rests on it; baseline = \"<a survey's id>\" in the tank's file names another."
            )));
        }
        Ruling::Replaced(good, why, false)
    }
}

/// "A, B and C", the days of surveys.
pub(crate) fn days<'s>(surveys: impl Iterator<Item = &'s Survey>) -> String {
    let days: Vec<String> = surveys.map(|survey| words::day(survey.date)).collect();
    match days.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => days.join(""),
    }
}
