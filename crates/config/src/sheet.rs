//! One file's text and what was found in it.

use crate::mistake::{Mistake, Severity, shown};
use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Bytes of a sheet's text.
pub(crate) type Span = Range<usize>;

/// A value and where it was written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Placed<T> {
    pub(crate) value: T,
    pub(crate) span: Span,
}

/// More findings than this in one file are counted, not listed.
const MOST_LISTED: usize = 200;

/// One file's text, with the findings so far.
#[derive(Debug)]
pub(crate) struct Sheet {
    pub(crate) file: PathBuf,
    pub(crate) text: String,
    line_starts: Vec<usize>,
    found: RefCell<Found>,
}

#[derive(Debug, Default)]
struct Found {
    mistakes: Vec<Mistake>,
    unlisted: Vec<Severity>,
    /// Lines that are no TOML: what else is found on them is a consequence.
    broken_lines: BTreeSet<usize>,
}

impl Sheet {
    /// A byte order mark at the start is no part of the text.
    pub(crate) fn new(file: impl Into<PathBuf>, text: &str) -> Self {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text).to_owned();
        let line_starts = std::iter::once(0)
            .chain(text.match_indices('\n').map(|(at, _)| at + 1))
            .collect();
        Self {
            file: file.into(),
            text,
            line_starts,
            found: RefCell::default(),
        }
    }

    /// Line and column of a byte, both from 1, the column in characters. A place past the end is the
    /// end's, and the end of a text that closes with a line feed belongs to the line before.
    pub(crate) fn place(&self, byte: usize) -> (usize, usize) {
        let mut byte = self.text.floor_char_boundary(byte.min(self.text.len()));
        if byte == self.text.len() && self.text.ends_with('\n') {
            byte = byte.saturating_sub(1);
        }
        let line = self.line_starts.partition_point(|start| *start <= byte).max(1);
        let start = self.line_starts.get(line - 1).copied().unwrap_or(0);
        let column = self
            .text
            .get(start..byte)
            .map_or(0, |before| before.chars().count());
        (line, column + 1)
    }

    /// Something that must be mended. `text` and `hint` are printed as they are: quote with [`shown`].
    pub(crate) fn mistake(&self, span: &Span, text: impl Into<String>, hint: impl Into<String>) {
        self.say(Severity::Mistake, span, text.into(), hint.into());
    }

    /// Something that is most likely not what is meant.
    pub(crate) fn warn(&self, span: &Span, text: impl Into<String>, hint: impl Into<String>) {
        self.say(Severity::Warning, span, text.into(), hint.into());
    }

    /// Something worth knowing.
    pub(crate) fn note(&self, span: &Span, text: impl Into<String>, hint: impl Into<String>) {
        self.say(Severity::Note, span, text.into(), hint.into());
    }

    /// Something that must be there and isn't; not said where broken lines may be hiding it.
    pub(crate) fn absent(&self, span: &Span, text: impl Into<String>, hint: impl Into<String>) {
        if !self.is_broken() {
            self.mistake(span, text, hint);
        }
    }

    /// A line that is no TOML at all.
    pub(crate) fn broken(&self, span: &Span, text: impl Into<String>, hint: impl Into<String>) {
        self.mistake(span, text, hint);
        let (line, _) = self.place(span.start);
        self.found.borrow_mut().broken_lines.insert(line);
    }

    /// True where a part of the file could not be understood at all.
    pub(crate) fn is_broken(&self) -> bool {
        !self.found.borrow().broken_lines.is_empty()
    }

    fn say(&self, severity: Severity, span: &Span, text: String, hint: String) {
        let (line, column) = self.place(span.start);
        let mut found = self.found.borrow_mut();
        if found.broken_lines.contains(&line) {
            return;
        }
        if found.mistakes.len() >= MOST_LISTED {
            found.unlisted.push(severity);
            return;
        }
        let start = self.text.floor_char_boundary(span.start.min(self.text.len()));
        let end = self
            .text
            .ceil_char_boundary(span.end.clamp(start, self.text.len()));
        let offending = self.text.get(start..end).map(|text| {
            let first = text.lines().next().unwrap_or_default();
            shown(first.trim_end())
        });
        found.mistakes.push(Mistake {
            file: self.file.clone(),
            line,
            column,
            span: start..end,
            text,
            found: offending.filter(|text| !text.is_empty()),
            hint: Some(hint).filter(|hint| !hint.is_empty()),
            severity,
        });
    }

    /// Path, text and findings, those in the order of their places.
    pub(crate) fn close(self) -> (PathBuf, String, Vec<Mistake>) {
        let found = self.found.into_inner();
        let mut mistakes = found.mistakes;
        mistakes.sort_by_key(|mistake| (mistake.line, mistake.column, mistake.severity));
        if let (Some(last), Some(severity)) = (mistakes.last(), found.unlisted.iter().min()) {
            mistakes.push(Mistake {
                text: format!("{} more in this file are not listed", found.unlisted.len()),
                found: None,
                hint: Some("mend the ones above first".to_owned()),
                severity: *severity,
                ..last.clone()
            });
        }
        (self.file, self.text, mistakes)
    }
}

/// A finding about a file as a whole, of which no text could be read.
pub(crate) fn whole_file(file: &Path, text: impl Into<String>, hint: impl Into<String>) -> Mistake {
    Mistake {
        file: file.to_owned(),
        line: 1,
        column: 1,
        span: 0..0,
        text: text.into(),
        found: None,
        hint: Some(hint.into()),
        severity: Severity::Mistake,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_count_characters_and_stay_inside() {
        let sheet = Sheet::new("a.toml", "\u{feff}a = 1\r\nö = \"ü\" # x\n");
        assert_eq!(sheet.place(0), (1, 1));
        assert_eq!(sheet.place(7), (2, 1));
        assert_eq!(sheet.place(9), (2, 2));
        assert_eq!(sheet.place(8), (2, 1), "inside a character");
        let end = sheet.place(sheet.text.len());
        assert_eq!(end, sheet.place(9999));
        assert_eq!(end, (2, 12));
        assert_eq!(Sheet::new("b", "").place(3), (1, 1));
        assert_eq!(Sheet::new("b", "\n").place(1), (1, 1));
    }

    #[test]
    fn what_follows_from_a_broken_line_is_not_said() {
        let sheet = Sheet::new("a.toml", "a =\nb = 1\n");
        sheet.broken(&(2..3), "no value", "");
        sheet.mistake(&(0..1), "a consequence", "");
        sheet.absent(&(0..0), "`c` is missing", "");
        sheet.mistake(&(4..5), "another", "");
        let (_, _, mistakes) = sheet.close();
        let texts: Vec<_> = mistakes.iter().map(|m| m.text.as_str()).collect();
        assert_eq!(texts, ["no value", "another"]);
    }

    #[test]
    fn endless_findings_are_counted() {
        let sheet = Sheet::new("a.toml", "x");
        for _ in 0..(MOST_LISTED + 5) {
            sheet.mistake(&(0..1), "again", "");
        }
        let (_, _, mistakes) = sheet.close();
        assert_eq!(mistakes.len(), MOST_LISTED + 1);
        assert!(mistakes[MOST_LISTED].text.starts_with("5 more"));
    }
}
