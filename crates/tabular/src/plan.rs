//! What has been decided about a file: how each column of a row comes about. Reading follows it.

use crate::datetime::order::Clock;
use crate::datetime::{Day, Moment};
use crate::layout::Pattern;
use crate::layout::Until;
use crate::lines::{Record, Splitter};
use crate::number::{self, Marks};
use regex_lite::Regex;
use std::cell::Cell;

/// How to read a file.
#[derive(Debug)]
pub(crate) struct Plan {
    pub(crate) splitter: Splitter,
    /// Where the readings start: byte of the text and line.
    pub(crate) start: usize,
    pub(crate) start_line: u64,
    /// First line below the table, where it is known.
    pub(crate) end_line: Option<u64>,
    /// Cells in a row.
    pub(crate) width: usize,
    /// The header, in case it is repeated.
    pub(crate) names: Vec<String>,
    pub(crate) comment: Option<String>,
    /// Without a comment mark stated: lines that begin with `#` are comments, whatever their width.
    pub(crate) hash_comments: bool,
    pub(crate) skip_end: u64,
    /// Where the layout says that the readings end.
    pub(crate) until: Option<Until>,
    /// Columns that do not stand in the file's lines.
    pub(crate) added_columns: usize,
    /// A record in which nothing is filled is one all the same.
    pub(crate) are_records: bool,
    pub(crate) time: Option<TimeFrom>,
    pub(crate) values: Vec<ValueFrom>,
    /// x, y, z.
    pub(crate) places: [Option<NumberFrom>; 3],
    pub(crate) tilt: Option<NumberFrom>,
    pub(crate) temperature: Option<NumberFrom>,
    pub(crate) station: Option<TextFrom>,
    pub(crate) device: Option<TextFrom>,
    pub(crate) unit: Option<TextFrom>,
    pub(crate) remark: Option<TextFrom>,
    pub(crate) keep: Vec<(usize, Vec<Pattern>)>,
    pub(crate) missing: Missing,
    pub(crate) facts: Vec<Fact>,
    pub(crate) problems: Vec<(u64, u32, String)>,
}

/// A fact to be told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fact {
    /// What it is about: a key of [`undim_sdk::Out::found`].
    pub key: String,
    /// What was found or assumed.
    pub value: String,
    /// Neither the file nor a layout states it.
    pub assumed: bool,
}

/// What stands for a missing value.
#[derive(Debug, Clone, Default)]
pub(crate) enum Missing {
    #[default]
    Usual,
    Listed(Vec<String>),
}

impl Missing {
    pub(crate) fn holds(&self, cell: &str) -> bool {
        match self {
            _ if cell.is_empty() => true,
            // The first bytes settle it for nearly every number.
            Missing::Usual => match cell.as_bytes() {
                [b'0'..=b'9' | b'+' | b'.', ..] | [b'-', b'0'..=b'8', ..] => false,
                _ => crate::sniff::is_missing(cell),
            },
            Missing::Listed(list) => list.iter().any(|marker| {
                marker == cell
                    || number::parse(marker, Marks::POINT)
                        .is_some_and(|value| number::parse(cell, Marks::POINT) == Some(value))
            }),
        }
    }
}

/// Where a cell's text comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Part {
    Column(usize),
    Fixed(String),
}

impl Part {
    /// The column it is, if it is one.
    pub(crate) fn column(&self) -> Option<usize> {
        match self {
            Part::Column(at) => Some(*at),
            Part::Fixed(_) => None,
        }
    }
}

/// One cell, or several joined by a blank, or what an expression picks of them.
#[derive(Debug, Clone, Default)]
pub(crate) struct Cells {
    pub(crate) parts: Vec<Part>,
    pub(crate) pick: Option<Regex>,
}

impl Cells {
    pub(crate) fn column(at: usize) -> Cells {
        Cells {
            parts: vec![Part::Column(at)],
            pick: None,
        }
    }

