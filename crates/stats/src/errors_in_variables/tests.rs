//! Published fits, and what must hold for any pairs.

use super::*;
use proptest::prelude::*;

fn near(value: f64, expected: f64, relative: f64) {
    assert!(
        (value - expected).abs() <= relative * expected.abs(),
        "{value:e} is not {expected:e}"
    );
}

fn table(text: &str) -> Vec<Vec<f64>> {
    (text.lines().skip(1))
        .map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect())
        .collect()
}

fn pearson() -> Vec<Pair> {
    (table(include_str!("../../../../tests/data/eiv_pearson_york.csv")).iter())
        .map(|row| Pair {
            x: row[0],
            y: row[1],
            u_x: row[2].sqrt().recip(),
            u_y: row[3].sqrt().recip(),
            correlation: 0.0,
        })
        .collect()
}

/// Pearson's points of 1901 with York's weights: York et al. 2004; the digits as several public programs print them.
#[test]
fn pearsons_points_with_yorks_weights() {
    let fitted = fit(&pearson(), Form::Line).unwrap();
    near(fitted.curve.b, -0.480_533_407, 1e-9);
    near(fitted.curve.a, 5.479_910_224, 1e-9);
    near(fitted.chi2 / fitted.dof as f64, 1.483_294_149, 1e-9);
    // The standard errors of York et al. 2004, adjusted points; four other kinds differ from the second digit on.
    near(fitted.covariance[0][0].sqrt(), 0.294_970_735, 1e-8);
    near(fitted.covariance[1][1].sqrt(), 0.057_985_009_0, 1e-8);
    assert_eq!(fitted.dof, 8);
    near(fitted.aicc().unwrap(), fitted.chi2 + 4.0 + 12.0 / 7.0, 1e-12);
}

/// Arsenate in river water by two methods: B. D. Ripley, M. Thompson, *Analyst* 112 (1987) 377–383.
#[test]
fn arsenate_pairs() {
    let rows = table(include_str!(
        "../../../../tests/data/eiv_ripley_thompson_1987_arsenate.csv"
    ));
    let pairs: Vec<Pair> = (rows.iter())
        .map(|row| Pair {
            x: row[0],
            y: row[2],
            u_x: row[1],
            u_y: row[3],
            correlation: 0.0,
        })
        .collect();
    let fitted = fit(&pairs, Form::Line).unwrap();
    near(fitted.curve.a, 0.106_448, 1e-5);
    near(fitted.curve.b, 0.973, 5e-4);
    // The paper prints 1.27, which is χ²/n although its text divides by n − 2.
    near(fitted.chi2 / pairs.len() as f64, 1.27, 4e-3);
    // Weighted regression of either on the other, errors in one only: 0.005 and 0.890.
    let exact: Vec<Pair> = pairs.iter().map(|pair| Pair { u_x: 0.0, ..*pair }).collect();
    let fitted = fit(&exact, Form::Line).unwrap();
    assert!((fitted.curve.a - 0.005).abs() < 6e-4, "{:?}", fitted.curve);
    assert!((fitted.curve.b - 0.890).abs() < 6e-4);
}

/// JCGM 100:2008 (GUM), annex H.3: a thermometer's corrections, their line, its covariance and a prediction.
#[test]
fn thermometer_of_the_gum() {
    let rows = table(include_str!("../../../../tests/data/gum_h3_thermometer.csv"));
    let pairs: Vec<Pair> = (rows.iter())
        .map(|row| Pair {
            x: row[0] - 20.0,
            y: row[1],
            u_x: 0.0,
            u_y: 1.0,
            correlation: 0.0,
        })
        .collect();
    let fitted = fit(&pairs, Form::Line).unwrap();
    let scale = (fitted.chi2 / fitted.dof as f64).sqrt();
    near(fitted.chi2, 0.000_110_096_583_109, 1e-10);
    near(fitted.curve.a, -0.171_203_790, 1e-8);
    near(fitted.curve.b, 0.002_182_697_74, 1e-8);
    near(scale * fitted.covariance[0][0].sqrt(), 0.002_877_598, 1e-6);
    near(scale * fitted.covariance[1][1].sqrt(), 0.000_667_938_77, 1e-6);
    let r = fitted.covariance[0][1] / (fitted.covariance[0][0] * fitted.covariance[1][1]).sqrt();
    assert!((r + 0.930).abs() < 5e-4);
    assert!((fitted.curve.at(10.0) + 0.1494).abs() < 5e-5);
    assert!((scale * fitted.u_at(10.0) - 0.0041).abs() < 5e-5);
}

/// NIST's reference data set Norris, certified.
#[test]
fn norris_to_the_digits() {
    let rows = table(include_str!("../../../../tests/data/nist_norris.csv"));
    let pairs: Vec<Pair> = (rows.iter())
        .map(|row| Pair {
            x: row[1],
            y: row[0],
            u_x: 0.0,
            u_y: 1.0,
            correlation: 0.0,
        })
        .collect();
    let fitted = fit(&pairs, Form::Line).unwrap();
    near(fitted.curve.a, -0.262_323_073_774_029, 1e-11);
    near(fitted.curve.b, 1.002_116_818_020_45, 1e-14);
    let scale = (fitted.chi2 / fitted.dof as f64).sqrt();
    near(scale, 0.884_796_396_144_373, 1e-12);
    near(
        scale * fitted.covariance[0][0].sqrt(),
        0.232_818_234_301_152,
        1e-11,
    );
    near(
        scale * fitted.covariance[1][1].sqrt(),
        0.429_796_848_199_937e-3,
        1e-11,
    );
}

