//! One small trend per fixture, or of the whole tank: each survey's change with its 95 % interval, and the
//! thresholds.

use super::label::text_width;
use super::marks::ranges;
use crate::Report;
use crate::number::short as f;
use crate::words::{self, NO_BREAK};
use jiff::civil::Date;
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

/// One trend to draw.
pub(super) struct Course<'a> {
    /// What it is the trend of.
    pub(super) name: String,
    /// Stretches held against one baseline each, oldest first.
    pub(super) segments: Vec<&'a [TrendPoint]>,
    /// What was done on the way.
    pub(super) marks: Vec<Done>,
}

/// Something that was done to the tank, by its number in the page's list.
pub(super) struct Done {
    pub(super) date: Date,
    pub(super) number: usize,
    pub(super) what: String,
}

/// All trends of a survey.
pub(super) fn trends(report: &Report<'_>) -> Markup {
    let judgement = report.judgement;
    let course = |name: String, points| Course {
        name,
        segments: vec![points],
        marks: Vec::new(),
    };
    let mut drawn: Vec<Course<'_>> = Vec::new();
    if judgement
        .fixture_trends
        .iter()
        .any(|(_, points)| points.len() > 1)
    {
        for (fixture, points) in &judgement.fixture_trends {
            drawn.push(course(words::fixture_named(fixture), points));
        }
    } else if judgement.even_trend.len() > 1 {
        drawn.push(course(words::WHOLE_TANK.to_owned(), &judgement.even_trend));
    }
    html! {
        @if drawn.is_empty() {
            p.quiet { (words::NO_TREND_YET) }
        } @else {
            h2 { (words::TRENDS) }
            (courses(&drawn, &report.tank.drift, &report.survey.id))
            p.quiet { (words::TREND_INTERVALS) }
        }
    }
}

/// Several trends on one scale, so that they can be held against one another. A trend whose newest point is
/// not of the `newest` survey says of which day it is.
pub(super) fn courses(drawn: &[Course<'_>], drift: &DriftSettings, newest: &str) -> Markup {
    let points = drawn
        .iter()
        .flat_map(|course| course.segments.iter().copied().flatten());
    let scale = scale(points, drift);
    html! { @for course in drawn { (trend(course, &scale, drift, newest)) } }
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

fn trend(course: &Course<'_>, scale: &Scale, drift: &DriftSettings, newest: &str) -> Markup {
    let segments = newest_points(&course.segments);
    let axis = Axis::over(&segments, &course.marks);
    let count: usize = segments.iter().map(|points| points.len()).sum();
    let lines = lines(scale, drift);
    let last = segments.last().and_then(|points| points.last());
    let name = &course.name;
    let paths = segments.iter().filter(|points| points.len() > 1).map(|points| {
        let at =
            |point: &TrendPoint| format!("{} {}", f(axis.x(point.date)), f(scale.y(point.change.percent)));
        points.iter().map(at).collect::<Vec<_>>().join("L")
    });
    let label = last.map_or_else(String::new, |last| {
        format!(
            ": {} ({}) on {}",
            words::signed_percent(last.change.percent),
            words::interval(last.change.percent, last.change.ci95),
            words::day_and_year(last.date)
        )
    });
    html! {
        figure.trend {
            @if let Some(last) = last {
                h3.course-name {
                    span { (name) @if *last.survey != *newest { span.aside { " on " (words::day(last.date)) } } }
                    span.last { (words::signed_percent(last.change.percent)) " " span.aside { "(" (words::interval(last.change.percent, last.change.ci95)) ")" } }
                }
            }
            svg viewBox=(format!("0 {} {WIDTH} {}", f(-axis.head), f(HEIGHT + axis.head))) role="img" aria-label=(format!("Trend, {name}{label}")) {
                path.zero d=(format!("M{LEFT} {}H{}", f(scale.y(0.0)), f(RIGHT))) {}
                text.axis x=(f(RIGHT + 6.0)) y=(f(scale.y(0.0) + 3.5)) { "0" }
                @for (percent, name) in &lines {
                    @let y = scale.y(*percent);
                    path.threshold d=(format!("M{LEFT} {}H{}", f(y), f(RIGHT))) {}
                    @if let Some(name) = name {
                        text.axis x=(f(RIGHT + 6.0)) y=(f(y + 3.5)) { (name) }
                    }
                }
                @for done in &course.marks {
                    @let x = f(axis.x(done.date));
                    path.done d=(format!("M{x} {}V{BOTTOM}", f(4.0 - axis.head + SMALL))) { title { (words::day_and_year(done.date)) ": " (done.what) } }
                }
                @for (x, text) in numbers(&course.marks, &axis) {
                    text.axis x=(f(x)) y=(f(SMALL - axis.head)) text-anchor="middle" { (text) }
                }
                @for path in paths { path.course d=(format!("M{path}")) {} }
                @for points in &segments {
                    @for point in *points { (mark(point, axis.x(point.date), radius(count), scale, drift)) }
                }
                @for (x, text) in dates(&segments, &axis) {
                    text.axis x=(f(x)) y=(f(HEIGHT - 6.0)) text-anchor="middle" { (text) }
                }
            }
        }
    }
}

/// The newest points, in their stretches.
fn newest_points<'a>(segments: &[&'a [TrendPoint]]) -> Vec<&'a [TrendPoint]> {
    let mut room = MOST_POINTS;
    let mut kept: Vec<&[TrendPoint]> = Vec::new();
    for points in segments.iter().rev() {
        let from = points.len().saturating_sub(room);
        room -= points.len() - from;
        if from < points.len() {
            kept.push(&points[from..]);
        }
    }
    kept.reverse();
    kept
}

