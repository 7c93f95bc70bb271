//! What it costs to read a file in a process of its own.

use crate::input::{ROWS, survey};
use crate::table::{Spread, Table, figures};
use crate::{Bench, Result, peers};
use std::fs::File;
use std::path::Path;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};
use undim_import::run::{Limits, SandboxPolicy, Source, Worker};

const TIMES: usize = 200;

pub(crate) fn measure(bench: &Bench, table: &mut Table) -> Result<()> {
    let folder = tempfile::tempdir_in(&bench.folder).map_err(|error| error.to_string())?;
    let path = folder.path().join("survey.csv");
    std::fs::write(&path, survey(0)).map_err(|error| error.to_string())?;
    let mut times = Vec::with_capacity(TIMES);
    let mut bare = Vec::with_capacity(TIMES);
    for _ in 0..TIMES {
        let (rows, took) = read(bench, &path)?;
        if rows != ROWS as u64 {
            return Err(format!("{rows} rows came of {ROWS}"));
        }
        times.push(took);
        let began = Instant::now();
        peers::csv_crate(&path)?;
        bare.push(began.elapsed());
    }
    let (spread, bare) = (Spread::of(&times), Spread::of(&bare));
    table.heading(format!(
        "An importer in a process of its own, sandboxed, on a file of {ROWS} rows: {TIMES} times"
    ));
    table.goal("median, from start to end", spread.median, 8.0, "ms");
    table.row("least … most", spread.ends());
    table.row(
        "the csv crate on the same file, in this process",
        format!("{} ms", figures(bare.median)),
    );
    Ok(())
}

/// Has a file read by the importer in a worker; gives its rows.
pub(crate) fn read(bench: &Bench, path: &Path) -> Result<(u64, Duration)> {
    let worker = Worker {
        program: bench.built.program.clone(),
        limits: Limits::default(),
        sandbox: SandboxPolicy::Best,
    };
    let file = File::open(path).map_err(|error| error.to_string())?;
    let source = Source {
        file: &file,
        name: "log.csv",
    };
    let began = Instant::now();
    let report = worker
        .probe_and_read(
            &bench.built.importer,
            source,
            &[],
            &AtomicBool::new(false),
            &mut |_| Ok(()),
        )
        .map_err(|failure| failure.to_string())?
        .ok_or("the importer did not want the file")?;
    Ok((report.rows, began.elapsed()))
}
