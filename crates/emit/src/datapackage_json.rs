//! `datapackage.json`: the folder as a Frictionless Data Package, version 2, with a Table Schema for each
//! CSV file (<https://datapackage.org/standard/data-package/>, `table-schema`).
//!
//! The quantity of `ppfd` is named in CF terms: `downwelling_photosynthetic_photon_flux_in_sea_water`,
//! whose canonical unit is mol m-2 s-1 (CF standard name table); ours is µmol m⁻² s⁻¹, 10⁶ to one.

use crate::CsvStyle;
use crate::json::write_pretty;
use serde_json::{Value, json};
use std::io;
use undim_model::{Flag, Reason, Survey};

/// A written file of the folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WrittenFile {
    /// Its size.
    pub bytes: u64,
    /// BLAKE3 of its bytes, lower-case hexadecimal.
    pub blake3: String,
}

/// The files of a survey's folder that its package describes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackageFiles {
    /// `readings.csv`.
    pub readings: WrittenFile,
    /// `stations.csv`.
    pub stations: WrittenFile,
    /// `survey.json`.
    pub survey: WrittenFile,
    /// `report.html`.
    pub report: WrittenFile,
    /// The second copies for spreadsheets, where they are asked for.
    pub eu: Option<EuFiles>,
}

/// The second copies for spreadsheets ([`CsvStyle::SpreadsheetEu`]).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EuFiles {
    /// `readings.eu.csv`.
    pub readings: WrittenFile,
    /// `stations.eu.csv`.
    pub stations: WrittenFile,
}

const CF_NAME: &str = "downwelling_photosynthetic_photon_flux_in_sea_water";

/// Writes the file.
pub fn write<W: io::Write>(
    to: W,
    survey: &Survey,
    tank_name: &str,
    files: &PackageFiles,
    software_version: &str,
) -> io::Result<()> {
    let title = format!("{tank_name}: light survey {}", survey.id);
    let standard = CsvStyle::Standard;
    let mut resources = vec![
        table(
            "readings",
            "One row per reading",
            &files.readings,
            &readings_schema(),
            standard,
        ),
        table(
            "stations",
            "One row per station",
            &files.stations,
            &stations_schema(),
            standard,
        ),
    ];
    if let Some(eu) = &files.eu {
        let style = CsvStyle::SpreadsheetEu;
        resources.extend([
            table(
                "readings",
                "The same with semicolons and decimal commas",
                &eu.readings,
                &readings_schema(),
                style,
            ),
            table(
                "stations",
                "The same with semicolons and decimal commas",
                &eu.stations,
                &stations_schema(),
                style,
            ),
        ]);
    }
    resources.extend([
        plain(
            "survey",
            "survey.json",
            "json",
            "application/json",
            "Sources, corrections, uncertainties and verdict",
            &files.survey,
        ),
        plain(
            "report",
            "report.html",
            "html",
            "text/html",
            "The page to read",
            &files.report,
        ),
    ]);
    write_pretty(
        to,
        &json!({
            "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
            "name": format!("{}-{}", survey.tank, survey.id),
            "title": title,
            "description": "Readings of PAR (PPFD) in an aquarium, corrected and placed, with standard uncertainties (k = 1). Nothing is dropped: rejected readings carry flag 4 or 9 and the reason.",
            "version": format!("{}.0.0", survey.revision),
            "resources": resources,
            "sources": survey.sources.iter().map(|source| json!({"title": &*source.path})).collect::<Vec<_>>(),
            "software": {"name": "undim", "version": software_version},
        }),
    )
}

pub(crate) fn plain(
    name: &str,
    path: &str,
    format: &str,
    mediatype: &str,
    title: &str,
    file: &WrittenFile,
) -> Value {
    json!({
        "name": name,
        "path": path,
        "title": title,
        "format": format,
        "mediatype": mediatype,
        "encoding": "utf-8",
        "bytes": file.bytes,
        "hash": format!("blake3:{}", file.blake3),
    })
}

pub(crate) fn table(name: &str, title: &str, file: &WrittenFile, schema: &Value, style: CsvStyle) -> Value {
    let path = style.file_name(name);
    let mut resource = plain(
        &path.replace(".csv", "").replace('.', "-"),
        &path,
        "csv",
        "text/csv",
        title,
        file,
    );
    resource["type"] = json!("table");
    resource["dialect"] = json!({
        "$schema": "https://datapackage.org/profiles/2.0/tabledialect.json",
        "header": true, "delimiter": style.delimiter().to_string(), "lineTerminator": "\n", "quoteChar": "\"", "doubleQuote": true,
    });
    resource["schema"] = schema.clone();
    if style != CsvStyle::Standard
        && let Some(fields) = resource["schema"]["fields"].as_array_mut()
    {
        for field in fields.iter_mut().filter(|field| field["type"] == "number") {
            field["decimalChar"] = json!(style.decimal_mark().to_string());
        }
    }
    resource
}

pub(crate) fn schema(fields: &[Value]) -> Value {
    json!({
        "$schema": "https://datapackage.org/profiles/2.0/tableschema.json",
        "fields": fields,
        "missingValues": [""],
    })
}

fn readings_schema() -> Value {
    let mut row = field(
        "row",
        "integer",
        "Line of the source where the record starts, from 1, header included",
    );
    row["constraints"] = json!({"required": true, "minimum": 0});
    schema(&[
        required(field("source", "string", "Inbox path of the file")),
        row,
        field(
            "time",
            "datetime",
            "When it was read, RFC 3339 with the offset of the site's zone",
        ),
        required(field("device", "string", "Id of the device")),
        field("station", "string", "Station it belongs to"),
        position("from_left_cm", "left inside pane to the right"),
        position("from_bottom_cm", "bottom pane towards the surface"),
        position("from_front_cm", "front inside pane to the rear"),
        field("raw", "number", "As the device gave it, in raw_unit"),
        field("raw_unit", "string", "Unit of raw, UCUM code"),
        photon_flux("ppfd", "Corrected PPFD"),
        uncertainty(
            "u_ppfd",
            "Combined standard uncertainty (k = 1) of this reading",
            "umol.m-2.s-1",
        ),
        flag(),
        reasons(),
    ])
}

