//! Frames by hand, and there and back again.

use super::*;
use Direction3::{Back, Down, Front, Left, Right, Up};
use proptest::prelude::*;
use undim_model::{DateSpan, Position};

const NONE: [Option<LengthUnit>; 3] = [None; 3];

fn frame(origin_cm: [f64; 3], axes: [Direction3; 3], unit: LengthUnit, zero: Zero) -> Frame {
    Frame {
        id: "rod".to_owned(),
        origin_cm,
        axes,
        unit,
        zero,
        place_cm: 0.7,
        rod_cm: 0.3,
        span: DateSpan::ALWAYS,
    }
}

#[track_caller]
fn check(frame: &Frame, water: Level, xyz: [f64; 3], expected: [f64; 3]) {
    let tank = FrameInUse::new(frame, water)
        .to_tank(xyz.map(Some), NONE)
        .map(Option::unwrap);
    let distance = Position::from(tank).distance_cm(Position::from(expected));
    assert!(distance < 1e-9, "{tank:?} is not {expected:?}");
}

#[test]
fn the_tanks_own_axes_are_from_left_from_bottom_from_front() {
    let own = FrameInUse::TANK.to_tank([Some(1.0), Some(2.0), Some(3.0)], NONE);
    assert_eq!(own, [Some(1.0), Some(2.0), Some(3.0)]);
}

#[test]
fn inches_from_the_upper_right_back_corner() {
    // Zero at the rim of a 120 × 55 × 60 tank; 10 in = 25.4 cm, 4 in = 10.16 cm, 6 in = 15.24 cm.
    let corner = frame(
        [120.0, 55.0, 60.0],
        [Left, Down, Front],
        LengthUnit::Inch,
        Zero::Bottom,
    );
    check(&corner, None, [10.0, 4.0, 6.0], [94.6, 44.84, 44.76]);
}

#[test]
fn millimetres_with_the_height_last() {
    let rod = frame([0.0; 3], [Right, Back, Up], LengthUnit::Millimetre, Zero::Bottom);
    check(&rod, None, [355.0, 250.0, 120.0], [35.5, 12.0, 25.0]);
    // To the last bit: 3 · 0.1 is not 0.3.
    assert_eq!(
        FrameInUse::new(&rod, None).to_tank([Some(3.0), None, None], NONE)[0],
        Some(0.3)
    );
}

#[test]
fn metres_along_the_front() {
    let rule = frame(
        [5.0, 2.0, 3.0],
        [Back, Right, Up],
        LengthUnit::Metre,
        Zero::Bottom,
    );
    check(&rule, None, [0.2, 0.4, 0.1], [45.0, 12.0, 23.0]);
}

#[test]
fn each_of_the_six_directions() {
    // One step of 1 along x from (50, 20, 30); y and z stay at zero.
    for (axes, expected) in [
        ([Right, Up, Back], [51.0, 20.0, 30.0]),
        ([Left, Up, Back], [49.0, 20.0, 30.0]),
        ([Up, Right, Back], [50.0, 21.0, 30.0]),
        ([Down, Right, Back], [50.0, 19.0, 30.0]),
        ([Back, Right, Up], [50.0, 20.0, 31.0]),
        ([Front, Right, Up], [50.0, 20.0, 29.0]),
    ] {
        let frame = frame([50.0, 20.0, 30.0], axes, LengthUnit::Centimetre, Zero::Bottom);
        check(&frame, None, [1.0, 0.0, 0.0], expected);
    }
}

#[test]
fn from_the_surface_up_is_positive_whatever_y_counts() {
    // Zero 20 cm below a surface at 48: at 28 cm. y points down.
    let hanging = frame(
        [0.0, -20.0, 0.0],
        [Right, Down, Back],
        LengthUnit::Centimetre,
        Zero::Surface,
    );
    check(&hanging, Some(48.0), [10.0, 5.0, 30.0], [10.0, 23.0, 30.0]);
    check(&hanging, Some(50.0), [10.0, 5.0, 30.0], [10.0, 25.0, 30.0]);
    // Zero in the surface itself, depths in x.
    let depths = frame(
        [0.0, 0.0, 0.0],
        [Down, Right, Back],
        LengthUnit::Inch,
        Zero::Surface,
    );
    check(&depths, Some(50.0), [10.0, 0.0, 0.0], [0.0, 24.6, 0.0]);
    // Nobody knows the level: the height is not known, the rest is.
    let tank = FrameInUse::new(&hanging, None).to_tank([Some(10.0), Some(5.0), Some(30.0)], NONE);
    assert_eq!(tank, [Some(10.0), None, Some(30.0)]);
}

