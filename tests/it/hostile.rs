//! Whatever an importer does costs the file it was given, and nothing else.

use crate::support::{TestSite, importer};
use crate::watch::{Daemon, wait_for};
use std::time::{Duration, Instant};

const GOOD: &str =
    "time,station,x,y,z,PPFD\n2026-01-10T12:00:00,a,10,10,10,180\n2026-01-10T12:00:05,b,30,12,25,240\n";

/// A site with the importer that misbehaves on request.
fn site(timeout: &str) -> TestSite {
    let site = TestSite::with_site_file(&format!(
        "[site]\ntimezone = \"UTC\"\n[intake]\nsettle = \"0s\"\n[importers]\ntimeout = \"{timeout}\"\nmemory = \"256MiB\"\n",
    ));
    site.install(importer("undim-importer-hostile"));
    site
}

/// Only what hangs is meant to come to the end of the time; a busy machine must not decide what else is said.
const PATIENT: &str = "20s";
const IMPATIENT: &str = "1s";

/// Drops a file that asks for this misdeed.
fn ask_for(site: &TestSite, misdeed: &str, rest: &str) {
    site.drop_file(
        &format!("reef/{misdeed}.txt"),
        format!("hostile: {misdeed}\n{rest}\n"),
    );
}

/// What the misdeed's file is set aside with.
fn why(site: &TestSite, misdeed: &str) -> String {
    assert!(
        !site.exists(&format!("inbox/reef/{misdeed}.txt")),
        "{misdeed}: it still lies in the inbox"
    );
    assert!(
        site.exists(&format!("inbox/set-aside/reef/{misdeed}.txt")),
        "{misdeed}\n{}",
        site.listing()
    );
    site.read(&format!("inbox/set-aside/reef/{misdeed}.txt.why.txt"))
}

/// Misdeeds, and the words that the keeper must find in the sentence about each.
const MISDEEDS: &[(&str, &str)] = &[
    // Crashes.
    ("panic", "crashed on this file"),
    ("abort", "crashed on this file"),
    ("null-write", "touched memory that is not its own"),
    ("stack-overflow", "crashed on this file"),
    // Ends before its time, without the frame that closes a file.
    ("exit-0", "ended by itself with status 0 before the file was read"),
    ("exit-7", "ended by itself with status 7 before the file was read"),
    ("closes-everything", "before the file was read"),
    // Takes all there is.
    ("allocate", "more memory than it may take (importers.memory"),
    ("endless-facts", "more than 256 facts"),
    // Lies.
    ("too-many-rows", "broke its contract"),
    ("small-stride", "broke its contract"),
    ("row-zero", "rows count from 1"),
    ("goes-on-after-stop", "broke its contract"),
    ("not-utf8", "not UTF-8"),
    ("forged-frames", "broke its contract"),
    ("garbage-in-the-pipe", "broke its contract"),
    ("fails-in-silence", "without saying why"),
    // Reaches out.
    ("tcp", "importers may not do"),
    ("udp", "importers may not do"),
    ("chdir", "importers may not do"),
];

/// Misdeeds without an end.
const HANGS: &[(&str, &str)] = &[
    ("loop", "took too long (importers.timeout"),
    ("sleep", "took too long (importers.timeout"),
    ("endless-problems", "was stopped"),
    ("endless-rows", "was stopped"),
];

#[test]
fn each_misdeed_sets_its_own_file_aside_and_the_good_ones_come_through() {
    for (timeout, misdeeds) in [(PATIENT, MISDEEDS), (IMPATIENT, HANGS)] {
        let site = site(timeout);
        for (misdeed, _) in misdeeds {
            ask_for(&site, misdeed, "1");
        }
        // The listing is taken in by name: one good file before all of them, one after.
        site.drop_file("reef/a-good-one.csv", GOOD);
        site.drop_file("reef/z-good-one.csv", GOOD.replace("2026-01-10", "2026-02-14"));
        let run = site.undim(&["sweep"]);
        assert_eq!(run.status, Some(1), "{run}");
        for (misdeed, words) in misdeeds {
            let why = why(&site, misdeed);
            assert!(why.contains(words), "{misdeed}: {why}");
        }
        assert_eq!(site.surveys("reef"), ["2026-01-10", "2026-02-14"], "{run}");
        for survey in ["2026-01-10", "2026-02-14"] {
            let stations = site.rows(&format!("outbox/reef/{survey}/stations.csv"));
            assert_eq!(stations.len(), 2);
        }
    }
}

