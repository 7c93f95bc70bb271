//! From text to records: splitting lines into cells, with quotes, in bounded memory.
//!
//! One pass, a byte at a time through a table of the bytes that end a cell. Records with quotes go through the same
//! code: it keeps to RFC 4180, with blanks allowed around quotes and all three line ends. A test holds it against the
//! csv crate.

use undim_sdk::Failure;

/// Longest line or record, bytes.
pub(crate) const MOST_BYTES: usize = 1 << 20;
/// Most cells in a record.
pub(crate) const MOST_CELLS: usize = 4096;
/// Most lines a quoted cell may span.
pub(crate) const MOST_QUOTED_LINES: u64 = 16;

/// The quote around cells; none where there is no such thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Quote(pub(crate) Option<u8>);

/// What stands between cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Delimiter {
    Byte(u8),
    /// Any run of spaces and tabs.
    Blanks,
    /// One cell a line.
    None,
}

impl Delimiter {
    /// How a layout writes it.
    pub(crate) fn name(self) -> String {
        match self {
            Delimiter::Byte(b'\t') => "tab".to_owned(),
            Delimiter::Byte(byte) => char::from(byte).to_string(),
            Delimiter::Blanks => "blanks".to_owned(),
            Delimiter::None => "none".to_owned(),
        }
    }
}

/// How cells are told apart.
#[derive(Debug, Clone)]
pub(crate) struct Splitter {
    pub(crate) delimiter: Delimiter,
    pub(crate) quote: Option<u8>,
    /// The bytes that end a cell without quotes.
    ends: [bool; 256],
}

/// Where a cell's text lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Span {
    start: u32,
    end: u32,
    /// In the record's own store, because quotes had to be taken out.
    stored: bool,
}

/// One record: where its cells lie in the text it was split from.
#[derive(Debug, Default)]
pub(crate) struct Record {
    spans: Vec<Span>,
    store: String,
    /// Lines it spans.
    pub(crate) lines: u64,
}

/// Why a record can't be split.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Broken {
    /// A quote was opened, so many lines below the record's first, and not closed.
    Unclosed {
        lines_below: u64,
    },
    TooLong,
    TooManyCells,
}

impl Broken {
    /// The sentence, for a record that starts at `line`.
    pub(crate) fn failure(self, line: u64) -> Failure {
        match self {
            Broken::Unclosed { lines_below } => {
                let text = format!(
                    "a quote opened here is not closed within {MOST_QUOTED_LINES} lines; close it, or say `quote = \"\"` in a layout"
                );
                Failure::unusable(line + lines_below, 0, text)
            }
            Broken::TooLong => {
                let text = format!(
                    "this line is longer than {} KiB: no table of readings",
                    MOST_BYTES >> 10
                );
                Failure::unusable(line, 0, text)
            }
            Broken::TooManyCells => Failure::unusable(
                line,
                0,
                format!("this line has more than {MOST_CELLS} cells: no table of readings"),
            ),
        }
    }
}

impl Record {
    pub(crate) fn len(&self) -> usize {
        self.spans.len()
    }

    /// The cell's text without the blanks around it; empty beyond the last. `text` is what it was split from.
    #[inline]
    pub(crate) fn cell<'a>(&'a self, text: &'a str, at: usize) -> &'a str {
        let Some(span) = self.spans.get(at) else { return "" };
        let source = if span.stored { self.store.as_str() } else { text };
        let cell = source.get(span.start as usize..span.end as usize).unwrap_or("");
        // Nearly every cell begins and ends in a plain letter or digit.
        match cell.as_bytes() {
            [b'!'..=b'~'] | [b'!'..=b'~', .., b'!'..=b'~'] => cell,
            _ => cell.trim(),
        }
    }

    /// True where no cell holds anything.
    pub(crate) fn is_empty(&self, text: &str) -> bool {
        // The first cell settles it for nearly every record.
        (0..self.len()).all(|at| self.cell(text, at).is_empty())
    }

    fn push(&mut self, start: usize, end: usize, stored: bool) -> Result<(), Broken> {
        if self.spans.len() >= MOST_CELLS {
            return Err(Broken::TooManyCells);
        }
        self.spans.push(Span {
            start: start as u32,
            end: end as u32,
            stored,
        });
        Ok(())
    }
}

/// How a cell ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    Cell(usize),
    /// The record is done; this many bytes of text belong to it, its line end included.
    Record(usize),
    /// The text ended before the record did.
    Open,
}

impl Splitter {
    pub(crate) fn new(delimiter: Delimiter, quote: Option<u8>) -> Splitter {
        let mut ends = [false; 256];
        ends[usize::from(b'\n')] = true;
        ends[usize::from(b'\r')] = true;
        match delimiter {
            Delimiter::Byte(byte) => ends[usize::from(byte)] = true,
            Delimiter::Blanks => {
                ends[usize::from(b' ')] = true;
                ends[usize::from(b'\t')] = true;
            }
            Delimiter::None => {}
        }
        Splitter {
            delimiter,
            quote,
            ends,
        }
    }

