//! The plan above the front view, on one shared left-right scale: a sign at each station, its value, and
//! how much it changed.

use super::label::{Rect, text_width};
use super::marks::{self, LINE, Mark, TEXT, View, shorten};
use crate::number::short as f;
use crate::sign::{Seen, is_compared};
use crate::text_cell::shown;
use crate::{Report, number, words};
use maud::{Markup, html};
use undim_model::{Fixture, valid_on};

const WIDTH: f64 = 440.0;
const MARGIN: f64 = 8.0;
/// Drawings no taller than this.
const TALLEST: f64 = 330.0;
/// What the drawings span, cm.
struct Span {
    left: [f64; 2],
    bottom: [f64; 2],
    front: [f64; 2],
    scale: f64,
    declared: bool,
}

/// Both views, their legend and the list of numbers; nothing where no station has a position.
pub(super) fn views(report: &Report<'_>, seen: &[Seen<'_>]) -> Option<Markup> {
    let mut marks = marks::marks(report, seen);
    if marks.is_empty() {
        return None;
    }
    let span = span(report, &marks)?;
    let fixtures = valid_on(&report.tank.fixtures, report.survey.date);
    let strip = strip(&fixtures, &span);
    let strip_rows = strip.iter().map(|(_, _, row)| *row + 1).max().unwrap_or(0);
    let plan_top = 6.0 + LINE * strip_rows as f64;
    let plan_height = (span.front[1] - span.front[0]) * span.scale;
    let front_top = 4.0;
    let front_height = (span.bottom[1] - span.bottom[0]) * span.scale;

    let edges: Vec<Rect> = fixtures
        .iter()
        .flat_map(|fixture| edges(fixture, &span, plan_top))
        .collect();
    let at = |mark: &Mark<'_>, down_cm: f64, top: f64, height: f64| {
        let y = (top + down_cm * span.scale).clamp(top - 2.0, top + height + 2.0);
        (span.x(mark.cm[0]), y)
    };
    let plan = View::new(
        &marks,
        bounds(plan_top, plan_height),
        |mark| at(mark, span.front[1] - mark.cm[2], plan_top, plan_height),
        true,
        &edges,
    );
    let front = View::new(
        &marks,
        bounds(front_top, front_height),
        |mark| at(mark, span.bottom[1] - mark.cm[1], front_top, front_height),
        false,
        &[],
    );
    marks::give_numbers(&mut marks, &[&plan, &front]);
    Some(html! {
        figure.maps {
            h2 { "From above" span.aside { "front pane at the bottom · PPFD in µmol m⁻² s⁻¹" } }
            svg viewBox=(format!("0 0 {WIDTH} {}", f(plan_top + plan_height + 8.0))) role="img" aria-label="The tank from above" {
                (outline(report, &span, plan_top, plan_height))
                @for fixture in &fixtures { (fixture_outline(fixture, &span, plan_top)) }
                @for (text, x, row) in &strip {
                    text.fixture-name x=(f(*x)) y=(f(LINE * (*row as f64 + 1.0) - 1.0)) text-anchor="middle" { (text) }
                }
                (plan.markup(&marks))
            }
            h2 { "From the front" }
            svg viewBox=(format!("0 0 {WIDTH} {}", f(front_top + front_height + 22.0))) role="img" aria-label="The tank from the front" {
                (glass(report, &span, front_top, front_height))
                (front.markup(&marks))
                (scale_line(&span, front_top + front_height + 16.0))
            }
            (marks::legend(seen, is_compared(report)))
            (marks::numbered(&marks))
            @if plan.has_groups() || front.has_groups() {
                p.quiet { "Places one behind another share a sign, the weightiest of theirs." }
            }
            @if seen.len() > marks.len() {
                p.quiet { (words::counted(seen.len() - marks.len(), "place", "places")) " not drawn; the table below has all." }
            }
            @if !span.declared {
                p.quiet { "The tank's inside is not declared: only the span of the positions is drawn." }
            }
        }
    })
}

/// The declared inside, or what the positions span. `None` where that makes no drawing.
fn span(report: &Report<'_>, marks: &[Mark<'_>]) -> Option<Span> {
    let inside = report
        .tank
        .inside_on(report.survey.date)
        .filter(|inside| inside.length_cm > 0.0 && inside.front_to_back_cm > 0.0 && inside.height_cm > 0.0);
    let (left, bottom, front) = if let Some(inside) = inside {
        (
            [0.0, inside.length_cm],
            [0.0, inside.height_cm],
            [0.0, inside.front_to_back_cm],
        )
    } else {
        let of = |axis: usize| {
            let low = marks
                .iter()
                .map(|mark| mark.cm[axis])
                .fold(f64::INFINITY, f64::min);
            let high = marks
                .iter()
                .map(|mark| mark.cm[axis])
                .fold(f64::NEG_INFINITY, f64::max);
            let room = ((high - low) * 0.1).max(5.0);
            [low - room, high + room]
        };
        (of(0), of(1), of(2))
    };
    let scale = ((WIDTH - 2.0 * MARGIN) / (left[1] - left[0]))
        .min(TALLEST / (front[1] - front[0]))
        .min(TALLEST / (bottom[1] - bottom[0]));
    (scale.is_finite() && scale > 0.0).then_some(Span {
        left,
        bottom,
        front,
        scale,
        declared: inside.is_some(),
    })
}

impl Span {
    fn width(&self) -> f64 {
        (self.left[1] - self.left[0]) * self.scale
    }

    /// Where the drawing begins: in the middle of its room.
    fn start(&self) -> f64 {
        (WIDTH - self.width()) / 2.0
    }

