//! The plan above the front view, on one shared left-right scale: a sign at each station, its value, and
//! how much it changed.

use super::label::{Anchor, Place, Placer, Rect, side_by_side, text_width};
use crate::sign::{Seen, Sign, is_compared};
use crate::text_cell::shown;
use crate::{Report, number, words};
use maud::{Markup, html};
use undim_model::{Fixture, valid_on};

const WIDTH: f64 = 440.0;
const MARGIN: f64 = 8.0;
const TEXT: f64 = 11.0;
const SMALL: f64 = 10.0;
const LINE: f64 = 13.0;
/// Drawings no taller than this.
const TALLEST: f64 = 330.0;
/// More places than this get no name on the drawing; the table has them all.
const MOST_LABELS: usize = 120;
/// More places than this are not drawn at all.
const MOST_MARKS: usize = 1500;
/// Longer names are cut on the drawing.
const LONGEST_NAME: usize = 16;

/// What the drawings span, cm.
struct Span {
    left: [f64; 2],
    bottom: [f64; 2],
    front: [f64; 2],
    scale: f64,
    declared: bool,
}

/// A station on the drawings.
struct Mark<'a> {
    seen: &'a Seen<'a>,
    cm: [f64; 3],
    name: String,
    figures: String,
    number: Option<usize>,
}

/// A mark on one drawing, with what is written beside it.
struct Drawn {
    at: (f64, f64),
    label: Option<Place>,
}

/// Both views, their legend and the list of numbers; nothing where no station has a position.
pub(super) fn views(report: &Report<'_>, seen: &[Seen<'_>]) -> Option<Markup> {
    let mut marks = marks(report, seen);
    if marks.is_empty() {
        return None;
    }
    let span = span(report, &marks)?;
    let fixtures = valid_on(&report.tank.fixtures, report.survey.date);
    let strip = strip(&fixtures, &span);
    let strip_height = strip.iter().map(|(_, _, row)| *row + 1).max().unwrap_or(0);
    let plan_top = 6.0 + LINE * strip_height as f64;
    let plan_height = (span.front[1] - span.front[0]) * span.scale;
    let front_top = 14.0;
    let front_height = (span.bottom[1] - span.bottom[0]) * span.scale;

    let plan = draw(
        &marks,
        &span,
        plan_top,
        plan_height,
        |cm| span.front[1] - cm[2],
        true,
        &fixtures,
    );
    let front = draw(
        &marks,
        &span,
        front_top,
        front_height,
        |cm| span.bottom[1] - cm[1],
        false,
        &[],
    );
    let mut next = 0;
    for index in 0..marks.len() {
        let labelled = plan[index].label.is_some() && front[index].label.is_some();
        if !labelled {
            next += 1;
            marks[index].number = Some(next);
        }
    }
    let plan_numbers = numbers(&marks, &plan, plan_top, plan_height);
    let front_numbers = numbers(&marks, &front, front_top, front_height);
    let compared = is_compared(report);
    Some(html! {
        figure.maps {
            h2 { "From above" span.aside { "front pane at the bottom · PPFD in µmol m⁻² s⁻¹" } }
            svg viewBox=(format!("0 0 {WIDTH} {}", f(plan_top + plan_height + 8.0))) role="img" aria-label="The tank from above" {
                (outline(report, &span, plan_top, plan_height))
                @for fixture in &fixtures { (fixture_outline(fixture, &span, plan_top)) }
                @for (text, x, row) in &strip {
                    text.fixture-name x=(f(*x)) y=(f(LINE * (*row as f64 + 1.0) - 1.0)) text-anchor="middle" { (text) }
                }
                (drawing(&marks, &plan, &plan_numbers, true))
            }
            h2 { "From the front" }
            svg viewBox=(format!("0 0 {WIDTH} {}", f(front_top + front_height + 26.0))) role="img" aria-label="The tank from the front" {
                (glass(report, &span, front_top, front_height))
                (drawing(&marks, &front, &front_numbers, false))
                (scale_line(&span, front_top + front_height + 17.0))
            }
            (legend(seen, compared))
            (numbered(&marks))
            @if seen.len() > marks.len() {
                p.quiet { (words::counted(seen.len() - marks.len(), "place", "places")) " not drawn; the table below has all." }
            }
            @if !span.declared {
                p.quiet { "The tank's inside is not declared: only the span of the positions is drawn." }
            }
        }
    })
}

