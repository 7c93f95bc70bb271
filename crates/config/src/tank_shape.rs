//! A tank's inside, and what must lie in it.

use crate::item::Item;
use crate::sheet::{Sheet, Span};
use crate::tank_file::{Block, span_of};
use crate::walk::Table;
use undim_model::{Coral, Fixture, Inside, Position, Station};

/// More corners than this are no tank.
const MOST_CORNERS: usize = 500;

/// `[inside]`, or one of `[[inside]]`.
pub(crate) fn read_inside(block: &mut Table) -> Option<Block<Inside>> {
    let footprint = block.take("footprint_cm");
    let corners = footprint.as_ref().and_then(corners);
    let has_footprint = footprint.is_some();
    // A footprint tells the two sides by itself.
    let mut side = |key, example| {
        let item = if has_footprint {
            block.take(key)
        } else {
            block.need(key, example)
        };
        item.map(|item| item.positive())
    };
    let length = side("length_cm", "length_cm = 120.0");
    let depth = side("front_to_back_cm", "front_to_back_cm = 60.0");
    let height = block
        .need("height_cm", "height_cm = 55.0")
        .and_then(|item| item.positive());
    let water = block.take("water_cm").and_then(|item| {
        let water = item.positive()?;
        if height.is_some_and(|height| water > height) {
            item.mistake(
                format!(
                    "the water ({water} cm) stands above the rim ({} cm)",
                    height.unwrap_or_default()
                ),
                "both are measured from the bottom pane inside: check `water_cm` and `height_cm`",
            );
        }
        Some(water)
    });
    let span = span_of(block);
    block.finish();
    let furthest = |axis: usize| {
        let corners = corners.as_deref().unwrap_or_default();
        corners.iter().map(|corner| corner[axis]).fold(0.0, f64::max)
    };
    let length_cm = length.flatten().unwrap_or_else(|| furthest(0));
    let front_to_back_cm = depth.flatten().unwrap_or_else(|| furthest(1));
    if let (Some(item), Some(corners)) = (&footprint, &corners) {
        check_footprint(item, corners, length_cm, front_to_back_cm);
    }
    // Places are checked against whole measures only.
    let whole = length_cm > 0.0 && front_to_back_cm > 0.0 && height.is_some();
    whole.then(|| Block {
        value: Inside {
            length_cm,
            front_to_back_cm,
            height_cm: height.unwrap_or_default(),
            water_cm: water,
            footprint_cm: corners.unwrap_or_default(),
            span,
        },
        id_span: block.span.clone(),
        at_span: 0..0,
    })
}

fn corners(item: &Item) -> Option<Vec<[f64; 2]>> {
    let list = item.list()?;
    let corners: Vec<[f64; 2]> = list
        .iter()
        .filter_map(|corner| corner.numbers("[from left, from front]"))
        .collect();
    if corners.len() != list.len() {
        return None;
    }
    if !(3..=MOST_CORNERS).contains(&corners.len()) {
        item.mistake(
            format!(
                "a footprint has at least 3 and at most {MOST_CORNERS} corners; this has {}",
                corners.len()
            ),
            "walk once round the tank and write [from left, from front] at each corner",
        );
        return None;
    }
    Some(corners)
}

fn check_footprint(item: &Item, corners: &[[f64; 2]], length_cm: f64, front_to_back_cm: f64) {
    let fits = |value: f64, most: f64| (-1e-6..=most + 1e-6).contains(&value);
    let outside = corners
        .iter()
        .find(|[left, front]| !fits(*left, length_cm) || !fits(*front, front_to_back_cm));
    if let Some([left, front]) = outside {
        item.mistake(
            format!("the corner [{left}, {front}] lies outside length {length_cm} × front to back {front_to_back_cm} cm"),
            "the footprint's corners lie within the inside measures",
        );
    }
    if crosses_itself(corners) {
        item.mistake(
            "the footprint crosses or touches itself",
            "write the corners in order, once round the tank",
        );
    } else if area(corners).abs() < 1.0 {
        item.mistake(
            "the footprint has no area",
            "write the corners in order, once round the tank",
        );
    }
}

fn edges(corners: &[[f64; 2]]) -> Vec<([f64; 2], [f64; 2])> {
    let next = corners.iter().skip(1).chain(corners.first());
    corners.iter().copied().zip(next.copied()).collect()
}

/// Signed area, cm² (the shoelace formula).
fn area(corners: &[[f64; 2]]) -> f64 {
    edges(corners)
        .iter()
        .map(|([a, b], [c, d])| a * d - c * b)
        .sum::<f64>()
        / 2.0
}

fn crosses_itself(corners: &[[f64; 2]]) -> bool {
    let edges = edges(corners);
    let last = edges.len() - 1;
    edges.iter().enumerate().any(|(i, first)| {
        edges.iter().enumerate().skip(i + 1).any(|(j, second)| {
            if j == i + 1 {
                folds_back(*first, *second)
            } else if i == 0 && j == last {
                folds_back(*second, *first)
            } else {
                meet(*first, *second)
            }
        })
    })
}

/// Which side of the line a → b the point c lies on: positive left, negative right, 0 on it.
fn side(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Neighbouring edges a → b → c where c goes back over a → b, or an edge without length.
fn folds_back((a, b): ([f64; 2], [f64; 2]), (_, c): ([f64; 2], [f64; 2])) -> bool {
    let ahead = (b[0] - a[0]) * (c[0] - b[0]) + (b[1] - a[1]) * (c[1] - b[1]);
    a == b || b == c || (side(a, b, c) == 0.0 && ahead < 0.0)
}

/// True where two edges share a point.
fn meet((a, b): ([f64; 2], [f64; 2]), (c, d): ([f64; 2], [f64; 2])) -> bool {
    let within = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| {
        (0..2).all(|axis| r[axis] >= p[axis].min(q[axis]) && r[axis] <= p[axis].max(q[axis]))
    };
    let [s1, s2, s3, s4] = [side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b)];
    if s1 * s2 < 0.0 && s3 * s4 < 0.0 {
        return true;
    }
    (s1 == 0.0 && within(a, b, c))
        || (s2 == 0.0 && within(a, b, d))
        || (s3 == 0.0 && within(c, d, a))
        || (s4 == 0.0 && within(c, d, b))
}

