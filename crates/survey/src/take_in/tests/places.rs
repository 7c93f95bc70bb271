//! Places (formats, section 10, places).

use super::*;
use undim_model::{Direction3, Frame, LengthUnit, Zero};

fn frame(id: &str) -> Frame {
    Frame {
        id: id.to_owned(),
        origin_cm: [0.0; 3],
        axes: [Direction3::Right, Direction3::Up, Direction3::Back],
        unit: LengthUnit::Centimetre,
        zero: Zero::Bottom,
        place_cm: 0.0,
        rod_cm: 0.0,
        span: DateSpan::ALWAYS,
    }
}

fn at(positions: &str) -> Case {
    let lines: String = positions
        .lines()
        .enumerate()
        .map(|(minute, line)| format!("12:{minute:02}, 100, {line}\n"))
        .collect();
    case([file("a.csv", &format!("time, value, x, y, z\n{lines}"))])
}

#[test]
fn a_station_holds_what_lies_within_its_radius_ends_included() {
    check_readings(
        &at("35, 38, 25\n38, 38, 25\n38.001, 38, 25\n35, 38, 28"),
        "row, station
         2, reef-top
         3, reef-top
         4, at-38-38-25
         5, reef-top",
    );
}

#[test]
fn the_nearest_of_several_and_ties_by_id() {
    let two = |radius_cm: f64| {
        at("50, 10, 10\n52, 10, 10\n53, 10, 10").with(|case| {
            let station = |id: &str, left: f64, radius_cm: f64| Station {
                id: id.to_owned(),
                name: None,
                at: Position::new(left, 10.0, 10.0),
                radius_cm,
                span: DateSpan::ALWAYS,
            };
            case.tank.stations = vec![station("b", 50.0, radius_cm), station("a", 54.0, 3.0)];
        })
    };
    check_readings(&two(3.0), "row, station\n2, b\n3, a\n4, a");
    // Its own radius decides, not the nearest middle.
    check_readings(&two(1.0), "row, station\n2, b\n3, a\n4, a");
    check_stations(&two(3.0), "station, readings\nb, 1\na, 2");
}

#[test]
fn unnamed_places_are_called_by_whole_centimetres_half_away_from_zero() {
    check_stations(
        &at("30, 12, 25\n30.4, 12.4, 24.5\n30.5, 12, 25\n-0.5, 12, 25\n-0.4, 12, 25"),
        "station, readings, at
         at--1-12-25, 1, -0.5 12 25
         at-0-12-25, 1, -0.4 12 25
         at-30-12-25, 2, 30.2 12.2 24.75
         at-31-12-25, 1, 30.5 12 25",
    );
}

#[test]
fn inches_unless_the_file_states_its_own_unit() {
    let read = |stated: [Option<LengthUnit>; 3]| {
        at("10, 4, 5").with(|case| {
            case.tank.frames = vec![Frame {
                unit: LengthUnit::Inch,
                axes: [Direction3::Left, Direction3::Up, Direction3::Front],
                origin_cm: [120.0, 0.0, 60.0],
                ..frame("rod")
            }];
            let source = &mut case.files[0].source;
            source.frame = Some("rod".to_owned());
            source.length_units = stated;
        })
    };
    check_readings(&read([None; 3]), "station, at\nat-95-10-47, 94.6 10.16 47.3");
    let mixed = [Some(LengthUnit::Millimetre), None, Some(LengthUnit::Centimetre)];
    check_readings(&read(mixed), "station, at\nat-119-10-55, 119 10.16 55");
}

#[test]
fn a_frame_from_the_surface_moves_with_the_days_water() {
    let read = |water_cm: Option<f64>| {
        at("30, -10, 20").with(|case| {
            case.tank.frames = vec![Frame {
                zero: Zero::Surface,
                origin_cm: [0.0, 2.0, 0.0],
                ..frame("rod")
            }];
            let source = &mut case.files[0].source;
            source.frame = Some("rod".to_owned());
            source.water_cm = water_cm;
        })
    };
    check_readings(&read(None), "at\n30 42 20");
    check_readings(&read(Some(47.5)), "at\n30 39.5 20");
    let unknown = read(None).with(|case| case.tank.inside.clear());
    check_readings(&unknown, "at, flag, reasons\n30  20, 4, no-position");
}

