//! The answer for people: details first, then the question whose answer would help most.

use super::assumed::assumptions;
use super::plan::plan;
use super::question::best;
use super::rows::{COLUMNS, cells};
use super::{Reading, SHOWN_ROWS, Surveys};
use undim_config::Timezone;
use undim_emit::terminal::{self, Screen};
use undim_emit::text_cell::shown;
use undim_emit::{Report, words};
use undim_model::ImportedRow;

/// More surveys than this are told in a line each, all but the newest.
const WITH_TABLE: usize = 3;
/// Problems that are listed.
const LISTED_PROBLEMS: usize = 10;
/// Characters of a cell that are shown.
const WIDEST_CELL: usize = 24;

/// What is said about a file that was read; `surveys` is a sentence where its rows make none.
pub(crate) fn show(
    name: &str,
    reading: &Reading,
    surveys: Result<&Surveys<'_>, &str>,
    timezone: &Timezone,
    screen: &Screen,
) -> String {
    let mut out = begun(name, reading, screen);
    out.rows(reading);
    out.assumed(reading, surveys.ok(), timezone);
    out.problems(reading);
    match surveys {
        Ok(surveys) => out.surveys(surveys),
        Err(why) => out.text(&format!("Its readings could not be put together: {why}.")),
    }
    let question = best(reading.told);
    out.blank();
    out.text(&format!("The answer that would help most: {}", question.text));
    for choice in question.choices {
        out.item(choice);
    }
    out.text(question.then);
    out.text
}

/// What an importer made of a file, without what undim makes of it; times as `time` writes them.
pub(crate) fn show_reading(
    name: &str,
    reading: &Reading,
    timezone: &Timezone,
    time: &dyn Fn(&ImportedRow) -> String,
    screen: &Screen,
) -> String {
    let mut out = begun(name, reading, screen);
    out.rows_with(reading, &|row| {
        let mut cells = cells_shown(row);
        cells[1] = time(row);
        cells
    });
    out.assumed(reading, None, timezone);
    out.problems(reading);
    out.text
}

/// Who read it, and how many readings there are.
fn begun<'s>(name: &str, reading: &Reading, screen: &'s Screen) -> Lines<'s> {
    let mut out = Lines {
        screen,
        text: String::new(),
    };
    let imported = &reading.imported;
    let count = match imported.rows {
        1 => "1 reading".to_owned(),
        rows => format!("{rows} readings"),
    };
    out.text(&format!(
        "{name}: {count}, read by the importer {} {}.",
        shown(&imported.importer),
        shown(&imported.version)
    ));
    out.blank();
    out
}

struct Lines<'s> {
    screen: &'s Screen,
    text: String,
}

