//! The answer as one JSON object (formats, section 8).

use super::rows::RowJson;
use super::{Failure, Reading};
use crate::engine::Imported;
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
        assumed: assumed(imported),
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
    let (question, problems) = match failure {
        Failure::Asked { text, choices } => (Some(Asked { text, choices }), Vec::new()),
        Failure::Unusable { line, column, text } => (
            None,
            vec![Problem {
                line: *line,
                column: *column,
                text: text.into(),
            }],
        ),
        Failure::Layout { text, .. } => (
            None,
            vec![Problem {
                line: 0,
                column: 0,
                text: text.into(),
            }],
        ),
        Failure::Failed(_) | Failure::Stopped => (None, Vec::new()),
    };
    LookJson {
        importer: None,
        assumed: Assumed::default(),
        question,
        readings: 0,
        first: None,
        last: None,
        problems,
    }
}

fn assumed(imported: &Imported) -> Assumed<'_> {
    Assumed {
        encoding: imported.fact("encoding"),
        delimiter: imported.fact("delimiter"),
        quote: imported.fact("quote"),
        decimal: imported.fact("decimal"),
        header_line: imported.fact("header_line").and_then(|line| line.parse().ok()),
        timezone: imported.fact("timezone"),
        unit: imported.fact("unit"),
        columns: imported
            .facts
            .iter()
            .filter_map(|(key, value, _)| Some((key.strip_prefix("columns.")?, value.as_str())))
            .collect(),
    }
}
