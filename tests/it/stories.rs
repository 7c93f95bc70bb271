//! The main job, end to end, as a keeper meets it.

use crate::light::{Outing, survey_csv, tank_file};
use crate::support::TestSite;

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
        "name = \"Sensor\"\nrole = \"reference\"\nunit = \"umol.m-2.s-1\"\nrepeat_percent = 1.2\nrezero_percent = 0.5\ncal_percent = 3.0\n",
    );
    site
}

fn take_in(site: &TestSite, outing: &Outing) -> String {
    site.drop_file(&format!("story/sensor/{}.csv", outing.date), survey_csv(outing));
    site.sweep().stdout
}

fn alerts(site: &TestSite) -> Vec<serde_json::Value> {
    if !site.exists("outbox/story/alerts.jsonl") {
        return Vec::new();
    }
    site.read("outbox/story/alerts.jsonl")
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect()
}

/// Twelve monthly surveys while both fixtures lose 13 % a year: one alert, even, slow.
#[test]
fn twelve_months_of_slow_ageing_open_one_alert() {
    let site = site();
    let months = [
        "2025-01-11",
        "2025-02-08",
        "2025-03-08",
        "2025-04-12",
        "2025-05-10",
        "2025-06-14",
        "2025-07-12",
        "2025-08-09",
        "2025-09-13",
        "2025-10-11",
        "2025-11-08",
        "2025-12-13",
    ];
    for (number, date) in months.into_iter().enumerate() {
        let light = 1.0 - 0.13 * number as f64 / 12.0;
        take_in(
            &site,
            &Outing {
                date,
                west: light,
                east: light,
                seed: 100 + number as u64,
            },
        );
    }
    assert_eq!(site.surveys("story").len(), 12);

    let alerts = alerts(&site);
    let opened: Vec<_> = alerts.iter().filter(|alert| alert["state"] == "open").collect();
    assert!(
        !opened.is_empty(),
        "no alert opened:\n{}",
        site.read("outbox/story/history.csv")
    );
    let ids: std::collections::BTreeSet<_> = alerts.iter().map(|alert| alert["id"].to_string()).collect();
    assert_eq!(ids.len(), 1, "one event, one alert: {alerts:#?}");
    let last = alerts.last().expect("an alert");
    assert_eq!(last["cause"], "fixture-ageing", "{last:#}");
    assert_eq!(last["about"], "light");
    let percent = last["change_percent"].as_f64().expect("a number");
    let interval = last["ci95"].as_array().expect("an interval");
    assert!((interval[0].as_f64().unwrap_or(0.0)..=interval[1].as_f64().unwrap_or(0.0)).contains(&percent));
    let next = last["next_step"].to_string();
    assert!(
        !next.to_lowercase().contains("raise the output to make up"),
        "{next}"
    );

    // The truth lies in the interval that the last survey gives.
    let december = site.rows("outbox/story/2025-12-13-noon/stations.csv");
    let changes: Vec<f64> = december.iter().map(|row| row.number("change_percent")).collect();
    let mean = changes.iter().sum::<f64>() / changes.len() as f64;
    assert!((mean + 11.9).abs() < 4.0, "{mean}");
}

