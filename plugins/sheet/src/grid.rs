//! A sheet as lines of cells: line 1 is row 1, the first cell column A.

use crate::book::{Book, Moment, Value, cell_name};
use calamine::Dimensions;
use undim_sdk::Failure;
use undim_tabular::{Cells, Fact, Text};

/// Most text that a sheet may hold, bytes.
const MOST_TEXT: usize = 96 << 20;
/// Most cells that merged regions may cover.
const MOST_MERGED: u64 = 1_000_000;

/// A sheet's text, and what is to be told about it.
#[derive(Debug, Default)]
pub(crate) struct Grid {
    cells: Cells,
    pub(crate) filled: u64,
    /// Row, column from 1, and the sentence.
    pub(crate) problems: Vec<(u64, u32, String)>,
    pub(crate) facts: Vec<Fact>,
    no_results: u64,
    first_no_result: Option<(u32, u32)>,
    used: usize,
}

/// What a sheet's columns hold, from a first look.
#[derive(Debug, Default, Clone, Copy)]
struct Column {
    /// Some date has a time of day: then all are written with one.
    timed: bool,
    /// Some has no whole second.
    fractional: bool,
}

impl Grid {
    /// Reads a sheet.
    pub(crate) fn read(book: &mut Book, sheet: &str) -> Result<Grid, Failure> {
        let mut columns: Vec<Column> = Vec::new();
        let mut filled = 0;
        book.each(sheet, &mut |_, column, value| {
            filled += 1;
            let at = column as usize;
            if columns.len() <= at {
                columns.resize(at + 1, Column::default());
            }
            if let (Some(column), Value::Moment(moment)) = (columns.get_mut(at), value) {
                column.timed |= moment.date.is_some() && moment.millis.is_some();
                column.fractional |= moment.millis.is_some_and(|millis| millis % 1000 != 0);
            }
            Ok(())
        })?;
        let merged = regions(book, sheet);
        let mut writer = Writer {
            grid: Grid {
                filled,
                ..Grid::default()
            },
            columns,
            merged,
            next_merged: 0,
            open: Vec::new(),
            row: 0,
            own: Vec::new(),
        };
        book.each(sheet, &mut |row, column, value| writer.take(row, column, &value))?;
        if filled > 0 {
            writer.flush()?;
        }
        Ok(writer.grid)
    }

    /// Where formulas have no results, a failure to read the sheet has its reason there.
    pub(crate) fn blame_formulas(&self) -> Option<Failure> {
        let (row, column) = self.first_no_result?;
        let text = format!(
            "{} cells, {} first, hold formulas without results; open the book in a spreadsheet program and save it, which fills them in",
            self.no_results,
            cell_name(row, column)
        );
        Some(Failure::unusable(u64::from(row) + 1, column + 1, text))
    }

    /// All of the text.
    pub(crate) fn whole_text(&self) -> &str {
        self.cells.text()
    }
}

/// A region of merged cells whose first row was reached, with what its first cell holds.
struct Region {
    cells: Dimensions,
    text: String,
    is_text: bool,
}

fn regions(book: &mut Book, sheet: &str) -> Vec<Dimensions> {
    let mut merged = book.merged(sheet);
    let area = |region: &Dimensions| {
        let rows = u64::from(region.end.0.saturating_sub(region.start.0)) + 1;
        rows * (u64::from(region.end.1.saturating_sub(region.start.1)) + 1)
    };
    let mut sum = 0_u64;
    merged.retain(|region| {
        sum = sum.saturating_add(area(region));
        sum <= MOST_MERGED && area(region) > 1
    });
    merged.sort_by_key(|region| region.start);
    merged
}

struct Writer {
    grid: Grid,
    columns: Vec<Column>,
    merged: Vec<Dimensions>,
    next_merged: usize,
    open: Vec<Region>,
    /// The row that is being gathered, from 0.
    row: u32,
    own: Vec<Own>,
}

/// A cell of the row that is being gathered.
#[derive(Debug, Clone, Default)]
struct Own {
    text: String,
    is_text: bool,
}

impl Writer {
    fn take(&mut self, row: u32, column: u32, value: &Value) -> Result<(), Failure> {
        while self.row < row {
            self.flush()?;
        }
        let at = column as usize;
        if self.own.len() <= at {
            self.own.resize(at + 1, Own::default());
        }
        let known = self.columns.get(at).copied().unwrap_or_default();
        let text = match value {
            Value::Number(number) => number_text(*number),
            Value::Text(text) => text.trim().chars().take(4096).collect(),
            Value::Truth(truth) => if *truth { "TRUE" } else { "FALSE" }.to_owned(),
            Value::Moment(moment) => moment_text(*moment, known),
            Value::Error(error) => {
                let text = format!(
                    "cell {} holds {error}; it counts as missing",
                    cell_name(row, column)
                );
                self.problem(row, column, text);
                String::new()
            }
            Value::NoResult => {
                let cell = cell_name(row, column);
                let text = format!("cell {cell} holds a formula without a result; it counts as missing");
                self.problem(row, column, text);
                self.grid.no_results += 1;
                self.grid.first_no_result.get_or_insert((row, column));
                String::new()
            }
        };
        if let Some(own) = self.own.get_mut(at) {
            *own = Own {
                text,
                is_text: matches!(value, Value::Text(_)),
            };
        }
        Ok(())
    }

