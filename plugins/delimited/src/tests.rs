//! Tests of layouts: what each key of the formats, section 9, does.

use crate::Delimited;
use undim_sdk::testing::{Outcome, OwnedRow, run};
use undim_sdk::{OptionKind, Time};

/// Reads with a layout, one option a line as `path = value`, written as in TOML.
fn read(file: &str, layout: &str) -> Outcome {
    let options: Vec<(&str, OptionKind, &str)> = layout
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty())
        .map(|line| {
            let (path, value) = line.split_once(" = ").unwrap();
            match value.strip_prefix('"').and_then(|rest| rest.strip_suffix('"')) {
                Some(text) => (path, OptionKind::Text, text),
                None if value == "true" || value == "false" => (path, OptionKind::Boolean, value),
                None if value == "[]" => (path, OptionKind::Empty, ""),
                None if value.contains('.') => (path, OptionKind::Float, value),
                None => (path, OptionKind::Integer, value),
            }
        })
        .collect();
    run::<Delimited>(file.as_bytes(), "survey.txt", &options)
}

fn rows(file: &str, layout: &str) -> Vec<OwnedRow> {
    let outcome = read(file, layout);
    assert_eq!(outcome.result, Ok(()), "{layout}");
    outcome.rows
}

fn values(file: &str, layout: &str) -> Vec<Option<f64>> {
    rows(file, layout).into_iter().map(|row| row.value).collect()
}

fn wall(text: &str) -> Option<Time> {
    let time: jiff::civil::DateTime = text.parse().ok()?;
    Some(Time::Wall(
        time.to_zoned_datetime(jiff::tz::TimeZone::UTC)
            .ok()?
            .timestamp()
            .as_microsecond(),
    ))
}

/// The option at fault and the sentence.
fn mistake(file: &str, layout: &str) -> (u32, String) {
    let failure = read(file, layout).result.unwrap_err();
    (
        failure.option_index().unwrap_or_else(|| panic!("{failure}")),
        failure.text().to_owned(),
    )
}

#[test]
fn a_column_by_text_number_expression_or_alone() {
    let file = "a,Wert 1,b\n1,2.5,3\n";
    assert_eq!(values(file, "columns.value = \"Wert 1\""), [Some(2.5)]);
    assert_eq!(values(file, "columns.value = 2"), [Some(2.5)]);
    assert_eq!(values(file, "columns.value.from = \"/^Wert/\""), [Some(2.5)]);
    assert_eq!(
        values(file, "columns.value.from = 3\ncolumns.value.times = 2.0"),
        [Some(6.0)]
    );
    assert_eq!(mistake(file, "columns.value = \"Wert\"").0, 0);
    assert!(mistake(file, "columns.value = 4").1.contains('3'));
    assert!(
        read("v,v\n1,2\n", "columns.value = \"v\"")
            .result
            .unwrap_err()
            .choices()
            .len()
            == 2
    );
}

#[test]
fn lines_before_the_header() {
    let file = "skip me\n\nand me;1;2\nx;PAR\n1;10\n2;20\n";
    assert_eq!(values(file, "skip = 3"), [Some(10.0), Some(20.0)]);
    assert_eq!(values(file, "skip_to = \"x\""), [Some(10.0), Some(20.0)]);
    assert_eq!(values(file, "skip_to = \"/^x$/\"\nskip_end = 1"), [Some(10.0)]);
    assert_eq!(mistake(file, "skip_to = \"nowhere\"").0, 0);
    // A comment mark comes off the header line.
    let file = "// made by hand\n// x;PAR\n1;10\n// note\n2;20\n";
    let layout = "comment = \"//\"\ncolumns.value = \"PAR\"\nskip = 1";
    assert_eq!(values(file, layout), [Some(10.0), Some(20.0)]);
}

