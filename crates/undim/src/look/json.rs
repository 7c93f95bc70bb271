//! The answer as one JSON object (formats, section 8).

use super::rows::RowJson;
use super::{Failure, Reading};
use serde::Serialize;
use std::collections::BTreeMap;

/// The object.
#[derive(Debug, Serialize)]
pub(crate) struct LookJson<'a> {
    importer: Option<&'a str>,
    assumed: Assumed<'a>,
    question: Option<Asked<'a>>,
    readings: u64,
    first: Option<RowJson<'a>>,
    last: Option<RowJson<'a>>,
    problems: Vec<Problem<'a>>,
}

#[derive(Debug, Default, Serialize)]
struct Assumed<'a> {
    encoding: Option<&'a str>,
    delimiter: Option<&'a str>,
    quote: Option<&'a str>,
    decimal: Option<&'a str>,
    header_line: Option<u64>,
    timezone: Option<&'a str>,
    unit: Option<&'a str>,
    columns: BTreeMap<&'a str, &'a str>,
}

#[derive(Debug, Serialize)]
struct Asked<'a> {
    text: &'a str,
    choices: &'a [String],
}

#[derive(Debug, Serialize)]
struct Problem<'a> {
    line: u64,
    column: u32,
    text: std::borrow::Cow<'a, str>,
}

/// Of a file that was read.
pub(crate) fn of_reading(reading: &Reading) -> LookJson<'_> {
    let imported = &reading.imported;
    let more = (imported.more_problems > 0).then(|| Problem {
        line: 0,
        column: 0,
        text: format!("and {} more", imported.more_problems).into(),
    });
    LookJson {
        importer: Some(&imported.importer),
        assumed: assumed(
            &imported
                .facts
                .iter()
                .map(|(key, value, _)| (key.as_str(), value.as_str())),
        ),
        question: None,
        readings: imported.rows,
        first: reading.first.first().map(RowJson::from),
        last: reading.last.as_ref().map(RowJson::from),
        problems: imported
            .problems
            .iter()
            .map(|(line, column, text)| Problem {
                line: *line,
                column: *column,
                text: text.into(),
            })
            .chain(more)
            .collect(),
    }
}

/// Of a file that nobody could read.
pub(crate) fn of_failure(failure: &Failure) -> LookJson<'_> {
    let (question, problems, facts) = match failure {
        Failure::Asked { text, choices, facts } => {
            (Some(Asked { text, choices }), Vec::new(), facts.as_slice())
        }
        Failure::Unusable {
            line,
            column,
            text,
            facts,
        } => (
            None,
            vec![Problem {
                line: *line,
                column: *column,
                text: text.into(),
            }],
            facts.as_slice(),
        ),
        Failure::Layout { text, .. } => (
            None,
            vec![Problem {
                line: 0,
                column: 0,
                text: text.into(),
            }],
            [].as_slice(),
        ),
        Failure::Failed(_) | Failure::Stopped => (None, Vec::new(), [].as_slice()),
    };
    LookJson {
        importer: None,
        assumed: assumed(&facts.iter().map(|fact| (fact.key.as_str(), fact.value.as_str()))),
        question,
        readings: 0,
        first: None,
        last: None,
        problems,
    }
}

fn assumed<'a>(facts: &(impl Iterator<Item = (&'a str, &'a str)> + Clone)) -> Assumed<'a> {
    let fact = |wanted: &str| {
        facts
            .clone()
            .find(|(key, _)| *key == wanted)
            .map(|(_, value)| value)
    };
    Assumed {
        encoding: fact("encoding"),
        delimiter: fact("delimiter"),
        quote: fact("quote"),
        decimal: fact("decimal"),
        header_line: fact("header_line").and_then(|line| line.parse().ok()),
        timezone: fact("timezone"),
        unit: fact("unit"),
        columns: facts
            .clone()
            .filter_map(|(key, value)| Some((key.strip_prefix("columns.")?, value)))
            .collect(),
    }
}