#[test]
fn the_face_decides_and_the_noted_position_names() {
    let read = at("35, 35, 25\n10.4, 48.6, 10\n10, -1, 10")
        .with(|case| case.phone().face_offset_cm = [0.2, 1.5, 0.0]);
    check_readings(
        &read,
        "station, at, flag, reasons
         reef-top, 35.2 36.5 25, 1,
         at-10-49-10, 10.6 50.1 10, 1,
         at-10--1-10, 10.2 0.5 10, 1,",
    );
}

#[test]
fn beyond_the_glass_is_bad_and_above_the_water_is_not() {
    check_readings(
        &at("0, 0, 0\n120, 55, 60\n120.1, 30, 30\n60, 52, 30\n60, 55.1, 30\n, -1,"),
        "row, station, flag, reasons
         2, at-0-0-0, 1,
         3, at-120-55-60, 1,
         4, at-120-30-30, 4, outside-tank
         5, at-60-52-30, 1,
         6, at-60-55-30, 4, outside-tank
         7, , 4, outside-tank;no-position",
    );
}

#[test]
fn a_name_lends_a_position_and_is_held_to_its_radius() {
    let read = case([file(
        "a.csv",
        "time,  value, x,  y,  z,  station
         12:00, 100,   ,   ,   ,   reef-top
         12:01, 100,   38, 38, 25, reef-top
         12:02, 100,   80, 5,  30, reef-top
         12:03, 100,   ,   41, ,   reef-top
         12:04, 100,   ,   42, ,   reef-top
         12:05, 100,   ,   ,   ,   Left rock
         12:06, 100,   10, ,   ,   ",
    )]);
    check_readings(
        &read,
        "row, station, at, flag, reasons
         2, reef-top, 35 38 25, 1,
         3, reef-top, 38 38 25, 1,
         4, reef-top, 80 5 30, 3, position-off
         5, reef-top, 35 41 25, 1,
         6, reef-top, 35 42 25, 3, position-off
         7, left-rock, , 1,
         8, , 10, 4, no-position",
    );
    // Declared: where it was declared; undeclared: nowhere that is known.
    check_stations(
        &read,
        "station, readings, at, declared
         reef-top, 5, 35 38 25, true
         left-rock, 1, , false",
    );
}

#[test]
fn declared_order_then_by_name() {
    let read = case([file(
        "a.csv",
        "time, value, station\n12:00, 1, zoo\n12:01, 1, sand\n12:02, 1, Alga\n12:03, 1, reef-top\n12:04, 1, at-1-1-1",
    )]);
    check_stations(&read, "station\nreef-top\nsand\nalga\nat-1-1-1\nzoo");
}

#[test]
fn the_tank_is_as_it_was_on_the_readings_day() {
    let read = case([file(
        "a.csv",
        "time, value, x, y, z
         2026-06-01 23:59, 100, 35, 38, 25
         2026-06-02 00:00, 100, 35, 38, 25",
    )])
    .with(|case| case.tank.stations[0].span.until = Some(date(2026, 6, 1)));
    check_readings(&read, "row, station\n2, reef-top\n3, at-35-38-25");
}

#[test]
fn a_frame_that_nobody_declared_is_refused() {
    let read = at("1, 2, 3").with(|case| case.files[0].source.frame = Some("rod".to_owned()));
    let error = read.refused();
    assert!(
        matches!(&error, TakeInError::Frame { path, .. } if path == "a.csv"),
        "{error}"
    );
    assert!(error.to_string().contains("`rod`"));
}

#[test]
fn without_a_tank_the_files_own_coordinates_make_the_stations() {
    let read = at("30, 12, 25\n500, 12, 25").with(|case| {
        case.tank = Tank::undeclared("harbour");
        case.devices.clear();
    });
    check_stations(
        &read,
        "station, readings, used, ppfd, flag
         at-30-12-25, 1, 1, 100, 1
         at-500-12-25, 1, 1, 100, 1",
    );
}
