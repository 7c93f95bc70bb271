//! A mounted sensor's minutes and days, by hand.

use super::*;
use crate::source::{Timing, scan};
use crate::span::Span;
use jiff::ToSpan as _;
use jiff::civil::{Date, Time, date};
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use undim_model::{DateSpan, Device, ImportedRow, ImportedTime, Scene, SourceFile, Tank};

fn zone() -> TimeZone {
    undim_clean::time::zone("Europe/Lisbon").expect("a known zone")
}

/// A row at an instant, seconds since 1970.
fn row(number: u64, second: i64, value: Option<f64>) -> ImportedRow {
    ImportedRow {
        row: number,
        time: Some(ImportedTime::Instant(second * 1_000_000)),
        value,
        unit: Some(Text::from("umol.m-2.s-1")),
        ..ImportedRow::default()
    }
}

/// Rows every `step` seconds from one local midnight to another.
fn every(step: i64, from: Date, until: Date, value: impl Fn(i64) -> Option<f64>) -> Vec<ImportedRow> {
    let second = |day: Date| {
        zone()
            .to_timestamp(day.at(0, 0, 0, 0))
            .expect("a midnight")
            .as_second()
    };
    (second(from)..second(until))
        .step_by(step as usize)
        .enumerate()
        .map(|(number, at)| row(number as u64 + 2, at, value(at)))
        .collect()
}

fn device() -> Device {
    Device {
        range: Some([0.0, 2000.0]),
        ..Device::undeclared("fixed")
    }
}

/// What comes of some files of one station.
fn taken(files: &[Vec<ImportedRow>], tank: &Tank, scene: Option<&str>) -> (Mounted, Vec<Minute>) {
    let zone = zone();
    let timing = Timing {
        zone: zone.clone(),
        clock_offset_us: 0,
        undated: Timestamp::UNIX_EPOCH,
    };
    let sources: Vec<Source<'_>> = files
        .iter()
        .enumerate()
        .map(|(number, rows)| Source {
            file: SourceFile {
                path: Text::from(format!("reef/{number}.csv")),
                blake3: String::new(),
                importer: String::new(),
                importer_version: String::new(),
                rows: 0,
                facts: Vec::new(),
                problems: Vec::new(),
                remark: None,
                taken_by: None,
                notes: Vec::new(),
                renamed: Vec::new(),
            },
            timing: timing.clone(),
            scan: scan(rows, &timing).expect("rows"),
            rows,
            frame: None,
            length_units: [None; 3],
            device_note: None,
            device_fallback: Some("fixed".to_owned()),
            station_note: Some("reef-top".to_owned()),
            station_fallback: None,
            pumps_on: None,
            water_cm: None,
            fixtures_on_min: None,
            said: Vec::new(),
        })
        .collect();
    let spans = sources
        .iter()
        .flat_map(|source| source.scan.spans.iter().copied());
    let entry = Entry {
        withdrawn: Vec::new(),
        tank: tank.id.clone(),
        id: "reef-top".to_owned(),
        scene: scene.map(str::to_owned),
        span: spans.reduce(Span::joined).expect("readings"),
        contents: (0..files.len()).collect(),
        revision: 1,
        replaces: Vec::new(),
    };
    let devices = BTreeMap::from([("fixed".to_owned(), device())]);
    let site = SiteView {
        tank,
        devices: &devices,
        zone: &zone,
        zone_name: "Europe/Lisbon",
    };
    let mut minutes = Vec::new();
    let taken = mounted::<TakeInError>(&entry, &sources, site, |minute| {
        minutes.push(*minute);
        Ok(())
    });
    (taken.expect("taken in"), minutes)
}

fn reef() -> Tank {
    Tank::undeclared("reef")
}