fn bent() -> Vec<Pair> {
    (0..30)
        .map(|i| {
            let x = 20.0 + 25.0 * f64::from(i);
            let wobble = [0.3, -0.5, 0.1, 0.4, -0.3][i as usize % 5];
            Pair {
                x,
                y: 5.0 + 0.9 * x + 0.4 * (x - 310.0).max(0.0) + wobble,
                u_x: 0.3 + 0.001 * x,
                u_y: 0.5,
                correlation: 0.2,
            }
        })
        .collect()
}

#[test]
fn a_bend_is_found_with_its_place() {
    let fitted = fit(&bent(), Form::Hinge).unwrap();
    assert!((fitted.curve.knot - 310.0).abs() < 3.0 * fitted.covariance[3][3].sqrt());
    assert!(fitted.covariance[3][3].sqrt() < 5.0);
    assert!((fitted.curve.b - 0.9).abs() < 0.01 && (fitted.curve.c - 0.4).abs() < 0.01);
    assert_eq!(fitted.coefficients().len(), 3);
    // Nothing near it is better.
    let chi2 = |curve: &Curve| -> f64 { bent().iter().map(|pair| nearest(curve, pair).squared).sum() };
    for place in 0..4 {
        for step in [-1e-3, 1e-3] {
            let mut numbers = fitted.curve.numbers();
            numbers[place] += step * fitted.covariance[place][place].sqrt();
            assert!(chi2(&Curve::from_numbers(numbers)) >= fitted.chi2 * (1.0 - 1e-12));
        }
    }
}

#[test]
fn shadows_do_not_move_a_robust_fit() {
    let mut pairs = bent();
    let clean = fit(&pairs, Form::Hinge).unwrap();
    for place in [4, 13, 22] {
        pairs[place].x *= 0.5;
    }
    let robust = fit_robust(&pairs, Form::Hinge, None).unwrap();
    for x in [50.0, 200.0, 500.0, 700.0] {
        assert!(
            (robust.curve.at(x) - clean.curve.at(x)).abs() < 2.0 * clean.u_at(x).max(0.3),
            "{x}"
        );
    }
}

#[test]
fn what_can_not_be_fitted_is_said() {
    let pair = Pair {
        x: 100.0,
        y: 90.0,
        u_x: 2.0,
        u_y: 2.0,
        correlation: 0.0,
    };
    assert_eq!(fit(&[], Form::Gain), Err(FitError::TooFew));
    assert_eq!(fit(&[pair], Form::Line), Err(FitError::TooFew));
    assert_eq!(fit(&[pair; 5], Form::Line), Err(FitError::Undetermined));
    assert_eq!(fit(&[pair; 9], Form::Hinge), Err(FitError::Undetermined));
    let zero = Pair { x: 0.0, ..pair };
    assert!(fit(&[zero; 5], Form::Offset).is_ok());
    let none = Pair {
        u_x: 0.0,
        u_y: 0.0,
        ..pair
    };
    assert_eq!(fit(&[none; 5], Form::Gain), Err(FitError::NotUsable));
    let nan = Pair { x: f64::NAN, ..pair };
    assert_eq!(fit(&[nan; 5], Form::Gain), Err(FitError::NotUsable));
}

fn pairs() -> impl Strategy<Value = Vec<Pair>> {
    let pair = (
        0.0..1000.0_f64,
        0.0..1000.0_f64,
        0.0..50.0_f64,
        0.01..50.0_f64,
        -0.9..0.9_f64,
    );
    proptest::collection::vec(pair, 0..25).prop_map(|pairs| {
        (pairs.into_iter())
            .map(|(x, y, u_x, u_y, correlation)| Pair {
                x,
                y,
                u_x,
                u_y,
                correlation,
            })
            .collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn whatever_the_pairs_nothing_is_not_a_number(pairs in pairs()) {
        for form in Form::ALL {
            for fitted in [fit(&pairs, form), fit_robust(&pairs, form, None)].into_iter().flatten() {
                prop_assert!(fitted.coefficients().iter().all(|number| number.is_finite()));
                prop_assert!(fitted.covariance.iter().flatten().all(|number| number.is_finite()));
                prop_assert!(fitted.u_at(300.0).is_finite() && fitted.chi2.is_finite());
            }
        }
    }

    /// Exchanging the variables gives the same line (York et al. 2004: the fit is symmetric).
    #[test]
    fn either_variable_may_come_first(slope in 0.5..2.0_f64, wobble in proptest::collection::vec(-1.0..1.0_f64, 12)) {
        let pairs: Vec<Pair> = wobble.iter().enumerate().map(|(i, wobble)| {
            let x = 30.0 * (i + 1) as f64;
            Pair { x, y: 4.0 + slope * x + wobble, u_x: 0.7, u_y: 1.0, correlation: 0.3 }
        }).collect();
        let turned: Vec<Pair> = pairs.iter().map(|p| Pair { x: p.y, y: p.x, u_x: p.u_y, u_y: p.u_x, ..*p }).collect();
        let (one, other) = (fit(&pairs, Form::Line).unwrap(), fit(&turned, Form::Line).unwrap());
        prop_assert!((one.curve.b * other.curve.b - 1.0).abs() < 1e-9);
        prop_assert!((one.chi2 - other.chi2).abs() < 1e-9 * (1.0 + one.chi2));
    }
}
