//! A site in a folder of its own, and a daemon on it.

use crate::input::DAYS;
use crate::{Bench, Result, input};
use rustix::process::{Pid, Signal, kill_process};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Nothing here takes longer unless something is wrong.
const PATIENCE: Duration = Duration::from_secs(20);

pub(crate) struct Site {
    folder: tempfile::TempDir,
    program: PathBuf,
}

impl Site {
    /// A declared tank with two fixtures and twenty stations, its files settled at once, below `place`.
    pub(crate) fn lay_out(bench: &Bench, place: &Path) -> Result<Self> {
        let site = Self {
            folder: tempfile::Builder::new()
                .prefix("bench-")
                .tempdir_in(place)
                .map_err(|error| format!("{}: {error}", place.display()))?,
            program: bench.built.program.clone(),
        };
        site.write(
            "undim.toml",
            "[site]\ntimezone = \"UTC\"\n[intake]\nsettle = \"0s\"\n",
        )?;
        site.write("tanks/reef.toml", &input::tank())?;
        site.write("devices/sensor.toml", "unit = \"umol.m-2.s-1\"\n")?;
        fs::create_dir_all(site.inbox()).map_err(|error| error.to_string())?;
        let plugins = site.path("plugins");
        fs::create_dir_all(&plugins)
            .and_then(|()| {
                let name = bench.built.importer.file_name().unwrap_or_default();
                fs::copy(&bench.built.importer, plugins.join(name))
            })
            .map_err(|error| format!("{}: {error}", bench.built.importer.display()))?;
        Ok(site)
    }

    /// One that has taken in two hundred surveys.
    pub(crate) fn with_surveys(bench: &Bench) -> Result<Self> {
        let site = Self::lay_out(bench, &bench.folder)?;
        for day in 0..DAYS {
            let name = format!("inbox/{}.csv", input::day_id(day));
            site.write(&name, &input::survey(day))?;
        }
        let swept = site
            .undim(&["sweep"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status();
        match swept {
            Ok(status) if status.success() => Ok(site),
            other => Err(format!("the surveys were not taken in: {other:?}")),
        }
    }

    pub(crate) fn path(&self, relative: &str) -> PathBuf {
        self.folder.path().join(relative)
    }

    pub(crate) fn inbox(&self) -> PathBuf {
        self.path("inbox")
    }

    /// Where the package of a day's survey appears.
    pub(crate) fn package(&self, day: usize) -> PathBuf {
        self.path(&format!("outbox/reef/{}", input::day_id(day)))
    }

    pub(crate) fn write(&self, relative: &str, text: &str) -> Result<()> {
        let path = self.path(relative);
        let folder = path.parent().unwrap_or(Path::new("."));
        fs::create_dir_all(folder)
            .and_then(|()| fs::write(&path, text))
            .map_err(|error| format!("{}: {error}", path.display()))
    }

    /// The program on this site, not yet started.
    pub(crate) fn undim(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(&self.program);
        command
            .args(arguments)
            .arg("--site")
            .arg(self.folder.path())
            .env("NO_COLOR", "1");
        command
    }

    /// Starts `undim watch`, perhaps under another program, and waits until it has looked at the inbox.
    pub(crate) fn watch(&self, under: &[&str]) -> Result<Daemon> {
        let watch = self.undim(&["watch"]);
        let mut command = match under {
            [] => watch,
            [program, arguments @ ..] => {
                let mut command = Command::new(program);
                command
                    .args(arguments)
                    .arg(watch.get_program())
                    .args(watch.get_args());
                command
            }
        };
        let child = command
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .map_err(|error| format!("{command:?} could not be started: {error}"))?;
        let mut daemon = Daemon { child, pid: 0 };
        wait_until(|| {
            daemon.pid = self.watching().unwrap_or(0);
            daemon.pid > 0
        })
        .map_err(|()| "the daemon did not begin to watch".to_owned())?;
        Ok(daemon)
    }

    /// The process that says it watches.
    fn watching(&self) -> Option<u32> {
        let text = fs::read(self.path("outbox/status.json")).ok()?;
        let status: serde_json::Value = serde_json::from_slice(&text).ok()?;
        let pid = status["pid"].as_u64().filter(|_| status["state"] == "watching")?;
        u32::try_from(pid).ok()
    }
}

/// A running daemon; it is ended with what holds it.
pub(crate) struct Daemon {
    /// The daemon, or what it was started under.
    child: Child,
    /// Its own process.
    pid: u32,
}

impl Daemon {
    pub(crate) fn pid(&self) -> u32 {
        self.pid
    }

    /// Asks it to end, and waits.
    pub(crate) fn stop(mut self) -> Result<()> {
        let pid = i32::try_from(self.pid).ok().and_then(Pid::from_raw);
        let pid = pid.ok_or("the daemon has no process number")?;
        kill_process(pid, Signal::TERM).map_err(|error| error.to_string())?;
        self.child.wait().map(drop).map_err(|error| error.to_string())
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // Has ended by itself where `stop` was used.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Looks every tenth of a millisecond; gives up after a while.
pub(crate) fn wait_until(mut is_so: impl FnMut() -> bool) -> std::result::Result<(), ()> {
    let began = Instant::now();
    while !is_so() {
        if began.elapsed() > PATIENCE {
            return Err(());
        }
        std::thread::sleep(Duration::from_micros(100));
    }
    Ok(())
}
