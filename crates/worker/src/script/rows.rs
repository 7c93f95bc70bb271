//! A script's output: CSV with the columns of the formats, section 5.

use csv::{ByteRecord, StringRecord};
use std::cell::Cell;
use std::fs::File;
use std::io::{self, Read};
use std::rc::Rc;
use undim_import::wire::{EncodeError, Encoder, ImportedTime, RowRef};

/// The columns that may stand there, in the order of the formats.
const COLUMNS: [&str; 12] = [
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

/// No row of output is longer: an open quote would take in everything that follows.
const ROW_BYTES: usize = 1 << 20;

/// How the output ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Taken {
    /// After its header and rows.
    Whole,
    /// There was nothing.
    Nothing,
}

/// Takes every row. `output` gives the script's output to its end and is handed back.
pub(super) fn take<R: Read>(output: R, encoder: &mut Encoder<File>) -> Result<(Taken, R), EncodeError> {
    let since = Rc::new(Cell::new(0));
    let guarded = Guarded {
        inner: output,
        since: Rc::clone(&since),
    };
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_reader(guarded);
    let mut bytes = ByteRecord::new();
    let mut columns: Option<Vec<usize>> = None;
    loop {
        since.set(0);
        match reader.read_byte_record(&mut bytes) {
            Ok(true) => {}
            Ok(false) => break,
            Err(error) => return Err(unreadable(&error)),
        }
        let line = bytes.position().map_or(0, csv::Position::line);
        // Many languages can't tell what is UTF-8; the keeper's file is not lost for that.
        let (record, is_text) = match StringRecord::from_byte_record(std::mem::take(&mut bytes)) {
            Ok(record) => (record, true),
            Err(error) => (
                StringRecord::from_byte_record_lossy(error.into_byte_record()),
                false,
            ),
        };
        match &columns {
            None => columns = Some(header(&record, line)?),
            Some(columns) => {
                let of_file = row(&record, columns, line, encoder)?;
                if !is_text {
                    encoder.problem(of_file, 0, "bytes that are no UTF-8 text were replaced");
                }
            }
        }
        bytes = record.into_byte_record();
    }
    let taken = if columns.is_some() {
        Taken::Whole
    } else {
        Taken::Nothing
    };
    Ok((taken, reader.into_inner().inner))
}

/// Counts what is read since the last row, and ends a row that doesn't.
struct Guarded<R> {
    inner: R,
    since: Rc<Cell<usize>>,
}

impl<R: Read> Read for Guarded<R> {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        if self.since.get() > ROW_BYTES {
            return Err(io::ErrorKind::InvalidData.into());
        }
        let count = self.inner.read(buf)?;
        self.since.set(self.since.get() + count);
        Ok(count)
    }
}

fn unreadable(error: &csv::Error) -> EncodeError {
    match error.kind() {
        csv::ErrorKind::Io(error) if error.kind() == io::ErrorKind::InvalidData => EncodeError::Refused(
            format!("a row of its output is longer than {ROW_BYTES} bytes; is a quote left open?"),
        ),
        _ => EncodeError::Refused(format!("its output could not be read: {error}")),
    }
}

fn wrong(line: u64, what: &str) -> EncodeError {
    EncodeError::Refused(format!("line {line} of its output: {what}"))
}

/// Which column each cell is.
fn header(record: &StringRecord, line: u64) -> Result<Vec<usize>, EncodeError> {
    let mut columns = Vec::new();
    for name in record {
        // Some languages begin text with a mark of its encoding.
        let name = name.trim_start_matches('\u{feff}').trim();
        let Some(column) = COLUMNS.iter().position(|known| *known == name) else {
            return Err(wrong(
                line,
                &format!(
                    "“{name}” is no column; first should stand the names of the columns: row, value, and of {} those that there are",
                    COLUMNS.join(", ")
                ),
            ));
        };
        if columns.contains(&column) {
            return Err(wrong(line, &format!("the column {name} stands twice")));
        }
        columns.push(column);
    }
    for (needed, name) in [(0, "row"), (2, "value")] {
        if !columns.contains(&needed) {
            return Err(wrong(line, &format!("the column {name} is missing")));
        }
    }
    Ok(columns)
}

