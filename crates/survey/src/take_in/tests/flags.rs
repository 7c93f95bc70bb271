//! Quality flags and their reasons (formats, section 10, flags).

use super::*;

#[test]
fn a_shadow_and_a_spike_are_written_and_not_used() {
    let read = case([file(
        "a.csv",
        "time,  value, station
         12:00, 201,   reef-top
         12:01, 199,   reef-top
         12:02, 118,   reef-top
         12:03, 202,   reef-top
         12:04, 200,   reef-top
         12:05, 900,   reef-top
         12:06, 200,   reef-top",
    )]);
    check_readings(
        &read,
        "row, raw, flag, reasons
         2, 201, 1,
         3, 199, 1,
         4, 118, 4, shadow
         5, 202, 1,
         6, 200, 1,
         7, 900, 4, spike
         8, 200, 1,",
    );
    check_stations(
        &read,
        "station, readings, used, ppfd, flag, reasons
         reef-top, 7, 5, 200.4, 1, spike;shadow",
    );
}

#[test]
fn what_the_device_cannot_read_and_a_tilted_sensor_are_bad() {
    let read = case([file(
        "a.csv",
        "time,  value, tilt, station
         12:00, 2500,  8,    reef-top
         12:01, 2501,  0,    reef-top
         12:02, 0,     -8.5, reef-top
         12:03, -1,    9,    reef-top
         12:04, 2500,  ,     reef-top",
    )])
    .with(|case| {
        case.phone().range = Some([0.0, 2500.0]);
        case.phone().max_tilt_deg = Some(8.0);
    });
    check_readings(
        &read,
        "row, flag, reasons
         2, 1,
         3, 4, over-range
         4, 4, tilt
         5, 4, under-range;tilt
         6, 1,",
    );
}

#[test]
fn the_range_is_in_the_devices_own_unit() {
    let read = case([file(
        "a.csv",
        "time,  value, unit,          station
         12:00, 2.5,   mmol.m-2.s-1,  a
         12:01, 2.6,   mmol.m-2.s-1,  b
         12:02, 9000,  lx,            c
         12:03, 9000,  candles,       d",
    )])
    .with(|case| case.phone().range = Some([0.0, 2500.0]));
    // Neither lx nor a unit that nobody knows can be held against a range in µmol.
    check_readings(
        &read,
        "station, ppfd, flag, reasons
         a, 2500, 1,
         b, 2600, 4, over-range
         c, , 2, no-correction
         d, , 2, no-correction",
    );
}

#[test]
fn a_missing_value_gets_no_tests_of_its_value() {
    let read = case([file(
        "a.csv",
        "time,  value, x,   y,  z,  station
         12:00, ,      35,  38, 25, reef-top
         12:01, 200,   35,  38, 25, reef-top
         12:01, ,      35,  38, 25, reef-top
         12:01, ,      35,  38, 25, reef-top
         12:02, ,      200, 38, 25,",
    )]);
    check_readings(
        &read,
        "row, station, raw, raw_unit, ppfd, flag, reasons
         2, reef-top, , , , 9, missing-value
         3, reef-top, 200, umol.m-2.s-1, 200, 1,
         4, reef-top, , , , 9, missing-value
         5, reef-top, , , , 9, missing-value
         6, at-200-38-25, , , , 9, outside-tank;missing-value",
    );
    check_stations(
        &read,
        "station, readings, used, ppfd, flag
         reef-top, 4, 1, 200, 1
         at-200-38-25, 1, 0, , 4",
    );
    let mut rows = read;
    rows.files[0].rows[1].value = Some(f64::NAN);
    check_readings(
        &rows.with(|case| case.files[0].rows.truncate(2)),
        "row, raw, flag, reasons
         2, , 9, missing-value
         3, , 9, missing-value",
    );
}

#[test]
fn a_repeat_within_and_across_files_and_the_first_taken_in_stays_good() {
    let table = "time,  value, station
                 12:00, 200,   reef-top
                 12:00, 200,   reef-top
                 12:01, 201,   reef-top";
    // The file that came first stands later in the listing.
    let read = case([file("z.csv", table), file("a.csv", table)]);
    check_readings(
        &read,
        "source, row, flag, reasons
         a.csv, 2, 4, repeat
         a.csv, 3, 4, repeat
         z.csv, 2, 1,
         z.csv, 3, 4, repeat
         a.csv, 4, 4, repeat
         z.csv, 4, 1,",
    );
    check_stations(
        &read,
        "station, readings, used, flag, reasons
         reef-top, 6, 2, 1, repeat",
    );
}

