//! The places of a survey seen from above, in a few lines of text.

use undim_emit::number;
use undim_emit::terminal::{Glyphs, Screen};
use undim_model::{Position, StationValue};

/// Columns that a drawing takes at most, its frame included.
const WIDEST: usize = 60;
/// Lines inside the frame at most.
const HIGHEST: usize = 15;
/// A character is about twice as high as it is wide.
const HIGH_TO_WIDE: f64 = 2.0;
/// Columns left free at each side, so that a value at the edge stays over its place.
const MARGIN: usize = 3;

/// One place: where it is and what stands there.
struct Mark {
    at: Position,
    label: String,
}

/// A drawing of the places that have a position, or nothing where fewer than two lie beside one another.
///
/// The rear pane is at the top. The highest place of several that lie one above the other is the one that shows.
pub(super) fn plan(stations: &[StationValue], screen: &Screen) -> Option<String> {
    let mut marks: Vec<Mark> = stations
        .iter()
        .filter_map(|station| {
            Some(Mark {
                at: station.position.filter(|at| at.is_finite())?,
                label: station
                    .value
                    .map_or_else(|| "-".to_owned(), |value| number::fixed(value.ppfd, 0)),
            })
        })
        .collect();
    // Seen from above the highest comes first; of equal ones the first in the table.
    marks.sort_by(|a, b| b.at.from_bottom_cm.total_cmp(&a.at.from_bottom_cm));
    let left = extent(&marks, |at| at.from_left_cm)?;
    let front = extent(&marks, |at| at.from_front_cm)?;
    let sheet = Sheet::new(left, front, screen.width.min(WIDEST))?;
    let (drawn, hidden) = draw(&marks, &sheet);
    let mut out = String::from("Seen from above; the rear at the top, the front at the bottom.\n");
    let [corner, across, down] = match screen.glyphs {
        Glyphs::Unicode => [["┌", "┐", "└", "┘"], ["─"; 4], ["│"; 4]],
        Glyphs::Ascii => [["+"; 4], ["-"; 4], ["|"; 4]],
    };
    let edge = across[0].repeat(sheet.columns);
    out += &format!("{}{edge}{}\n", corner[0], corner[1]);
    for line in drawn {
        let line: String = line.into_iter().collect();
        out += &format!("{}{line}{}\n", down[0], down[0]);
    }
    out += &format!("{}{edge}{}\n", corner[2], corner[3]);
    out += &format!(
        "From left {} cm, from front {} cm; PPFD in whole µmol m⁻² s⁻¹",
        span(left),
        span(front)
    );
    if hidden > 0 {
        out += &format!("; {hidden} more below or beside these");
    }
    out.push('.');
    Some(out)
}

fn span([from, to]: [f64; 2]) -> String {
    let [from, to] = [from, to].map(|cm| number::fixed(cm, 0));
    if from == to {
        from
    } else {
        format!("{from} to {to}")
    }
}

/// Smallest and largest.
fn extent(marks: &[Mark], of: impl Fn(&Position) -> f64) -> Option<[f64; 2]> {
    let values = || marks.iter().map(|mark| of(&mark.at));
    Some([values().reduce(f64::min)?, values().reduce(f64::max)?])
}

/// How centimetres become columns and lines.
struct Sheet {
    from: [f64; 2],
    columns_a_cm: f64,
    columns: usize,
    lines: usize,
}

impl Sheet {
    /// `None` where all places lie one above the other, or too far apart to be measured.
    fn new(left: [f64; 2], front: [f64; 2], width: usize) -> Option<Self> {
        let (wide, deep) = (left[1] - left[0], front[1] - front[0]);
        if !wide.is_finite() || !deep.is_finite() || (wide <= 0.0 && deep <= 0.0) {
            return None;
        }
        let room = width.saturating_sub(2 + 2 * MARGIN + 1).max(1) as f64;
        let by_width = if wide > 0.0 { room / wide } else { f64::INFINITY };
        let by_depth = if deep > 0.0 {
            HIGH_TO_WIDE * (HIGHEST - 1) as f64 / deep
        } else {
            f64::INFINITY
        };
        let columns_a_cm = by_width.min(by_depth);
        if !columns_a_cm.is_finite() {
            return None;
        }
        Some(Self {
            from: [left[0], front[0]],
            columns_a_cm,
            columns: 2 * MARGIN + 1 + (wide * columns_a_cm).round() as usize,
            lines: 1 + (deep * columns_a_cm / HIGH_TO_WIDE).round() as usize,
        })
    }

    /// Line from the top and column from the left.
    fn cell(&self, at: Position) -> (usize, usize) {
        let column = ((at.from_left_cm - self.from[0]) * self.columns_a_cm).round() as usize;
        let up = ((at.from_front_cm - self.from[1]) * self.columns_a_cm / HIGH_TO_WIDE).round() as usize;
        ((self.lines - 1).saturating_sub(up), MARGIN + column)
    }
}

/// Each label over its place, as long as there is room; and how many found none.
fn draw(marks: &[Mark], sheet: &Sheet) -> (Vec<Vec<char>>, usize) {
    let mut drawn = vec![vec![' '; sheet.columns]; sheet.lines];
    let mut hidden = 0;
    for mark in marks {
        let (line, column) = sheet.cell(mark.at);
        let label: Vec<char> = mark.label.chars().collect();
        let start = column
            .saturating_sub(label.len() / 2)
            .min(sheet.columns.saturating_sub(label.len()));
        let around = start.saturating_sub(1)..(start + label.len() + 1).min(sheet.columns);
        let Some(cells) = drawn.get_mut(line) else {
            continue;
        };
        let is_free = label.len() <= cells.len()
            && cells
                .get(around)
                .is_some_and(|cells| cells.iter().all(|cell| *cell == ' '));
        match cells.get_mut(start..start + label.len()) {
            Some(cells) if is_free => cells.copy_from_slice(&label),
            _ => hidden += 1,
        }
    }
    (drawn, hidden)
}

#[cfg(test)]
mod tests;
