//! `index.html` of a tank: how its light stands, how it went, and every survey that says so.
//!
//! Made from the data alone: it shows days, and no ages that the next morning would make wrong.

use super::trend::{Course, Done};
use super::{document, facts, folded, next, plan, reach, trend};
use crate::calendar::next_due;
use crate::sign::{Sign, seen};
use crate::text_cell::shown;
use crate::{Report, SiteZone, words};
use jiff::civil::Date;
use maud::{Markup, html};
use undim_model::{About, Alert, Judgement, State, Survey, Tank, TrendPoint, Upkeep, Verdict};

/// Surveys that stand open in the list; older ones are folded.
const OPEN_ROWS: usize = 12;
/// A longer list no browser likes; `history.csv` has them all.
const MOST_ROWS: usize = 1000;

/// Everything that a tank's page is made of.
#[derive(Debug, Clone, Copy)]
pub struct TankPage<'a> {
    /// The site's name.
    pub site_name: &'a str,
    /// The tank, declared or not.
    pub tank: &'a Tank,
    /// Its surveys with their judgements, by their start; at least one.
    pub surveys: &'a [(&'a Survey, &'a Judgement)],
    /// Its alerts in their present state, closed ones too, in order of opening.
    pub alerts: &'a [Alert],
    /// What was done, in any order.
    pub upkeep: &'a [Upkeep],
    /// The site's zone.
    pub zone: &'a SiteZone,
    /// Beside `history.csv` there is `history.eu.csv`.
    pub has_eu: bool,
    /// The program's version.
    pub software_version: &'a str,
}

impl<'a> TankPage<'a> {
    /// The newest survey, as its own page shows it.
    pub(super) fn newest(&self) -> Option<Report<'a>> {
        let (survey, judgement) = self.surveys.last()?;
        Some(Report {
            site_name: self.site_name,
            tank: self.tank,
            survey,
            judgement,
            earlier: None,
            side_by_side: &[],
            in_site: true,
            software_version: self.software_version,
        })
    }

    /// The newest survey, where it is too poor to be judged; then the newest before it that is not.
    fn last_judged(&self) -> Option<&(&'a Survey, &'a Judgement)> {
        let too_poor = |judgement: &Judgement| judgement.verdict == Verdict::TooPoor;
        self.surveys.last().filter(|(_, judgement)| too_poor(judgement))?;
        self.surveys
            .iter()
            .rev()
            .find(|(_, judgement)| !too_poor(judgement))
    }

    fn open(&self) -> impl Iterator<Item = &'a Alert> {
        self.alerts.iter().filter(|alert| alert.state == State::Open)
    }
}

/// The page of a tank, whole. Empty without a survey.
pub fn tank(page: &TankPage<'_>) -> String {
    let Some(report) = page.newest() else {
        return String::new();
    };
    let headline = words::headline(&report);
    let name = shown(&page.tank.name);
    let seen = seen(&report);
    let views = plan::views(&report, &seen);
    let done = done(page);
    let body = html! {
        main {
            nav.over aria-label="Above this page" { a href="../index.html" { (shown(page.site_name)) } }
            p.over { (name) @if let Some(scene) = &report.survey.scene { " · scene " (shown(scene)) } }
            h1 { (headline.sentence) }
            p.detail { @for sentence in &headline.detail { (sentence) " " } }
            @if let Some((survey, judgement)) = page.last_judged() {
                p.detail { (words::last_judged(survey.date, &words::sentence(survey, judgement))) }
            }
            p.age {
                (words::judged_from(report.survey.date)) " "
                @match next_due(page.tank, report.survey, page.zone) {
                    Some(day) => (words::due_on(day)),
                    None => (words::NO_RHYTHM),
                }
            }
            @if !report.survey.tied_to_reference { p.note { (words::NOT_TIED) } }
            (next(words::do_next_of_tank(&report, page.open())))
            (facts::markup(&report))
            section { (trends(page, &report, &done)) }
            section {
                h2.title { "The last survey: " a href=(page_of(report.survey)) { (words::day_and_year(report.survey.date)) } }
                div.views {
                    @if let Some(views) = &views { (views) }
                    div.trends { (reach::reach(&report)) }
                }
                @if !page.tank.corals.is_empty() {
                    details { summary { "Corals (" (page.tank.corals.len()) ")" } div { (folded::coral_table(&report)) } }
                }
            }
            section { (alerts(page)) }
            section { (surveys(page)) }
            section {
                h2.title { "Files" }
                ul.files {
                    li { a href="history.csv" { "history.csv" } @if page.has_eu { ", " a href="history.eu.csv" { "history.eu.csv" } } " and " a href="history.parquet" { "history.parquet" } ": one row for each place and survey" }
                    li { a href="alerts.jsonl" { "alerts.jsonl" } ": every change of every alert" }
                }
            }
            footer {
                p { "PAR (PPFD) in µmol m⁻² s⁻¹. " (words::BOTH_INTERVALS) }
                p { (words::DAYS_NOT_AGES) }
                p { (shown(page.site_name)) " · undim " (shown(page.software_version)) " watches; it never switches." }
            }
        }
    };
    document(&format!("{name}: {}", headline.sentence), &body)
}

