//! The program killed at every step of a sweep, or refused the disk there, comes to the same end at the
//! next start: nothing lost, nothing doubled.
//!
//! strace ends the program, or fails the call, at the n-th call of one kind: one rule for each kind, as a
//! count runs for each call by itself (strace(1), "inject"). Calls that the importers' processes make are
//! not counted. By default some points of each kind are tried; with `UNDIM_SLOW=1` every one.

use crate::light::{Outing, survey_csv, tank_file};
use crate::support::{Run, TestSite};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Calls that change something, and how many points of each are passed over where not every one is tried.
const CALLS: [(&str, usize); 13] = [
    ("rename", 3),
    ("renameat2", 2),
    ("mkdir", 5),
    ("unlink", 2),
    ("unlinkat", 9),
    ("ftruncate", 2),
    ("fdatasync", 1),
    ("fsync", 11),
    ("pwrite64", 13),
    ("write", 13),
    ("close", 41),
    ("openat", 41),
    ("renameat", 1),
];

/// No kind of call is made oftener than this in one thread of a sweep.
const MOST: usize = 5000;

/// Something done to a site's folder.
type Harm = fn(&Path);

/// What everything is compared by: outbox, inbox and raw archive.
type Ends = BTreeMap<String, Vec<u8>>;

/// A site with a past, and in its inbox what opens an alert, a file that grew, one with a note, a note alone,
/// and one that nobody can read.
fn lay_out() -> TestSite {
    let site = TestSite::with_site_file(
        "[site]\nname = \"Story\"\ntimezone = \"Europe/Lisbon\"\n[intake]\nsettle = \"0s\"\n[[notify]]\nkind = \"file\"\n\
         [[notify]]\nkind = \"command\"\ncommand = [\"sh\", \"-c\", \"cat > /dev/null; echo $UNDIM_NOTICE >> told\"]\n",
    );
    site.write(
        "tanks/story.toml",
        tank_file() + "\n[drift]\nsurvey_repeat_percent = 1.0\n",
    );
    site.write(
        "devices/sensor.toml",
        "name = \"Sensor\"\nrole = \"reference\"\nunit = \"umol.m-2.s-1\"\nrepeat_percent = 1.2\nrezero_percent = 0.5\ncal_percent = 3.0\n",
    );
    let outing = |date, west, seed| {
        survey_csv(&Outing {
            date,
            west,
            east: 1.0,
            seed,
        })
    };
    let log =
        "time,station,x,y,z,PPFD\n2026-01-05T12:00:00,p,10,10,10,180\n2026-01-05T12:00:05,q,30,12,25,240\n";
    site.drop_file("story/sensor/a.csv", outing("2026-01-10", 1.0, 1));
    site.drop_file("story/sensor/b.csv", outing("2026-02-14", 1.0, 2));
    site.drop_file("reef/log.csv", log);
    site.sweep();
    site.drop_file("story/sensor/c.csv", outing("2026-03-14", 0.85, 3));
    site.drop_file(
        "reef/log.csv",
        log.to_owned() + "2026-01-05T12:00:10,r,40,12,25,260\n",
    );
    site.drop_file(
        "story/sensor/friend.csv",
        "date,x,y,z,PPFD\n03/04/2026,1,2,3,100\n03/04/2026,4,2,3,110\n",
    );
    site.drop_file(
        "reef/noted.csv",
        "time,station,x,y,z,PPFD\n2026-03-05T12:00:00,p,10,10,10,170\n",
    );
    site.drop_file(
        "reef/noted.csv.note.toml",
        "remark = \"after the move\"\nscene = \"dusk\"\n",
    );
    site.drop_file("story/sensor/a.csv.note.toml", "pumps = \"off\"\n");
    site
}

/// A copy with its times kept: they are archived with each file.
fn copy_of(base: &TestSite) -> TestSite {
    let site = TestSite::with_site_file("");
    let copied = Command::new("cp")
        .arg("-a")
        .arg(base.path("."))
        .arg(site.path("."))
        .status();
    assert!(copied.expect("cp runs").success());
    site
}

