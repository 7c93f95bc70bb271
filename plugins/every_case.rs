//! Runs every folder of an importer's `cases`: an input, what must come of it, and a note on what it shows.
//!
//! `input.*` is the file; `layout.txt`, where there is one, holds options, one a line, as `path = value` with the value
//! written as in TOML. Either `expected.csv` holds the rows (the columns of the formats, section 5) or `expected.txt`
//! the sentence with which the file is refused and, below it, the choices of a question. `said.txt` holds the facts and
//! problems told on the way. With `UPDATE_CASES=1` in the environment the expected files are written anew; look at every
//! line of the difference before keeping it.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use undim_sdk::testing::{Outcome, OwnedRow, run};
use undim_sdk::{Importer, OptionKind, Time};

/// Runs the cases of the crate that is tested, at least so many.
pub(crate) fn run_all<I: Importer>(least: usize) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("cases");
    let mut cases: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    cases.sort();
    assert!(cases.len() >= least, "{} cases", cases.len());
    let update = std::env::var_os("UPDATE_CASES").is_some();
    let wrong: Vec<String> = cases.iter().flat_map(|case| check::<I>(case, update)).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

fn check<I: Importer>(case: &Path, update: bool) -> Vec<String> {
    let name = case.file_name().unwrap().to_string_lossy().into_owned();
    assert!(case.join("note.md").exists(), "{name} has no note.md");
    let input = std::fs::read_dir(case)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.file_stem().is_some_and(|stem| stem == "input"))
        .unwrap_or_else(|| panic!("{name} has no input"));
    let options = std::fs::read_to_string(case.join("layout.txt")).unwrap_or_default();
    let options: Vec<(&str, OptionKind, &str)> = options
        .lines()
        .filter(|line| !line.is_empty())
        .map(option)
        .collect();
    let outcome = run::<I>(
        &std::fs::read(&input).unwrap(),
        &input.file_name().unwrap().to_string_lossy(),
        &options,
    );
    let (made, other, text) = match &outcome.result {
        Ok(()) => ("expected.csv", "expected.txt", rows(&outcome.rows)),
        Err(_) => ("expected.txt", "expected.csv", refusal(&outcome, &options)),
    };
    let mut wrong = Vec::new();
    for (file, text) in [(made, text), ("said.txt", said(&outcome))] {
        let path = case.join(file);
        let expected = std::fs::read_to_string(&path).unwrap_or_default();
        if expected != text && update {
            std::fs::write(&path, text).unwrap();
        } else if expected != text {
            wrong.push(format!("{name}/{file}: expected\n{expected}\ngot\n{text}"));
        }
    }
    if case.join(other).exists() {
        if update {
            std::fs::remove_file(case.join(other)).unwrap();
        } else {
            wrong.push(format!("{name}: {other} was expected, but {made} came of it"));
        }
    }
    wrong
}

fn option(line: &str) -> (&str, OptionKind, &str) {
    let (path, value) = line.split_once(" = ").unwrap();
    if let Some(text) = value
        .strip_prefix(['"', '\''])
        .and_then(|rest| rest.strip_suffix(['"', '\'']))
    {
        (path, OptionKind::Text, text)
    } else if value == "true" || value == "false" {
        (path, OptionKind::Boolean, value)
    } else if value.parse::<i64>().is_ok() {
        (path, OptionKind::Integer, value)
    } else if value.parse::<f64>().is_ok() {
        (path, OptionKind::Float, value)
    } else {
        (path, OptionKind::Date, value)
    }
}

fn refusal(outcome: &Outcome, options: &[(&str, OptionKind, &str)]) -> String {
    let failure = outcome.result.as_ref().unwrap_err();
    let mut text = match (failure.place(), failure.option_index()) {
        (Some((line, column)), _) => format!("line {line}, column {column}: {}\n", failure.text()),
        (None, Some(index)) => format!("option {}: {}\n", options[index as usize].0, failure.text()),
        (None, None) => format!("question: {}\n", failure.text()),
    };
    for choice in failure.choices() {
        writeln!(text, "  {choice}").unwrap();
    }
    text
}

fn said(outcome: &Outcome) -> String {
    let mut text = String::new();
    for fact in &outcome.facts {
        writeln!(
            text,
            "{} {} = {}",
            if fact.assumed { "assumed" } else { "found" },
            fact.key,
            fact.value
        )
        .unwrap();
    }
    for problem in &outcome.problems {
        writeln!(
            text,
            "line {}, column {}: {}",
            problem.line, problem.column, problem.text
        )
        .unwrap();
    }
    text
}

fn rows(rows: &[OwnedRow]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer
        .write_record([
            "row",
            "time",
            "value",
            "unit",
            "x",
            "y",
            "z",
            "station",
            "device",
            "tilt",
            "temperature",
            "remark",
        ])
        .unwrap();
    let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
    let text = |value: &Option<String>| value.clone().unwrap_or_default();
    for row in rows {
        let time = match row.time {
            None => String::new(),
            Some(Time::Instant(micros)) => jiff::Timestamp::from_microsecond(micros).unwrap().to_string(),
            Some(Time::Wall(micros)) => {
                let utc = jiff::Timestamp::from_microsecond(micros)
                    .unwrap()
                    .to_zoned_datetime(jiff::tz::TimeZone::UTC);
                utc.datetime().to_string()
            }
        };
        writer
            .write_record([
                row.row.to_string(),
                time,
                number(row.value),
                text(&row.unit),
                number(row.x),
                number(row.y),
                number(row.z),
                text(&row.station),
                text(&row.device),
                number(row.tilt_deg),
                number(row.temperature_c),
                text(&row.remark),
            ])
            .unwrap();
    }
    String::from_utf8(writer.into_inner().unwrap()).unwrap()
}
