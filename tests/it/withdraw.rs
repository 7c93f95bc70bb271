//! A file out of every judgement, and back: what was written follows as if it never came, and its bytes stay.

use crate::light::{Outing, survey_csv, tank_file};
use crate::support::TestSite;
use std::fs;

fn site() -> TestSite {
    let site = TestSite::with_site_file(
        "[site]\nname = \"Story\"\ntimezone = \"Europe/Lisbon\"\n[intake]\nsettle = \"0s\"\n[[notify]]\nkind = \"file\"\n",
    );
    site.write(
        "tanks/story.toml",
        tank_file() + "\n[drift]\nsurvey_repeat_percent = 1.0\n",
    );
    site.write(
        "devices/sensor.toml",
        "name = \"Sensor\"\nunit = \"umol.m-2.s-1\"\nrepeat_percent = 1.2\nrezero_percent = 0.5\ncal_percent = 3.0\n",
    );
    site
}

fn outing(date: &'static str, west: f64, seed: u64) -> String {
    survey_csv(&Outing {
        date,
        west,
        east: 1.0,
        seed,
    })
}

/// Everything that was written, but how old the state is and the notices that went out.
fn written(site: &TestSite) -> Vec<(String, Vec<u8>)> {
    let mut all = site.snapshot("outbox");
    all.retain(|(name, _)| !matches!(name.as_str(), "status.json" | "notices.txt"));
    all
}

/// What was said, without the breaks of its lines.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn forget_the_ledger(site: &TestSite) {
    for ending in ["", "-wal", "-shm"] {
        let _ = fs::remove_file(site.path(&format!("state/undim.db{ending}")));
    }
}

#[test]
fn withdrawn_it_is_as_if_it_never_came_and_undone_as_if_nothing_was() {
    let site = site();
    site.drop_file("story/sensor/january.csv", outing("2026-01-10", 1.0, 1));
    site.drop_file("story/sensor/february.csv", outing("2026-02-14", 1.0, 2));
    site.sweep();
    let before = written(&site);
    site.drop_file("story/sensor/march.csv", outing("2026-03-14", 0.75, 3));
    site.sweep();
    let alerted = written(&site);
    assert!(site.read("outbox/story/alerts.jsonl").contains("\"open\""));
    let raw = site.snapshot("state/raw").len();

    let run = site.undim(&["withdraw", "march.csv", "--why", "the bag leaked"]);
    assert_eq!(run.status, Some(0), "{run}");
    for said in [
        "out of every judgement",
        "Nothing is left of survey 2026-03-14",
        "is open no more",
        "--undo",
    ] {
        assert!(flat(&run.stdout).contains(said), "{said}: {run}");
    }
    assert!(
        written(&site) == before,
        "as if it never came: {}",
        site.listing()
    );
    assert_eq!(site.snapshot("state/raw").len(), raw, "its bytes stay");
    let listed = site.undim(&["withdraw", "--json"]);
    assert!(listed.stdout.contains("the bag leaked") && listed.stdout.contains("story/sensor/march.csv"));

    // The ledger is derived: what was withdrawn stays so without it.
    for lost in [false, true] {
        if lost {
            forget_the_ledger(&site);
        }
        assert_eq!(site.undim(&["rebuild"]).status, Some(0));
        assert!(written(&site) == before, "lost: {lost}");
    }
    // Dropped again it stays withdrawn, and this is said.
    site.drop_file("story/sensor/again.csv", outing("2026-03-14", 0.75, 3));
    let run = site.sweep();
    assert!(
        flat(&run.stdout).contains("was withdrawn: the bag leaked"),
        "{run}"
    );

    let run = site.undim(&["withdraw", "story/sensor/march.csv", "--undo", "--json"]);
    assert_eq!(run.status, Some(0), "{run}");
    let answer: serde_json::Value = serde_json::from_str(&run.stdout).expect("JSON");
    assert_eq!(answer["outcome"], "reinstated");
    assert_eq!(answer["surveys"][0]["survey"], "2026-03-14-noon");
    assert_eq!(answer["alerts_opened"].as_array().map(Vec::len), Some(1));
    assert_eq!(site.surveys("story").len(), 3, "under the id that it had");
    assert_eq!(
        site.json("outbox/story/2026-03-14-noon/survey.json")["revision"],
        3
    );
    let (history, alerts) = ("story/history.csv", "story/alerts.jsonl");
    let of =
        |all: &[(String, Vec<u8>)], name: &str| all.iter().find(|(n, _)| n == name).expect(name).1.clone();
    let after = written(&site);
    for name in [history, alerts] {
        assert!(of(&after, name) == of(&alerted, name), "{name}");
    }
    forget_the_ledger(&site);
    assert_eq!(site.undim(&["rebuild"]).status, Some(0));
    assert!(
        written(&site) == after,
        "the undoing too comes back from the archive"
    );
}

