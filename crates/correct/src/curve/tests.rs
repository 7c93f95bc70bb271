//! The curve against hand-worked cases, against GUM H.3, and against finite differences.

use super::*;
use proptest::prelude::*;

fn fit(model: FitModel, coefficients: &[f64], covariance: &[&[f64]], over: Option<[f64; 2]>) -> Fit {
    Fit {
        model,
        coefficients: coefficients.to_vec(),
        covariance: covariance.iter().map(|row| row.to_vec()).collect(),
        over,
        pairs: None,
        reference: None,
    }
}

fn point(fit: &Fit, v: f64) -> Point {
    Curve::new(fit, true).unwrap().at(v)
}

#[track_caller]
fn near(found: f64, expected: f64, within: f64) {
    assert!(
        (found - expected).abs() <= within,
        "{found} is not {expected} within {within}"
    );
}

const HINGE: FitModel = FitModel::Hinge { knot: 300.0 };

#[test]
fn offset_by_hand() {
    // Common practice, no source: a bagged phone reads about 10 µmol m⁻² s⁻¹ low below 300.
    let bag = fit(FitModel::Offset, &[10.0], &[&[4.0]], Some([20.0, 300.0]));
    assert_eq!(
        point(&bag, 85.0),
        Point {
            value: 95.0,
            slope: 1.0,
            u: 2.0,
            beyond: false
        }
    );
    assert_eq!(
        point(&bag, 300.0),
        Point {
            value: 310.0,
            slope: 1.0,
            u: 2.0,
            beyond: false
        }
    );
    // 50 past the end: 2 + 0.1 · 50.
    assert_eq!(
        point(&bag, 350.0),
        Point {
            value: 360.0,
            slope: 1.0,
            u: 7.0,
            beyond: true
        }
    );
    assert_eq!(
        point(&bag, 10.0),
        Point {
            value: 20.0,
            slope: 1.0,
            u: 3.0,
            beyond: true
        }
    );
}

#[test]
fn gain_by_hand() {
    let gain = fit(FitModel::Gain, &[1.25], &[&[0.0001]], Some([0.0, 400.0]));
    assert_eq!(
        point(&gain, 200.0),
        Point {
            value: 250.0,
            slope: 1.25,
            u: 2.0,
            beyond: false
        }
    );
    // The distance counts in v, not on the reference's scale: 0.01 · 500 + 0.1 · 100.
    assert_eq!(
        point(&gain, 500.0),
        Point {
            value: 625.0,
            slope: 1.25,
            u: 15.0,
            beyond: true
        }
    );
}

#[test]
fn line_by_hand_and_the_sign_of_its_covariance() {
    // JCGM 100:2008, 5.2.2, equation 13: 1 + 100²·0.0004 + 2·100·cov.
    let line = |cov: f64| fit(FitModel::Line, &[10.0, 1.0], &[&[1.0, cov], &[cov, 0.0004]], None);
    near(point(&line(0.0), 100.0).u, 5.0_f64.sqrt(), 1e-12);
    near(point(&line(-0.01), 100.0).u, 3.0_f64.sqrt(), 1e-12);
    near(point(&line(0.01), 100.0).u, 7.0_f64.sqrt(), 1e-12);
    // On the other side of zero the sign turns round.
    near(point(&line(-0.01), -100.0).u, 7.0_f64.sqrt(), 1e-12);
    // Fully correlated: 1 + 1 − 2·50·0.02 leaves nothing. More than that can't be, and is taken as nothing.
    near(point(&line(-0.02), 50.0).u, 0.0, 1e-7);
    assert_eq!(point(&line(-0.03), 50.0).u, 0.0);
}

