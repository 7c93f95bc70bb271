//! Finding out how a file is laid out, from its first part or, where it is short, from all of it.

pub(crate) mod delimiter;
pub(crate) mod header;
pub(crate) mod moments;
pub(crate) mod numbers;
pub(crate) mod roles;
pub(crate) mod sample;

use crate::lines::{Broken, Record, Splitter, line_length};
use crate::number;
use undim_sdk::Failure;

/// Why something could not be found out.
#[derive(Debug)]
pub(crate) struct Trouble {
    pub(crate) failure: Failure,
    /// Later rows of the file may settle it.
    pub(crate) more_may_help: bool,
}

impl From<Failure> for Trouble {
    fn from(failure: Failure) -> Trouble {
        Trouble {
            failure,
            more_may_help: false,
        }
    }
}

/// Lines looked at to find delimiter and header: so many at first, and more where these show no table.
pub(crate) const HEAD_LINES: [usize; 2] = [300, 4000];

/// One record of the file's head.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct HeadRow {
    /// Byte of the text where it starts, and where the next one does.
    pub(crate) start: usize,
    pub(crate) end: usize,
    /// Line where it starts, from 1.
    pub(crate) line: u64,
    pub(crate) cells: Vec<String>,
}

impl HeadRow {
    pub(crate) fn is_empty(&self) -> bool {
        self.cells.iter().all(String::is_empty)
    }

    /// True for `-----;----` and the like, which parts a header from a table.
    pub(crate) fn is_rule(&self) -> bool {
        is_rule(self.cells.iter().map(String::as_str))
    }

    /// True where the row has so many cells, or one empty cell more.
    pub(crate) fn has_width(&self, width: usize) -> bool {
        self.cells.len() == width
            || self.cells.len() == width + 1 && self.cells.last().is_some_and(String::is_empty)
    }
}

/// True where cells hold nothing but strokes, at least three in one of them.
pub(crate) fn is_rule<'a>(cells: impl Iterator<Item = &'a str>) -> bool {
    let mut longest = 0;
    for cell in cells {
        if !cell
            .chars()
            .all(|c| matches!(c, '-' | '=' | '+' | '_' | ':' | '*' | '~'))
        {
            return false;
        }
        longest = longest.max(cell.len());
    }
    longest >= 3
}

/// Splits the head of a text into records. Where quotes make no sense a line is taken as it stands.
pub(crate) fn head_rows(text: &str, last: bool, splitter: &Splitter, most: usize) -> Vec<HeadRow> {
    let plain = Splitter::new(splitter.delimiter, None);
    let mut record = Record::default();
    let (mut rows, mut at, mut line) = (Vec::new(), 0, 1);
    while rows.len() < most {
        let rest = text.get(at..).unwrap_or("");
        if rest.is_empty() {
            break;
        }
        let split = match splitter.split(rest, last, &mut record) {
            Err(Broken::Unclosed { .. }) => {
                let Some(length) = line_length(rest, last) else {
                    break;
                };
                plain.split(rest.get(..length).unwrap_or(""), true, &mut record)
            }
            other => other,
        };
        let Ok(Some(length)) = split else { break };
        rows.push(HeadRow {
            start: at,
            end: at + length,
            line,
            cells: (0..record.len())
                .map(|n| record.cell(rest, n).to_owned())
                .collect(),
        });
        line += record.lines;
        at += length;
    }
    rows
}

/// What a cell looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Empty,
    Missing,
    Number,
    Moment,
    /// Text without a mark that might be a delimiter, nor numbers side by side.
    Word,
    Mixed,
}

impl Kind {
    pub(crate) fn is_measured(self) -> bool {
        matches!(self, Kind::Number | Kind::Moment)
    }
}

/// What stands for a missing value where no layout says so.
const MISSING: [&str; 26] = [
    "na", "n/a", "nan", "null", "none", "nil", "-", "--", "---", "\u{2013}", "\u{2014}", "?", "n.a.",
    "n. a.", "k.a.", "n.d.", "nd", "#n/a", "#nv", "#value!", "#div/0!", "missing", "-999", "-9999", "-99999",
    "*",
];

