//! Alerts as they are written: `alerts/<id>.json` and the lines of `alerts.jsonl` (formats, section 7).
//!
//! `tank` is null for what belongs to the whole site. `where` is `"tank"` for the whole tank, a fixture's or station's id, a path for what concerns a file or
//! folder, and a list of ids where several stations changed and nothing explains them together. A line of
//! `alerts.jsonl` is the alert after the change, with `change` (`opened`, `raised`, `changed`, `closed`) as its last key.

use crate::SiteZone;
use crate::json::{rounded, write_line, write_pretty};
use crate::number::PERCENT_DECIMALS;
use crate::survey_json::PROBABILITY_DECIMALS;
use serde::Serialize;
use std::io;
use undim_model::{Alert, AlertChange, AlertTarget, Cause};

#[derive(Serialize)]
struct Line<'a> {
    id: &'a str,
    tank: Option<&'a str>,
    about: &'static str,
    state: &'static str,
    level: &'static str,
    cause: Option<&'static str>,
    r#where: Where<'a>,
    change_percent: Option<f64>,
    ci95: Option<[Option<f64>; 2]>,
    survey: Option<&'a str>,
    baseline: Option<&'a str>,
    opened: String,
    updated: String,
    closed: Option<String>,
    evidence: &'a [String],
    next_step: &'a [String],
    alternatives: Vec<Alternative>,
    alike: Vec<&'static str>,
    p_real: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    change: Option<&'static str>,
}

#[derive(Serialize)]
#[serde(untagged)]
enum Where<'a> {
    One(&'a str),
    Several(&'a [String]),
}

#[derive(Serialize)]
struct Alternative {
    cause: &'static str,
    probability: Option<f64>,
}

fn line<'a>(alert: &'a Alert, zone: &SiteZone, change: Option<&'static str>) -> Line<'a> {
    Line {
        id: &alert.id,
        tank: Some(alert.tank.as_str()).filter(|tank| !tank.is_empty()),
        about: alert.about.word(),
        state: alert.state.word(),
        level: alert.level.word(),
        cause: alert.cause.map(Cause::word),
        r#where: match &alert.target {
            AlertTarget::Tank => Where::One("tank"),
            AlertTarget::Fixture(id) | AlertTarget::Station(id) | AlertTarget::Path(id) => Where::One(id),
            AlertTarget::Stations(ids) => Where::Several(ids),
        },
        change_percent: rounded(alert.change_percent, PERCENT_DECIMALS),
        ci95: alert
            .ci95
            .map(|ends| ends.map(|end| rounded(Some(end), PERCENT_DECIMALS))),
        survey: alert.survey.as_deref(),
        baseline: alert.baseline.as_deref(),
        opened: zone.time(alert.opened),
        updated: zone.time(alert.updated),
        closed: alert.closed.map(|time| zone.time(time)),
        evidence: &alert.evidence,
        next_step: &alert.next_step,
        alternatives: alert
            .alternatives
            .iter()
            .map(|other| Alternative {
                cause: other.cause.word(),
                probability: rounded(Some(other.probability), PROBABILITY_DECIMALS),
            })
            .collect(),
        alike: alert.alike.iter().map(|cause| cause.word()).collect(),
        p_real: rounded(alert.p_real, PROBABILITY_DECIMALS),
        change,
    }
}

/// Writes an alert's present state, over several lines.
pub fn write_alert<W: io::Write>(to: W, alert: &Alert, zone: &SiteZone) -> io::Result<()> {
    write_pretty(to, &line(alert, zone, None))
}

/// Writes one line of `alerts.jsonl`, with its line end.
pub fn write_change<W: io::Write>(to: W, change: &AlertChange, zone: &SiteZone) -> io::Result<()> {
    write_line(to, &line(&change.alert, zone, Some(change.step.word())))
}

/// An alert's present state, over several lines.
pub fn alert_json(alert: &Alert, zone: &SiteZone) -> String {
    text(|bytes| write_alert(bytes, alert, zone))
}

/// One line of `alerts.jsonl`, with its line end.
pub fn alerts_jsonl_line(change: &AlertChange, zone: &SiteZone) -> String {
    text(|bytes| write_change(bytes, change, zone))
}

fn text(write: impl FnOnce(&mut Vec<u8>) -> io::Result<()>) -> String {
    let mut bytes = Vec::new();
    write(&mut bytes).expect("a Vec takes every byte, and these structs always serialise");
    String::from_utf8(bytes).expect("JSON is UTF-8")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples;
    use serde_json::Value;

    fn zone() -> SiteZone {
        SiteZone::named("Europe/Lisbon").expect("a zone")
    }

    #[test]
    fn one_line_with_the_keys_in_order() {
        let (_, judgement) = samples::small();
        assert_eq!(
            alerts_jsonl_line(&judgement.alert_changes[0], &zone()),
            "{\"id\":\"harbour-west-2026-03-14\",\"tank\":\"harbour\",\"about\":\"light\",\"state\":\"open\",\
             \"level\":\"notice\",\"cause\":\"lens-dirty\",\"where\":\"west\",\"change_percent\":-16.25,\
             \"ci95\":[-20.1,-12.4],\"survey\":\"2026-03-14-noon\",\"baseline\":\"2025-10-11-noon\",\
             \"opened\":\"2026-03-14T12:00:00+00:00\",\"updated\":\"2026-03-14T12:00:00+00:00\",\"closed\":null,\
             \"evidence\":[\"4 of 5 places lit by west read less; none lit by east does.\"],\"next_step\":[],\
             \"alternatives\":[{\"cause\":\"fixture-ageing\",\"probability\":0.16},{\"cause\":\"fixture-fault\",\"probability\":0.1}],\
             \"alike\":[],\"p_real\":0.998,\"change\":\"opened\"}\n"
        );
    }

    #[test]
    fn places_are_a_word_or_a_list() {
        let (_, judgement) = samples::small();
        let mut alert = judgement.alert_changes[0].alert.clone();
        for (target, text) in [
            (AlertTarget::Tank, "\"tank\""),
            (AlertTarget::Station("reef-top".into()), "\"reef-top\""),
            (
                AlertTarget::Stations(vec!["a".into(), "b".into()]),
                "[\"a\",\"b\"]",
            ),
            (
                AlertTarget::Path("harbour/x\".csv".into()),
                "\"harbour/x\\\".csv\"",
            ),
        ] {
            alert.target = target;
            let value: Value = serde_json::from_str(&alert_json(&alert, &zone())).expect("JSON");
            assert_eq!(value["where"].to_string(), text);
            assert!(value.get("change").is_none());
        }
    }
}