/// A file that asks for a path: nothing is read from it, written to it or taken away.
#[test]
fn an_importer_reads_writes_and_removes_nothing_of_the_keepers() {
    let site = site(PATIENT);
    let secret = site.path("undim.toml");
    let before = site.read("undim.toml");
    for misdeed in ["open-file", "write-file", "remove-file"] {
        ask_for(&site, misdeed, &secret.display().to_string());
    }
    ask_for(&site, "list-folder", &site.path("").display().to_string());
    let new = site.path("inbox/reef/brought-in.csv");
    site.drop_file(
        "reef/new-file.txt",
        format!("hostile: write-file\n{}\n", new.display()),
    );
    site.drop_file("reef/z-good-one.csv", GOOD);
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(1), "{run}");
    // Whoever succeeds gives a reading, and its file is taken in.
    for misdeed in ["open-file", "write-file", "list-folder", "new-file"] {
        assert!(
            why(&site, misdeed).contains("no readings"),
            "{misdeed}: {}",
            why(&site, misdeed)
        );
    }
    let removal = why(&site, "remove-file");
    assert!(removal.contains("importers may not do"), "{removal}");
    assert_eq!(site.read("undim.toml"), before);
    assert!(
        !new.exists() && !site.exists("inbox/taken/reef/brought-in.csv"),
        "{}",
        site.listing()
    );
    assert_eq!(site.surveys("reef"), ["2026-01-10"], "{run}");
}

/// What is merely refused: the importer may go on, and its rows count. What came of the try stands in the survey.
#[test]
fn what_is_refused_is_told_and_a_flood_of_words_hurts_nobody() {
    let site = site(PATIENT);
    for misdeed in ["thread", "fork", "environment", "prints-much"] {
        site.drop_file(
            &format!("{misdeed}/{misdeed} 2026-03-01.txt"),
            format!("hostile: {misdeed}\n120\n"),
        );
    }
    let (run, peak_mib) = site.undim_with_peak(&["sweep"]);
    assert_eq!(run.status, Some(0), "{run}");
    assert!(peak_mib < 64, "{peak_mib} MiB");
    for misdeed in ["thread", "fork", "environment", "prints-much"] {
        assert_eq!(site.surveys(misdeed).len(), 1, "{misdeed}: {run}");
    }
    let told = |misdeed: &str| site.read(&format!("outbox/{misdeed}/2026-03-01/survey.json"));
    assert!(
        told("thread").contains("refused: permission denied"),
        "{}",
        told("thread")
    );
    assert!(
        told("fork").contains("refused: permission denied"),
        "{}",
        told("fork")
    );
    assert!(
        told("environment").contains("0 variables"),
        "{}",
        told("environment")
    );
}

/// A probe that crashes, hangs or lies costs a moment; whether another importer reads the file is its own affair.
#[test]
fn a_probe_that_misbehaves_does_not_stop_the_sweep() {
    let site = site(IMPATIENT);
    for misdeed in ["probe-crash", "probe-loop", "probe-150"] {
        ask_for(&site, misdeed, "1");
    }
    site.drop_file("reef/z-good-one.csv", GOOD);
    let started = Instant::now();
    let run = site.undim(&["sweep"]);
    assert!(matches!(run.status, Some(0 | 1)), "{run}");
    assert!(
        started.elapsed() < Duration::from_secs(15),
        "{:?}",
        started.elapsed()
    );
    assert!(site.surveys("reef").contains(&"2026-01-10".to_owned()), "{run}");
    for misdeed in ["probe-crash", "probe-loop", "probe-150"] {
        assert!(
            !site.exists(&format!("inbox/reef/{misdeed}.txt")),
            "{misdeed} was left lying"
        );
    }
}

/// The daemon meets the same, lives on, and takes in what is dropped afterwards.
#[test]
fn the_daemon_lives_on_after_each_kind_of_misdeed() {
    let site = site(IMPATIENT);
    let daemon = Daemon::start(&site);
    let misdeeds = [
        "null-write",
        "loop",
        "allocate",
        "exit-0",
        "garbage-in-the-pipe",
        "tcp",
    ];
    for misdeed in misdeeds {
        ask_for(&site, misdeed, "1");
    }
    wait_for("the misdeeds' files to be set aside", || {
        misdeeds
            .iter()
            .all(|misdeed| site.exists(&format!("inbox/set-aside/reef/{misdeed}.txt.why.txt")))
    });
    site.drop_file("reef/good.csv", GOOD);
    wait_for("the good file's survey", || {
        site.exists("outbox/reef/2026-01-10/survey.json")
    });
    let run = daemon.stop();
    assert_eq!(run.status, Some(0), "{run}");
    for misdeed in misdeeds {
        assert!(!why(&site, misdeed).is_empty());
    }
}
