//! From a closed file of sixty rows to its survey in place, with a warm daemon.
//!
//! What syncing costs is measured as a difference: the same once more on a memory file system, where a sync
//! has nothing to do. How many there are is counted by strace, where it is installed.

use crate::input::{DAYS, ROWS, survey};
use crate::site::{Site, wait_until};
use crate::table::{Spread, Table, figures};
use crate::{Bench, Result, input};
use std::fs::{self, File};
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const MEMORY: &str = "/dev/shm";
/// Files before the first that is measured.
const WARM: usize = 3;
/// Files whose syncs are counted.
const COUNTED: usize = 20;
/// The daemon is at rest again after this.
const REST: Duration = Duration::from_millis(30);

pub(crate) fn measure(bench: &Bench, table: &mut Table) -> Result<()> {
    table.heading(format!(
        "From a closed file of {ROWS} rows to its survey in place: {DAYS} files, one after the other, settle 0"
    ));
    let on_disk = Spread::of(&on(bench, &bench.folder, DAYS, &[])?);
    table.goal("median", on_disk.median, 50.0, "ms");
    table.row("least … most", on_disk.ends());
    if Path::new(MEMORY).is_dir() {
        let in_memory = Spread::of(&on(bench, Path::new(MEMORY), DAYS, &[])?);
        let syncing = on_disk.median - in_memory.median;
        table.row(
            "the same on a memory file system: median",
            format!("{} ms", figures(in_memory.median)),
        );
        table.row("least … most", in_memory.ends());
        table.row(
            "so writing to the disk and syncing cost",
            format!("{} ms", figures(syncing)),
        );
    }
    let alone = Spread::of(&syncs_alone(bench)?);
    table.row(
        "one sync of a new file of 4 KiB by itself",
        format!("{} ms", figures(alone.median)),
    );
    match syncs_of_one_file(bench)? {
        Some(count) => table.row("syncs for one file, counted by strace", figures(count)),
        None => table.row("syncs for one file", "strace is not installed"),
    }
    Ok(())
}

fn on(bench: &Bench, place: &Path, files: usize, under: &[&str]) -> Result<Vec<Duration>> {
    let site = Site::lay_out(bench, place)?;
    let daemon = site.watch(under)?;
    let mut times = Vec::with_capacity(files);
    for day in 0..WARM + files {
        let took = one(&site, day)?;
        if day >= WARM {
            times.push(took);
        }
    }
    daemon.stop()?;
    Ok(times)
}

fn one(site: &Site, day: usize) -> Result<Duration> {
    let (text, package) = (survey(day), site.package(day));
    let path = site.inbox().join(format!("{}.csv", input::day_id(day)));
    let failed = |error: std::io::Error| format!("{}: {error}", path.display());
    let mut file = File::create(&path).map_err(failed)?;
    file.write_all(text.as_bytes()).map_err(failed)?;
    drop(file);
    let closed = Instant::now();
    wait_until(|| package.exists()).map_err(|()| format!("{} did not appear", package.display()))?;
    let took = closed.elapsed();
    wait_until(|| !path.exists()).map_err(|()| format!("{} was not put away", path.display()))?;
    std::thread::sleep(REST);
    Ok(took)
}

fn syncs_alone(bench: &Bench) -> Result<Vec<Duration>> {
    let folder = tempfile::tempdir_in(&bench.folder).map_err(|error| error.to_string())?;
    let bytes = [b'x'; 4096];
    let mut times = Vec::new();
    for number in 0..DAYS {
        let mut file =
            File::create(folder.path().join(number.to_string())).map_err(|error| error.to_string())?;
        file.write_all(&bytes).map_err(|error| error.to_string())?;
        let began = Instant::now();
        file.sync_all().map_err(|error| error.to_string())?;
        times.push(began.elapsed());
    }
    Ok(times)
}

/// `None` where there is no strace.
fn syncs_of_one_file(bench: &Bench) -> Result<Option<f64>> {
    let is_there = Command::new("strace")
        .arg("-V")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status();
    if !is_there.is_ok_and(|status| status.success()) {
        return Ok(None);
    }
    let folder = tempfile::tempdir_in(&bench.folder).map_err(|error| error.to_string())?;
    let log = folder.path().join("syncs");
    let name = log.to_string_lossy().into_owned();
    let count = |files: usize| -> Result<usize> {
        let _ = on(
            bench,
            &bench.folder,
            files,
            &["strace", "-f", "-o", &name, "-e", "trace=fsync,fdatasync"],
        )?;
        let text = fs::read_to_string(&log).map_err(|error| error.to_string())?;
        Ok(text.lines().filter(|line| line.contains("sync(")).count())
    };
    // What the start costs falls out of the difference.
    let (few, more) = (count(0)?, count(COUNTED)?);
    Ok(Some((more - few) as f64 / COUNTED as f64))
}
