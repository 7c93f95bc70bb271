//! The case kit: an importer held against the cases of its folder and the usual bad files.
//!
//! A case is a folder below `cases`:
//!
//! | file | holds |
//! |---|---|
//! | `input.*` | the file to read; its name is the one the importer is told |
//! | `expected.csv` | its rows, with the columns of the formats, section 5, or those of them that matter |
//! | or `expected.txt` | the sentence with which it is refused, and the choices of a question |
//! | `note.md` | what the case shows, for whoever reads it in a year |
//! | `said.txt` | where wanted: the facts and problems that are told on the way |
//! | `layout.txt` | where wanted: options, one a line, such as `columns.value.from = "Light"` |
//!
//! In an importer's `tests` folder:
//!
//! ```
//! # use undim_sdk::{Failure, Importer, Input, Options, Out, Row};
//! # struct Ones;
//! # impl Importer for Ones {
//! #     const NAME: &'static str = "ones";
//! #     const VERSION: &'static str = "1";
//! #     const READS: &'static str = "nothing";
//! #     fn probe(_: &[u8], _: &str) -> u8 { 1 }
//! #     fn read(input: &mut Input, _: &Options, out: &mut Out) -> Result<(), Failure> {
//! #         for (row, line) in (1..).zip(input.read_to_limit(64 << 20)?.split(|byte| *byte == b'\n')) {
//! #             if line == b"1" { out.push(&Row { row, value: Some(1.0), ..Row::default() })?; }
//! #         }
//! #         Ok(())
//! #     }
//! # }
//! # let folder = std::env::temp_dir().join(format!("undim-sdk-cases-{}", std::process::id()));
//! # let case = folder.join("two");
//! # std::fs::create_dir_all(&case).unwrap();
//! # std::fs::write(case.join("input.txt"), "1\n1\n").unwrap();
//! # std::fs::write(case.join("expected.csv"), "row,value\n1,1\n2,1\n").unwrap();
//! # std::fs::write(case.join("note.md"), "Two readings.").unwrap();
//! // In a real importer: concat!(env!("CARGO_MANIFEST_DIR"), "/cases")
//! undim_sdk::cases::check::<Ones>(&folder).unwrap();
//! # std::fs::remove_dir_all(&folder).unwrap();
//! ```
//!
//! With `UPDATE_CASES=1` in the environment the expected files are written anew; look at every line of the difference
//! before you keep it. `undim importer cases` does the same through the worker, for importers in any language; there a
//! crash, a hang and a flood are seen too.

mod bad;
mod table;

pub use bad::{Bad, bad_files};
pub use table::{COLUMNS, cells, csv, time};

use crate::exported::PANICKED;
use crate::testing::{self, Outcome, Setting};
use crate::{Failure, Importer, OptionKind};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

/// What reads the files of the cases: an importer in this very process, or one behind undim's worker.
pub trait Reader {
    /// Reads a file. An error is a breach of the contract, as half a sentence.
    fn read(&mut self, file: &[u8], file_name: &str, settings: &[Setting]) -> Result<Outcome, String>;

    /// How surely the importer can read a file; errors as above.
    fn probe(&mut self, file: &[u8], file_name: &str) -> Result<u8, String>;

    /// Reads a bad file, of which only the end matters: how many rows it gave, or the sentence with which it was
    /// refused; errors as above.
    fn survive(&mut self, file: &[u8], file_name: &str) -> Result<Result<u64, Failure>, String> {
        let outcome = self.read(file, file_name, &[])?;
        breaches(&outcome)?;
        Ok(outcome.result.map(|()| outcome.rows.len() as u64))
    }
}

/// What came of one case or bad file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    /// The case's folder, or what is bad about the file.
    pub name: String,
    /// What came of it, as half a sentence.
    pub outcome: String,
    /// What is wrong; empty where all is well.
    pub wrong: Vec<String>,
}

/// What came of all.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Report {
    /// By name.
    pub cases: Vec<Checked>,
    /// In a fixed order.
    pub bad_files: Vec<Checked>,
}

impl Report {
    /// Everything that is wrong, each with the case's or file's name in front.
    pub fn wrong(&self) -> Vec<String> {
        let all = self.cases.iter().chain(&self.bad_files);
        all.flat_map(|checked| {
            let line = |wrong| format!("{}: {wrong}", checked.name);
            checked.wrong.iter().map(line)
        })
        .collect()
    }
}

