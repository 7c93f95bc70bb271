//! Logs that ran on (formats, section 10; design, streams stay streams).

use super::*;
use crate::source::{MOST_ROWS_OUT_OF_ORDER, RowIter, RowsError, in_time_order};
use std::cell::Cell;
use undim_model::ImportedTime;

/// A reading a second at one place, made as it is read.
struct Log {
    rows: u64,
    newest_first: bool,
    opened: Cell<u32>,
}

impl Log {
    fn new(rows: u64) -> Self {
        Self {
            rows,
            newest_first: false,
            opened: Cell::new(0),
        }
    }

    fn row(&self, number: u64) -> ImportedRow {
        let second = if self.newest_first {
            self.rows - number
        } else {
            number
        };
        ImportedRow {
            row: number + 2,
            time: Some(ImportedTime::Instant(
                1_780_000_000_000_000 + second as i64 * 1_000_000,
            )),
            value: Some(200.0 + (number % 7) as f64 * 0.5),
            x: Some(30.0),
            y: Some(12.0),
            z: Some(25.0),
            ..ImportedRow::default()
        }
    }
}

impl Rows for Log {
    fn open(&self) -> Result<RowIter<'_>, RowsError> {
        self.opened.set(self.opened.get() + 1);
        Ok(Box::new((0..self.rows).map(|number| Ok(self.row(number)))))
    }
}

#[test]
fn thirty_thousand_readings_at_one_place_are_streamed() {
    let log = Log::new(30_000);
    let read = case([file("log.csv", "value\n1")]);
    let mut source = read.files[0].looked_through(crate::Scan::default());
    source.scan = scan(&log, &source.timing).unwrap();
    source.rows = &log;
    let entry = Entry {
        tank: "harbour".to_owned(),
        id: "x".to_owned(),
        scene: None,
        span: source.scan.spans[0],
        withdrawn: Vec::new(),
        contents: vec![0],
        revision: 1,
        replaces: Vec::new(),
    };
    let sources = [source];
    let taken = take_in(&entry, &sources, read.site()).unwrap();
    let station = &taken.survey.stations[0];
    assert_eq!(
        (&*station.station, station.readings, station.used),
        ("at-30-12-25", 30_000, 30_000)
    );
    assert!((station.value.unwrap().ppfd - 201.5).abs() < 0.05);
    assert_eq!(station.flag, Flag::Good);
    let mut next = 2;
    taken
        .each_reading(&entry, &sources, read.site(), |reading| {
            assert_eq!(reading.row, next);
            next += 1;
            Ok::<(), TakeInError>(())
        })
        .unwrap();
    assert_eq!(next, 30_002);
    // A look, the judgement, the writing: each goes through the rows once.
    assert_eq!(log.opened.get(), 3);
}

#[test]
fn what_is_told_in_one_block_reaches_its_reading() {
    // A shadow in the middle of the second block of the burst.
    let mut read = case([file("a.csv", "value\n1")]);
    read.files[0].rows = (0..10_000).map(|number| Log::new(10_000).row(number)).collect();
    read.files[0].rows[5000].value = Some(90.0);
    let done = read.done();
    let told: Vec<(u64, String)> = done
        .readings
        .iter()
        .filter(|reading| reading.flag != Flag::Good)
        .map(|reading| (reading.row, reading.reasons.to_string()))
        .collect();
    assert_eq!(told, [(5002, "shadow".to_owned())]);
    assert_eq!(done.survey.stations[0].used, 9_999);
}

#[test]
fn a_long_file_that_is_not_in_order_of_time_is_refused_with_what_to_do() {
    let of = |rows: u64| {
        let mut log = Log::new(rows);
        log.newest_first = true;
        let timing = file("a.csv", "value\n1").source.timing;
        let looked = scan(&log, &timing).unwrap();
        assert!(looked.newest_first && !looked.in_order);
        in_time_order(&log, &timing, &looked, looked.spans[0]).map(Iterator::count)
    };
    assert_eq!(of(MOST_ROWS_OUT_OF_ORDER).unwrap() as u64, MOST_ROWS_OUT_OF_ORDER);
    let error = of(MOST_ROWS_OUT_OF_ORDER + 1).unwrap_err();
    assert_eq!(error, RowsError::TooLongToSort { rows: 200_001 });
    assert!(error.to_string().contains("sort the file by time"));
}

#[test]
fn a_file_in_order_is_read_no_further_than_its_survey() {
    let times = "time, value, station\n06:00, 1, a\n06:01, 1, a\n20:00, 1, a\n20:01, 1, a\n20:02, 1, a";
    let read = case([file("a.csv", times)]);
    let timing = &read.files[0].source.timing;
    let looked = scan(&read.files[0].rows, timing).unwrap();
    for (span, rows) in looked.spans.iter().zip([2, 3]) {
        let inside = in_time_order(&read.files[0].rows, timing, &looked, *span).unwrap();
        assert_eq!(inside.count(), rows);
    }
    assert_eq!(read.try_all().unwrap().len(), 2);
}

#[test]
fn rows_that_cannot_be_read_back_are_told_with_their_file() {
    struct Torn;
    impl Rows for Torn {
        fn open(&self) -> Result<RowIter<'_>, RowsError> {
            let row = Log::new(1).row(0);
            let torn = RowsError::Unreadable("they end in the middle".to_owned());
            Ok(Box::new([Ok(row), Err(torn)].into_iter()))
        }
    }
    let timing = file("a.csv", "value\n1").source.timing;
    assert!(scan(&Torn, &timing).is_err());
    let read = case([file("a.csv", "value\n1")]);
    let mut source = read.files[0].looked_through(crate::Scan::default());
    source.scan = scan(&vec![Log::new(1).row(0)], &timing).unwrap();
    source.rows = &Torn;
    let entry = Entry {
        tank: "harbour".to_owned(),
        id: "x".to_owned(),
        scene: None,
        span: source.scan.spans[0],
        withdrawn: Vec::new(),
        contents: vec![0],
        revision: 1,
        replaces: Vec::new(),
    };
    let error = take_in(&entry, &[source], read.site()).unwrap_err();
    assert!(error.to_string().starts_with("a.csv: "), "{error}");
}

#[test]
fn many_places_with_many_readings_hold_no_more_than_few_places() {
    // 400 readings at each of 1000 places, a round at a time: cut on the way, and a shadow is found all the same.
    let mut read = case([file("a.csv", "value\n1")]);
    read.tank.stations.clear();
    read.files[0].rows = (0..400_000)
        .map(|number| ImportedRow {
            x: Some((number % 100) as f64),
            z: Some((number / 100 % 10) as f64),
            ..Log::new(400_000).row(number)
        })
        .collect();
    read.files[0].rows[300_500].value = Some(90.0);
    let done = read.done();
    assert_eq!(done.survey.stations.len(), 1000);
    assert!(done.survey.stations.iter().all(|station| station.readings == 400));
    assert_eq!(done.survey.counts.bad, 1);
    let shadow = done
        .readings
        .iter()
        .find(|reading| reading.flag == Flag::Bad)
        .unwrap();
    assert_eq!(
        (shadow.row, shadow.reasons.to_string().as_str()),
        (300_502, "shadow")
    );
}
