//! Rows with the columns of the formats, section 5: as text cells, as CSV and as JSON.

use crate::engine::{CachedRows, Cancel};
use jiff::Timestamp;
use jiff::tz::{Offset, TimeZone};
use serde::Serialize;
use std::io::{self, Write};
use undim_emit::number;
use undim_model::{ImportedRow, ImportedTime};
use undim_survey::Rows as _;

/// The columns, in written order.
pub(super) const COLUMNS: [&str; 12] = [
    "row",
    "time",
    "value",
    "unit",
    "x",
    "y",
    "z",
    "station",
    "device",
    "tilt",
    "temperature",
    "remark",
];

/// A stop is asked about once for this many rows.
const ASKED_EVERY: u64 = 4096;

/// Why rows could not be written to their end.
#[derive(Debug, thiserror::Error)]
pub(crate) enum RowsOutError {
    /// Whoever read them went away.
    #[error("nobody reads them any more")]
    NobodyReads,
    /// Where they went.
    #[error("the rows could not be written: {0}")]
    Written(io::Error),
    /// Where they came from.
    #[error("{0}")]
    Read(String),
    /// A stop was asked for.
    #[error("stopped")]
    Stopped,
}

impl From<csv::Error> for RowsOutError {
    fn from(error: csv::Error) -> Self {
        let text = error.to_string();
        match error.into_kind() {
            csv::ErrorKind::Io(error) => error.into(),
            _ => Self::Written(io::Error::other(text)),
        }
    }
}

impl From<io::Error> for RowsOutError {
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            Self::NobodyReads
        } else {
            Self::Written(error)
        }
    }
}

/// Writes every row as CSV, one at a time, as the file holds it.
pub(crate) fn write_rows(rows: &CachedRows, to: impl Write, cancel: &Cancel) -> Result<(), RowsOutError> {
    let mut csv = csv::Writer::from_writer(to);
    csv.write_record(COLUMNS)?;
    let read = |error: undim_survey::RowsError| RowsOutError::Read(error.to_string());
    for (number, row) in (0_u64..).zip(rows.open().map_err(read)?) {
        if number % ASKED_EVERY == 0 && cancel.asked() {
            return Err(RowsOutError::Stopped);
        }
        csv.write_record(cells(&row.map_err(read)?))?;
    }
    csv.flush()?;
    Ok(())
}

/// The cells of a row; what is not there is empty.
pub(super) fn cells(row: &ImportedRow) -> [String; 12] {
    let number = |value: Option<f64>| value.map(number::raw).unwrap_or_default();
    let text = |text: &Option<undim_model::Text>| text.as_deref().unwrap_or_default().to_owned();
    [
        row.row.to_string(),
        time(row.time).unwrap_or_default(),
        number(row.value),
        text(&row.unit),
        number(row.x),
        number(row.y),
        number(row.z),
        text(&row.station),
        text(&row.device),
        number(row.tilt_deg),
        number(row.temperature_c),
        text(&row.remark),
    ]
}

/// An instant in RFC 3339, or a wall time without an offset. Nothing for what no calendar holds.
fn time(time: Option<ImportedTime>) -> Option<String> {
    let at = |micros| Timestamp::from_microsecond(micros).ok();
    Some(match time? {
        ImportedTime::Instant(micros) => at(micros)?.to_string(),
        ImportedTime::Wall(micros) => Offset::UTC.to_datetime(at(micros)?).to_string(),
    })
}

/// A time with its offset: an instant as it stands on the clocks of this zone, a wall time taken to be one of them.
pub(crate) fn zoned(time: ImportedTime, zone: &TimeZone) -> Option<String> {
    let at = |micros| Timestamp::from_microsecond(micros).ok();
    let instant = match time {
        ImportedTime::Instant(micros) => at(micros)?,
        ImportedTime::Wall(micros) => zone.to_timestamp(Offset::UTC.to_datetime(at(micros)?)).ok()?,
    };
    let zoned = instant.to_zoned_datetime(zone.clone());
    Some(zoned.strftime("%Y-%m-%dT%H:%M:%S%.f%:z").to_string())
}

/// A row as JSON.
#[derive(Debug, Serialize)]
pub(crate) struct RowJson<'a> {
    row: u64,
    time: Option<String>,
    value: Option<f64>,
    unit: Option<&'a str>,
    x: Option<f64>,
    y: Option<f64>,
    z: Option<f64>,
    station: Option<&'a str>,
    device: Option<&'a str>,
    tilt: Option<f64>,
    temperature: Option<f64>,
    remark: Option<&'a str>,
}

impl RowJson<'_> {
    /// The same with the time as [`zoned`] has it.
    pub(crate) fn with_time(self, time: Option<String>) -> Self {
        Self { time, ..self }
    }
}

impl<'a> From<&'a ImportedRow> for RowJson<'a> {
    fn from(row: &'a ImportedRow) -> Self {
        Self {
            row: row.row,
            time: time(row.time),
            value: row.value,
            unit: row.unit.as_deref(),
            x: row.x,
            y: row.y,
            z: row.z,
            station: row.station.as_deref(),
            device: row.device.as_deref(),
            tilt: row.tilt_deg,
            temperature: row.temperature_c,
            remark: row.remark.as_deref(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn instants_have_an_offset_and_wall_times_none() {
        let micros = 1_775_210_400_250_000;
        assert_eq!(
            time(Some(ImportedTime::Instant(micros))).as_deref(),
            Some("2026-04-03T10:00:00.25Z")
        );
        assert_eq!(
            time(Some(ImportedTime::Wall(micros))).as_deref(),
            Some("2026-04-03T10:00:00.25")
        );
        assert_eq!(time(Some(ImportedTime::Wall(i64::MAX))), None);
        assert_eq!(time(None), None);
    }

    #[test]
    fn what_is_not_there_is_an_empty_cell_and_a_null() {
        let row = ImportedRow {
            row: 7,
            value: Some(212.0),
            station: Some("A;3".into()),
            ..ImportedRow::default()
        };
        assert_eq!(cells(&row).join(","), "7,,212,,,,,A;3,,,,");
        let json = serde_json::to_string(&RowJson::from(&row)).unwrap();
        assert_eq!(
            json,
            r#"{"row":7,"time":null,"value":212.0,"unit":null,"x":null,"y":null,"z":null,"station":"A;3","device":null,"tilt":null,"temperature":null,"remark":null}"#
        );
        let columns: Vec<String> = serde_json::from_str::<serde_json::Map<_, _>>(&json)
            .unwrap()
            .keys()
            .cloned()
            .collect();
        let mut wanted = COLUMNS.to_vec();
        wanted.sort_unstable();
        assert_eq!(columns, wanted);
    }
}
