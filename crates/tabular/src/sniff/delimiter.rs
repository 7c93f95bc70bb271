//! Finding the delimiter: the one under which most lines fall into the same number of sensible cells.

use super::{HeadRow, Kind, head_rows, kind};
use crate::lines::{Delimiter, Quote, Splitter};
use crate::names::{self, Role, Strength};

/// The file's head under one delimiter.
#[derive(Debug, Clone)]
pub(crate) struct Split {
    pub(crate) splitter: Splitter,
    pub(crate) rows: Vec<HeadRow>,
    /// Cells in a line of the table.
    pub(crate) width: usize,
    score: f64,
    /// Hardly a line holds a measurement.
    pub(crate) of_words: bool,
}

/// What a layout fixes beforehand.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Given {
    pub(crate) delimiter: Option<Delimiter>,
    pub(crate) quote: Option<Quote>,
    /// The lines were made of cells: every one is split as it should be.
    pub(crate) is_certain: bool,
}

/// Finds the delimiter in up to `most` lines; `is_header` tells whether a row holds the names that a layout asks for.
///
/// `None` where no line holds a number.
pub(crate) fn find(
    text: &str,
    last: bool,
    most: usize,
    given: Given,
    is_header: &dyn Fn(&HeadRow) -> bool,
) -> Option<Split> {
    let delimiters = match given.delimiter {
        Some(delimiter) => vec![delimiter],
        // In order of preference where two fit alike.
        None => vec![
            Delimiter::Byte(b'\t'),
            Delimiter::Byte(b';'),
            Delimiter::Byte(b'|'),
            Delimiter::Byte(b','),
            Delimiter::Blanks,
            Delimiter::None,
        ],
    };
    let mut best: Option<Split> = None;
    for delimiter in delimiters {
        let Quote(quote) = given.quote.unwrap_or_else(|| Quote(Some(quote_in(text))));
        let splitter = Splitter::new(delimiter, quote);
        let rows = head_rows(text, last, &splitter, most);
        let senses: Vec<f64> = rows.iter().map(|row| row_sense(row, delimiter)).collect();
        if given.is_certain {
            let width = rows.iter().map(|row| row.cells.len()).max()?;
            return Some(Split {
                splitter,
                rows,
                width,
                score: 1.0,
                of_words: false,
            });
        }
        let stated = given.delimiter.is_some();
        let Some(width) = best_width(&rows, &senses, delimiter, stated) else {
            continue;
        };
        let (header, bonus) = header_bonus(&rows, width, is_header);
        let below = rows
            .iter()
            .zip(&senses)
            .skip(header)
            .filter(|(row, _)| row.has_width(width));
        let mut score = bonus * below.map(|(_, sense)| sense).sum::<f64>();
        if delimiter == Delimiter::Blanks {
            // Any text falls apart at blanks; they part cells only where nothing else does nearly as well.
            score *= 0.85;
        }
        if best.as_ref().is_none_or(|best| score > best.score * 1.001) {
            best = Some(Split {
                splitter,
                rows,
                width,
                score,
                of_words: false,
            });
        }
    }
    let covers_half = |split: &Split| {
        let filled = || {
            let is_comment = |row: &HeadRow| row.cells.first().is_some_and(|cell| cell.starts_with('#'));
            split
                .rows
                .iter()
                .filter(move |row| !row.is_empty() && !is_comment(row))
        };
        filled().filter(|row| row.has_width(split.width)).count() * 2 >= filled().count()
    };
    match best {
        Some(best) if given.delimiter.is_none() && !covers_half(&best) => {
            Some(of_words(text, last, most, best.splitter.quote).unwrap_or(best))
        }
        other => other,
    }
}

