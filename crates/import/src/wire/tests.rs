//! What a worker may send, and every way to send something else.

use super::*;
use proptest::prelude::*;
use std::time::Instant;
use undim_model::{ImportedRow, ImportedTime, Text};

fn header() -> Header {
    Header {
        name: "sample".into(),
        version: "1.0".into(),
        reads: "samples".into(),
        abi: String::new(),
    }
}

fn encoded(rows: &[ImportedRow]) -> Vec<u8> {
    let mut encoder = Encoder::new(Vec::new());
    encoder.importer(&header()).unwrap();
    for row in rows {
        encoder.row(&row.into()).unwrap();
    }
    encoder.finish().unwrap()
}

/// Every frame that is not rows, and all rows.
fn decoded(bytes: &[u8], caps: Caps) -> Result<(Vec<Frame>, Vec<ImportedRow>), WireError> {
    let (mut frames, mut all, mut rows) = (Vec::new(), Vec::new(), Vec::new());
    let mut decoder = Decoder::new(bytes, caps);
    while let Some(frame) = decoder.next_frame(&mut rows)? {
        match frame {
            Frame::Rows => all.append(&mut rows),
            other => frames.push(other),
        }
    }
    Ok((frames, all))
}

fn complaint(bytes: &[u8]) -> String {
    decoded(bytes, Caps::default()).unwrap_err().to_string()
}

prop_compose! {
    fn any_row()(
        row in prop_oneof![Just(7), Just(u64::MAX), 1..u64::MAX],
        time in proptest::option::of((any::<bool>(), any::<i64>())),
        numbers in proptest::array::uniform6(proptest::option::of(prop_oneof![
            Just(1.5), Just(-0.0), proptest::num::f64::NORMAL
        ])),
        texts in proptest::array::uniform4(proptest::option::of("[a-c]{0,2}|\\PC{0,20}")),
    ) -> ImportedRow {
        let [value, x, y, z, tilt_deg, temperature_c] = numbers;
        let [unit, station, device, remark] = texts.map(|text| text.map(Text::from));
        let time = time.map(|(wall, us)| if wall { ImportedTime::Wall(us) } else { ImportedTime::Instant(us) });
        // Twenty letters of four bytes are too many for a unit.
        let unit = unit.filter(|unit| unit.len() <= UNIT_BYTES);
        ImportedRow { row, time, value, unit, x, y, z, station, device, tilt_deg, temperature_c, remark }
    }
}

fn row(number: u64) -> ImportedRow {
    ImportedRow {
        row: number,
        value: Some(number as f64),
        ..ImportedRow::default()
    }
}

proptest! {
    #[test]
    fn rows_come_back_as_they_were(rows in proptest::collection::vec(any_row(), 0..50)) {
        let (frames, back) = decoded(&encoded(&rows), Caps::default()).unwrap();
        prop_assert_eq!(back, &rows[..]);
        prop_assert_eq!(
            frames,
            [Frame::Importer(header()), Frame::Ended(Ending::Done { rows: rows.len() as u64, more_problems: 0 })]
        );
    }

    #[test]
    fn a_cut_stream_is_always_seen(rows in proptest::collection::vec(any_row(), 0..9), at in any::<prop::sample::Index>()) {
        let bytes = encoded(&rows);
        let cut = &bytes[..at.index(bytes.len())];
        prop_assert!(matches!(decoded(cut, Caps::default()), Err(WireError::NoEnd)));
    }

    #[test]
    fn a_changed_stream_never_panics(
        rows in proptest::collection::vec(any_row(), 0..20),
        changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
    ) {
        let mut bytes = encoded(&rows);
        for (at, to) in changes {
            let at = at.index(bytes.len());
            bytes[at] = to;
        }
        if let Ok((_, rows)) = decoded(&bytes, Caps::default()) {
            let finite = |number: Option<f64>| number.is_none_or(f64::is_finite);
            prop_assert!(rows.iter().all(|row| row.row > 0 && finite(row.value) && finite(row.x)));
        }
    }

    #[test]
    fn noise_never_panics(noise in proptest::collection::vec(any::<u8>(), 0..300)) {
        let mut bytes = Vec::from(MARK);
        bytes.push(VERSION);
        bytes.extend(noise);
        let _ = decoded(&bytes, Caps::default());
    }

    #[test]
    fn printable_is_settled_after_once(text in any::<String>()) {
        let once = printable(&text);
        prop_assert!(!once.contains(char::is_control));
        prop_assert_eq!(printable(&once), once);
    }
}

#[test]
fn many_rows_fill_several_frames() {
    let rows: Vec<_> = (1..=10_000).map(row).collect();
    let bytes = encoded(&rows);
    assert_eq!(decoded(&bytes, Caps::default()).unwrap().1, rows);
    // Row numbers run on and cost nothing; a value costs its eight bytes.
    assert!(bytes.len() < 10_000 * 8 + 500, "{}", bytes.len());
}

