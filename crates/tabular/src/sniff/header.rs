//! Finding the table: the header that names its columns, a row of units, and where the readings start and end.

use super::delimiter::Split;
use super::{HeadRow, Kind, head_rows, is_missing, kind};
use crate::lines::{Delimiter, Splitter};
use crate::names::{self, Role, Strength};
use crate::units;

/// A table in a text.
#[derive(Debug, Clone)]
pub(crate) struct Table {
    pub(crate) width: usize,
    /// The columns' names; empty where there is no header.
    pub(crate) names: Vec<String>,
    /// Line of the header; 0 where there is none.
    pub(crate) header_line: u64,
    /// The units row; empty where there is none.
    pub(crate) units: Vec<String>,
    /// Where the readings start: byte of the text and line.
    pub(crate) start: usize,
    pub(crate) start_line: u64,
    /// Lines between header and readings that are neither.
    pub(crate) passed_over: Vec<u64>,
    /// First line below the table that does not belong to it, if the text shows its end.
    pub(crate) end_line: Option<u64>,
    /// The first column holds measurements, so that a line that begins with `#` is a comment.
    pub(crate) hash_comments: bool,
    /// What stands above the header.
    pub(crate) preamble: Vec<HeadRow>,
}

/// What a layout says about the header.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Given {
    /// First line that may be the header.
    pub(crate) from_line: Option<u64>,
    /// Header lines.
    pub(crate) header_lines: Option<usize>,
    pub(crate) units_row: Option<bool>,
}

/// A row of names that may be the header.
struct Heading {
    names: Vec<String>,
    score: u32,
    /// It was split as the table is, so that what is below it is the table.
    own: bool,
    /// Positions in the rows of its first and last line.
    first: usize,
    last: usize,
}

/// Finds the table in a split head. `whole` where the text is all of the file; `is_header` tells a row that holds the
/// names a layout asks for.
pub(crate) fn find(
    text: &str,
    whole: bool,
    split: &Split,
    given: Given,
    comment: Option<&str>,
    is_header: &dyn Fn(&[String]) -> bool,
) -> Option<Table> {
    let rows = &split.rows;
    let data = Pattern::new(rows, split.width);
    if split.of_words && given.header_lines.is_none() && given.from_line.is_none() {
        return of_words(split);
    }
    let heading = match given.header_lines {
        Some(0) => None,
        _ if given.from_line.is_some() || given.header_lines.is_some_and(|lines| lines > 1) => {
            stated(text, split, given, comment, is_header)
        }
        _ => found(text, split, &data, is_header),
    };
    // A header that is wider or narrower than the lines below it is left to the rows to complain about.
    let width = heading
        .as_ref()
        .map_or(split.width, |heading| heading.names.len());
    let after = match (&heading, given.header_lines, given.from_line) {
        (Some(heading), _, _) => heading.last + 1,
        (None, Some(0), Some(line)) => rows.iter().position(|row| row.line >= line)?,
        _ => 0,
    };
    let (units, first) = match (given.units_row, &heading) {
        (Some(true), _) => {
            let at = (after..rows.len()).find(|at| !rows[*at].is_empty() && !rows[*at].is_rule())?;
            (rows[at].cells.clone(), at + 1)
        }
        (Some(false), _) | (None, None) => (Vec::new(), after),
        (None, Some(heading)) => units_row(text, split, heading, &data),
    };
    let start = match (given.header_lines, given.from_line) {
        // A layout says where the header ends: every line after it counts.
        (Some(_), Some(_)) | (Some(0), _) => {
            (first..rows.len()).find(|at| !rows[*at].is_empty() && !rows[*at].is_rule())
        }
        // Lines without a measurement may tell more about the columns; a short line with one is a reading gone wrong.
        _ if heading.as_ref().is_some_and(|heading| heading.own) => (first..rows.len()).find(|at| {
            let row = &rows[*at];
            let begins_comment = row.cells.first().is_some_and(|cell| cell.starts_with('#'));
            !row.is_rule() && !begins_comment && row.cells.iter().any(|cell| kind(cell).is_measured())
        }),
        _ => (first..rows.len()).find(|at| data.fits(&rows[*at])),
    }?;
    let between = rows
        .get(first..start)
        .unwrap_or_default()
        .iter()
        .filter(|_| heading.as_ref().is_some_and(|heading| heading.own));
    let passed_over = between
        .filter(|row| !row.is_empty() && !row.is_rule() && !is_comment(text, row, comment))
        .map(|row| row.line)
        .collect();
    let header_at = heading.as_ref().map_or(start, |heading| heading.first);
    Some(Table {
        width,
        header_line: heading
            .as_ref()
            .and_then(|heading| rows.get(heading.first))
            .map_or(0, |row| row.line),
        names: heading.map(|heading| heading.names).unwrap_or_default(),
        units,
        start: rows.get(start)?.start,
        start_line: rows.get(start)?.line,
        end_line: if whole { end(rows, start, &data) } else { None },
        passed_over,
        hash_comments: data.measured.first().copied().unwrap_or(false),
        preamble: rows.iter().take(header_at).cloned().collect(),
    })
}

