//! What the pages of a tank and of a site show, and in which order.

use super::*;
use crate::SiteZone;
use crate::samples::{self, Past};

fn page_of<T>(past: &Past, make: impl FnOnce(&TankPage<'_>) -> T) -> T {
    let zone = SiteZone::named("Europe/Lisbon").expect("a zone");
    make(&TankPage {
        site_name: "North room",
        tank: &past.tank,
        surveys: &past.pairs(),
        alerts: &past.alerts,
        upkeep: &past.upkeep,
        zone: &zone,
        has_eu: false,
        software_version: "0.1.0",
    })
}

fn plain(text: &str) -> String {
    text.replace(words::NO_BREAK, " ")
}

fn in_order(text: &str, parts: &[&str]) {
    let mut from = 0;
    for part in parts {
        let at = text[from..]
            .find(part)
            .unwrap_or_else(|| panic!("{part} is missing, or out of order"));
        from += at + part.len();
    }
}

#[test]
fn a_tanks_page_goes_from_the_answer_to_every_survey() {
    let text = plain(&page_of(&samples::two_years(), tank));
    in_order(
        &text,
        &[
            "<h1>Less light under the west fixture",
            "Judged from the readings of 1 March 2026. The next survey is due on 5 April 2026.",
            "Do next",
            "Change since the baseline</h2>",
            "west fixture</span>",
            "east fixture</span>",
            "Whole tank</span>",
            "What was done",
            "3 December 2024: fixture changed, west",
            "The last survey:",
            "From above",
            "Alerts</h2>",
            "since ",
            "Past alerts (1)",
            "at most 12 % less",
            "Surveys (26)",
            "href=\"2026-03-01-noon/report.html\"",
            "Older surveys (14)",
            "history.parquet",
        ],
    );
    assert_eq!(text.matches("<h1>").count(), 1);
    assert!(!text.contains("<script") && !text.contains(" style=") && !text.contains("href=\"http"));
}

#[test]
fn a_new_baseline_breaks_the_line_and_marks_of_another_fixture_stay_away() {
    let text = page_of(&samples::two_years(), tank);
    let figure = |name: &str| {
        let after = text.split(&format!("{name}</span>")).nth(1).expect("a figure");
        after.split("</figure>").next().expect("its end").to_owned()
    };
    let (west, east) = (figure("west fixture"), figure("east fixture"));
    assert_eq!(west.matches("class=\"course\"").count(), 2);
    assert_eq!(west.matches("class=\"point").count(), 26);
    assert!(text.contains(words::SEGMENTS));
    assert!(west.contains("lens cleaned") && !west.contains(": lens cleaned, east"));
    assert_eq!(west.matches("class=\"done\"").count(), 5);
    assert_eq!(east.matches("class=\"done\"").count(), 4);
}

#[test]
fn where_the_newest_survey_is_too_poor_the_last_judged_one_is_told() {
    let mut past = samples::two_years();
    past.surveys.truncate(14);
    past.alerts.clear();
    past.surveys[13].1.verdict = undim_model::Verdict::TooPoor;
    let text = page_of(&past, tank);
    assert!(text.contains("<h1>This survey is too poor to judge.</h1>"));
    assert!(text.contains("The last survey that could be judged is that of"));
}

#[test]
fn a_tank_of_one_survey_and_no_rhythm_has_a_page() {
    let mut past = samples::two_years();
    past.surveys.truncate(1);
    past.alerts.clear();
    past.upkeep.clear();
    past.tank.drift.every_seconds = None;
    let text = page_of(&past, tank);
    assert!(text.contains(words::NO_TREND_YET) && text.contains("names no `every`"));
    assert!(text.contains(words::NO_ALERT));
}

#[test]
fn the_most_pressing_tank_comes_first_and_every_tank_comes_once() {
    let past = samples::forty();
    let lines: Vec<TankLine> = past
        .iter()
        .filter_map(|past| page_of(past, TankLine::of))
        .collect();
    assert_eq!(lines.len(), 40);
    let text = site("North room", &lines, &[], true, "0.1.0");
    in_order(
        &text,
        &[
            "<h1>3 alerts are open in 40 tanks",
            "With an open alert (3)",
            "tank-05/index.html",
            "Urgent.",
            "tank-37/index.html",
            "tank-21/index.html",
            "Past the day",
            "tank-08/index.html",
            "No alert open",
            "tank-10/index.html",
            "not planned",
            "calendar.ics",
        ],
    );
    for past in &past {
        assert_eq!(
            text.matches(&format!("\"{}/index.html\"", past.tank.id)).count(),
            1
        );
    }
    let mut turned = lines.clone();
    turned.reverse();
    assert_eq!(
        text,
        site("North room", &turned, &[], true, "0.1.0"),
        "whatever order they come in"
    );
}

#[test]
fn a_site_without_a_survey_has_a_page() {
    let text = site("North room", &[], &[], false, "0.1.0");
    assert!(text.contains("<h1>No survey yet.</h1>") && !text.contains("calendar.ics"));
}

#[test]
fn names_are_inert() {
    let mut past = samples::two_years();
    past.tank.name = "<img src=x onerror=alert(1)>\u{202e}".into();
    past.upkeep[0].remark = Some("<script>alert(1)</script>".into());
    let text = page_of(&past, tank);
    assert!(!text.contains("<img") && !text.contains("<script") && !text.contains('\u{202e}'));
    let line = page_of(&past, TankLine::of).expect("a line");
    let text = site("<b>North", &[line], &[], false, "0.1.0");
    assert!(!text.contains("<img") && !text.contains("<b>North"));
}