/// Sends a row; gives its line of the file.
fn row(
    record: &StringRecord,
    columns: &[usize],
    line: u64,
    encoder: &mut Encoder<File>,
) -> Result<u64, EncodeError> {
    if record.len() != columns.len() {
        return Err(wrong(
            line,
            &format!("{} cells, but {} columns", record.len(), columns.len()),
        ));
    }
    let mut cells: [&str; COLUMNS.len()] = [""; COLUMNS.len()];
    for (column, cell) in columns.iter().zip(record) {
        if let Some(place) = cells.get_mut(*column) {
            *place = cell;
        }
    }
    let [
        number_of_row,
        time,
        value,
        unit,
        x,
        y,
        z,
        station,
        device,
        tilt,
        temperature,
        remark,
    ] = cells;
    let number = |name: &str, cell: &str| match cell.trim() {
        "" => Ok(None),
        cell => cell
            .parse::<f64>()
            .map(Some)
            .map_err(|_| wrong(line, &format!("{name} is “{}”, which is no number", cut(cell)))),
    };
    let text = |cell: &'_ str| -> bool { !cell.is_empty() };
    let of_file = number_of_row.trim().parse().map_err(|_| {
        wrong(
            line,
            &format!(
                "row is “{}”; it should be the line of the file, from 1",
                cut(number_of_row)
            ),
        )
    })?;
    encoder.row(&RowRef {
        row: of_file,
        time: match time.trim() {
            "" => None,
            cell => Some(parse_time(cell).ok_or_else(|| {
                wrong(
                    line,
                    &format!(
                        "time is “{}”; it should be as 2026-03-14T12:00:00Z, or without an offset where the file gives none",
                        cut(cell)
                    ),
                )
            })?),
        },
        value: number("value", value)?,
        unit: Some(unit).filter(|cell| text(cell)),
        x: number("x", x)?,
        y: number("y", y)?,
        z: number("z", z)?,
        station: Some(station).filter(|cell| text(cell)),
        device: Some(device).filter(|cell| text(cell)),
        tilt_deg: number("tilt", tilt)?,
        temperature_c: number("temperature", temperature)?,
        remark: Some(remark).filter(|cell| text(cell)),
    })?;
    Ok(of_file)
}

fn cut(cell: &str) -> String {
    cell.chars().take(60).collect()
}

/// RFC 3339, section 5.6, with a blank for the `T`, without seconds, and without an offset for a wall time.
fn parse_time(text: &str) -> Option<ImportedTime> {
    let mut rest = text;
    let year = digits(&mut rest, 4)?;
    let month = after(&mut rest, &['-']).and_then(|()| digits(&mut rest, 2))?;
    let day = after(&mut rest, &['-']).and_then(|()| digits(&mut rest, 2))?;
    let hour = after(&mut rest, &['T', 't', ' ']).and_then(|()| digits(&mut rest, 2))?;
    let minute = after(&mut rest, &[':']).and_then(|()| digits(&mut rest, 2))?;
    let second = match after(&mut rest, &[':']) {
        Some(()) => digits(&mut rest, 2)?,
        None => 0,
    };
    let micros = match after(&mut rest, &['.', ',']) {
        Some(()) => fraction(&mut rest)?,
        None => 0,
    };
    if !(1..=12).contains(&month)
        || !(1..=days_in(year, month)).contains(&day)
        || hour > 23
        || minute > 59
        || second > 60
    {
        return None;
    }
    let wall = ((days_from_civil(year, month, day) * 24 + hour) * 60 + minute) * 60 + second;
    let at = |seconds: i64| seconds * 1_000_000 + micros;
    if rest.is_empty() {
        return Some(ImportedTime::Wall(at(wall)));
    }
    if matches!(rest, "Z" | "z") {
        return Some(ImportedTime::Instant(at(wall)));
    }
    let sign = if after(&mut rest, &['+']).is_some() {
        1
    } else {
        after(&mut rest, &['-'])?;
        -1
    };
    let hours = digits(&mut rest, 2)?;
    after(&mut rest, &[':']);
    let minutes = digits(&mut rest, 2)?;
    (rest.is_empty() && hours < 24 && minutes < 60)
        .then(|| ImportedTime::Instant(at(wall - sign * (hours * 60 + minutes) * 60)))
}