/// The table where hardly a line holds a measurement: names, if the first line's cells are all different, then words.
fn of_words(split: &Split) -> Option<Table> {
    let usable = |row: &&HeadRow| {
        row.has_width(split.width)
            && !row.is_empty()
            && !row.cells.first().is_some_and(|cell| cell.starts_with('#'))
    };
    let mut rows = split.rows.iter().filter(usable);
    let first = rows.next()?;
    let free = !first.cells.iter().any(|cell| kind(cell).is_measured());
    let is_named = free && all_different(&first.cells);
    let start = if is_named { rows.next()? } else { first };
    Some(Table {
        width: split.width,
        names: if is_named {
            first.cells.iter().take(split.width).cloned().collect()
        } else {
            Vec::new()
        },
        header_line: if is_named { first.line } else { 0 },
        units: Vec::new(),
        start: start.start,
        start_line: start.line,
        passed_over: Vec::new(),
        end_line: None,
        hash_comments: true,
        preamble: Vec::new(),
    })
}

/// Which columns of the table hold measurements.
struct Pattern {
    width: usize,
    measured: Vec<bool>,
    /// There are rows that don't begin with `#`, so that those that do are comments.
    has_plain_rows: bool,
}

impl Pattern {
    fn new(rows: &[HeadRow], width: usize) -> Pattern {
        let mut counts = vec![(0usize, 0usize); width];
        let is_comment = |row: &&HeadRow| row.cells.first().is_some_and(|cell| cell.starts_with('#'));
        let plain = || rows.iter().filter(|row| row.has_width(width) && !is_comment(row));
        let any_plain = plain().any(|row| row.cells.iter().any(|cell| kind(cell).is_measured()));
        for row in rows
            .iter()
            .filter(|row| row.has_width(width) && !(any_plain && is_comment(row)))
        {
            let kinds: Vec<Kind> = row.cells.iter().map(|cell| kind(cell)).collect();
            if !kinds.iter().any(|kind| kind.is_measured()) {
                continue;
            }
            for (count, kind) in counts.iter_mut().zip(&kinds) {
                count.0 += usize::from(kind.is_measured());
                count.1 += usize::from(matches!(kind, Kind::Word | Kind::Mixed));
            }
        }
        Pattern {
            width,
            has_plain_rows: any_plain,
            measured: counts
                .iter()
                .map(|(yes, no)| *yes > 0 && yes * 2 > *no * 3)
                .collect(),
        }
    }

    /// True for a row of the table.
    fn fits(&self, row: &HeadRow) -> bool {
        let is_comment = row.cells.first().is_some_and(|cell| cell.starts_with('#'));
        if !row.has_width(self.width) || row.is_rule() || self.has_plain_rows && is_comment {
            return false;
        }
        let (mut good, mut bad) = (0, 0);
        for (cell, _) in row
            .cells
            .iter()
            .zip(&self.measured)
            .filter(|(_, measured)| **measured)
        {
            match kind(cell) {
                Kind::Number | Kind::Moment => good += 1,
                Kind::Word | Kind::Mixed => bad += 1,
                Kind::Empty | Kind::Missing => {}
            }
        }
        good > 0 && bad * 2 <= good
    }
}