#[test]
fn hinge_by_hand_with_its_knot_uncertain_and_exact() {
    let coefficients = [10.0, 1.0, -0.1];
    let rows: [&[f64]; 4] = [
        &[1.0, 0.0, 0.0, 0.0],
        &[0.0, 1e-4, 0.0, 0.0],
        &[0.0, 0.0, 4e-4, 0.0],
        &[0.0, 0.0, 0.0, 25.0],
    ];
    let uncertain = fit(HINGE, &coefficients, &rows, None);
    let exact = fit(
        HINGE,
        &coefficients,
        &[&rows[0][..3], &rows[1][..3], &rows[2][..3]],
        None,
    );

    // 10 + 500 − 0.1 · 200; u² = 1 + 500²·1e-4 + 200²·4e-4 (+ 0.1²·25 for the knot).
    let above = point(&uncertain, 500.0);
    near(above.value, 490.0, 1e-12);
    near(above.slope, 0.9, 1e-12);
    near(above.u, 42.25_f64.sqrt(), 1e-12);
    near(point(&exact, 500.0).u, 42.0_f64.sqrt(), 1e-12);

    // Up to the knot, itself included, neither c nor the knot has a part: 1 + 200²·1e-4, 1 + 300²·1e-4.
    for hinge in [&uncertain, &exact] {
        near(point(hinge, 200.0).u, 5.0_f64.sqrt(), 1e-12);
        near(point(hinge, 300.0).u, 10.0_f64.sqrt(), 1e-12);
        assert_eq!(point(hinge, 300.0).value, 310.0);
        assert_eq!(point(hinge, 300.0).slope, 1.0);
    }
}

#[test]
fn a_knot_that_moves_with_the_upper_slope_counts_by_its_sign() {
    // g = (1, v, v − knot, −c) = (1, 400, 100, 0.1); cov(c, knot) = 0.5: 2·100·0.1·0.5 = 10 more than 16 + 100·…
    let with = |cov: f64| {
        let rows: [&[f64]; 4] = [
            &[0.0; 4],
            &[0.0; 4],
            &[0.0, 0.0, 0.01, cov],
            &[0.0, 0.0, cov, 100.0],
        ];
        point(&fit(HINGE, &[0.0, 1.0, -0.1], &rows, None), 400.0).u
    };
    near(with(0.0), 101.0_f64.sqrt(), 1e-12);
    near(with(0.5), 111.0_f64.sqrt(), 1e-12);
    near(with(-0.5), 91.0_f64.sqrt(), 1e-12);
}

#[test]
fn beyond_over_the_nearest_ends_branch_is_drawn_on() {
    let rows: [&[f64]; 4] = [
        &[1.0, 0.0, 0.0, 0.0],
        &[0.0, 1e-4, 0.0, 0.0],
        &[0.0, 0.0, 4e-4, 0.0],
        &[0.0, 0.0, 0.0, 25.0],
    ];
    let hinge = |over| fit(HINGE, &[10.0, 1.0, -0.1], &rows, Some(over));

    // Over both branches: above it the upper one goes on; g = (1, 700, 400, 0.1).
    let above = point(&hinge([20.0, 600.0]), 700.0);
    near(above.value, 10.0 + 700.0 - 40.0, 1e-9);
    near(above.u, (1.0 + 49.0 + 64.0 + 0.25_f64).sqrt() + 10.0, 1e-12);
    assert!(above.beyond);

    // Fitted below the knot alone: the lower branch goes on, past the knot.
    let lower = point(&hinge([20.0, 250.0]), 400.0);
    assert_eq!((lower.value, lower.slope), (410.0, 1.0));
    near(lower.u, (1.0 + 16.0_f64).sqrt() + 15.0, 1e-12);

    // Fitted above it alone: the upper branch goes on below it; 10 + 200 − 0.1 · (200 − 300).
    let upper = point(&hinge([350.0, 900.0]), 200.0);
    near(upper.value, 220.0, 1e-12);
    near(upper.slope, 0.9, 1e-12);
    near(upper.u, (1.0 + 4.0 + 4.0 + 0.25_f64).sqrt() + 15.0, 1e-12);
}

#[test]
fn at_a_knot_on_an_end_the_slope_is_the_one_inside() {
    let hinge = |over| fit(HINGE, &[10.0, 1.0, -0.1], &[], Some(over));
    // `over` ends at the knot: the lower slope goes on above it.
    assert_eq!(point(&hinge([20.0, 300.0]), 300.0).slope, 1.0);
    assert_eq!(point(&hinge([20.0, 300.0]), 400.0).value, 410.0);
    // `over` begins at the knot: the upper slope goes on below it.
    near(point(&hinge([300.0, 900.0]), 300.0).slope, 0.9, 1e-12);
    near(point(&hinge([300.0, 900.0]), 200.0).value, 220.0, 1e-12);
}

