//! The pages above the surveys, the calendar and the files for spreadsheets and notebooks, as a keeper of
//! several tanks meets them.

use crate::light::{Outing, survey_csv, tank_file};
use crate::support::TestSite;
use std::time::Instant;

const SITE: &str = "[site]\nname = \"Fish room\"\ntimezone = \"Europe/Lisbon\"\n[intake]\nsettle = \"0s\"\n";
const DEVICE: &str = "name = \"Sensor\"\nrole = \"reference\"\nunit = \"umol.m-2.s-1\"\nrepeat_percent = 1.2\nrezero_percent = 0.5\ncal_percent = 3.0\ncalibrated = 2025-05-12\nvalid_until = 2027-05-12\n";

fn site(settings: &str) -> TestSite {
    let site = TestSite::with_site_file(&format!("{SITE}{settings}"));
    site.write("devices/sensor.toml", DEVICE);
    site
}

fn declare(site: &TestSite, tank: &str) {
    site.write(
        &format!("tanks/{tank}.toml"),
        tank_file() + "\n[drift]\nsurvey_repeat_percent = 1.0\nevery = \"35d\"\n",
    );
}

fn drop(site: &TestSite, tank: &str, date: &'static str, west: f64) {
    let outing = Outing {
        date,
        west,
        east: 1.0,
        // The same bytes in two tanks' folders would be one file, dropped twice.
        seed: tank.bytes().fold(0, |seed, byte| 31 * seed + u64::from(byte)),
    };
    site.drop_file(&format!("{tank}/sensor/{date}.csv"), survey_csv(&outing));
}

/// The files that a keeper opens, without the daemon's own word, which has the clock in it.
fn outbox(site: &TestSite) -> Vec<(String, Vec<u8>)> {
    let mut files = site.snapshot("outbox");
    files.retain(|(name, _)| !name.ends_with("status.json"));
    files
}

#[test]
fn a_tank_and_its_site_have_a_page_and_the_next_survey_stands_in_the_calendar() {
    let site = site("");
    declare(&site, "reef");
    drop(&site, "reef", "2026-01-10", 1.0);
    drop(&site, "reef", "2026-02-14", 0.8);
    site.sweep();
    let tank = site.read("outbox/reef/index.html");
    assert!(tank.contains("Less light under the west fixture"), "{tank}");
    for link in [
        "href=\"2026-02-14-noon/report.html\"",
        "href=\"2026-01-10-noon/report.html\"",
        "href=\"../index.html\"",
        "href=\"history.parquet\"",
    ] {
        assert!(tank.contains(link), "{link}");
    }
    let survey = site.read("outbox/reef/2026-02-14-noon/report.html");
    assert!(survey.contains("href=\"../index.html\"") && survey.contains("href=\"../../index.html\""));
    let all = site.read("outbox/index.html");
    assert!(all.contains("href=\"reef/index.html\"") && all.contains("href=\"calendar.ics\""));
    let calendar = site.read("outbox/calendar.ics");
    assert!(calendar.contains("DTSTART;VALUE=DATE:20260321\r\n"), "{calendar}");
    assert!(calendar.contains("DTSTART;VALUE=DATE:20270512\r\n"), "{calendar}");

    // Nothing is written again that says nothing new, and a rebuild gives the same bytes.
    let before = outbox(&site);
    let time = |name: &str| {
        site.path(name)
            .metadata()
            .and_then(|file| file.modified())
            .expect("a time")
    };
    let written = [
        "outbox/index.html",
        "outbox/calendar.ics",
        "outbox/reef/index.html",
    ]
    .map(time);
    site.sweep();
    assert_eq!(
        written,
        [
            "outbox/index.html",
            "outbox/calendar.ics",
            "outbox/reef/index.html"
        ]
        .map(time)
    );
    site.undim(&["rebuild"]);
    let after = outbox(&site);
    let names = |files: &[(String, Vec<u8>)]| files.iter().map(|(name, _)| name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&before), names(&after));
    for (before, after) in before.iter().zip(&after) {
        assert!(before == after, "{} differs", before.0);
    }
}

#[test]
fn spreadsheets_of_decimal_comma_countries_get_a_second_copy_and_lose_it_again() {
    let site = site("[outbox]\ncsv = \"spreadsheet-eu\"\n");
    declare(&site, "reef");
    drop(&site, "reef", "2026-01-10", 1.0);
    site.sweep();
    let folder = "outbox/reef/2026-01-10-noon";
    for (standard, second) in [
        (
            format!("{folder}/stations.csv"),
            format!("{folder}/stations.eu.csv"),
        ),
        (
            format!("{folder}/readings.csv"),
            format!("{folder}/readings.eu.csv"),
        ),
        (
            "outbox/reef/history.csv".to_owned(),
            "outbox/reef/history.eu.csv".to_owned(),
        ),
    ] {
        let (standard, second) = (site.read(&standard), site.read(&second));
        // No text of this site holds a comma, a semicolon or a point in its cells but file names.
        for (a, b) in standard.lines().zip(second.lines()) {
            let cells = |line: &str, between| line.split(between).map(str::to_owned).collect::<Vec<_>>();
            let (a, b) = (cells(a, ','), cells(b, ';'));
            assert_eq!(a.len(), b.len());
            for (a, b) in a.iter().zip(&b) {
                let is_number = a.parse::<f64>().is_ok();
                assert_eq!(*b, if is_number { a.replace('.', ",") } else { a.clone() });
            }
        }
    }
    let package = site.json(&format!("{folder}/datapackage.json"));
    let paths: Vec<_> = package["resources"]
        .as_array()
        .expect("resources")
        .iter()
        .map(|one| one["path"].as_str())
        .collect();
    assert!(paths.contains(&Some("stations.eu.csv")) && paths.contains(&Some("stations.csv")));

    site.write("undim.toml", SITE);
    site.sweep();
    assert!(!site.exists(&format!("{folder}/stations.eu.csv")) && !site.exists("outbox/reef/history.eu.csv"));
    assert!(site.exists(&format!("{folder}/stations.csv")));

    site.write("undim.toml", format!("{SITE}[outbox]\ncsv = \"eu\"\n"));
    let said = site.undim(&["check"]);
    assert_eq!(said.status, Some(2), "{said}");
    assert!(said.to_string().contains("spreadsheet-eu"), "{said}");
}

/// Forty tanks, each with three surveys: one page over all, and the pages of a sweep in which one tank changed
/// cost under a second.
#[test]
fn forty_tanks_stand_on_one_page() {
    let site = site("");
    for number in 1..=40 {
        let tank = format!("tank-{number:02}");
        declare(&site, &tank);
        for date in ["2026-01-10", "2026-02-14"] {
            drop(
                &site,
                &tank,
                date,
                if number == 17 && date == "2026-02-14" {
                    0.75
                } else {
                    1.0
                },
            );
        }
    }
    site.sweep();
    let page = site.read("outbox/index.html");
    for number in 1..=40 {
        assert_eq!(
            page.matches(&format!("\"tank-{number:02}/index.html\"")).count(),
            1
        );
    }
    let at = |number: u32| page.find(&format!("tank-{number:02}/index.html"));
    // Whatever day it is: the surveys of the others may be overdue by now.
    assert!(
        (1..=40).all(|number| at(17) <= at(number)),
        "the open alert stands first"
    );
    assert!(page.len() < 200_000, "{} bytes", page.len());
    // A sweep with nothing to take in judges every tank and writes nothing.
    let began = Instant::now();
    site.sweep();
    println!(
        "forty tanks judged and held against their pages in {:?}",
        began.elapsed()
    );
}