#[test]
fn rows_that_are_all_alike_cost_nothing() {
    let mut same = row(3);
    same.unit = Some("umol.m-2.s-1".into());
    same.time = Some(ImportedTime::Wall(-1));
    let rows = vec![same; 4096];
    let bytes = encoded(&rows);
    assert!(bytes.len() < 200, "{}", bytes.len());
    assert_eq!(decoded(&bytes, Caps::default()).unwrap().1, rows);
}

#[test]
fn a_frame_of_long_texts_stays_within_its_limit() {
    let rows: Vec<_> = (1..=1000)
        .map(|number| ImportedRow {
            remark: Some(format!("{number:04000}").into()),
            ..row(number)
        })
        .collect();
    assert_eq!(decoded(&encoded(&rows), Caps::default()).unwrap().1, rows);
}

#[test]
fn a_text_that_ends_like_another_is_another() {
    let station = |number, name: &str| ImportedRow {
        station: Some(name.into()),
        ..row(number)
    };
    let rows = [
        station(1, "outer reef"),
        station(2, "reef"),
        station(3, ""),
        station(4, "reef"),
    ];
    assert_eq!(decoded(&encoded(&rows), Caps::default()).unwrap().1, rows);
}

#[test]
fn messages_cross_and_are_escaped() {
    let mut encoder = Encoder::new(Vec::new());
    let sandbox = Sandbox {
        landlock: 7,
        landlock_full: true,
        seccomp: false,
    };
    encoder.sandbox(sandbox).unwrap();
    encoder.importer(&header()).unwrap();
    encoder.sure(80);
    encoder.fact("encoding", "utf-8", true).unwrap();
    encoder.problem(3, 2, "a\0b\u{202e}c");
    let asked = Ending::Question {
        text: "which\n?".into(),
        choices: vec!["a".into(), "b".into()],
    };
    let (frames, _) = decoded(&encoder.fail(&asked).unwrap(), Caps::default()).unwrap();
    assert_eq!(
        frames,
        [
            Frame::Sandbox(sandbox),
            Frame::Importer(header()),
            Frame::Sure(80),
            Frame::Fact(Fact {
                key: "encoding".into(),
                value: "utf-8".into(),
                assumed: true
            }),
            Frame::Problem(ImportProblem {
                line: 3,
                column: 2,
                text: "a\\u{0}b\\u{202e}c".into()
            }),
            Frame::Ended(Ending::Question {
                text: "which\\n?".into(),
                choices: vec!["a".into(), "b".into()]
            }),
        ]
    );
}

#[test]
fn every_ending_crosses() {
    for ending in [
        Ending::Unusable {
            line: 1,
            column: 2,
            option: None,
            text: "no".into(),
        },
        Ending::Unusable {
            line: 0,
            column: 0,
            option: Some(4),
            text: String::new(),
        },
        Ending::Breach("lied".into()),
        Ending::CannotLoad("no file".into()),
        Ending::WrongVersion {
            theirs: (9, 1),
            ours: (1, 0),
        },
        Ending::SandboxMissing("no Landlock".into()),
    ] {
        let bytes = Encoder::new(Vec::new()).fail(&ending).unwrap();
        assert_eq!(
            decoded(&bytes, Caps::default()).unwrap().0,
            [Frame::Ended(ending)]
        );
    }
}

#[test]
fn long_messages_are_cut_between_letters() {
    let mut encoder = Encoder::new(Vec::new());
    encoder.importer(&header()).unwrap();
    encoder.problem(1, 0, &"µ".repeat(NOTE_BYTES));
    let (frames, _) = decoded(&encoder.finish().unwrap(), Caps::default()).unwrap();
    let Frame::Problem(problem) = &frames[1] else {
        panic!("{frames:?}")
    };
    assert!(problem.text.len() <= NOTE_BYTES && problem.text.ends_with("µ…"));
}

#[test]
fn problems_beyond_the_limit_are_counted() {
    let mut encoder = Encoder::new(Vec::new());
    encoder.importer(&header()).unwrap();
    for line in 1..=1234 {
        encoder.problem(line, 0, "bad");
    }
    let (frames, _) = decoded(&encoder.finish().unwrap(), Caps::default()).unwrap();
    assert_eq!(frames.len(), 1 + PROBLEMS + 1);
    assert_eq!(
        frames.last(),
        Some(&Frame::Ended(Ending::Done {
            rows: 0,
            more_problems: 234
        }))
    );
}