/// The header by what its cells are called.
fn found(
    text: &str,
    split: &Split,
    data: &Pattern,
    is_header: &dyn Fn(&[String]) -> bool,
) -> Option<Heading> {
    let rows = &split.rows;
    let last_data = (0..rows.len()).rev().find(|at| data.fits(&rows[*at]))?;
    let first_data = (0..rows.len()).find(|at| data.fits(&rows[*at]))?;
    let mut best: Option<Heading> = None;
    let mut offer = |heading: Heading| {
        if best.as_ref().is_none_or(|best| heading.score > best.score) {
            best = Some(heading);
        }
    };
    for (at, row) in rows.iter().enumerate().take(last_data) {
        if row.is_empty() || row.is_rule() || data.fits(row) && !is_header(&row.cells) {
            continue;
        }
        // `# START: 1997-01-01` above a single column tells one thing and names nothing.
        if split.width == 1 && !is_header(&row.cells) && row.cells.iter().any(|cell| cell.contains(": ")) {
            continue;
        }
        for (own, names) in variants(text, split, row) {
            if let Some(score) = score(&names, is_header) {
                // As it stands a row is likelier a header than after re-splitting.
                let near = 6 * u32::from(own && leads_to_data(rows, at, data, split.width));
                offer(Heading {
                    names: names.clone(),
                    score: score * 2 + u32::from(own) + near,
                    own,
                    first: at,
                    last: at,
                });
            }
            // Two lines that make the names together.
            if own
                && let Some(below) = rows.get(at + 1)
                && below.has_width(names.len())
                && at + 1 < last_data
                && !below.cells.iter().any(|cell| kind(cell).is_measured())
            {
                let joined = join(&[names.clone(), below.cells.clone()], names.len());
                let alone = score(&names, is_header)
                    .max(score(&below.cells, is_header))
                    .unwrap_or(0);
                let with_units = below.cells.iter().any(|cell| units::is_any(cell));
                if let Some(score) = score(&joined, is_header).filter(|score| *score > alone && !with_units) {
                    let near = 6 * u32::from(leads_to_data(rows, at + 1, data, split.width));
                    offer(Heading {
                        names: joined,
                        score: score * 2 + near,
                        own: true,
                        first: at,
                        last: at + 1,
                    });
                }
            }
        }
    }
    // A sentence far above may hold words of ours; names of another trade right above the readings are names.
    match (best, names_by_place(text, split, first_data)) {
        (Some(best), Some(placed))
            if best.score < 1000
                && best.first != placed.first
                && (!best.own || stands_apart(rows, &best, &placed, data, split.width)) =>
        {
            Some(placed)
        }
        (best, placed) => best.or(placed),
    }
}

/// True where readings follow a row at once, or after a row of units.
fn leads_to_data(rows: &[HeadRow], at: usize, data: &Pattern, width: usize) -> bool {
    let mut below = rows
        .iter()
        .skip(at + 1)
        .filter(|row| !row.is_empty() && !row.is_rule());
    match below.next() {
        Some(row) if data.fits(row) => true,
        Some(row) if holds_units(&row.cells, width) => below.next().is_some_and(|row| data.fits(row)),
        _ => false,
    }
}

/// True where a line of words of ours stands well above lines that are more likely the names, and none of units between.
fn stands_apart(rows: &[HeadRow], best: &Heading, placed: &Heading, data: &Pattern, width: usize) -> bool {
    best.last + 1 < placed.first
        && !leads_to_data(rows, best.last, data, width)
        && !rows
            .get(best.last + 1..placed.first)
            .unwrap_or_default()
            .iter()
            .any(|row| holds_units(&row.cells, width))
}