fn f(value: f64) -> String {
    let text = number::fixed(value, 1);
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

fn marks<'a>(report: &Report<'_>, seen: &'a [Seen<'a>]) -> Vec<Mark<'a>> {
    let compared = is_compared(report);
    seen.iter()
        .filter_map(|seen| {
            let position = seen.value.position.filter(|position| position.is_finite())?;
            Some(Mark {
                seen,
                cm: position.to_array(),
                name: shorten(&shown(&seen.value.station)),
                figures: figures(seen, compared),
                number: None,
            })
        })
        .take(MOST_MARKS)
        .collect()
}

fn figures(seen: &Seen<'_>, compared: bool) -> String {
    let changed = seen
        .change
        .filter(|_| compared && matches!(seen.sign, Sign::Less | Sign::More));
    match (seen.value.value, changed) {
        _ if seen.sign == Sign::Again => "read again".to_owned(),
        (Some(value), Some(change)) => {
            format!(
                "{}  {}",
                words::ppfd(value.ppfd),
                words::signed_percent(change.change.percent)
            )
        }
        (Some(value), None) => words::ppfd(value.ppfd),
        (None, _) => String::new(),
    }
}

fn shorten(name: &str) -> String {
    let mut short: String = name.chars().take(LONGEST_NAME).collect();
    if name.chars().count() > LONGEST_NAME {
        short.pop();
        short.push('…');
    }
    short
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

fn draw(
    marks: &[Mark<'_>],
    span: &Span,
    top: f64,
    height: f64,
    down_cm: impl Fn([f64; 3]) -> f64,
    with_figures: bool,
    fixtures: &[&Fixture],
) -> Vec<Drawn> {
    let mut places: Vec<(f64, f64)> = Vec::with_capacity(marks.len());
    for mark in marks {
        let x = span.x(mark.cm[0]);
        let y = (top + down_cm(mark.cm) * span.scale).clamp(top - 2.0, top + height + 2.0);
        places.push(side_by_side(x, y, &places, MARGIN, WIDTH - MARGIN));
    }
    let mut placer = Placer::new(bounds(top, height));
    for (x, y) in &places {
        placer.take(Rect::around(*x, *y, 6.0));
    }
    for fixture in fixtures {
        for edge in edges(fixture, span, top) {
            placer.avoid(edge);
        }
    }
    let mut drawn: Vec<Drawn> = places.into_iter().map(|at| Drawn { at, label: None }).collect();
    let mut order: Vec<usize> = (0..marks.len()).collect();
    order.sort_by_key(|index| (marks[*index].seen.sign, *index));
    for index in order.into_iter().take(MOST_LABELS) {
        let mark = &marks[index];
        let mut width = text_width(&mark.name, TEXT, true);
        let mut height = LINE;
        if with_figures && !mark.figures.is_empty() {
            width = width.max(text_width(&mark.figures, TEXT, false));
            height += LINE;
        }
        let (x, y) = drawn[index].at;
        drawn[index].label = placer.place(x, y, width, height);
    }
    drawn
}

fn bounds(top: f64, height: f64) -> Rect {
    Rect {
        left: 1.0,
        top: top + 1.0,
        right: WIDTH - 1.0,
        bottom: top + height - 1.0,
    }
}

/// Numbers for the marks that found no room for their label; `None` where not even that fits.
fn numbers(marks: &[Mark<'_>], drawn: &[Drawn], top: f64, height: f64) -> Vec<Option<Place>> {
    let mut placer = Placer::new(bounds(top, height));
    for drawn in drawn {
        placer.take(Rect::around(drawn.at.0, drawn.at.1, 6.0));
        if let Some(label) = drawn.label {
            placer.take(label.rect);
        }
    }
    marks
        .iter()
        .zip(drawn)
        .map(|(mark, drawn)| match (drawn.label, mark.number) {
            (None, Some(number)) => {
                let width = text_width(&number.to_string(), SMALL, false);
                placer.place(drawn.at.0, drawn.at.1, width, SMALL + 1.0)
            }
            _ => None,
        })
        .collect()
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

fn drawing(marks: &[Mark<'_>], drawn: &[Drawn], numbers: &[Option<Place>], with_figures: bool) -> Markup {
    html! {
        @for ((mark, drawn), number) in marks.iter().zip(drawn).zip(numbers) {
            (sign(mark, drawn.at))
            @if let Some(place) = drawn.label {
                text.name x=(f(place.x())) y=(f(place.rect.top + LINE - 3.0)) text-anchor=(anchor(place.anchor)) { (mark.name) }
                @if with_figures && !mark.figures.is_empty() {
                    text.figure x=(f(place.x())) y=(f(place.rect.top + 2.0 * LINE - 3.0)) text-anchor=(anchor(place.anchor)) { (mark.figures) }
                }
            } @else if let (Some(place), Some(number)) = (number, mark.number) {
                text.number x=(f(place.x())) y=(f(place.rect.bottom - 2.0)) text-anchor=(anchor(place.anchor)) { (number) }
            }
        }
    }
}

fn anchor(anchor: Anchor) -> &'static str {
    match anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    }
}

fn sign(mark: &Mark<'_>, (x, y): (f64, f64)) -> Markup {
    let class = format!("sign {}", mark.seen.sign.class());
    let title = format!("{} {}", shown(&mark.seen.value.station), mark.figures);
    html! {
        g class=(class) {
            title { (title.trim_end()) }
            (shape(mark.seen.sign, x, y))
        }
    }
}

/// The shape itself, about ten units across.
pub(super) fn shape(sign: Sign, x: f64, y: f64) -> Markup {
    let at = |dx: f64, dy: f64| format!("{} {}", f(x + dx), f(y + dy));
    html! {
        @match sign {
            Sign::Less => path d=(format!("M{}L{}L{}Z", at(-5.5, -4.5), at(5.5, -4.5), at(0.0, 5.0))) {},
            Sign::More => path d=(format!("M{}L{}L{}Z", at(-5.5, 4.5), at(5.5, 4.5), at(0.0, -5.0))) {},
            Sign::Same => circle cx=(f(x)) cy=(f(y)) r="4.2" {},
            Sign::Again => path d=(format!("M{}L{}M{}L{}", at(-4.5, -4.5), at(4.5, 4.5), at(4.5, -4.5), at(-4.5, 4.5))) {},
        }
    }
}

/// A sign to stand in running text.
pub(super) fn inline_sign(sign: Sign) -> Markup {
    html! {
        svg.inline viewBox="0 0 14 14" aria-hidden="true" { g class=(format!("sign {}", sign.class())) { (shape(sign, 7.0, 7.0)) } }
    }
}

fn legend(seen: &[Seen<'_>], compared: bool) -> Markup {
    html! {
        ul.legend {
            @for sign in Sign::ALL {
                @if compared || seen.iter().any(|seen| seen.sign == sign) {
                    li { (inline_sign(sign)) (sign.meaning(compared)) }
                }
            }
        }
    }
}

fn numbered(marks: &[Mark<'_>]) -> Markup {
    let listed = || marks.iter().filter(|mark| mark.number.is_some());
    html! {
        @if listed().next().is_some() {
            ol.numbered {
                @for mark in listed() {
                    li {
                        span.number { (mark.number.unwrap_or_default()) } " "
                        (inline_sign(mark.seen.sign)) b { (mark.name) } " " (mark.figures)
                    }
                }
            }
        }
    }
}
