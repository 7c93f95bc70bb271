//! The part of a file that a layout says is meant: one of several tables, and where it ends.

use crate::kind::Kind;
use crate::layout::{Layout, Until};
use crate::lines::line_length;
use undim_sdk::Failure;

/// A part of a text, with empty lines in place of what stands above it, so that lines keep their numbers.
pub(crate) struct Window {
    pub(crate) text: String,
    /// A byte of the window stands so many bytes further on in the file.
    pub(crate) shift: usize,
    /// First line below it.
    pub(crate) end_line: Option<u64>,
}

/// One line of the file.
struct Line<'t> {
    start: usize,
    text: &'t str,
}

/// The part that is meant; `None` where the layout says nothing of it or its end is not in this text.
pub(crate) fn find(text: &str, whole: bool, layout: &Layout) -> Result<Option<Window>, Failure> {
    let drops_end = whole && layout.skip_end > 0 && layout.kind == Kind::Delimited;
    if layout.table.is_none() && layout.until.is_none() && !drops_end {
        return Ok(None);
    }
    let lines = lines(text, whole);
    let (mut first, mut end) = (0, lines.len());
    let mut ends = false;
    if let Some((wanted, index)) = layout.table {
        let tables = tables(&lines);
        let at = usize::try_from(wanted).unwrap_or(usize::MAX).saturating_sub(1);
        let Some(table) = tables.get(at) else {
            let text = format!(
                "{} tables parted by empty lines were found in the file",
                tables.len()
            );
            return Err(Failure::option(index, text));
        };
        (first, end) = *table;
        ends = end < lines.len() || whole;
    }
    if let Some(until) = &layout.until {
        let from = below(&lines, first, layout);
        let found = (from..end).find(|at| match until {
            Until::Line(line) => *at as u64 + 1 >= *line,
            Until::Cell(pattern) => pattern.matches(first_cell(lines[*at].text)),
        });
        (end, ends) = found.map_or((end, ends), |at| (at, true));
    }
    if drops_end || layout.skip_end > 0 && ends {
        // What is left out below the readings tells nothing about them.
        let mut left = layout.skip_end;
        while left > 0 && end > first {
            end -= 1;
            left -= u64::from(!is_empty(&lines[end]));
        }
        ends = true;
    }
    if !ends {
        return Ok(None);
    }
    let start = lines.get(first).map_or(text.len(), |line| line.start);
    let stop = lines.get(end).map_or(text.len(), |line| line.start);
    let mut part = "\n".repeat(first);
    part.push_str(text.get(start..stop).unwrap_or(""));
    Ok(Some(Window {
        text: part,
        shift: start - first.min(start),
        end_line: (end < lines.len()).then_some(end as u64 + 1),
    }))
}

fn lines(text: &str, whole: bool) -> Vec<Line<'_>> {
    let (mut out, mut at) = (Vec::new(), 0);
    while let Some(rest) = text.get(at..).filter(|rest| !rest.is_empty()) {
        let Some(length) = line_length(rest, whole) else {
            break;
        };
        out.push(Line {
            start: at,
            text: rest.get(..length).unwrap_or(rest),
        });
        at += length;
    }
    out
}

/// Where the lines below the header begin, as far as the layout tells.
fn below(lines: &[Line], first: usize, layout: &Layout) -> usize {
    let skip = layout
        .skip
        .map_or(0, |skip| usize::try_from(skip).unwrap_or(usize::MAX));
    let mut from = first.max(skip);
    if let Some((pattern, _)) = &layout.skip_to {
        let found = (from..lines.len()).find(|at| pattern.matches(first_cell(lines[*at].text)));
        from = found.unwrap_or(from);
    }
    let header = layout.header.unwrap_or(1);
    from.saturating_add(header).min(lines.len())
}

/// The tables of a file: runs of two lines and more without an empty one, the last of which holds a digit.
fn tables(lines: &[Line]) -> Vec<(usize, usize)> {
    let (mut out, mut start) = (Vec::new(), None);
    for at in 0..=lines.len() {
        match lines.get(at).filter(|line| !is_empty(line)) {
            Some(_) => {
                start.get_or_insert(at);
            }
            None => {
                let run = start.take().map(|start| (start, at));
                out.extend(run.filter(|(start, end)| {
                    let last = &lines[*end - 1];
                    end - start > 1 && last.text.contains(|c: char| c.is_ascii_digit())
                }));
            }
        }
    }
    out
}

fn is_empty(line: &Line) -> bool {
    line.text
        .chars()
        .all(|c| c.is_whitespace() || matches!(c, ',' | ';' | '|'))
}

/// A line's first cell, whatever the delimiter.
fn first_cell(line: &str) -> &str {
    let cell = line.split([',', ';', '\t', '|']).next().unwrap_or(line);
    cell.trim().trim_matches(['"', '\'']).trim()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_are_runs_of_lines() {
        let text = "Title\n\nx,PAR\n1,2\n\nx,EC\n1,3\n2,4\n";
        let found = tables(&lines(text, true));
        assert_eq!(found, [(2, 4), (5, 8)]);
        assert_eq!(first_cell("\"a b\" ; 1"), "a b");
    }
}
