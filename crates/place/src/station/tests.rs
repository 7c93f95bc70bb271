//! Stations by hand.

use super::*;
use proptest::prelude::*;
use undim_model::DateSpan;

fn station(id: &str, at: [f64; 3], radius_cm: f64) -> Station {
    Station {
        id: id.to_owned(),
        name: None,
        at: Position::from(at),
        radius_cm,
        span: DateSpan::ALWAYS,
    }
}

fn stations(list: &[Station]) -> Stations {
    Stations::new(list.iter().collect())
}

/// Where the station's name goes, for a reading noted here, without an offset.
fn at(stations: &Stations, place: [f64; 3]) -> String {
    let place = place.map(Some);
    stations.find(place, place, None).station.unwrap().to_string()
}

fn reef() -> Stations {
    let mut top = station("reef-top", [35.0, 38.0, 25.0], 3.0);
    top.name = Some("Reef top".to_owned());
    stations(&[top, station("sand", [60.0, 2.0, 30.0], 3.0)])
}

#[test]
fn the_radius_ends_are_inside() {
    let reef = reef();
    assert_eq!(at(&reef, [38.0, 38.0, 25.0]), "reef-top");
    assert_eq!(at(&reef, [35.0, 35.0, 25.0]), "reef-top");
    assert_eq!(at(&reef, [38.01, 38.0, 25.0]), "at-38-38-25");
    // 1² + 2² + 2² = 3².
    assert_eq!(at(&reef, [36.0, 40.0, 27.0]), "reef-top");
}

#[test]
fn each_station_has_its_own_radius_and_the_nearest_wins() {
    let list = stations(&[
        station("wide", [30.0, 10.0, 30.0], 20.0),
        station("small", [40.0, 10.0, 30.0], 1.0),
    ]);
    // Nearer to the small one, which does not reach this far.
    assert_eq!(at(&list, [38.0, 10.0, 30.0]), "wide");
    assert_eq!(at(&list, [39.5, 10.0, 30.0]), "small");
}

#[test]
fn ties_go_by_id_not_by_order() {
    let list = stations(&[
        station("west", [35.3, 10.0, 30.0], 3.0),
        station("east", [34.9, 10.0, 30.0], 3.0),
    ]);
    // 0.2 cm from both, but rounding noise puts it nearer to the west.
    assert_eq!(at(&list, [35.1, 10.0, 30.0]), "east");
    assert_eq!(at(&list, [35.2, 10.0, 30.0]), "west");
}

#[test]
fn the_sensing_face_decides_and_the_noted_place_names() {
    let reef = reef();
    let noted = [35.0, 34.0, 25.0].map(Some);
    let face = [Some(35.0), Some(35.5), Some(25.0)];
    assert_eq!(&*reef.find(noted, face, None).station.unwrap(), "reef-top");
    let noted = [12.2, 20.4, 30.0].map(Some);
    let face = [Some(12.2), Some(21.9), Some(30.0)];
    let found = reef.find(noted, face, None);
    assert_eq!(found.station.as_deref(), Some("at-12-20-30"));
    assert_eq!(found.position_cm, face);
    assert!(!found.declared);
}

#[test]
fn a_declared_name_wins_by_id_and_by_name_and_lends_its_place() {
    let reef = reef();
    for name in ["reef-top", "Reef top", " reef-top "] {
        let found = reef.find([None; 3], [None; 3], Some(name));
        assert_eq!(found.station.as_deref(), Some("reef-top"));
        assert_eq!(found.at, Some(Position::new(35.0, 38.0, 25.0)));
        assert!(found.declared && found.reasons.is_empty());
    }
    // What is known stays, what is missing is lent.
    let part = [Some(36.0), None, None];
    let found = reef.find(part, part, Some("reef-top"));
    assert_eq!(found.position_cm, [Some(36.0), Some(38.0), Some(25.0)]);
    assert!(found.reasons.is_empty());
}

