//! One small trend per fixture, or of the whole tank: each survey's change with its 95 % interval, and the
//! thresholds.

use super::label::text_width;
use crate::Report;
use crate::number::short as f;
use crate::words::{self, NO_BREAK};
use maud::{Markup, html};
use undim_model::{DriftSettings, TrendPoint};

const WIDTH: f64 = 340.0;
const HEIGHT: f64 = 132.0;
const TOP: f64 = 8.0;
const BOTTOM: f64 = 110.0;
const LEFT: f64 = 10.0;
/// Room on the right for the names of the lines.
const RIGHT: f64 = 254.0;
const SMALL: f64 = 10.0;
/// Only the newest points are drawn.
const MOST_POINTS: usize = 120;

/// All trends of a survey.
pub(super) fn trends(report: &Report<'_>) -> Markup {
    let judgement = report.judgement;
    let mut drawn: Vec<(String, &[TrendPoint])> = Vec::new();
    if judgement
        .fixture_trends
        .iter()
        .any(|(_, points)| points.len() > 1)
    {
        for (fixture, points) in &judgement.fixture_trends {
            drawn.push((format!("{} fixture", crate::text_cell::shown(fixture)), points));
        }
    } else if judgement.even_trend.len() > 1 {
        drawn.push(("Whole tank".to_owned(), &judgement.even_trend));
    }
    let drift = &report.tank.drift;
    html! {
        @if drawn.is_empty() {
            p.quiet { "A trend begins with the second survey." }
        } @else {
            @let scale = scale(drawn.iter().flat_map(|(_, points)| *points), drift);
            @for (name, points) in &drawn { (trend(name, points, &scale, report)) }
            p.quiet { "Change since the baseline. Bars and ranges hold with 95 % confidence." }
        }
    }
}

struct Scale {
    low: f64,
    high: f64,
}

impl Scale {
    fn y(&self, percent: f64) -> f64 {
        TOP + (self.high - percent.clamp(self.low, self.high)) / (self.high - self.low) * (BOTTOM - TOP)
    }
}

/// One scale for all trends, so that they can be held against one another.
fn scale<'a>(points: impl Iterator<Item = &'a TrendPoint>, drift: &DriftSettings) -> Scale {
    let (mut low, mut high) = (-1.25 * drift.loss_percent.notice, 2.0_f64);
    for end in points
        .flat_map(|point| point.change.ci95)
        .filter(|end| end.is_finite())
    {
        low = low.min(end);
        high = high.max(end);
    }
    if low < -drift.loss_percent.notice && low < -0.6 * drift.loss_percent.urgent {
        low = low.min(-1.05 * drift.loss_percent.urgent);
    }
    if high > drift.gain_percent.notice * 0.6 {
        high = high.max(1.1 * drift.gain_percent.notice);
    }
    Scale {
        low: low.min(-1.0),
        high,
    }
}

/// The level lines that lie on the scale, nearest to nothing first: percent, and the name where it touches
/// no other.
fn lines(scale: &Scale, drift: &DriftSettings) -> Vec<(f64, Option<String>)> {
    let (loss, gain) = (drift.loss_percent, drift.gain_percent);
    let mut named = vec![scale.y(0.0)];
    let mut lines = Vec::new();
    for (percent, word) in [
        (-loss.notice, "notice"),
        (gain.notice, "notice"),
        (-loss.urgent, "urgent"),
        (gain.urgent, "urgent"),
    ] {
        if percent <= scale.low || percent >= scale.high {
            continue;
        }
        let y = scale.y(percent);
        let free = named.iter().all(|other| (other - y).abs() >= SMALL + 2.0);
        let name = free.then(|| format!("{}{NO_BREAK}{word}", words::threshold(percent)));
        if free {
            named.push(y);
        }
        lines.push((percent, name));
    }
    lines
}