pub(super) fn page_of(survey: &Survey) -> String {
    format!("{}/report.html", survey.id)
}

/// What was done since the first survey, oldest first; the number in the list is its place in it.
fn done<'a>(page: &TankPage<'a>) -> Vec<&'a Upkeep> {
    let first = page.surveys.first().map(|(survey, _)| survey.date);
    let mut done: Vec<&Upkeep> = page
        .upkeep
        .iter()
        .filter(|upkeep| first.is_some_and(|first| upkeep.date >= first))
        .collect();
    done.sort_by_key(|upkeep| upkeep.date);
    done
}

/// The stretches of a trend: of each baseline what the last survey held against it says.
fn segments<'a>(
    page: &TankPage<'a>,
    points: impl Fn(&'a Judgement) -> Option<&'a [TrendPoint]>,
) -> Vec<&'a [TrendPoint]> {
    let mut found: Vec<(Option<&str>, &[TrendPoint])> = Vec::new();
    for (_, judgement) in page.surveys {
        let Some(points) = points(judgement).filter(|points| !points.is_empty()) else {
            continue;
        };
        // A survey that begins a new stretch is its own baseline.
        let baseline = judgement.baseline.as_deref();
        match found.last_mut() {
            Some((of, last)) if *of == baseline || first_survey(last) == first_survey(points) => {
                *of = baseline;
                *last = points;
            }
            _ => found.push((baseline, points)),
        }
    }
    found.into_iter().map(|(_, points)| points).collect()
}

fn first_survey(points: &[TrendPoint]) -> Option<&str> {
    points.first().map(|point| &*point.survey)
}

fn courses<'a>(page: &TankPage<'a>, done: &[&Upkeep]) -> Vec<Course<'a>> {
    let marks = |of: Option<&str>| {
        let fixtures: Vec<&str> = page
            .tank
            .fixtures
            .iter()
            .map(|fixture| fixture.id.as_str())
            .collect();
        let numbered = done.iter().zip(1..);
        numbered
            // What was done to another fixture says nothing of this one.
            .filter(|(upkeep, _)| match (of, upkeep.target.as_deref()) {
                (Some(fixture), Some(target)) => target == fixture || !fixtures.contains(&target),
                _ => true,
            })
            .map(|(upkeep, number)| Done {
                date: upkeep.date,
                number,
                what: words::upkeep_what(upkeep),
            })
            .collect()
    };
    let mut names: Vec<&str> = Vec::new();
    for (_, judgement) in page.surveys.iter().rev() {
        for (fixture, _) in &judgement.fixture_trends {
            if !names.contains(&fixture.as_str()) {
                names.push(fixture);
            }
        }
    }
    let mut courses: Vec<Course<'_>> = names
        .into_iter()
        .map(|fixture| Course {
            name: words::fixture_named(fixture),
            segments: segments(page, |judgement| {
                let trend = judgement.fixture_trends.iter().find(|(id, _)| id == fixture);
                trend.map(|(_, points)| points.as_slice())
            }),
            marks: marks(Some(fixture)),
        })
        .collect();
    courses.push(Course {
        name: words::WHOLE_TANK.to_owned(),
        segments: segments(page, |judgement| Some(&judgement.even_trend)),
        marks: marks(None),
    });
    for course in &mut courses {
        // Before its first point a trend has no day to stand at.
        let first = course
            .segments
            .first()
            .and_then(|points| points.first())
            .map(|point| point.date);
        course
            .marks
            .retain(|done| first.is_some_and(|first| done.date >= first));
    }
    courses.retain(|course| course.segments.iter().map(|points| points.len()).sum::<usize>() > 1);
    courses
}

