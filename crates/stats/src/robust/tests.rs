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
fn huber_solves_its_own_equation() {
    let values = [199.0, 201.0, 200.0, 198.5, 120.0, 202.0];
    let location = huber_location(&values, 2.0, HUBER_K).unwrap();
    let psi: f64 = values
        .iter()
        .map(|v| ((v - location) / 2.0).clamp(-HUBER_K, HUBER_K))
        .sum();
    assert!(
        psi.abs() < 1e-9 && (198.0..201.0).contains(&location),
        "{location}"
    );
}

#[test]
fn nothing_and_nonsense_give_nothing() {
    assert_eq!(median(&[]), None);
    assert_eq!(median(&[1.0, f64::NAN]), None);
    assert_eq!(mean_and_sd(&[f64::INFINITY]), None);
    assert_eq!(mean_and_sd(&[4.0]), Some((4.0, 0.0)));
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
        values in prop::collection::vec(90.0_f64..110.0, 5..40), wild in -1e9_f64..1e9,
    ) {
        let scale = 2.0;
        let before = huber_location(&values, scale, HUBER_K).unwrap();
        let mut with = values.clone();
        with.push(wild);
        let after = huber_location(&with, scale, HUBER_K).unwrap();
        prop_assert!((after - before).abs() <= 110.0 - 90.0);
    }
}
