//! What the sample's rows hold, column by column.

use super::header::Table;
use super::{is_missing, is_rule};
use crate::lines::{Delimiter, Record, Splitter};
use crate::number::{Evidence, Marks};
use crate::units;
use undim_sdk::Failure;

/// What one column holds.
#[derive(Debug, Clone, Default)]
pub(crate) struct Column {
    pub(crate) evidence: Evidence,
    pub(crate) filled: usize,
    /// The first cells that differ, with their lines.
    pub(crate) distinct: Vec<(String, u64)>,
    /// A unit that stands behind every number, as in `212 lx`.
    pub(crate) suffix: Option<String>,
    /// Every cell, missing ones empty; only where asked for.
    pub(crate) cells: Vec<String>,
}

impl Column {
    pub(crate) fn is_numeric(&self) -> bool {
        self.evidence.is_numeric()
    }

    /// True where some number has decimals.
    pub(crate) fn has_decimals(&self) -> bool {
        let evidence = &self.evidence;
        evidence.point.is_some()
            || evidence.comma.is_some()
            || evidence.either_comma.is_some()
            || evidence.either_point.is_some()
    }

    /// True for 1, 2, 3 and on: a running number.
    pub(crate) fn counts_up(&self) -> bool {
        let cells: Option<Vec<i64>> = self.distinct.iter().map(|(cell, _)| cell.parse().ok()).collect();
        cells.is_some_and(|cells| cells.len() > 2 && cells.windows(2).all(|pair| pair[1] == pair[0] + 1))
    }

    pub(crate) fn first(&self) -> (&str, u64) {
        self.distinct
            .first()
            .map_or(("", 0), |(cell, line)| (cell.as_str(), *line))
    }
}

/// What the rows of a sample hold.
#[derive(Debug, Clone, Default)]
pub(crate) struct Sample {
    pub(crate) columns: Vec<Column>,
    pub(crate) rows: usize,
}

impl Sample {
    /// What the marks of all columns' numbers mean, where they prove one thing.
    pub(crate) fn shared_marks(&self, delimiter: Delimiter) -> Option<Marks> {
        let numeric = || self.columns.iter().filter(|column| column.is_numeric());
        let mut proofs = numeric().filter_map(|column| column.evidence.proof());
        match proofs.next() {
            Some(first) => proofs.all(|marks| marks == first).then_some(first),
            // Where cells are parted by commas a comma is no decimal mark, so a point is one.
            None => (delimiter == Delimiter::Byte(b',')
                && numeric().any(|column| column.evidence.either_point.is_some()))
            .then_some(Marks::POINT),
        }
    }
}

/// Most cells kept to compare.
const DISTINCT: usize = 12;

/// Goes through the rows of a table in a text. `keep` tells the columns whose cells are all wanted.
pub(crate) fn gather(
    text: &str,
    last: bool,
    splitter: &Splitter,
    table: &Table,
    comment: Option<&str>,
    keep: &dyn Fn(usize) -> bool,
) -> Result<Sample, Failure> {
    let width = table.width;
    let mut sample = Sample {
        columns: vec![Column::default(); width],
        rows: 0,
    };
    let mut suffixes: Vec<Option<Option<String>>> = vec![None; width];
    let mut record = Record::default();
    let (mut at, mut line) = (table.start, table.start_line);
    while let Some(rest) = text.get(at..).filter(|rest| !rest.is_empty()) {
        let Some(length) = splitter
            .split(rest, last, &mut record)
            .map_err(|what| what.failure(line))?
        else {
            break;
        };
        let here = line;
        line += record.lines;
        at += length;
        if table.end_line.is_some_and(|end| here >= end) {
            break;
        }
        let is_comment = match comment {
            Some(mark) => rest.trim_start().starts_with(mark),
            None => table.hash_comments && record.cell(rest, 0).starts_with('#'),
        };
        if is_comment || !fits(&record, rest, width, &table.names) {
            continue;
        }
        sample.rows += 1;
        for (n, column) in sample.columns.iter_mut().enumerate() {
            let cell = record.cell(rest, n);
            let missing = is_missing(cell);
            if keep(n) {
                column
                    .cells
                    .push(if missing { String::new() } else { cell.to_owned() });
            }
            if missing {
                continue;
            }
            column.filled += 1;
            let suffix = unit_behind(cell);
            match &mut suffixes[n] {
                None => suffixes[n] = Some(suffix.map(str::to_owned)),
                Some(known) if known.as_deref() != suffix => *known = None,
                Some(_) => {}
            }
            column.evidence.add(
                suffix.map_or(cell, |suffix| cell[..cell.len() - suffix.len()].trim_end()),
                here,
            );
            if column.distinct.len() < DISTINCT && !column.distinct.iter().any(|(known, _)| known == cell) {
                column.distinct.push((cell.to_owned(), here));
            }
        }
    }
    for (column, suffix) in sample.columns.iter_mut().zip(suffixes) {
        column.suffix = suffix.flatten();
    }
    Ok(sample)
}

/// True for a row of the table: of its width, not empty, no rule, not the header again.
pub(crate) fn fits(record: &Record, text: &str, width: usize, names: &[String]) -> bool {
    let wide = record.len() == width || record.len() == width + 1 && record.cell(text, width).is_empty();
    wide && !record.is_empty(text) && !is_rule_record(record, text) && !repeats(record, text, names)
}

/// True for a row of strokes.
pub(crate) fn is_rule_record(record: &Record, text: &str) -> bool {
    let first = record.cell(text, 0).as_bytes().first();
    first.is_none_or(|byte| matches!(byte, b'-' | b'=' | b'+' | b'_' | b':' | b'*' | b'~'))
        && is_rule((0..record.len()).map(|at| record.cell(text, at)))
}

/// True for the header, once more.
pub(crate) fn repeats(record: &Record, text: &str, names: &[String]) -> bool {
    let same = |(at, name): (usize, &String)| record.cell(text, at) == name;
    !names.is_empty() && names.iter().enumerate().all(same)
}

/// The unit behind a number in one cell.
fn unit_behind(cell: &str) -> Option<&str> {
    let last_digit = cell.rfind(|c: char| c.is_ascii_digit())?;
    let first = cell.bytes().next()?;
    if last_digit + 1 == cell.len() || !(first.is_ascii_digit() || matches!(first, b'-' | b'+' | b'.')) {
        return None;
    }
    // A unit may hold digits of its own, as in `µmol/m2/s`: it begins after the number.
    let end = cell
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+')))
        .unwrap_or(cell.len());
    let tail = cell.get(end..)?;
    let known = units::light(tail).is_some()
        || units::length(tail).is_some()
        || units::temperature(tail).is_some()
        || units::angle(tail).is_some();
    known.then_some(tail)
}