/// Names that mean nothing to us but stand where names stand: in the nearest line above the first reading whose cells
/// are all filled and all different. Units and kinds, which repeat or leave gaps, may stand below it. Where no line is
/// such, two lines may be so together, as months over days.
fn names_by_place(text: &str, split: &Split, first_data: usize) -> Option<Heading> {
    let (rows, width) = (&split.rows, split.width);
    let mut above = Vec::new();
    for at in (0..first_data).rev() {
        if rows[at].is_empty() || rows[at].is_rule() {
            continue;
        }
        let mut cells = strip_comment(&rows[at].cells);
        if cells.len() == width + 1 && cells.last().is_some_and(String::is_empty) {
            cells.pop();
        }
        let own_line = text.get(rows[at].start..rows[at].end).unwrap_or("").trim();
        // A short line may stand between: `class` under the names of a table of kinds.
        let is_short = cells.len() < width && split.splitter.delimiter != Delimiter::Blanks;
        if is_short && above.is_empty() {
            cells.resize(width, String::new());
            above.push((at, cells));
            continue;
        }
        let tells_one_thing = width == 1 && own_line.contains([':', '=']);
        let is_sentence = split.splitter.delimiter == Delimiter::Blanks
            && own_line.starts_with('#')
            && own_line.ends_with(['.', ',', ':', ')']);
        if cells.len() != width || tells_one_thing || is_sentence || above.len() == LINES_OF_NAMES {
            break;
        }
        let is_free = !cells.iter().any(|cell| kind(cell).is_measured());
        let are_units = holds_units(&cells, width) || cells.iter().all(|cell| units::looks_like(cell));
        if is_free && all_different(&cells) && !(are_units && at > 0) {
            return Some(Heading {
                names: cells,
                score: 0,
                own: true,
                first: at,
                last: at,
            });
        }
        above.push((at, cells));
    }
    let joined = above.windows(2).find_map(|pair| {
        let [(last, below), (first, above)] = pair else {
            return None;
        };
        let names = join(&[above.clone(), below.clone()], width);
        let free = !names.iter().any(|name| kind(name).is_measured());
        (free && all_different(&names)).then_some((*first, *last, names))
    });
    let single = || {
        let (at, cells) = above.first()?;
        // A name may not be missing: then nobody knows which column it is that has none.
        if strip_comment(&rows.get(*at)?.cells).len() < width {
            return None;
        }
        let words = cells
            .iter()
            .filter(|cell| matches!(kind(cell), Kind::Word | Kind::Mixed))
            .count();
        let free = !cells.iter().any(|cell| kind(cell).is_measured());
        (free && words * 2 > width).then(|| (*at, *at, cells.clone()))
    };
    let numbered = || {
        // A table of curves: what the numbers belong to, then the numbers along the curve.
        let cells = strip_comment(&rows.get(first_data)?.cells);
        let steps: Option<Vec<f64>> = cells.iter().skip(1).map(|cell| cell.parse().ok()).collect();
        let rises =
            steps.is_some_and(|steps| steps.len() > 3 && steps.windows(2).all(|pair| pair[0] < pair[1]));
        let is_named = cells.first().is_some_and(|cell| kind(cell) == Kind::Word);
        (rises && is_named && cells.len() == width).then_some((first_data, first_data, cells))
    };
    let (first, last, names) = joined.or_else(single).or_else(numbered)?;
    Some(Heading {
        names,
        score: 0,
        own: true,
        first,
        last,
    })
}

/// Names, units, kinds, and one line more.
const LINES_OF_NAMES: usize = 4;

/// True where no cell is like another and none is empty, but for the first (numbers of rows often have no name) or
/// the last.
fn all_different(cells: &[String]) -> bool {
    let ends = [0, cells.len().saturating_sub(1)];
    let gaps = cells.iter().enumerate().filter(|(_, cell)| cell.is_empty());
    if gaps.clone().count() > 1 || gaps.map(|(at, _)| at).any(|at| !ends.contains(&at)) {
        return false;
    }
    let mut sorted: Vec<&String> = cells.iter().collect();
    sorted.sort_unstable();
    let known = sorted.len();
    sorted.dedup();
    sorted.len() == known && cells.iter().any(|cell| !cell.is_empty())
}

/// How much a row's cells look like the names of a table of readings; `None` where they don't.
fn score(names: &[String], is_header: &dyn Fn(&[String]) -> bool) -> Option<u32> {
    if is_header(names) {
        return Some(1000);
    }
    // A number among the names: a row of readings, or a line about the device.
    if names.iter().any(|name| kind(name).is_measured()) {
        return None;
    }
    let mut score = 0;
    let mut seen: Vec<Role> = Vec::new();
    for named in names.iter().filter_map(|name| names::read(name)) {
        // What stands twice tells no more than what stands once.
        if !seen.contains(&named.role) {
            seen.push(named.role);
            score += 2 * u32::from(named.role == Role::Value)
                + if named.strength == Strength::Exact { 2 } else { 1 };
        }
    }
    // One chance word is no header where there are several columns.
    (score >= 2.min(names.len() as u32 + 1)).then_some(score)
}

