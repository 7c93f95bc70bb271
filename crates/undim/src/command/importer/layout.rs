//! `undim importer layout FILE`: a layout that reads the file as it is read now, ready to edit.
//!
//! An importer that takes the option `explain` tells each value of such a layout as a fact `layout.<path>`
//! (`plugins/README.md`, Saying).

use super::{Bench, look as looking, say};
use crate::cli::{Common, ImporterLayout};
use crate::engine::{Cancel, Readers};
use crate::exit::Exit;
use crate::look::{self, Chosen, Failure, LookFile, Reading};
use serde::Serialize;
use std::fmt::Write as _;
use undim_emit::text_cell::shown;
use undim_import::run::{ImportOption, OptionKind};

/// What a fact of a layout begins with.
const LAYOUT: &str = "layout.";

/// What each value means, where its name doesn't say so.
const MEANINGS: &[(&str, &str)] = &[
    ("delimiter", "between cells; or \"tab\", \"blanks\""),
    ("quote", "around cells that hold the delimiter"),
    ("decimal", "in numbers"),
    ("skip", "lines before the header"),
    ("timezone", "of times without an offset"),
    (
        "columns.time.format",
        "strftime letters; or \"unix\", \"unix-ms\"",
    ),
    ("columns.value.unit", "a UCUM code"),
];

/// What may be added, where the file told nothing of it.
const ADDITIONS: &[(&str, &str)] = &[
    (
        "timezone",
        "timezone = \"Europe/Lisbon\"  # of times without an offset; else the site's",
    ),
    (
        "missing",
        "missing = [\"\", \"NA\", \"-999\"]  # what stands for a missing value",
    ),
    ("skip_end", "skip_end = 1  # lines below the table"),
    (
        "columns.value.unit",
        "columns.value.unit = \"umol.m-2.s-1\"  # else the device's",
    ),
    (
        "columns.station.from",
        "columns.station.from = \"HEADER\"  # the place's name",
    ),
    (
        "columns.x.from",
        "columns.x = { from = \"HEADER\", unit = \"cm\" }  # the same for y and z",
    ),
    ("columns.remark.from", "columns.remark.from = \"HEADER\""),
];

#[derive(Serialize)]
struct Laid<'a> {
    importer: &'a str,
    layout: String,
}

pub(super) fn run(common: &Common, flags: &ImporterLayout, cancel: &Cancel) -> Result<Exit, Exit> {
    let file = LookFile::open(&flags.file).map_err(|why| {
        say::error(&format!("undim: {why}"));
        Exit::Usage
    })?;
    let bench = Bench::new(common, cancel)?;
    let explain = [ImportOption {
        path: "explain".to_owned(),
        kind: OptionKind::Boolean,
        text: "true".to_owned(),
    }];
    let chosen = Chosen {
        readers: Readers::Surest(&bench.findings.importers),
        options: &explain,
        layout: None,
    };
    let read = look::read_by(&bench.worker, chosen, &file, None, cancel);
    let reading = match read {
        Ok(reading) => reading,
        Err(Failure::Layout { .. }) => {
            say::error(
                "undim: the importer that reads this file takes no layout; `undim importer try` tells which one it is",
            );
            return Err(Exit::Remarks);
        }
        Err(failure) => {
            looking::tell_failure(common, &flags.file, None, None, &failure, say::error);
            return Err(looking::exit_of(&failure));
        }
    };
    let Some(layout) = layout(&file.name, &reading) else {
        say::error(&format!(
            "undim: the importer {} reads this file and tells no layout",
            shown(&reading.imported.importer)
        ));
        return Err(Exit::Remarks);
    };
    if common.json {
        say::json(&Laid {
            importer: &reading.imported.importer,
            layout,
        });
    } else {
        say::line(layout.trim_end());
    }
    Ok(Exit::Done)
}

/// One value of the layout.
struct Value<'a> {
    path: &'a str,
    text: &'a str,
    assumed: bool,
}

fn layout(name: &str, reading: &Reading) -> Option<String> {
    let values: Vec<Value> = reading
        .imported
        .facts
        .iter()
        .filter_map(|(key, text, assumed)| {
            Some(Value {
                path: key.strip_prefix(LAYOUT)?,
                text,
                assumed: *assumed,
            })
        })
        .collect();
    if values.is_empty() {
        return None;
    }
    let mut out = String::new();
    // Writing to a String can't fail.
    let _ = writeln!(
        out,
        "# How to read files such as {} (config/README.md, section 9).",
        shown(name)
    );
    out.push_str(
        "# What is left out is found out again for each file, and said. Save it as layouts/NAME.toml, and\n",
    );
    out.push_str("# name it in a route or a note: layout = \"NAME\".\n\n");
    let is_column = |value: &&Value| value.path.starts_with("columns.");
    for value in values.iter().filter(|value| !is_column(value)) {
        line(&mut out, value);
    }
    out.push_str("\n# Where each column of a reading comes from: a header's text, or a column's number.\n");
    for value in values.iter().filter(is_column) {
        line(&mut out, value);
    }
    if let Some(unused) = reading.imported.fact("unused") {
        let _ = writeln!(out, "\n# Nothing is read from {}.", shown(unused));
    }
    out.push_str("\n# If the file calls for it (take the # away):\n");
    let is_told = |path: &str| values.iter().any(|value| value.path == path);
    for (_, addition) in ADDITIONS.iter().filter(|(path, _)| !is_told(path)) {
        let _ = writeln!(out, "# {addition}");
    }
    Some(out)
}

fn line(out: &mut String, value: &Value) {
    let meaning = MEANINGS
        .iter()
        .find(|(path, _)| *path == value.path)
        .map(|(_, meaning)| *meaning);
    let how = if value.assumed {
        "assumed"
    } else {
        "stated by the file"
    };
    // A proposal that would not read every cell.
    if let Some(path) = value.path.strip_suffix('?') {
        let _ = writeln!(
            out,
            "# {path} = {}  # where every cell is written so; found out otherwise",
            value.text
        );
        return;
    }
    let comment = match meaning {
        Some(meaning) => format!("{meaning}; {how}"),
        None => how.to_owned(),
    };
    let _ = writeln!(out, "{} = {}  # {comment}", value.path, value.text);
}
