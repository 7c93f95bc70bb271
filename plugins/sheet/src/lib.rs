//! Reads spreadsheets: xlsx, xls and ods.
//!
//! 1. `check` looks at the book before it is opened: what unpacks without end is refused.
//! 2. `book` opens it and hands over cell by cell; formulas count with the result that the book holds.
//! 3. The sheet is chosen, or asked for; hidden ones are passed over unless the layout names them.
//! 4. `grid` puts the sheet into lines of cells, line 1 being row 1; what they are is found out by `undim-tabular`.

mod book;
mod check;
mod grid;

use book::{Book, Sheet};
use grid::Grid;
use undim_sdk::{Failure, Importer, Input, Options, Out};
use undim_tabular::{Fact, Kind, Layout, try_plan};

/// Largest book, bytes.
const LARGEST: usize = 64 << 20;

/// The importer of spreadsheets.
#[derive(Debug)]
pub struct SheetImporter;

impl Importer for SheetImporter {
    const NAME: &'static str = "sheet";
    const VERSION: &'static str = env!("CARGO_PKG_VERSION");
    const READS: &'static str = "spreadsheets: xlsx, xls, ods";

    fn probe(start: &[u8], file_name: &str) -> u8 {
        let name = file_name.to_ascii_lowercase();
        let by_name = [".xlsx", ".xlsm", ".xls", ".ods"]
            .iter()
            .any(|end| name.ends_with(end));
        let holds = |mark: &[u8]| start.windows(mark.len()).any(|window| window == mark);
        let is_book = if start.starts_with(b"PK\x03\x04") {
            holds(b"xl/") || holds(b"[Content_Types].xml") || holds(b"opendocument.spreadsheet")
        } else {
            start.starts_with(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")
                && (by_name || holds(b"W\0o\0r\0k\0b\0o\0o\0k\0"))
        };
        match (is_book, by_name) {
            (true, true) => 95,
            (true, false) => 85,
            (false, true) if start.starts_with(b"PK") => 30,
            _ => 0,
        }
    }

    fn read(input: &mut Input, options: &Options, out: &mut Out) -> Result<(), Failure> {
        read(input, options, out)
    }
}

undim_sdk::export!(SheetImporter);

fn read(input: &mut Input, options: &Options, out: &mut Out) -> Result<(), Failure> {
    let mut layout = Layout::new(options, Kind::Sheet)?;
    let bytes = input.read_to_limit(LARGEST)?;
    if bytes.is_empty() {
        return Err(Failure::unusable(0, 0, "the file is empty"));
    }
    let kind = check::check(&bytes)?;
    let mut book = Book::open(&bytes, kind)?;
    if book.counts_from_1904() {
        layout.count_days_from_1904();
    }
    let sheets = book.sheets();
    let (sheet, mut grid) = choose(&mut book, &sheets, &layout)?;
    grid.facts.push(Fact {
        key: "sheet".to_owned(),
        value: sheet,
        assumed: layout.part().is_none() && sheets.len() > 1,
    });
    if layout.part().is_none() {
        for sheet in sheets.iter().filter(|sheet| sheet.is_hidden && sheet.is_table) {
            let text = format!("the sheet \"{}\" is hidden and was passed over", sheet.name);
            out.problem(0, 0, &text);
        }
    }
    for (row, column, text) in std::mem::take(&mut grid.problems) {
        out.problem(row, column, &text);
    }
    let blamed = grid.blame_formulas();
    let result = undim_tabular::read(&mut grid, &layout, out);
    match (result, blamed) {
        (Err(failure), Some(blamed)) if failure.option_index().is_none() && failure != blamed => {
            Err(if failure.place().is_some() || !failure.choices().is_empty() {
                blamed
            } else {
                failure
            })
        }
        (result, _) => result,
    }
}

/// The sheet that holds the readings.
fn choose(book: &mut Book, sheets: &[Sheet], layout: &Layout) -> Result<(String, Grid), Failure> {
    if let Some((wanted, index)) = layout.part() {
        let named = sheets.iter().find(|sheet| sheet.name.trim() == wanted);
        let numbered = wanted
            .parse::<usize>()
            .ok()
            .and_then(|number| sheets.get(number.checked_sub(1)?));
        let Some(sheet) = named.or(numbered) else {
            let all: Vec<String> = sheets.iter().map(|sheet| quoted(&sheet.name)).collect();
            let text = format!("the book has no such sheet; it has {}", all.join(", "));
            return Err(Failure::option(index, text));
        };
        let grid = Grid::read(book, &sheet.name)?;
        if grid.filled == 0 {
            return Err(Failure::option(index, "this sheet is empty"));
        }
        return Ok((sheet.name.clone(), grid));
    }
    // Read one after another and kept only while it may be the one: a book may have many.
    let mut best: Vec<(u8, String, Grid)> = Vec::new();
    let mut filled = 0;
    for sheet in sheets.iter().filter(|sheet| !sheet.is_hidden && sheet.is_table) {
        let grid = Grid::read(book, &sheet.name)?;
        if grid.filled == 0 {
            continue;
        }
        filled += 1;
        let rank = rank(&grid, layout);
        if best.first().is_some_and(|(known, _, _)| *known < rank) {
            best.clear();
        }
        if best.first().is_none_or(|(known, _, _)| *known == rank) {
            // Of several as likely only the names are needed, for the question.
            let grid = if best.is_empty() { grid } else { Grid::default() };
            best.push((rank, sheet.name.clone(), grid));
        }
    }
    if best.len() > 1 {
        let names: Vec<&str> = best.iter().map(|(_, name, _)| name.as_str()).collect();
        let all: Vec<String> = names.iter().map(|name| quoted(name)).collect();
        let what = if best.first().is_some_and(|(rank, _, _)| *rank == 2) {
            "may hold the readings"
        } else {
            "hold cells"
        };
        let text = format!("{} sheets {what}: {}; which is it?", names.len(), all.join(", "));
        return Err(Failure::question(
            text,
            names.iter().map(|name| format!("sheet = {}", quoted(name))),
        ));
    }
    match best.pop() {
        Some((_, name, grid)) => Ok((name, grid)),
        None => {
            let hidden: Vec<String> = sheets
                .iter()
                .filter(|sheet| sheet.is_hidden)
                .map(|sheet| quoted(&sheet.name))
                .collect();
            let text = if hidden.is_empty() || filled > 0 {
                "the book holds no cells".to_owned()
            } else {
                format!(
                    "no sheet that is shown holds cells; hidden: {}. Name one with `sheet` in a layout",
                    hidden.join(", ")
                )
            };
            Err(Failure::unusable(0, 0, text))
        }
    }
}

/// How likely a sheet holds the readings: 2 where they are found, 1 where something is to be asked about them.
fn rank(grid: &Grid, layout: &Layout) -> u8 {
    match try_plan(grid.whole_text(), true, layout) {
        Ok(()) => 2,
        Err(failure) if !failure.choices().is_empty() => 1,
        Err(_) => 0,
    }
}

/// A name as a layout writes it.
fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('\\', "\\\\").replace('"', "\\\""))
}