/// Runs the cases of a folder and the usual bad files against an importer in this process. An error tells everything
/// that is wrong.
pub fn check<I: Importer>(folder: impl AsRef<Path>) -> Result<Report, String> {
    let update = std::env::var_os("UPDATE_CASES").is_some();
    let report = run(
        &mut InProcess::<I>(std::marker::PhantomData),
        folder.as_ref(),
        update,
    )?;
    let wrong = report.wrong();
    if wrong.is_empty() {
        Ok(report)
    } else {
        Err(wrong.join("\n\n"))
    }
}

struct InProcess<I>(std::marker::PhantomData<I>);

impl<I: Importer> Reader for InProcess<I> {
    fn read(&mut self, file: &[u8], file_name: &str, settings: &[Setting]) -> Result<Outcome, String> {
        Ok(testing::run::<I>(file, file_name, settings))
    }

    fn probe(&mut self, file: &[u8], file_name: &str) -> Result<u8, String> {
        Ok(testing::probe::<I>(file, file_name))
    }
}

/// Runs the cases of a folder and the usual bad files against any importer. With `update` the expected files are
/// written anew instead of compared. An error means that the folder can't be used.
pub fn run(reader: &mut dyn Reader, folder: &Path, update: bool) -> Result<Report, String> {
    let unreadable = |error: std::io::Error| format!("{} can't be read: {error}", folder.display());
    let mut folders: Vec<PathBuf> = fs::read_dir(folder)
        .map_err(unreadable)?
        .map(|entry| entry.map(|entry| entry.path()))
        .collect::<Result<_, _>>()
        .map_err(unreadable)?;
    folders.retain(|path| path.is_dir());
    folders.sort();
    let mut report = Report::default();
    let mut sample = None;
    for path in folders {
        let case = Case::open(&path)?;
        report.cases.push(case.check(reader, update)?);
        // The first case that is read as it stands is what the bad files are made of.
        if sample.is_none() && case.settings.is_empty() && case.path.join("expected.csv").exists() {
            sample = Some((case.input, case.file_name));
        }
    }
    let (good, file_name) = sample.unwrap_or_else(|| (Vec::new(), "input.txt".to_owned()));
    for bad in bad_files(&good) {
        let (outcome, wrong) = match reader.survive(&bad.file, &file_name) {
            Ok(Ok(rows)) => (format!("read, {}", counted(rows)), Vec::new()),
            Ok(Err(failure)) => match panicked(&failure) {
                Some(wrong) => (String::new(), vec![wrong]),
                None => (format!("refused: {failure}"), Vec::new()),
            },
            Err(wrong) => (String::new(), vec![wrong]),
        };
        report.bad_files.push(Checked {
            name: bad.name.to_owned(),
            outcome,
            wrong,
        });
    }
    Ok(report)
}

fn counted(rows: u64) -> String {
    match rows {
        1 => "1 row".to_owned(),
        rows => format!("{rows} rows"),
    }
}

/// One folder below `cases`.
struct Case {
    path: PathBuf,
    name: String,
    input: Vec<u8>,
    file_name: String,
    settings: Vec<(String, OptionKind, String)>,
}

impl Case {
    fn open(path: &Path) -> Result<Self, String> {
        let name = shown(path);
        let of_case = |what: &str| format!("the case {name} {what}");
        let entries = fs::read_dir(path).map_err(|error| of_case(&format!("can't be read: {error}")))?;
        let mut inputs: Vec<PathBuf> = entries
            .filter_map(Result::ok)
            .map(|entry| entry.path())
            .filter(|path| path.file_stem().is_some_and(|stem| stem == "input"))
            .collect();
        inputs.sort();
        let [input] = inputs.as_slice() else {
            return Err(of_case("needs exactly one file named input, such as input.txt"));
        };
        if !path.join("note.md").exists() {
            return Err(of_case("has no note.md; write what it shows into one"));
        }
        let layout = fs::read_to_string(path.join("layout.txt")).unwrap_or_default();
        let settings = layout
            .lines()
            .filter(|line| !line.trim().is_empty())
            .map(|line| {
                setting(line).ok_or_else(|| {
                    of_case(&format!(
                        "has a layout.txt whose line “{line}” is not of the form path = value"
                    ))
                })
            })
            .collect::<Result<_, _>>()?;
        Ok(Self {
            path: path.to_owned(),
            input: fs::read(input)
                .map_err(|error| of_case(&format!("has an input that can't be read: {error}")))?,
            file_name: shown(input),
            name,
            settings,
        })
    }

