//! A survey's folder in the outbox: written aside, synced, put in place whole.

use crate::engine::EngineError;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::Path;
use undim_config::Csv;
use undim_emit::datapackage_json::{self, EuFiles, PackageFiles, WrittenFile};
use undim_emit::readings_csv::ReadingsWriter;
use undim_emit::{CsvStyle, Report, SiteZone, page, stations_csv, survey_json};
use undim_intake::spool::{hidden_name, publish_folder};
use undim_model::Reading;

/// This program's version, as it is written into packages.
pub(crate) const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Gives every reading of a survey to a writer, in written order.
pub(crate) type Readings<'a> =
    dyn Fn(&mut dyn FnMut(&Reading) -> Result<(), EngineError>) -> Result<(), EngineError> + 'a;

/// Writes the package of one survey below the tank's folder.
pub(crate) fn write(
    tank_folder: &Path,
    report: &Report<'_>,
    zone: &SiteZone,
    csv: Csv,
    readings: &Readings<'_>,
) -> Result<(), EngineError> {
    let survey = report.survey;
    let hidden = hidden_name(&survey.id);
    let aside = tank_folder.join(&hidden);
    let failed = |error: io::Error| EngineError::outbox(&aside, &error);
    fs::create_dir_all(&aside).map_err(failed)?;
    let written = fill(&aside, report, zone, csv, readings)
        .and_then(|()| publish_folder(tank_folder, &hidden, &survey.id).map_err(failed));
    if written.is_err() {
        // What is left of it begins with a dot and goes at the next start too.
        let _ = fs::remove_dir_all(&aside);
    }
    written
}

fn fill(
    aside: &Path,
    report: &Report<'_>,
    zone: &SiteZone,
    csv: Csv,
    readings: &Readings<'_>,
) -> Result<(), EngineError> {
    let failed = |error: io::Error| EngineError::outbox(aside, &error);
    let (survey, judgement) = (report.survey, report.judgement);
    let begin = |style: CsvStyle| {
        let to = Hashing::create(&aside.join(style.file_name("readings")))?;
        ReadingsWriter::new(to, zone, style)
    };
    let mut standard = begin(CsvStyle::Standard).map_err(failed)?;
    let mut eu = match csv {
        Csv::Standard => None,
        Csv::SpreadsheetEu => Some(begin(CsvStyle::SpreadsheetEu).map_err(failed)?),
    };
    readings(&mut |reading| {
        standard.write(reading).map_err(failed)?;
        match &mut eu {
            Some(eu) => eu.write(reading).map_err(failed),
            None => Ok(()),
        }
    })?;
    let stations = |style: CsvStyle| {
        written(aside, &style.file_name("stations"), |to| {
            stations_csv::write(to, survey, Some(judgement), style)
        })
    };
    let eu = match eu {
        None => None,
        Some(readings) => Some(EuFiles {
            readings: readings.finish().and_then(Hashing::finish).map_err(failed)?,
            stations: stations(CsvStyle::SpreadsheetEu)?,
        }),
    };
    let files = PackageFiles {
        readings: standard.finish().and_then(Hashing::finish).map_err(failed)?,
        stations: stations(CsvStyle::Standard)?,
        eu,
        survey: written(aside, "survey.json", |to| {
            survey_json::write(to, survey, Some(judgement), report.side_by_side, zone, VERSION)
        })?,
        report: written(aside, "report.html", |to| {
            to.write_all(page::survey(report).as_bytes())
        })?,
    };
    written(aside, "datapackage.json", |to| {
        datapackage_json::write(to, survey, &report.tank.name, &files, VERSION)
    })?;
    Ok(())
}

pub(super) fn written(
    aside: &Path,
    name: &str,
    write: impl FnOnce(&mut Hashing) -> io::Result<()>,
) -> Result<WrittenFile, EngineError> {
    let path = aside.join(name);
    let written = Hashing::create(&path).and_then(|mut to| {
        write(&mut to)?;
        to.finish()
    });
    written.map_err(|error| EngineError::outbox(&path, &error))
}

/// A file that knows its size and hash.
pub(super) struct Hashing {
    to: BufWriter<File>,
    hasher: blake3::Hasher,
    bytes: u64,
}

impl Hashing {
    pub(super) fn create(path: &Path) -> io::Result<Self> {
        Ok(Self {
            to: BufWriter::with_capacity(1 << 16, File::create(path)?),
            hasher: blake3::Hasher::new(),
            bytes: 0,
        })
    }

    pub(super) fn finish(mut self) -> io::Result<WrittenFile> {
        self.to.flush()?;
        Ok(WrittenFile {
            bytes: self.bytes,
            blake3: self.hasher.finalize().to_hex().to_string(),
        })
    }
}

impl Write for Hashing {
    fn write(&mut self, buffer: &[u8]) -> io::Result<usize> {
        let written = self.to.write(buffer)?;
        self.hasher.update(&buffer[..written]);
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}
