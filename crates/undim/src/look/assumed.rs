//! What was found out and assumed about a file, in words.

use super::Reading;
use undim_config::Timezone;
use undim_emit::text_cell::shown;
use undim_emit::words;
use undim_model::Survey;

/// What a file and its reading rest on.
pub(super) struct Assumptions {
    /// What the file or its layout states.
    pub(super) stated: Vec<String>,
    /// What is only taken to be so.
    pub(super) assumed: Vec<String>,
}

/// From what the importer told, and from what take-in said of the surveys.
pub(super) fn assumptions<'a>(
    reading: &Reading,
    timezone: &Timezone,
    surveys: impl Iterator<Item = &'a Survey>,
) -> Assumptions {
    let mut stated = facts(reading, false);
    let mut assumed = facts(reading, true);
    let told = reading.told;
    if told.wall_times && reading.imported.fact("timezone").is_none() && timezone.stated {
        stated.push(format!(
            "times without an offset are in the site's zone, {}",
            timezone.name
        ));
    }
    if told.coordinates {
        assumed.push(axes(reading));
    }
    for said in surveys.flat_map(|survey| {
        let files: Vec<String> = survey
            .sources
            .iter()
            .map(|source| format!("{}: ", source.path))
            .collect();
        survey.said.iter().map(move |said| {
            let of_file = files.iter().find_map(|file| said.strip_prefix(file.as_str()));
            shown(of_file.unwrap_or(said)).into_owned()
        })
    }) {
        if !assumed.contains(&said) {
            assumed.push(said);
        }
    }
    Assumptions { stated, assumed }
}

/// The importer's facts of one sort; the usual ones too.
fn facts(reading: &Reading, wanted: bool) -> Vec<String> {
    let of_sort = reading
        .imported
        .facts
        .iter()
        .filter(|(_, _, assumed)| *assumed == wanted)
        .map(|(key, value, _)| (key.as_str(), value.as_str()));
    let value = |wanted: &str| {
        of_sort
            .clone()
            .find(|(key, _)| *key == wanted)
            .map(|(_, value)| value)
    };
    let mut shape = Vec::new();
    if value("encoding").is_some_and(|encoding| encoding.eq_ignore_ascii_case("utf-8")) {
        shape.push("text in UTF-8".to_owned());
    }
    shape.extend(value("delimiter").map(|mark| match mark {
        "tab" | "\t" => "tabs between cells".to_owned(),
        "blanks" => "blanks between cells".to_owned(),
        mark => format!("“{}” between cells", shown(mark)),
    }));
    if value("header_line") == Some("1") {
        shape.push("header in line 1".to_owned());
    }
    let shape = (!shape.is_empty()).then(|| shape.join(", "));
    shape.into_iter().chain(words::assumed(&of_sort)).collect()
}

fn axes(reading: &Reading) -> String {
    let states_unit = ["unit.x", "unit.y", "unit.z"]
        .iter()
        .any(|axis| reading.imported.fact(axis).is_some());
    let unit = if states_unit { "" } else { ", in cm" };
    format!("x counts from the left pane, y from the bottom, z from the front pane{unit}")
}
