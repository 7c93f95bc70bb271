//! One table in many shapes reads equal or is asked about, never wrong; and no bytes whatever make the importer fail.

#![expect(clippy::unwrap_used, reason = "what fails here fails the test")]

use proptest::prelude::*;
use undim_importer_delimited::Delimited;
use undim_sdk::testing::{Outcome, probe, run};
use undim_sdk::{OptionKind, Time};

/// One reading of the invented table.
#[derive(Debug, Clone)]
struct Reading {
    /// Seconds since 2026-01-01T00:00:00 on the wall.
    second: i64,
    /// Tenths.
    x: i32,
    /// Hundredths.
    value: i64,
    station: String,
}

/// How it is written.
#[derive(Debug, Clone)]
struct Shape {
    encoding: usize,
    delimiter: &'static str,
    decimal: &'static str,
    thousands: &'static str,
    quote_all: bool,
    line_end: &'static str,
    date: usize,
    header: usize,
    preamble: usize,
    decimals: usize,
}

const HEADERS: [[&str; 4]; 6] = [
    ["time", "station", "x (cm)", "PAR (umol/m2/s)"],
    ["Zeit", "Messpunkt", "X [cm]", "PPFD"],
    ["Horodatage", "Point de mesure", "x_cm", "\u{c9}clairement (lux)"],
    [
        "Fecha y hora",
        "Punto",
        "X (cm)",
        "Luz (\u{b5}mol m\u{207b}\u{b2} s\u{207b}\u{b9})",
    ],
    [
        "Datum a \u{10d}as",
        "M\u{ed}sto",
        "x cm",
        "Osv\u{11b}tlen\u{ed} (lx)",
    ],
    ["Date Time", "Location", "x", "Light"],
];

const PREAMBLES: [&str; 4] = [
    "",
    "Survey of the north tank\nDevice: probe 7, range 0-2500\n\n",
    "# made by hand\n# unit is in the header\n",
    "Name;North;12\n\"Quoted, line\"\nGain\t1.05\n\n\n",
];

fn reading() -> impl Strategy<Value = Reading> {
    (
        0i64..30_000_000,
        -2000i32..2000,
        0i64..250_000,
        "[a-z][a-z0-9]{0,5}",
    )
        .prop_filter("a word for a missing value", |(_, _, _, station)| {
            !["na", "nan", "nd", "nil", "none", "null"].contains(&station.as_str())
        })
        .prop_map(|(second, x, value, station)| Reading {
            second,
            x,
            value,
            station,
        })
}

fn shape() -> impl Strategy<Value = Shape> {
    (
        0usize..8,
        prop::sample::select(vec![",", ";", "\t", "|"]),
        prop::sample::select(vec![
            (".", ""),
            (",", ""),
            (".", ","),
            (",", "."),
            (",", "\u{a0}"),
            (".", "'"),
        ]),
        any::<bool>(),
        prop::sample::select(vec!["\n", "\r\n", "\r"]),
        0usize..9,
        0usize..HEADERS.len(),
        0usize..PREAMBLES.len(),
        1usize..4,
    )
        .prop_map(
            |(
                encoding,
                delimiter,
                (decimal, thousands),
                quote_all,
                line_end,
                date,
                header,
                preamble,
                decimals,
            )| Shape {
                encoding,
                delimiter,
                decimal,
                thousands,
                quote_all,
                line_end,
                date,
                header,
                preamble,
                decimals,
            },
        )
}

fn wall(second: i64) -> jiff::civil::DateTime {
    jiff::civil::date(2026, 1, 1)
        .at(0, 0, 0, 0)
        .checked_add(jiff::Span::new().seconds(second))
        .unwrap()
}

fn write_time(second: i64, which: usize) -> String {
    let format = [
        "%Y-%m-%d %H:%M:%S",
        "%Y-%m-%dT%H:%M:%S",
        "%d.%m.%Y %H:%M:%S",
        "%d/%m/%Y %H:%M:%S",
        "%m/%d/%Y %I:%M:%S %p",
        "%Y/%m/%d %H:%M:%S",
        "%d-%b-%Y %H:%M:%S",
        "%Y%m%d %H%M%S",
        "%d.%m.%y %H:%M:%S",
    ][which];
    wall(second).strftime(format).to_string()
}

/// A whole number of `10^-places`, with the marks of a locale.
fn write_number(units: i64, places: u32, decimals: usize, shape: &Shape) -> String {
    let scale = 10i64.pow(places);
    let (whole, fraction) = (units.abs() / scale, units.abs() % scale);
    let digits = whole.to_string();
    let mut grouped = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at) % 3 == 0 {
            grouped.push_str(shape.thousands);
        }
        grouped.push(digit);
    }
    let mut fraction = format!("{fraction:0width$}", width = places as usize);
    while fraction.len() < decimals {
        fraction.push('0');
    }
    format!(
        "{}{grouped}{}{fraction}",
        if units < 0 { "-" } else { "" },
        shape.decimal
    )
}

fn write_cell(cell: &str, shape: &Shape) -> String {
    if shape.quote_all || cell.contains(shape.delimiter) {
        format!("\"{cell}\"")
    } else {
        cell.to_owned()
    }
}

fn write(readings: &[Reading], shape: &Shape) -> Vec<u8> {
    let mut text = PREAMBLES[shape.preamble].replace('\n', shape.line_end);
    let mut line = |cells: [String; 4]| {
        let cells: Vec<String> = cells.iter().map(|cell| write_cell(cell, shape)).collect();
        text.push_str(&cells.join(shape.delimiter));
        text.push_str(shape.line_end);
    };
    line(HEADERS[shape.header].map(str::to_owned));
    for reading in readings {
        line([
            write_time(reading.second, shape.date),
            reading.station.clone(),
            write_number(i64::from(reading.x), 1, shape.decimals.min(2), shape),
            write_number(reading.value, 2, shape.decimals, shape),
        ]);
    }
    encode(&text, shape.encoding)
}