/// The ways a line may hold as many names as the table has columns; true for the line as it was split.
fn variants(text: &str, split: &Split, row: &HeadRow) -> Vec<(bool, Vec<String>)> {
    let width = split.width;
    let mut out = Vec::new();
    let mut add = |own: bool, mut cells: Vec<String>| {
        if cells.len() == width + 1 && cells.last().is_some_and(String::is_empty) {
            cells.pop();
        }
        if cells.len() == width && !out.iter().any(|(_, known)| *known == cells) {
            out.push((own, cells));
        }
    };
    add(true, strip_comment(&row.cells));
    // The table's lines end in a delimiter and the header's does not.
    let line = text.get(row.start..row.end).unwrap_or("").trim();
    let bare = bare(line);
    // What follows `fields=` or `columns:` first, as it is the purer list.
    for piece in [
        bare.split_once('=').map_or("", |(_, list)| list),
        bare.split_once(':').map_or("", |(_, list)| list),
        bare,
    ] {
        if piece.is_empty() || piece.len() > 8192 {
            continue;
        }
        add(false, resplit(piece, &split.splitter));
        for delimiter in [b',', b';', b'\t', b'|'] {
            add(
                false,
                resplit(piece, &Splitter::new(Delimiter::Byte(delimiter), Some(b'"'))),
            );
        }
        add(false, wide_blanks(piece));
        // Words parted by single blanks are likelier a sentence, unless most of them are names.
        let words = bracketed_blanks(piece);
        let known = words.iter().filter(|word| names::read(word).is_some()).count();
        if known * 5 >= words.len() * 2 {
            add(false, words);
        }
    }
    out
}

fn resplit(piece: &str, splitter: &Splitter) -> Vec<String> {
    head_rows(piece, true, splitter, 1)
        .into_iter()
        .next()
        .map(|row| row.cells)
        .unwrap_or_default()
}

/// A line without the marks that make it a comment.
pub(crate) fn bare(line: &str) -> &str {
    line.trim_start_matches(['#', '%', '!', '*', '/', ';', '\'', ' ', '\t'])
}

/// Cells of a line whose first begins with a comment mark, without it.
fn strip_comment(cells: &[String]) -> Vec<String> {
    let mut cells = cells.to_vec();
    if let Some(first) = cells.first_mut() {
        let stripped = first.trim_start_matches(['#', '%', '!']).trim_start().to_owned();
        if stripped.len() < first.len() {
            *first = stripped;
            // `# time par` split at blanks leaves the mark alone in a cell.
            if first.is_empty() && cells.len() > 1 {
                cells.remove(0);
            }
        }
    }
    cells
}

/// Cells parted by two blanks or more.
fn wide_blanks(line: &str) -> Vec<String> {
    line.replace('\t', "  ")
        .split("  ")
        .map(str::trim)
        .filter(|cell| !cell.is_empty())
        .map(str::to_owned)
        .collect()
}

/// Cells parted by blanks, what stands in brackets joined to the word before it.
fn bracketed_blanks(line: &str) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    let mut depth = 0;
    for word in line.split_whitespace() {
        let opens = word.starts_with(['(', '[']);
        match out.last_mut() {
            Some(last) if depth > 0 || opens => {
                last.push(' ');
                last.push_str(word);
            }
            _ => out.push(word.to_owned()),
        }
        depth += word.matches(['(', '[']).count() as i32 - word.matches([')', ']']).count() as i32;
    }
    out
}

