//! Bad input: each kind either works or is refused with a sentence and its place; memory stays bounded.

#![expect(clippy::unwrap_used, reason = "what fails here fails the test")]

use std::fmt::Write as _;
use undim_importer_delimited::Delimited;
use undim_sdk::Time;
use undim_sdk::testing::{Outcome, probe, run};

fn read(file: &[u8]) -> Outcome {
    run::<Delimited>(file, "survey.csv", &[])
}

/// Place and sentence of a refusal.
fn refused(file: &[u8]) -> ((u64, u32), String) {
    let failure = read(file).result.unwrap_err();
    (failure.place().unwrap_or_default(), failure.text().to_owned())
}

/// A log of one reading a minute: more than is looked at to find out how the file is laid out.
fn long_log(header: &str, row: impl Fn(usize) -> String) -> String {
    let mut text = format!("{header}\n");
    for n in 0..40_000 {
        writeln!(text, "{}", row(n)).unwrap();
    }
    text
}

#[test]
fn nothing_to_read() {
    assert!(refused(b"").1.contains("empty"));
    assert!(refused(b"\n\n  \n").1.contains("empty"));
    assert!(refused(b"\xef\xbb\xbf").1.contains("empty"));
    assert!(refused(b"time,station,PAR\n").1.contains("no rows"));
    assert!(refused(b"time,station,PAR").1.contains("no rows"));
}

#[test]
fn no_text() {
    assert!(refused(b"\x7fELF\x02\x01\x01\0\0").1.contains("no text"));
    assert!(refused(b"PK\x03\x04xxxx").1.contains("spreadsheet"));
    assert_eq!(
        refused(b"time,par\n2026-04-03 10:00,1\0\n"),
        (
            (2, 0),
            "this is no text: byte 28 of the file is zero; export it again".to_owned()
        )
    );
    let late = long_log("time,par", |n| {
        if n == 39_000 {
            "x\0".to_owned()
        } else {
            format!("2026-04-03 10:00:{:02},{n}.5", n % 60)
        }
    });
    assert_eq!(refused(late.as_bytes()).0, (39_002, 0));
    for start in [
        &b"\x89PNG\r\n"[..],
        b"%PDF-1.7\n",
        b"PK\x03\x04",
        b"\x7fELF",
        b"a\0b\0\0\0c",
    ] {
        assert_eq!(probe::<Delimited>(start, "survey.csv"), 0);
    }
    assert!(probe::<Delimited>(b"[{\"time\": 1}]", "survey.json") < 10);
    assert!(probe::<Delimited>(b"time,par\n2026-04-03 10:00,1\n", "survey") > 60);
}

#[test]
fn an_endless_line_is_refused_early() {
    let mut line = vec![b'1'; 64 << 20];
    assert_eq!(refused(&line).0, (1, 0));
    line.splice(0..0, *b"time,par\n2026-04-03 10:00,1.5\n2026-04-03 10:01,");
    let (place, text) = refused(&line);
    assert_eq!(place, (3, 0), "{text}");
    assert!(text.contains("1024 KiB"), "{text}");
    let quoted = [b"time,par\n2026-04-03 10:00,\"".to_vec(), vec![b'x'; 8 << 20]].concat();
    assert_eq!(refused(&quoted).0, (2, 0));
}

#[test]
fn too_many_cells() {
    let row = format!("{}\n", "1,".repeat(5000));
    assert!(refused(row.repeat(3).as_bytes()).1.contains("table"));
}

#[test]
fn a_late_row_that_proves_the_decision_wrong_ends_the_reading() {
    let header = "Datum;Zeit;Messpunkt;PPFD";
    let row = |date: &str, n: usize| format!("{date};{:02}:{:02};A;{n}", n / 60 % 24, n % 60);
    let file = long_log(header, |n| {
        row(if n < 39_000 { "03/04/2026" } else { "04/13/2026" }, n)
    });
    let (place, text) = refused(file.as_bytes());
    assert_eq!(place, (39_002, 1), "{text}");
    assert!(text.contains("%d/%m/%Y") && text.contains("%m/%d/%Y"), "{text}");

    let file = long_log("time;ppfd", |n| {
        format!(
            "2026-04-03 10:00:{:02};{}",
            n % 60,
            if n == 39_000 { "1.234,5" } else { "12.5" }
        )
    });
    let (place, text) = refused(file.as_bytes());
    assert_eq!(place, (39_002, 2), "{text}");
    assert!(text.contains("decimal"), "{text}");

    // Whole numbers so far, then one that can be read in two ways.
    let file = long_log("time;ppfd", |n| {
        format!(
            "2026-04-03 10:00:{:02};{}",
            n % 60,
            if n == 39_000 { "1,234" } else { "12" }
        )
    });
    assert_eq!(refused(file.as_bytes()).0, (39_002, 2));
    // And one that can't: it decides.
    let file = long_log("time;ppfd", |n| {
        format!(
            "2026-04-03 10:00:{:02};{}",
            n % 60,
            if n >= 39_000 { "12,25" } else { "12" }
        )
    });
    assert_eq!(read(file.as_bytes()).rows[39_001].value, Some(12.25));
}

