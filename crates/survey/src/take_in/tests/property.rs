//! Whatever stands in the files: rows in are rows out, in the written order, and nothing panics.

use super::*;
use proptest::prelude::*;
use undim_model::ImportedTime;

fn any_time() -> impl Strategy<Value = Option<ImportedTime>> {
    const NEAR: i64 = 1_780_000_000_000_000;
    prop_oneof![
        1 => Just(None),
        6 => (0_i64..40).prop_map(|step| Some(ImportedTime::Instant(NEAR + step * 1_800_000_000))),
        2 => (0_i64..40).prop_map(|step| Some(ImportedTime::Wall(NEAR + step * 1_800_000_000))),
        1 => any::<i64>().prop_map(|us| Some(ImportedTime::Instant(us))),
        1 => any::<i64>().prop_map(|us| Some(ImportedTime::Wall(us))),
    ]
}

fn any_number() -> impl Strategy<Value = Option<f64>> {
    prop_oneof![
        Just(None),
        (0_u8..60).prop_map(|n| Some(f64::from(n))),
        prop::num::f64::ANY.prop_map(Some),
    ]
}

fn any_text(words: &'static [&'static str]) -> impl Strategy<Value = Option<&'static str>> {
    prop_oneof![Just(None), prop::sample::select(words).prop_map(Some)]
}

prop_compose! {
    fn any_row()(
        time in any_time(),
        value in any_number(),
        xyz in [any_number(), any_number(), any_number()],
        unit in any_text(&["lx", "umol/m2/s", "candles", "", "mV"]),
        station in any_text(&["reef-top", "sand", "Left rock", " ", "at-1-1-1"]),
        device in any_text(&["phone", "sensor", "hired", "My meter", ""]),
        tilt_deg in any_number(),
    ) -> ImportedRow {
        ImportedRow {
            row: 1,
            time,
            value,
            unit: unit.map(Into::into),
            x: xyz[0],
            y: xyz[1],
            z: xyz[2],
            station: station.map(Into::into),
            device: device.map(Into::into),
            tilt_deg,
            ..ImportedRow::default()
        }
    }
}

fn any_files() -> impl Strategy<Value = Vec<Vec<ImportedRow>>> {
    prop::collection::vec(prop::collection::vec(any_row(), 1..40), 1..4)
}

fn of(files: &[Vec<ImportedRow>]) -> Case {
    let made = files.iter().enumerate().map(|(number, rows)| {
        let mut made = file(&format!("{}.csv", 9 - number), "value\n1");
        made.rows = rows
            .iter()
            .zip(2_u64..)
            .map(|(row, number)| ImportedRow {
                row: number,
                ..row.clone()
            })
            .collect();
        made
    });
    case(made).with(|case| {
        case.phone().range = Some([0.0, 2500.0]);
        case.phone().max_tilt_deg = Some(8.0);
        case.phone().face_offset_cm = [0.0, 1.5, 0.0];
    })
}

/// Each row once, by path and row.
fn rows_out(all: &[Done]) -> Vec<(String, u64)> {
    let mut rows: Vec<(String, u64)> = all
        .iter()
        .flat_map(|done| &done.readings)
        .map(|reading| (reading.source.to_string(), reading.row))
        .collect();
    rows.sort();
    rows
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn rows_in_are_rows_out(files in any_files()) {
        let case = of(&files);
        // `always` holds what is true of every survey.
        let all = case.try_all().unwrap();
        let mut rows_in: Vec<(String, u64)> = case
            .files
            .iter()
            .flat_map(|file| {
                let path = &file.source.file.path;
                file.rows.iter().map(move |row| (path.to_string(), row.row))
            })
            .collect();
        rows_in.sort();
        prop_assert_eq!(rows_out(&all), rows_in);
        for done in &all {
            let timed: Vec<Timestamp> = done.readings.iter().filter_map(|reading| reading.time).collect();
            prop_assert!(timed.is_sorted());
            for pair in done.readings.windows(2) {
                if let [Some(before), Some(after)] = [pair[0].time, pair[1].time] {
                    let key = |time, reading: &Reading| (time, reading.source.clone(), reading.row);
                    prop_assert!(key(before, &pair[0]) < key(after, &pair[1]));
                }
            }
        }
        for pair in all.windows(2) {
            prop_assert!(pair[1].survey.start.duration_since(pair[0].survey.end) > crate::LONGEST_GAP);
        }
    }

    #[test]
    fn the_same_files_give_the_same_bytes(files in any_files()) {
        let told = |case: &Case| -> Vec<String> {
            let all = case.try_all().unwrap();
            all.iter().map(|done| format!("{:?} {:?}", done.survey, done.readings)).collect()
        };
        prop_assert_eq!(told(&of(&files)), told(&of(&files)));
    }
}
