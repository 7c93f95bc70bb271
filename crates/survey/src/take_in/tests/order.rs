//! Times, their order, and which survey they belong to (formats, section 10, surveys and written).

use super::*;

#[test]
fn a_file_without_any_time_is_of_noon_in_its_own_order() {
    let read = case([
        file("b.csv", "value, station\n3, c\n1, a\n2, b"),
        file("a.csv", "time, value, station\n11:59, 4, d\n12:00, 5, e"),
    ]);
    // Noon in the zone where the site is; a timed reading of that instant goes by its path.
    check_readings(
        &read,
        "source, row, time, station, flag, reasons
         a.csv, 2, 11:59:00, d, 1,
         a.csv, 3, 12:00:00, e, 1,
         b.csv, 2, , c, 1,
         b.csv, 3, , a, 1,
         b.csv, 4, , b, 1,",
    );
}

#[test]
fn a_row_without_time_follows_the_one_before_else_the_one_after() {
    let read = case([file(
        "a.csv",
        "time,  value, station
         ,      1,     a
         12:00, 2,     b
         ,      3,     c
         ,      4,     d
         12:01, 5,     e
         ,      6,     f",
    )]);
    check_readings(
        &read,
        "row, time, flag, reasons
         2, , 3, no-time
         3, 12:00:00, 1,
         4, , 3, no-time
         5, , 3, no-time
         6, 12:01:00, 1,
         7, , 3, no-time",
    );
}

#[test]
fn a_row_without_time_goes_where_its_neighbour_goes() {
    let read = case([file(
        "a.csv",
        "time,  value, station
         ,      1,     a
         06:00, 2,     b
         ,      3,     c
         12:01, 4,     d
         ,      5,     e",
    )]);
    let all = read.try_all().unwrap();
    let rows = |done: &Done| {
        done.readings
            .iter()
            .map(|reading| reading.row)
            .collect::<Vec<_>>()
    };
    assert_eq!(rows(&all[0]), [2, 3, 4]);
    assert_eq!(rows(&all[1]), [5, 6]);
}

#[test]
fn six_hours_are_one_survey_and_a_second_more_is_two() {
    let gap = |last: &str| {
        let table = format!("time, value, station\n09:00, 1, a\n{last}, 1, a");
        let all = case([file("a.csv", &table)]).try_all().unwrap();
        all.iter().map(|done| done.survey.id.clone()).collect::<Vec<_>>()
    };
    assert_eq!(gap("15:00"), ["2026-06-01"]);
    assert_eq!(gap("15:00:01"), ["2026-06-01", "2026-06-01-2"]);
}

#[test]
fn rejected_readings_bridge_a_gap_as_well() {
    let read = case([file(
        "a.csv",
        "time,  value, station
         06:00, 1,     a
         11:00, ,      a
         16:00, 1,     a",
    )]);
    check_readings(&read, "row, flag\n2, 1\n3, 9\n4, 1");
}

#[test]
fn midnight_does_not_split_and_the_date_is_the_first_readings_in_the_sites_zone() {
    let read = case([file(
        "a.csv",
        "time,             value, station
         2026-06-01 21:30, 200,   reef-top
         2026-06-02 01:00, 201,   reef-top",
    )])
    .with(|case| case.zone = TimeZone::fixed(jiff::tz::offset(3)));
    let survey = read.done().survey;
    assert_eq!(
        (survey.id.as_str(), survey.date),
        ("2026-06-02", date(2026, 6, 2))
    );
    assert_eq!(survey.timezone, "Somewhere/Here");
    assert_eq!(
        (survey.start, survey.end),
        (
            "2026-06-01T21:30Z".parse::<Timestamp>().unwrap(),
            "2026-06-02T01:00Z".parse::<Timestamp>().unwrap()
        )
    );
}

#[test]
fn a_reading_earlier_than_the_one_before_is_out_of_order_and_written_in_order() {
    let read = case([file(
        "a.csv",
        "time,  value, station
         12:00, 1,     a
         12:05, 2,     b
         12:02, 3,     c
         12:06, 4,     d",
    )]);
    check_readings(
        &read,
        "row, time, flag, reasons
         2, 12:00:00, 1,
         4, 12:02:00, 3, out-of-order
         3, 12:05:00, 1,
         5, 12:06:00, 1,",
    );
}

#[test]
fn a_file_that_runs_from_the_newest_to_the_oldest_is_in_its_own_order() {
    let read = case([file(
        "a.csv",
        "time,  value, station
         12:04, 1,     a
         12:03, 2,     b
         ,      3,     c
         12:03, 4,     d
         12:05, 5,     e
         12:01, 6,     f",
    )]);
    check_readings(
        &read,
        "row, time, reasons
         7, 12:01:00,
         3, 12:03:00,
         4, , no-time
         5, 12:03:00,
         2, 12:04:00,
         6, 12:05:00, out-of-order",
    );
}

#[test]
fn two_contents_of_one_path_go_by_row() {
    let read = case([
        file("a.csv", "time, value, station\n12:00, 1, a\n12:00, 2, b"),
        file("a.csv", "time, value, station\n12:00, 3, c"),
    ]);
    check_readings(&read, "row, station\n2, a\n2, c\n3, b");
}

#[test]
fn the_last_source_that_speaks_of_pumps_and_water_is_believed() {
    let table = "time, value, station\n12:00, 1, a";
    let read = case([
        file("a.csv", table).with(|source| {
            source.pumps_on = Some(true);
            source.water_cm = Some(48.0);
        }),
        file("b.csv", table).with(|source| source.pumps_on = Some(false)),
        file("c.csv", table),
    ]);
    let survey = read.done().survey;
    assert_eq!((survey.pumps_on, survey.water_cm), (Some(false), Some(48.0)));
}

#[test]
fn what_was_said_of_times_comes_with_its_file() {
    let read = case(
        [file("a.csv", "time, value, station\n02:30, 1, a").with(|source| {
            // In Lisbon the clocks skip from 01:00 to 02:00 on 29 March 2026.
            source.timing.zone = undim_clean::time::zone("Europe/Lisbon").unwrap();
            source.said = vec!["it is a test".to_owned()];
        })],
    )
    .with(|case| {
        case.files[0].rows = rows_of("time, value, station\n2026-03-29 01:30, 1, a");
    });
    let said = read.done().survey.said;
    assert_eq!(said[0], "a.csv: it is a test");
    assert!(said[1].contains("skipped"), "{said:?}");
}
