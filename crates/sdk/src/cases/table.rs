//! Rows as CSV with the columns of the formats, section 5, and back.

use crate::Time;
use crate::testing::OwnedRow;

/// The columns, in written order.
pub const COLUMNS: [&str; 12] = [
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

/// The cells of a row in the order of [`COLUMNS`]; what the row does not say is empty.
pub fn cells(row: &OwnedRow) -> [String; 12] {
    let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
    let text = |value: &Option<String>| value.clone().unwrap_or_default();
    [
        row.row.to_string(),
        row.time.map(time).unwrap_or_default(),
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

/// A time in RFC 3339: an instant ends in `Z`, a wall time has no offset. A fraction stands only where there is one.
pub fn time(time: Time) -> String {
    let (micros, end) = match time {
        Time::Instant(micros) => (micros, "Z"),
        Time::Wall(micros) => (micros, ""),
    };
    let (days, in_day) = (
        micros.div_euclid(86_400_000_000),
        micros.rem_euclid(86_400_000_000),
    );
    let (year, month, day) = civil(days);
    let (seconds, fraction) = (in_day / 1_000_000, in_day % 1_000_000);
    let (hour, minute, second) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    let fraction = if fraction == 0 {
        String::new()
    } else {
        format!(".{fraction:06}").trim_end_matches('0').to_owned()
    };
    format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}{fraction}{end}")
}

/// Year, month and day of a day counted from 1970-01-01, in the proleptic Gregorian calendar (H. Hinnant,
/// "chrono-Compatible Low-Level Date Algorithms", `civil_from_days`).
fn civil(days: i64) -> (i64, i64, i64) {
    let days = days + 719_468;
    let (era, day_of_era) = (days.div_euclid(146_097), days.rem_euclid(146_097));
    let year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let shifted_month = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * shifted_month + 2) / 5 + 1;
    let month = if shifted_month < 10 {
        shifted_month + 3
    } else {
        shifted_month - 9
    };
    (year_of_era + era * 400 + i64::from(month <= 2), month, day)
}

/// Rows as CSV (RFC 4180 quotes, `\n` line ends), the columns' names first.
pub fn csv(rows: &[OwnedRow]) -> String {
    let mut text = COLUMNS.join(",");
    text.push('\n');
    for row in rows {
        let line: Vec<String> = cells(row).iter().map(|cell| quoted(cell)).collect();
        text.push_str(&line.join(","));
        text.push('\n');
    }
    text
}

fn quoted(cell: &str) -> String {
    if cell.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}

/// The records of a CSV text, each as its cells; empty lines are passed over.
pub(super) fn records(text: &str) -> Vec<Vec<String>> {
    let mut records = Vec::new();
    let (mut record, mut cell) = (Vec::new(), String::new());
    let mut is_quoted = false;
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        match letter {
            '"' if is_quoted && letters.peek() == Some(&'"') => {
                letters.next();
                cell.push('"');
            }
            '"' => is_quoted = !is_quoted,
            ',' if !is_quoted => record.push(std::mem::take(&mut cell)),
            '\r' if !is_quoted && letters.peek() == Some(&'\n') => {}
            '\n' if !is_quoted => end(&mut records, &mut record, &mut cell),
            other => cell.push(other),
        }
    }
    end(&mut records, &mut record, &mut cell);
    records
}

fn end(records: &mut Vec<Vec<String>>, record: &mut Vec<String>, cell: &mut String) {
    if record.is_empty() && cell.is_empty() {
        return;
    }
    record.push(std::mem::take(cell));
    records.push(std::mem::take(record));
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 3339, section 5.8, and dates from Python's `datetime` (days since the epoch of 0001-01-01, 2000-02-29,
    /// 2100-03-01).
    #[test]
    fn times_are_written_as_rfc_3339_has_them() {
        let day = |days: i64| time(Time::Wall(days * 86_400_000_000));
        assert_eq!(
            time(Time::Instant(482_196_050_520_000)),
            "1985-04-12T23:20:50.52Z"
        );
        assert_eq!(day(-719_162), "0001-01-01T00:00:00");
        assert_eq!(day(11_016), "2000-02-29T00:00:00");
        assert_eq!(day(47_541), "2100-03-01T00:00:00");
        assert_eq!(time(Time::Wall(-1)), "1969-12-31T23:59:59.999999");
    }

    #[test]
    fn what_is_written_is_read_again() {
        let row = OwnedRow {
            row: 3,
            value: Some(1.5),
            station: Some("reef, \"top\"\nleft".to_owned()),
            ..OwnedRow::default()
        };
        let text = csv(std::slice::from_ref(&row));
        assert_eq!(records(&text)[1], cells(&row));
        assert_eq!(records("a,b\r\n\r\n1,\n"), [["a", "b"], ["1", ""]]);
    }
}
