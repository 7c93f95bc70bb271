//! Shares and gradients over small invented fixtures.

use super::*;
use proptest::prelude::*;
use undim_model::DateSpan;

const WATER_CM: f64 = 50.0;

fn fixture(id: &str, left: f64, size_cm: [f64; 2], lenses: &[[f64; 3]]) -> Fixture {
    Fixture {
        id: id.to_owned(),
        centre: Position::new(left, 75.0, 30.0),
        size_cm,
        installed: None,
        lenses: lenses.iter().copied().map(Position::from).collect(),
        span: DateSpan::ALWAYS,
    }
}

fn west_and_east() -> [Fixture; 2] {
    [
        fixture("west", 30.0, [20.0, 20.0], &[]),
        fixture("east", 90.0, [20.0, 20.0], &[]),
    ]
}

fn light(levels: &[f64]) -> Light {
    Light::new(&west_and_east(), levels, WATER_CM).unwrap()
}

#[track_caller]
fn near(found: f64, expected: f64, within: f64) {
    assert!(
        (found - expected).abs() <= within,
        "{found} is not {expected} within {within}"
    );
}

#[test]
fn a_place_under_a_fixture_has_most_of_its_light_from_it() {
    for (left, own) in [(30.0, 0), (90.0, 1)] {
        for height in [5.0, 20.0, 40.0] {
            let shares = light(&[]).shares(Position::new(left, height, 30.0));
            assert!(shares[own] > 0.5, "{left} {height}: {shares:?}");
        }
    }
    // The nearer the fixture, the more.
    let share = |height| light(&[]).shares(Position::new(30.0, height, 30.0))[0];
    assert!(share(40.0) > share(20.0) && share(20.0) > share(5.0));
}

#[test]
fn halfway_the_shares_are_those_of_the_levels() {
    let middle = Position::new(60.0, 20.0, 30.0);
    let shares = light(&[0.6, 0.2]).shares(middle);
    near(shares[0], 0.75, 1e-12);
    near(shares[1], 0.25, 1e-12);
    near(light(&[0.6]).shares(middle)[1], 1.0 / 1.6, 1e-12);
    assert_eq!(light(&[1.0, 0.0]).shares(middle), [1.0, 0.0]);
    assert_eq!(light(&[1.0, -0.5]).shares(middle), [1.0, 0.0]);
    assert_eq!(light(&[1.0, f64::NAN]).shares(middle), [1.0, 0.0]);
}

#[test]
fn where_no_light_arrives_there_are_no_shares_and_no_gradient() {
    let above = Position::new(60.0, 80.0, 30.0);
    assert_eq!(light(&[]).shares(above), [0.0, 0.0]);
    assert_eq!(light(&[]).gradient_per_cm(above), None);
    assert_eq!(
        light(&[0.0, 0.0]).gradient_per_cm(Position::new(60.0, 20.0, 30.0)),
        None
    );
    assert!(Light::new(&[], &[], WATER_CM).is_none());
}

#[test]
fn a_fixture_is_the_same_from_every_side() {
    let one = Light::new(&[fixture("west", 60.0, [20.0, 20.0], &[])], &[], WATER_CM).unwrap();
    let at = |across: f64, along: f64| one.relative(Position::new(60.0 + across, 20.0, 30.0 + along))[0];
    for (across, along) in [
        (-17.0, 5.0),
        (17.0, -5.0),
        (-17.0, -5.0),
        (5.0, 17.0),
        (-5.0, -17.0),
    ] {
        near(at(across, along) / at(17.0, 5.0), 1.0, 1e-9);
    }
}

#[test]
fn lenses_a_point_and_a_grid_give_the_same_from_afar() {
    let at = Position::new(60.0, 0.0, 30.0);
    let relative = |fixture: Fixture| Light::new(&[fixture], &[], 0.0).unwrap().relative(at)[0];
    let raised = |mut fixture: Fixture| {
        fixture.centre.from_bottom_cm = 1000.0;
        for lens in &mut fixture.lenses {
            lens.from_bottom_cm = 1000.0;
        }
        relative(fixture)
    };
    let point = raised(fixture("one", 60.0, [0.0, 0.0], &[]));
    near(raised(fixture("one", 60.0, [20.0, 20.0], &[])) / point, 1.0, 1e-3);
    near(
        raised(fixture(
            "one",
            60.0,
            [20.0, 20.0],
            &[[55.0, 75.0, 30.0], [65.0, 75.0, 30.0]],
        )) / point,
        1.0,
        1e-3,
    );
}

#[test]
fn lenses_count_where_they_sit() {
    let lenses = [[20.0, 75.0, 30.0]];
    let shifted = Light::new(&[fixture("west", 60.0, [80.0, 20.0], &lenses)], &[], WATER_CM).unwrap();
    let at = |left| shifted.relative(Position::new(left, 20.0, 30.0))[0];
    assert!(at(20.0) > at(30.0) && at(30.0) > at(60.0));
}

#[test]
fn straight_below_a_point_the_gradient_is_that_of_the_apparent_depth() {
    // E ∝ (air + depth / n)⁻², so ∂ ln E / ∂ up = 2 / (n·air + depth) = 2 / (1.34 · 25 + 30).
    let one = Light::new(&[fixture("one", 60.0, [0.0, 0.0], &[])], &[], WATER_CM).unwrap();
    let [left, up, back] = one.gradient_per_cm(Position::new(60.0, 20.0, 30.0)).unwrap();
    near(up, 2.0 / (1.34 * 25.0 + 30.0), 1e-6);
    near(left, 0.0, 1e-9);
    near(back, 0.0, 1e-9);
}

#[test]
fn at_the_surface_the_gradient_does_not_take_the_jump_for_a_slope() {
    let one = Light::new(&[fixture("one", 60.0, [0.0, 0.0], &[])], &[], WATER_CM).unwrap();
    let up = |height: f64| one.gradient_per_cm(Position::new(60.0, height, 30.0)).unwrap()[1];
    near(up(50.0), 2.0 / (1.34 * 25.0), 1e-3);
    near(up(49.95), 2.0 / (1.34 * 25.0), 1e-3);
    near(up(50.05), 2.0 / 24.95, 1e-3);
}

#[test]
fn a_wider_beam_reaches_further_to_the_side() {
    let narrow = |exponent| {
        let light = light(&[]).with_exponent(exponent);
        light.shares(Position::new(30.0, 10.0, 30.0))[0]
    };
    assert!(narrow(4.0) > narrow(2.0) && narrow(2.0) > narrow(1.0));
}

proptest! {
    #[test]
    fn shares_add_up_to_one(
        left in 0.0..120.0, height in 0.0..60.0, front in 0.0..60.0,
        levels in (0.01..1.0, 0.01..1.0),
    ) {
        let shares = light(&[levels.0, levels.1]).shares(Position::new(left, height, front));
        prop_assert!(shares.iter().all(|share| (0.0..=1.0).contains(share)));
        prop_assert!((shares.iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn under_water_the_light_grows_upwards_below_a_fixture(height in 0.0..49.0) {
        let gradient = light(&[]).gradient_per_cm(Position::new(30.0, height, 30.0));
        prop_assert!(gradient.is_some_and(|[_, up, _]| up > 0.0));
    }
}
