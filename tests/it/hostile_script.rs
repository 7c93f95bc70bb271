//! Whatever a script does costs the file it was given, and nothing else: the same as for libraries (`hostile.rs`).

use crate::importer_examples::{allow_to_run, has_python};
use crate::support::{TestSite, importer};
use crate::watch::{Daemon, wait_for};
use std::time::{Duration, Instant};

const GOOD: &str =
    "time,station,x,y,z,PPFD\n2026-01-10T12:00:00,a,10,10,10,180\n2026-01-10T12:00:05,b,30,12,25,240\n";

/// Does what the first line of its file says; `$path` is what follows. Whoever succeeds gives a reading.
const VILLAIN: &str = r#"#!/bin/sh
# undim-importer: name villain
# undim-importer: mark villain
read -r mark word path
fail() { echo "failure: refused" >&2; exit 1; }
finish() { while read -r rest; do :; done; echo "row,value"; echo "2,1"; exit 0; }
case $word in
write) echo taken > "$path" || fail; finish ;;
read-site) read -r line < "$path" || fail; finish ;;
list) for found in "$path"/*; do [ "$found" = "$path/*" ] && fail; done; finish ;;
chdir) cd / || fail; finish ;;
run) exec "$path" ;;
fork) /bin/true; finish ;;
fork-bomb) bomb() { bomb | bomb & }; bomb; finish ;;
kill-parent) kill -9 "$PPID" || fail; finish ;;
loop) while :; do :; done ;;
sleep) exec sleep 1000 ;;
allocate) exec awk 'BEGIN { s = "xxxxxxxx"; while (1) s = s s }' ;;
endless) exec awk 'BEGIN { print "row,value"; while (1) print "1,1" }' ;;
one-row) exec awk 'BEGIN { print "row,value,remark"; printf "1,1,\""; while (1) printf "xxxxxxxx" }' ;;
early) exit 0 ;;
rows-and-early) echo "row,value"; echo "1,1"; exit 0 ;;
status) echo "out of ink" >&2; exit 7 ;;
garbage) printf '\001\002garbage\n'; finish ;;
row-zero) echo "row,value"; echo "0,1"; finish ;;
cells) echo "row,value"; echo "1,1,1"; finish ;;
facts) i=0; while [ $i -lt 300 ]; do echo "found unit = lx" >&2; i=$((i + 1)); done; finish ;;
noise) exec awk 'BEGIN { print "row,value"; for (i = 0; i < 200000; i++) print "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" > "/dev/stderr" } { print NR ",120" }' ;;
environment) echo "found outcome = $HOME$USER$UNDIM_SITE." >&2; finish ;;
esac
"#;

fn site(timeout: &str) -> TestSite {
    let site = TestSite::with_site_file(&format!(
        "[site]\ntimezone = \"UTC\"\n[intake]\nsettle = \"0s\"\n[importers]\ntimeout = \"{timeout}\"\nmemory = \"256MiB\"\n",
    ));
    site.write("villain.sh", VILLAIN);
    allow_to_run(&site.path("villain.sh"));
    site.install(&site.path("villain.sh"));
    site
}

fn ask_for(site: &TestSite, misdeed: &str, path: &str) {
    site.drop_file(
        &format!("reef/{misdeed}.txt"),
        format!("villain {misdeed} {path}\n1\n"),
    );
}

fn why(site: &TestSite, misdeed: &str) -> String {
    site.read(&format!("inbox/set-aside/reef/{misdeed}.txt.why.txt"))
}

const MISDEEDS: &[(&str, &str)] = &[
    ("chdir", "refused"),
    ("fork", "can start no program beside itself"),
    ("fork-bomb", "can start no program beside itself"),
    ("kill-parent", "refused"),
    ("allocate", "the script ended with status"),
    ("one-row", "is a quote left open?"),
    ("early", "wrote nothing"),
    ("rows-and-early", "before it had read the file"),
    ("status", "ended with status 7; it said “out of ink”"),
    ("garbage", "is no column"),
    ("row-zero", "rows count from 1"),
    ("cells", "3 cells, but 2 columns"),
    ("facts", "more than 256 facts"),
];

const HANGS: &[(&str, &str)] = &[
    ("loop", "took too long (importers.timeout"),
    ("sleep", "took too long (importers.timeout"),
    ("endless", "was stopped"),
];

#[test]
fn each_misdeed_of_a_script_costs_its_own_file() {
    for (timeout, misdeeds) in [("20s", MISDEEDS), ("1s", HANGS)] {
        let site = site(timeout);
        let before = site.read("undim.toml");
        for (misdeed, _) in misdeeds {
            ask_for(&site, misdeed, "");
        }
        site.drop_file("reef/a-good-one.csv", GOOD);
        site.drop_file("reef/z-good-one.csv", GOOD.replace("2026-01-10", "2026-02-14"));
        let run = site.undim(&["sweep"]);
        assert_eq!(run.status, Some(1), "{run}");
        for (misdeed, words) in misdeeds {
            let why = why(&site, misdeed);
            assert!(why.contains(words), "{misdeed}: {why}\n{run}");
        }
        assert_eq!(site.surveys("reef"), ["2026-01-10", "2026-02-14"], "{run}");
        assert_eq!(site.read("undim.toml"), before);
    }
}

#[test]
fn a_script_reads_writes_and_runs_nothing_of_the_keepers() {
    let site = site("20s");
    let secret = site.path("undim.toml");
    let before = site.read("undim.toml");
    site.write("other.sh", "#!/bin/sh\necho row,value\necho 1,1\n");
    allow_to_run(&site.path("other.sh"));
    ask_for(&site, "read-site", &secret.display().to_string());
    ask_for(&site, "write", &secret.display().to_string());
    ask_for(&site, "list", &site.path("inbox").display().to_string());
    ask_for(&site, "run", &site.path("other.sh").display().to_string());
    site.drop_file("reef/z-good-one.csv", GOOD);
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(1), "{run}");
    for misdeed in ["read-site", "write", "list"] {
        assert!(why(&site, misdeed).contains("refused"), "{}", why(&site, misdeed));
    }
    assert!(
        why(&site, "run").contains("ended with status 126"),
        "{}",
        why(&site, "run")
    );
    assert_eq!(site.read("undim.toml"), before);
    assert_eq!(site.surveys("reef"), ["2026-01-10"], "{run}");
}

#[test]
fn what_hurts_nobody_is_let_be() {
    let site = site("20s");
    for misdeed in ["noise", "environment"] {
        site.drop_file(
            &format!("{misdeed}/{misdeed} 2026-03-01.txt"),
            format!("villain {misdeed}\n120\n"),
        );
    }
    let (run, peak_mib) = site.undim_with_peak(&["sweep"]);
    assert_eq!(run.status, Some(0), "{run}");
    assert!(peak_mib < 64, "{peak_mib} MiB");
    assert_eq!(site.surveys("noise").len(), 1, "{run}");
    let told = site.read("outbox/environment/2026-03-01/survey.json");
    assert!(
        told.contains("\".\""),
        "nothing of the environment is there: {told}"
    );
}

/// Sockets of every sort, threads and memory, as only a larger language can ask for them.
#[test]
fn a_script_has_no_network_and_no_threads() {
    if !has_python() {
        return;
    }
    let site = site("20s");
    site.write(
        "tries.py",
        r#"#!/usr/bin/env python3
# undim-importer: name tries
# undim-importer: mark tries
import os, socket, sys, threading
lines = sys.stdin.buffer.read().decode().split()
def attempt(name, what):
    try:
        what()
        went = "done"
    except (OSError, RuntimeError, MemoryError) as error:
        went = "refused"
    print(f"found {name} = {went}", file=sys.stderr)
attempt("tcp", lambda: socket.create_connection(("127.0.0.1", 9), 1))
attempt("udp", lambda: socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
attempt("local", lambda: socket.socket(socket.AF_UNIX))
attempt("pair", lambda: socket.socketpair())
attempt("thread", lambda: threading.Thread(target=print).start())
attempt("fork", os.fork)
attempt("session", os.setsid)
attempt("memory", lambda: bytearray(1 << 30))
attempt("write", lambda: open("/tmp/undim-tries", "w"))
attempt("passwords", lambda: open("/etc/passwd"))
attempt("environment", lambda: open("/proc/self/environ"))
attempt("parent", lambda: os.kill(os.getppid(), 9))
attempt("remove", lambda: os.unlink(sys.argv[0]))
print("row,value")
print("2,120")
"#,
    );
    allow_to_run(&site.path("tries.py"));
    site.install(&site.path("tries.py"));
    site.drop_file("reef/tries 2026-03-01.txt", "tries\n120\n");
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(0), "{run}");
    let told = site.json("outbox/reef/2026-03-01/survey.json").to_string();
    assert!(told.contains("refused") && !told.contains("\"done\""), "{told}");
    assert!(site.exists("plugins/tries.py"));
}

/// After each kind of misdeed, of a library and of a script, the next good file is taken in within a second.
#[test]
fn the_next_good_file_is_taken_in_within_a_second() {
    let site = site("1s");
    site.install(importer("undim-importer-hostile"));
    let daemon = Daemon::start(&site);
    let misdeeds = ["loop", "early", "garbage", "fork-bomb"];
    for misdeed in misdeeds {
        ask_for(&site, misdeed, "");
    }
    for misdeed in ["null-write", "garbage-in-the-pipe", "tcp"] {
        site.drop_file(&format!("reef/{misdeed}.txt"), format!("hostile: {misdeed}\n1\n"));
    }
    wait_for("the misdeeds' files to be set aside", || {
        misdeeds
            .iter()
            .chain(&["null-write", "garbage-in-the-pipe", "tcp"])
            .all(|misdeed| site.exists(&format!("inbox/set-aside/reef/{misdeed}.txt.why.txt")))
    });
    // The best of three: a busy machine must not decide.
    let mut best = Duration::MAX;
    for day in 10..13 {
        let date = format!("2026-01-{day}");
        let started = Instant::now();
        site.drop_file(&format!("reef/good-{day}.csv"), GOOD.replace("2026-01-10", &date));
        wait_for("the good file's survey", || {
            site.exists(&format!("outbox/reef/{date}/survey.json"))
        });
        best = best.min(started.elapsed());
    }
    let run = daemon.stop();
    assert_eq!(run.status, Some(0), "{run}");
    assert!(best < Duration::from_secs(1), "{best:?}");
    let why = site.read("inbox/set-aside/reef/null-write.txt.why.txt");
    assert!(
        why.contains("the importer “hostile” crashed on this file"),
        "{why}"
    );
}
