//! Clock times in folds and gaps, against the zones' published rules.

use super::*;
use jiff::civil::{DateTime, date};
use proptest::prelude::*;

fn wall(at: DateTime) -> ImportedTime {
    ImportedTime::Wall(Offset::UTC.to_timestamp(at).unwrap().as_microsecond())
}

fn run(zone_name: &str, walls: &[DateTime]) -> Vec<(String, Option<Said>)> {
    let mut resolver = Resolver::new(zone(zone_name).unwrap(), 0);
    walls
        .iter()
        .map(|at| {
            let resolved = resolver.resolve(wall(*at)).unwrap();
            (resolved.timestamp.to_string(), resolved.said)
        })
        .collect()
}

#[test]
fn an_hour_that_comes_twice_takes_the_first_unless_the_file_shows_the_second() {
    // Central European Summer Time ended on 2026-10-25 at 03:00, when the clocks went back to 02:00.
    let day = date(2026, 10, 25);
    let seen = run(
        "Europe/Berlin",
        &[
            day.at(1, 59, 0, 0),
            day.at(2, 30, 0, 0),
            day.at(2, 59, 0, 0),
            day.at(2, 10, 0, 0),
            day.at(2, 40, 0, 0),
            day.at(3, 0, 0, 0),
        ],
    );
    let expected = [
        ("2026-10-24T23:59:00Z", None),
        ("2026-10-25T00:30:00Z", Some(Said::FoldFirst)),
        ("2026-10-25T00:59:00Z", Some(Said::FoldFirst)),
        ("2026-10-25T01:10:00Z", Some(Said::FoldSecond)),
        ("2026-10-25T01:40:00Z", Some(Said::FoldSecond)),
        ("2026-10-25T02:00:00Z", None),
    ];
    assert_eq!(seen, expected.map(|(text, said)| (text.to_owned(), said)));
}

#[test]
fn the_order_of_the_file_tells_one_pass_from_the_other() {
    let said = |zone_name: &str, walls: &[DateTime]| -> Vec<Option<Said>> {
        run(zone_name, walls).into_iter().map(|(_, said)| said).collect()
    };
    let (first, second) = (Some(Said::FoldFirst), Some(Said::FoldSecond));
    // Lisbon went from 02:00 back to 01:00 on 2026-10-25.
    let day = date(2026, 10, 25);
    assert_eq!(
        said(
            "Europe/Lisbon",
            &[day.at(1, 30, 0, 0), day.at(1, 30, 0, 0), day.at(1, 45, 0, 0)]
        ),
        [first, first, first]
    );
    // A file that runs from the newest row to the oldest steps back all the time.
    assert_eq!(
        said(
            "Europe/Lisbon",
            &[
                day.at(2, 10, 0, 0),
                day.at(1, 50, 0, 0),
                day.at(1, 20, 0, 0),
                day.at(0, 50, 0, 0)
            ]
        ),
        [None, first, first, None]
    );
    // One year's fold says nothing about the next.
    let next_year = date(2027, 10, 31);
    assert_eq!(
        said(
            "Europe/Lisbon",
            &[
                day.at(1, 50, 0, 0),
                day.at(1, 10, 0, 0),
                next_year.at(1, 30, 0, 0)
            ]
        ),
        [first, second, first]
    );
    // An instant in the file shows it, too.
    let mut resolver = Resolver::new(zone("Europe/Lisbon").unwrap(), 0);
    let instant: Timestamp = "2026-10-25T01:05:00Z".parse().unwrap();
    resolver
        .resolve(ImportedTime::Instant(instant.as_microsecond()))
        .unwrap();
    let after = resolver.resolve(wall(day.at(1, 30, 0, 0))).unwrap();
    assert_eq!(after.timestamp.to_string(), "2026-10-25T01:30:00Z");
}

#[test]
fn folds_of_other_zones() {
    // New York: 2026-11-01 at 02:00 back to 01:00.
    let day = date(2026, 11, 1);
    let seen = run("America/New_York", &[day.at(1, 40, 0, 0), day.at(1, 20, 0, 0)]);
    assert_eq!(
        seen,
        [
            ("2026-11-01T05:40:00Z".to_owned(), Some(Said::FoldFirst)),
            ("2026-11-01T06:20:00Z".to_owned(), Some(Said::FoldSecond))
        ]
    );
    // Lord Howe Island: 2026-04-05 at 02:00 back to 01:30, half an hour only.
    let day = date(2026, 4, 5);
    let seen = run(
        "Australia/Lord_Howe",
        &[day.at(1, 20, 0, 0), day.at(1, 50, 0, 0), day.at(1, 35, 0, 0)],
    );
    assert_eq!(
        seen,
        [
            ("2026-04-04T14:20:00Z".to_owned(), None),
            ("2026-04-04T14:50:00Z".to_owned(), Some(Said::FoldFirst)),
            ("2026-04-04T15:05:00Z".to_owned(), Some(Said::FoldSecond))
        ]
    );
}