#[test]
fn numbers_that_are_none_become_missing() {
    let mut encoder = Encoder::new(Vec::new());
    encoder.importer(&header()).unwrap();
    let strange = RowRef {
        row: 5,
        value: Some(f64::NAN),
        x: Some(f64::INFINITY),
        y: Some(1.0),
        ..RowRef::default()
    };
    encoder.row(&strange).unwrap();
    encoder
        .row(&RowRef {
            row: 6,
            value: Some(f64::NEG_INFINITY),
            ..RowRef::default()
        })
        .unwrap();
    let (frames, rows) = decoded(&encoder.finish().unwrap(), Caps::default()).unwrap();
    assert_eq!(
        (rows[0].value, rows[0].x, rows[0].y, rows[1].value),
        (None, None, Some(1.0), None)
    );
    let said: Vec<_> = frames
        .iter()
        .filter_map(|frame| match frame {
            Frame::Problem(problem) => Some((problem.line, problem.text.as_str())),
            _ => None,
        })
        .collect();
    assert_eq!(
        said,
        [
            (5, "x is inf, which no device reads; it counts as missing"),
            (6, "value is -inf, which no device reads; it counts as missing"),
        ]
    );
}

#[test]
fn what_can_not_be_sent_is_refused() {
    let mut encoder = Encoder::new(Vec::new());
    let refused = |result: Result<(), EncodeError>| result.unwrap_err().to_string();
    assert!(refused(encoder.row(&RowRef::default())).contains("number 0"));
    let long = "x".repeat(NAME_BYTES + 1);
    let row = RowRef {
        row: 9,
        station: Some(&long),
        ..RowRef::default()
    };
    assert_eq!(
        refused(encoder.row(&row)),
        "row 9: its station is longer than 256 bytes"
    );
    let unnamed = Header {
        name: "No Spaces".into(),
        ..header()
    };
    assert!(refused(encoder.importer(&unnamed)).contains("name"));
    let facts: Result<(), _> = (0..=FACTS).try_for_each(|_| encoder.fact("unit", "lx", false));
    assert!(refused(facts).contains("256 facts"));
}

#[test]
fn foreign_bytes_are_named() {
    assert_eq!(complaint(b"an ordinary file"), "this is no stream of rows");
    assert_eq!(
        complaint(b"undimrw\x02"),
        "the rows are in version 2 of their form; this program reads version 1"
    );
    assert_eq!(complaint(b"undimrw"), "the rows stop without an end");
    assert_eq!(
        complaint(b"undimrw\x01\x04\xff\xff\xff\xff"),
        "a frame is longer than agreed"
    );
    assert_eq!(
        complaint(b"undimrw\x01\x63\0\0\0\0"),
        "a frame is of an unknown kind"
    );
    assert_eq!(
        complaint(b"undimrw\x01\x03\x01\0\0\0\x05"),
        "a frame stands where it must not"
    );
}

#[test]
fn a_lie_about_the_end_is_seen() {
    let mut bytes = encoded(&[row(1)]);
    bytes.push(0);
    assert_eq!(complaint(&bytes), "something follows the end");
    bytes.pop();
    let count = bytes.len() - 16;
    bytes[count] = 2;
    assert_eq!(
        complaint(&bytes),
        "the number of rows is not the one that the end tells"
    );
}

#[test]
fn a_flood_is_stopped_however_small_its_frames() {
    let rows = vec![row(3); 100_000];
    let bytes = encoded(&rows);
    assert!(bytes.len() < 5000);
    let stopped = decoded(
        &bytes,
        Caps {
            bytes: 100_000 * Caps::ROW_BYTES - 1,
        },
    );
    assert!(matches!(stopped, Err(WireError::TooMuch { .. })));
}

/// Not a bench: it only notices a slip by an order of magnitude.
#[test]
fn a_million_rows_cross_quickly() {
    let stations: Vec<String> = (0..30).map(|number| format!("station-{number}")).collect();
    let start = Instant::now();
    let mut encoder = Encoder::new(Vec::new());
    encoder.importer(&header()).unwrap();
    for number in 1..=1_000_000 {
        let row = RowRef {
            row: number,
            time: Some(ImportedTime::Wall(number as i64 * 1_000_000)),
            value: Some(number as f64),
            station: Some(&stations[number as usize / 7 % 30]),
            ..RowRef::default()
        };
        encoder.row(&row).unwrap();
    }
    let bytes = encoder.finish().unwrap();
    let half = start.elapsed();
    let mut decoder = Decoder::new(&bytes[..], Caps::default());
    let mut rows = Vec::new();
    while decoder.next_frame(&mut rows).unwrap().is_some() {}
    let whole = start.elapsed();
    println!(
        "a million rows: {half:?} to write, {:?} to read, {} bytes",
        whole.checked_sub(half).unwrap(),
        bytes.len()
    );
    assert!(whole.as_secs() < 5, "{whole:?}");
}