impl Lines<'_> {
    fn line(&mut self, line: &str) {
        self.text += line.trim_end();
        self.text.push('\n');
    }

    fn blank(&mut self) {
        self.text.push('\n');
    }

    fn text(&mut self, text: &str) {
        let wrapped = self.screen.wrapped(text, "", "  ");
        self.line(&wrapped);
    }

    fn item(&mut self, text: &str) {
        let wrapped = self.screen.wrapped(text, "  - ", "    ");
        self.line(&wrapped);
    }

    /// The first rows and the last one, in the columns that any of them fills.
    fn rows(&mut self, reading: &Reading) {
        self.rows_with(reading, &cells_shown);
    }

    fn rows_with(&mut self, reading: &Reading, cells_shown: &dyn Fn(&ImportedRow) -> [String; 12]) {
        let count = reading.imported.rows;
        let mut rows: Vec<[String; 12]> = reading.first.iter().map(cells_shown).collect();
        let is_cut = count > SHOWN_ROWS as u64;
        if is_cut {
            rows.extend(reading.last.as_ref().map(cells_shown));
        }
        let screen = self.screen;
        let wide: Vec<(usize, usize)> = (0..COLUMNS.len())
            .filter(|column| rows.iter().any(|row| !row[*column].is_empty()))
            .map(|column| {
                let cells = rows
                    .iter()
                    .map(|row| terminal::columns(&screen.text(&row[column])));
                let width = cells.max().unwrap_or(0).max(heading(column).len());
                (column, width)
            })
            .collect();
        let joined = |cell: &dyn Fn(usize) -> String| {
            let parts = wide.iter().map(|(column, width)| {
                let text = screen.text(&cell(*column));
                let blanks = " ".repeat(width.saturating_sub(terminal::columns(&text)));
                if is_number(*column) {
                    blanks + &text
                } else {
                    text + &blanks
                }
            });
            screen.fit(parts.collect::<Vec<_>>().join("  ").trim_end(), screen.width)
        };
        self.line(&joined(&|column| heading(column).to_owned()));
        for (number, row) in rows.iter().enumerate() {
            if is_cut && number == SHOWN_ROWS {
                self.line(&screen.text("…"));
            }
            self.line(&joined(&|column| row[column].clone()));
        }
        self.blank();
    }

    fn assumed(&mut self, reading: &Reading, surveys: Option<&Surveys<'_>>, timezone: &Timezone) {
        let of_surveys = surveys
            .into_iter()
            .flat_map(Surveys::reports)
            .map(|report| report.survey);
        let found = assumptions(reading, timezone, of_surveys);
        for (head, sentences) in [("Stated:", found.stated), ("Assumed:", found.assumed)] {
            if sentences.is_empty() {
                continue;
            }
            self.line(head);
            for sentence in sentences {
                self.item(&sentence);
            }
        }
        self.blank();
    }

    fn problems(&mut self, reading: &Reading) {
        let problems = &reading.imported.problems;
        if problems.is_empty() {
            return;
        }
        self.line("Could not be read as it stands:");
        for (line, column, text) in problems.iter().take(LISTED_PROBLEMS) {
            self.item(&format!("{}{}", place(*line, *column), shown(text)));
        }
        let more = (problems.len().saturating_sub(LISTED_PROBLEMS)) as u64 + reading.imported.more_problems;
        if more > 0 {
            self.item(&format!("and {more} more"));
        }
        self.blank();
    }

    /// The tables of the newest surveys, the others in a line each; the plan of the newest.
    fn surveys(&mut self, surveys: &Surveys<'_>) {
        let reports: Vec<Report<'_>> = surveys.reports().collect();
        let (short, long) = reports.split_at(reports.len().saturating_sub(WITH_TABLE));
        if surveys.left_out > 0 {
            self.text(&format!(
                "It holds {} surveys; these are the first and the newest.",
                reports.len() + surveys.left_out
            ));
        }
        for report in short {
            self.line(&terminal::brief(report, self.screen));
        }
        if !short.is_empty() {
            self.blank();
        }
        for report in long {
            self.line(&terminal::title(report, self.screen));
            self.line(&terminal::table(report, self.screen));
            if reports.len() > 1 {
                self.text(&words::headline(report).sentence);
            }
            self.blank();
        }
        let Some(newest) = reports.last() else { return };
        if let Some(drawing) = plan(&newest.survey.stations, self.screen) {
            for line in drawing.lines() {
                let line = if line.starts_with(char::is_alphabetic) {
                    self.screen.wrapped(line, "", "  ")
                } else {
                    line.to_owned()
                };
                self.line(&line);
            }
            self.blank();
        }
        if !newest.survey.tied_to_reference {
            self.text(words::NOT_TIED);
        }
    }
}

/// `line 3, column 2: `, as far as known.
pub(crate) fn place(line: u64, column: u32) -> String {
    match (line, column) {
        (0, _) => String::new(),
        (line, 0) => format!("line {line}: "),
        (line, column) => format!("line {line}, column {column}: "),
    }
}

/// The first column is called for what it is.
fn heading(column: usize) -> &'static str {
    match COLUMNS.get(column) {
        Some(&"row") => "line",
        Some(name) => name,
        None => "",
    }
}

fn is_number(column: usize) -> bool {
    matches!(column, 0 | 2 | 4..=6 | 9 | 10)
}

fn cells_shown(row: &ImportedRow) -> [String; 12] {
    cells(row).map(|cell| {
        let cell = shown(&cell);
        match cell.char_indices().nth(WIDEST_CELL) {
            Some((end, _)) => format!("{}…", &cell[..end]),
            None => cell.into_owned(),
        }
    })
}
