//! The evidence, folded below the answer: why, all places, corals, corrections, assumptions, files.

use super::marks::named_sign;
use crate::corals::{TO_95, corals};
use crate::shared;
use crate::sign::{Seen, is_compared};
use crate::text_cell::shown;
use crate::words::{self, counted, ppfd_and_interval};
use crate::{Report, SiteZone, number};
use maud::{Markup, html};
use undim_model::{SourceFile, StationValue, WithdrawnFile};

/// A longer table no browser likes; `stations.csv` has them all.
const MOST_ROWS: usize = 3000;

/// All folds, in order. The table of places stands open where there is no drawing.
pub(super) fn folds(report: &Report<'_>, seen: &[Seen<'_>], places_open: bool) -> Markup {
    html! {
        section.folds {
            (fold("Why we think so", false, &why(report)))
            (fold(&format!("All places ({})", seen.len()), places_open, &places(report, seen)))
            (fold("Corals", false, &coral_table(report)))
            (fold("Corrected for, and how sure", false, &corrections(report)))
            (fold(&format!("What was assumed ({})", assumed(report).len()), false, &assumptions(report)))
            (fold("Files", false, &files(report)))
        }
    }
}

fn fold(title: &str, open: bool, content: &Markup) -> Markup {
    html! {
        details open[open] {
            summary { (title) }
            div { (content) }
        }
    }
}

pub(super) fn lines<T: AsRef<str>>(lines: &[T]) -> Markup {
    html! { ul { @for line in lines { li { (shown(line.as_ref())) } } } }
}

fn why(report: &Report<'_>) -> Markup {
    let judgement = report.judgement;
    html! {
        @for alert in &report.judgement.open_alerts {
            h3 { (words::title_of(alert)) }
            (lines(&alert.evidence))
            @let causes = words::causes_of(alert);
            @if !causes.is_empty() { p { (causes.join(" ")) } }
            @if let Some(p_real) = alert.p_real {
                p.quiet { "That anything changed at all: " (words::odds(p_real)) "." }
            }
        }
        @for alert in words::closed_alerts(judgement) {
            h3 { "Closed with this survey: light " (words::place(&alert.target)) }
            (lines(&alert.evidence))
        }
        @if report.judgement.open_alerts.is_empty() { p { (words::NO_ALERT) } }
        @if let Some(even) = judgement.even.filter(|_| is_compared(report)) {
            p { "The whole tank, evenly: " (words::signed_percent(even.percent)) " (" (words::interval(even.percent, even.ci95)) ")." }
        }
        @if !judgement.fixtures.is_empty() && is_compared(report) {
            ul {
                @for fixture in &judgement.fixtures {
                    li {
                        "The " (shown(&fixture.fixture)) " fixture: " (words::signed_percent(fixture.change.percent))
                        " (" (words::interval(fixture.change.percent, fixture.change.ci95)) "); "
                        (counted(fixture.stations as usize, "place gets", "places get")) " at least half of their light from it."
                    }
                }
            }
        }
        (lines(&judgement.limits))
    }
}

fn places(report: &Report<'_>, seen: &[Seen<'_>]) -> Markup {
    let compared = is_compared(report);
    html! {
        p.quiet { (words::BOTH_INTERVALS) }
        div.wide { table {
            thead { tr {
                th scope="col" { "sign" } th scope="col" { "place" } th.n scope="col" { "left · bottom · front, cm" }
                th.n scope="col" { "PPFD" } th.n scope="col" { "± (95 %)" } th.n scope="col" { "u (k = 1)" }
                th.n scope="col" { "used" }
                @if compared { th.n scope="col" { "change, %" } th.n scope="col" { "95 %" } }
                th scope="col" { "quality" }
            } }
            tbody { @for seen in seen.iter().take(MOST_ROWS) { (row(seen, compared)) } }
        } }
        @if seen.len() > MOST_ROWS { p.quiet { (seen.len() - MOST_ROWS) " more stand in stations.csv." } }
    }
}