/// True where a point (from left, from front) lies in the footprint or on its edge (crossing number).
fn in_footprint(corners: &[[f64; 2]], [left, front]: [f64; 2]) -> bool {
    let mut inside = false;
    for (a, b) in edges(corners) {
        if meet((a, b), ([left, front], [left, front])) {
            return true;
        }
        if (a[1] > front) != (b[1] > front) && left < a[0] + (front - a[1]) / (b[1] - a[1]) * (b[0] - a[0]) {
            inside = !inside;
        }
    }
    inside
}

/// Why a place isn't inside, if it isn't.
fn outside(inside: &Inside, at: Position) -> Option<String> {
    let [left, bottom, front] = at.to_array();
    for (what, value, most) in [
        ("from left", left, inside.length_cm),
        ("from bottom", bottom, inside.height_cm),
        ("from front", front, inside.front_to_back_cm),
    ] {
        if !(0.0..=most).contains(&value) {
            return Some(format!("{what} {value} cm, where the tank has 0 to {most} cm"));
        }
    }
    let corners = &inside.footprint_cm;
    (!corners.is_empty() && !in_footprint(corners, [left, front]))
        .then(|| format!("{left} cm from left, {front} cm from front lies outside the footprint"))
}

/// Stations and corals lie in the tank, fixtures above its water, on the days for which they hold.
pub(crate) fn check_places(
    sheet: &Sheet,
    insides: &[Block<Inside>],
    fixtures: &[Block<Fixture>],
    stations: &[Block<Station>],
    corals: &[Block<Coral>],
) {
    for station in stations {
        let Block { value, at_span, .. } = station;
        if check_inside(
            sheet,
            insides,
            ("station", &value.id),
            value.at,
            value.span,
            at_span,
        ) {
            let mut of_its_days = insides
                .iter()
                .filter(|inside| overlap(inside.value.span, value.span))
                .peekable();
            let is_known = of_its_days.peek().is_some() && !at_span.is_empty();
            let above = of_its_days.all(|inside| {
                let water = inside.value.water_cm;
                water.is_some_and(|water| value.at.from_bottom_cm > water)
            });
            if above && is_known {
                sheet.warn(
                    at_span,
                    format!("station `{}` lies above the water", value.id),
                    "the second number counts from the bottom pane up",
                );
            }
        }
    }
    for coral in corals {
        let Block { value, at_span, .. } = coral;
        check_inside(
            sheet,
            insides,
            ("coral", &value.id),
            value.at,
            value.span,
            at_span,
        );
    }
    for fixture in fixtures {
        let under = |inside: &Block<Inside>| {
            let level = inside.value.water_cm.unwrap_or(inside.value.height_cm);
            overlap(inside.value.span, fixture.value.span) && fixture.value.centre.from_bottom_cm < level
        };
        if !fixture.at_span.is_empty() && insides.iter().any(under) {
            sheet.warn(
                &fixture.at_span,
                format!("fixture `{}` hangs under the water", fixture.value.id),
                "the second number counts from the bottom pane, not from the water",
            );
        }
    }
}

fn overlap(a: undim_model::DateSpan, b: undim_model::DateSpan) -> bool {
    crate::past::common_days(a, b).is_some()
}

/// True where the place is in the tank, as far as that is known.
fn check_inside(
    sheet: &Sheet,
    insides: &[Block<Inside>],
    (noun, id): (&str, &str),
    at: Position,
    span: undim_model::DateSpan,
    at_span: &Span,
) -> bool {
    let mut of_its_days = insides
        .iter()
        .filter(|inside| overlap(inside.value.span, span))
        .peekable();
    if at_span.is_empty() || of_its_days.peek().is_none() {
        return true;
    }
    // Some shape of the tank on those days must hold it; the last one's reason is told.
    let mut reason = None;
    for inside in of_its_days {
        match outside(&inside.value, at) {
            None => return true,
            why => reason = why,
        }
    }
    sheet.mistake(
        at_span,
        format!(
            "{noun} `{id}` lies outside the tank: {}",
            reason.unwrap_or_default()
        ),
        "write [from left, from bottom, from front] in cm inside the glass",
    );
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn footprints() {
        let cut = [[0.0, 0.0], [120.0, 0.0], [120.0, 40.0], [90.0, 60.0], [0.0, 60.0]];
        assert!(!crosses_itself(&cut));
        // 120 × 60 less the cut corner's triangle, 30 × 20 / 2.
        assert_eq!(area(&cut), 6900.0);
        assert!(in_footprint(&cut, [60.0, 30.0]));
        assert!(in_footprint(&cut, [105.0, 50.0]), "on the edge");
        assert!(!in_footprint(&cut, [119.0, 59.0]));
        let bow = [[0.0, 0.0], [10.0, 10.0], [10.0, 0.0], [0.0, 10.0]];
        assert!(crosses_itself(&bow));
        let spike = [[0.0, 0.0], [10.0, 0.0], [5.0, 0.0], [5.0, 5.0]];
        assert!(crosses_itself(&spike));
        let twice = [[0.0, 0.0], [0.0, 0.0], [10.0, 0.0], [5.0, 5.0]];
        assert!(crosses_itself(&twice));
    }
}
