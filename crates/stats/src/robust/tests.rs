//! Robust estimates against published examples and other programs.

use super::*;
use proptest::prelude::*;

fn column(text: &str) -> Vec<f64> {
    text.lines()
        .filter_map(|line| line.split(',').next_back()?.trim().parse().ok())
        .collect()
}

#[test]
fn nist_certified_means_and_deviations() {
    // NIST Statistical Reference Datasets, univariate: certified mean and standard deviation.
    let cases = [
        (
            include_str!("../../../../tests/data/nist_lew.csv"),
            -177.435,
            277.332_168_044_316,
        ),
        (
            include_str!("../../../../tests/data/nist_mavro.csv"),
            2.001_856_000_000_00,
            0.000_429_123_454_003_053,
        ),
        (
            include_str!("../../../../tests/data/nist_michelson.csv"),
            299.852_400_000_000,
            0.079_010_547_819_051_8,
        ),
    ];
    for (text, mean, sd) in cases {
        let (found_mean, found_sd) = mean_and_sd(&column(text)).unwrap();
        assert!((found_mean / mean - 1.0).abs() < 1e-14, "{found_mean}");
        assert!((found_sd / sd - 1.0).abs() < 1e-11, "{found_sd}");
    }
    // NumAcc4: 10000000.2, then 10000000.1 and 10000000.3 in turn; a one-pass formula gives a deviation of 0.
    let hard: Vec<f64> = (0..1001)
        .map(|n| 10_000_000.0 + [0.2, 0.1, 0.3][if n == 0 { 0 } else { 1 + (n + 1) % 2 }])
        .collect();
    let (mean, sd) = mean_and_sd(&hard).unwrap();
    assert!(
        (mean - 10_000_000.2).abs() < 1e-8 && (sd - 0.1).abs() < 1e-8,
        "{mean} {sd}"
    );
}

#[test]
fn modified_z_flags_the_two_of_iglewicz_and_hoaglin() {
    // Iglewicz & Hoaglin 1993: |M| as printed; the rule |M| > 3.5 flags the last two.
    let values = column(include_str!("../../../../tests/data/iglewicz_hoaglin_1993.csv"));
    let printed = [
        1.57383, 0.6745, 0.22483, 0.22483, 0.6745, 1.57383, 0.6745, 0.6745, 25.85583, 26.3055,
    ];
    let z = modified_z(&values, 0.0).unwrap();
    assert_eq!(values.len(), printed.len());
    for (found, printed) in z.iter().zip(printed) {
        assert!((found.abs() - printed).abs() < 6e-6, "{found} {printed}");
    }
    assert_eq!(z.iter().filter(|z| z.abs() > MODIFIED_Z_LIMIT).count(), 2);
}

#[test]
fn huber_locations_are_those_of_another_program() {
    // statsmodels 0.15.0 (numpy 2.4.6): robust.norms.estimate_location with HuberT(1.345), the scale
    // robust.scale.mad, started at the median, maxiter 1000, tol 1e-15.
    let cases = [
        (
            column(include_str!("../../../../tests/data/iglewicz_hoaglin_1993.csv")),
            0.222_390_332_775_840_8,
            2.45,
        ),
        (
            column(include_str!("../../../../tests/data/nist_michelson.csv")),
            0.066_717_099_832_733_55,
            299.851_545_556_327_84,
        ),
        (
            vec![199.0, 201.0, 200.0, 198.5, 120.0, 202.0],
            1.853_252_773_132_002_5,
            199.601_475_004_027_5,
        ),
    ];
    for (values, scale, location) in cases {
        let middle = median(&values).unwrap();
        let found_scale = median_absolute_deviation(&values, middle).unwrap() * MAD_TO_SD;
        assert!((found_scale / scale - 1.0).abs() < 1e-12, "{found_scale}");
        let found = huber_location(&values, found_scale, HUBER_K).unwrap();
        assert!((found / location - 1.0).abs() < 1e-13, "{found} {location}");
    }
}