#[test]
fn header_lines() {
    let file = "Light;Light\nleft;right\n1;10\n2;20\n";
    assert_eq!(
        values(file, "header = 2\ncolumns.value = \"Light right\""),
        [Some(10.0), Some(20.0)]
    );
    let file = "1;10\n2;20\n";
    assert_eq!(
        values(file, "header = 0\ncolumns.value = 2"),
        [Some(10.0), Some(20.0)]
    );
    assert_eq!(rows(file, "header = 0\ncolumns.value = 2")[0].row, 1);
    let file = "x;v\ncm;furlongs\n1;10\n";
    assert_eq!(
        values(
            file,
            "units_row = true\ncolumns.value.from = \"v\"\ncolumns.value.unit = \"lx\""
        ),
        [Some(10.0)]
    );
}

#[test]
fn marks_and_missing() {
    let file = "a|v\nx|1.234\ny|-\nz|nix\n";
    assert_eq!(
        values(
            file,
            "columns.value = \"v\"\nthousands = \".\"\nmissing.0 = \"nix\""
        ),
        [Some(1234.0), None, None]
    );
    assert_eq!(
        values(
            file,
            "columns.value = \"v\"\ndecimal = \".\"\nmissing.0 = \"nix\""
        ),
        [Some(1.234), None, None]
    );
    assert_eq!(
        values(
            "v\n-999.0\n5\n",
            "columns.value = \"v\"\ndelimiter = \"none\"\nmissing.0 = \"5\""
        ),
        [Some(-999.0), None]
    );
    assert_eq!(
        values("v;w\n-999.0;1\n", "columns.value = \"v\"\nmissing = []"),
        [Some(-999.0)]
    );
    assert_eq!(
        mistake(file, "columns.value = \"v\"\ndecimal = \",\"\nthousands = \",\"").0,
        2
    );
}

#[test]
fn delimiters_and_quotes() {
    assert_eq!(
        values(
            "a\u{a7}v\nx\u{a7}1\n",
            "delimiter = \"\u{a7}\"\ncolumns.value = \"v\""
        ),
        [Some(1.0)]
    );
    assert_eq!(
        values("a  v\nx   1\n", "delimiter = \"blanks\"\ncolumns.value = \"v\""),
        [Some(1.0)]
    );
    assert_eq!(
        values("a\tv\nx\t1\n", "delimiter = \"tab\"\ncolumns.value = \"v\""),
        [Some(1.0)]
    );
    let rows = rows(
        "s,v\n\"x,1\n",
        "quote = \"\"\ndelimiter = \",\"\ncolumns.value = \"v\"\ncolumns.station = \"s\"",
    );
    assert_eq!(
        (rows[0].value, rows[0].station.as_deref()),
        (Some(1.0), Some("\"x"))
    );
    assert_eq!(mistake("a,v\n", "delimiter = \"<>\"").0, 0);
}