    /// Splits the record at the front of `text` and tells how many bytes it takes, its line end included.
    ///
    /// `None` where the record's end is not in the text and more may come (`last` is false).
    pub(crate) fn split(&self, text: &str, last: bool, record: &mut Record) -> Result<Option<usize>, Broken> {
        record.spans.clear();
        record.store.clear();
        record.lines = 1;
        let bytes = text.as_bytes();
        let mut at = 0;
        loop {
            let start = self.skip_blanks(bytes, at);
            if self.delimiter == Delimiter::Blanks
                && record.len() > 0
                && matches!(bytes.get(start), None | Some(b'\n' | b'\r'))
            {
                // Blanks at the end of a line part nothing.
                return Self::finish(bytes, start, last);
            }
            let end = if self.quote.is_some() && bytes.get(start).copied() == self.quote {
                self.quoted(text, start, last, record)?
            } else {
                self.plain(bytes, start, last, record)?
            };
            match end {
                End::Cell(next) => at = next,
                End::Record(length) => {
                    return if length > MOST_BYTES {
                        Err(Broken::TooLong)
                    } else {
                        Ok(Some(length))
                    };
                }
                End::Open => {
                    return if bytes.len() > MOST_BYTES {
                        Err(Broken::TooLong)
                    } else {
                        Ok(None)
                    };
                }
            }
        }
    }

    fn skip_blanks(&self, bytes: &[u8], mut at: usize) -> usize {
        while let Some(byte) = bytes.get(at) {
            let blank = *byte == b' ' || *byte == b'\t' && self.delimiter == Delimiter::Blanks;
            if !blank || self.delimiter == Delimiter::Byte(b' ') {
                break;
            }
            at += 1;
        }
        at
    }

    /// The record ended at `at`, on a line end or the end of the text.
    fn finish(bytes: &[u8], at: usize, last: bool) -> Result<Option<usize>, Broken> {
        match Self::line_end(bytes, at, last) {
            End::Record(length) if length <= MOST_BYTES => Ok(Some(length)),
            End::Open if bytes.len() <= MOST_BYTES => Ok(None),
            _ => Err(Broken::TooLong),
        }
    }

    fn line_end(bytes: &[u8], at: usize, last: bool) -> End {
        match (bytes.get(at), bytes.get(at + 1)) {
            (Some(b'\r'), Some(b'\n')) => End::Record(at + 2),
            (Some(b'\n'), _) | (Some(b'\r'), Some(_)) => End::Record(at + 1),
            // A line end may be cut in two by the end of a block.
            (Some(b'\r'), None) if last => End::Record(at + 1),
            (None, _) if last => End::Record(at),
            (Some(b'\r') | None, _) => End::Open,
            (Some(_), _) => End::Cell(at + 1),
        }
    }

    /// Takes a cell without quotes.
    fn plain(&self, bytes: &[u8], start: usize, last: bool, record: &mut Record) -> Result<End, Broken> {
        let rest = bytes.get(start..).unwrap_or_default();
        let end = match rest.iter().position(|byte| self.ends[usize::from(*byte)]) {
            Some(length) => start + length,
            None if last => bytes.len(),
            None => return Ok(End::Open),
        };
        record.push(start, end, false)?;
        Ok(Self::line_end(bytes, end, last))
    }

    /// Takes a cell in quotes, which `start` opens.
    fn quoted(&self, text: &str, start: usize, last: bool, record: &mut Record) -> Result<End, Broken> {
        let bytes = text.as_bytes();
        let quote = bytes[start];
        let opened = record.lines - 1;
        let stored_from = record.store.len();
        let mut stored = false;
        let mut from = start + 1;
        let mut at = from;
        let closed = loop {
            match bytes.get(at) {
                None if last => return Err(Broken::Unclosed { lines_below: opened }),
                None => return Ok(End::Open),
                Some(byte) if *byte == quote => match bytes.get(at + 1) {
                    Some(next) if *next == quote => {
                        record.store.push_str(text.get(from..=at).unwrap_or(""));
                        stored = true;
                        at += 2;
                        from = at;
                    }
                    // Whether the quote is doubled shows in the next block.
                    None if !last => return Ok(End::Open),
                    _ => break at,
                },
                Some(b'\n') => {
                    record.lines += 1;
                    at += 1;
                }
                Some(b'\r') => {
                    record.lines += u64::from(bytes.get(at + 1) != Some(&b'\n'));
                    at += 1;
                }
                Some(_) => at += 1,
            }
            if record.lines - 1 - opened >= MOST_QUOTED_LINES {
                return Err(Broken::Unclosed { lines_below: opened });
            }
        };
        let after = self.skip_blanks(bytes, closed + 1);
        let rest = bytes.get(after..).unwrap_or_default();
        let end = match rest.iter().position(|byte| self.ends[usize::from(*byte)]) {
            Some(length) => after + length,
            None if last => bytes.len(),
            None => return Ok(End::Open),
        };
        // Text after the closing quote still belongs to the cell.
        let stray = text.get(closed + 1..end).unwrap_or("").trim_end();
        if stored || !stray.is_empty() {
            record.store.push_str(text.get(from..closed).unwrap_or(""));
            record.store.push_str(stray);
            record.push(stored_from, record.store.len(), true)?;
        } else {
            record.push(start + 1, closed, false)?;
        }
        Ok(Self::line_end(bytes, end, last))
    }
}

/// Length of the first line of a text with its line end; `None` where it does not end there and more may come.
pub fn line_length(text: &str, last: bool) -> Option<usize> {
    let bytes = text.as_bytes();
    match bytes.iter().position(|byte| matches!(byte, b'\n' | b'\r')) {
        Some(at) if bytes[at] == b'\n' => Some(at + 1),
        Some(at) => match bytes.get(at + 1) {
            Some(b'\n') => Some(at + 2),
            Some(_) => Some(at + 1),
            None => last.then_some(at + 1),
        },
        None => last.then_some(bytes.len()),
    }
}

#[cfg(test)]
#[path = "lines_tests.rs"]
mod tests;
