//! Take-in and writing out of a log as long as a month at one reading a second, to be timed from outside:
//!
//! `cargo build --release -p undim-survey --example long_log`, then
//! `time long_log ROWS PLACES PASSES`, where `PASSES` is 0 (only the rows are made and looked through), 1 (taken
//! in) or 2 (taken in and gone through as for writing).
//!
//! The rod stays a minute at each place before it goes on to the next.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use undim_model::{Device, ImportedRow, ImportedTime, SourceFile, Tank, Text};
use undim_survey::{
    Arrival, Book, Placement, RowIter, Rows, RowsError, SiteView, Source, TakeInError, Timing, scan, take_in,
};

/// Rows that are made as they are read: nothing of them is held.
struct Log {
    rows: u64,
    places: u64,
    unit: Text,
    device: Text,
}

impl Rows for Log {
    fn open(&self) -> Result<RowIter<'_>, RowsError> {
        const FIRST_US: i64 = 1_767_225_600_000_000;
        Ok(Box::new((0..self.rows).map(move |number| {
            let place = (number / 60 % self.places) as f64;
            // Ripple of a few percent that never repeats itself exactly.
            let ripple = (number.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 40) as f64 / f64::from(1_u32 << 24);
            Ok(ImportedRow {
                row: number + 2,
                time: Some(ImportedTime::Instant(FIRST_US + number as i64 * 1_000_000)),
                value: Some((200.0 + 10.0 * place) * (0.97 + 0.06 * ripple)),
                unit: Some(self.unit.clone()),
                x: Some(5.0 + 9.0 * place),
                y: Some(20.0),
                z: Some(30.0),
                device: Some(self.device.clone()),
                ..ImportedRow::default()
            })
        })))
    }
}

#[expect(clippy::print_stdout, reason = "a program for people")]
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args().skip(1);
    let mut number = |otherwise: u64| match arguments.next() {
        Some(text) => text.parse::<u64>(),
        None => Ok(otherwise),
    };
    let (rows, places, passes) = (number(2_600_000)?, number(1)?.max(1), number(2)?);
    let log = Log {
        rows,
        places,
        unit: "umol.m-2.s-1".into(),
        device: "bagged-phone".into(),
    };
    let timing = Timing {
        zone: TimeZone::UTC,
        clock_offset_us: 0,
        undated: Timestamp::UNIX_EPOCH,
    };
    let looked = scan(&log, &timing)?;
    let mut book = Book::new(TimeZone::UTC);
    book.enter(&Arrival::Came {
        content: 0,
        placement: Placement {
            tank: "harbour".to_owned(),
            scene: None,
            spans: looked.spans.clone(),
        },
        replaces: None,
    });
    let sources = [Source {
        file: SourceFile {
            path: "harbour/log.csv".into(),
            blake3: String::new(),
            importer: "made".to_owned(),
            importer_version: "1".to_owned(),
            rows: 0,
            facts: Vec::new(),
            problems: Vec::new(),
            remark: None,
            taken_by: None,
            notes: Vec::new(),
            renamed: Vec::new(),
        },
        timing,
        scan: looked,
        rows: &log,
        frame: None,
        length_units: [None; 3],
        device_note: None,
        device_fallback: None,
        station_note: None,
        station_fallback: None,
        pumps_on: None,
        water_cm: None,
        fixtures_on_min: None,
        said: Vec::new(),
    }];
    let tank = Tank::undeclared("harbour");
    let devices = BTreeMap::from([("bagged-phone".to_owned(), Device::undeclared("bagged-phone"))]);
    let zone = TimeZone::UTC;
    let site = SiteView {
        tank: &tank,
        devices: &devices,
        zone: &zone,
        zone_name: "UTC",
    };
    for entry in book.entries().iter().filter(|_| passes > 0) {
        let taken = take_in(entry, &sources, site)?;
        let mut written = 0_u64;
        if passes > 1 {
            taken.each_reading(entry, &sources, site, |reading| {
                written += u64::from(reading.row > 0);
                Ok::<(), TakeInError>(())
            })?;
        }
        for station in &taken.survey.stations {
            println!(
                "{}: {} readings, {} used, {:?}",
                station.station, station.readings, station.used, station.value
            );
        }
        println!("{}: {written} readings written", taken.survey.id);
    }
    Ok(())
}