fn trend(name: &str, points: &[TrendPoint], scale: &Scale, report: &Report<'_>) -> Markup {
    let drift = &report.tank.drift;
    let points = &points[points.len().saturating_sub(MOST_POINTS)..];
    let xs = xs(points);
    let lines = lines(scale, drift);
    let path: Vec<String> = points
        .iter()
        .zip(&xs)
        .map(|(point, x)| format!("{} {}", f(*x), f(scale.y(point.change.percent))))
        .collect();
    html! {
        figure.trend {
            @if let Some(last) = points.last() {
                h2 {
                    span { (name) @if *last.survey != *report.survey.id { span.aside { " on " (words::day(last.date)) } } }
                    span.last { (words::signed_percent(last.change.percent)) " " span.aside { "(" (words::interval(last.change.percent, last.change.ci95)) ")" } }
                }
            }
            svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label=(format!("Trend: {name}")) {
                path.zero d=(format!("M{LEFT} {}H{}", f(scale.y(0.0)), f(RIGHT))) {}
                text.axis x=(f(RIGHT + 6.0)) y=(f(scale.y(0.0) + 3.5)) { "0" }
                @for (percent, name) in &lines {
                    @let y = scale.y(*percent);
                    path.threshold d=(format!("M{LEFT} {}H{}", f(y), f(RIGHT))) {}
                    @if let Some(name) = name {
                        text.axis x=(f(RIGHT + 6.0)) y=(f(y + 3.5)) { (name) }
                    }
                }
                @if path.len() > 1 { path.course d=(format!("M{}", path.join("L"))) {} }
                @for (point, x) in points.iter().zip(&xs) { (mark(point, *x, radius(points.len()), scale, drift)) }
                @for (x, text) in dates(points, &xs) {
                    text.axis x=(f(x)) y=(f(HEIGHT - 6.0)) text-anchor="middle" { (text) }
                }
            }
        }
    }
}

fn mark(point: &TrendPoint, x: f64, radius: f64, scale: &Scale, drift: &DriftSettings) -> Markup {
    let change = point.change;
    let [low, high] = change.ci95;
    let class = if change.percent <= -drift.loss_percent.notice {
        "point loss"
    } else if change.percent >= drift.gain_percent.notice {
        "point gain"
    } else {
        "point"
    };
    let title = format!(
        "{}: {} ({})",
        words::day_and_year(point.date),
        words::signed_percent(change.percent),
        words::interval(change.percent, change.ci95)
    );
    html! {
        g class=(class) {
            title { (title) }
            path.bar d=(format!("M{} {}V{}", f(x), f(scale.y(high)), f(scale.y(low)))) {}
            circle cx=(f(x)) cy=(f(scale.y(change.percent))) r=(f(radius)) {}
        }
    }
}

/// Many points are drawn smaller.
fn radius(points: usize) -> f64 {
    if points > 18 { 2.3 } else { 3.8 }
}

/// Where each survey lies along the time axis.
fn xs(points: &[TrendPoint]) -> Vec<f64> {
    let days = |point: &TrendPoint| {
        points.first().map_or(0.0, |first| {
            first.date.duration_until(point.date).as_hours() as f64 / 24.0
        })
    };
    let span = points.last().map_or(0.0, days);
    points
        .iter()
        .map(|point| {
            let share = if span > 0.0 { days(point) / span } else { 0.5 };
            LEFT + 8.0 + share * (RIGHT - LEFT - 20.0)
        })
        .collect()
}

/// Months under the axis, the newest always, none touching another.
fn dates(points: &[TrendPoint], xs: &[f64]) -> Vec<(f64, String)> {
    let long = points
        .first()
        .zip(points.last())
        .is_some_and(|(first, last)| first.date.duration_until(last.date).as_hours() > 24 * 300);
    let mut kept: Vec<(f64, String)> = Vec::new();
    let mut free_until = WIDTH;
    for (point, x) in points.iter().zip(xs).rev() {
        let month = &words::month(point.date)[..3];
        let text = if long {
            format!("{month} {:02}", point.date.year().rem_euclid(100))
        } else {
            month.to_owned()
        };
        let half = text_width(&text, SMALL, false) / 2.0;
        let repeated = kept.last().is_some_and(|(_, last)| *last == text);
        if x + half < free_until && x - half >= 0.0 && !repeated {
            free_until = x - half - 5.0;
            kept.push((*x, text));
        }
    }
    kept
}
