//! What the pages of a tank and of a site say, and the calendar.

use super::{counted, day_and_year, percent_of};
use crate::text_cell::shown;
use jiff::civil::Date;
use undim_model::{Level, Upkeep};

/// Where no alert is open.
pub(crate) const NO_ALERT: &str = "No alert is open. That is no promise that all is well: it holds for the day of this survey and the places it read.";
/// The same over several tanks.
pub(crate) const NO_ALERT_ANYWHERE: &str = "No alert is no promise that all is well: each line holds for the day of its survey and the places it read.";
/// Why a page shows days and no ages.
pub(crate) const DAYS_NOT_AGES: &str =
    "This page is made from the data alone, so it shows days. How long ago they are, undim status tells.";
/// Where a tank has no rhythm.
pub(crate) const NO_RHYTHM: &str = "No next survey is planned: the tank's file names no `every`.";
/// Over trends whose baseline changes on the way.
pub(crate) const SEGMENTS: &str = "Where the line breaks a new baseline begins; before and after it the changes are not held against one another.";
/// Corals whose nearest reading was unsteady.
pub(crate) const CORALS_UNSTEADY: &str = "The light was unsteady where these were read; pumps on move the water and with it the light. Read again with the pumps off before judging a coral.";

/// Over trends.
pub(crate) const TRENDS: &str = "Change since the baseline";
/// Before there is a trend.
pub(crate) const NO_TREND_YET: &str = "A trend begins with the second survey.";
/// Under trends.
pub(crate) const TREND_INTERVALS: &str = "Bars and ranges hold with 95 % confidence.";
/// A trend of everything together.
pub(crate) const WHOLE_TANK: &str = "Whole tank";

/// "west fixture".
pub(crate) fn fixture_named(id: &str) -> String {
    format!("{} fixture", shown(id))
}

/// "Judged from the readings of 14 March 2026."
pub(crate) fn judged_from(day: Date) -> String {
    format!("Judged from the readings of {}.", day_and_year(day))
}

/// "The next survey is due on 18 April 2026."
pub(crate) fn due_on(day: Date) -> String {
    format!("The next survey is due on {}.", day_and_year(day))
}

/// What was last judged, where the newest survey was too poor for it.
pub(crate) fn last_judged(day: Date, sentence: &str) -> String {
    format!(
        "The last survey that could be judged is that of {}: {sentence}",
        day_and_year(day)
    )
}

/// The answer over all tanks of a site.
pub(crate) fn site_sentence(tanks: usize, open: usize, past: usize) -> String {
    let of = match tanks {
        0 => return "No survey yet.".to_owned(),
        1 => "in the one tank here".to_owned(),
        several => format!("in {several} tanks"),
    };
    let overdue = match past {
        0 => String::new(),
        1 => "; one survey is past its day".to_owned(),
        several => format!("; {several} surveys are past their day"),
    };
    match open {
        0 => format!("No alert is open {of}{overdue}."),
        some => format!("{} open {of}{overdue}.", counted(some, "alert is", "alerts are")),
    }
}

/// "Urgent" or "Notice".
pub(crate) fn level(level: Level) -> &'static str {
    match level {
        Level::Notice => "notice",
        Level::Urgent => "urgent",
    }
}

/// "lens cleaned", "water changed: a third".
pub(crate) fn upkeep_what(upkeep: &Upkeep) -> String {
    upkeep.what.word().replace('-', " ")
}

/// When an alert was open, and how far the light went.
pub(crate) fn alert_span(opened: Date, closed: Option<Date>, farthest: Option<f64>) -> String {
    let far = farthest
        .filter(|percent| percent.is_finite())
        .map(|percent| {
            let word = if percent < 0.0 { "less" } else { "more" };
            format!(", at most {} {word}", percent_of(percent))
        })
        .unwrap_or_default();
    match closed {
        Some(closed) => format!("{} to {}{far}", day_and_year(opened), day_and_year(closed)),
        None => format!("since {}{far}", day_and_year(opened)),
    }
}

/// A calendar's name.
pub(crate) fn calendar_name(site: &str) -> String {
    format!("{}: light in the tanks", shown(site))
}

/// The next survey as a calendar's line.
pub(crate) fn survey_due(tank: &str) -> String {
    format!("{}: light survey due", shown(tank))
}

/// The same, in full.
pub(crate) fn survey_due_more(last: Date, away_until: Option<Date>) -> String {
    let away = away_until.map_or_else(String::new, |day| {
        format!("\nYou are away until {}.", day_and_year(day))
    });
    format!(
        "Last survey: {}. Read the same places with the same device, under the same scene.\nPumps off by a timer, and back on afterwards; nothing on a charger near the water.{away}",
        day_and_year(last)
    )
}

/// A certificate that runs out.
pub(crate) fn certificate_ends(device: &str) -> String {
    format!("{}: the calibration certificate runs out", shown(device))
}

/// The same, in full.
pub(crate) fn certificate_ends_more(calibrated: Option<Date>) -> String {
    let since = calibrated.map_or_else(String::new, |day| {
        format!("Calibrated on {}. ", day_and_year(day))
    });
    format!(
        "{since}After this day nothing new should be tied to it; have it calibrated, then write the new dates in its file."
    )
}

/// A correction that ends with none after it.
pub(crate) fn correction_ends(device: &str) -> String {
    format!("{}: its last correction ends", shown(device))
}

/// The same, in full.
pub(crate) const CORRECTION_ENDS_MORE: &str = "Read side by side with a reference and fit a new one; after this day values carry no correction that holds.";
