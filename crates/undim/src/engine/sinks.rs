//! Where notices go: appended to a file, or handed to a program.

use serde::{Deserialize, Serialize};
use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use undim_config::NotifySink;

/// A program that takes a notice has this long.
const LONGEST_COMMAND: Duration = Duration::from_secs(30);
/// How often a running program is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(20);
/// The first wait after a failure; each later one is twice as long.
const FIRST_WAIT: Duration = Duration::from_mins(1);
/// No wait is longer.
const LONGEST_WAIT: Duration = Duration::from_hours(6);

/// A notice as it waits in the ledger.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct WaitingNotice {
    /// Unique: whoever receives the same id twice may drop the second.
    pub(crate) id: String,
    /// The tank's id.
    pub(crate) tank: String,
    /// What happened: opened, raised, changed, closed.
    pub(crate) change: String,
    /// One line.
    pub(crate) title: String,
    /// Several lines.
    pub(crate) body: String,
    /// The alert as it stood, the object of the formats' section 7.
    pub(crate) alert: serde_json::Value,
}

/// The name under which a sink's deliveries stand in the ledger.
pub(crate) fn key(sink: &NotifySink) -> String {
    match sink {
        NotifySink::File { path } => format!("file {}", path.display()),
        NotifySink::Command { command } => format!("command {}", command.join(" ")),
    }
}

/// Hands a notice over. An error is a sentence; the delivery is tried again.
pub(crate) fn send(sink: &NotifySink, root: &Path, notice: &WaitingNotice) -> Result<(), String> {
    match sink {
        NotifySink::File { path } => {
            append(path, notice).map_err(|error| format!("{} could not be written: {error}", path.display()))
        }
        NotifySink::Command { command } => run(command, root, notice),
    }
}

/// The wait before the next try, after so many failures.
pub(crate) fn wait_after(failures: u32) -> Duration {
    FIRST_WAIT
        .saturating_mul(1 << failures.saturating_sub(1).min(10))
        .min(LONGEST_WAIT)
}

fn append(path: &Path, notice: &WaitingNotice) -> io::Result<()> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder)?;
    }
    let mut file = OpenOptions::new().append(true).create(true).open(path)?;
    // One write: a notice is in the file whole or not at all.
    file.write_all(
        format!(
            "{}\n\n{}\n(notice {})\n\n",
            notice.title,
            notice.body.trim_end(),
            notice.id
        )
        .as_bytes(),
    )?;
    file.sync_all()
}

fn run(command: &[String], root: &Path, notice: &WaitingNotice) -> Result<(), String> {
    let Some((program, arguments)) = command.split_first() else {
        return Err("the command is empty".to_owned());
    };
    let level = notice
        .alert
        .get("level")
        .and_then(serde_json::Value::as_str)
        .unwrap_or_default();
    let mut child = Command::new(program)
        .args(arguments)
        .current_dir(root)
        .env("UNDIM_NOTICE", &notice.id)
        .env("UNDIM_TANK", &notice.tank)
        .env("UNDIM_CHANGE", &notice.change)
        .env("UNDIM_LEVEL", level)
        .env("UNDIM_TITLE", &notice.title)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|error| format!("{program} could not be started: {error}"))?;
    let text = serde_json::to_vec(notice).map_err(|error| error.to_string())?;
    // A thread of its own: a program that reads nothing must not hold the delivery up.
    let writer = child
        .stdin
        .take()
        .map(|mut stdin| std::thread::spawn(move || stdin.write_all(&text)));
    let started = Instant::now();
    let outcome = loop {
        match child.try_wait() {
            Ok(Some(status)) if status.success() => break Ok(()),
            Ok(Some(status)) => break Err(format!("{program} ended with {status}")),
            Ok(None) if started.elapsed() > LONGEST_COMMAND => {
                let _ = child.kill();
                let _ = child.wait();
                break Err(format!(
                    "{program} took longer than {} s",
                    LONGEST_COMMAND.as_secs()
                ));
            }
            Ok(None) => std::thread::sleep(LOOK_EVERY),
            Err(error) => break Err(format!("{program} could not be waited for: {error}")),
        }
    };
    // A program may end without reading what it was handed; its exit status is its answer.
    if let Some(writer) = writer
        && writer.is_finished()
    {
        let _ = writer.join();
    }
    outcome
}

#[cfg(test)]
mod tests {
    use super::*;

    fn notice() -> WaitingNotice {
        WaitingNotice {
            id: "reef/2026-01-10-west-loss/opened".into(),
            tank: "reef".into(),
            change: "opened".into(),
            title: "Less light".into(),
            body: "Since January.\n".into(),
            alert: serde_json::json!({"level": "urgent"}),
        }
    }

    #[test]
    fn waits_grow_to_six_hours() {
        assert_eq!(wait_after(1), Duration::from_mins(1));
        assert_eq!(wait_after(2), Duration::from_mins(2));
        assert_eq!(wait_after(40), Duration::from_hours(6));
    }

    #[test]
    fn a_program_gets_the_alert_and_its_failure_is_told() {
        let folder = tempfile::tempdir().expect("a folder");
        let shell = |script: &str| vec!["sh".to_owned(), "-c".to_owned(), script.to_owned()];
        run(
            &shell("cat > got.json; echo $UNDIM_LEVEL > level"),
            folder.path(),
            &notice(),
        )
        .expect("sent");
        let got = fs::read_to_string(folder.path().join("got.json")).expect("written");
        assert_eq!(
            serde_json::from_str::<WaitingNotice>(&got).expect("JSON"),
            notice()
        );
        assert_eq!(
            fs::read_to_string(folder.path().join("level"))
                .expect("written")
                .trim(),
            "urgent"
        );
        let failed = run(&shell("exit 3"), folder.path(), &notice()).expect_err("failed");
        assert!(failed.contains('3'), "{failed}");
        run(&["no-such-program".to_owned()], folder.path(), &notice()).expect_err("no program");
    }

    #[test]
    fn a_file_grows_by_a_notice() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("made/notices.txt");
        for _ in 0..2 {
            append(&path, &notice()).expect("written");
        }
        assert_eq!(
            fs::read_to_string(&path)
                .expect("text")
                .matches("Less light")
                .count(),
            2
        );
    }
}
