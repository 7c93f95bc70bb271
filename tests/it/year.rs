//! A keeper's year: what changes in a tank, what goes wrong and is put right, and at the end the same bytes again.

use crate::light::{Outing, survey_csv, tank_file};
use crate::support::{Run, TestSite};

/// The west fixture was swapped for a smaller one on 3 May, and a coral moved on 2 June.
const PAST: [(&str, &str); 1] = [(
    "[[fixture]]\nid = \"west\"\ncentre_cm = [30.0, 72.0, 30.0]\nsize_cm = [20.0, 20.0]\n",
    "[[fixture]]\nid = \"west\"\ncentre_cm = [30.0, 72.0, 30.0]\nsize_cm = [20.0, 20.0]\nuntil = 2026-05-02\n\n\
     [[fixture]]\nid = \"west\"\ncentre_cm = [30.0, 72.0, 30.0]\nsize_cm = [16.0, 16.0]\nfrom = 2026-05-03\n",
)];

const CORAL: &str = "[[coral]]\nid = \"plating-1\"\nat_cm = [58.0, 34.0, 30.0]\nppfd = [100, 200]\nuntil = 2026-06-01\n\n\
     [[coral]]\nid = \"plating-1\"\nat_cm = [88.0, 36.0, 36.0]\nppfd = [100, 200]\nfrom = 2026-06-02\n\n";

struct Year {
    site: TestSite,
    tank: String,
    seed: u64,
}

impl Year {
    fn new() -> Self {
        let site = TestSite::with_site_file(
            "[site]\nname = \"Story\"\ntimezone = \"Europe/Lisbon\"\n[intake]\nsettle = \"0s\"\n[[notify]]\nkind = \"file\"\n",
        );
        site.write(
            "devices/sensor.toml",
            "name = \"Sensor\"\nrole = \"reference\"\nunit = \"umol.m-2.s-1\"\nrepeat_percent = 1.2\nrezero_percent = 0.5\ncal_percent = 3.0\n",
        );
        let tank = tank_file() + "\n[drift]\nsurvey_repeat_percent = 1.0\n";
        let year = Self { site, tank, seed: 40 };
        year.write_tank();
        year
    }

    fn write_tank(&self) {
        self.site.write("tanks/story.toml", &self.tank);
    }

    fn survey(&mut self, date: &'static str, west: f64) -> Run {
        self.seed += 1;
        let text = survey_csv(&Outing {
            date,
            west,
            east: 1.0,
            seed: self.seed,
        });
        self.site.drop_file(&format!("story/sensor/{date}.csv"), text);
        self.site.sweep()
    }

    fn json(&self, survey: &str) -> serde_json::Value {
        self.site.json(&format!("outbox/story/{survey}/survey.json"))
    }

    fn page(&self, survey: &str) -> String {
        self.site.read(&format!("outbox/story/{survey}/report.html"))
    }

    fn open(&self) -> Vec<serde_json::Value> {
        let run = self.site.undim(&["status", "--json"]);
        let status: serde_json::Value = serde_json::from_str(&run.stdout).expect("JSON");
        let tanks = status["tanks"].as_array().cloned().unwrap_or_default();
        let of_each = tanks.iter().filter_map(|tank| tank["open_alerts"].as_array());
        of_each.flatten().cloned().collect()
    }

    /// The last change of an alert, and all it says.
    fn last_alert(&self) -> (serde_json::Value, String) {
        let text = self.site.read("outbox/story/alerts.jsonl");
        let last = text.lines().last().expect("an alert");
        (serde_json::from_str(last).expect("JSON"), last.to_lowercase())
    }

    fn written(&self) -> Vec<(String, Vec<u8>)> {
        let mut all = self.site.snapshot("outbox");
        all.retain(|(name, _)| !matches!(name.as_str(), "status.json" | "notices.txt"));
        all
    }
}