/// On from 9 to 19, with ramps.
fn with_programme() -> Tank {
    let at = |hour: i8| Time::new(hour, 0, 0, 0).expect("a time");
    Tank {
        scenes: vec![Scene {
            id: "day".to_owned(),
            levels: Vec::new(),
            only: None,
            day: vec![(at(9), 0.0), (at(11), 1.0), (at(17), 1.0), (at(19), 0.0)],
            span: DateSpan::ALWAYS,
        }],
        ..reef()
    }
}

#[test]
fn constant_light_integrates_to_what_is_counted_by_hand() {
    // 100 µmol m⁻² s⁻¹ for 86 400 s are 8.64 mol m⁻²; the days on which clocks change have 23 and 25 hours.
    for (first, hours) in [
        (date(2026, 3, 1), 24.0),
        (date(2026, 3, 29), 23.0),
        (date(2026, 10, 25), 25.0),
    ] {
        for step in [10, 60, 300, 900] {
            let next = first.saturating_add(1.day());
            let (mounted, minutes) = taken(&[every(step, first, next, |_| Some(100.0))], &reef(), None);
            assert_eq!(mounted.days.len(), 1, "{step}");
            let day = &mounted.days[0];
            assert_eq!(
                (day.date, day.flag, day.missing_minutes),
                (first, Flag::Good, 0),
                "{step}"
            );
            let dli = day.dli.expect("a light integral");
            assert!((dli - hours * 0.36).abs() < 1e-9, "{step}: {dli}");
            assert_eq!(day.peak, Some(100.0));
            assert_eq!(day.n as usize, hours as usize * 3600 / step as usize);
            assert_eq!(minutes.len(), hours as usize * 3600 / step.max(60) as usize);
        }
    }
}

#[test]
fn mean_median_and_what_was_not_used() {
    let base = 1_790_000_040;
    let values = [Some(1.0), Some(2.0), Some(6.0), None, Some(2500.0)];
    let mut rows: Vec<ImportedRow> = values
        .iter()
        .enumerate()
        .map(|(number, value)| row(number as u64 + 2, base + number as i64, *value))
        .collect();
    // The same reading again is no second one.
    rows.push(row(9, base + 2, Some(6.0)));
    rows.push(row(10, base + 60, None));
    let (_, minutes) = taken(&[rows], &reef(), None);
    assert_eq!(minutes.len(), 2);
    assert_eq!((minutes[0].mean, minutes[0].median), (Some(3.0), Some(2.0)));
    assert_eq!((minutes[0].n, minutes[0].rejected), (3, 3));
    assert_eq!((minutes[1].mean, minutes[1].median), (None, None));
    assert_eq!((minutes[1].n, minutes[1].rejected), (0, 1));
    assert_eq!(minutes[0].time.as_second() % 60, 0);
}

#[test]
fn a_spike_in_a_minute_is_not_used_and_a_passing_shadow_is() {
    let base = 1_790_000_040;
    let minute = |odd: f64| {
        let values = (0..60_i32).map(|second| {
            if second == 30 {
                odd
            } else {
                200.0 + f64::from(second % 3)
            }
        });
        let rows = values
            .enumerate()
            .map(|(second, value)| row(second as u64 + 2, base + second as i64, Some(value)));
        taken(&[rows.collect()], &reef(), None).1[0]
    };
    let spike = minute(1900.0);
    assert_eq!((spike.n, spike.rejected), (59, 1));
    assert!(spike.mean.expect("a mean") < 202.0);
    let shadow = minute(20.0);
    assert_eq!((shadow.n, shadow.rejected), (60, 0));
}