    fn check(&self, reader: &mut dyn Reader, update: bool) -> Result<Checked, String> {
        let settings: Vec<Setting> = self
            .settings
            .iter()
            .map(|(path, kind, text)| (path.as_str(), *kind, text.as_str()))
            .collect();
        let mut checked = Checked {
            name: self.name.clone(),
            outcome: String::new(),
            wrong: Vec::new(),
        };
        let outcome = match reader.read(&self.input, &self.file_name, &settings) {
            Ok(outcome) => outcome,
            Err(breach) => {
                checked.wrong.push(breach);
                return Ok(checked);
            }
        };
        checked.outcome = match &outcome.result {
            Ok(()) => counted(outcome.rows.len() as u64),
            Err(failure) => format!("refused: {failure}"),
        };
        checked.wrong.extend(breaches(&outcome).err());
        match reader.read(&self.input, &self.file_name, &settings) {
            Ok(again) if again == outcome => {}
            Ok(_) => checked.wrong.push(
                "read twice, it gave different things; the same bytes must give the same rows".to_owned(),
            ),
            Err(breach) => checked.wrong.push(breach),
        }
        match reader.probe(&self.input, &self.file_name) {
            Err(breach) => checked.wrong.push(breach),
            Ok(sure) => checked.outcome += &format!(", {sure} % sure"),
        }
        self.compare(&outcome, update, &mut checked.wrong)?;
        Ok(checked)
    }

    fn compare(&self, outcome: &Outcome, update: bool, wrong: &mut Vec<String>) -> Result<(), String> {
        let (made, other) = match &outcome.result {
            Ok(()) => ("expected.csv", "expected.txt"),
            Err(_) => ("expected.txt", "expected.csv"),
        };
        if update {
            let text = match &outcome.result {
                Ok(()) => csv(&outcome.rows),
                Err(failure) => self.refusal(failure),
            };
            self.write(made, &text)?;
            if self.path.join(other).exists() {
                fs::remove_file(self.path.join(other)).map_err(|error| error.to_string())?;
            }
            if self.path.join("said.txt").exists() {
                self.write("said.txt", &said(outcome))?;
            }
            return Ok(());
        }
        let text = |file: &str| fs::read_to_string(self.path.join(file)).ok();
        match (text("expected.csv"), text("expected.txt")) {
            (None, None) => wrong.push("there is neither expected.csv nor expected.txt".to_owned()),
            (Some(_), Some(_)) => wrong.push("keep one of expected.csv and expected.txt".to_owned()),
            (Some(rows), None) => match &outcome.result {
                Ok(()) => wrong.extend(rows_differ(&rows, outcome)),
                Err(failure) => wrong.push(format!("rows were expected, but it was refused: {failure}")),
            },
            (None, Some(sentence)) => match &outcome.result {
                Ok(()) => wrong.push(format!(
                    "a refusal was expected, but it was read, {}",
                    counted(outcome.rows.len() as u64)
                )),
                Err(failure) => wrong.extend(differ("expected.txt", &sentence, &self.refusal(failure))),
            },
        }
        if let Some(expected) = text("said.txt") {
            wrong.extend(differ("said.txt", &expected, &said(outcome)));
        }
        Ok(())
    }

    fn write(&self, file: &str, text: &str) -> Result<(), String> {
        let path = self.path.join(file);
        fs::write(&path, text).map_err(|error| format!("{} can't be written: {error}", path.display()))
    }

    /// A refusal as `expected.txt` has it.
    fn refusal(&self, failure: &Failure) -> String {
        let option = failure
            .option_index()
            .map(|index| match self.settings.get(index as usize) {
                Some((path, ..)) => format!("option {path}"),
                None => format!("option {index}"),
            });
        let text = failure.text();
        let mut text = match (failure.place(), option) {
            (Some((line, column)), _) => format!("line {line}, column {column}: {text}\n"),
            (None, Some(option)) => format!("{option}: {text}\n"),
            (None, None) => format!("question: {text}\n"),
        };
        for choice in failure.choices() {
            // Writing to a String can't fail.
            let _ = writeln!(text, "  {choice}");
        }
        text
    }
}

fn shown(path: &Path) -> String {
    path.file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default()
}