fn trends(page: &TankPage<'_>, report: &Report<'_>, done: &[&Upkeep]) -> Markup {
    let courses = courses(page, done);
    let breaks = courses.iter().any(|course| course.segments.len() > 1);
    html! {
        h2.title { (words::TRENDS) }
        @if courses.is_empty() {
            p.quiet { (words::NO_TREND_YET) }
        } @else {
            div.courses { (trend::courses(&courses, &page.tank.drift, &report.survey.id)) }
            p.quiet { (words::TREND_INTERVALS) @if breaks { " " (words::SEGMENTS) } }
        }
        @if !done.is_empty() {
            h3 { "What was done" }
            ol.done {
                @for upkeep in done {
                    li {
                        (words::day_and_year(upkeep.date)) ": " (words::upkeep_what(upkeep))
                        @if let Some(target) = &upkeep.target { ", " (shown(target)) }
                        @if let Some(remark) = &upkeep.remark { " (" (shown(remark)) ")" }
                    }
                }
            }
        }
    }
}

fn alerts(page: &TankPage<'_>) -> Markup {
    let open: Vec<&Alert> = page.open().collect();
    let closed: Vec<&Alert> = page
        .alerts
        .iter()
        .rev()
        .filter(|alert| alert.state == State::Closed)
        .collect();
    html! {
        h2.title { "Alerts" }
        @if open.is_empty() { p { (words::NO_ALERT) } }
        @for alert in &open {
            h3 { (words::title_of(alert)) }
            p.quiet { (words::upper_first(words::level(alert.level))) ", " (span(page, alert)) "." }
            (folded::lines(&alert.evidence))
            @let causes = words::causes_of(alert);
            @if !causes.is_empty() { p { (causes.join(" ")) } }
        }
        @if !closed.is_empty() {
            details {
                summary { "Past alerts (" (closed.len()) ")" }
                div {
                    @for alert in &closed {
                        h3 { (past_title(alert)) }
                        p.quiet { (words::upper_first(&span(page, alert))) "." }
                        (folded::lines(&alert.evidence))
                    }
                }
            }
        }
    }
}

/// What a closed alert was about; its last figure is that of its closing.
fn past_title(alert: &Alert) -> String {
    match alert.about {
        About::Light => words::upper_first(&format!("light {}", words::place(&alert.target))),
        _ => words::title_of(alert),
    }
}

fn span(page: &TankPage<'_>, alert: &Alert) -> String {
    let told = page.surveys.iter().flat_map(|(_, judgement)| {
        let changes = judgement.alert_changes.iter().map(|change| &change.alert);
        changes.chain(&judgement.open_alerts)
    });
    let farthest = told
        .filter(|told| told.id == alert.id)
        .filter_map(|told| told.change_percent)
        .filter(|percent| percent.is_finite())
        .max_by(|a, b| a.abs().total_cmp(&b.abs()));
    let day = |time| page.zone.date(time);
    words::alert_span(day(alert.opened), alert.closed.map(day), farthest)
}

fn surveys(page: &TankPage<'_>) -> Markup {
    let rows: Vec<_> = page.surveys.iter().rev().take(MOST_ROWS).collect();
    let (open, folded) = rows.split_at(rows.len().min(OPEN_ROWS));
    html! {
        h2.title { "Surveys (" (page.surveys.len()) ")" }
        (table_of(open))
        @if !folded.is_empty() {
            details {
                summary { "Older surveys (" (folded.len()) ")" }
                div { (table_of(folded)) }
            }
        }
        @if page.surveys.len() > rows.len() { p.quiet { (page.surveys.len() - rows.len()) " more stand in history.csv." } }
    }
}

fn table_of(rows: &[&(&Survey, &Judgement)]) -> Markup {
    html! {
        div.wide { table.surveys {
            thead { tr { th scope="col" { "survey" } th scope="col" { "what it said" } th.n scope="col" { "places with a value" } } }
            tbody { @for (survey, judgement) in rows {
                tr {
                    th.day scope="row" { a href=(page_of(survey)) { (day_of(survey)) } @if let Some(scene) = &survey.scene { " " span.quiet { (shown(scene)) } } }
                    td { (super::marks::inline_sign(verdict_sign(judgement))) (words::sentence(survey, judgement)) }
                    td.n { (survey.stations.iter().filter(|station| station.value.is_some()).count()) " of " (survey.stations.len()) }
                }
            } }
        } }
    }
}

fn day_of(survey: &Survey) -> String {
    let day: Date = survey.date;
    words::day_and_year(day)
}

/// The sign of a whole survey.
pub(super) fn verdict_sign(judgement: &Judgement) -> Sign {
    let largest = judgement
        .open_alerts
        .iter()
        .filter(|alert| alert.about == About::Light)
        .filter_map(|alert| alert.change_percent)
        .max_by(|a, b| a.abs().total_cmp(&b.abs()));
    match (judgement.verdict, largest) {
        (Verdict::TooPoor, _) => Sign::Again,
        (_, Some(percent)) if percent < 0.0 => Sign::Less,
        (_, Some(percent)) if percent > 0.0 => Sign::More,
        _ => Sign::Same,
    }
}
