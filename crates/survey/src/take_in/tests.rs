//! Tests of take-in: files as text tables in, stations and readings as text tables out.
//!
//! A table's first line names its columns; cells are set off by commas, blanks around them don't count, an
//! empty cell is an empty cell. Every case is also held against what is always true ([`always`]).

mod flags;
mod long;
mod names;
mod order;
mod places;
mod property;
mod several;
mod table;
mod uncertainty;
mod units;

use super::*;
use crate::book::{Arrival, Book, Placement};
use crate::source::{Rows, Timing, scan};
use crate::verdicts::Verdicts;
use jiff::Timestamp;
use jiff::civil::date;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use table::{columns_of, readings_table, rows_of, stations_table};
use undim_model::{
    Correction, DateSpan, Device, DeviceUnit, Factor, Flag, FlagCounts, ImportedRow, Inside, Position, Role,
    Station, Tank,
};

/// One day's files of a tank.
struct Case {
    tank: Tank,
    devices: BTreeMap<String, Device>,
    zone: TimeZone,
    scene: Option<String>,
    files: Vec<File>,
}

/// A file with what its note, route and folders say of it.
struct File {
    source: Source<'static>,
    rows: Vec<ImportedRow>,
}

/// A file without route or note: `phone` read it.
fn file(path: &str, table: &str) -> File {
    let source = Source {
        file: SourceFile {
            path: path.into(),
            blake3: "0".repeat(64),
            importer: "table".to_owned(),
            importer_version: "1".to_owned(),
            rows: 0,
            facts: Vec::new(),
            problems: Vec::new(),
            remark: None,
            taken_by: None,
            notes: Vec::new(),
            renamed: Vec::new(),
        },
        timing: Timing {
            zone: TimeZone::UTC,
            clock_offset_us: 0,
            undated: "2026-06-01T12:00:00Z".parse().unwrap(),
        },
        scan: crate::Scan::default(),
        rows: &NO_ROWS,
        frame: None,
        length_units: [None; 3],
        device_note: None,
        device_fallback: Some("phone".to_owned()),
        station_note: None,
        station_fallback: None,
        pumps_on: None,
        water_cm: None,
        fixtures_on_min: None,
        said: Vec::new(),
    };
    File {
        source,
        rows: rows_of(table),
    }
}

static NO_ROWS: Vec<ImportedRow> = Vec::new();

impl File {
    fn with(mut self, change: impl FnOnce(&mut Source<'static>)) -> Self {
        change(&mut self.source);
        self
    }

    /// As take-in wants it.
    fn looked_through(&self, looked: crate::Scan) -> Source<'_> {
        let from = &self.source;
        Source {
            file: from.file.clone(),
            timing: from.timing.clone(),
            scan: looked,
            rows: &self.rows,
            frame: from.frame.clone(),
            length_units: from.length_units,
            device_note: from.device_note.clone(),
            device_fallback: from.device_fallback.clone(),
            station_note: from.station_note.clone(),
            station_fallback: from.station_fallback.clone(),
            pumps_on: from.pumps_on,
            water_cm: from.water_cm,
            fixtures_on_min: from.fixtures_on_min,
            said: from.said.clone(),
        }
    }
}

/// The files of a 120 × 60 × 55 cm tank, 50 cm of water, with the stations `reef-top` (35, 38, 25) and `sand`
/// (80, 5, 30), each 3 cm wide, and the devices of [`devices`].
fn case(files: impl IntoIterator<Item = File>) -> Case {
    let station = |id: &str, at: [f64; 3]| Station {
        id: id.to_owned(),
        name: None,
        at: Position::from(at),
        radius_cm: 3.0,
        span: DateSpan::ALWAYS,
    };
    Case {
        tank: Tank {
            id: "harbour".to_owned(),
            name: "Harbour".to_owned(),
            declared: true,
            inside: vec![Inside {
                length_cm: 120.0,
                front_to_back_cm: 60.0,
                height_cm: 55.0,
                water_cm: Some(50.0),
                ..Inside::default()
            }],
            stations: vec![
                station("reef-top", [35.0, 38.0, 25.0]),
                station("sand", [80.0, 5.0, 30.0]),
            ],
            ..Tank::default()
        },
        devices: devices(),
        zone: TimeZone::UTC,
        scene: None,
        files: files.into_iter().collect(),
    }
}

/// `phone` and `sensor`, corrected from 1 March by a factor of one; `hired`, a reference.
fn devices() -> BTreeMap<String, Device> {
    let everyday = |id: &str| Device {
        declared: true,
        unit_code: Some("umol.m-2.s-1".to_owned()),
        unit: Some(DeviceUnit::MICROMOL),
        corrections: vec![correction()],
        ..Device::undeclared(id)
    };
    let hired = Device {
        role: Role::Reference,
        corrections: Vec::new(),
        ..everyday("hired")
    };
    [everyday("phone"), everyday("sensor"), hired]
        .into_iter()
        .map(|device| (device.id.clone(), device))
        .collect()
}

/// Changes nothing, from 1 March 2026.
fn correction() -> Correction {
    const ONE: Factor = Factor { value: 1.0, u: 0.0 };
    Correction {
        span: DateSpan {
            from: Some(date(2026, 3, 1)),
            until: None,
        },
        scenes: Vec::new(),
        medium: None,
        blend: false,
        dark: Factor { value: 0.0, u: 0.0 },
        sensitivity: None,
        spectral: ONE,
        immersion: ONE,
        fit: None,
    }
}

/// A survey that was taken in, with its readings in written order.
struct Done {
    survey: Survey,
    readings: Vec<Reading>,
}