/// A line of `layout.txt`: a path, ` = `, and a value as TOML writes it.
fn setting(line: &str) -> Option<(String, OptionKind, String)> {
    let (path, value) = line.trim_end().split_once(" = ")?;
    let inner = ['"', '\''].iter().find_map(|quote| {
        value
            .strip_prefix(*quote)
            .and_then(|rest| rest.strip_suffix(*quote))
    });
    let kind = match (inner, value) {
        (Some(_), _) => OptionKind::Text,
        (None, "true" | "false") => OptionKind::Boolean,
        (None, "[]" | "{}") => OptionKind::Empty,
        (None, value) if value.parse::<i64>().is_ok() => OptionKind::Integer,
        (None, value) if value.parse::<f64>().is_ok() => OptionKind::Float,
        (None, _) => OptionKind::Date,
    };
    let text = match (inner, kind) {
        (Some(text), _) => text,
        (None, OptionKind::Empty) => "",
        (None, _) => value,
    };
    Some((path.to_owned(), kind, text.to_owned()))
}

/// What an outcome breaks of the contract (`plugins/README.md`), as far as it shows in what was given.
fn breaches(outcome: &Outcome) -> Result<(), String> {
    if let Err(failure) = &outcome.result
        && let Some(panic) = panicked(failure)
    {
        return Err(panic);
    }
    let mut before = 1;
    for row in &outcome.rows {
        if row.row < before {
            return Err(format!(
                "a row of line {} comes after one of line {before}; rows count from 1 and come in the file's order",
                row.row
            ));
        }
        before = row.row;
        let texts = [
            ("unit", &row.unit, 64),
            ("station", &row.station, 256),
            ("device", &row.device, 256),
        ];
        for (name, text, limit) in texts {
            if text.as_ref().is_some_and(|text| text.len() > limit) {
                return Err(format!(
                    "row {}: its {name} is longer than {limit} bytes",
                    row.row
                ));
            }
        }
    }
    Ok(())
}

fn panicked(failure: &Failure) -> Option<String> {
    failure.text().starts_with(PANICKED).then(|| failure.to_string())
}

/// Facts and problems as `said.txt` has them.
fn said(outcome: &Outcome) -> String {
    let mut text = String::new();
    for fact in &outcome.facts {
        let how = if fact.assumed { "assumed" } else { "found" };
        // Writing to a String can't fail.
        let _ = writeln!(text, "{how} {} = {}", fact.key, fact.value);
    }
    for problem in &outcome.problems {
        let _ = writeln!(
            text,
            "line {}, column {}: {}",
            problem.line, problem.column, problem.text
        );
    }
    text
}

/// The rows that are not as expected, in the columns that the expected file has.
fn rows_differ(expected: &str, outcome: &Outcome) -> Vec<String> {
    let mut records = table::records(expected).into_iter();
    let names = records.next().unwrap_or_default();
    let columns: Option<Vec<usize>> = names
        .iter()
        .map(|name| COLUMNS.iter().position(|known| known == name))
        .collect();
    let Some(columns) = columns.filter(|columns| !columns.is_empty()) else {
        return vec![format!(
            "expected.csv has the columns {}; it should have some of {}",
            names.join(", "),
            COLUMNS.join(", ")
        )];
    };
    let made: Vec<Vec<String>> = outcome
        .rows
        .iter()
        .map(|row| {
            let cells = cells(row);
            columns.iter().map(|at| cells[*at].clone()).collect()
        })
        .collect();
    let expected: Vec<Vec<String>> = records.collect();
    let mut wrong: Vec<String> = std::iter::zip(2.., std::iter::zip(&expected, &made))
        .filter(|(_, (expected, made))| expected != made)
        .take(10)
        .map(|(line, (expected, made))| {
            format!(
                "expected.csv, line {line}: expected {}, got {}",
                expected.join(","),
                made.join(",")
            )
        })
        .collect();
    if expected.len() != made.len() {
        wrong.push(format!(
            "{} rows were expected, {} came",
            expected.len(),
            made.len()
        ));
    }
    wrong
}

fn differ(file: &str, expected: &str, made: &str) -> Option<String> {
    (expected.trim_end() != made.trim_end()).then(|| {
        format!(
            "{file}: expected\n{}\ngot\n{}",
            expected.trim_end(),
            made.trim_end()
        )
    })
}