/// The header where a layout says which line it stands on, or how many lines it has.
fn stated(
    text: &str,
    split: &Split,
    given: Given,
    comment: Option<&str>,
    is_header: &dyn Fn(&[String]) -> bool,
) -> Option<Heading> {
    let rows = &split.rows;
    let lines = given.header_lines.unwrap_or(1);
    let from = given.from_line.unwrap_or(1);
    let usable = |row: &HeadRow| row.line >= from && !row.is_empty() && !row.is_rule();
    // A commented line is the header only if it holds the names asked for; a comment mark comes off it.
    let first = (0..rows.len()).find(|at| {
        usable(&rows[*at])
            && (comment.is_none()
                || !is_comment(text, &rows[*at], comment)
                || is_header(&without_mark(text, split, &rows[*at], comment)))
    })?;
    let mut gathered = vec![without_mark(text, split, &rows[first], comment)];
    let mut last = first;
    while gathered.len() < lines {
        last = (last + 1..rows.len()).find(|at| !rows[*at].is_empty())?;
        gathered.push(without_mark(text, split, &rows[last], comment));
    }
    let width = gathered.iter().map(Vec::len).max().unwrap_or(0);
    let mut names = join(&gathered, width);
    if names.len() == split.width + 1 && names.last().is_some_and(String::is_empty) {
        names.pop();
    }
    Some(Heading {
        names,
        score: 0,
        own: true,
        first,
        last,
    })
}

/// True for a line that the layout's mark makes a comment; without one, that the usual mark does.
fn is_comment(text: &str, row: &HeadRow, comment: Option<&str>) -> bool {
    let line = text.get(row.start..row.end).unwrap_or("").trim_start();
    line.starts_with(comment.unwrap_or("#"))
}

/// A row's cells without the comment mark that a layout names, or any usual one.
fn without_mark(text: &str, split: &Split, row: &HeadRow, comment: Option<&str>) -> Vec<String> {
    let line = text.get(row.start..row.end).unwrap_or("");
    match comment.and_then(|mark| line.trim_start().strip_prefix(mark)) {
        Some(rest) => resplit(rest, &split.splitter),
        None => strip_comment(&row.cells),
    }
}

/// Several header lines, joined cell by cell with a blank.
fn join(lines: &[Vec<String>], width: usize) -> Vec<String> {
    (0..width)
        .map(|at| {
            let cells = lines
                .iter()
                .filter_map(|line| line.get(at))
                .map(String::as_str)
                .filter(|cell| !cell.is_empty());
            cells.collect::<Vec<_>>().join(" ")
        })
        .collect()
}

/// A row of units below the header, right above it, or in a comment far from it; and the row after header and units.
fn units_row(text: &str, split: &Split, heading: &Heading, data: &Pattern) -> (Vec<String>, usize) {
    let rows = &split.rows;
    let after = heading.last + 1;
    let next = (after..rows.len()).find(|at| !rows[*at].is_empty() && !rows[*at].is_rule());
    if let Some(at) = next.filter(|at| !data.fits(&rows[*at]) && holds_units(&rows[*at].cells, split.width)) {
        return (rows[at].cells.clone(), at + 1);
    }
    let first_data = (after..rows.len())
        .find(|at| data.fits(&rows[*at]))
        .unwrap_or(after);
    let others = (0..first_data).filter(|at| !(heading.first..=heading.last).contains(at));
    for at in others {
        for (own, cells) in variants(text, split, &rows[at]) {
            let near = at + 1 == heading.first;
            if (near || !own) && holds_units(&cells, split.width) {
                return (cells, after);
            }
        }
    }
    (Vec::new(), after)
}

/// True for cells of which at least one is a unit, and none a number or a sentence.
fn holds_units(cells: &[String], width: usize) -> bool {
    let known = cells.iter().filter(|cell| units::is_any(cell)).count();
    let wordy = cells.iter().filter(|cell| cell.len() > 28).count();
    let measured = cells
        .iter()
        .filter(|cell| kind(cell).is_measured() && cell.as_str() != "1")
        .count();
    let filled = cells.iter().filter(|cell| !is_missing(cell)).count();
    cells.len() <= width + 1 && known > 0 && known * 2 >= filled && wordy == 0 && measured == 0
}

/// First line of what stands below the table: after a gap, and nothing of it a row of the table.
fn end(rows: &[HeadRow], start: usize, data: &Pattern) -> Option<u64> {
    let last = (start..rows.len()).rev().find(|at| data.fits(&rows[*at]))?;
    let below = rows.get(last + 1)?;
    if !(below.is_empty() || below.is_rule()) {
        return None;
    }
    rows.get(last + 1..)?
        .iter()
        .find(|row| !row.is_empty() && !row.is_rule())
        .map(|row| row.line)
}

#[cfg(test)]
#[path = "header_tests.rs"]
mod tests;