#[test]
fn times() {
    let one = |file: &str, layout: &str| rows(file, &format!("columns.value = \"v\"\n{layout}"))[0].time;
    let file = "d;t;v\n03.04.2026;9:05;1\n";
    assert_eq!(
        one(
            file,
            "columns.time.from.0 = \"d\"\ncolumns.time.from.1 = \"t\"\ncolumns.time.format = \"%d.%m.%Y %H:%M\""
        ),
        wall("2026-04-03T09:05")
    );
    assert_eq!(
        one(file, "columns.time.from.0 = \"d\"\ncolumns.time.from.1 = \"t\""),
        wall("2026-04-03T09:05")
    );
    assert_eq!(
        one(
            "t;v\n46115.5;1\n",
            "columns.time.from = \"t\"\ncolumns.time.format = \"serial-1900\""
        ),
        wall("2026-04-03T12:00")
    );
    assert_eq!(
        one(
            "t;v\n44653.5;1\n",
            "columns.time.from = \"t\"\ncolumns.time.format = \"serial-1904\""
        ),
        wall("2026-04-03T12:00")
    );
    assert_eq!(
        one(
            "t;v\n0;1\n",
            "columns.time.from = \"t\"\ncolumns.time.format = \"unix\""
        ),
        Some(Time::Instant(0))
    );
    assert_eq!(
        one(
            "t;v\n1500;1\n",
            "columns.time.from = \"t\"\ncolumns.time.format = \"unix-ms\""
        ),
        Some(Time::Instant(1_500_000))
    );
    let layout = "columns.time.from = \"t\"\ncolumns.time.format = \"seconds-since-start\"\ncolumns.time.start = \"2026-04-03 10:00\"";
    assert_eq!(one("t;v\n90.5;1\n", layout), wall("2026-04-03T10:01:30.5"));
    let layout =
        "columns.time.from = \"t\"\ncolumns.time.pick = \"/at (.*)/\"\ncolumns.time.format = \"%Y-%m-%d\"";
    assert_eq!(one("t;v\nat 2026-04-03;1\n", layout), wall("2026-04-03T00:00"));
    // No year: empty, and said; with the note's date it is known.
    let layout = "columns.time.from = \"t\"\ncolumns.time.format = \"%d.%m. %H:%M\"";
    assert_eq!(one("t;v\n03.04. 10:00;1\n", layout), None);
    assert_eq!(
        one(
            "t;v\n03.04. 10:00;1\n",
            &format!("{layout}\nnote.date = \"2026-05-01\"")
        ),
        wall("2026-04-03T10:00")
    );
    assert_eq!(
        mistake(
            "t;v\n1;1\n",
            "columns.value = \"v\"\ncolumns.time.from = \"t\"\ncolumns.time.format = \"%Q\""
        )
        .0,
        2
    );
}

#[test]
fn steps_count_rows() {
    let layout = "columns.value = \"v\"\ndelimiter = \"none\"\ncolumns.time.start = \"2026-04-03 10:00\"\ncolumns.time.step = \"90s\"";
    let times: Vec<Option<Time>> = rows("v\n1\n\n2\n", layout)
        .into_iter()
        .map(|row| row.time)
        .collect();
    assert_eq!(times, [wall("2026-04-03T10:00"), wall("2026-04-03T10:01:30")]);
}

#[test]
fn places_units_and_constants() {
    let layout = "columns.value.from = \"v\"\ncolumns.value.unit = \"\u{b5}mol/m\u{b2}/s\"\ncolumns.x.from = \"a\"\ncolumns.x.unit = \"mm\"\nconstants.y = 12.5\nconstants.device = \"probe\"";
    let outcome = read("a;v\n1;2\n", layout);
    let row = &outcome.rows[0];
    assert_eq!(
        (row.unit.as_deref(), row.x, row.y, row.device.as_deref()),
        (Some("umol.m-2.s-1"), Some(1.0), Some(12.5), Some("probe"))
    );
    assert_eq!(outcome.fact("unit.x"), Some("mm"));
    assert_eq!(
        mistake(
            "a;v\n1;2\n",
            "columns.value = \"v\"\ncolumns.x.from = \"a\"\ncolumns.x.unit = \"mile\""
        )
        .0,
        2
    );
    assert_eq!(
        mistake("a;v\n1;2\n", "columns.value = \"v\"\nconstants.y = \"high\"").0,
        1
    );
}

#[test]
fn rows_to_keep() {
    let file = "kind;v\nLIGHT;1\nTEMP;2\nlight;3\n";
    assert_eq!(
        values(file, "columns.value = \"v\"\nkeep.kind = \"LIGHT\""),
        [Some(1.0)]
    );
    assert_eq!(
        values(file, "columns.value = \"v\"\nkeep.kind = \"/^(?i)light$/\""),
        [Some(1.0), Some(3.0)]
    );
    assert_eq!(
        values(
            file,
            "columns.value = \"v\"\nkeep.kind.0 = \"LIGHT\"\nkeep.kind.1 = \"light\""
        ),
        [Some(1.0), Some(3.0)]
    );
    assert!(
        read(file, "columns.value = \"v\"\nkeep.kind = \"none\"")
            .result
            .unwrap_err()
            .text()
            .contains("keeps")
    );
    assert_eq!(mistake(file, "columns.value = \"v\"\nkeep.sort = \"LIGHT\"").0, 1);
}