fn ends(site: &TestSite) -> Ends {
    let mut ends = Ends::new();
    for folder in ["outbox", "inbox", "state/raw"] {
        for (name, bytes) in site.snapshot(folder) {
            // How old the state is, and notices that may come twice.
            if !matches!(name.as_str(), "status.json" | "notices.txt") {
                let name = format!("{folder}/{name}");
                let bytes = but_times(&name, bytes);
                ends.insert(name, bytes);
            }
        }
    }
    ends
}

/// When a file was set aside is noticed by the clock, which every run reads for itself.
fn but_times(name: &str, mut bytes: Vec<u8>) -> Vec<u8> {
    if name.starts_with("outbox/_site/") || name == "state/raw/noticed.log" {
        bytes.retain(|byte| !byte.is_ascii_digit() && *byte != b'.');
    }
    bytes
}

/// How two ends differ, and whether every notice went out to both receivers.
fn differences(site: &TestSite, wanted: &Ends, notices: &[String]) -> Vec<String> {
    let found = ends(site);
    let mut differences = Vec::new();
    for (name, bytes) in wanted {
        match found.get(name) {
            None => differences.push(format!("{name} is missing")),
            Some(other) if other != bytes => differences.push(format!("{name} differs")),
            Some(_) => {}
        }
    }
    let more = found.keys().filter(|name| !wanted.contains_key(*name));
    differences.extend(more.map(|name| format!("{name} is too many")));
    for notice in notices {
        for receiver in ["told", "outbox/notices.txt"] {
            let text = fs::read_to_string(site.path(receiver)).unwrap_or_default();
            if !text.contains(notice) {
                differences.push(format!("{receiver} lacks {notice}"));
            }
        }
    }
    differences
}

/// A command with something injected at the n-th call of a kind; the call it hit, where it came to that.
fn run_with(site: &TestSite, command: &[&str], call: &str, what: &str, n: usize) -> (Option<String>, Run) {
    let trace = site.path("trace");
    let program = site.command(command);
    let mut strace = Command::new("strace");
    strace
        .args(["-f", "-qq", "-y", "-b", "execve", "-o"])
        .arg(&trace)
        .args(["-e", &format!("trace={call}")])
        .args(["-e", &format!("inject={call}:{what}:when={n}")])
        .arg(program.get_program())
        .args(program.get_args())
        .env("NO_COLOR", "1");
    let run = Run::from(strace.output().expect("strace runs"));
    let log = fs::read(&trace).unwrap_or_default();
    let log = String::from_utf8_lossy(&log);
    let hit = log
        .lines()
        .find(|line| line.contains("(INJECTED)") || line.contains("killed by SIGKILL"))
        .map(str::to_owned);
    fs::remove_file(&trace).expect("a trace");
    (hit, run)
}

fn strace_works() -> bool {
    let tried = Command::new("strace")
        .args(["-f", "-qq", "-b", "execve", "-o", "/dev/null", "true"])
        .status();
    let works = tried.is_ok_and(|status| status.success());
    if !works {
        skipped();
    }
    works
}

#[expect(clippy::print_stderr, reason = "a test that is passed over says so")]
fn skipped() {
    eprintln!("passed over: strace is not here, or may not trace");
}

