//! What a layout is made of: columns, patterns, values of the head.

use super::{COLUMNS, expression, whole};
use crate::datetime::format::Format;
use regex_lite::Regex;
use undim_sdk::{Failure, OptionItem, OptionKind};

/// Where a column comes from and how its cells are read.
#[derive(Debug, Default, Clone)]
pub(crate) struct Spec {
    pub(crate) from: Vec<(From, u32)>,
    pub(crate) pick: Option<Regex>,
    pub(crate) unit: Option<(String, u32)>,
    pub(crate) times: Option<f64>,
    pub(crate) format: Option<TimeFormat>,
    pub(crate) format_index: u32,
    pub(crate) start: Vec<(From, u32)>,
    pub(crate) step_us: Option<i64>,
    /// What else a `[[value]]` fixes: by position in [`COLUMNS`].
    pub(crate) constants: [Option<Constant>; COLUMNS.len()],
    pub(crate) index: u32,
    /// Not the layout says it but the kind of file.
    pub(crate) is_usual: bool,
}

/// A column's cell that is the same in every row.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Constant {
    pub(crate) text: String,
    pub(crate) index: u32,
}

/// What a layout calls a column.
#[derive(Debug, Clone)]
pub(crate) enum From {
    Header(String),
    Matching(Regex),
    /// From 1.
    Number(usize),
    /// A value of the preamble.
    Head(String),
    /// The file's name without its folder.
    FileName,
    /// A text that stands for itself; only where a start is asked.
    Text(String),
}

/// How a time is written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum TimeFormat {
    Format(Format),
    Serial { epoch_1904: bool },
    SinceStart,
}

/// A value in the preamble.
#[derive(Debug, Clone)]
pub(crate) struct Head {
    pub(crate) name: String,
    pub(crate) line: u64,
    pub(crate) pick: Option<Regex>,
    pub(crate) index: u32,
}

/// A text to match whole, or an expression to find.
#[derive(Debug, Clone)]
pub(crate) enum Pattern {
    Whole(String),
    Found(Regex),
}

impl Pattern {
    pub(super) fn new(item: &OptionItem) -> Result<Pattern, Failure> {
        Ok(match expression(item)? {
            Some(regex) => Pattern::Found(regex),
            None => Pattern::Whole(item.text.trim().to_owned()),
        })
    }

    pub(crate) fn matches(&self, text: &str) -> bool {
        match self {
            Pattern::Whole(whole) => whole == text,
            Pattern::Found(regex) => regex.is_match(text),
        }
    }
}

/// Where the readings end.
#[derive(Debug, Clone)]
pub(crate) enum Until {
    /// Above this line of the file.
    Line(u64),
    /// Above the first line below the header whose first cell matches.
    Cell(Pattern),
}

impl Until {
    pub(super) fn new(item: &OptionItem) -> Result<Until, Failure> {
        Ok(if item.kind == OptionKind::Integer {
            Until::Line(whole(item)?)
        } else {
            Until::Cell(Pattern::new(item)?)
        })
    }
}