#[test]
fn slips_in_a_layout_are_shown_at_their_place() {
    let file = "a,v\n1,2\n";
    for (layout, index) in [
        ("colums.value = \"v\"", 0),
        ("columns.val = \"v\"", 0),
        ("columns.value.form = \"v\"", 0),
        ("columns.value = \"v\"\nskip = \"three\"", 1),
        ("columns.value = \"v\"\ncolumns.time.step = \"soon\"", 1),
        ("columns.value = \"v\"\ncolumns.station.from = \"head.name\"", 1),
        ("columns.value = \"/(/\"", 0),
        ("encoding = \"klingon\"", 0),
        ("sheet = \"one\"", 0),
        ("value.0.y = 3", 0),
        ("columns.value = \"v\"\nvalue.0.from = \"v\"", 0),
        ("columns.value = \"v\"\nhead.year.pick = \"/x/\"", 1),
        (
            "columns.value = \"v\"\nhead.year.line = 1\nhead.year.pick = \"/zzz/\"\ncolumns.remark = \"head.year\"",
            1,
        ),
    ] {
        assert_eq!(mistake(file, layout).0, index, "{layout}");
    }
}

/// The same bytes, compressed with gzip.
fn gzipped(bytes: &[u8]) -> Vec<u8> {
    use std::io::Write as _;
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packer.write_all(bytes).expect("a vector takes every byte");
    packer.finish().expect("a vector takes every byte")
}

#[test]
fn a_gzip_file_is_unpacked_and_this_is_said() {
    let plain = "time,x,y,z,PPFD\n2026-02-01T12:00:00,1,2,3,100\n2026-02-01T12:00:05,4,2,3,110\n";
    let packed = gzipped(plain.as_bytes());
    assert!(undim_sdk::testing::probe::<Delimited>(&packed, "may.csv.gz") > 60);
    let outcome = undim_sdk::testing::run::<Delimited>(&packed, "may.csv.gz", &[]);
    assert!(outcome.result.is_ok(), "{:?}", outcome.result);
    assert_eq!(
        outcome.rows,
        undim_sdk::testing::run::<Delimited>(plain.as_bytes(), "may.csv", &[]).rows
    );
    assert!(
        outcome
            .facts
            .iter()
            .any(|fact| fact.key == "compression" && fact.value.contains("gzip"))
    );
}

#[test]
fn a_gzip_file_that_is_cut_off_or_packed_twice_is_refused() {
    let packed = gzipped("x,y,z,PPFD\n1,2,3,100\n".repeat(400).as_bytes());
    let cut = undim_sdk::testing::run::<Delimited>(&packed[..packed.len() / 2], "cut.csv.gz", &[]);
    assert!(format!("{:?}", cut.result).contains("gzip"), "{:?}", cut.result);
    let twice = undim_sdk::testing::run::<Delimited>(&gzipped(&packed), "twice.csv.gz.gz", &[]);
    assert!(
        format!("{:?}", twice.result).contains("gzip"),
        "{:?}",
        twice.result
    );
}

#[test]
fn a_unit_column_of_counts_is_a_unit_column() {
    let file =
        "time,x,y,z,value,unit\n2026-02-01T12:00:00Z,10,10,10,100,1\n2026-02-01T12:00:05Z,10,10,10,101,1\n";
    let units: Vec<Option<String>> = rows(file, "").into_iter().map(|row| row.unit).collect();
    assert_eq!(units, [Some("1".to_owned()), Some("1".to_owned())]);
}