/// Tries points of every kind of call, as many at once as there are cores; gives how many there were.
fn at_every_point(
    command: &[&str],
    calls: &[(&'static str, usize)],
    what: &str,
    judge: &(dyn Fn(&TestSite, &Run, &str) -> Vec<String> + Sync),
    base: &TestSite,
) -> usize {
    let every = std::env::var_os("UNDIM_SLOW").is_some_and(|value| value == "1");
    let (next, points) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let faults: Mutex<Vec<String>> = Mutex::default();
    let workers = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                while let Some((call, pass)) = calls.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let step = if every { 1 } else { *pass };
                    for n in (1..MOST).step_by(step) {
                        let site = copy_of(base);
                        let (Some(hit), run) = run_with(&site, command, call, what, n) else {
                            break;
                        };
                        points.fetch_add(1, Ordering::Relaxed);
                        let place = format!("{what} at {call} number {n}");
                        let found = judge(&site, &run, &hit);
                        let mut faults = faults.lock().expect("no panic");
                        faults.extend(found.into_iter().map(|fault| format!("{place}: {fault}")));
                    }
                }
            });
        }
    });
    let faults = faults.into_inner().expect("no panic");
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    points.into_inner()
}

/// The undisturbed end, and the notices that went out on the way there.
fn undisturbed(base: &TestSite) -> (Ends, Vec<String>) {
    let site = copy_of(base);
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(1), "one file is set aside: {run}");
    let told: Vec<String> = site.read("told").lines().map(str::to_owned).collect();
    assert!(!told.is_empty(), "an alert opened: {run}");
    (ends(&site), told)
}

#[test]
fn killed_anywhere_it_comes_to_the_same_end() {
    if !strace_works() {
        return;
    }
    let base = lay_out();
    let (wanted, notices) = undisturbed(&base);
    let half_done = AtomicUsize::new(0);
    let points = at_every_point(
        &["sweep"],
        &CALLS,
        "signal=KILL",
        &|site, _, _| {
            // That it was killed in the middle of its work is seen, or the check would prove nothing.
            let unfinished = !differences(site, &wanted, &notices).is_empty();
            half_done.fetch_add(usize::from(unfinished), Ordering::Relaxed);
            let run = site.undim(&["sweep"]);
            let mut found = differences(site, &wanted, &notices);
            if !matches!(run.status, Some(0 | 1)) {
                found.push(format!("the next sweep: {run}"));
            }
            found
        },
        &base,
    );
    assert!(points > 40, "{points} points");
    assert!(half_done.into_inner() * 2 > points, "most of them hit work");
}

/// Killed anywhere, a file is withdrawn or it is not, whatever becomes of the ledger; asked again it is.
#[test]
fn killed_while_withdrawing_it_is_done_or_it_is_not() {
    if !strace_works() {
        return;
    }
    let base = lay_out();
    assert_eq!(base.undim(&["sweep"]).status, Some(1));
    let written = |site: &TestSite| -> Ends {
        let all = ends(site).into_iter();
        all.filter(|(name, _)| !name.starts_with("state/")).collect()
    };
    let withdraw = ["withdraw", "story/sensor/b.csv", "--why", "a loose bag"];
    let before = written(&base);
    let done = copy_of(&base);
    assert_eq!(done.undim(&withdraw).status, Some(0));
    let after = written(&done);
    assert!(before != after);
    let calls = [
        ("rename", 3),
        ("pwrite64", 19),
        ("fsync", 13),
        ("write", 17),
        ("unlinkat", 5),
        ("openat", 83),
    ];
    let points = at_every_point(
        &withdraw,
        &calls,
        "signal=KILL",
        &|site, _, _| {
            let mut found = Vec::new();
            site.undim(&["sweep"]);
            let first = written(site);
            if first != before && first != after {
                found.push("neither withdrawn nor not".to_owned());
            }
            for ending in ["", "-wal", "-shm"] {
                let _ = fs::remove_file(site.path(&format!("state/undim.db{ending}")));
            }
            site.undim(&["sweep"]);
            if written(site) != first {
                found.push("a lost ledger changes it".to_owned());
            }
            let run = site.undim(&withdraw);
            if !matches!(run.status, Some(0 | 2)) || written(site) != after {
                found.push(format!("asked again: {run}"));
            }
            found
        },
        &base,
    );
    assert!(points > 10, "{points} points");
}

