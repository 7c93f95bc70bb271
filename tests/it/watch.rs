//! The daemon on a real file system, with real signals.

use crate::support::{Run, TestSite};
use std::fs;
use std::io::{Read, Write};
use std::os::unix::net::UnixDatagram;
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

const TABLE: &str =
    "time,station,x,y,z,PPFD\n2026-01-10T12:00:00,a,10,10,10,180\n2026-01-10T12:00:05,b,30,12,25,240\n";

/// A running `undim watch`; killed if the test ends early.
pub(crate) struct Daemon {
    child: Child,
}

impl Daemon {
    pub(crate) fn start(site: &TestSite) -> Self {
        Self::start_with(site, &[])
    }

    fn start_with(site: &TestSite, environment: &[(&str, &str)]) -> Self {
        let mut command = site.command(&["watch", "--log", "json"]);
        command.stdout(Stdio::piped()).stderr(Stdio::piped());
        for (name, value) in environment {
            command.env(name, value);
        }
        let daemon = Self {
            child: command.spawn().expect("the daemon starts"),
        };
        wait_for("the daemon's first status", || site.exists("outbox/status.json"));
        daemon
    }

    fn signal(&self, name: &str) {
        let status = std::process::Command::new("kill")
            .arg(name)
            .arg(self.child.id().to_string())
            .status();
        assert!(status.expect("kill runs").success());
    }

