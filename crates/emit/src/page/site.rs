//! `index.html` of a site: all its tanks, the most pressing first, on one page made for forty.
//!
//! Open alerts first, then surveys past their day, then the rest by the day their next survey is due. What day
//! it is today no page made from data can know: a survey counts as past its day once that was noticed, or a newer
//! survey of any tank shows it, and the days themselves stand in order.

use super::document;
use super::marks::{inline_sign, named_sign};
use super::tank::{TankPage, page_of, verdict_sign};
use crate::calendar::next_due;
use crate::number::short as f;
use crate::sign::Sign;
use crate::text_cell::shown;
use crate::words;
use jiff::civil::Date;
use maud::{Markup, html};
use undim_model::{About, Alert, DriftSettings, Level, State, TrendPoint};

/// One tank on the page of its site.
#[derive(Debug, Clone, PartialEq)]
pub struct TankLine {
    id: String,
    name: String,
    /// Of the newest survey.
    sentence: String,
    sign: Sign,
    /// What each open alert says, most pressing first.
    alerts: Vec<String>,
    /// True where an overdue survey was noticed.
    is_overdue: bool,
    /// Open alerts of any other kind.
    pressing: usize,
    /// Of the most pressing open alert.
    level: Option<Level>,
    /// Size of its change, percent.
    size: f64,
    /// The newest survey's day and page.
    last: Date,
    page: String,
    due: Option<Date>,
    surveys: usize,
    course: String,
}

impl TankLine {
    /// What the site's page says of a tank; nothing without a survey.
    pub fn of(page: &TankPage<'_>) -> Option<Self> {
        let report = page.newest()?;
        let mut open: Vec<_> = page
            .alerts
            .iter()
            .filter(|alert| alert.state == State::Open)
            .collect();
        let size = |percent: Option<f64>| {
            percent
                .filter(|percent| percent.is_finite())
                .map_or(0.0, f64::abs)
        };
        open.sort_by(|a, b| {
            let pressing = b.level.cmp(&a.level);
            pressing.then(size(b.change_percent).total_cmp(&size(a.change_percent)))
        });
        let first = open.first();
        let sign = match first.map(|alert| (alert.about, alert.change_percent)) {
            Some((About::Light, Some(percent))) if percent < 0.0 => Sign::Less,
            Some((About::Light, Some(_))) => Sign::More,
            Some((About::Overdue | About::Silent | About::Intake, _)) => Sign::Again,
            _ => verdict_sign(report.judgement),
        };
        Some(Self {
            id: page.tank.id.clone(),
            name: page.tank.name.clone(),
            sentence: words::sentence(report.survey, report.judgement),
            sign,
            alerts: open.iter().map(|alert| words::title_of(alert)).collect(),
            is_overdue: open.iter().any(|alert| alert.about == About::Overdue),
            pressing: open.iter().filter(|alert| alert.about != About::Overdue).count(),
            level: first.map(|alert| alert.level),
            size: first.map_or(0.0, |alert| size(alert.change_percent)),
            last: report.survey.date,
            page: page_of(report.survey),
            due: next_due(page.tank, report.survey, page.zone),
            surveys: page.surveys.len(),
            course: course(&report.judgement.even_trend, &page.tank.drift),
        })
    }

    fn is_pressing(&self) -> bool {
        self.pressing > 0
    }

    fn is_past(&self, newest: Date) -> bool {
        self.is_overdue || self.due.is_some_and(|due| due < newest)
    }
}