fn row(seen: &Seen<'_>, compared: bool) -> Markup {
    let station = seen.value;
    let change = seen.change.map(|change| change.change);
    html! {
        tr {
            td { (named_sign(seen.sign, compared)) }
            th.name scope="row" { (shown(&station.station)) }
            td.n { (position(station)) }
            @match station.value.map(|value| ppfd_and_interval(value.ppfd, TO_95 * value.u())) {
                Some((value, half)) => { td.n { (value) } td.n.quiet { "± " (half) } }
                None => { td.n {} td.n {} }
            }
            td.n { @if let Some(value) = station.value { (number::fixed(value.u(), 1)) } }
            td.n { (station.used) " of " (station.readings) }
            @if compared {
                td.n { @if let Some(change) = change { (words::table_percent(change.percent)) } }
                td.n.quiet { @if let Some(change) = change { (words::table_interval(change.ci95)) } }
            }
            td { (words::flag_phrase(station.flag)) @if !station.reasons.is_empty() { ": " (words::reasons_phrase(station.reasons)) } }
        }
    }
}

fn position(station: &StationValue) -> String {
    let cm = |value: f64| number::fixed(value, 1).replace('-', "−");
    station.position.map_or_else(
        || "not known".to_owned(),
        |position| position.to_array().map(cm).join(" · "),
    )
}

pub(super) fn coral_table(report: &Report<'_>) -> Markup {
    let corals = corals(report);
    html! {
        @if corals.is_empty() {
            p { "No coral is declared in the tank's file." }
        } @else {
            p.quiet { "A coral's light is that of the nearest station with a value, if one lies within 5 cm of it. Between stations nothing is guessed." }
            @if corals.iter().any(|coral| coral.is_unsteady) { p { (words::CORALS_UNSTEADY) } }
            div.wide { table {
                thead { tr { th scope="col" { "coral" } th scope="col" { "nearest place" } th.n scope="col" { "PPFD ± (95 %)" } th.n scope="col" { "wanted" } th scope="col" { "stands" } } }
                tbody {
                    @for coral in &corals {
                        tr {
                            th.name scope="row" { (shown(&coral.coral.id)) }
                            td { @if let Some(station) = coral.station { (shown(&station.station)) } }
                            td.n { @if let Some(light) = coral.light() { (light) } }
                            td.n { @if let Some(wanted) = coral.wanted() { (wanted) } }
                            td { (coral.standing_phrase()) }
                        }
                    }
                }
            } }
            p.quiet { "Change a coral's light slowly, over weeks, and watch it." }
        }
    }
}

fn corrections(report: &Report<'_>) -> Markup {
    let survey = report.survey;
    html! {
        @if !survey.tied_to_reference { p { strong { (words::NOT_TIED) } } }
        @for device in &survey.devices {
            h3 { (shown(&device.name)) @if device.is_reference { " (reference)" } }
            p {
                (counted(device.readings as usize, "reading", "readings")) ". "
                @if !device.declared { "Nothing is declared about this device. " }
                @if device.corrections.is_empty() { "No correction." }
            }
            (lines(&device.corrections))
        }
        @if let Some((least, most)) = shared::own_percent(&survey.stations) {
            h3 { "Own to each place" }
            ul { li { "burst of readings and where it was held: " (share(least, most)) } }
        }
        @for group in shared::groups(&survey.stations) {
            @if !group.sources.is_empty() {
                h3 { "Shared by " (counted(group.stations.len(), "place", "places")) " read with " (shown(group.device)) }
                ul {
                    @for source in &group.sources {
                        li {
                            (words::shared_phrase(source.kind)) ": "
                            @if let Some((least, most)) = source.percent { (share(least, most)) }
                            @if source.kind.lasts_between_surveys() { ", the same in the next survey" } @else { ", new in every survey" }
                        }
                    }
                }
            }
        }
        (super::budget::table(&survey.stations))
        p.quiet { "Shares are standard uncertainties (k = 1), percent of the value. What is shared never averages down over readings or places; it cancels in a change only where device and correction are the same. " (words::BOTH_INTERVALS) }
    }
}

fn share(least: f64, most: f64) -> String {
    let (least, most) = (number::fixed(least, 1), number::fixed(most, 1));
    if least == most {
        format!("{least} %")
    } else {
        format!("{least} to {most} %")
    }
}