fn digits(rest: &mut &str, count: usize) -> Option<i64> {
    let (digits, after) = rest.split_at_checked(count)?;
    if !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    *rest = after;
    digits.parse().ok()
}

fn after(rest: &mut &str, any_of: &[char]) -> Option<()> {
    *rest = rest.strip_prefix(any_of)?;
    Some(())
}

/// Digits after a decimal mark as microseconds; what is finer is left out.
fn fraction(rest: &mut &str) -> Option<i64> {
    let end = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
    let (digits, after) = rest.split_at_checked(end)?;
    if digits.is_empty() {
        return None;
    }
    *rest = after;
    let micros: String = digits.chars().chain("000000".chars()).take(6).collect();
    micros.parse().ok()
}

fn days_in(year: i64, month: i64) -> i64 {
    let is_leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    match month {
        2 if is_leap => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Days since 1970-01-01 in the proleptic Gregorian calendar (H. Hinnant, "chrono-Compatible Low-Level Date
/// Algorithms", `days_from_civil`).
fn days_from_civil(year: i64, month: i64, day: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let (era, year_of_era) = (year.div_euclid(400), year.rem_euclid(400));
    let shifted_month = if month > 2 { month - 3 } else { month + 9 };
    let day_of_year = (153 * shifted_month + 2) / 5 + day - 1;
    era * 146_097 + year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year - 719_468
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 3339, section 5.8; the wall times from Python's `calendar.timegm`.
    #[test]
    fn times_are_read_as_rfc_3339_has_them() {
        let instant = |text: &str| match parse_time(text) {
            Some(ImportedTime::Instant(micros)) => micros,
            other => panic!("{text}: {other:?}"),
        };
        assert_eq!(instant("1985-04-12T23:20:50.52Z"), 482_196_050_520_000);
        assert_eq!(
            instant("1996-12-19T16:39:57-08:00"),
            instant("1996-12-20T00:39:57Z")
        );
        assert_eq!(instant("1990-12-31T23:59:60Z"), instant("1991-01-01T00:00:00Z"));
        assert_eq!(instant("1937-01-01T12:00:27.87+00:20"), -1_041_337_172_130_000);
        assert_eq!(
            parse_time("2000-02-29 12:30"),
            Some(ImportedTime::Wall(951_827_400_000_000))
        );
        for wrong in [
            "",
            "2026-03-14",
            "2026-02-29T12:00:00",
            "2026-13-01T12:00:00",
            "14.03.2026 12:00",
            "2026-03-14T24:00:00",
            "2026-03-14T12:00:00+1",
            "2026-03-14T12:00:00Zulu",
            "2026-03-14T12:00:00.",
            "２０26-03-14T12:00:00",
        ] {
            assert_eq!(parse_time(wrong), None, "{wrong}");
        }
    }

    fn taken(text: &str) -> Result<Taken, String> {
        let file = tempfile::tempfile().unwrap();
        take(text.as_bytes(), &mut Encoder::new(file))
            .map(|(taken, _)| taken)
            .map_err(|error| error.to_string())
    }

    #[test]
    fn rows_are_taken_and_slips_told_with_their_line() {
        assert_eq!(taken(""), Ok(Taken::Nothing));
        assert_eq!(taken("value,row\n1.5,2\n,3\n"), Ok(Taken::Whole));
        for (text, words) in [
            ("1,2\n", "“1” is no column"),
            ("row,time\n", "the column value is missing"),
            ("row,value,row\n", "stands twice"),
            ("row,value\n1,x\n", "line 2 of its output: value is “x”"),
            ("row,value\n1\n", "1 cells, but 2 columns"),
            ("row,value\n-1,1\n", "row is “-1”"),
            ("row,value\n0,1\n", "rows count from 1"),
            ("row,value,time\n1,1,noon\n", "time is “noon”"),
        ] {
            let told = taken(text).unwrap_err();
            assert!(told.contains(words), "{text}: {told}");
        }
        let open = format!("row,value,remark\n1,1,\"{}", "x\n".repeat(ROW_BYTES));
        assert!(taken(&open).unwrap_err().contains("left open"));
    }
}