fn stations_schema() -> Value {
    let mut station = required(field("station", "string", "Its id or stable name"));
    station["constraints"]["unique"] = json!(true);
    let mut stations = schema(&[
        station,
        position("from_left_cm", "left inside pane to the right"),
        position("from_bottom_cm", "bottom pane towards the surface"),
        position("from_front_cm", "front inside pane to the rear"),
        count("readings", "Every row of it"),
        count("used", "Readings in the value"),
        photon_flux("ppfd", "PPFD of the station"),
        uncertainty(
            "u_ppfd",
            "Combined standard uncertainty (k = 1): own and shared in quadrature",
            "umol.m-2.s-1",
        ),
        uncertainty("u_own_ppfd", "Its own part (k = 1)", "umol.m-2.s-1"),
        uncertainty(
            "u_shared_ppfd",
            "The part shared with other stations (k = 1); it never averages down",
            "umol.m-2.s-1",
        ),
        flag(),
        with_unit(
            field(
                "change_percent",
                "number",
                "Change against the baseline; negative where light fell",
            ),
            "%",
        ),
        uncertainty(
            "u_change_percent",
            "Standard uncertainty (k = 1) of the change, percentage points",
            "%",
        ),
        field("baseline", "string", "Id of the baseline survey"),
    ]);
    stations["primaryKey"] = json!(["station"]);
    stations
}

pub(crate) fn field(name: &str, kind: &str, description: &str) -> Value {
    json!({"name": name, "type": kind, "description": description})
}

pub(crate) fn required(mut field: Value) -> Value {
    field["constraints"] = json!({"required": true});
    field
}

fn with_unit(mut field: Value, unit: &str) -> Value {
    field["unit"] = json!(unit);
    field
}

fn position(name: &str, from: &str) -> Value {
    with_unit(field(name, "number", &format!("Position: {from}")), "cm")
}

pub(crate) fn count(name: &str, description: &str) -> Value {
    let mut field = required(field(name, "integer", description));
    field["constraints"]["minimum"] = json!(0);
    field
}

pub(crate) fn photon_flux(name: &str, description: &str) -> Value {
    let description =
        format!("{description}, µmol m-2 s-1; CF {CF_NAME}, canonical unit mol m-2 s-1: divide by 1e6");
    let mut field = with_unit(field(name, "number", &description), "umol.m-2.s-1");
    field["standardName"] = json!(CF_NAME);
    field["canonicalUnit"] = json!("mol m-2 s-1");
    field["toCanonicalUnit"] = json!("1e-6");
    field
}

pub(crate) fn uncertainty(name: &str, description: &str, unit: &str) -> Value {
    let mut field = with_unit(field(name, "number", description), unit);
    field["constraints"] = json!({"minimum": 0});
    field
}

pub(crate) fn flag() -> Value {
    let mut field = field(
        "flag",
        "integer",
        "Quality flag, IOC Manuals and Guides 54 Vol. 3: 1 good, 2 not evaluated, 3 questionable, 4 bad, 9 missing",
    );
    field["constraints"] = json!({"required": true, "enum": Flag::ALL.map(Flag::number)});
    field
}

fn reasons() -> Value {
    let words: Vec<&str> = Reason::ALL.iter().map(|reason| reason.word()).collect();
    let one = words.join("|");
    let mut field = field("reasons", "string", "Why it has its flag: words joined by ;");
    field["constraints"] = json!({"pattern": format!("({one})(;({one}))*")});
    field
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{readings_csv, samples, stations_csv};

    #[test]
    fn the_schemas_name_every_column_in_order() {
        let (survey, _) = samples::small();
        let file = WrittenFile {
            bytes: 10,
            blake3: "ab".repeat(32),
        };
        let files = PackageFiles {
            readings: file.clone(),
            stations: file.clone(),
            survey: file.clone(),
            report: file.clone(),
            eu: Some(EuFiles {
                readings: file.clone(),
                stations: file,
            }),
        };
        let mut bytes = Vec::new();
        write(&mut bytes, &survey, "Harbour tank", &files, "0.1.0").expect("written");
        let value: Value = serde_json::from_slice(&bytes).expect("JSON");
        let both = [readings_csv::COLUMNS, stations_csv::COLUMNS];
        for (index, columns) in both.into_iter().chain(both).enumerate() {
            let fields = value["resources"][index]["schema"]["fields"]
                .as_array()
                .expect("fields");
            let names: Vec<&str> = fields.iter().filter_map(|field| field["name"].as_str()).collect();
            assert_eq!(names, columns);
        }
        let of = |index: usize| &value["resources"][index];
        assert_eq!(of(0)["dialect"]["delimiter"], ",");
        assert_eq!(
            (&of(2)["name"], &of(2)["path"]),
            (&json!("readings-eu"), &json!("readings.eu.csv"))
        );
        assert_eq!(of(2)["dialect"]["delimiter"], ";");
        assert_eq!(of(3)["schema"]["fields"][6]["decimalChar"], ",");
        assert!(of(3)["schema"]["fields"][0].get("decimalChar").is_none());
        // Data Package 2.0: a name is `^([-a-z0-9._/])+$` in version 1 and a plain text in version 2.
        assert_eq!(value["name"], "harbour-2026-03-14-noon");
    }
}