/// The delimiter of a table that is mostly words: every line falls into the same number of cells.
fn of_words(text: &str, last: bool, most: usize, quote: Option<u8>) -> Option<Split> {
    [b'\t', b';', b'|', b','].into_iter().find_map(|byte| {
        let splitter = Splitter::new(Delimiter::Byte(byte), quote);
        let rows = head_rows(text, last, &splitter, most);
        let body = || {
            rows.iter()
                .filter(|row| !row.is_empty() && !row.cells.first().is_some_and(|cell| cell.starts_with('#')))
        };
        let width = body().next_back()?.cells.len();
        let fit = body().filter(|row| row.has_width(width)).count();
        (width > 1 && fit > 2 && fit * 10 >= body().count() * 9).then(|| Split {
            splitter,
            width,
            score: fit as f64,
            of_words: true,
            rows: rows.clone(),
        })
    })
}

/// The usual quote, or the single one where only that is in use around cells.
fn quote_in(text: &str) -> u8 {
    let head = text.get(..16 << 10).unwrap_or(text);
    let around = |quote: char| {
        [',', ';', '\t', '|', '\n']
            .iter()
            .map(|mark| head.matches(&format!("{quote}{mark}{quote}")).count())
            .sum::<usize>()
    };
    if around('"') == 0 && around('\'') >= 2 {
        b'\''
    } else {
        b'"'
    }
}

/// The number of cells that the lines of most sense share. Under a delimiter that a layout states, lines without
/// measurements count where there are no others.
fn best_width(rows: &[HeadRow], senses: &[f64], delimiter: Delimiter, stated: bool) -> Option<usize> {
    let mut widths: Vec<(usize, f64)> = Vec::new();
    let any = senses.iter().any(|sense| *sense > 0.0);
    for (row, sense) in rows.iter().zip(senses) {
        let sense = if !any && stated && !row.is_empty() {
            1.0
        } else {
            *sense
        };
        if sense == 0.0 {
            continue;
        }
        let mut add = |width: usize| match widths.iter_mut().find(|(known, _)| *known == width) {
            Some((_, sum)) => *sum += sense,
            None => widths.push((width, sense)),
        };
        add(row.cells.len());
        if row.cells.len() > 2 && row.cells.last().is_some_and(String::is_empty) {
            // A delimiter at the line's end: the narrower table is the likelier one.
            add(row.cells.len() - 1);
        }
    }
    let least = if delimiter == Delimiter::None { 1 } else { 2 };
    widths.retain(|(width, _)| *width >= least);
    widths.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let width = widths.first().map(|(width, _)| *width)?;
    // A column that no line fills is a column all the same where the header names it.
    let ends_empty = widths.iter().any(|(known, _)| *known == width + 1);
    let head = || rows.iter().take(MOST_ABOVE);
    let is_named = ends_empty
        && (head().any(|row| names_one_more(row, width))
            || head().any(|row| is_filled_with_words(row, width + 1))
                && !head().any(|row| is_filled_with_words(row, width)));
    Some(if is_named { width + 1 } else { width })
}

/// True for a line of names, one more than `width`.
fn names_one_more(row: &HeadRow, width: usize) -> bool {
    row.cells.len() == width + 1
        && row.cells.last().is_some_and(|cell| !cell.is_empty())
        && !row.cells.iter().any(|cell| kind(cell).is_measured())
        && row
            .cells
            .iter()
            .filter_map(|cell| names::read(cell))
            .filter(|named| named.strength != Strength::Contains)
            .count()
            > 1
}

/// True for a line of so many filled cells, none of them measured, which may be names.
fn is_filled_with_words(row: &HeadRow, width: usize) -> bool {
    row.cells.len() == width
        && row
            .cells
            .iter()
            .all(|cell| !cell.is_empty() && !kind(cell).is_measured())
}

/// How much sense the filled cells of a row make, 0 to 1; 0 for a row without measurements or split wrongly.
fn row_sense(row: &HeadRow, delimiter: Delimiter) -> f64 {
    let kinds: Vec<Kind> = row.cells.iter().map(|cell| kind(cell)).collect();
    if !kinds.iter().any(|kind| kind.is_measured()) {
        return 0.0;
    }
    // A whole line that looks like a date is likelier one that was not split.
    let whole_line = delimiter == Delimiter::None;
    let sense_of = |kind: &Kind| {
        if whole_line && *kind == Kind::Moment {
            0.3
        } else {
            sense(*kind)
        }
    };
    let filled = kinds.iter().filter(|kind| **kind != Kind::Empty).count().max(1);
    let sense = kinds.iter().map(sense_of).sum::<f64>() / filled as f64;
    if sense < LEAST_SENSE { 0.0 } else { sense }
}