    fn problem(&mut self, row: u32, column: u32, text: String) {
        if self.grid.problems.len() < 1000 {
            self.grid.problems.push((u64::from(row) + 1, column + 1, text));
        }
    }

    /// Writes the row that was gathered and begins the next.
    fn flush(&mut self) -> Result<(), Failure> {
        self.fill_merged();
        // All lines are as wide as the widest: a sheet has no ragged ones.
        for at in 0..self.columns.len() {
            self.grid
                .cells
                .push(self.own.get(at).map_or("", |own| own.text.as_str()));
        }
        self.grid.cells.end_line();
        self.own.clear();
        self.row += 1;
        if self.grid.cells.text().len() > MOST_TEXT {
            return Err(Failure::unusable(
                u64::from(self.row),
                0,
                "the sheet holds more text than can be read at once; export it as CSV",
            ));
        }
        Ok(())
    }

    /// What stands in the first cell of a merged region counts for its others.
    fn fill_merged(&mut self) {
        let row = self.row;
        self.open.retain(|region| region.cells.end.0 >= row);
        while let Some(cells) = self
            .merged
            .get(self.next_merged)
            .filter(|cells| cells.start.0 <= row)
        {
            let first = self.own.get(cells.start.1 as usize).cloned().unwrap_or_default();
            if cells.start.0 == row && !first.text.is_empty() {
                self.open.push(Region {
                    cells: *cells,
                    text: first.text,
                    is_text: first.is_text,
                });
            }
            self.next_merged += 1;
        }
        let mut told = Vec::new();
        for region in &self.open {
            // A number over several columns is the first one's alone.
            let last = if region.is_text {
                region.cells.end.1
            } else {
                region.cells.start.1
            };
            for column in region.cells.start.1..=last {
                let at = column as usize;
                if at >= self.columns.len() {
                    break;
                }
                if self.own.len() <= at {
                    self.own.resize(at + 1, Own::default());
                }
                if let Some(own) = self.own.get_mut(at).filter(|own| own.text.is_empty()) {
                    own.text.clone_from(&region.text);
                }
            }
            if region.cells.start.0 == row && region.cells.end.0 > row {
                let (first, last) = (region.cells.start, region.cells.end);
                told.push((
                    first,
                    format!(
                        "cells {} to {} are one; what it holds counts for each of its rows",
                        cell_name(first.0, first.1),
                        cell_name(last.0, last.1)
                    ),
                ));
            }
        }
        for ((row, column), text) in told {
            self.problem(row, column, text);
        }
    }
}

/// A number with a decimal point that can't be taken for grouped thousands.
fn number_text(number: f64) -> String {
    let size = number.abs();
    if !number.is_finite() {
        return String::new();
    }
    if size != 0.0 && !(1e-9..1e15).contains(&size) {
        return format!("{number:e}");
    }
    let mut text = number.to_string();
    if text
        .split_once('.')
        .is_some_and(|(_, fraction)| fraction.len() == 3)
    {
        text.push('0');
    }
    text
}

fn moment_text(moment: Moment, column: Column) -> String {
    let time = |millis: u64| {
        let (seconds, milli) = (millis / 1000, millis % 1000);
        let fraction = if column.fractional {
            format!(".{milli:03}")
        } else {
            String::new()
        };
        format!(
            "{:02}:{:02}:{:02}{fraction}",
            seconds / 3600,
            seconds / 60 % 60,
            seconds % 60
        )
    };
    match (moment.date, moment.millis) {
        (None, millis) => time(millis.unwrap_or(0)),
        (Some((year, month, day)), millis) => {
            let date = format!("{year:04}-{month:02}-{day:02}");
            if column.timed {
                format!("{date} {}", time(millis.unwrap_or(0)))
            } else {
                date
            }
        }
    }
}

impl Text for Grid {
    fn text(&self) -> &str {
        self.cells.text().get(self.used..).unwrap_or("")
    }

    fn ended(&self) -> bool {
        true
    }

    fn advance(&mut self, bytes: usize) {
        self.used += bytes;
    }

    fn more(&mut self, _line: u64) -> Result<(), Failure> {
        Ok(())
    }

    fn facts(&self) -> Vec<Fact> {
        self.facts.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_their_value() {
        for number in [0.0, -0.5, 1.125, 212.4, 1e-12, 6.02e23, 1234.567, 20_240_131.0] {
            assert_eq!(number_text(number).parse::<f64>(), Ok(number), "{number}");
        }
        assert_eq!(number_text(1.125), "1.1250");
        assert_eq!(number_text(20_240_131.0), "20240131");
    }

    #[test]
    fn a_column_with_times_has_one_at_midnight_too() {
        let midnight = Moment {
            date: Some((2026, 4, 3)),
            millis: None,
        };
        let timed = Column {
            timed: true,
            fractional: false,
        };
        assert_eq!(moment_text(midnight, timed), "2026-04-03 00:00:00");
        assert_eq!(moment_text(midnight, Column::default()), "2026-04-03");
    }
}
