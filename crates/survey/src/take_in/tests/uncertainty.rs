//! Uncertainty of readings and stations (formats, section 10, uncertainty; JCGM 100:2008).

use super::*;
use undim_model::{Direction3, Fixture, Frame, LengthUnit, SharedKind, StationValue, Zero};

fn station(read: &Case) -> StationValue {
    read.done().survey.stations[0].clone()
}

fn part(station: &StationValue, kind: SharedKind) -> f64 {
    let of_kind = station.shared.iter().find(|part| part.kind == kind);
    of_kind.map_or(0.0, |part| part.u_ppfd)
}

/// `count` readings of 200 at one station.
fn equal(count: usize) -> Case {
    let lines: String = (0..count)
        .map(|number| format!("12:{:02}:{:02}, 200, reef-top\n", number / 60, number % 60))
        .collect();
    case([file("a.csv", &format!("time, value, station\n{lines}"))])
}

#[test]
fn a_reading_holds_its_own_and_the_shared_part() {
    // repeat 2 % of 200 own; rezero 2 % and calibration 5 % of 200 shared: √(4² + 10²).
    check_readings(
        &equal(1),
        "u_own, u_shared, u_ppfd
         4, 10.77, 11.489",
    );
    check_stations(
        &equal(1),
        "station, u_own, u_shared, u_ppfd
         reef-top, 4, 10.77, 11.489",
    );
}

#[test]
fn the_shared_part_never_averages_down() {
    for count in [1, 4, 100] {
        let one = station(&equal(count));
        let value = one.value.unwrap();
        assert!((part(&one, SharedKind::Rezero) - 4.0).abs() < 1e-9);
        assert!((part(&one, SharedKind::Calibration) - 10.0).abs() < 1e-9);
        assert!(
            value.u_own >= 4.0 / (count as f64).sqrt() - 1e-9,
            "{count}: {}",
            value.u_own
        );
        assert!(
            value.u_own <= 4.0 * 1.5 / (count as f64).sqrt(),
            "{count}: {}",
            value.u_own
        );
    }
}

#[test]
fn percents_are_of_the_stations_value_and_rejected_readings_share_nothing() {
    let read = case([file(
        "a.csv",
        "time,  value, station
         12:00, 200,   reef-top
         12:01, 200,   reef-top
         12:02, 200,   reef-top
         12:03, 5000,  reef-top
         12:04, 20,    reef-top",
    )]);
    let one = station(&read);
    assert_eq!(one.used, 3);
    let ppfd = one.value.unwrap().ppfd;
    assert!((part(&one, SharedKind::Calibration) - 0.05 * ppfd).abs() < 1e-9);
    assert!((part(&one, SharedKind::Rezero) - 0.02 * ppfd).abs() < 1e-9);
}

#[test]
fn a_dark_reading_shares_its_dark_whatever_the_light() {
    let read = equal(3).with(|case| {
        case.phone().corrections[0].dark = Factor { value: 200.0, u: 0.5 };
    });
    let one = station(&read);
    assert_eq!(one.value.unwrap().ppfd, 0.0);
    assert_eq!(part(&one, SharedKind::Dark), 0.5);
}

#[test]
fn drift_grows_from_the_corrections_first_day() {
    let one = station(&equal(1).with(|case| case.phone().drift_percent_per_year = 2.0));
    // 1 March to 1 June 2026 are 92 days.
    let expected = 200.0 * 0.02 * 92.0 / 365.25;
    assert!((part(&one, SharedKind::DeviceDrift) - expected).abs() < 1e-9);
}

/// A fixture over the middle, and a rod that is off by so much.
fn under_a_fixture(place_cm: f64, rod_cm: f64, count: usize) -> Case {
    equal(count).with(|case| {
        case.tank.fixtures = vec![Fixture {
            id: "west".to_owned(),
            centre: Position::new(60.0, 75.0, 30.0),
            size_cm: [20.0, 20.0],
            installed: None,
            lenses: Vec::new(),
            span: DateSpan::ALWAYS,
        }];
        case.tank.frames = vec![Frame {
            id: "rod".to_owned(),
            origin_cm: [0.0; 3],
            axes: [Direction3::Right, Direction3::Up, Direction3::Back],
            unit: LengthUnit::Centimetre,
            zero: Zero::Bottom,
            place_cm,
            rod_cm,
            span: DateSpan::ALWAYS,
        }];
        case.files[0].source.frame = Some("rod".to_owned());
    })
}

#[test]
fn the_place_is_own_and_the_rod_is_shared() {
    let exact = station(&under_a_fixture(0.0, 0.0, 9)).value.unwrap();
    let read = under_a_fixture(0.7, 0.3, 9);
    let off = station(&read);
    let value = off.value.unwrap();
    let [left, up, back] = off.gradient_per_cm.unwrap();
    let slope = (left * left + up * up + back * back).sqrt();
    assert!(slope > 0.0 && up != 0.0);
    let place = value.ppfd * slope * 0.7;
    assert!(
        (value.u_own - exact.u_own.hypot(place)).abs() < 1e-9,
        "not averaged over the burst"
    );
    let rod = value.ppfd * up.abs() * 0.3;
    assert!((part(&off, SharedKind::RodHeight) - rod).abs() < 1e-9);
    assert!((value.u_shared - exact.u_shared.hypot(rod)).abs() < 1e-9);
    // A single reading holds the same.
    let reading = read.done().readings[0].value.unwrap();
    assert!((reading.u_own - 4.0_f64.hypot(200.0 * slope * 0.7)).abs() < 1e-9);
    assert!((reading.u_shared - exact.u_shared.hypot(200.0 * up.abs() * 0.3)).abs() < 1e-9);
}

#[test]
fn each_files_own_frame_counts() {
    // The first file has no frame; the station was read in the second.
    let first = file("0.csv", "time, value, station\n11:00, 100, sand");
    let read = under_a_fixture(0.7, 0.0, 9).with(|case| case.files.insert(0, first));
    let done = read.done();
    let exact = station(&under_a_fixture(0.0, 0.0, 9)).value.unwrap();
    assert!(done.survey.stations[0].value.unwrap().u_own > exact.u_own + 1.0);
}

#[test]
fn without_fixtures_nothing_is_known_of_gradients() {
    let read = under_a_fixture(0.7, 0.3, 9).with(|case| case.tank.fixtures.clear());
    assert_eq!(station(&read).gradient_per_cm, None);
    assert_eq!(station(&read).value, station(&equal(9)).value);
}