    /// The text; `store` is used where it has to be put together.
    #[inline]
    pub(crate) fn text<'a>(&'a self, record: &'a Record, text: &'a str, store: &'a mut String) -> &'a str {
        let whole = match self.parts.as_slice() {
            [Part::Column(at)] => record.cell(text, *at),
            [Part::Fixed(fixed)] => fixed,
            parts => {
                store.clear();
                for part in parts {
                    let piece = match part {
                        Part::Column(at) => record.cell(text, *at),
                        Part::Fixed(fixed) => fixed,
                    };
                    if !store.is_empty() && !piece.is_empty() {
                        store.push(' ');
                    }
                    store.push_str(piece);
                }
                store.as_str()
            }
        };
        match &self.pick {
            None => whole,
            Some(pick) => picked(pick, whole),
        }
    }

    /// The first column of the file it comes from, counted from 1; 0 where from none.
    pub(crate) fn place(&self) -> u32 {
        self.parts
            .iter()
            .find_map(|part| {
                if let Part::Column(at) = part {
                    Some(*at as u32 + 1)
                } else {
                    None
                }
            })
            .unwrap_or(0)
    }
}

/// The first group of an expression in a text; all that it matches where it has no group; empty where nothing matches.
pub(crate) fn picked<'t>(pick: &Regex, text: &'t str) -> &'t str {
    pick.captures(text)
        .and_then(|groups| groups.get(1).or_else(|| groups.get(0)))
        .map_or("", |found| found.as_str().trim())
}

/// A number of a row.
#[derive(Debug, Clone)]
pub(crate) struct NumberFrom {
    pub(crate) cells: Cells,
    /// `None` as long as no cell had a mark.
    pub(crate) marks: Cell<Option<Marks>>,
    /// Decided from a part of the file only: a later cell may contradict it.
    pub(crate) marks_assumed: bool,
    /// A unit that stands behind every number.
    pub(crate) suffix: Option<String>,
    /// The number is times this, then plus that.
    pub(crate) times: f64,
    pub(crate) plus: f64,
    pub(crate) fixed: Option<f64>,
}

impl NumberFrom {
    pub(crate) fn new(cells: Cells) -> NumberFrom {
        NumberFrom {
            cells,
            marks: Cell::new(None),
            marks_assumed: false,
            suffix: None,
            times: 1.0,
            plus: 0.0,
            fixed: None,
        }
    }

    pub(crate) fn fixed(value: f64) -> NumberFrom {
        NumberFrom {
            fixed: Some(value),
            ..NumberFrom::new(Cells::default())
        }
    }
}

/// A text of a row.
#[derive(Debug, Clone)]
pub(crate) struct TextFrom {
    pub(crate) cells: Cells,
}

/// The time of a row.
#[derive(Debug, Clone)]
pub(crate) struct TimeFrom {
    pub(crate) cells: Cells,
    pub(crate) clock: Option<Clock>,
    /// Readings that were as good, until something else decided: a cell that only they read proves the decision wrong.
    pub(crate) rivals: Vec<Clock>,
    /// Fills in what the cells leave out of the date.
    pub(crate) day: Option<Day>,
    /// Seconds east of UTC that the header states.
    pub(crate) offset_s: Option<i64>,
    /// Lines carry no time: the first row's, and what each row adds, in microseconds.
    pub(crate) steps: Option<(Moment, i64)>,
}

/// A value of a row; several make several readings.
#[derive(Debug, Clone)]
pub(crate) struct ValueFrom {
    pub(crate) number: NumberFrom,
    pub(crate) unit: Option<String>,
    /// What this value column fixes beside: x, y, z.
    pub(crate) places: [Option<f64>; 3],
    pub(crate) tilt: Option<f64>,
    pub(crate) temperature: Option<f64>,
    pub(crate) station: Option<String>,
    pub(crate) device: Option<String>,
    pub(crate) remark: Option<String>,
}

impl ValueFrom {
    pub(crate) fn new(number: NumberFrom, unit: Option<String>) -> ValueFrom {
        ValueFrom {
            number,
            unit,
            places: [None; 3],
            tilt: None,
            temperature: None,
            station: None,
            device: None,
            remark: None,
        }
    }
}
