//! `survey.json`: what a survey is made of, how it was read, and what it shows (formats, section 6).
//!
//! Keys are written in the order of the structs below and are never left out: what is not known is `null`.
//! Shares of uncertainty are k = 1, as in the CSV files.

use crate::json::{rounded, write_pretty};
use crate::number::{PERCENT_DECIMALS, POSITION_DECIMALS, PPFD_DECIMALS};
use crate::{SiteZone, fit_json, shared, words};
use serde::Serialize;
use std::collections::BTreeMap;
use std::io;
use undim_model::{Change, FlagCounts, Judgement, SideBySide, SourceFile, StationValue, Survey, Verdict};

/// Decimals of a probability.
pub(crate) const PROBABILITY_DECIMALS: usize = 3;

/// Writes the file.
pub fn write<W: io::Write>(
    to: W,
    survey: &Survey,
    judgement: Option<&Judgement>,
    side_by_side: &[SideBySide],
    zone: &SiteZone,
    software_version: &str,
) -> io::Result<()> {
    write_pretty(to, &file(survey, judgement, side_by_side, zone, software_version))
}

#[derive(Serialize)]
struct File<'a> {
    id: &'a str,
    revision: u32,
    tank: &'a str,
    scene: Option<&'a str>,
    start: String,
    end: String,
    date: String,
    timezone: &'a str,
    replaces: &'a [String],
    sources: Vec<Source<'a>>,
    withdrawn: Vec<Withdrawn<'a>>,
    devices: Vec<DeviceUse<'a>>,
    pumps: Option<&'static str>,
    water_cm: Option<f64>,
    counts_by_flag: BTreeMap<&'static str, u64>,
    stations: usize,
    read_again: Vec<ReadAgain<'a>>,
    tied_to_reference: bool,
    shared_uncertainty: Vec<SharedGroup<'a>>,
    fit: Vec<fit_json::Fit<'a>>,
    smallest_even_loss_percent: Option<f64>,
    judgement: Option<Judged<'a>>,
    alerts: Vec<AlertRef<'a>>,
    said: &'a [String],
    software: Software<'a>,
}

#[derive(Serialize)]
struct Source<'a> {
    file: &'a str,
    blake3: &'a str,
    importer: Importer<'a>,
    rows: u64,
    assumed: BTreeMap<&'a str, String>,
    stated: BTreeMap<&'a str, String>,
    problems: Vec<Problem<'a>>,
    renamed: Vec<Renamed<'a>>,
    remark: Option<&'a str>,
    taken_by: Option<&'a str>,
    /// As they stand, oldest first; the last one holds.
    notes: &'a [String],
}

/// A file that was part of the survey until the keeper withdrew it.
#[derive(Serialize)]
struct Withdrawn<'a> {
    file: &'a str,
    blake3: &'a str,
    why: &'a str,
    when: String,
}

#[derive(Serialize)]
struct Importer<'a> {
    name: &'a str,
    version: &'a str,
}

#[derive(Serialize)]
struct Problem<'a> {
    line: u64,
    column: u32,
    text: &'a str,
}

#[derive(Serialize)]
struct Renamed<'a> {
    given: &'a str,
    id: &'a str,
}

#[derive(Serialize)]
struct DeviceUse<'a> {
    id: &'a str,
    name: &'a str,
    role: &'static str,
    declared: bool,
    readings: u64,
    corrections: &'a [String],
    rezero_percent: Option<f64>,
}

#[derive(Serialize)]
struct ReadAgain<'a> {
    station: &'a str,
    why: &'a str,
}

/// Stations read with one device and one correction: what they share cancels between them only.
#[derive(Serialize)]
struct SharedGroup<'a> {
    device: &'a str,
    correction: &'a str,
    stations: Vec<&'a str>,
    sources: Vec<SharedSource>,
}

#[derive(Serialize)]
struct SharedSource {
    source: &'static str,
    /// True where the next survey with this device and correction has the same error, so that it cancels in a change.
    same_next_survey: bool,
    least_percent: Option<f64>,
    most_percent: Option<f64>,
    /// One for each station, in their order.
    u_ppfd: Vec<Option<f64>>,
}

#[derive(Serialize)]
struct Judged<'a> {
    verdict: &'static str,
    sentence: String,
    baseline: Option<&'a str>,
    baseline_date: Option<String>,
    baseline_mean_of: &'a [String],
    even: Option<Changed>,
    fixtures_differ: bool,
    fixtures: Vec<FixtureChanged<'a>>,
    limits: &'a [String],
}

#[derive(Serialize)]
struct Changed {
    change_percent: Option<f64>,
    u_change_percent: Option<f64>,
    ci95: [Option<f64>; 2],
    p_real: Option<f64>,
}