fn assumed(report: &Report<'_>) -> Vec<String> {
    let survey = report.survey;
    let mut said: Vec<String> = Vec::new();
    for source in &survey.sources {
        let facts = source.facts.iter().filter(|fact| fact.assumed);
        let facts = words::assumed(&facts.map(|fact| (fact.key.as_str(), fact.value.as_str())));
        if !facts.is_empty() {
            said.push(format!("{}: {}.", shown(&source.path), facts.join("; ")));
        }
        for (given, id) in &source.renamed {
            said.push(format!("“{}” is written as {}.", shown(given), shown(id)));
        }
    }
    said.extend(survey.said.iter().map(|line| shown(line).into_owned()));
    said
}

fn assumptions(report: &Report<'_>) -> Markup {
    let assumed = assumed(report);
    html! {
        @if assumed.is_empty() { p { "Nothing: files, layouts and declarations said it all." } }
        (lines(&assumed))
        @if !assumed.is_empty() { p.quiet { "survey.json lists all that was found out about each file." } }
    }
}

fn files(report: &Report<'_>) -> Markup {
    html! {
        ul {
            li { a href="readings.csv" { "readings.csv" } ", " a href="stations.csv" { "stations.csv" } ", " a href="survey.json" { "survey.json" } ", " a href="datapackage.json" { "datapackage.json" } }
            li { a href="../history.csv" { "../history.csv" } ", the tank's whole past" }
            @if let Some(earlier) = report.earlier {
                li { a href=(format!("../{earlier}/report.html")) { "The survey before: " (shown(earlier)) } }
            }
        }
        @for source in &report.survey.sources { (file(source)) }
        @for gone in &report.survey.withdrawn { (withdrawn(gone, &day_of(report, gone))) }
        @if !report.survey.replaces.is_empty() {
            p { "This survey took over: " (shown(&report.survey.replaces.join(", "))) "." }
        }
    }
}

/// The first sixteen digits: enough to know a file by.
fn short_hash(hash: &str) -> String {
    shown(hash).chars().take(16).collect()
}

/// A note's lines as they stand.
fn note(text: &str) -> Markup {
    html! { ul { @for line in text.lines().filter(|line| !line.trim().is_empty()) { li { code { (shown(line)) } } } } }
}

fn day_of(report: &Report<'_>, file: &WithdrawnFile) -> String {
    let zone =
        SiteZone::named(&report.survey.timezone).unwrap_or_else(|_| SiteZone::new(jiff::tz::TimeZone::UTC));
    words::day_and_year(zone.date(file.when))
}

fn withdrawn(file: &WithdrawnFile, day: &str) -> Markup {
    html! {
        h3 { (shown(&file.path)) ": withdrawn" }
        p { "Taken out of every judgement on " (day) ". Why: " (shown(&file.why)) }
        p.hash title=(shown(&file.blake3)) { "BLAKE3 " (short_hash(&file.blake3)) "…, whole in survey.json" }
    }
}

fn file(source: &SourceFile) -> Markup {
    html! {
        h3 { (shown(&source.path)) }
        p {
            (counted(source.rows as usize, "reading", "readings")) ", by importer " (shown(&source.importer)) " " (shown(&source.importer_version))
            @if let Some(by) = &source.taken_by { ", taken by " (shown(by)) }
            "."
        }
        @if let Some(remark) = &source.remark { p { "Remark: " (shown(remark)) } }
        @if let Some((last, earlier)) = source.notes.split_last() {
            p { "Its note:" }
            (note(last))
            @if !earlier.is_empty() {
                p.quiet { (counted(earlier.len(), "earlier note", "earlier notes")) ", which it replaced:" }
                @for text in earlier { (note(text)) }
            }
        }
        p.hash title=(shown(&source.blake3)) { "BLAKE3 " (short_hash(&source.blake3)) "…, whole in survey.json" }
        ul {
            @for problem in &source.problems {
                li { @if problem.line > 0 { "Line " (problem.line) ": " } (shown(&problem.text)) }
            }
        }
    }
}
