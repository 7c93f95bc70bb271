//! A device beside a reference: `undim fit` on surveys, files and pairs, and what a survey that holds both says.

use crate::support::{TestSite, repository};
use serde_json::Value;
use std::fmt::Write as _;

const PHONE: &str = "# the keeper's own words\nname = \"Phone in a bag\"   # stays\nrole = \"everyday\"\n";

fn site() -> TestSite {
    let site = TestSite::with_site_file("[site]\ntimezone = \"UTC\"\n[intake]\nsettle = \"0s\"\n");
    site.write("devices/phone.toml", PHONE);
    site.write("devices/hired.toml", "role = \"reference\"\ncal_percent = 3.0\n");
    site
}

/// The phone reads (light − 12) / 1.1 times `factor`; an arm's shadow lies on the phone at s07.
fn readings(day: &str, factor: f64) -> String {
    let mut text = String::from("time,device,station,PPFD\n");
    for place in 0..20 {
        let light = 40.0 + 35.0 * f64::from(place);
        let noise = 1.0 + 0.008 * f64::from(place * 7 % 5 - 2);
        let shadow = if place == 7 { 0.5 } else { 1.0 };
        let phone = (light - 12.0) / 1.1 * factor * noise * shadow;
        writeln!(text, "{day}T12:{place:02}:00+00:00,phone,s{place:02},{phone:.1}").expect("written");
        writeln!(text, "{day}T12:{place:02}:30+00:00,hired,s{place:02},{light:.1}").expect("written");
    }
    text
}

fn fit(site: &TestSite, arguments: &[&str]) -> (Option<i32>, Value) {
    let run = site.undim(&[&["fit", "--json"], arguments].concat());
    let json = serde_json::from_str(&run.stdout).unwrap_or_else(|why| panic!("{why}: {run}"));
    (run.status, json)
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

#[test]
fn a_survey_with_a_reference_proposes_and_changes_nothing_until_accepted() {
    let site = site();
    site.drop_file("reef/march.csv", readings("2026-03-01", 1.0));
    site.sweep();
    let survey = site.json("outbox/reef/2026-03-01/survey.json");
    let proposal = &survey["fit"][0];
    assert_eq!(proposal["device"], "phone");
    assert_eq!(proposal["correction"]["model"], "line");
    assert_eq!(proposal["left_out"], serde_json::json!(["s07"]));
    assert_eq!(proposal["accepted"], Value::Null);
    assert!(
        site.read("outbox/reef/2026-03-01/report.html")
            .contains("Read side by side")
    );
    assert_eq!(site.read("devices/phone.toml"), PHONE);

    let (status, fitted) = fit(&site, &["2026-03-01", "--at", "100"]);
    assert_eq!(status, Some(0));
    assert_eq!(fitted["picked"], "line");
    assert_eq!(fitted["medium"], "water");
    assert_eq!(fitted["sources"], serde_json::json!(["reef/march.csv"]));
    let at = &fitted["at"][0];
    assert!(
        (number(&at["corrected"]) - 122.0).abs() < 3.0 * number(&at["u"]),
        "{at}"
    );
    assert_eq!(
        site.read("devices/phone.toml"),
        PHONE,
        "nothing is written unasked"
    );

    let run = site.undim(&["fit", "reef/2026-03-01", "--accept"]);
    assert_eq!(run.status, Some(0), "{run}");
    let written = site.read("devices/phone.toml");
    assert!(written.starts_with(PHONE), "{written}");
    assert!(
        written.contains("valid_from  = 2026-03-01") && written.contains("left out: s07"),
        "{written}"
    );
    assert_eq!(site.undim(&["check"]).status, Some(0));
    // Twice the same is refused.
    let again = site.undim(&["fit", "2026-03-01", "--accept"]);
    assert_eq!(again.status, Some(1), "{again}");
    assert_eq!(site.read("devices/phone.toml"), written);
    // The survey is derived again with it, and corrected.
    site.sweep();
    let row = site
        .rows("outbox/reef/2026-03-01/readings.csv")
        .into_iter()
        .find(|row| row.get("station") == "s10");
    let row = row.expect("s10");
    assert_eq!(row.get("device"), "phone");
    assert!((row.number("ppfd") - 390.0).abs() < 10.0, "{}", row.get("ppfd"));
}

#[test]
fn a_correction_that_no_longer_fits_is_told_with_its_size() {
    let site = site();
    site.drop_file("reef/march.csv", readings("2026-03-01", 1.0));
    site.sweep();
    assert_eq!(site.undim(&["fit", "2026-03-01", "--accept"]).status, Some(0));
    site.drop_file("reef/april.csv", readings("2026-04-01", 1.01));
    site.drop_file("reef/june.csv", readings("2026-06-01", 0.88));
    site.sweep();
    let held =
        |survey: &str| site.json(&format!("outbox/reef/{survey}/survey.json"))["fit"][0]["accepted"].clone();
    assert_eq!(held("2026-04-01")["holds"], true);
    let june = held("2026-06-01");
    assert_eq!(june["cause"], "device-drift", "{june}");
    assert!((number(&june["reads_percent"]) + 11.5).abs() < 1.5, "{june}");
    assert!(
        site.read("outbox/reef/2026-06-01/report.html")
            .contains("no longer fits")
    );
}

#[test]
fn files_of_two_devices_are_fitted_without_a_site_of_their_own() {
    let site = site();
    let (mut phone, mut hired) = (
        String::from("time,station,PPFD\n"),
        String::from("time,station,PPFD\n"),
    );
    for line in readings("2026-03-01", 1.0).lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let to = if cells[1] == "phone" {
            &mut phone
        } else {
            &mut hired
        };
        writeln!(to, "{},{},{}", cells[0], cells[2], cells[3]).expect("written");
    }
    site.write("walk-phone.csv", phone);
    site.write("walk-hired.csv", hired);
    let paths = ["walk-phone.csv", "walk-hired.csv"].map(|name| site.path(name).display().to_string());
    let out = site.path("fit.svg").display().to_string();
    let (status, fitted) = fit(&site, &[&paths[0], &paths[1], "--out", &out]);
    assert_eq!(status, Some(0));
    assert_eq!(
        (&fitted["device"], &fitted["reference"]),
        (&"phone".into(), &"hired".into())
    );
    assert_eq!(fitted["pairs"].as_array().map(Vec::len), Some(20));
    assert!(site.read("fit.svg").starts_with("<svg"));
}