fn flat(run: &Run) -> String {
    run.stdout.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn mistakes_in_april(year: &mut Year) {
    let quiet = year.written();
    // A friend's tank, dropped into the wrong folder: an alert opens, and is gone with the file.
    year.survey("2026-04-04", 0.5);
    assert_eq!(year.open().len(), 1);
    for undo in [false, true, false] {
        let run = if undo {
            year.site.undim(&["withdraw", "2026-04-04.csv", "--undo"])
        } else {
            year.site
                .undim(&["withdraw", "2026-04-04.csv", "--why", "a friend's tank"])
        };
        assert_eq!(run.status, Some(0), "{run}");
        assert_eq!(year.open().len(), usize::from(undo), "{run}");
    }
    assert!(year.written() == quiet, "nothing of it is left");

    // Another one is moved where it belongs by a note alone.
    year.survey("2026-04-05", 0.6);
    year.site
        .drop_file("story/sensor/2026-04-05.csv.note.toml", "tank = \"friend\"\n");
    let run = year.site.sweep();
    assert!(
        flat(&run).contains("is now the note of story/sensor/2026-04-05.csv: friend, survey 2026-04-05"),
        "{run}"
    );
    assert!(
        !year.site.exists("outbox/story/2026-04-05") && year.open().is_empty(),
        "{run}"
    );
    assert!(
        year.site
            .read("outbox/friend/2026-04-05/report.html")
            .contains("tank = &quot;friend&quot;")
    );
    let of_story = |all: Vec<(String, Vec<u8>)>| -> Vec<_> {
        all.into_iter()
            .filter(|(name, _)| name.starts_with("story/"))
            .collect()
    };
    assert!(of_story(year.written()) == of_story(quiet));
}

fn swap_in_may(year: &mut Year) {
    // The swap, with its dates and its line in the upkeep list: a new baseline, which is said.
    for (old, new) in PAST {
        assert!(year.tank.contains(old));
        year.tank = year.tank.replace(old, new);
    }
    year.write_tank();
    year.site.write(
        "upkeep/story.csv",
        "date,what,where,remark\n2026-05-03,fixture-changed,west,smaller one\n",
    );
    let run = year.survey("2026-05-09", 0.8);
    let because = "A new baseline is needed because of this: fixture changed (west) on 3 May 2026.";
    assert!(flat(&run).contains("baseline"), "{run}");
    assert!(year.page("2026-05-09-noon").contains(because), "{run}");
    assert_eq!(year.json("2026-05-09-noon")["judgement"]["verdict"], "baseline");
    assert_eq!(
        year.json("2026-03-14-noon")["judgement"]["baseline"],
        "2026-01-10-noon"
    );
}

fn coral_and_note_in_june(year: &mut Year) {
    // A coral that moved in June is judged where it stood on the day.
    year.tank = year.tank.replace("\n[drift]", &format!("\n{CORAL}[drift]"));
    year.write_tank();
    let check = year.site.undim(&["check"]);
    assert_eq!(check.status, Some(0), "{check}");
    for line in [
        "fixture west holds from 2026-05-03 until now",
        "coral plating-1 holds from always until 2026-06-01",
    ] {
        assert!(flat(&check).contains(line), "{check}");
    }
    year.survey("2026-06-13", 0.8);
    let coral_row = |page: &str| -> String {
        let row = page.split(">plating-1</th>").nth(1);
        row.and_then(|rest| rest.split("</tr>").next())
            .unwrap_or_default()
            .to_owned()
    };
    let (may, june) = (year.page("2026-05-09-noon"), year.page("2026-06-13-noon"));
    assert!(coral_row(&may).contains("reef-top"), "{}", coral_row(&may));
    assert!(coral_row(&june).contains("right-peak"), "{}", coral_row(&june));

    // A note that comes late makes a new revision, and stands in the list of files.
    year.site.drop_file(
        "story/sensor/2026-06-13.csv.note.toml",
        "pumps = \"off\"\nremark = \"found the note\"\n",
    );
    year.site.sweep();
    assert_eq!(year.json("2026-06-13-noon")["revision"], 2);
    assert_eq!(year.json("2026-06-13-noon")["pumps"], "off");
    assert!(year.page("2026-06-13-noon").contains("pumps = &quot;off&quot;"));
}

fn film_cleaning_and_gain_in_autumn(year: &mut Year) {
    // Two months away, then a film; cleaned, the light is back, to be met slowly.
    year.survey("2026-09-12", 0.66);
    let opened = year.open();
    assert_eq!(opened.len(), 1, "{opened:#?}");
    assert!(
        opened[0]["change_percent"]
            .as_f64()
            .is_some_and(|percent| percent < -10.0)
    );
    year.site.write(
        "upkeep/story.csv",
        "date,what,where,remark\n2026-05-03,fixture-changed,west,smaller one\n2026-10-03,lens-cleaned,west,\n",
    );
    year.survey("2026-10-10", 0.8);
    assert!(year.open().is_empty());
    let (closed, said) = year.last_alert();
    assert_eq!(closed["state"], "closed");
    for word in [
        "is back",
        "more light than at its furthest",
        "lens cleaned",
        "slow",
    ] {
        assert!(said.contains(word), "{word}: {closed:#}");
    }

    // Turned up for the dark months: a gain opens its own alert, and says what it means for corals.
    year.survey("2026-11-14", 1.1);
    let (gain, said) = year.last_alert();
    assert_eq!(
        (
            &gain["state"],
            gain["change_percent"].as_f64().is_some_and(|p| p > 20.0)
        ),
        (&"open".into(), true),
        "{gain:#}"
    );
    assert!(said.contains("coral"), "{gain:#}");
    assert_ne!(gain["id"], closed["id"]);
}

#[test]
fn a_year_with_a_swap_a_move_a_mistake_and_a_cleaning() {
    let mut year = Year::new();
    for date in ["2026-01-10", "2026-02-14", "2026-03-14"] {
        year.survey(date, 1.0);
    }
    mistakes_in_april(&mut year);
    swap_in_may(&mut year);
    coral_and_note_in_june(&mut year);
    film_cleaning_and_gain_in_autumn(&mut year);

    // However it came about: at the end the archive gives the same bytes, with the ledger or without.
    let at_the_end = year.written();
    assert_eq!(year.site.undim(&["rebuild"]).status, Some(0));
    assert!(year.written() == at_the_end, "a rebuild");
    for ending in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(year.site.path(&format!("state/undim.db{ending}")));
    }
    year.site.sweep();
    assert!(year.written() == at_the_end, "a lost ledger");
}