#[test]
fn where_v_is_in_another_unit_the_distance_is_scaled_by_the_slope() {
    // A lux meter fitted straight to µmol m⁻² s⁻¹: 1000 lx past the end are 20 µmol, a tenth of it 2.
    let gain = fit(FitModel::Gain, &[0.02], &[&[0.0]], Some([0.0, 10_000.0]));
    near(Curve::new(&gain, false).unwrap().at(11_000.0).u, 2.0, 1e-12);
}

#[test]
fn the_wrong_number_of_coefficients_is_no_curve() {
    for (model, coefficients) in [
        (FitModel::Offset, 2),
        (FitModel::Gain, 0),
        (FitModel::Line, 1),
        (HINGE, 2),
        (HINGE, 4),
    ] {
        assert_eq!(
            Curve::new(&fit(model, &vec![1.0; coefficients], &[], None), true),
            None
        );
    }
}

/// Ordinary least squares of b on t − t0, as JCGM 100:2008, H.3.2, equations H.13a to H.13f.
fn thermometer(t0: f64) -> Fit {
    let pairs: Vec<(f64, f64)> = include_str!("../../../../tests/data/gum_h3_thermometer.csv")
        .lines()
        .skip(1)
        .map(|line| {
            let (t, b) = line.split_once(',').unwrap();
            (t.parse::<f64>().unwrap() - t0, b.parse().unwrap())
        })
        .collect();
    let n = pairs.len() as f64;
    let sum = |of: &dyn Fn(f64, f64) -> f64| pairs.iter().map(|&(t, b)| of(t, b)).sum::<f64>();
    let (st, sb) = (sum(&|t, _| t), sum(&|_, b| b));
    let (stt, stb) = (sum(&|t, _| t * t), sum(&|t, b| t * b));
    let d = n * stt - st * st;
    let (y1, y2) = ((sb * stt - stb * st) / d, (n * stb - sb * st) / d);
    let s2 = sum(&|t, b| (b - y1 - y2 * t).powi(2)) / (n - 2.0);
    let (v1, v2, v12) = (s2 * stt / d, n * s2 / d, -s2 * st / d);
    fit(FitModel::Line, &[y1, y2], &[&[v1, v12], &[v12, v2]], None)
}

#[test]
fn gum_h3_thermometer_calibration() {
    // JCGM 100:2008, Annex H.3, Table H.6 and H.3.4: y1 −0.1712, u 0.0029; y2 0.00218, u 0.00067;
    // the correction at 30 °C −0.1494 with u 0.0041.
    let line = thermometer(20.0);
    near(line.coefficients[0], -0.1712, 5e-5);
    near(line.covariance[0][0].sqrt(), 0.0029, 5e-5);
    near(line.coefficients[1], 0.00218, 5e-6);
    near(line.covariance[1][1].sqrt(), 0.00067, 5e-6);
    let at_30 = point(&line, 10.0);
    near(at_30.value, -0.1494, 5e-5);
    near(at_30.u, 0.0041, 5e-5);
    // Table H.6, predicted corrections of rows 1 and 11.
    near(point(&line, 1.521).value, -0.1679, 5e-5);
    near(point(&line, 6.511).value, -0.1570, 5e-5);
    // H.3.4: without the covariance the uncertainty at 30 °C would be far too large.
    let (u1, u2) = (line.covariance[0][0].sqrt(), line.covariance[1][1].sqrt());
    assert!(u1.hypot(10.0 * u2) > 0.0070);
}