#[test]
fn missing_minutes_are_flagged_and_never_filled_in() {
    let first = date(2026, 3, 1);
    let next = first.saturating_add(1.day());
    let day = |gap: std::ops::Range<i64>| {
        let mut rows = every(60, first, next, |_| Some(100.0));
        let start = zone()
            .to_timestamp(first.at(12, 0, 0, 0))
            .expect("noon")
            .as_second();
        rows.retain(|row| match row.time {
            Some(ImportedTime::Instant(us)) => !gap.contains(&((us / 1_000_000 - start) / 60)),
            _ => true,
        });
        taken(&[rows], &reef(), None).0.days.remove(0)
    };
    let short = day(0..15);
    assert_eq!((short.flag, short.missing_minutes), (Flag::Good, 15));
    assert!((short.dli.expect("told") - 0.006 * 1425.0).abs() < 1e-9);
    let longer = day(0..60);
    assert_eq!((longer.flag, longer.missing_minutes), (Flag::Questionable, 60));
    assert!((longer.dli.expect("told") - 0.006 * 1380.0).abs() < 1e-9);
    let most = day(0..361);
    assert_eq!((most.flag, most.dli, most.peak), (Flag::Bad, None, None));
}

#[test]
fn files_of_one_station_join_and_what_overlaps_counts_once() {
    let (first, second, third) = (date(2026, 3, 1), date(2026, 3, 2), date(2026, 3, 5));
    let day = |from: Date| every(60, from, from.saturating_add(1.day()), |_| Some(50.0));
    let both = every(60, first, first.saturating_add(2.days()), |_| Some(50.0));
    let (joined, minutes) = taken(&[day(second), both.clone(), day(third)], &reef(), None);
    let (alone, _) = taken(&[both], &reef(), None);
    assert_eq!(joined.days[0], alone.days[0]);
    assert_eq!(joined.days[1].dli, alone.days[1].dli);
    assert_eq!((joined.days[1].n, joined.days[1].rejected), (1440, 1440));
    let flags: Vec<Flag> = joined.days.iter().map(|day| day.flag).collect();
    assert_eq!(
        flags,
        [Flag::Good, Flag::Good, Flag::Missing, Flag::Missing, Flag::Good],
        "a day without a reading is written too"
    );
    assert!(minutes.windows(2).all(|pair| pair[0].time < pair[1].time));
}

#[test]
fn light_at_night_and_a_dark_morning_are_seen_against_the_programme() {
    let first = date(2026, 6, 1);
    let next = first.saturating_add(1.day());
    let hour = |at: i64| {
        zone()
            .to_datetime(Timestamp::from_second(at).expect("a time"))
            .hour()
    };
    let day = |light: &dyn Fn(i8) -> f64| {
        let rows = every(60, first, next, |at| Some(light(hour(at))));
        taken(&[rows], &with_programme(), Some("day")).0.days.remove(0)
    };
    let right = day(&|hour| if (9..19).contains(&hour) { 200.0 } else { 0.0 });
    assert_eq!((right.lit_at_night, right.dark_by_noon), (Some(0), Some(false)));
    let lit = day(&|hour| {
        if hour == 3 || (9..19).contains(&hour) {
            200.0
        } else {
            2.0
        }
    });
    assert_eq!((lit.lit_at_night, lit.dark_by_noon), (Some(60), Some(false)));
    let dark = day(&|hour| if (14..19).contains(&hour) { 200.0 } else { 0.0 });
    assert_eq!((dark.lit_at_night, dark.dark_by_noon), (Some(0), Some(true)));
    // The same log without a programme tells neither.
    let rows = every(60, first, next, |_| Some(200.0));
    let (told, _) = taken(&[rows], &reef(), None);
    assert_eq!(
        (told.days[0].lit_at_night, told.days[0].dark_by_noon),
        (None, None)
    );
    // A log by daylight only misses nothing that the programme has light in.
    let mut rows = every(60, first, next, |_| Some(100.0));
    rows.retain(|row| match row.time {
        Some(ImportedTime::Instant(us)) => (9..19).contains(&hour(us / 1_000_000)),
        _ => true,
    });
    let (told, _) = taken(&[rows], &with_programme(), Some("day"));
    assert_eq!((told.days[0].flag, told.days[0].missing_minutes), (Flag::Good, 0));
    assert_eq!(told.days[0].dark_by_noon, Some(false));
}
