//! `undim explain`: a value's budget adds up to what is written of it.

use crate::demo::drop_month;
use crate::support::{TestSite, repository};
use serde_json::Value;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

fn explain(site: &TestSite, survey: &str, station: &str) -> Value {
    let run = site.undim(&["explain", survey, station, "--json"]);
    assert_eq!(run.status, Some(0), "{run}");
    serde_json::from_str(&run.stdout).unwrap_or_else(|why| panic!("{why}: {run}"))
}

#[test]
fn every_value_of_the_demo_is_explained_to_the_last_digit() {
    let site = TestSite::demo();
    let mut months: Vec<_> = std::fs::read_dir(repository().join("demo-inbox"))
        .expect("the demo's inbox")
        .filter_map(|entry| Some(entry.ok()?.path()))
        .collect();
    months.sort();
    for month in months.iter().take(2) {
        drop_month(&site, month, "");
        site.sweep();
    }
    let surveys = site.surveys("lantern");
    let mut values = 0;
    for survey in [surveys.first(), surveys.last()].into_iter().flatten() {
        for row in site.rows(&format!("outbox/lantern/{survey}/stations.csv")) {
            if row.get("ppfd").is_empty() {
                continue;
            }
            let told = explain(&site, &format!("lantern/{survey}"), row.get("station"));
            let near = |ours: f64, column: &str| {
                assert!(
                    (ours - row.number(column)).abs() <= 0.000_6,
                    "{column} {}: {told}",
                    row.get("station")
                );
            };
            let inputs = told["inputs"].as_array().expect("a list");
            let sum = |part: &str| {
                let of = inputs.iter().filter(|input| input["part"] == part);
                of.map(|input| number(&input["u_ppfd"])).fold(0.0, f64::hypot)
            };
            near(number(&told["ppfd"]), "ppfd");
            near(sum("own"), "u_own_ppfd");
            near(sum("shared"), "u_shared_ppfd");
            near(sum("own").hypot(sum("shared")), "u_ppfd");
            for input in inputs {
                let product = number(&input["u"]) * number(&input["sensitivity"]);
                assert!((product - number(&input["u_ppfd"])).abs() < 1e-9, "{input}");
            }
            let shares: f64 = inputs.iter().map(|input| number(&input["share_percent"])).sum();
            assert!((shares - 100.0).abs() < 1e-6, "{told}");
            assert!(number(&told["k"]) >= 1.959_9, "{told}");
            values += 1;
        }
    }
    assert!(values >= 10, "{values}");
    let page = site.read(&format!("outbox/lantern/{}/report.html", surveys[0]));
    assert!(page.contains("Where each value's uncertainty comes from"));
}

#[test]
fn unknown_names_get_the_nearest() {
    let site = TestSite::with_site_file("[site]\ntimezone = \"UTC\"\n[intake]\nsettle = \"0s\"\n");
    let run = site.undim(&["explain", "2026-03-01", "s1"]);
    assert_eq!(run.status, Some(2), "{run}");
    site.write("devices/phone.toml", "role = \"everyday\"\nunit = \"lx\"\ncosine = [[0, 0.0], [60, 6.0]]\nrange = [0.0, 90000.0]\n[[correction]]\nvalid_from = 2026-01-01\ndark = 10.0\nu_dark = 2.0\nsensitivity = 0.02\nu_sensitivity = 0.002\nspectral = 0.9\nimmersion = 1.1\nu_immersion = 0.05\n");
    site.drop_file("reef/a.csv", "time,device,station,lux,tilt_deg\n2026-03-01T12:00:00+00:00,phone,s01,5010,30\n2026-03-01T12:01:00+00:00,phone,s02,2010,0\n");
    site.sweep();
    let told = explain(&site, "2026-03-01", "s01");
    // 0.02 · 0.9 · 1.1 = 0.0198 for each of 5000 lx; each step once, and each u with its own.
    assert!((number(&told["ppfd"]) - 99.0).abs() < 1e-6, "{told}");
    let steps: Vec<f64> = told["chain"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|step| number(&step["value"]))
        .collect();
    for (step, expected) in steps.iter().zip([5000.0, 100.0, 90.0, 99.0, 99.0]) {
        assert!((step - expected).abs() < 1e-9, "{told}");
    }
    let of = |name: &str| {
        let inputs = told["inputs"].as_array().expect("a list");
        inputs
            .iter()
            .find(|input| input["input"] == name)
            .unwrap_or_else(|| panic!("no {name}: {told}"))
            .clone()
    };
    assert!((number(&of("immersion")["u"]) - 0.05).abs() < 1e-12);
    assert!((number(&of("immersion")["u_ppfd"]) - 4.5).abs() < 1e-9);
    assert!((number(&of("dark")["sensitivity"]) - 0.0198).abs() < 1e-9);
    assert!((number(&of("sensitivity")["u_ppfd"]) - 9.9).abs() < 1e-9);
    for (survey, station, word) in [("2026-03-02", "s01", "2026-03-01"), ("2026-03-01", "s1", "s01")] {
        let run = site.undim(&["explain", survey, station]);
        assert_eq!(run.status, Some(2), "{run}");
        assert!(run.stderr.contains(word), "{run}");
    }
}

#[test]
fn a_tilted_reading_is_as_uncertain_as_the_cosine_table_says() {
    let site = TestSite::with_site_file("[site]\ntimezone = \"UTC\"\n[intake]\nsettle = \"0s\"\n");
    site.write(
        "devices/phone.toml",
        "role = \"everyday\"\nunit = \"umol.m-2.s-1\"\ncosine = [[0, 0.0], [60, 6.0]]\n",
    );
    site.drop_file("reef/a.csv", "time,device,station,PPFD,tilt_deg\n2026-03-01T12:00:00+00:00,phone,s01,100,30\n2026-03-01T12:01:00+00:00,phone,s02,200,0\n");
    site.sweep();
    let rows = site.rows("outbox/reef/2026-03-01/stations.csv");
    let own = |station: &str| {
        rows.iter()
            .find(|row| row.get("station") == station)
            .expect("a row")
            .number("u_own_ppfd")
    };
    // 2 % repeatability, and 3 % at 30° as a bound.
    assert!(
        (own("s01") - 2.0_f64.hypot(3.0 / 3.0_f64.sqrt())).abs() < 0.001,
        "{}",
        own("s01")
    );
    assert!((own("s02") - 4.0).abs() < 0.001);
    let told = explain(&site, "2026-03-01", "s01");
    assert!(told["inputs"].to_string().contains("\"tilt\""), "{told}");
}