#[test]
fn another_time_place_device_or_value_is_no_repeat() {
    let read = case([file(
        "a.csv",
        "time,  value, x,  y,  z,    device, unit
         12:00, 200,   30, 12, 25,   phone,
         12:00, 200,   30, 12, 25.1, phone,
         12:00, 200,   30, 12, 25,   sensor,
         12:00, 201,   30, 12, 25,   phone,
         12:01, 200,   30, 12, 25,   phone,
         12:01, 200,   30, 12, 25,   phone,  lx
         12:01, 200,   30, 12, 25,   phone,  umol/m2/s",
    )]);
    check_readings(
        &read,
        "row, reasons
         2,
         3,
         4,
         5,
         6,
         7, no-correction
         8, repeat",
    );
}

#[test]
fn readings_without_a_time_are_never_repeats() {
    let table = "value, station
                 200, reef-top
                 200, reef-top";
    check_stations(
        &case([file("a.csv", table), file("b.csv", table)]),
        "station, readings, used, flag, reasons
         reef-top, 4, 4, 1,",
    );
}

#[test]
fn the_best_flag_among_those_used_holds_unless_most_are_questionable() {
    let off = |count: usize| {
        let near = "12:00, 200, 35, 38, 25\n".repeat(4 - count);
        let far = "12:00, 200, 35, 33, 25\n".repeat(count);
        // Seconds apart, so that none is a repeat.
        let table: String = (near + &far)
            .lines()
            .enumerate()
            .map(|(second, line)| format!("{}\n", line.replacen("12:00", &format!("12:00:0{second}"), 1)))
            .collect();
        let named = file("a.csv", &format!("time, value, x, y, z\n{table}"))
            .with(|source| source.station_note = Some("reef-top".to_owned()));
        case([named]).done().survey.stations[0].clone()
    };
    assert_eq!((off(2).flag, off(2).used), (Flag::Good, 4));
    assert_eq!(off(3).flag, Flag::Questionable);
    assert_eq!(off(4).flag, Flag::Questionable);
    assert!(off(1).reasons.has(Reason::PositionOff));
}

#[test]
fn a_station_with_nothing_to_use_has_flag_4_and_no_value() {
    let tilted = case([file(
        "a.csv",
        "time,  value, tilt, station
         12:00, 200,   20,   reef-top
         12:01, 200,   20,   reef-top",
    )])
    .with(|case| case.phone().max_tilt_deg = Some(8.0));
    check_stations(
        &tilted,
        "station, readings, used, ppfd, u_ppfd, device, flag, reasons
         reef-top, 2, 0, , , , 4, tilt",
    );
    let again = &tilted.done().survey.read_again;
    assert_eq!(&*again[0].station, "reef-top");
    assert!(again[0].why.contains("none of 2"), "{}", again[0].why);
}

#[test]
fn an_unsteady_light_is_questionable_and_said_to_be_read_again() {
    let read = case([file(
        "a.csv",
        "time,  value, station
         12:00, 150,   reef-top
         12:01, 260,   reef-top
         12:02, 190,   reef-top
         12:03, 310,   reef-top",
    )]);
    check_stations(
        &read,
        "station, readings, used, ppfd, flag, reasons
         reef-top, 4, 4, 227.5, 3, unsteady",
    );
    assert_eq!(read.done().survey.read_again.len(), 1);
}

#[test]
fn fixtures_that_were_just_switched_on_are_still_settling() {
    let minutes = |minutes| {
        let on = file("a.csv", "time, value, station\n12:00, 200, reef-top")
            .with(|source| source.fixtures_on_min = minutes);
        case([on]).done().readings[0].reasons.to_string()
    };
    assert_eq!(minutes(Some(19.9)), "warm-up");
    assert_eq!(minutes(Some(20.0)), "");
    assert_eq!(minutes(None), "");
}

#[test]
fn every_kind_of_flag_is_counted() {
    let read = case([file(
        "a.csv",
        "time,  value, unit,    x,  y,  z,  station
         12:00, 200,   ,        ,   ,   ,   reef-top
         12:01, 200,   candles, ,   ,   ,   sand
         12:02, 200,   ,        35, 30, 25, reef-top
         12:03, 200,   ,        ,   ,   ,
         12:04, ,      ,        ,   ,   ,   sand",
    )]);
    assert_eq!(
        read.done().survey.counts,
        FlagCounts {
            good: 1,
            not_evaluated: 1,
            questionable: 1,
            bad: 1,
            missing: 1
        }
    );
    check_readings(
        &read,
        "row, flag, reasons
         2, 1,
         3, 2, no-correction
         4, 3, position-off
         5, 4, no-position
         6, 9, missing-value",
    );
}
