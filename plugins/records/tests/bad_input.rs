//! Bad input: each kind either works or is refused with a sentence and its place; nothing is held that has no bound.

#![expect(clippy::unwrap_used, reason = "what fails here fails the test")]

use proptest::prelude::*;
use std::fmt::Write as _;
use undim_importer_records::RecordsImporter;
use undim_sdk::testing::{Outcome, probe, run};

fn read(file: &[u8]) -> Outcome {
    run::<RecordsImporter>(file, "log.json", &[])
}

fn refused(file: &[u8]) -> ((u64, u32), String) {
    let failure = read(file).result.unwrap_err();
    (failure.place().unwrap_or_default(), failure.text().to_owned())
}

#[test]
fn nothing_to_read() {
    assert!(refused(b"").1.contains("empty"));
    assert!(refused(b" \n ").1.contains("empty"));
    assert!(refused(b"[]").1.contains("no records"));
    assert!(refused(b"12").1.contains("no records"));
    assert!(refused(b"\xff\xfe[\0").1.contains("UTF-8"));
}

#[test]
fn depth_and_width_have_bounds() {
    let deep = format!("{}{}", "{\"a\":".repeat(100_000), "}".repeat(100_000));
    assert!(refused(deep.as_bytes()).1.contains("nested"));
    let mut wide = "[{".to_owned();
    for n in 0..5000 {
        write!(wide, "\"k{n}\":1,").unwrap();
    }
    wide.push_str("\"par\":1}]");
    assert!(refused(wide.as_bytes()).1.contains("different names"));
    let long = format!("[{{\"par\": 1, \"remark\": \"{}\"}}]", "x".repeat(8 << 20));
    let outcome = read(long.as_bytes());
    assert_eq!(outcome.rows[0].remark.as_deref().map(str::len), Some(4096));
}

#[test]
fn many_records_stream() {
    let mut file = "[".to_owned();
    for n in 0..200_000 {
        let comma = if n == 0 { "" } else { ",\n" };
        write!(
            file,
            "{comma}{{\"time\": {}, \"ppfd\": {}.25}}",
            1_775_206_800 + n,
            n % 1000
        )
        .unwrap();
    }
    file.push(']');
    let outcome = read(file.as_bytes());
    assert_eq!(outcome.result, Ok(()));
    assert_eq!(outcome.rows.len(), 200_000);
    assert_eq!(
        (outcome.rows[199_999].row, outcome.rows[199_999].value),
        (200_000, Some(999.25))
    );
}

#[test]
fn a_missing_value_is_a_row_without_one() {
    let outcome = read(b"[{\"par\": 1.5}, {\"par\": null}, {}, {\"par\": 2}]");
    let values: Vec<Option<f64>> = outcome.rows.iter().map(|row| row.value).collect();
    assert_eq!(values, [Some(1.5), None, None, Some(2.0)]);
}

#[test]
fn a_mark_of_utf8_and_names_of_files() {
    assert_eq!(read(b"\xef\xbb\xbf[{\"par\": 1.5}]").rows.len(), 1);
    assert!(probe::<RecordsImporter>(b"[{\"par\": 1.5}]", "a.txt") >= 90);
    assert!(probe::<RecordsImporter>(b"[Header]\nDevice=1\n", "a.txt") < 5);
    assert_eq!(probe::<RecordsImporter>(b"time,par\n", "a.csv"), 0);
}

proptest! {
    #[test]
    fn no_bytes_make_it_fail(file in proptest::collection::vec(any::<u8>(), 0..200)) {
        let _ = (read(&file), probe::<RecordsImporter>(&file, "x.json"));
    }

    #[test]
    fn pieces_of_json_in_any_order(file in r#"[\[\]{}:, ]{0,6}("par"|"time"|"v"|"n"|1|[\[\]{}:,\n]){0,30}"#) {
        let _ = read(file.as_bytes());
    }
}
