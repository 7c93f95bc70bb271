//! A log of 2.6 million rows, from the inbox to its stations, beside others that read the same columns.

use crate::process::{Usage, run};
use crate::site::Site;
use crate::table::{Table, figures};
use crate::{Bench, Result, input, peers, worker};
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

pub(crate) fn measure(bench: &Bench, table: &mut Table) -> Result<()> {
    let site = Site::lay_out(bench, &bench.folder)?;
    let log = site.path("log.csv");
    let failed = |error: &dyn std::fmt::Display| format!("{}: {error}", log.display());
    let rows = input::write_log(&log).map_err(|error| failed(&error))?;
    let bytes = fs::metadata(&log).map_err(|error| failed(&error))?.len();
    let million = rows as f64 / 1e6;
    table.heading(format!(
        "{million:.2} million rows, {} MB: wall s / processor s / peak MiB of all processes together",
        bytes / 1_000_000
    ));

    let bare = run(
        Command::new(std::env::current_exe().map_err(|error| error.to_string())?)
            .arg(peers::CSV_CRATE)
            .arg(&log),
    )?;
    let (read_rows, read_time) = worker::read(bench, &log)?;
    if read_rows != rows {
        return Err(format!("{read_rows} rows came of {rows}"));
    }
    let mut peers = Vec::new();
    for peer in peers::PYTHON {
        peers.push((peer, peers::python(peer, &log)?));
    }
    let whole = sweep(&site, &log)?;

    table.row(
        "undim sweep, from the inbox to the survey's folder",
        figures_of(&whole),
    );
    table.goal("its peak", whole.peak_mib, 64.0, "MiB");
    table.row(
        "only the worker with its importer, rows thrown away",
        format!("{} / – / –", figures(read_time.as_secs_f64())),
    );
    table.row(
        "the csv crate, time and value of each row read",
        figures_of(&bare),
    );
    for (peer, usage) in peers {
        table.row(
            format!("{peer}, the same two columns"),
            usage.map_or_else(|| "not installed".to_owned(), |usage| figures_of(&usage)),
        );
    }
    table.row(
        "the sweep's processor time over the csv crate's",
        format!(
            "{} times",
            figures(whole.cpu.as_secs_f64() / bare.cpu.as_secs_f64())
        ),
    );
    Ok(())
}

fn sweep(site: &Site, log: &Path) -> Result<Usage> {
    // A log has no places; its note tells the station.
    site.write("inbox/log.csv.note.toml", "station = \"s3\"\n")?;
    fs::rename(log, site.inbox().join("log.csv")).map_err(|error| error.to_string())?;
    let usage = run(site.undim(&["sweep"]).stdout(Stdio::null()).stderr(Stdio::null()))?;
    let stations = fs::read_to_string(site.path("outbox/reef/2024-03-01/stations.csv"));
    let is_there = stations.is_ok_and(|text| text.lines().any(|line| line.starts_with("s3,")));
    if usage.status.success() && is_there {
        Ok(usage)
    } else {
        Err(format!("the log did not become a station: {}", usage.status))
    }
}

fn figures_of(usage: &Usage) -> String {
    format!(
        "{} / {} / {}",
        figures(usage.wall.as_secs_f64()),
        figures(usage.cpu.as_secs_f64()),
        figures(usage.peak_mib)
    )
}