impl Case {
    fn with(mut self, change: impl FnOnce(&mut Self)) -> Self {
        change(&mut self);
        self
    }

    fn phone(&mut self) -> &mut Device {
        self.devices.get_mut("phone").unwrap()
    }

    fn site(&self) -> SiteView<'_> {
        SiteView {
            tank: &self.tank,
            devices: &self.devices,
            zone: &self.zone,
            zone_name: "Somewhere/Here",
        }
    }

    /// Every survey that the files make, in order of time.
    fn try_all(&self) -> Result<Vec<Done>, TakeInError> {
        let mut book = Book::new(self.zone.clone());
        let mut sources: Vec<Source<'_>> = Vec::new();
        for (number, file) in self.files.iter().enumerate() {
            let looked = scan(&file.rows, &file.source.timing).map_err(|error| TakeInError::Rows {
                path: file.source.file.path.to_string(),
                error,
            })?;
            book.enter(&Arrival::Came {
                content: number,
                placement: Placement {
                    tank: self.tank.id.clone(),
                    scene: self.scene.clone(),
                    spans: looked.spans.clone(),
                },
                replaces: None,
            });
            sources.push(file.looked_through(looked));
        }
        let mut all = Vec::new();
        for entry in book.entries() {
            let of_entry: Vec<Source<'_>> = entry
                .contents
                .iter()
                .map(|number| self.files[*number].looked_through(sources[*number].scan.clone()))
                .collect();
            let taken = take_in(&entry, &of_entry, self.site())?;
            let mut readings = Vec::new();
            taken.each_reading(&entry, &of_entry, self.site(), |reading| {
                readings.push(reading.clone());
                Ok::<(), TakeInError>(())
            })?;
            let done = Done {
                survey: taken.survey,
                readings,
            };
            always(&done);
            all.push(done);
        }
        let rows: usize = self.files.iter().map(|file| file.rows.len()).sum();
        assert_eq!(all.iter().map(|done| done.readings.len()).sum::<usize>(), rows);
        Ok(all)
    }

    /// The one survey that the files make.
    fn done(&self) -> Done {
        let mut all = self.try_all().unwrap();
        assert_eq!(all.len(), 1, "one survey");
        all.remove(0)
    }

    fn refused(&self) -> TakeInError {
        self.try_all().map(|_| ()).unwrap_err()
    }
}

/// Holds the stations of a case against a table, in the columns that the table names.
#[track_caller]
fn check_stations(case: &Case, expected: &str) {
    let done = case.done();
    let (columns, expected) = columns_of(expected);
    assert_eq!(stations_table(&done, &columns), expected);
}

/// Holds the readings of a case, in written order, against a table.
#[track_caller]
fn check_readings(case: &Case, expected: &str) {
    let done = case.done();
    let (columns, expected) = columns_of(expected);
    assert_eq!(readings_table(&done, &columns), expected);
}

/// What is true of every survey.
#[track_caller]
fn always(done: &Done) {
    let mut counts = FlagCounts::default();
    for reading in &done.readings {
        counts.count(reading.flag);
        assert_eq!(
            reading.flag == Flag::Missing,
            reading.raw.is_none(),
            "{reading:?}"
        );
        assert_eq!(
            reading.flag,
            reading
                .reasons
                .flag_from(if reading.value.is_none() && reading.flag == Flag::NotEvaluated {
                    Flag::NotEvaluated
                } else {
                    Flag::Good
                })
        );
        if let Some(value) = reading.value {
            assert!(
                value.ppfd.is_finite()
                    && value.u_own >= 0.0
                    && value.u_shared >= 0.0
                    && value.u().is_finite()
            );
        }
    }
    let survey = &done.survey;
    assert_eq!(counts, survey.counts, "counts by flag");
    let rows = done.readings.len() as u64;
    assert_eq!(survey.sources.iter().map(|source| source.rows).sum::<u64>(), rows);
    assert_eq!(
        survey.devices.iter().map(|device| device.readings).sum::<u64>(),
        rows
    );
    let mut by_station: BTreeMap<&str, Vec<&Reading>> = BTreeMap::new();
    for reading in &done.readings {
        let name = reading.station.as_deref().unwrap_or_default();
        by_station.entry(name).or_default().push(reading);
    }
    for station in &survey.stations {
        let of_station = &by_station[&*station.station];
        assert_eq!(station.readings, of_station.len() as u64, "every row counts");
        let used = of_station.iter().filter(|reading| {
            reading.device == station.device && reading.flag.is_used() && reading.value.is_some()
        });
        assert_eq!(station.used, used.count() as u64);
        assert_eq!(station.used == 0, station.value.is_none());
        let of_readings = of_station
            .iter()
            .fold(Reasons::NONE, |all, one| all.union(one.reasons));
        assert_eq!(station.reasons.union(of_readings), station.reasons);
        match station.value {
            None => assert_eq!(station.flag, Flag::Bad),
            Some(value) => {
                assert!(station.flag.is_used());
                // JCGM 100:2008, 5.1.2. Values next to nothing lose digits.
                let alike = |a: f64, b: f64| (a - b).abs() <= 1e-9 * b + 1e-150;
                let shared = station
                    .shared
                    .iter()
                    .fold(0.0_f64, |all, part| all.hypot(part.u_ppfd));
                assert!(alike(shared, value.u_shared));
                assert!(alike(value.u(), value.u_own.hypot(value.u_shared)));
            }
        }
    }
    for pair in survey.devices.windows(2) {
        assert!(pair[0].id < pair[1].id);
    }
}

#[test]
fn what_is_told_fits_one_byte() {
    assert_eq!(Verdicts::BYTES_A_READING, 1);
}