#[test]
fn a_late_row_may_settle_what_the_first_ones_leave_open() {
    let log = |days: [&str; 2]| {
        long_log("date,time,par", |n| {
            let minute = n + 24 * 60 - 39_000 % (24 * 60);
            format!(
                "{},{:02}:{:02},{n}.5",
                if n < 39_000 { days[0] } else { days[1] },
                minute / 60 % 24,
                minute % 60
            )
        })
    };
    // The clock runs through midnight from the 3rd to the 4th of April ...
    let outcome = read(log(["03/04/2026", "04/04/2026"]).as_bytes());
    assert_eq!(outcome.result, Ok(()));
    let at = |text: &str| {
        let time: jiff::civil::DateTime = text.parse().unwrap();
        Some(Time::Wall(
            time.to_zoned_datetime(jiff::tz::TimeZone::UTC)
                .unwrap()
                .timestamp()
                .as_microsecond(),
        ))
    };
    assert_eq!(outcome.rows[39_000].time, at("2026-04-04T00:00"));
    // ... or from the 4th to the 5th of March.
    let outcome = read(log(["03/04/2026", "03/05/2026"]).as_bytes());
    assert_eq!(outcome.rows[39_000].time, at("2026-03-05T00:00"));
}

#[test]
fn bytes_that_fit_no_encoding() {
    let mut file = long_log("time,station,par", |n| {
        format!("2026-04-03 10:00:{:02},A,{n}.5", n % 60)
    })
    .into_bytes();
    file.extend_from_slice(b"2026-04-03 10:00:00,H\xf6hle,12.5\n");
    let outcome = read(&file);
    assert_eq!(
        outcome.rows.last().unwrap().station.as_deref(),
        Some("H\u{f6}hle")
    );
    assert_eq!(outcome.problems[0].line, 40_002);
    assert!(
        outcome
            .facts
            .iter()
            .any(|fact| fact.key == "encoding" && fact.value == "windows-1252")
    );

    let file = b"time,station,par\n2026-04-03 10:00,H\xc3\xb6hle \xc2\xb5,12.5\n2026-04-03 10:01,\xff,13.5\n";
    let outcome = read(file);
    assert_eq!(outcome.rows[1].station.as_deref(), Some("\u{fffd}"));
    assert_eq!((outcome.problems[0].line, outcome.rows[1].value), (3, Some(13.5)));
}

#[test]
fn ragged_rows_up_to_one_in_twenty() {
    let file = |bad: usize, rows: usize| {
        let mut text = "time,station,par\n".to_owned();
        for n in 0..rows {
            text.push_str(if n < bad {
                "2026-04-03 10:00,A\n"
            } else {
                "2026-04-03 10:00,A,12.5\n"
            });
        }
        text
    };
    let outcome = read(file(2, 40).as_bytes());
    assert_eq!(outcome.result, Ok(()));
    assert_eq!(
        (outcome.rows.len(), outcome.rows[0].value, outcome.rows[0].row),
        (40, None, 2)
    );
    assert_eq!((outcome.problems[0].line, outcome.problems.len()), (2, 2));
    assert_eq!(refused(file(3, 40).as_bytes()).0, (2, 0));
}

#[test]
fn a_header_that_comes_again_is_no_row() {
    let outcome = read(b"time,par\n2026-04-03 10:00,1.5\ntime,par\n2026-04-03 10:01,2.5\n");
    assert_eq!(outcome.rows.iter().map(|row| row.row).collect::<Vec<_>>(), [2, 4]);
}

#[test]
fn many_rows_stream() {
    let mut file = String::from("time,value\n");
    for n in 0..200_000 {
        writeln!(
            file,
            "2026-04-03T{:02}:{:02}:{:02}Z,{}.25",
            n / 3600 % 24,
            n / 60 % 60,
            n % 60,
            n % 1000
        )
        .unwrap();
    }
    let outcome = read(file.as_bytes());
    assert_eq!(outcome.rows.len(), 200_000);
    assert_eq!(outcome.rows[199_999].row, 200_001);
    assert!(outcome.problems.is_empty());
}
