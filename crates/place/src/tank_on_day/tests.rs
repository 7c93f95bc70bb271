//! A tank with a past, on different days.

use super::*;
use jiff::civil::date;
use undim_model::{DateSpan, Direction3, Inside, LengthUnit, Position, Zero};

const MAY: Date = date(2026, 5, 10);
const BEFORE: Date = date(2026, 5, 9);

fn until(day: Date) -> DateSpan {
    DateSpan {
        from: None,
        until: Some(day),
    }
}

fn from(day: Date) -> DateSpan {
    DateSpan {
        from: Some(day),
        until: None,
    }
}

fn frame(id: &str, span: DateSpan) -> Frame {
    Frame {
        id: id.to_owned(),
        origin_cm: [0.0, -10.0, 0.0],
        axes: [Direction3::Right, Direction3::Up, Direction3::Back],
        unit: LengthUnit::Centimetre,
        zero: Zero::Surface,
        place_cm: 0.7,
        rod_cm: 0.3,
        span,
    }
}

fn fixture(id: &str, left: f64, span: DateSpan) -> Fixture {
    Fixture {
        id: id.to_owned(),
        centre: Position::new(left, 75.0, 30.0),
        size_cm: [20.0, 20.0],
        installed: None,
        lenses: vec![],
        span,
    }
}

fn scene(id: &str, levels: Vec<(String, LevelSet)>, only: Option<&str>) -> Scene {
    Scene {
        id: id.to_owned(),
        levels,
        only: only.map(str::to_owned),
        day: vec![],
        span: DateSpan::ALWAYS,
    }
}

/// Rearranged on 10 May 2026: more water, the rod's frame gone, the station and the west fixture moved.
fn harbour() -> Tank {
    let inside = |water, span| Inside {
        length_cm: 120.0,
        front_to_back_cm: 60.0,
        height_cm: 55.0,
        water_cm: Some(water),
        footprint_cm: vec![],
        span,
    };
    let station = |at: [f64; 3], span| Station {
        id: "reef-top".to_owned(),
        name: None,
        at: Position::from(at),
        radius_cm: 3.0,
        span,
    };
    let set = |id: &str, level| (id.to_owned(), LevelSet::Whole(level));
    let channels = LevelSet::Channels(vec![("blue".to_owned(), 0.8), ("white".to_owned(), 0.4)]);
    Tank {
        inside: vec![inside(48.0, until(BEFORE)), inside(50.0, from(MAY))],
        frames: vec![frame("rod", until(BEFORE)), frame("rail", DateSpan::ALWAYS)],
        fixtures: vec![
            fixture("west", 30.0, until(BEFORE)),
            fixture("east", 90.0, DateSpan::ALWAYS),
            fixture("west", 40.0, from(MAY)),
        ],
        scenes: vec![
            scene(
                "noon",
                vec![set("west", 0.5), ("east".to_owned(), channels)],
                None,
            ),
            scene("moon", vec![set("east", 0.05)], None),
            scene("west-only", vec![], Some("west")),
        ],
        stations: vec![
            station([35.0, 38.0, 25.0], until(BEFORE)),
            station([45.0, 38.0, 25.0], from(MAY)),
        ],
        ..Tank::undeclared("harbour")
    }
}

#[test]
fn the_blocks_of_the_day_hold() {
    let tank = harbour();
    for (day, water, station_left, west_left) in [(BEFORE, 48.0, 35.0, 30.0), (MAY, 50.0, 45.0, 40.0)] {
        let on_day = TankOnDay::new(&tank, day, None);
        assert_eq!(on_day.day(), day);
        assert_eq!(on_day.water_cm(), Some(water));
        assert_eq!(on_day.stations()[0].at.from_left_cm, station_left);
        let fixtures: Vec<_> = on_day
            .fixtures()
            .iter()
            .map(|f| (f.id.as_str(), f.centre.from_left_cm))
            .collect();
        assert_eq!(fixtures, [("west", west_left), ("east", 90.0)]);
        let place = [station_left, 38.0, 25.0].map(Some);
        assert!(on_day.station(place, place, None).declared);
    }
}

#[test]
fn a_notes_water_level_moves_the_frame_and_the_surface() {
    let tank = harbour();
    let height = |water_cm| {
        let on_day = TankOnDay::new(&tank, MAY, water_cm);
        on_day
            .frame(Some("rail"))
            .unwrap()
            .to_tank([None, Some(-2.0), None], [None; 3])[1]
    };
    assert_eq!(height(None), Some(38.0));
    assert_eq!(height(Some(46.5)), Some(34.5));
    let low = TankOnDay::new(&tank, MAY, Some(46.5));
    assert_eq!(low.medium(Some(47.0)), Medium::Air);
    assert_eq!(TankOnDay::new(&tank, MAY, None).medium(Some(47.0)), Medium::Water);
}

