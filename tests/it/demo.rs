//! The demo is a promise as well: its months tell the story that they were made to tell.

use crate::support::{TestSite, repository};
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

pub(crate) fn drop_month(site: &TestSite, folder: &Path, prefix: &str) {
    for entry in fs::read_dir(folder).expect("a month").filter_map(Result::ok) {
        let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() {
            drop_month(site, &entry.path(), &format!("{name}/"));
        } else {
            site.drop_file(&name, fs::read(entry.path()).expect("a file"));
        }
    }
}

#[test]
fn the_demo_tells_its_story() {
    let site = TestSite::demo();
    let mut months: Vec<_> = fs::read_dir(repository().join("demo-inbox"))
        .expect("the demo's inbox")
        .filter_map(|entry| Some(entry.ok()?.path()))
        .collect();
    months.sort();
    assert!(months.len() >= 6, "at least six months");
    for month in &months {
        drop_month(&site, month, "");
        let run = site.undim(&["sweep"]);
        assert!(matches!(run.status, Some(0 | 1)), "{run}");
    }

    // Every month has its survey, in at least three shapes of file.
    assert_eq!(site.surveys("lantern").len(), months.len(), "{}", site.listing());

    // One file is set aside, with its choices.
    let reasons = site.snapshot("inbox/set-aside");
    let reasons: Vec<&String> = reasons
        .iter()
        .map(|(name, _)| name)
        .filter(|name| name.ends_with(".why.txt"))
        .collect();
    assert_eq!(reasons.len(), 1, "{reasons:?}");
    assert!(
        site.read(&format!("inbox/set-aside/{}", reasons[0]))
            .contains("Which is it?")
    );

    // An arm's shadow, and a survey with the pumps on.
    let told: BTreeSet<String> = site
        .surveys("lantern")
        .iter()
        .flat_map(|survey| site.rows(&format!("outbox/lantern/{survey}/readings.csv")))
        .flat_map(|row| {
            row.get("reasons")
                .split(';')
                .map(str::to_owned)
                .collect::<Vec<_>>()
        })
        .collect();
    assert!(told.contains("shadow") && told.contains("unsteady"), "{told:?}");

    // A film on one fixture's lens: one alert, opened and closed.
    let changes: Vec<serde_json::Value> = site
        .read("outbox/lantern/alerts.jsonl")
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .filter(|alert: &serde_json::Value| alert["about"] == "light")
        .collect();
    let ids: BTreeSet<String> = changes.iter().map(|alert| alert["id"].to_string()).collect();
    assert_eq!(ids.len(), 1, "{changes:#?}");
    let (first, last) = (&changes[0], changes.last().expect("a last change"));
    assert_eq!(
        (first["state"].as_str(), first["cause"].as_str()),
        (Some("open"), Some("lens-dirty"))
    );
    assert_eq!(last["state"], "closed");
}