#[test]
fn a_survey_that_loses_one_of_its_files_says_which_and_why() {
    let site = TestSite::new();
    let row =
        |second: u8, name: &str, ppfd: u16| format!("2026-01-10T12:00:{second:02},{name},10,10,10,{ppfd}\n");
    let head = "time,station,x,y,z,PPFD\n";
    site.drop_file("reef/a.csv", head.to_owned() + &row(0, "p", 180));
    site.drop_file("reef/b.csv", head.to_owned() + &row(9, "q", 900));
    site.drop_file("reef/b.csv.note.toml", "remark = \"by hand\"\n");
    site.sweep();
    let survey = "outbox/reef/2026-01-10/survey.json";
    assert_eq!(
        site.json(survey)["sources"][1]["notes"][0],
        "remark = \"by hand\"\n"
    );
    assert!(
        site.read("outbox/reef/2026-01-10/report.html")
            .contains("Its note:")
    );
    let hash = site.json(survey)["sources"][1]["blake3"]
        .as_str()
        .expect("a hash")
        .to_owned();
    let run = site.undim(&["withdraw", &hash[..8], "--why", "read at the <wrong> tank"]);
    assert_eq!(run.status, Some(0), "{run}");
    let json = site.json(survey);
    assert_eq!(json["revision"], 3);
    assert_eq!(json["sources"].as_array().map(Vec::len), Some(1));
    assert_eq!(json["withdrawn"][0]["file"], "reef/b.csv");
    assert_eq!(json["withdrawn"][0]["why"], "read at the <wrong> tank");
    let page = site.read("outbox/reef/2026-01-10/report.html");
    assert!(
        page.contains("reef/b.csv: withdrawn") && page.contains("read at the &lt;wrong&gt; tank"),
        "{page}"
    );
    assert_eq!(site.rows("outbox/reef/history.csv").len(), 1);
    // A note for the withdrawn file waits with it.
    site.drop_file("reef/b.csv.note.toml", "remark = \"by hand\"\npumps = \"on\"\n");
    let run = site.sweep();
    assert!(
        flat(&run.stdout).contains("is withdrawn and counts nowhere"),
        "{run}"
    );
    assert_eq!(site.rows("outbox/reef/history.csv").len(), 1);
    assert_eq!(site.undim(&["withdraw", "b.csv", "--undo"]).status, Some(0));
    assert_eq!(site.json(survey)["pumps"], "on");
    assert_eq!(site.json(survey)["withdrawn"].as_array().map(Vec::len), Some(0));
    let before = written(&site);
    forget_the_ledger(&site);
    site.sweep();
    assert!(written(&site) == before, "a lost ledger");
}