/// A line whose filled cells make less sense than this on the average was split wrongly.
const LEAST_SENSE: f64 = 0.6;

fn sense(kind: Kind) -> f64 {
    match kind {
        Kind::Number | Kind::Moment => 1.0,
        Kind::Word => 0.7,
        Kind::Missing => 0.8,
        Kind::Empty => 0.0,
        Kind::Mixed => 0.15,
    }
}

/// A row of names speaks for a delimiter: where it stands, and how loudly. Only what is below it counts then.
fn header_bonus(rows: &[HeadRow], width: usize, is_header: &dyn Fn(&HeadRow) -> bool) -> (usize, f64) {
    if let Some(at) = rows.iter().take(MOST_ABOVE).position(is_header) {
        return (at + 1, 3.0);
    }
    let (mut at, mut most) = (0, 0);
    for (n, row) in rows
        .iter()
        .enumerate()
        .take(MOST_ABOVE)
        .filter(|(_, row)| row.has_width(width))
    {
        if row.cells.iter().any(|cell| kind(cell).is_measured()) {
            continue;
        }
        let known = row
            .cells
            .iter()
            .filter_map(|cell| names::read(cell))
            .filter(|named| named.strength != Strength::Contains);
        let mut roles: Vec<Role> = known.map(|named| named.role).collect();
        roles.sort_unstable();
        roles.dedup();
        if roles.len() > most {
            (at, most) = (n + 1, roles.len());
        }
    }
    let bonus = match most {
        0 => 1.0,
        1 => 1.2,
        _ => 2.0,
    };
    (at, bonus)
}

/// Lines among which a header is looked for here.
const MOST_ABOVE: usize = 400;

#[cfg(test)]
mod tests {
    use super::*;

    fn found(text: &str) -> (String, usize) {
        let split = find(text, true, 300, Given::default(), &|_| false).unwrap();
        (split.splitter.delimiter.name(), split.width)
    }

    #[test]
    fn delimiters_in_use() {
        for (text, want, width) in [
            ("time,par\n10:00,1.5\n10:01,2.5\n", ",", 2),
            ("Zeit;Wert\n10:00;1,5\n10:01;2,5\n", ";", 2),
            (
                "a\tb\n2026-04-03 10:00:00\t1,5\n2026-04-03 10:01:00\t2,5\n",
                "tab",
                2,
            ),
            ("x|y|par\n1|2|3.5\n", "|", 3),
            ("x   y   par\n1.0  2.0 -3.5\n10.0 2.0 13.5\n", "blanks", 3),
            ("\"1,5\",\"2,5\"\n\"3,5\",\"4,5\"\n", ",", 2),
            (
                "2026-04-03 10:00:00, 1.5, 2\n2026-04-03 10:01:00, 1.5, 2\n",
                ",",
                3,
            ),
            ("PAR\n12.5\n13.5\n", "none", 1),
            ("PAR\n12,5\n13,5\n", "none", 1),
            (
                "Site: north, 12\nBy: x\n\nx;y;PAR\n1,5;2;100,5\n1,5;3;110,5\n1,5;4;120,5\n",
                ";",
                3,
            ),
            ("x;y;PAR;\n1;2;100;\n1;3;110;\n", ";", 3),
            ("x,y,PAR,remark\n1,2,100,\n1,3,110,\n", ",", 4),
            ("x,y,PAR,remark\n1,2,100\n1,3,110\n", ",", 3),
            ("1,5 2,5 100,5\n1,5 3,5 110,5\n", "blanks", 3),
            ("'x','y','PAR'\n'1','2','3,5'\n'1','3','4,5'\n", ",", 3),
        ] {
            assert_eq!(found(text), (want.to_owned(), width), "{text}");
        }
    }
}
