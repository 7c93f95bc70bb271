//! What people type, and what becomes of it.

use super::*;
use proptest::prelude::*;

fn tank() -> Inside {
    Inside {
        water_cm: Some(50.0),
        ..inside("120 x 60 x 55 cm").expect("a size")
    }
}

#[test]
fn sizes_however_they_are_typed() {
    for text in [
        "120 x 60 x 55 cm",
        "120x60x55",
        "120×60×55cm",
        "120 60 55",
        "120,60,55",
        "120, 60, 55",
        "1200 x 600 x 550 mm",
        "1.2 x 0.6 x 0.55 m",
        "1,2 x 0,6 x 0,55 m",
        "120 cm by 60 cm by 55 cm",
        "1.2m x 60cm x 550mm",
    ] {
        let size = inside(text).unwrap_or_else(|why| panic!("{text}: {why}"));
        assert_eq!(
            (size.length_cm, size.front_to_back_cm, size.height_cm),
            (120.0, 60.0, 55.0),
            "{text}"
        );
    }
    let inches = inside("48 x 24 x 21.5 in").expect("inches");
    // One international inch is 2.54 cm exactly (international yard and pound agreement, 1959).
    assert_eq!((inches.length_cm, inches.height_cm), (121.92, 54.61));
    for text in [
        "",
        "big",
        "120 x 60",
        "120 x 60 x 55 x 3",
        "0 x 60 x 55",
        "-1 x 2 x 3",
        "1e9 x 60 x 55",
        "120 x 60 x 55 furlongs",
        "NaN x 1 x 1",
    ] {
        assert!(inside(text).is_err(), "{text}");
    }
}

#[test]
fn water_above_the_glass_is_told_so() {
    assert_eq!(water("50 cm", Some(&tank())), Ok(50.0));
    assert_eq!(water("0,5 m", Some(&tank())), Ok(50.0));
    let why = water("60", Some(&tank())).expect_err("too high");
    assert!(why.contains("above the glass, which ends at 55 cm"), "{why}");
    assert!(water("50", None).expect_err("no size").contains("--size"));
    assert!(water("0", Some(&tank())).is_err());
}

#[test]
fn fixtures_by_count_name_or_place() {
    let ids = |text: &str| -> Vec<String> {
        fixtures(text, Some(&tank()))
            .unwrap_or_else(|why| panic!("{text}: {why}"))
            .into_iter()
            .map(|fixture| fixture.named.id)
            .collect()
    };
    assert_eq!(ids("2"), ["fixture-1", "fixture-2"]);
    assert_eq!(ids("West, East"), ["west", "east"]);
    assert_eq!(ids("left bar; right bar 2"), ["left-bar", "right-bar-2"]);
    let placed = fixtures("west 30 75 30; east 90,5 75 30", Some(&tank())).expect("places");
    assert_eq!(placed[1].centre_cm, Some([90.5, 75.0, 30.0]));
    assert_eq!(
        fixtures("west@30,75,30; east", Some(&tank())).expect("one place")[0].centre_cm,
        Some([30.0, 75.0, 30.0])
    );

    let told = |text: &str| fixtures(text, Some(&tank())).expect_err(text);
    assert!(told("west 130 75 30").contains("outside the tank: from left 130 cm"));
    assert!(told("west 30 40 30").contains("under the water"));
    assert!(told("a, A").contains("would both be called a"));
    assert!(told("99").contains("99 fixtures can't be"));
    assert!(
        fixtures("west", None)
            .expect_err("no size")
            .contains("give the tank's size too")
    );
    assert!(fixtures("west 30 75 30", None).is_ok());
}

#[test]
fn output_in_percent_or_as_a_fraction() {
    assert_eq!(output("60", 2), Ok(vec![0.6, 0.6]));
    assert_eq!(output("60 %", 1), Ok(vec![0.6]));
    assert_eq!(output("60, 80", 2), Ok(vec![0.6, 0.8]));
    assert_eq!(output("60,80", 2), Ok(vec![0.6, 0.8]));
    assert_eq!(output("0.35", 1), Ok(vec![0.35]));
    assert_eq!(output("1 %", 1), Ok(vec![0.01]));
    for (text, fixtures) in [
        ("60 80", 3),
        ("130", 1),
        ("-5", 1),
        ("full", 1),
        ("60", 0),
        ("", 1),
    ] {
        assert!(output(text, fixtures).is_err(), "{text}");
    }
}

#[test]
fn devices_with_a_unit_and_a_role() {
    let told = device("Phone in a bag, lx").expect("a device");
    assert_eq!(
        (told.named.id.as_str(), told.unit.as_deref(), told.is_reference),
        ("phone-in-a-bag", Some("lx"), false)
    );
    assert!(device("Hired sensor, reference").expect("one").is_reference);
    assert_eq!(device("Probe, mV").expect("one").unit.as_deref(), Some("mV"));
    assert!(
        device("Logger, candles")
            .expect_err("no unit")
            .contains("candles")
    );
    assert!(device(", lx").is_err());
}

#[test]
fn where_zero_is_and_where_the_axes_point() {
    let size = tank();
    let right = frame(Some("right bottom back"), None, Some(&size)).expect("a corner");
    assert_eq!(right.origin_cm, [120.0, 0.0, 60.0]);
    assert_eq!(
        right.axes,
        [Direction3::Left, Direction3::Up, Direction3::Front],
        "into the tank"
    );
    let deep = frame(Some("left surface front"), Some("right back down"), Some(&size)).expect("depths");
    assert_eq!((deep.zero, deep.origin_cm), (Zero::Surface, [0.0; 3]));
    let inches = frame(None, Some("right, up, back, in"), None).expect("inches");
    assert_eq!(inches.unit, LengthUnit::Inch);
    let middle = frame(Some("60, 0, 30"), None, Some(&size)).expect("numbers");
    assert_eq!(middle.origin_cm, [60.0, 0.0, 30.0]);
    assert_eq!(frame(Some("60,0,30"), None, Some(&size)), Ok(middle));

    let told = |zero, axes, inside: Option<&Inside>| frame(zero, axes, inside).expect_err("a contradiction");
    assert!(
        told(Some("left bottom front"), Some("left up back"), Some(&size))
            .contains("x would point out of the tank")
    );
    assert!(told(None, Some("right up down"), None).contains("same line"));
    assert!(told(None, Some("right up"), None).contains("2 of three"));
    assert!(told(Some("right bottom front"), None, None).contains("--size"));
    assert!(told(Some("left right front"), None, Some(&size)).contains("face each other"));
    assert!(told(Some("left front"), None, Some(&size)).contains("doesn't name one of"));
    assert!(told(Some("middle"), None, Some(&size)).contains("no side"));
}

proptest! {
    /// Whatever is typed, it is understood or told: nothing panics.
    #[test]
    fn anything_may_be_typed(text in "\\PC{0,40}") {
        let size = tank();
        let _ = inside(&text);
        let _ = water(&text, Some(&size));
        let _ = fixtures(&text, Some(&size));
        let _ = output(&text, 2);
        let _ = device(&text);
        let _ = frame(Some(&text), Some(&text), Some(&size));
        let _ = crate::new::tank(&text);
    }

    #[test]
    fn numbers_may_be_typed_in_any_way(text in "[0-9a-z ,.;x×%\"-]{0,30}") {
        let size = tank();
        let _ = inside(&text);
        let _ = fixtures(&text, Some(&size));
        let _ = output(&text, 3);
        let _ = frame(Some(&text), None, Some(&size));
    }
}
