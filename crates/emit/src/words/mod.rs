//! Nearly every sentence that people read, in one place, so that it can be put into another language later.
//!
//! Say *fixture*; say *PAR (PPFD)* once, then *PPFD*. Intervals for people hold with 95 %. Nothing here
//! ever tells to raise the output to make up for a loss.

mod assumed;
mod causes;
mod figures;
mod headline;
mod held;
mod pages;
mod quality;
mod steps;

pub use assumed::assumed;
pub(crate) use causes::{all as causes_of, odds};
pub use causes::{cause_phrase, likely_cause};
pub(crate) use figures::{
    NO_BREAK, lower_first, month, ppfd, ppfd_and_interval, table_interval, table_percent, threshold,
    upper_first, visible_with_article, weekday_and_day,
};
pub use figures::{day, day_and_year, interval, percent_of, signed_percent};
pub use headline::{Headline, headline, sentence};
pub use held::accepted_holds;
pub(crate) use pages::*;
pub(crate) use quality::shared_phrase;
pub use quality::{flag_phrase, reason_phrase, reasons_phrase};
pub use steps::{do_next, fallback_steps};
pub(crate) use steps::{do_next_of_tank, steps as steps_of};
pub(crate) use steps::{is_loss, read_again};

pub use undim_drift::steps::{DO_NOT_RAISE, LEAVE_LEVELS, LOCAL_CODES, STAND_IN, returns_percent};
use undim_model::{About, Alert, AlertStep, AlertTarget, Judgement};

/// The reminder after a survey with the pumps off.
pub const PUMPS_WERE_OFF: &str = "The pumps were off for this survey. Are they back on?";
/// The reminder where nothing is known of the pumps.
pub const PUMPS_UNKNOWN: &str = "Pumps back on?";
/// Where no value goes back to a reference.
pub const NOT_TIED: &str = "Not tied to a reference: good for change, not for absolute light.";
/// How CSV and page tell uncertainty.
pub const BOTH_INTERVALS: &str = "Intervals and ± on this page hold with 95 % confidence; the CSV files give standard uncertainties (k = 1).";

/// The line about the pumps, where one is due.
pub fn pumps(pumps_on: Option<bool>) -> Option<&'static str> {
    match pumps_on {
        Some(true) => None,
        Some(false) => Some(PUMPS_WERE_OFF),
        None => Some(PUMPS_UNKNOWN),
    }
}

/// Where the light changed: "under the west fixture", "at reef-top", "in the whole tank".
pub fn place(target: &AlertTarget) -> String {
    match target {
        AlertTarget::Tank => "in the whole tank".to_owned(),
        AlertTarget::Fixture(id) => format!("under the {} fixture", crate::text_cell::shown(id)),
        AlertTarget::Station(id) => at(id),
        AlertTarget::Stations(ids) => match ids.as_slice() {
            [] => "at some places".to_owned(),
            [one] => at(one),
            several => format!("at {} places", several.len()),
        },
        AlertTarget::Path(path) => crate::text_cell::shown(path).into_owned(),
    }
}

/// "at reef-top"; a place named after its coordinates already begins so.
fn at(station: &str) -> String {
    let name = crate::text_cell::shown(station);
    if name.starts_with("at-") {
        format!("at the place {name}")
    } else {
        format!("at {name}")
    }
}

/// The alerts on light that closed with a survey.
pub(crate) fn closed_alerts(judgement: &Judgement) -> impl Iterator<Item = &Alert> {
    judgement
        .alert_changes
        .iter()
        .filter(|change| change.step == AlertStep::Closed && change.alert.about == About::Light)
        .map(|change| &change.alert)
}

/// What an alert says, in a few words: "less light under the west fixture: −16 % (−20 to −12 %)".
pub fn what(alert: &Alert) -> String {
    let place = place(&alert.target);
    match alert.about {
        About::Light => {
            let Some(percent) = alert.change_percent else {
                return format!("changed light {place}");
            };
            let word = if percent < 0.0 { "less" } else { "more" };
            let interval = alert.ci95.map(|ends| format!(" ({})", interval(percent, ends)));
            format!(
                "{word} light {place}: {}{}",
                signed_percent(percent),
                interval.unwrap_or_default()
            )
        }
        About::Overdue => "a survey is overdue".to_owned(),
        About::Silent => format!("the sensor {place} needs a look"),
        About::Intake => format!("a look is needed: {place}"),
    }
}

/// The same as a heading.
pub(crate) fn title_of(alert: &Alert) -> String {
    figures::upper_first(&what(alert))
}

/// "a, b and c".
pub(crate) fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [rest @ .., last] => format!("{} and {last}", rest.join(", ")),
    }
}

/// "a, b or c".
pub(crate) fn either(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [rest @ .., last] => format!("{} or {last}", rest.join(", ")),
    }
}

/// "1 place", "3 places".
pub(crate) fn counted(count: usize, one: &str, several: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { several })
}

#[cfg(test)]
mod tests;