#[test]
fn a_unit_in_the_file_goes_before_the_frames() {
    let rod = frame([0.0; 3], [Right, Up, Back], LengthUnit::Inch, Zero::Bottom);
    let units = [Some(LengthUnit::Millimetre), None, Some(LengthUnit::Centimetre)];
    let tank = FrameInUse::new(&rod, None).to_tank([Some(300.0), Some(10.0), Some(25.0)], units);
    assert_eq!(tank, [Some(30.0), Some(25.4), Some(25.0)]);
}

#[test]
fn a_part_of_the_coordinates_gives_a_part_of_the_place() {
    let rod = frame([0.0; 3], [Back, Right, Up], LengthUnit::Centimetre, Zero::Bottom);
    let in_use = FrameInUse::new(&rod, None);
    assert_eq!(
        in_use.to_tank([Some(10.0), None, Some(20.0)], NONE),
        [None, Some(20.0), Some(10.0)]
    );
    assert_eq!(in_use.to_tank([None; 3], NONE), [None; 3]);
    assert_eq!(
        in_use.to_tank([Some(f64::NAN), Some(f64::INFINITY), Some(1.0)], NONE),
        [None, Some(1.0), None]
    );
}

#[test]
fn an_axis_given_twice_leaves_one_unknown() {
    let rod = frame([0.0; 3], [Right, Right, Up], LengthUnit::Centimetre, Zero::Bottom);
    let tank = FrameInUse::new(&rod, None).to_tank([Some(1.0), Some(2.0), Some(3.0)], NONE);
    assert_eq!(tank, [Some(2.0), Some(3.0), None]);
}

fn any_frame() -> impl Strategy<Value = Frame> {
    let orders = [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]];
    let units = [
        LengthUnit::Millimetre,
        LengthUnit::Centimetre,
        LengthUnit::Metre,
        LengthUnit::Inch,
    ];
    let number = -300.0..300.0;
    (
        (number.clone(), number.clone(), number),
        prop::sample::select(orders.to_vec()),
        (any::<bool>(), any::<bool>(), any::<bool>()),
        prop::sample::select(units.to_vec()),
        any::<bool>(),
    )
        .prop_map(|((a, b, c), order, (right, up, back), unit, surface)| {
            let pick = |way: bool, one, other| if way { one } else { other };
            let three = [
                pick(right, Right, Left),
                pick(up, Up, Down),
                pick(back, Back, Front),
            ];
            let zero = if surface { Zero::Surface } else { Zero::Bottom };
            frame([a, b, c], order.map(|place: usize| three[place]), unit, zero)
        })
}

proptest! {
    #[test]
    fn there_and_back_again(frame in any_frame(), xyz in prop::array::uniform3(-500.0..500.0)) {
        let in_use = FrameInUse::new(&frame, Some(50.0));
        let back = in_use.to_xyz(in_use.to_tank(xyz.map(Some), NONE));
        for (back, number) in back.into_iter().zip(xyz) {
            // Metres put a hundred times the rounding of a centimetre on the way.
            prop_assert!((back.unwrap() - number).abs() < 1e-9);
        }
    }

    #[test]
    fn distances_stay_what_they_are(
        frame in any_frame(),
        one in prop::array::uniform3(-500.0..500.0),
        other in prop::array::uniform3(-500.0..500.0),
    ) {
        let in_use = FrameInUse::new(&frame, Some(50.0));
        let place = |xyz: [f64; 3]| Position::from(in_use.to_tank(xyz.map(Some), NONE).map(Option::unwrap));
        let noted = Position::from(one).distance_cm(Position::from(other)) * frame.unit.cm();
        let tank = place(one).distance_cm(place(other));
        prop_assert!((noted - tank).abs() < 1e-9 * noted.max(1.0));
    }
}
