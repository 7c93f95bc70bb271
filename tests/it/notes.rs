//! Notes that come after their file: each makes a new revision, and one that can't be used changes nothing.

use crate::support::TestSite;

const TABLE: &str =
    "time,station,x,y,z,PPFD\n2026-01-10T12:00:00,a,10,10,10,180\n2026-01-10T12:00:05,b,30,12,25,240\n";

fn site() -> TestSite {
    let site = TestSite::with_site_file("[site]\ntimezone = \"UTC\"\n[intake]\nsettle = \"0s\"\n");
    site.drop_file("reef/a.csv", TABLE);
    site.sweep();
    site
}

#[test]
fn a_note_makes_a_new_revision_under_the_same_id() {
    let site = site();
    site.drop_file("reef/a.csv.note.toml", "remark = \"calm\"\n");
    site.sweep();
    site.drop_file("reef/a.csv.note.toml", "remark = \"calm\"\nclock_offset = 3600\n");
    site.sweep();
    assert_eq!(site.surveys("reef"), ["2026-01-10"]);
    let survey = site.json("outbox/reef/2026-01-10/survey.json");
    assert_eq!(survey["revision"], 3);
    assert_eq!(survey["sources"][0]["remark"], "calm");
    assert_eq!(
        site.rows("outbox/reef/2026-01-10/readings.csv")[0].get("time"),
        "2026-01-10T13:00:00+00:00"
    );
}

/// Unknown layout, unknown frame, a scene that would read like the second survey of a day.
#[test]
fn a_note_under_which_its_file_cannot_be_read_is_set_aside_and_changes_nothing() {
    for (note, says) in [
        ("layout = \"nowhere\"\n", "nowhere"),
        ("frame = \"rod\"\n", "rod"),
        ("scene = \"noon-2\"\n", "noon2"),
    ] {
        let site = site();
        let before = site.snapshot("outbox/reef");
        site.drop_file("reef/a.csv.note.toml", note);
        let run = site.undim(&["sweep"]);
        assert_eq!(run.status, Some(1), "{run}");
        assert!(run.stdout.contains("set aside"), "{run}");
        let why = site.read("inbox/set-aside/reef/a.csv.note.toml.why.txt");
        assert!(why.contains(says), "{why}");
        assert!(before == site.snapshot("outbox/reef"), "{note}: nothing changed");
        site.sweep();
        assert!(
            before == site.snapshot("outbox/reef"),
            "{note}: nor does it later"
        );
    }
}

/// The ledger is derived from the archive, notes and their order with it.
#[test]
fn a_lost_ledger_comes_back_from_the_archive() {
    let site = site();
    site.drop_file("reef/a.csv.note.toml", "remark = \"first\"\n");
    site.sweep();
    site.drop_file("reef/a.csv.note.toml", "scene = \"dusk\"\n");
    site.drop_file(
        "reef/b.csv",
        TABLE.to_owned() + "2026-01-10T12:00:09,a,10,10,10,181\n",
    );
    site.drop_file("reef/b.csv.note.toml", "pumps = \"off\"\n");
    site.sweep();
    let before = site.snapshot("outbox/reef");
    for ending in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(site.path(&format!("state/undim.db{ending}")));
    }
    site.sweep();
    let after = site.snapshot("outbox/reef");
    for ((name, old), (_, new)) in before.iter().zip(&after) {
        assert!(old == new, "{name} differs");
    }
    assert_eq!(before.len(), after.len());
}
