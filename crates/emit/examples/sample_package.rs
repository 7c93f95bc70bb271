//! Writes the package of an invented survey into a folder, for the validator of the Frictionless project.
//!
//! `cargo run -p undim-emit --example sample_package -- DIR`, then `frictionless validate DIR/datapackage.json`
#![allow(
    clippy::disallowed_methods,
    reason = "an example is a small shell around the pure crate"
)]

mod samples;

use std::error::Error;
use std::path::PathBuf;
use undim_emit::datapackage_json::{PackageFiles, WrittenFile};
use undim_emit::readings_csv::ReadingsWriter;
use undim_emit::{
    CsvStyle, Report, SiteZone, datapackage_json, history_csv, page, stations_csv, survey_json,
};
use undim_model::{Flag, Reading, Reason, Survey};

fn main() -> Result<(), Box<dyn Error>> {
    let folder = PathBuf::from(std::env::args_os().nth(1).ok_or("usage: sample_package DIR")?);
    std::fs::create_dir_all(&folder)?;
    let scenario = samples::hostile();
    let (survey, judgement) = (&scenario.survey, &scenario.judgement);
    let zone = SiteZone::named(&survey.timezone)?;
    let version = env!("CARGO_PKG_VERSION");

    let mut readings = ReadingsWriter::new(Vec::new(), &zone, CsvStyle::Standard)?;
    for reading in readings_of(survey) {
        readings.write(&reading)?;
    }
    let readings = readings.finish()?;
    let mut stations = Vec::new();
    stations_csv::write(&mut stations, survey, Some(judgement), CsvStyle::Standard)?;
    let mut history = Vec::new();
    history_csv::write(&mut history, [(survey, Some(judgement))], CsvStyle::Standard)?;
    let mut about = Vec::new();
    survey_json::write(&mut about, survey, Some(judgement), &[], &zone, version)?;
    let page = page::survey(&Report {
        site_name: "North room",
        tank: &scenario.tank,
        survey,
        judgement,
        earlier: None,
        side_by_side: &[],
        in_site: true,
        software_version: version,
    });
    // The hash is the caller's to give; an example needs no real one.
    let file = |bytes: &[u8]| WrittenFile {
        bytes: bytes.len() as u64,
        blake3: "0".repeat(64),
    };
    let files = PackageFiles {
        readings: file(&readings),
        stations: file(&stations),
        survey: file(&about),
        report: file(page.as_bytes()),
        eu: None,
    };
    let mut package = Vec::new();
    datapackage_json::write(&mut package, survey, &scenario.tank.name, &files, version)?;
    for (name, bytes) in [
        ("readings.csv", readings),
        ("stations.csv", stations),
        ("history.csv", history),
        ("survey.json", about),
        ("report.html", page.into_bytes()),
        ("datapackage.json", package),
    ] {
        std::fs::write(folder.join(name), bytes)?;
    }
    Ok(())
}

/// Three readings for each station: one plain, one with everything missing, one rejected.
fn readings_of(survey: &Survey) -> Vec<Reading> {
    let mut row = 1;
    let mut readings = Vec::new();
    for station in &survey.stations {
        for kind in 0..3 {
            row += 1;
            let mut reading = Reading {
                source: survey.sources[0].path.clone(),
                row,
                time: (kind < 2).then_some(survey.start),
                device: "bagged-phone".into(),
                station: (kind < 2).then(|| station.station.clone()),
                position_cm: station
                    .position
                    .map(|p| p.to_array().map(Some))
                    .unwrap_or_default(),
                raw: (kind != 1).then_some(-0.25),
                raw_unit: Some("umol.m-2.s-1".into()),
                value: (kind != 1).then_some(station.value).flatten(),
                flag: Flag::Good,
                reasons: undim_model::Reasons::NONE,
            };
            match kind {
                1 => reading.reasons.add(Reason::MissingValue),
                2 => {
                    reading.reasons.add(Reason::NoPosition);
                    reading.reasons.add(Reason::Repeat);
                }
                _ => {}
            }
            reading.flag = reading.reasons.flag_from(Flag::Good);
            readings.push(reading);
        }
    }
    readings
}
