//! Others that read the same columns: the csv crate, and well-known Python libraries where they are installed.

use crate::Result;
use crate::process::{Usage, run};
use jiff::fmt::temporal::DateTimeParser;
use std::hint::black_box;
use std::path::Path;
use std::process::{Command, Stdio};

/// The word that makes this program the csv crate's run.
pub(crate) const CSV_CRATE: &str = "csv-crate";

/// What the script can do.
pub(crate) const PYTHON: [&str; 3] = ["pandas", "polars", "duckdb"];

const SCRIPT: &str = include_str!("../peers.py");

/// Reads the time and the light of every row, as instants and numbers, and keeps nothing.
pub(crate) fn csv_crate(file: &Path) -> Result<()> {
    let failed = |error: csv::Error| format!("{}: {error}", file.display());
    let mut reader = csv::Reader::from_path(file).map_err(failed)?;
    let header = reader.byte_headers().map_err(failed)?;
    let column = |names: [&[u8]; 2]| header.iter().position(|cell| names.contains(&cell));
    let (Some(time), Some(value)) = (column([b"timestamp", b"time"]), column([b"par", b"PPFD"])) else {
        return Err(format!("{} has no columns of time and light", file.display()));
    };
    let parser = DateTimeParser::new();
    let mut record = csv::ByteRecord::new();
    let (mut rows, mut sum) = (0_u64, 0.0);
    while reader.read_byte_record(&mut record).map_err(failed)? {
        let time = record
            .get(time)
            .and_then(|cell| parser.parse_timestamp(cell).ok());
        let value = record
            .get(value)
            .and_then(|cell| std::str::from_utf8(cell).ok()?.parse::<f64>().ok());
        rows += u64::from(time.is_some());
        sum += value.unwrap_or(0.0);
    }
    black_box((rows, sum));
    Ok(())
}

/// Runs a library's part of the script; `None` where the library is not there.
pub(crate) fn python(library: &str, file: &Path) -> Result<Option<Usage>> {
    let python = |arguments: &[&std::ffi::OsStr]| {
        let mut command = Command::new("python3");
        command
            .args(arguments)
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        command
    };
    let is_there = python(&["-c".as_ref(), format!("import {library}").as_ref()]).status();
    if !is_there.is_ok_and(|status| status.success()) {
        return Ok(None);
    }
    let usage = run(&mut python(&[
        "-c".as_ref(),
        SCRIPT.as_ref(),
        library.as_ref(),
        file.as_ref(),
    ]))?;
    if usage.status.success() {
        Ok(Some(usage))
    } else {
        Err(format!("the {library} part of peers.py failed"))
    }
}