/// The page of a site, whole. `alerts` are those that belong to no tank.
pub fn site(
    name: &str,
    lines: &[TankLine],
    alerts: &[Alert],
    has_calendar: bool,
    software_version: &str,
) -> String {
    let newest = lines.iter().map(|line| line.last).max().unwrap_or_default();
    let mut open: Vec<&TankLine> = lines.iter().filter(|line| line.is_pressing()).collect();
    open.sort_by(|a, b| {
        let pressing = b.level.cmp(&a.level).then(b.size.total_cmp(&a.size));
        pressing.then_with(|| a.id.cmp(&b.id))
    });
    let mut quiet: Vec<&TankLine> = lines.iter().filter(|line| !line.is_pressing()).collect();
    // Those without a rhythm come last, the longest unread of them first.
    quiet.sort_by_key(|line| (line.due.is_none(), line.due, line.last, line.id.as_str()));
    let (past, rest): (Vec<&TankLine>, Vec<&TankLine>) =
        quiet.into_iter().partition(|line| line.is_past(newest));
    let of_site: Vec<&Alert> = alerts.iter().filter(|alert| alert.state == State::Open).collect();
    let open_alerts = of_site.len() + open.iter().map(|line| line.pressing).sum::<usize>();
    let all_past = lines.iter().filter(|line| line.is_past(newest)).count();
    let sentence = words::site_sentence(lines.len(), open_alerts, all_past);
    let body = html! {
        main {
            p.over { (shown(name)) }
            h1 { (sentence) }
            @if !lines.is_empty() {
                p.age {
                    "The newest survey here is of " (words::day_and_year(newest)) ". " (words::NO_ALERT_ANYWHERE)
                }
                @for alert in &of_site {
                    section.next {
                        h2 { (words::upper_first(words::level(alert.level))) }
                        div {
                            p { strong { (words::title_of(alert)) } }
                            @for step in words::steps_of(alert) { p { (step) } }
                        }
                    }
                }
                table.tanks {
                    thead { tr {
                        th scope="col" { "tank" } th scope="col" { "light" } th.spark scope="col" { "trend" }
                        th scope="col" { "last survey" } th scope="col" { "next due" }
                    } }
                    (group("With an open alert", &open, newest))
                    (group("Past the day of their survey", &past, newest))
                    (group("No alert open", &rest, newest))
                }
                ul.legend {
                    @for sign in Sign::ALL { li { (inline_sign(sign)) (sign.meaning(true)) } }
                }
            }
            footer {
                @if has_calendar { p { a href="calendar.ics" { "calendar.ics" } ": the days of the next surveys, for a calendar program to subscribe to." } }
                p { (words::DAYS_NOT_AGES) }
                p { "undim " (shown(software_version)) " watches; it never switches." }
            }
        }
    };
    document(&format!("{}: {sentence}", shown(name)), &body)
}

fn group(title: &str, lines: &[&TankLine], newest: Date) -> Markup {
    html! {
        @if !lines.is_empty() {
            tbody {
                tr.group { th colspan="5" scope="rowgroup" { (title) " (" (lines.len()) ")" } }
                @for line in lines { (row(line, newest)) }
            }
        }
    }
}

fn row(line: &TankLine, newest: Date) -> Markup {
    html! {
        tr {
            th.tank scope="row" {
                (named_sign(line.sign, true))
                a href=(format!("{}/index.html", line.id)) { (shown(&line.name)) }
            }
            td.light {
                @if line.alerts.is_empty() { (line.sentence) }
                @for alert in &line.alerts { p { (alert) } }
                @if line.level == Some(Level::Urgent) { " " strong { "Urgent." } }
            }
            td.spark { (maud::PreEscaped(&line.course)) }
            td.day { span.head { "last survey " } a href=(format!("{}/{}", line.id, line.page)) { (short_day(line.last)) } }
            td.day {
                span.head { "next due " }
                @match line.due {
                    Some(due) if line.is_past(newest) => strong { (short_day(due)) ", past" },
                    Some(due) => (short_day(due)),
                    None => span.quiet { "not planned" },
                }
            }
        }
    }
}

/// "14 Mar 2026".
fn short_day(day: Date) -> String {
    let no_break = words::NO_BREAK;
    let month = words::month(day).get(..3).unwrap_or_default();
    format!("{}{no_break}{month}{no_break}{}", day.day(), day.year())
}

const WIDTH: f64 = 92.0;
const HEIGHT: f64 = 22.0;
/// Only the newest points are drawn.
const MOST_POINTS: usize = 36;

/// The whole tank's change since its baseline, too small for figures; the page of the tank has them.
fn course(points: &[TrendPoint], drift: &DriftSettings) -> String {
    let points = &points[points.len().saturating_sub(MOST_POINTS)..];
    let percents: Vec<f64> = points.iter().map(|point| point.change.percent).collect();
    let [first, .., last] = points else {
        return String::new();
    };
    if percents.iter().any(|percent| !percent.is_finite()) {
        return String::new();
    }
    let notice = drift.loss_percent.notice;
    let low = percents.iter().copied().fold(-1.2 * notice, f64::min);
    let high = percents.iter().copied().fold(0.5 * notice, f64::max);
    let days = |to: Date| first.date.duration_until(to).as_hours() as f64;
    let whole = days(last.date).max(1.0);
    let x = |day: Date| 3.0 + days(day) / whole * (WIDTH - 8.0);
    let y = |percent: f64| 3.0 + (high - percent) / (high - low) * (HEIGHT - 6.0);
    let path: Vec<String> = points
        .iter()
        .map(|point| format!("{} {}", f(x(point.date)), f(y(point.change.percent))))
        .collect();
    html! {
        svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) aria-hidden="true" {
            path.zero d=(format!("M0 {}H{WIDTH}", f(y(0.0)))) {}
            path.threshold d=(format!("M0 {}H{WIDTH}", f(y(-notice)))) {}
            path.run d=(format!("M{}", path.join("L"))) {}
            circle.now cx=(f(x(last.date))) cy=(f(y(last.change.percent))) r="2.4" {}
        }
    }
    .into_string()
}
