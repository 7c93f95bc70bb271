//! `datapackage.json` of a mounted sensor's folder: its days with their schema, its minutes as Parquet, which
//! brings its own.

use crate::datapackage_json::{WrittenFile, count, field, flag, plain, required, schema, table};
use crate::json::write_pretty;
use serde_json::{Value, json};
use std::io;

/// A mounted sensor as its package describes it.
#[derive(Debug, Clone, Copy)]
pub struct MountedPackage<'a> {
    /// The tank's id.
    pub tank: &'a str,
    /// The tank's name as shown to people.
    pub tank_name: &'a str,
    /// The station.
    pub station: &'a str,
    /// Inbox paths of the files it is made of.
    pub sources: &'a [String],
    /// `days.csv`.
    pub days: &'a WrittenFile,
    /// `minutes-<year>.parquet`, by year.
    pub minutes: &'a [(i16, WrittenFile)],
    /// The program's version.
    pub software_version: &'a str,
}

/// Writes the file.
pub fn write<W: io::Write>(to: W, package: &MountedPackage<'_>) -> io::Result<()> {
    let mut resources = vec![table(
        "days",
        "One row per day of the site's zone",
        package.days,
        &days_schema(),
        crate::CsvStyle::Standard,
    )];
    resources.extend(package.minutes.iter().map(|(year, file)| minutes(*year, file)));
    write_pretty(
        to,
        &json!({
            "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
            "name": format!("{}-mounted-{}", package.tank, package.station),
            "title": format!("{}: sensor mounted at {}", package.tank_name, package.station),
            "description": "PAR (PPFD) of a mounted sensor in an aquarium, corrected: minutes and days, with standard uncertainties (k = 1). A day's light integral holds what was measured, nothing is filled in; its flag tells whether minutes are missing.",
            "resources": resources,
            "sources": package.sources.iter().map(|path| json!({"title": path})).collect::<Vec<_>>(),
            "software": {"name": "undim", "version": package.software_version},
        }),
    )
}

fn minutes(year: i16, file: &WrittenFile) -> Value {
    let mut resource = plain(
        &format!("minutes-{year}"),
        &format!("minutes-{year}.parquet"),
        "parquet",
        "application/vnd.apache.parquet",
        "One row per minute with a reading: time (its start, UTC), mean, median (umol.m-2.s-1), n (readings used), rejected",
        file,
    );
    // Not text: no encoding, and the file holds its own schema.
    if let Some(resource) = resource.as_object_mut() {
        resource.remove("encoding");
    }
    resource
}

fn days_schema() -> Value {
    let number = |name: &str, description: &str, unit: &str| {
        let mut number = field(name, "number", description);
        number["unit"] = json!(unit);
        number
    };
    let mut date = required(field("date", "date", "Day of the site's zone"));
    date["constraints"]["unique"] = json!(true);
    schema(&[
        date,
        number("dli", "Daily light integral: what was measured", "mol.m-2.d-1"),
        number("peak", "99th percentile of the day's minutes", "umol.m-2.s-1"),
        count("n", "Readings used"),
        count("rejected", "Readings not used"),
        flag(),
        number(
            "change_percent",
            "Change of dli against the baseline; negative where light fell",
            "%",
        ),
        number(
            "u_change_percent",
            "Its standard uncertainty (k = 1), percentage points",
            "%",
        ),
        field(
            "baseline",
            "string",
            "First and last day of the baseline, an interval of ISO 8601",
        ),
    ])
}