/// True where a cell says that there is no value.
pub(crate) fn is_missing(cell: &str) -> bool {
    if cell.is_empty() {
        return true;
    }
    if cell.len() > 9 {
        return false;
    }
    let lower = cell.to_lowercase();
    MISSING.contains(&lower.as_str())
        || lower.strip_prefix("-999").is_some_and(|rest| {
            rest.trim_start_matches('9')
                .trim_start_matches(['.', ','])
                .bytes()
                .all(|byte| matches!(byte, b'0' | b'9'))
        })
}

/// What a cell looks like.
pub(crate) fn kind(cell: &str) -> Kind {
    if cell.is_empty() {
        Kind::Empty
    } else if number::says(cell).is_some() {
        // -999 too: it takes a number's place in a table.
        Kind::Number
    } else if is_missing(cell) {
        Kind::Missing
    } else if looks_like_moment(cell) {
        Kind::Moment
    } else if cell.contains([',', ';', '\t', '|'])
        || cell.contains(' ') && !cell.contains(char::is_alphabetic)
    {
        Kind::Mixed
    } else {
        Kind::Word
    }
}

/// True for the look of a date, a time, or both, in whatever order.
fn looks_like_moment(cell: &str) -> bool {
    let digits = cell.bytes().filter(u8::is_ascii_digit).count();
    let marks = cell
        .chars()
        .filter(|c| {
            matches!(
                c,
                '-' | '/' | '.' | ':' | '\u{5e74}' | '\u{6708}' | '\u{65e5}' | '\u{6642}' | '\u{5206}'
            )
        })
        .count();
    let last_is_mark = cell.ends_with([',', ';', '-', '/', ':']);
    if digits < 3 || cell.len() > 48 || last_is_mark || cell.contains([';', '\t', '|']) {
        return false;
    }
    if cell
        .match_indices(',')
        .any(|(at, _)| !cell.get(at + 1..).unwrap_or("").starts_with(' '))
    {
        return false;
    }
    let mut has_month = false;
    for word in cell
        .split(|c: char| !c.is_alphabetic())
        .filter(|word| !word.is_empty())
    {
        let small = matches!(
            word.to_ascii_lowercase().as_str(),
            "t" | "z"
                | "am"
                | "pm"
                | "a"
                | "p"
                | "m"
                | "utc"
                | "gmt"
                | "cet"
                | "cest"
                | "h"
                | "de"
                | "uhr"
                | "min"
                | "s"
                | "wet"
                | "west"
                | "eet"
                | "eest"
        );
        let month = !small && crate::datetime::words::month(word).is_some();
        has_month |= month;
        let known = small
            || month
            || crate::datetime::words::is_weekday(word)
            || word.chars().all(|c| {
                matches!(
                    c,
                    '\u{5e74}' | '\u{6708}' | '\u{65e5}' | '\u{6642}' | '\u{65f6}' | '\u{5206}' | '\u{79d2}'
                )
            });
        if !known {
            return false;
        }
    }
    // `20260403 101500`
    let compact = cell.split_once(' ').is_some_and(|(date, time)| {
        let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
        date.len() == 8 && (4..=6).contains(&time.len()) && digits(date) && digits(time)
    });
    has_month || compact || cell.contains(':') || marks >= 2
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_of_cells() {
        for (cell, want) in [
            ("", Kind::Empty),
            ("NA", Kind::Missing),
            ("-999.00", Kind::Number),
            ("-99.5", Kind::Number),
            ("12,5", Kind::Number),
            ("2026-04-03", Kind::Moment),
            ("03.04.2026 10:00", Kind::Moment),
            ("3 Apr 2026", Kind::Moment),
            ("10:00:00,12.5", Kind::Mixed),
            ("A1", Kind::Word),
            ("reef-top 1-2-3", Kind::Word),
            ("1;2", Kind::Mixed),
            ("5 2", Kind::Mixed),
        ] {
            assert_eq!(kind(cell), want, "{cell}");
        }
    }
}