#[test]
fn gum_h3_does_not_depend_on_where_zero_lies() {
    // JCGM 100:2008, H.3.5: with t0 at the mean, 24.0085 °C, the covariance vanishes and the result stays.
    let shifted = thermometer(24.0085);
    near(shifted.coefficients[0], -0.1625, 5e-5);
    near(shifted.covariance[0][0].sqrt(), 0.0011, 5e-5);
    near(shifted.covariance[0][1], 0.0, 1e-9);
    let (here, there) = (point(&thermometer(20.0), 10.0), point(&shifted, 30.0 - 24.0085));
    near(here.value, there.value, 1e-12);
    near(here.u, there.u, 1e-12);
}

/// A covariance that can be one: L·Lᵀ.
fn covariance(size: usize) -> impl Strategy<Value = Vec<Vec<f64>>> {
    prop::collection::vec(prop::collection::vec(-1.0..1.0, size), size).prop_map(move |l| {
        let entry = |i: usize, j: usize| (0..size).map(|k| l[i][k] * l[j][k]).sum();
        (0..size)
            .map(|i| (0..size).map(|j| entry(i, j)).collect())
            .collect()
    })
}

fn rising_hinge() -> impl Strategy<Value = Fit> {
    let numbers = (
        -50.0..50.0,
        0.1..3.0,
        0.0..3.0,
        50.0..800.0,
        0.0..400.0,
        1.0..900.0,
    );
    (numbers, covariance(4), any::<bool>()).prop_map(
        |((a, b, upper, knot, low, width), covariance, has_over)| Fit {
            model: FitModel::Hinge { knot },
            coefficients: vec![a, b, upper - b + 0.05],
            covariance,
            over: has_over.then_some([low, low + width]),
            pairs: None,
            reference: None,
        },
    )
}

proptest! {
    #[test]
    fn a_rising_fit_keeps_the_order_of_readings(fit in rising_hinge(), v in -200.0..2000.0, step in 0.001..500.0) {
        let curve = Curve::new(&fit, true).unwrap();
        prop_assert!(curve.at(v).value < curve.at(v + step).value);
    }

    #[test]
    fn u_is_finite_and_never_negative(fit in rising_hinge(), v in -1e6..1e6) {
        let u = Curve::new(&fit, true).unwrap().at(v).u;
        prop_assert!(u.is_finite() && u >= 0.0);
    }

    #[test]
    fn value_and_u_are_continuous_at_the_ends_of_over(fit in rising_hinge()) {
        let curve = Curve::new(&fit, true).unwrap();
        let knot = curve.knot.unwrap();
        for end in fit.over.into_iter().flatten().filter(|end| (end - knot).abs() > 1e-3) {
            for beside in [end - 1e-7, end + 1e-7] {
                prop_assert!((curve.at(end).value - curve.at(beside).value).abs() < 1e-5);
                prop_assert!((curve.at(end).u - curve.at(beside).u).abs() < 1e-2);
            }
        }
    }

    #[test]
    fn slope_and_gradient_are_those_of_finite_differences(fit in rising_hinge(), v in -200.0..2000.0) {
        let curve = Curve::new(&fit, true).unwrap();
        let knot = curve.knot.unwrap();
        let ends = fit.over.unwrap_or([v, v]);
        let step = 1e-3;
        // Away from the corners, where there is no one derivative.
        prop_assume!((v - knot).abs() > 2.0 * step && ends.iter().all(|end| (end - knot).abs() > 2.0 * step));
        let differs = |up: &Curve, down: &Curve, at: (f64, f64)| (up.at(at.0).value - down.at(at.1).value) / (2.0 * step);
        prop_assert!((differs(&curve, &curve, (v + step, v - step)) - curve.at(v).slope).abs() < 1e-6);

        let (anchor, _) = curve.nearest_in_span(v);
        let gradient = curve.gradient(v, curve.is_upper(anchor));
        let moved = |place: usize, by: f64| {
            let mut curve = curve.clone();
            match place {
                0 => curve.a += by,
                1 => curve.b += by,
                2 => curve.c += by,
                _ => curve.knot = curve.knot.map(|knot| knot + by),
            }
            curve
        };
        for (place, analytic) in gradient.into_iter().enumerate() {
            let numeric = differs(&moved(place, step), &moved(place, -step), (v, v));
            prop_assert!((numeric - analytic).abs() < 1e-6, "{place}: {numeric} {analytic}");
        }
    }
}