#[derive(Serialize)]
struct FixtureChanged<'a> {
    fixture: &'a str,
    #[serde(flatten)]
    change: Changed,
    stations: u32,
}

#[derive(Serialize)]
struct AlertRef<'a> {
    id: &'a str,
    change: &'static str,
    state: &'static str,
    level: &'static str,
}

#[derive(Serialize)]
struct Software<'a> {
    name: &'static str,
    version: &'a str,
}

fn file<'a>(
    survey: &'a Survey,
    judgement: Option<&'a Judgement>,
    side_by_side: &'a [SideBySide],
    zone: &SiteZone,
    software_version: &'a str,
) -> File<'a> {
    File {
        id: &survey.id,
        revision: survey.revision,
        tank: &survey.tank,
        scene: survey.scene.as_deref(),
        start: zone.time(survey.start),
        end: zone.time(survey.end),
        date: survey.date.to_string(),
        timezone: &survey.timezone,
        replaces: &survey.replaces,
        sources: survey.sources.iter().map(source).collect(),
        withdrawn: survey
            .withdrawn
            .iter()
            .map(|file| Withdrawn {
                file: &file.path,
                blake3: &file.blake3,
                why: &file.why,
                when: zone.time(file.when),
            })
            .collect(),
        devices: survey
            .devices
            .iter()
            .map(|device| DeviceUse {
                id: &device.id,
                name: &device.name,
                role: if device.is_reference {
                    "reference"
                } else {
                    "everyday"
                },
                declared: device.declared,
                readings: device.readings,
                corrections: &device.corrections,
                rezero_percent: rounded(Some(device.rezero_percent), PERCENT_DECIMALS),
            })
            .collect(),
        pumps: survey.pumps_on.map(|on| if on { "on" } else { "off" }),
        water_cm: rounded(survey.water_cm, POSITION_DECIMALS),
        counts_by_flag: counts(survey.counts),
        stations: survey.stations.len(),
        read_again: survey
            .read_again
            .iter()
            .map(|again| ReadAgain {
                station: &again.station,
                why: &again.why,
            })
            .collect(),
        tied_to_reference: survey.tied_to_reference,
        shared_uncertainty: shared(&survey.stations),
        fit: side_by_side.iter().map(fit_json::of).collect(),
        smallest_even_loss_percent: rounded(
            judgement.and_then(|judgement| judgement.smallest_loss_percent),
            PERCENT_DECIMALS,
        ),
        judgement: judgement.map(|judgement| judged(survey, judgement)),
        alerts: judgement
            .map(|judgement| judgement.alert_changes.as_slice())
            .unwrap_or_default()
            .iter()
            .map(|change| AlertRef {
                id: &change.alert.id,
                change: change.step.word(),
                state: change.alert.state.word(),
                level: change.alert.level.word(),
            })
            .collect(),
        said: &survey.said,
        software: Software {
            name: "undim",
            version: software_version,
        },
    }
}

fn source(source: &SourceFile) -> Source<'_> {
    let facts = |assumed: bool| {
        let mut facts: BTreeMap<&str, String> = BTreeMap::new();
        for fact in source.facts.iter().filter(|fact| fact.assumed == assumed) {
            let said = facts.entry(&fact.key).or_default();
            if !said.is_empty() {
                said.push_str("; ");
            }
            said.push_str(&fact.value);
        }
        facts
    };
    Source {
        file: &source.path,
        blake3: &source.blake3,
        importer: Importer {
            name: &source.importer,
            version: &source.importer_version,
        },
        rows: source.rows,
        assumed: facts(true),
        stated: facts(false),
        problems: source
            .problems
            .iter()
            .map(|problem| Problem {
                line: problem.line,
                column: problem.column,
                text: &problem.text,
            })
            .collect(),
        renamed: source
            .renamed
            .iter()
            .map(|(given, id)| Renamed { given, id })
            .collect(),
        remark: source.remark.as_deref(),
        taken_by: source.taken_by.as_deref(),
        notes: &source.notes,
    }
}

fn counts(counts: FlagCounts) -> BTreeMap<&'static str, u64> {
    BTreeMap::from([
        ("1", counts.good),
        ("2", counts.not_evaluated),
        ("3", counts.questionable),
        ("4", counts.bad),
        ("9", counts.missing),
    ])
}