#[test]
fn the_surface_itself_is_water_and_so_is_what_nobody_knows() {
    let on_day = TankOnDay::new(&harbour(), MAY, None);
    assert_eq!(on_day.medium(Some(50.0)), Medium::Water);
    assert_eq!(on_day.medium(Some(50.01)), Medium::Air);
    assert_eq!(on_day.medium(None), Medium::Water);
    let undeclared = TankOnDay::new(&Tank::undeclared("bowl"), MAY, None);
    assert_eq!(undeclared.medium(Some(500.0)), Medium::Water);
}

#[test]
fn above_the_water_but_in_the_glass_is_not_outside() {
    let on_day = TankOnDay::new(&harbour(), MAY, None);
    assert!(!on_day.is_outside([60.0, 53.0, 30.0].map(Some)));
    assert!(on_day.is_outside([60.0, 56.0, 30.0].map(Some)));
    assert!(!TankOnDay::new(&Tank::undeclared("bowl"), MAY, None).is_outside([-5.0, 900.0, 0.0].map(Some)));
}

#[test]
fn a_frame_that_is_not_there_names_the_nearest() {
    let tank = harbour();
    let message = |day, id| {
        TankOnDay::new(&tank, day, None)
            .frame(Some(id))
            .unwrap_err()
            .to_string()
    };
    assert_eq!(
        message(BEFORE, "rd"),
        "the tank has no frame `rd`; the nearest that holds on 2026-05-09 is `rod`"
    );
    assert_eq!(
        message(MAY, "rod"),
        "the frame `rod` does not hold on 2026-05-10; check its `from` and `until`; \
         the nearest that holds on 2026-05-10 is `rail`"
    );
    let bowl = TankOnDay::new(&Tank::undeclared("bowl"), MAY, None);
    assert_eq!(
        bowl.frame(Some("rod")).unwrap_err().to_string(),
        "the tank has no frame `rod`; it has none on 2026-05-10, so leave `frame` out for the tank's own axes, \
         or declare it"
    );
    assert_eq!(bowl.frame(None), Ok(FrameInUse::TANK));
}

#[test]
fn a_frame_brings_its_uncertainties() {
    let rail = TankOnDay::new(&harbour(), MAY, None).frame(Some("rail")).unwrap();
    assert_eq!((rail.place_cm, rail.rod_cm), (0.7, 0.3));
    assert_eq!((FrameInUse::TANK.place_cm, FrameInUse::TANK.rod_cm), (0.0, 0.0));
}

#[test]
fn the_face_is_the_noted_place_moved_right_up_and_back() {
    assert_eq!(
        face([Some(10.0), None, Some(30.0)], [0.5, 1.5, -1.0]),
        [Some(10.5), None, Some(29.0)]
    );
}

#[test]
fn a_scenes_levels_go_fixture_by_fixture() {
    let on_day = TankOnDay::new(&harbour(), MAY, None);
    let levels = |scene| on_day.levels(scene);
    assert_eq!(levels(Some("moon")), [0.0, 0.05]);
    assert_eq!(levels(Some("west-only")), [1.0, 0.0]);
    assert_eq!(levels(Some("unheard-of")), [1.0, 1.0]);
    assert_eq!(levels(None), [1.0, 1.0]);
    let noon = levels(Some("noon"));
    assert_eq!(noon[0], 0.5);
    assert!((noon[1] - 0.6).abs() < 1e-12);
}

#[test]
fn light_needs_fixtures_and_water() {
    let tank = harbour();
    let on_day = TankOnDay::new(&tank, MAY, None);
    let light = on_day.light(&on_day.levels(Some("west-only"))).unwrap();
    assert_eq!(light.shares(Position::new(60.0, 20.0, 30.0)), [1.0, 0.0]);
    let dry = Tank {
        inside: vec![],
        ..tank
    };
    assert!(TankOnDay::new(&dry, MAY, None).light(&[]).is_none());
    assert!(TankOnDay::new(&dry, MAY, Some(50.0)).light(&[]).is_some());
    assert!(
        TankOnDay::new(&Tank::undeclared("bowl"), MAY, Some(50.0))
            .light(&[])
            .is_none()
    );
}