#[test]
fn quantiles_are_those_of_another_program() {
    // numpy 2.4.6, numpy.quantile with its default method, which is definition 7 of Hyndman & Fan 1996.
    let values = column(include_str!("../../../../tests/data/nist_michelson.csv"));
    for (p, expected) in [
        (0.05, 299.739),
        (0.25, 299.807_5),
        (0.5, 299.85),
        (0.99, 300.000_7),
    ] {
        let found = quantile(&values, p).unwrap();
        assert!((found - expected).abs() < 1e-9, "{p}: {found}");
    }
    assert_eq!(quantile(&[3.0, 1.0, 2.0], 0.0), Some(1.0));
    assert_eq!(quantile(&[3.0, 1.0, 2.0], 1.0), Some(3.0));
    for nothing in [
        quantile(&[], 0.5),
        quantile(&[1.0], 1.5),
        quantile(&[1.0], f64::NAN),
    ] {
        assert_eq!(nothing, None);
    }
}

#[test]
fn nothing_and_nonsense_give_nothing() {
    assert_eq!(median(&[]), None);
    assert_eq!(median(&[1.0, f64::NAN]), None);
    assert_eq!(mean_and_sd(&[f64::INFINITY]), None);
    assert_eq!(mean_and_sd(&[4.0]), Some((4.0, 0.0)));
    for (scale, k) in [
        (0.0, HUBER_K),
        (f64::NAN, HUBER_K),
        (1.0, f64::NAN),
        (1.0, -1.0),
        (-1.0, -1.0),
    ] {
        assert_eq!(huber_location(&[1.0, 2.0, 9.0], scale, k), Some(2.0));
    }
    assert_eq!(huber_location(&[f64::MAX, -f64::MAX], 1.0, HUBER_K), Some(0.0));
    assert_eq!(
        modified_z(&[2.0, 2.0, 5.0], 0.0),
        Some(vec![0.0, 0.0, f64::INFINITY])
    );
}

proptest! {
    #[test]
    fn the_median_splits_in_halves(values in prop::collection::vec(-1e6_f64..1e6, 1..80)) {
        let middle = median(&values).unwrap();
        let below = values.iter().filter(|v| **v < middle).count();
        let above = values.iter().filter(|v| **v > middle).count();
        prop_assert!(below * 2 <= values.len() && above * 2 <= values.len());
    }

    #[test]
    fn one_wild_value_moves_huber_by_no_more_than_its_bound(
        values in prop::collection::vec(99.0_f64..101.0, 5..40), wild in -1e9_f64..1e9,
    ) {
        // As long as the others stay within reach, each of them holds against the pull of the one, which is
        // never more than k · scale.
        let scale = 2.0;
        let before = huber_location(&values, scale, HUBER_K).unwrap();
        let mut with = values.clone();
        with.push(wild);
        let after = huber_location(&with, scale, HUBER_K).unwrap();
        prop_assert!((after - before).abs() <= HUBER_K * scale / values.len() as f64 * (1.0 + 1e-9));
    }

    #[test]
    fn huber_solves_its_own_equation(
        values in prop::collection::vec(-1e3_f64..1e3, 1..60), scale in 1e-3_f64..1e3,
    ) {
        let location = huber_location(&values, scale, HUBER_K).unwrap();
        let pull = |at: f64| values.iter().map(|v| (v - at).clamp(-HUBER_K * scale, HUBER_K * scale)).sum::<f64>();
        let slack = 1e-9;
        prop_assert!(pull(location - slack) >= -1e-9 && pull(location + slack) <= 1e-9, "{location}");
    }

    #[test]
    fn location_moves_and_grows_with_its_values(
        values in prop::collection::vec(-1e3_f64..1e3, 1..60), shift in -1e3_f64..1e3, factor in 0.1_f64..10.0,
    ) {
        let plain = huber_location(&values, 20.0, HUBER_K).unwrap();
        let other: Vec<f64> = values.iter().map(|v| v * factor + shift).collect();
        let found = huber_location(&other, 20.0 * factor, HUBER_K).unwrap();
        // Where Σ ψ is 0 over a stretch, every value of it solves the equation.
        let pull = |at: f64| other.iter().map(|v| ((v - at) / factor).clamp(-26.9, 26.9)).sum::<f64>();
        prop_assert!(
            (found - (plain * factor + shift)).abs() < 1e-7 || pull(plain * factor + shift).abs() < 1e-6,
            "{found}"
        );
    }
}
