//! What an edit of the configuration does to the past is said before it is done.

use crate::light::{Outing, survey_csv, tank_file};
use crate::support::TestSite;

fn site() -> TestSite {
    let site = TestSite::with_site_file(
        "[site]\nname = \"Story\"\ntimezone = \"Europe/Lisbon\"\n[intake]\nsettle = \"0s\"\n",
    );
    site.write("tanks/story.toml", tank_file());
    site.write("devices/sensor.toml", "name = \"Sensor\"\ncal_percent = 3.0\n");
    for (date, seed) in [("2026-01-10", 1), ("2026-02-14", 2)] {
        let text = survey_csv(&Outing {
            date,
            west: 1.0,
            east: 1.0,
            seed,
        });
        site.drop_file(&format!("story/sensor/{date}.csv"), text);
    }
    site.sweep();
    site
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn an_edit_that_reaches_into_the_past_names_the_surveys_before_they_change() {
    let site = site();
    let quiet = site.undim(&["check", "--json"]);
    let quiet: serde_json::Value = serde_json::from_str(&quiet.stdout).expect("JSON");
    assert_eq!(quiet["changes"].as_array().map(Vec::len), Some(0));
    assert_eq!(quiet["changed_files"].as_array().map(Vec::len), Some(0));

    site.write("devices/sensor.toml", "name = \"Sensor\"\ncal_percent = 4.0\n");
    let before = (site.snapshot("outbox"), site.snapshot("state"));
    let check = site.undim(&["check"]);
    assert_eq!(check.status, Some(0), "{check}");
    let said = flat(&check.stdout);
    assert!(
        said.contains("devices/sensor.toml changed")
            && said.contains("story, its values: 2026-01-10-noon, 2026-02-14-noon"),
        "{check}"
    );
    assert!(
        before == (site.snapshot("outbox"), site.snapshot("state")),
        "check only looks"
    );
    let run = site.sweep();
    assert!(
        flat(&run.stdout).contains(
            "Because of devices/sensor.toml these come out otherwise: story, its values: 2026-01-10-noon, 2026-02-14-noon"
        ),
        "{run}"
    );
    assert!(!site.sweep().stdout.contains("come out otherwise"), "once");

    // A comment changes nothing, and this is said.
    site.write("tanks/story.toml", format!("# mine\n{}", tank_file()));
    let check = site.undim(&["check"]);
    assert!(
        flat(&check.stdout).contains("No past survey comes out otherwise."),
        "{check}"
    );

    // A rebuild says it too, before it does it.
    site.write("devices/sensor.toml", "name = \"Sensor\"\ncal_percent = 5.0\n");
    let run = site.undim(&["rebuild"]);
    assert_eq!(run.status, Some(0), "{run}");
    assert!(
        flat(&run.stdout).starts_with("This rebuild changes: story, its values: 2026-01-10-noon"),
        "{run}"
    );
    assert!(flat(&site.undim(&["rebuild"]).stdout).starts_with("2 surveys"));
}

#[test]
fn what_is_dated_leaves_the_past_as_it_was() {
    let site = site();
    let swapped = tank_file().replace(
        "[[fixture]]\nid = \"west\"\ncentre_cm = [30.0, 72.0, 30.0]\nsize_cm = [20.0, 20.0]\n",
        "[[fixture]]\nid = \"west\"\ncentre_cm = [30.0, 72.0, 30.0]\nsize_cm = [20.0, 20.0]\nuntil = 2026-05-02\n\n\
         [[fixture]]\nid = \"west\"\ncentre_cm = [34.0, 80.0, 30.0]\nsize_cm = [40.0, 10.0]\nfrom = 2026-05-05\n",
    );
    site.write("tanks/story.toml", &swapped);
    let check = site.undim(&["check"]);
    let said = flat(&check.stdout);
    assert!(said.contains("No past survey comes out otherwise."), "{check}");
    assert!(
        said.contains("no fixture `west` holds from 2026-05-03 until 2026-05-04"),
        "{check}"
    );
    // The same without dates.
    site.write(
        "tanks/story.toml",
        tank_file().replace("centre_cm = [30.0, 72.0, 30.0]", "centre_cm = [34.0, 80.0, 30.0]"),
    );
    let said = flat(&site.undim(&["check"]).stdout);
    assert!(said.contains("2026-02-14-noon"), "{said}");
    assert!(said.contains("put the old block back with `until`"), "{said}");
}

#[test]
fn a_baseline_that_names_no_survey_is_a_mistake_with_the_list_of_those_there_are() {
    let site = site();
    let named = |id: &str| tank_file() + &format!("\n[drift]\nbaseline = \"{id}\"\n");
    site.write("tanks/story.toml", named("2026-01-11-noon"));
    let check = site.undim(&["check"]);
    assert_eq!(check.status, Some(2), "{check}");
    for said in [
        "\"2026-01-11-noon\" names no survey",
        "2026-02-14-noon, 2026-01-10-noon",
        "1 mistake",
    ] {
        assert!(flat(&check.stdout).contains(said), "{check}");
    }
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(1), "{run}");
    assert!(
        flat(&run.stdout).contains("names no survey of this tank"),
        "{run}"
    );
    site.write("tanks/story.toml", named("2026-01-10-noon"));
    assert_eq!(site.undim(&["check"]).status, Some(0));
    site.sweep();
}