/// Pearson's points with York's weights (York et al. 2004), through the program.
#[test]
fn pearsons_pairs_through_the_program() {
    let site = site();
    let mut text = String::from("station,device,reference,u_device,u_reference,correlation\n");
    let points = std::fs::read_to_string(repository().join("tests/data/eiv_pearson_york.csv")).expect("read");
    for (place, line) in points.lines().skip(1).enumerate() {
        let cells: Vec<f64> = line
            .split(',')
            .map(|cell| cell.parse().expect("a number"))
            .collect();
        let u = |weight: f64| weight.sqrt().recip();
        writeln!(
            text,
            "p{place},{},{},{},{},0",
            cells[0],
            cells[1],
            u(cells[2]),
            u(cells[3])
        )
        .expect("written");
    }
    site.write("pearson.csv", text);
    let path = site.path("pearson.csv").display().to_string();
    let (status, fitted) = fit(&site, &["--pairs", &path]);
    assert_eq!(status, Some(0));
    assert_eq!(
        (&fitted["picked"], &fitted["standard_error"]),
        (&"line".into(), &"york-2004".into())
    );
    let models = fitted["models"].as_array().expect("models");
    let line = models
        .iter()
        .find(|model| model["model"] == "line")
        .expect("a line");
    assert!((number(&line["coefficients"][0]) - 5.479_910_224).abs() < 1e-8);
    assert!((number(&line["coefficients"][1]) + 0.480_533_407).abs() < 1e-9);
    assert!((number(&line["covariance"][1][1]).sqrt() - 0.057_985_009).abs() < 1e-9);
    // A correction that falls is not accepted.
    let run = site.undim(&["fit", "--pairs", &path, "--device", "phone", "--accept"]);
    assert_eq!(run.status, Some(1), "{run}");
    assert_eq!(site.read("devices/phone.toml"), PHONE);
}

#[test]
fn what_pairs_lack_is_said_and_no_number_is_none() {
    let site = site();
    for (rows, says) in [
        ("", "There are no pairs"),
        ("100,110\n", "One pair"),
        ("100,110\n200,220\n", "Two pairs"),
        ("100,110\n101,111\n99,109\n", "one level"),
        ("100,110\n100,110\n100,110\n", "same two readings"),
        ("0,0\n0,0\n0,0\n", "same two readings"),
        ("50,250\n100,250\n200,250\n", "everywhere"),
        ("50,\n,7\n80,90\n", "want of a number"),
    ] {
        site.write("pairs.csv", format!("device,reference\n{rows}"));
        let path = site.path("pairs.csv").display().to_string();
        let run = site.undim(&["fit", "--json", "--pairs", &path]);
        assert_eq!(run.status, Some(1), "{run}");
        let fitted: Value = serde_json::from_str(&run.stdout).expect("JSON");
        assert_eq!(
            (&fitted["correction"], &fitted["picked"]),
            (&Value::Null, &Value::Null)
        );
        assert!(
            fitted["advice"].to_string().contains(says),
            "{}",
            fitted["advice"]
        );
        assert!(
            !run.stdout.contains("NaN") && !run.stdout.contains("inf"),
            "{run}"
        );
    }
    site.write("pairs.csv", "device,reference,scene\n50,55,a\n100,110,a\n200,220,a\n400,440,a\n50,75,b\n100,150,b\n200,300,b\n400,600,b\n");
    let path = site.path("pairs.csv").display().to_string();
    let (status, fitted) = fit(&site, &["--pairs", &path]);
    assert_eq!((status, &fitted["scenes_agree"]), (Some(1), &false.into()));
    assert!(
        fitted["advice"][0]
            .as_str()
            .is_some_and(|said| said.contains("spectrum"))
    );
    let (status, fitted) = fit(&site, &["--pairs", &path, "--scene", "b"]);
    assert_eq!((status, &fitted["picked"]), (Some(0), &"gain".into()));
}