    /// Ends it and gives what it said.
    pub(crate) fn stop(mut self) -> Run {
        self.signal("-TERM");
        let asked = Instant::now();
        let status = loop {
            if let Some(status) = self.child.try_wait().expect("a child") {
                break status;
            }
            assert!(asked.elapsed() < Duration::from_secs(10), "it did not end");
            std::thread::sleep(Duration::from_millis(10));
        };
        let read = |stream: Option<&mut dyn Read>| {
            let mut text = String::new();
            if let Some(stream) = stream {
                stream.read_to_string(&mut text).expect("text");
            }
            text
        };
        let stderr = read(self.child.stderr.as_mut().map(|s| s as &mut dyn Read));
        let stdout = read(self.child.stdout.as_mut().map(|s| s as &mut dyn Read));
        Run {
            status: status.code(),
            stdout,
            stderr,
        }
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub(crate) fn wait_for(what: &str, mut done: impl FnMut() -> bool) {
    let started = Instant::now();
    while !done() {
        assert!(
            started.elapsed() < Duration::from_secs(20),
            "waited in vain for {what}"
        );
        std::thread::sleep(Duration::from_millis(10));
    }
}

fn quick_site() -> TestSite {
    TestSite::with_site_file("[site]\ntimezone = \"UTC\"\n[intake]\nsettle = \"0s\"\nrescan = \"1s\"\n")
}

fn surveyed(site: &TestSite, tank: &str, id: &str) -> bool {
    site.exists(&format!("outbox/{tank}/{id}/survey.json"))
}

#[test]
fn new_renamed_in_overwritten_and_appended_files_are_taken_in() {
    let site = quick_site();
    let daemon = Daemon::start(&site);
    site.drop_file("reef/phone/new.csv", TABLE);
    wait_for("a new file", || surveyed(&site, "reef", "2026-01-10"));

    site.write("elsewhere/moved.csv", TABLE.replace("01-10", "01-20"));
    fs::rename(
        site.path("elsewhere/moved.csv"),
        site.path("inbox/reef/phone/moved.csv"),
    )
    .expect("a rename");
    wait_for("a renamed file", || surveyed(&site, "reef", "2026-01-20"));

    // A folder made later, nested, with a file already in it.
    site.drop_file("lagoon/made/later/deep.csv", TABLE.replace("01-10", "01-30"));
    wait_for("a nested file", || surveyed(&site, "lagoon", "2026-01-30"));

    // The same name with other content is another file; content that begins with the old replaces it.
    site.drop_file("reef/phone/new.csv", TABLE.replace("01-10", "02-10"));
    wait_for("an overwritten file", || surveyed(&site, "reef", "2026-02-10"));
    let longer = format!("{TABLE}2026-01-10T12:00:10,c,40,12,25,260\n");
    site.drop_file(
        "reef/phone/new.csv",
        TABLE.replace("01-10", "02-10") + "2026-02-10T12:00:10,c,40,12,25,260\n",
    );
    wait_for("an appended file", || {
        site.rows("outbox/reef/2026-02-10/stations.csv").len() == 3
    });
    assert_eq!(
        site.surveys("reef"),
        ["2026-01-10", "2026-01-20", "2026-02-10"],
        "a grown file is no second survey"
    );
    assert!(longer.len() > TABLE.len());
    let run = daemon.stop();
    assert_eq!(run.status, Some(0), "{run}");
    assert!(
        run.stderr
            .lines()
            .all(|line| serde_json::from_str::<serde_json::Value>(line).is_ok()),
        "{run}"
    );
}

#[test]
fn an_inbox_deleted_and_made_again_is_watched_again() {
    let site = quick_site();
    let daemon = Daemon::start(&site);
    fs::remove_dir_all(site.path("inbox")).expect("removed");
    std::thread::sleep(Duration::from_millis(50));
    fs::create_dir_all(site.path("inbox")).expect("made again");
    site.drop_file("reef/again.csv", TABLE);
    wait_for("a file in the inbox made again", || {
        surveyed(&site, "reef", "2026-01-10")
    });
    assert_eq!(daemon.stop().status, Some(0));
}

#[test]
fn a_file_still_being_written_is_left_until_it_is_closed() {
    let site = quick_site();
    let daemon = Daemon::start(&site);
    fs::create_dir_all(site.path("inbox/reef")).expect("a folder");
    let mut file = fs::File::create(site.path("inbox/reef/slow.csv")).expect("a file");
    for (number, line) in TABLE.lines().enumerate() {
        writeln!(file, "{line}").expect("written");
        file.flush().expect("flushed");
        if number == 1 {
            std::thread::sleep(Duration::from_millis(1500));
            assert!(!surveyed(&site, "reef", "2026-01-10"), "taken in half written");
        }
    }
    drop(file);
    wait_for("the whole file", || surveyed(&site, "reef", "2026-01-10"));
    assert_eq!(site.rows("outbox/reef/2026-01-10/readings.csv").len(), 2);
    assert_eq!(daemon.stop().status, Some(0));
}

#[test]
fn one_instance_a_state_folder() {
    let site = quick_site();
    let daemon = Daemon::start(&site);
    let commands: [&[&str]; 3] = [&["watch"], &["sweep"], &["withdraw", "a.csv", "--why", "torn"]];
    for command in commands {
        let second = site.undim(command);
        assert_eq!(second.status, Some(3), "{second}");
        assert!(
            second.stderr.contains(&daemon.child.id().to_string()),
            "names the holder: {second}"
        );
    }
    daemon.stop();
    site.sweep();
}

#[test]
fn a_faulty_configuration_is_reported_and_the_old_one_kept() {
    let site = quick_site();
    let daemon = Daemon::start(&site);
    site.write("undim.toml", "[intake]\nsetle = \"0s\"\n");
    daemon.signal("-HUP");
    std::thread::sleep(Duration::from_millis(300));
    site.drop_file("reef/after.csv", TABLE);
    wait_for("a file under the old configuration", || {
        surveyed(&site, "reef", "2026-01-10")
    });
    let run = daemon.stop();
    assert!(
        run.stderr.contains("setle") && run.stderr.contains("settle"),
        "names the key and the nearest one: {run}"
    );
    assert_eq!(run.status, Some(0));
}

#[test]
fn a_tank_declared_later_derives_its_surveys_again() {
    let site = quick_site();
    let daemon = Daemon::start(&site);
    site.drop_file("reef/a.csv", TABLE);
    wait_for("a survey", || surveyed(&site, "reef", "2026-01-10"));
    site.write(
        "tanks/reef.toml",
        "name = \"Reef\"\n[[station]]\nid = \"ledge\"\nat_cm = [10.0, 10.0, 10.0]\nname = \"a\"\n",
    );
    daemon.signal("-HUP");
    wait_for("the survey derived again", || {
        site.rows("outbox/reef/2026-01-10/stations.csv")
            .iter()
            .any(|row| row.get("station") == "ledge")
    });
    daemon.stop();
}

#[test]
fn tells_the_service_manager_when_it_is_ready() {
    let site = quick_site();
    let socket = site.path("notify.sock");
    let listener = UnixDatagram::bind(&socket).expect("a socket");
    listener
        .set_read_timeout(Some(Duration::from_secs(10)))
        .expect("a timeout");
    let daemon = Daemon::start_with(&site, &[("NOTIFY_SOCKET", socket.to_str().expect("a path"))]);
    let mut buffer = [0; 512];
    let length = listener.recv(&mut buffer).expect("a message");
    assert!(
        buffer[..length].starts_with(b"READY=1"),
        "{}",
        String::from_utf8_lossy(&buffer[..length])
    );
    daemon.stop();
}

#[test]
fn a_stop_in_the_middle_of_work_loses_nothing() {
    let site = quick_site();
    for number in 0..40 {
        site.drop_file(
            &format!("reef/{number:02}.csv"),
            TABLE.replace("01-10", &format!("{:02}-{:02}", 1 + number / 20, 1 + number % 20)),
        );
    }
    let daemon = Daemon::start(&site);
    std::thread::sleep(Duration::from_millis(40));
    let run = daemon.stop();
    assert_eq!(run.status, Some(0), "{run}");
    site.sweep();
    assert_eq!(site.surveys("reef").len(), 40);
    let waiting = fs::read_dir(site.path("inbox/reef")).map_or(0, Iterator::count);
    assert_eq!(waiting, 0, "{}", site.listing());
}