    fn x(&self, from_left_cm: f64) -> f64 {
        let x = self.start() + (from_left_cm - self.left[0]) * self.scale;
        x.clamp(MARGIN / 2.0, WIDTH - MARGIN / 2.0)
    }
}

fn bounds(top: f64, height: f64) -> Rect {
    Rect {
        left: 1.0,
        top: top + 1.0,
        right: WIDTH - 1.0,
        bottom: top + height - 1.0,
    }
}

/// Names of the fixtures in rows above the plan, each over its fixture: text, middle, row.
fn strip(fixtures: &[&Fixture], span: &Span) -> Vec<(String, f64, usize)> {
    let mut rows: Vec<Vec<(f64, f64)>> = Vec::new();
    fixtures
        .iter()
        .map(|fixture| {
            let text = shorten(&shown(&fixture.id));
            let half = text_width(&text, TEXT, true) / 2.0;
            let x = span
                .x(fixture.centre.from_left_cm)
                .clamp(half + 1.0, WIDTH - half - 1.0);
            let free = |row: &Vec<(f64, f64)>| {
                row.iter()
                    .all(|(from, to)| x + half + 4.0 < *from || x - half - 4.0 > *to)
            };
            let row = rows.iter().position(free).unwrap_or_else(|| {
                rows.push(Vec::new());
                rows.len() - 1
            });
            rows[row].push((x - half, x + half));
            (text, x, row)
        })
        .collect()
}

/// Left, top, width, height of a fixture on the plan.
fn fixture_rect(fixture: &Fixture, span: &Span, top: f64) -> [f64; 4] {
    let [across, deep] = fixture.size_cm.map(|size| size.max(2.0));
    let left = span.x(fixture.centre.from_left_cm - across / 2.0);
    let right = span.x(fixture.centre.from_left_cm + across / 2.0);
    let front = fixture.centre.from_front_cm;
    let y = |from_front: f64| {
        let depth = span.front[1] - span.front[0];
        top + (span.front[1] - from_front).clamp(0.0, depth) * span.scale
    };
    let (upper, lower) = (y(front + deep / 2.0), y(front - deep / 2.0));
    [left, upper, right - left, lower - upper]
}

fn edges(fixture: &Fixture, span: &Span, top: f64) -> [Rect; 4] {
    let [left, upper, width, height] = fixture_rect(fixture, span, top);
    let line = |left: f64, top: f64, right: f64, bottom: f64| Rect {
        left: left - 1.0,
        top: top - 1.0,
        right: right + 1.0,
        bottom: bottom + 1.0,
    };
    let (right, lower) = (left + width, upper + height);
    [
        line(left, upper, right, upper),
        line(left, lower, right, lower),
        line(left, upper, left, lower),
        line(right, upper, right, lower),
    ]
}

fn fixture_outline(fixture: &Fixture, span: &Span, top: f64) -> Markup {
    let [x, y, width, height] = fixture_rect(fixture, span, top);
    html! {
        rect.fixture x=(f(x)) y=(f(y)) width=(f(width.max(0.0))) height=(f(height.max(0.0))) { title { (shown(&fixture.id)) } }
    }
}

fn outline(report: &Report<'_>, span: &Span, top: f64, height: f64) -> Markup {
    let footprint = report
        .tank
        .inside_on(report.survey.date)
        .filter(|_| span.declared)
        .map(|inside| inside.footprint_cm.as_slice())
        .filter(|corners| corners.len() > 2);
    let class = if span.declared { "water glass" } else { "water" };
    html! {
        @if let Some(corners) = footprint {
            polygon class=(class) points=(corners.iter().map(|[left, front]| {
                format!("{},{}", f(span.x(*left)), f(top + (span.front[1] - front) * span.scale))
            }).collect::<Vec<_>>().join(" ")) {}
        } @else {
            rect class=(class) x=(f(span.start())) y=(f(top)) width=(f(span.width())) height=(f(height)) {}
        }
    }
}

/// The front view: glass without a lid, and the water's surface.
fn glass(report: &Report<'_>, span: &Span, top: f64, height: f64) -> Markup {
    let (left, right) = (span.start(), span.start() + span.width());
    let bottom = top + height;
    let inside_water = report
        .tank
        .inside_on(report.survey.date)
        .and_then(|inside| inside.water_cm);
    let surface = report
        .survey
        .water_cm
        .or(inside_water)
        .filter(|_| span.declared)
        .map(|water| (bottom - water * span.scale).clamp(top, bottom));
    let water_top = surface.unwrap_or(top);
    html! {
        rect.water x=(f(left)) y=(f(water_top)) width=(f(right - left)) height=(f(bottom - water_top)) {}
        @if span.declared {
            path.glass.open d=(format!("M{} {}V{}H{}V{}", f(left), f(top), f(bottom), f(right), f(top))) {}
        }
        @if let Some(surface) = surface {
            path.surface d=(format!("M{} {}H{}", f(left), f(surface), f(right))) {}
        }
    }
}

fn scale_line(span: &Span, y: f64) -> Markup {
    let (left, right) = (span.start(), span.start() + span.width());
    let whole = |cm: f64| number::fixed(cm, 0).replace('-', "−");
    let middle = f64::midpoint(span.left[0], span.left[1]);
    let wide = span.width() > 200.0;
    html! {
        text.axis x=(f(left)) y=(f(y)) { (whole(span.left[0])) }
        @if wide {
            text.axis x=(f(f64::midpoint(left, right))) y=(f(y)) text-anchor="middle" { (whole(middle)) " cm from left" }
        }
        text.axis x=(f(right)) y=(f(y)) text-anchor="end" { (whole(span.left[1])) @if !wide { " cm" } }
    }
}