#[test]
fn named_yet_beyond_its_radius_is_position_off() {
    let reef = reef();
    let off = |place: [Option<f64>; 3]| reef.find(place, place, Some("reef-top"));
    assert!(off([38.0, 38.0, 25.0].map(Some)).reasons.is_empty());
    let beyond = off([38.1, 38.0, 25.0].map(Some));
    assert_eq!(beyond.reasons.to_string(), "position-off");
    assert_eq!(beyond.position_cm, [Some(38.1), Some(38.0), Some(25.0)]);
    // Even where another station would hold it.
    assert_eq!(
        off([60.0, 2.0, 30.0].map(Some)).station.as_deref(),
        Some("reef-top")
    );
    assert_eq!(off([Some(50.0), None, None]).reasons.to_string(), "position-off");
}

#[test]
fn an_id_goes_before_a_name_and_of_equal_names_the_first_declared() {
    let mut one = station("one", [10.0, 10.0, 10.0], 3.0);
    one.name = Some("two".to_owned());
    let mut three = station("three", [30.0, 10.0, 10.0], 3.0);
    three.name = Some("ledge".to_owned());
    let mut four = station("four", [40.0, 10.0, 10.0], 3.0);
    four.name = Some("ledge".to_owned());
    let list = stations(&[one, station("two", [20.0, 10.0, 10.0], 3.0), three, four]);
    let named = |name| {
        list.find([None; 3], [None; 3], Some(name))
            .station
            .unwrap()
            .to_string()
    };
    assert_eq!(named("two"), "two");
    assert_eq!(named("ledge"), "three");
}

#[test]
fn an_undeclared_name_is_a_station_with_or_without_a_place() {
    let reef = reef();
    let place = [35.0, 38.0, 25.0].map(Some);
    let found = reef.find(place, place, Some("ledge"));
    assert_eq!((found.station.as_deref(), found.declared), (Some("ledge"), false));
    let nowhere = reef.find([None; 3], [None; 3], Some("ledge"));
    assert_eq!((nowhere.station.as_deref(), nowhere.at), (Some("ledge"), None));
    assert!(nowhere.reasons.is_empty());
}

#[test]
fn no_name_and_no_whole_place_is_no_position() {
    let reef = reef();
    for place in [[None; 3], [Some(35.0), Some(38.0), None]] {
        for name in [None, Some(""), Some("  ")] {
            let found = reef.find(place, place, name);
            assert_eq!((found.station, found.at), (None, None));
            assert_eq!(found.position_cm, place);
            assert_eq!(found.reasons.to_string(), "no-position");
        }
    }
}

#[test]
fn unnamed_places_round_half_away_from_zero() {
    let none = stations(&[]);
    assert_eq!(at(&none, [30.0, 12.0, 25.0]), "at-30-12-25");
    assert_eq!(at(&none, [12.5, -12.5, 11.5]), "at-13--13-12");
    assert_eq!(at(&none, [12.49, -12.49, -3.0]), "at-12--12--3");
    assert_eq!(at(&none, [-0.0, -0.4, 0.4]), "at-0-0-0");
    assert_eq!(at(&none, [-0.5, 0.5, 0.0]), "at--1-1-0");
    // A half, with the rounding noise of a unit conversion on it.
    assert_eq!(
        at(&none, [12.499_999_999_999_998, 12.500_000_000_000_002, 0.0]),
        "at-13-13-0"
    );
}

proptest! {
    #[test]
    fn a_name_never_leaves_its_form(place in prop::array::uniform3(prop::num::f64::ANY)) {
        let found = stations(&[]).find(place.map(Some), place.map(Some), None);
        match found.station {
            Some(name) => prop_assert!(name.strip_prefix("at-").unwrap().chars().all(|c| c.is_ascii_digit() || c == '-')),
            None => prop_assert!(found.reasons.has(Reason::NoPosition)),
        }
    }

    #[test]
    fn the_station_that_is_found_holds_the_reading(place in prop::array::uniform3(0.0..60.0)) {
        let reef = reef();
        let found = reef.find(place.map(Some), place.map(Some), None);
        let holder = reef.declared().iter().find(|station| is_held(station, Position::from(place)));
        prop_assert_eq!(found.declared, holder.is_some());
    }
}