/// A film on one of two fixtures' lenses: named, sized, and closed after cleaning.
#[test]
fn a_film_on_a_lens_is_named_and_closes_after_cleaning() {
    let site = site();
    take_in(
        &site,
        &Outing {
            date: "2026-01-10",
            west: 1.0,
            east: 1.0,
            seed: 1,
        },
    );
    take_in(
        &site,
        &Outing {
            date: "2026-02-14",
            west: 0.995,
            east: 0.995,
            seed: 2,
        },
    );
    assert!(alerts(&site).is_empty());

    let said = take_in(
        &site,
        &Outing {
            date: "2026-03-14",
            west: 0.85,
            east: 0.99,
            seed: 3,
        },
    );
    let opened = alerts(&site);
    assert_eq!(opened.len(), 1, "{opened:#?}\n{said}");
    assert_eq!(opened[0]["state"], "open");
    assert_eq!(opened[0]["cause"], "lens-dirty");
    assert!(opened[0]["where"].to_string().contains("west"), "{:#}", opened[0]);
    let percent = opened[0]["change_percent"].as_f64().expect("a number");
    assert!((-20.0..=-11.0).contains(&percent), "{percent}");
    assert!(said.contains("west"), "the answer names the fixture: {said}");
    let page = site.read("outbox/story/2026-03-14-noon/report.html");
    assert!(
        page.contains("west") && !page.contains("<script"),
        "a page without scripts"
    );
    let id = opened[0]["id"].as_str().expect("an id").to_owned();
    assert_eq!(
        site.json(&format!("outbox/story/alerts/{id}.json"))["state"],
        "open"
    );

    site.write(
        "upkeep/story.csv",
        "date,what,where,remark\n2026-03-20,lens-cleaned,west,\n",
    );
    take_in(
        &site,
        &Outing {
            date: "2026-04-11",
            west: 0.99,
            east: 0.99,
            seed: 4,
        },
    );
    let after = alerts(&site);
    let last = after.last().expect("a closing");
    assert_eq!(
        (last["id"].as_str(), last["state"].as_str()),
        (Some(id.as_str()), Some("closed")),
        "{after:#?}"
    );
    assert_eq!(
        site.json(&format!("outbox/story/alerts/{id}.json"))["state"],
        "closed"
    );

    // Everything derived again from the raw archive is the same to the byte.
    let before = site.snapshot("outbox/story");
    let run = site.undim(&["rebuild"]);
    assert_eq!(run.status, Some(0), "{run}");
    let rebuilt = site.snapshot("outbox/story");
    let names = |files: &[(String, Vec<u8>)]| files.iter().map(|(name, _)| name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&before), names(&rebuilt));
    for ((name, old), (_, new)) in before.iter().zip(&rebuilt) {
        assert!(old == new, "{name} differs after rebuild");
    }
}

/// A site file with nothing in it, and a file of positions and values.
#[test]
fn an_empty_site_gives_values_and_change_from_the_second_file_on() {
    let site = TestSite::with_site_file("");
    let table = |factor: f64| {
        let mut text = String::from("x,y,z,PAR\n");
        for (x, y, z, light) in [
            (10, 10, 10, 180.0),
            (30, 12, 25, 240.0),
            (50, 8, 20, 150.0),
            (70, 30, 30, 310.0),
        ] {
            text += &format!("{x},{y},{z},{:.1}\n", light * factor);
        }
        text
    };
    site.drop_file("first 2026-02-01.csv", table(1.0));
    let said = site.sweep().stdout;
    let tank = "tank";
    assert_eq!(site.surveys(tank), ["2026-02-01"], "{said}");
    let stations = site.rows(&format!("outbox/{tank}/2026-02-01/stations.csv"));
    assert_eq!(stations.len(), 4);
    assert_eq!(stations[1].get("station"), "at-30-12-25");
    assert_eq!(stations[1].get("ppfd"), "240.000");
    assert_eq!(stations[1].get("change_percent"), "");
    let page = site.read(&format!("outbox/{tank}/2026-02-01/report.html"));
    assert!(
        page.to_lowercase().contains("not tied to a reference"),
        "the page says what the values are good for"
    );

    site.drop_file("second 2026-03-01.csv", table(0.9));
    site.sweep();
    let stations = site.rows(&format!("outbox/{tank}/2026-03-01/stations.csv"));
    assert_eq!(stations[1].get("change_percent"), "-10.00");
    assert_eq!(stations[1].get("baseline"), "2026-02-01");
}

/// The same content dropped twice changes nothing and says so.
#[test]
fn the_same_file_twice_changes_nothing() {
    let site = site();
    let outing = Outing {
        date: "2026-01-10",
        west: 1.0,
        east: 1.0,
        seed: 1,
    };
    take_in(&site, &outing);
    let before = site.snapshot("outbox/story");
    site.drop_file("story/sensor/another name.csv", survey_csv(&outing));
    let said = site.sweep().stdout;
    assert!(said.contains("already"), "{said}");
    assert!(before == site.snapshot("outbox/story"), "nothing changed");
    assert!(
        !site.exists("inbox/story/sensor/another name.csv"),
        "it was put away all the same"
    );
}