fn shared(stations: &[StationValue]) -> Vec<SharedGroup<'_>> {
    shared::groups(stations)
        .into_iter()
        .map(|group| SharedGroup {
            device: group.device,
            correction: group.correction,
            stations: group
                .stations
                .into_iter()
                .map(|station| &*station.station)
                .collect(),
            sources: group
                .sources
                .iter()
                .map(|source| SharedSource {
                    source: source.kind.word(),
                    same_next_survey: source.kind.lasts_between_surveys(),
                    least_percent: rounded(source.percent.map(|(least, _)| least), PERCENT_DECIMALS),
                    most_percent: rounded(source.percent.map(|(_, most)| most), PERCENT_DECIMALS),
                    u_ppfd: source
                        .u_ppfd
                        .iter()
                        .map(|u| rounded(Some(*u), PPFD_DECIMALS))
                        .collect(),
                })
                .collect(),
        })
        .collect()
}

fn judged<'a>(survey: &Survey, judgement: &'a Judgement) -> Judged<'a> {
    Judged {
        verdict: verdict_word(judgement.verdict),
        sentence: words::sentence(survey, judgement),
        baseline: judgement.baseline.as_deref(),
        baseline_date: judgement.baseline_date.map(|date| date.to_string()),
        baseline_mean_of: &judgement.baseline_mean_of,
        even: judgement.even.map(changed),
        fixtures_differ: judgement.fixtures_differ,
        fixtures: judgement
            .fixtures
            .iter()
            .map(|fixture| FixtureChanged {
                fixture: &fixture.fixture,
                change: changed(fixture.change),
                stations: fixture.stations,
            })
            .collect(),
        limits: &judgement.limits,
    }
}

fn changed(change: Change) -> Changed {
    Changed {
        change_percent: rounded(Some(change.percent), PERCENT_DECIMALS),
        u_change_percent: rounded(Some(change.u_percent), PERCENT_DECIMALS),
        ci95: change.ci95.map(|end| rounded(Some(end), PERCENT_DECIMALS)),
        p_real: rounded(Some(change.p_real), PROBABILITY_DECIMALS),
    }
}

/// The word that is written for a verdict.
pub fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Baseline => "baseline",
        Verdict::NoBaseline => "no-baseline",
        Verdict::TooPoor => "too-poor",
        Verdict::NoChangeProven => "no-change-proven",
        Verdict::BelowThreshold => "below-threshold",
        Verdict::PastThreshold => "past-threshold",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples;
    use serde_json::{Value, json};

    fn written(survey: &Survey, judgement: Option<&Judgement>) -> String {
        let zone = SiteZone::named(&survey.timezone).expect("a zone");
        let mut bytes = Vec::new();
        write(&mut bytes, survey, judgement, &[], &zone, "0.1.0").expect("written");
        String::from_utf8(bytes).expect("UTF-8")
    }

    #[test]
    fn every_listed_thing_is_there_in_a_stable_order() {
        let (survey, judgement) = samples::small();
        let text = written(&survey, Some(&judgement));
        assert_eq!(text, written(&survey, Some(&judgement)));
        assert!(text.starts_with("{\n  \"id\": \"2026-03-14-noon\",\n  \"revision\": 1,\n  \"tank\": \"harbour\",\n  \"scene\": \"noon\",\n"));
        assert!(
            text.ends_with(
                "  \"software\": {\n    \"name\": \"undim\",\n    \"version\": \"0.1.0\"\n  }\n}\n"
            )
        );
        let value: Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(value["sources"][0]["assumed"]["delimiter"], ";");
        assert_eq!(
            value["sources"][0]["importer"],
            json!({"name": "delimited", "version": "0.1.0"})
        );
        assert_eq!(
            value["counts_by_flag"],
            json!({"1": 5, "2": 0, "3": 0, "4": 5, "9": 0})
        );
        assert_eq!(value["read_again"][0]["station"], "w2");
        assert_eq!(value["smallest_even_loss_percent"], 4.7);
        assert_eq!(
            value["shared_uncertainty"][0],
            json!({"device": "bagged-phone", "correction": "2026-03-01 line", "stations": ["w1"], "sources": [
                {"source": "rezero", "same_next_survey": false, "least_percent": 2, "most_percent": 2, "u_ppfd": [2.36]},
                {"source": "fit", "same_next_survey": true, "least_percent": 2.74, "most_percent": 2.74, "u_ppfd": [3.23]},
            ]})
        );
        assert_eq!(value["judgement"]["verdict"], "past-threshold");
        assert_eq!(value["alerts"][0]["change"], "opened");
    }

    #[test]
    fn what_is_not_known_is_null() {
        let (mut survey, _) = samples::small();
        survey.scene = None;
        survey.stations[0].station = "</script>\u{202e}".into();
        survey.stations[0].value = None;
        let value: Value = serde_json::from_str(&written(&survey, None)).expect("JSON");
        assert_eq!(value["scene"], Value::Null);
        assert_eq!(value["judgement"], Value::Null);
        assert_eq!(value["shared_uncertainty"], json!([]));
    }
}
