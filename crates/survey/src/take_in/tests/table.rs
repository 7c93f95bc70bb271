//! Text tables of rows, stations and readings.

use super::Done;
use jiff::Timestamp;
use jiff::civil::Date;
use undim_model::{ImportedRow, ImportedTime, Measured, Reasons};

/// The columns that a table names, and its other lines with one blank after each comma.
pub(super) fn columns_of(table: &str) -> (Vec<String>, String) {
    let mut lines = table.lines().map(str::trim).filter(|line| !line.is_empty());
    let columns = cells(lines.next().unwrap());
    let lines = lines.map(|line| cells(line).join(", ") + "\n");
    (columns, lines.collect())
}

fn cells(line: &str) -> Vec<String> {
    line.split(',').map(|cell| cell.trim().to_owned()).collect()
}

/// The rows of a file: columns of the formats, section 5. Times are wall times, on 1 June 2026 where no date
/// stands. Rows are numbered as in a file whose header is its first line.
pub(super) fn rows_of(table: &str) -> Vec<ImportedRow> {
    let mut lines = table.lines().map(str::trim).filter(|line| !line.is_empty());
    let columns = cells(lines.next().unwrap());
    lines
        .zip(2_u64..)
        .map(|(line, number)| {
            let mut row = ImportedRow {
                row: number,
                ..ImportedRow::default()
            };
            let cells = cells(line);
            assert_eq!(cells.len(), columns.len(), "{line}");
            for (column, cell) in columns.iter().zip(&cells).filter(|(_, cell)| !cell.is_empty()) {
                set(&mut row, column, cell);
            }
            row
        })
        .collect()
}

fn set(row: &mut ImportedRow, column: &str, cell: &str) {
    let number = || Some(cell.parse::<f64>().unwrap());
    match column {
        "time" => row.time = Some(ImportedTime::Wall(micros(cell))),
        "value" => row.value = number(),
        "unit" => row.unit = Some(cell.into()),
        "x" => row.x = number(),
        "y" => row.y = number(),
        "z" => row.z = number(),
        "station" => row.station = Some(cell.into()),
        "device" => row.device = Some(cell.into()),
        "tilt" => row.tilt_deg = number(),
        other => panic!("no column {other}"),
    }
}

/// `12:00`, `12:00:05` or `2026-06-02 12:00`, in microseconds.
fn micros(text: &str) -> i64 {
    let (day, time) = text.split_once(' ').unwrap_or(("2026-06-01", text));
    let day: Date = day.parse().unwrap();
    let time = if time.len() == 5 {
        format!("{time}:00")
    } else {
        time.to_owned()
    };
    format!("{day}T{time}Z")
        .parse::<Timestamp>()
        .unwrap()
        .as_microsecond()
}

/// Without what no test wants to see: three decimals, no trailing zeros.
fn number(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn numbers(value: Option<Measured>, column: &str) -> String {
    value.map_or_else(String::new, |value| {
        number(match column {
            "ppfd" => value.ppfd,
            "u_ppfd" => value.u(),
            "u_own" => value.u_own,
            "u_shared" => value.u_shared,
            other => panic!("no column {other}"),
        })
    })
}

fn place(position: [Option<f64>; 3]) -> String {
    let coordinates = position.map(|cm| cm.map_or_else(String::new, number));
    coordinates.join(" ").trim().to_owned()
}

fn reasons_text(reasons: Reasons) -> String {
    reasons.to_string()
}

pub(super) fn stations_table(done: &Done, columns: &[String]) -> String {
    lines(&done.survey.stations, columns, |station, column| match column {
        "station" => station.station.to_string(),
        "at" => place(station.position.map_or([None; 3], |at| at.to_array().map(Some))),
        "readings" => station.readings.to_string(),
        "used" => station.used.to_string(),
        "device" => station.device.to_string(),
        "flag" => station.flag.number().to_string(),
        "reasons" => reasons_text(station.reasons),
        "declared" => station.declared.to_string(),
        other => numbers(station.value, other),
    })
}

pub(super) fn readings_table(done: &Done, columns: &[String]) -> String {
    lines(&done.readings, columns, |reading, column| match column {
        "source" => reading.source.to_string(),
        "row" => reading.row.to_string(),
        "time" => reading
            .time
            .map_or_else(String::new, |time| time.strftime("%H:%M:%S").to_string()),
        "device" => reading.device.to_string(),
        "station" => reading.station.as_deref().unwrap_or_default().to_owned(),
        "at" => place(reading.position_cm),
        "raw" => reading.raw.map_or_else(String::new, number),
        "raw_unit" => reading.raw_unit.as_deref().unwrap_or_default().to_owned(),
        "flag" => reading.flag.number().to_string(),
        "reasons" => reasons_text(reading.reasons),
        other => numbers(reading.value, other),
    })
}

fn lines<T>(items: &[T], columns: &[String], cell: impl Fn(&T, &str) -> String) -> String {
    items
        .iter()
        .map(|item| {
            let cells: Vec<String> = columns.iter().map(|column| cell(item, column)).collect();
            cells.join(", ") + "\n"
        })
        .collect()
}