fn encode(text: &str, encoding: usize) -> Vec<u8> {
    let utf16 = |big: bool, mark: &[u8]| -> Vec<u8> {
        let bytes = text.encode_utf16().flat_map(|unit| {
            if big {
                unit.to_be_bytes()
            } else {
                unit.to_le_bytes()
            }
        });
        mark.iter().copied().chain(bytes).collect()
    };
    let single = |encoding: &'static encoding_rs::Encoding| {
        let (bytes, _, lost) = encoding.encode(text);
        (!lost).then(|| bytes.into_owned())
    };
    match encoding {
        0 => Some(text.as_bytes().to_vec()),
        1 => Some([b"\xef\xbb\xbf", text.as_bytes()].concat()),
        2 => Some(utf16(false, b"\xff\xfe")),
        3 => Some(utf16(true, b"\xfe\xff")),
        4 => Some(utf16(false, b"")),
        5 => Some(utf16(true, b"")),
        6 => single(encoding_rs::WINDOWS_1252),
        _ => single(encoding_rs::WINDOWS_1250),
    }
    .unwrap_or_else(|| text.as_bytes().to_vec())
}

/// True where a keeper would agree that the file alone tells all: nothing may be asked then.
fn tells_all(readings: &[Reading], shape: &Shape) -> bool {
    let days_settle = match shape.date {
        3 | 4 => {
            shape.header != 0 && shape.header != 5 && shape.date == 3
                || readings.iter().any(|reading| wall(reading.second).day() > 12)
        }
        8 => false,
        _ => true,
    };
    // Two decimals, or one: no cell can be taken for grouped thousands.
    days_settle && shape.decimals < 3
}

fn check(readings: &[Reading], shape: &Shape, outcome: &Outcome) -> Result<(), TestCaseError> {
    if let Err(failure) = &outcome.result {
        prop_assert!(!tells_all(readings, shape), "{failure}");
        prop_assert!(!failure.choices().is_empty(), "refused, not asked: {failure}");
        return Ok(());
    }
    prop_assert_eq!(outcome.rows.len(), readings.len());
    for (row, reading) in outcome.rows.iter().zip(readings) {
        let at = wall(reading.second)
            .to_zoned_datetime(jiff::tz::TimeZone::UTC)
            .unwrap()
            .timestamp()
            .as_microsecond();
        prop_assert_eq!(row.time, Some(Time::Wall(at)));
        prop_assert_eq!(
            row.value,
            Some(
                format!("{}.{:02}", reading.value / 100, reading.value % 100)
                    .parse()
                    .unwrap()
            )
        );
        prop_assert_eq!(row.x, Some(f64::from(reading.x) / 10.0));
        prop_assert_eq!(row.station.as_deref(), Some(reading.station.as_str()));
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn one_table_in_many_shapes(readings in prop::collection::vec(reading(), 1..12), shape in shape()) {
        let file = write(&readings, &shape);
        check(&readings, &shape, &run::<Delimited>(&file, "survey.csv", &[]))?;
        prop_assert!(probe::<Delimited>(&file, "survey.csv") >= 60);
    }

    #[test]
    fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let outcome = run::<Delimited>(&bytes, "any", &[]);
        prop_assert!(!unforeseen(&outcome), "{:?}", outcome.result);
        let _ = probe::<Delimited>(&bytes, "any");
    }

    #[test]
    fn no_text_panics(text in "[-0-9a-zA-Z.,;:\\t\"#|/() \\r\\n\u{e4}\u{b5}]{0,300}") {
        let outcome = run::<Delimited>(text.as_bytes(), "any.csv", &[]);
        prop_assert!(!unforeseen(&outcome), "{:?}", outcome.result);
    }

    #[test]
    fn a_damaged_file_does_not_panic(
        readings in prop::collection::vec(reading(), 1..6),
        shape in shape(),
        damage in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let mut file = write(&readings, &shape);
        for (at, byte) in damage {
            let at = at.index(file.len());
            file[at] = byte;
        }
        let outcome = run::<Delimited>(&file, "survey.csv", &[]);
        prop_assert!(!unforeseen(&outcome), "{:?}", outcome.result);
    }

    #[test]
    fn no_layout_panics(
        path in prop::sample::select(vec![
            "encoding", "delimiter", "quote", "decimal", "thousands", "comment", "skip", "skip_to", "skip_end", "header",
            "units_row", "missing.0", "timezone", "columns.time.from", "columns.time.format", "columns.time.step",
            "columns.value.from", "columns.value.times", "columns.x.unit", "columns.x.pick", "constants.y", "value.0.from",
            "value.0.z", "keep.a", "head.a.line", "head.a.pick", "note.date", "other",
        ]),
        text in "\\PC{0,12}",
        integer in any::<bool>(),
    ) {
        let kind = if integer { OptionKind::Integer } else { OptionKind::Text };
        let file = b"time,x,PAR,PAR\n2026-04-03 10:00,1,2,3\n2026-04-03 10:01,1,2,3\n";
        let outcome = run::<Delimited>(file, "survey.csv", &[(path, kind, &text)]);
        prop_assert!(!unforeseen(&outcome), "{:?}", outcome.result);
    }
}

/// The panic barrier's sentence.
fn unforeseen(outcome: &Outcome) -> bool {
    outcome
        .result
        .as_ref()
        .is_err_and(|failure| failure.text().contains("unforeseen"))
}
