//! Measures how fast the program is, beside peers in the same run, and prints one table.
//!
//! `cargo bench-all` measures everything; `cargo bench-all file status` only what is named. `cargo bench-all drift` is no
//! matter of speed: it holds the judge against simulated truth.

mod built;
mod drift;
mod file;
mod idle;
mod input;
mod millions;
mod peers;
mod process;
mod site;
mod status;
mod table;
mod worker;

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use table::Table;

/// What went wrong, as a sentence.
type Result<T> = std::result::Result<T, String>;

/// One part of the table: its name, and what fills it.
type Part = (&'static str, fn(&Bench, &mut Table) -> Result<()>);

const PARTS: [Part; 5] = [
    ("file", file::measure),
    ("status", status::measure),
    ("idle", idle::measure),
    ("worker", worker::measure),
    ("millions", millions::measure),
];

/// What every measurement needs.
struct Bench {
    built: built::Built,
    /// Where sites are laid out: on the disk that the build lies on.
    folder: PathBuf,
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let outcome = match words.as_slice() {
        [peers::CSV_CRATE, file] => peers::csv_crate(Path::new(file)).map(|()| true),
        ["drift", rest @ ..] => drift::measure(rest),
        chosen => measure(chosen),
    };
    match outcome {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(message) => {
            table::say_error(&message);
            ExitCode::from(2)
        }
    }
}

/// What the figures depend on besides the program.
fn machine() -> String {
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    let load = load.split_whitespace().next().unwrap_or("unknown");
    format!("{cores} processors; load before the first measurement: {load}")
}

/// True where every goal is met.
fn measure(chosen: &[&str]) -> Result<bool> {
    if let Some(unknown) = chosen
        .iter()
        .find(|word| PARTS.iter().all(|(name, _)| name != *word))
    {
        let names: Vec<&str> = PARTS.iter().map(|(name, _)| *name).collect();
        return Err(format!(
            "there is no part “{unknown}”; the parts are {}",
            names.join(", ")
        ));
    }
    let program = std::env::current_exe().map_err(|error| error.to_string())?;
    let bench = Bench {
        built: built::build()?,
        folder: program.parent().unwrap_or(Path::new(".")).to_owned(),
    };
    let mut table = Table::default();
    table.heading(machine());
    for (name, part) in PARTS {
        if chosen.is_empty() || chosen.contains(&name) {
            table::say_progress(name);
            part(&bench, &mut table)?;
        }
    }
    table.print();
    Ok(table.all_met())
}
