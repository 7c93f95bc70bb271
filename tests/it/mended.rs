//! What a keeper deletes, moves or breaks comes back as it was, and what is no more leaves nothing behind.

use crate::support::TestSite;
use std::fs;
use std::path::Path;

fn table(day: &str) -> String {
    format!("time,station,x,y,z,PPFD\n{day}T12:00:00,a,10,10,10,180\n{day}T12:00:05,b,30,12,25,240\n")
}

fn site_in(zone: &str) -> TestSite {
    TestSite::with_site_file(&format!(
        "[site]\ntimezone = \"{zone}\"\n[intake]\nsettle = \"0s\"\n"
    ))
}

fn same(site: &TestSite, before: &[(String, Vec<u8>)], what: &str) {
    let after = site.snapshot("outbox/reef");
    let names = |files: &[(String, Vec<u8>)]| files.iter().map(|(name, _)| name.clone()).collect::<Vec<_>>();
    assert_eq!(names(before), names(&after), "{what}");
    for ((name, old), (_, new)) in before.iter().zip(&after) {
        assert!(old == new, "{what}: {name} differs");
    }
}

fn forget_ledger(site: &TestSite) {
    for ending in ["", "-wal", "-shm"] {
        let _ = fs::remove_file(site.path(&format!("state/undim.db{ending}")));
    }
}

#[test]
fn what_was_derived_comes_back_after_it_was_deleted() {
    let site = site_in("UTC");
    site.drop_file("reef/a.csv", table("2026-01-10"));
    site.drop_file("reef/b.csv", table("2026-02-10").replace("180", "150"));
    site.sweep();
    let before = site.snapshot("outbox/reef");
    for gone in [
        "outbox",
        "outbox/reef/2026-01-10",
        "outbox/reef/history.csv",
        "outbox/reef/alerts.jsonl",
        "state/rows",
        "state/undim.db",
    ] {
        if Path::new(gone).extension().is_some_and(|end| end == "db") {
            forget_ledger(&site);
        } else if site.path(gone).is_dir() {
            fs::remove_dir_all(site.path(gone)).expect("removed");
        } else {
            fs::remove_file(site.path(gone)).expect("removed");
        }
        site.sweep();
        same(&site, &before, gone);
        assert_eq!(site.undim(&["rebuild"]).status, Some(0));
        same(&site, &before, gone);
    }
}

/// Another time zone moves a survey to another day, a tank declared later has another id: under the old ones
/// nothing may be left, whether or not the ledger still knows of them.
#[test]
fn what_moves_leaves_nothing_behind() {
    for how in ["sweep", "rebuild", "a lost ledger"] {
        let site = site_in("UTC");
        site.write("outbox/reef/keepers own/notes.txt", "mine");
        let late = table("2026-01-10")
            .replace("12:00:00", "23:30:00Z")
            .replace("12:00:05", "23:30:05Z");
        site.drop_file("reef/a.csv", late);
        site.drop_file("old name/b.csv", table("2026-03-10"));
        site.sweep();
        assert_eq!(site.surveys("reef"), ["2026-01-10"]);
        assert_eq!(site.surveys("old-name"), ["2026-03-10"]);

        site.write(
            "undim.toml",
            "[site]\ntimezone = \"Asia/Tokyo\"\n[intake]\nsettle = \"0s\"\n",
        );
        site.write("tanks/lagoon.toml", "name = \"old name\"\n");
        if how == "a lost ledger" {
            forget_ledger(&site);
        }
        let run = site.undim(&[if how == "rebuild" { "rebuild" } else { "sweep" }]);
        assert_eq!(run.status, Some(0), "{run}");
        assert_eq!(site.surveys("reef"), ["2026-01-11"], "{how}");
        assert_eq!(site.surveys("lagoon"), ["2026-03-10"], "{how}");
        assert!(!site.exists("outbox/old-name"), "{how}: {}", site.listing());
        assert!(site.exists("outbox/reef/keepers own/notes.txt"), "{how}");
    }
}

/// The only thing left of a content whose raw bytes are gone is what was written of it.
#[test]
fn what_cannot_be_derived_again_stays_as_it_was_written() {
    let site = site_in("UTC");
    site.drop_file("reef/a.csv", table("2026-01-10"));
    site.sweep();
    fs::remove_dir_all(site.path("state/rows")).expect("removed");
    for (name, _) in site.snapshot("state/raw") {
        if Path::new(&name).extension().is_none_or(|end| end != "log") {
            fs::remove_file(site.path(&format!("state/raw/{name}"))).expect("removed");
        }
    }
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(3), "{run}");
    assert!(run.stdout.contains("reef/a.csv"), "{run}");
    assert!(site.exists("outbox/reef/2026-01-10/readings.csv"));
}

#[test]
fn a_sweep_that_cannot_look_into_the_inbox_says_so() {
    let site = site_in("UTC");
    fs::remove_dir_all(site.path("inbox")).expect("removed");
    fs::write(site.path("inbox"), "a file").expect("written");
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(3), "{run}");
    assert!(run.stdout.contains("inbox"), "{run}");
}

/// A failure of the outbox is no fault of the file: it stays, is named, and is taken in once that is mended.
#[test]
fn a_file_waits_while_the_outbox_cannot_be_written() {
    let site = site_in("UTC");
    site.write("outbox/reef", "a file where the tank's folder should be");
    site.drop_file("reef/a.csv", table("2026-01-10"));
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(3), "{run}");
    assert!(run.stdout.contains("reef/a.csv"), "it is named: {run}");
    assert!(site.exists("inbox/reef/a.csv"));
    fs::remove_file(site.path("outbox/reef")).expect("mended");
    site.sweep();
    assert_eq!(site.surveys("reef"), ["2026-01-10"]);
    assert!(site.exists("inbox/taken/reef/a.csv"));
}

#[test]
fn a_file_is_not_blamed_for_a_frame_that_an_older_one_of_its_survey_lost() {
    let site = TestSite::with_site_file(
        "[site]\ntimezone = \"UTC\"\n[intake]\nsettle = \"0s\"\n[[route]]\nmatch = \"reef/rod/*.csv\"\nframe = \"rod\"\n",
    );
    let frame = "[[frame]]\nid = \"rod\"\naxes = [\"right\", \"up\", \"back\"]\n";
    site.write("tanks/reef.toml", format!("name = \"Reef\"\n{frame}"));
    site.drop_file("reef/rod/first.csv", table("2026-01-10"));
    site.sweep();

    // The keeper takes route and frame out; a note of the first file still names it.
    site.write(
        "undim.toml",
        "[site]\ntimezone = \"UTC\"\n[intake]\nsettle = \"0s\"\n",
    );
    site.drop_file("reef/rod/first.csv.note.toml", "frame = \"rod\"\n");
    site.sweep();
    site.write("tanks/reef.toml", "name = \"Reef\"\n");
    let second = table("2026-01-10").replace("12:00", "13:00");
    site.drop_file("reef/hand/second.csv", &second);
    let run = site.undim(&["sweep"]);
    assert!(
        site.exists("inbox/reef/hand/second.csv"),
        "it waits: {run}\n{}",
        site.listing()
    );
    assert!(
        run.stdout.contains("first.csv"),
        "the file at fault is named: {run}"
    );

    site.write("tanks/reef.toml", format!("name = \"Reef\"\n{frame}"));
    site.sweep();
    assert_eq!(site.rows("outbox/reef/2026-01-10/readings.csv").len(), 4);
}