#[test]
fn a_skipped_hour_is_moved_forward_by_the_gap() {
    let moved = |zone_name: &str, at: DateTime, instant: &str| {
        assert_eq!(
            run(zone_name, &[at]),
            [(instant.to_owned(), Some(Said::GapMovedForward))],
            "{zone_name}"
        );
    };
    moved(
        "Europe/Berlin",
        date(2026, 3, 29).at(2, 30, 0, 0),
        "2026-03-29T01:30:00Z",
    );
    moved(
        "Europe/Lisbon",
        date(2026, 3, 29).at(1, 30, 0, 0),
        "2026-03-29T01:30:00Z",
    );
    moved(
        "America/New_York",
        date(2026, 3, 8).at(2, 30, 0, 0),
        "2026-03-08T07:30:00Z",
    );
    // Lord Howe Island moves its clocks by half an hour.
    moved(
        "Australia/Lord_Howe",
        date(2026, 10, 4).at(2, 15, 0, 0),
        "2026-10-03T15:45:00Z",
    );
}

#[test]
fn remembering_a_plain_stretch_changes_nothing() {
    const DAY_US: i64 = 86_400_000_000;
    let year_2026 = 1_767_225_600_000_000;
    // Ireland kept Dublin's own time, 25 minutes and 21 seconds behind, until 1916.
    let year_1916 = -1_704_153_600_000_000;
    let cases = [
        ("Europe/Lisbon", year_2026, 900_000_000),
        ("America/New_York", year_2026, 900_000_000),
        ("Australia/Lord_Howe", year_2026, 900_000_000),
        ("Asia/Kathmandu", year_2026, 900_000_000),
        ("UTC", year_2026, 900_000_000),
        ("+01:00", year_2026, 900_000_000),
        ("Europe/Dublin", year_1916, 601_000_000),
    ];
    for (name, start_us, step_us) in cases {
        let zone = zone(name).unwrap();
        let mut resolver = Resolver::new(zone.clone(), 0);
        for us in (start_us..start_us + 370 * DAY_US).step_by(step_us) {
            let found = resolver.resolve(ImportedTime::Wall(us)).unwrap();
            let fresh = Resolver::new(zone.clone(), 0)
                .resolve(ImportedTime::Wall(us))
                .unwrap();
            if !matches!(found.said, Some(Said::FoldFirst | Said::FoldSecond)) {
                assert_eq!(found, fresh, "{name} {us}");
            }
        }
    }
}

#[test]
fn a_clock_that_was_wrong_is_put_right() {
    let mut resolver = Resolver::new(zone("Europe/Lisbon").unwrap(), -3_600_000_000);
    let noon = resolver.resolve(wall(date(2026, 1, 10).at(13, 0, 0, 0))).unwrap();
    assert_eq!(noon.timestamp.to_string(), "2026-01-10T12:00:00Z");
    let instant = resolver.resolve(ImportedTime::Instant(3_600_000_000)).unwrap();
    assert_eq!(instant.timestamp, Timestamp::UNIX_EPOCH);
}

#[test]
fn zones_and_offsets() {
    assert!(zone("Europe/Lisbon").is_some() && zone("+01:00").is_some() && zone("-0330").is_some());
    assert!(zone("Europe/Atlantis").is_none() && zone("+25:00").is_none() && zone("").is_none());
    for wrong in ["+aéb", "++100", "+0:100", "+1", "+01:60", "0100", "+01:0", "é"] {
        assert!(zone(wrong).is_none(), "{wrong}");
    }
    let mut resolver = Resolver::new(TimeZone::UTC, 0);
    assert_eq!(
        resolver.resolve(ImportedTime::Wall(i64::MAX)),
        Err(OutsideCalendar)
    );
    assert_eq!(
        resolver.resolve(ImportedTime::Instant(i64::MIN)),
        Err(OutsideCalendar)
    );
}

proptest! {
    #[test]
    fn a_file_in_order_of_time_is_read_back_as_it_was(
        start_s in 0_i64..7200, step_s in 1_i64..3600, name in prop::sample::select(vec![
            ("Europe/Berlin", "2026-10-24T22:00:00Z"), ("America/New_York", "2026-11-01T03:00:00Z"),
        ]),
    ) {
        let zone = zone(name.0).unwrap();
        let start: Timestamp = name.1.parse().unwrap();
        let mut resolver = Resolver::new(zone.clone(), 0);
        for step in 0..(6 * 3600 / step_s).min(400) {
            let instant = start + SignedDuration::from_secs(start_s + step * step_s);
            let resolved = resolver.resolve(wall(zone.to_datetime(instant))).unwrap();
            prop_assert_eq!(resolved.timestamp, instant);
        }
    }

    #[test]
    fn any_times_are_answered(
        times in prop::collection::vec((any::<bool>(), any::<i64>(), -2_i64..3), 0..20), offset in any::<i64>(),
    ) {
        let mut resolver = Resolver::new(zone("Europe/Lisbon").unwrap(), offset);
        for (is_wall, us, edge) in times {
            // The ends of the calendar, too.
            let us = if edge == 0 { us } else { us.signum() * 253_402_207_200_999_999 + edge };
            let time = if is_wall { ImportedTime::Wall(us) } else { ImportedTime::Instant(us) };
            let _ = resolver.resolve(time);
        }
    }

    #[test]
    fn any_zone_name_is_answered(text in "[+-]?[0-9:é]{0,6}|\\PC{0,20}") {
        let _ = zone(&text);
    }
}
