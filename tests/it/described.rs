//! Descriptions beside tables, and files of other kinds than delimited text, read by the whole program.

use crate::support::{TestSite, importer, repository};
use std::fs;

const METADATA: &str = r#"{"@context": "http://www.w3.org/ns/csvw", "url": "reef.csv", "tableSchema": {"columns": [
    {"name": "date", "datatype": {"base": "date", "format": "MM/dd/yyyy"}}, {"name": "station"},
    {"name": "ppfd", "datatype": {"base": "decimal", "format": {"decimalChar": ","}}}]}}"#;
const TABLE: &str = "date;station;ppfd\n03/04/2026;a;1,234\n03/04/2026;b;2,345\n";

fn ppfd(site: &TestSite, survey: &str) -> Vec<String> {
    let readings = site.read(&format!("outbox/default/{survey}/readings.csv"));
    let rows = readings.lines().skip(1);
    rows.map(|row| row.split(',').nth(8).unwrap_or_default().to_owned())
        .collect()
}

fn only_survey(site: &TestSite) -> String {
    let folder = fs::read_dir(site.path("outbox/default")).expect("an outbox");
    let mut surveys: Vec<String> = folder
        .filter_map(Result::ok)
        .filter(|entry| entry.path().is_dir())
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|name| name.starts_with("20"))
        .collect();
    assert_eq!(surveys.len(), 1, "{surveys:?}");
    surveys.pop().unwrap_or_default()
}

#[test]
fn a_description_beside_a_table_is_honoured_and_goes_with_it() {
    let site = TestSite::new();
    site.drop_file("default/reef.csv", TABLE);
    site.drop_file("default/reef.csv-metadata.json", METADATA);
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(0), "{run}");
    let survey = only_survey(&site);
    assert!(survey.starts_with("2026-03-04"), "{survey}");
    assert_eq!(ppfd(&site, &survey), ["1.234", "2.345"]);
    assert!(site.path("inbox/taken/default/reef.csv").is_file());
    assert!(site.path("inbox/taken/default/reef.csv-metadata.json").is_file());
    let before = site.read(&format!("outbox/default/{survey}/readings.csv"));
    fs::remove_file(site.path("state/undim.db")).expect("a lost ledger");
    let run = site.undim(&["rebuild"]);
    assert_eq!(run.status, Some(0), "{run}");
    assert_eq!(
        site.read(&format!("outbox/default/{survey}/readings.csv")),
        before
    );
}

#[test]
fn a_description_waits_for_its_table_and_a_new_one_reads_it_again() {
    let site = TestSite::new();
    site.drop_file("default/reef.csv-metadata.json", METADATA);
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(0), "{run}");
    assert!(
        site.path("inbox/default/reef.csv-metadata.json").is_file(),
        "{run}"
    );
    site.drop_file("default/reef.csv", TABLE);
    assert_eq!(site.undim(&["sweep"]).status, Some(0));
    assert!(only_survey(&site).starts_with("2026-03-04"));
    site.drop_file(
        "default/reef.csv-metadata.json",
        METADATA.replace("MM/dd", "dd/MM"),
    );
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(0), "{run}");
    assert!(only_survey(&site).starts_with("2026-04-03"), "{run}");
}

#[test]
fn a_data_package_describes_its_tables() {
    let site = TestSite::new();
    let package = r#"{"name": "reef", "resources": [{"name": "a", "path": "reef.csv", "schema": {"fields": [
        {"name": "date", "type": "date", "format": "%m/%d/%Y"}, {"name": "ppfd", "type": "number", "decimalChar": ","}]}}]}"#;
    site.drop_file("default/reef.csv", TABLE);
    site.drop_file("default/datapackage.json", package);
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(0), "{run}");
    let survey = only_survey(&site);
    assert!(survey.starts_with("2026-03-04"), "{survey}");
    assert_eq!(ppfd(&site, &survey), ["1.234", "2.345"]);
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(0), "{run}");
    assert!(!site.path("inbox/default/datapackage.json").exists(), "{run}");
}

#[test]
fn a_broken_description_holds_its_table_back() {
    let site = TestSite::new();
    site.drop_file("default/reef.csv", TABLE);
    site.drop_file("default/reef.csv-metadata.json", "{");
    let run = site.undim(&["sweep"]);
    assert!(run.stdout.contains("reef.csv-metadata.json"), "{run}");
    assert!(site.path("inbox/default/reef.csv").is_file(), "{run}");
}

#[test]
fn files_of_every_kind_become_surveys() {
    let site = TestSite::new();
    for package in [
        "undim-importer-records",
        "undim-importer-sheet",
        "undim-importer-bio-optics",
    ] {
        site.install(importer(package));
    }
    let cases = repository().join("plugins");
    for (kind, case, file, name) in [
        ("records", "senml-mixed", "input.json", "pack.json"),
        ("records", "stations-with-readings", "input.json", "stations.json"),
        ("sheet", "plain-office-ods", "input.ods", "book.ods"),
        ("sheet", "plain-office-xls", "input.xls", "book.xls"),
        ("sheet", "merged-header", "input.xlsx", "book.xlsx"),
        ("bio-optics", "blanks", "input.sb", "cast.sb"),
    ] {
        let bytes = fs::read(cases.join(kind).join("cases").join(case).join(file)).expect("a case");
        site.drop_file(&format!("{kind}-{case}/{name}"), bytes);
    }
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(0), "{run}");
    for tank in [
        "records-senml-mixed",
        "sheet-plain-office-ods",
        "bio-optics-blanks",
    ] {
        assert!(
            site.path(&format!("outbox/{tank}/history.csv")).is_file(),
            "{tank}: {run}"
        );
    }
}