/// The days under a drawing.
struct Axis {
    first: Date,
    days: f64,
    /// Room above for the numbers of what was done.
    head: f64,
}

impl Axis {
    fn over(segments: &[&[TrendPoint]], marks: &[Done]) -> Self {
        let points = || segments.iter().copied().flatten().map(|point| point.date);
        let first = points().min().unwrap_or_default();
        let last = points().chain(marks.iter().map(|done| done.date)).max();
        Self {
            first,
            days: last.map_or(0.0, |last| days_between(first, last)),
            head: if marks.is_empty() { 0.0 } else { SMALL + 2.0 },
        }
    }

    fn x(&self, day: Date) -> f64 {
        let share = if self.days > 0.0 {
            (days_between(self.first, day) / self.days).clamp(0.0, 1.0)
        } else {
            0.5
        };
        LEFT + 8.0 + share * (RIGHT - LEFT - 20.0)
    }
}

fn days_between(from: Date, to: Date) -> f64 {
    from.duration_until(to).as_hours() as f64 / 24.0
}

/// The numbers over the lines of what was done; those that would touch stand together.
fn numbers(marks: &[Done], axis: &Axis) -> Vec<(f64, String)> {
    let mut groups: Vec<Vec<&Done>> = Vec::new();
    let middle =
        |group: &[&Done]| group.iter().map(|done| axis.x(done.date)).sum::<f64>() / group.len().max(1) as f64;
    let text = |group: &[&Done]| ranges(group.iter().map(|done| done.number));
    for done in marks {
        groups.push(vec![done]);
        // Drawing two together may bring them to touch the one before.
        while let [.., before, last] = groups.as_slice() {
            let half = |group: &[&Done]| text_width(&text(group), SMALL, false) / 2.0;
            if middle(before) + half(before) + 4.0 < middle(last) - half(last) {
                break;
            }
            let joined = groups.pop().unwrap_or_default();
            if let Some(before) = groups.last_mut() {
                before.extend(joined);
            }
        }
    }
    groups.iter().map(|group| (middle(group), text(group))).collect()
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

/// Months under the axis, the newest always, none touching another.
fn dates(segments: &[&[TrendPoint]], axis: &Axis) -> Vec<(f64, String)> {
    let long = axis.days > 300.0;
    let mut kept: Vec<(f64, String)> = Vec::new();
    let mut free_until = WIDTH;
    for point in segments.iter().copied().flatten().rev() {
        let x = axis.x(point.date);
        let month = words::month(point.date).get(..3).unwrap_or_default();
        let text = if long {
            format!("{month} {:02}", point.date.year().rem_euclid(100))
        } else {
            month.to_owned()
        };
        let half = text_width(&text, SMALL, false) / 2.0;
        let repeated = kept.last().is_some_and(|(_, last)| *last == text);
        if x + half < free_until && x - half >= 0.0 && !repeated {
            free_until = x - half - 5.0;
            kept.push((x, text));
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::ToSpan;
    use jiff::civil::date;

    fn done(days: &[i64]) -> Vec<Done> {
        let first = date(2026, 1, 1);
        days.iter()
            .enumerate()
            .map(|(index, day)| Done {
                date: first.checked_add(day.days()).expect("a day"),
                number: index + 1,
                what: String::new(),
            })
            .collect()
    }

    #[test]
    fn numbers_of_neighbouring_days_stand_together_and_none_touch() {
        let axis = Axis {
            first: date(2026, 1, 1),
            days: 365.0,
            head: 12.0,
        };
        let texts: Vec<String> = numbers(&done(&[0, 1, 2, 100, 300]), &axis)
            .into_iter()
            .map(|(_, text)| text)
            .collect();
        assert_eq!(texts, ["1–3", "4", "5"]);
        let all: Vec<i64> = (0..200).map(|day| day * 2 - day % 3).collect();
        let drawn = numbers(&done(&all), &axis);
        for pair in drawn.windows(2) {
            let half = |text: &str| text_width(text, SMALL, false) / 2.0;
            assert!(pair[0].0 + half(&pair[0].1) < pair[1].0 - half(&pair[1].1));
        }
    }

    #[test]
    fn only_the_newest_points_are_kept_across_stretches() {
        let point = TrendPoint {
            survey: "s".into(),
            date: date(2026, 1, 1),
            change: undim_model::Change {
                percent: 0.0,
                u_percent: 1.0,
                ci95: [-2.0, 2.0],
                p_real: 0.5,
            },
        };
        let (long, short) = (vec![point.clone(); 100], vec![point; 50]);
        let kept = newest_points(&[&long, &short]);
        assert_eq!(
            kept.iter().map(|points| points.len()).collect::<Vec<_>>(),
            [70, 50]
        );
    }
}