/// A logger's file that grew: with the longer one withdrawn the shorter one counts again.
#[test]
fn withdrawing_what_had_grown_brings_back_what_it_replaced() {
    let site = TestSite::new();
    let short = "time,station,x,y,z,PPFD\n2026-01-10T12:00:00,p,10,10,10,180\n".to_owned();
    let long = short.clone() + "2026-01-10T12:00:09,p,10,10,10,900\n";
    let survey = "outbox/reef/2026-01-10/survey.json";
    site.drop_file("reef/log.csv", &short);
    site.sweep();
    site.drop_file("reef/log.csv", &long);
    site.sweep();
    assert_eq!(site.json(survey)["sources"][0]["rows"], 2);
    let run = site.undim(&["withdraw", "reef/log.csv", "--why", "a splash"]);
    assert_eq!(run.status, Some(0), "{run}");
    assert!(flat(&run.stdout).contains("counts again in its place"), "{run}");
    assert_eq!(site.json(survey)["sources"][0]["rows"], 1);
    // What grows on from there replaces the shorter one, not the withdrawn one.
    let other = short + "2026-01-10T12:00:10,p,10,10,10,181\n";
    site.drop_file("reef/log.csv", &other);
    site.sweep();
    assert_eq!(site.json(survey)["sources"].as_array().map(Vec::len), Some(1));
    assert_eq!(site.json(survey)["sources"][0]["rows"], 2);
    let before = written(&site);
    forget_the_ledger(&site);
    site.sweep();
    assert!(written(&site) == before, "a lost ledger");
    // Undone while another has replaced the shorter one: both count, and equal rows are repeats.
    assert_eq!(
        site.undim(&["withdraw", "reef/log.csv", "--undo"]).status,
        Some(0)
    );
    assert_eq!(site.json(survey)["sources"].as_array().map(Vec::len), Some(2));
    let before = written(&site);
    forget_the_ledger(&site);
    site.sweep();
    assert!(written(&site) == before, "a lost ledger");
}

#[test]
fn what_cannot_be_withdrawn_is_told_in_a_sentence_and_changes_nothing() {
    let site = TestSite::new();
    let table = |ppfd: u16| format!("time,station,x,y,z,PPFD\n2026-01-10T12:00:00,p,10,10,10,{ppfd}\n");
    site.drop_file("reef/day.csv", table(180));
    site.drop_file("lagoon/day.csv", table(190));
    site.sweep();
    site.drop_file(
        "reef/asked.csv",
        "date,x,y,z,PPFD\n03/04/2026,1,2,3,100\n03/04/2026,4,2,3,110\n",
    );
    assert_eq!(site.undim(&["sweep"]).status, Some(1));
    assert_eq!(
        site.undim(&["withdraw", "lagoon/day.csv", "--why", "torn"])
            .status,
        Some(0)
    );
    site.drop_file("reef/day.csv", table(170));
    site.sweep();
    let before = (written(&site), site.snapshot("state/raw"));
    let cases: [(&[&str], &str); 9] = [
        (
            &["withdraw", "reef/none.csv", "--why", "x"],
            "no file “reef/none.csv” was ever taken in",
        ),
        (&["withdraw", "day.csv", "--why", "x"], "may be 2 files"),
        (
            &["withdraw", "lagoon/day.csv", "--why", "x"],
            "is withdrawn already: torn",
        ),
        (
            &["withdraw", "reef/asked.csv", "--why", "x"],
            "was set aside and counts nowhere",
        ),
        (&["withdraw", "reef/day.csv", "--undo"], "is not withdrawn"),
        (&["withdraw", "reef/day.csv"], "say why"),
        (&["withdraw", "reef/day.csv", "--why", "  "], "say why"),
        (&["withdraw", "--undo"], "name the file too"),
        (&["withdraw", "ab", "--why", "x"], "at least 4 digits"),
    ];
    for (arguments, says) in cases {
        let run = site.undim(arguments);
        assert_eq!(run.status, Some(2), "{arguments:?}: {run}");
        assert!(run.stderr.contains(says), "{arguments:?}: {run}");
        assert!(
            (written(&site), site.snapshot("state/raw")) == before,
            "{arguments:?}"
        );
    }
}