/// A disk that fails or is full: the sweep ends with 3, or had no need of what failed; no file is blamed for it.
#[test]
fn refused_the_disk_it_blames_no_file_and_comes_to_the_same_end() {
    if !strace_works() {
        return;
    }
    let base = lay_out();
    // A notice that could not be sent goes out later than the next sweep.
    let (wanted, notices) = (undisturbed(&base).0, Vec::new());
    let calls = [
        ("fsync", 11),
        ("rename", 3),
        ("renameat2", 4),
        ("mkdir", 4),
        ("pwrite64", 17),
        ("openat", 37),
    ];
    // A record that never counted may stand in the archive; that it does not count is seen below.
    let but_records = |differences: Vec<String>| -> Vec<String> {
        let counts = |one: &String| !(one.starts_with("state/raw/") && one.ends_with(".log differs"));
        differences.into_iter().filter(counts).collect()
    };
    for what in ["error=EIO", "error=ENOSPC"] {
        let points = at_every_point(
            &["sweep"],
            &calls,
            what,
            &|site, run, hit| {
                let mut found = Vec::new();
                let is_ours = hit.contains("/outbox") || hit.contains("/state");
                match run.status {
                    Some(3) => {}
                    Some(1) if but_records(differences(site, &wanted, &notices)).is_empty() => {}
                    // The configuration, the inbox or something of the system could not be read.
                    Some(_) if !is_ours => {}
                    _ => found.push(format!("ended too well or too badly: {hit}\n{run}")),
                }
                let blamed = site.snapshot("inbox/set-aside");
                let blamed = blamed.iter().filter(|(name, _)| !name.contains("friend.csv"));
                found.extend(blamed.map(|(name, _)| format!("{name} was set aside")));
                site.undim(&["sweep"]);
                found.extend(but_records(differences(site, &wanted, &notices)));
                for ending in ["", "-wal", "-shm"] {
                    let _ = fs::remove_file(site.path(&format!("state/undim.db{ending}")));
                }
                site.undim(&["sweep"]);
                let restored = but_records(differences(site, &wanted, &notices));
                found.extend(
                    restored
                        .into_iter()
                        .map(|one| format!("without its ledger: {one}")),
                );
                found
            },
            &base,
        );
        assert!(points > 15, "{points} points");
    }
}

/// What a wrong order of writing would leave behind is seen by the comparison.
#[test]
fn the_comparison_sees_what_is_lost_or_doubled() {
    let base = lay_out();
    let (wanted, notices) = undisturbed(&base);
    let harms: [(&str, Harm); 6] = [
        ("a short file", |site| {
            let path = site.join("outbox/story/2026-03-14-noon/readings.csv");
            let bytes = fs::read(&path).expect("there");
            fs::write(path, &bytes[..bytes.len() / 2]).expect("cut");
        }),
        ("a line of an alert twice", |site| {
            let path = site.join("outbox/story/alerts.jsonl");
            let text = fs::read_to_string(&path).expect("there");
            fs::write(path, text.repeat(2)).expect("doubled");
        }),
        ("a survey twice", |site| {
            fs::create_dir(site.join("outbox/reef/2026-03-05-dusk-2")).expect("made");
            fs::write(site.join("outbox/reef/2026-03-05-dusk-2/survey.json"), "{}").expect("made");
        }),
        ("an input without its reason", |site| {
            fs::remove_file(site.join("inbox/set-aside/story/sensor/friend.csv.why.txt")).expect("there");
        }),
        ("an input that is gone", |site| {
            fs::remove_file(site.join("inbox/taken/story/sensor/c.csv")).expect("there");
        }),
        ("a notice that never went out", |site| {
            fs::remove_file(site.join("told")).expect("there");
        }),
    ];
    for (what, harm) in harms {
        let site = copy_of(&base);
        site.undim(&["sweep"]);
        assert_eq!(
            differences(&site, &wanted, &notices),
            Vec::<String>::new(),
            "two sweeps alike"
        );
        harm(&site.path(""));
        assert!(!differences(&site, &wanted, &notices).is_empty(), "{what}");
    }
}
