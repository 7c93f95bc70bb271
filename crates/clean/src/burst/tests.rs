//! Bursts that an arm, a pump or a slip has been in, and what must come of each.

use super::*;
use proptest::prelude::*;

const DEVICE: BurstSettings = BurstSettings { repeat_percent: 2.0 };

fn judged(values: &[f64]) -> (f64, Vec<String>, usize) {
    let burst = judge(values, DEVICE).unwrap();
    (
        burst.value,
        burst.reasons.iter().map(ToString::to_string).collect(),
        burst.used,
    )
}

/// `SplitMix64` and Box–Muller, for simulated readings.
struct Numbers(u64);

impl Numbers {
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.even()).ln()).sqrt() * (std::f64::consts::TAU * self.even()).cos()
    }
}

#[test]
fn an_arms_shadow_is_told_from_the_light() {
    let (value, reasons, used) = judged(&[201.0, 199.0, 118.0, 202.0, 200.0]);
    assert_eq!((reasons.join(","), used), (",,shadow,,".to_owned(), 4));
    assert!((value - 200.5).abs() < 1e-9, "{value}");
    assert_eq!(judged(&[200.0, 204.0, 120.0]).1, ["", "", "shadow"]);
    assert_eq!(
        judged(&[200.0, 201.0, 199.0, 202.0, 120.0, 125.0]).1[4..],
        ["shadow", "shadow"]
    );
    assert_eq!(judged(&[200.0, 201.0, 199.0, 290.0, 202.0]).1[3], "spike");
    // Two shadows of five.
    let (value, reasons, used) = judged(&[131.0, 200.0, 202.0, 198.0, 90.0]);
    assert_eq!((reasons.join(","), used), ("shadow,,,,shadow".to_owned(), 3));
    assert!((value - 200.0).abs() < 1e-9, "{value}");
}

#[test]
fn what_cannot_be_told_is_unsteady_and_small_differences_are_nothing() {
    assert_eq!(judged(&[200.0, 120.0]).1, ["unsteady", "unsteady"]);
    assert_eq!(judged(&[200.0, 206.0]).1, ["", ""]);
    assert_eq!(
        judged(&[200.0, 200.0, 200.0, 200.0, 209.0]).1,
        ["", "", "", "", ""]
    );
    assert_eq!(judged(&[0.0, 0.0, 0.0, 0.4]).1, ["", "", "", ""]);
    assert_eq!(judged(&[7.0]).0, 7.0);
}

#[test]
fn ripple_is_light_and_its_mean_is_taken() {
    let values = [200.0, 170.0, 240.0, 185.0, 290.0, 175.0, 160.0, 230.0];
    let burst = judge(&values, DEVICE).unwrap();
    assert!(burst.unsteady);
    assert!(
        (burst.value - values.iter().sum::<f64>() / 8.0).abs() < 1e-9,
        "{}",
        burst.value
    );
    assert!(burst.u_own > 10.0, "{}", burst.u_own);
}

#[test]
fn a_value_that_stuck_is_flat_and_a_coarse_display_is_not() {
    let stuck = [
        200.3, 201.7, 198.9, 202.4, 199.6, 199.6, 199.6, 199.6, 199.6, 201.1, 200.8,
    ];
    let flats = judged(&stuck)
        .1
        .iter()
        .filter(|reasons| *reasons == "flat")
        .count();
    assert_eq!(flats, 5);
    let coarse = [200.0, 200.0, 200.0, 200.0, 200.0, 201.0, 200.0, 199.0, 202.0];
    assert!(judged(&coarse).1.iter().all(String::is_empty));
}

#[test]
fn runs_that_chance_makes_are_not_flat() {
    let mut numbers = Numbers(11);
    let flat = |values: &[f64]| {
        let burst = judge(values, DEVICE).unwrap();
        burst.reasons.iter().any(|reasons| reasons.has(Reason::Flat))
    };
    // A display of whole numbers, and a scatter of three of them: runs of five happen in many long bursts.
    let by_chance = (0..200)
        .filter(|_| {
            let values: Vec<f64> = (0..BLOCK)
                .map(|_| (150.0 + 3.0 * numbers.normal()).round())
                .collect();
            flat(&values)
        })
        .count();
    assert!(by_chance <= 6, "{by_chance} of 200");
    // A light that rises so slowly that the display shows each tenth for ten readings.
    let slow: Vec<f64> = (0..3000).map(|n| 100.0 + f64::from(n / 10) / 10.0).collect();
    assert!(!flat(&slow));
    assert!(!flat(&[150.0; 40]));
}

#[test]
fn few_readings_give_no_false_confidence() {
    // One reading: the device's repeatability. Equal readings: repeatability / √n.
    assert_eq!(judge(&[100.0], DEVICE).unwrap().u_own, 2.0);
    assert_eq!(judge(&[100.0; 4], DEVICE).unwrap().u_own, 1.0);
    // Two that differ as the device's readings do (√2 · 2 %) tell little more than the device's own 2 %.
    let two = judge(&[100.0, 102.83], DEVICE).unwrap();
    assert!((1.6..2.1).contains(&two.u_own), "{}", two.u_own);
    // Where nothing can be told, either may be the light: half the difference, and more.
    let torn = judge(&[200.0, 120.0], DEVICE).unwrap();
    assert!(torn.unsteady && torn.u_own >= 40.0, "{}", torn.u_own);
}

#[test]
fn dark_places_are_no_exact_ones() {
    for values in [
        &[0.0][..],
        &[0.0; 6],
        &[-0.4, 0.1, 0.0, -0.2, 0.3],
        &[-1.2, -0.9, -1.0],
    ] {
        let burst = judge(values, DEVICE).unwrap();
        assert!(burst.u_own >= 0.03 && !burst.unsteady, "{burst:?}");
        assert!(burst.reasons.iter().all(|reasons| reasons.is_empty()) && burst.used == values.len());
    }
    assert_eq!(judge(&[0.0, 0.1, -0.1], DEVICE).unwrap().scatter_percent, None);
}

#[test]
fn what_is_no_number_is_missing() {
    let (value, reasons, used) = judged(&[200.0, f64::NAN, 202.0, f64::INFINITY, 1e300]);
    assert_eq!(
        reasons,
        ["", "missing-value", "", "missing-value", "missing-value"]
    );
    assert_eq!((value, used), (201.0, 2));
    assert_eq!(judge(&[], DEVICE), None);
    assert_eq!(judge(&[f64::NAN], DEVICE), None);
}

#[test]
fn intervals_cover_and_clean_bursts_are_left_alone() {
    let mut numbers = Numbers(7);
    for n in 1..=10 {
        let (mut covered, mut flagged, bursts) = (0, 0, 8000);
        for _ in 0..bursts {
            let values: Vec<f64> = (0..n).map(|_| 200.0 * (1.0 + 0.02 * numbers.normal())).collect();
            let burst = judge(&values, DEVICE).unwrap();
            covered += u32::from((burst.value - 200.0).abs() <= 1.96 * burst.u_own);
            flagged += u32::from(burst.reasons.iter().any(|reasons| !reasons.is_empty()));
        }
        let share = f64::from(covered) / f64::from(bursts);
        assert!((0.90..=0.99).contains(&share), "{n} readings: {share}");
        assert!(
            f64::from(flagged) / f64::from(bursts) < 0.01,
            "{n} readings: {flagged} flagged"
        );
    }
}

#[test]
fn a_mean_under_ripple_covers_the_mean_light() {
    // Skewed ripple: log-normal with 15 % scatter; its mean is exp(s²/2) above its median.
    let mut numbers = Numbers(3);
    let mean_light = 200.0 * (0.15_f64 * 0.15 / 2.0).exp();
    for n in [5, 8, 12, 30] {
        let (mut covered, mut spikes, bursts) = (0, 0, 4000);
        for _ in 0..bursts {
            let values: Vec<f64> = (0..n).map(|_| 200.0 * (0.15 * numbers.normal()).exp()).collect();
            let burst = judge(&values, DEVICE).unwrap();
            covered += u32::from((burst.value - mean_light).abs() <= 1.96 * burst.u_own);
            spikes += u32::from(burst.reasons.iter().any(|reasons| reasons.has(Reason::Spike)));
        }
        let share = f64::from(covered) / f64::from(bursts);
        assert!((0.90..=0.99).contains(&share), "{n} readings: {share}");
        assert!(
            f64::from(spikes) < 0.02 * f64::from(bursts),
            "{n} readings: {spikes} spikes"
        );
    }
}

#[test]
fn long_bursts_lose_nothing_by_chance() {
    // Steady, with twice the scatter that the device was said to have: of 4096 normal readings two lie
    // beyond 3.5 standard deviations.
    let mut numbers = Numbers(5);
    let touched = (0..100)
        .filter(|_| {
            let values: Vec<f64> = (0..BLOCK)
                .map(|_| 200.0 * (1.0 + 0.04 * numbers.normal()))
                .collect();
            judge(&values, DEVICE).unwrap().used < BLOCK
        })
        .count();
    assert!(touched <= 5, "{touched} of 100");
    // Two slips among thousands are slips, and leave the rest good.
    let mut values: Vec<f64> = (0..BLOCK)
        .map(|_| 200.0 * (1.0 + 0.02 * numbers.normal()))
        .collect();
    values[70] = 900.0;
    values[3000] = 65_535.0;
    let burst = judge(&values, DEVICE).unwrap();
    assert!(!burst.unsteady && burst.used == BLOCK - 2 && burst.reasons[70].has(Reason::Spike));
    // Under ripple, too, a slip is no flash.
    let (_, reasons, _) = judged(&[200.0, 170.0, 240.0, 185.0, 290.0, 175.0, 65_535.0, 230.0]);
    assert_eq!(reasons.iter().filter(|reasons| *reasons == "spike").count(), 1);
}

#[test]
fn a_log_is_judged_in_blocks() {
    let values: Vec<f64> = (0..10_000).map(|n| 150.0 + f64::from(n % 7)).collect();
    let mut blocked = BlockedBurst::new(DEVICE);
    let mut told = 0;
    for value in &values {
        told += blocked.push(*value).map_or(0, |block| block.reasons.len());
    }
    let (last, whole) = blocked.finish();
    assert_eq!(told + last.unwrap().reasons.len(), values.len());
    let whole = whole.unwrap();
    assert!(
        (whole.value - 153.0).abs() < 0.01 && whole.used == 10_000,
        "{whole:?}"
    );
    // Of readings that scatter by 2 and are 10 000; the device's 2 % of 153 counts, by √n.
    assert!(
        (whole.u_own / (0.02 * 153.0 / 100.0) - 1.0).abs() < 0.01,
        "{whole:?}"
    );
    assert!(
        (whole.scatter_percent.unwrap() - 100.0 * 2.0 / 153.0).abs() < 0.01,
        "{whole:?}"
    );
}

#[test]
fn a_burst_that_is_cut_goes_on_in_another_block() {
    let mut blocked = BlockedBurst::new(DEVICE);
    assert_eq!(blocked.cut(), None);
    let first = [201.0, 199.0, 118.0, 202.0, 200.0];
    let second = [200.0, 201.0, 199.0, 900.0];
    for value in first {
        assert_eq!(blocked.push(value), None);
    }
    assert_eq!(blocked.cut(), judge(&first, DEVICE));
    for value in second {
        assert_eq!(blocked.push(value), None);
    }
    let (last, whole) = blocked.finish();
    assert_eq!(last, judge(&second, DEVICE));
    let whole = whole.unwrap();
    assert_eq!(whole.used, 7);
    assert!((whole.value - 200.3).abs() < 0.2, "{}", whole.value);
}

#[test]
fn a_drift_from_block_to_block_is_in_the_uncertainty() {
    let mut blocked = BlockedBurst::new(DEVICE);
    for value in [200.0, 230.0] {
        for _ in 0..BLOCK {
            blocked.push(value);
        }
    }
    let whole = blocked.finish().1.unwrap();
    assert!(
        (whole.value - 215.0).abs() < 1e-9 && (whole.u_own - 15.0).abs() < 1e-9,
        "{whole:?}"
    );
    assert!(
        !whole.unsteady && whole.scatter_percent.unwrap() > 6.9,
        "{whole:?}"
    );
}

#[test]
fn one_full_block_is_the_burst_itself_and_a_block_of_nothing_is_told() {
    let values: Vec<f64> = (0..BLOCK).map(|n| 150.0 + (n % 7) as f64).collect();
    let mut blocked = BlockedBurst::new(DEVICE);
    let told: Vec<Burst> = values.iter().filter_map(|value| blocked.push(*value)).collect();
    let direct = judge(&values, DEVICE).unwrap();
    assert_eq!(told, std::slice::from_ref(&direct));
    let nothing: Vec<Burst> = (0..BLOCK).filter_map(|_| blocked.push(f64::NAN)).collect();
    assert_eq!((nothing[0].used, nothing[0].reasons.len()), (0, BLOCK));
    let (last, whole) = blocked.finish();
    assert_eq!(last, None);
    assert_eq!(
        whole,
        Some(Burst {
            reasons: Vec::new(),
            ..direct
        })
    );
    assert_eq!(BlockedBurst::new(DEVICE).finish(), (None, None));
}

proptest! {
    #[test]
    fn order_changes_nothing(mut values in prop::collection::vec(50.0_f64..400.0, 1..30)) {
        let one = judge(&values, DEVICE).unwrap();
        values.reverse();
        let other = judge(&values, DEVICE).unwrap();
        prop_assert!((one.value - other.value).abs() < 1e-9 * one.value && one.used == other.used);
    }

    #[test]
    fn one_wild_reading_moves_a_steady_burst_little(
        base in 50.0_f64..900.0, noise in prop::collection::vec(-1.0_f64..1.0, 4..30),
        away in prop_oneof![-1.5_f64..0.5, -0.4..0.4, -1e6..1e6],
    ) {
        let mut values: Vec<f64> = noise.iter().map(|z| base * (1.0 + 0.01 * z)).collect();
        let without = judge(&values, DEVICE).unwrap();
        values.push(base * (1.0 + away));
        let with = judge(&values, DEVICE).unwrap();
        let n = values.len() as f64;
        // Beyond the fences nothing but Huber's k · scale / n is left, with a scale of no more than 3 % here.
        // Between them a reading may make the burst unsteady, and counts by its share.
        let bound = if away.abs() > 0.35 {
            HUBER_K * 0.03 / (n - 1.0)
        } else {
            SPIKE_FAR * MODIFIED_Z_LIMIT * 0.03 * (1.0 + 2.0 / n) / n
        };
        prop_assert!((with.value - without.value).abs() <= bound * base, "{} {}", without.value, with.value);
    }

    #[test]
    fn a_stronger_light_is_judged_alike(
        values in prop::collection::vec(100.0_f64..400.0, 1..30), factor in 1.0_f64..10.0,
    ) {
        let one = judge(&values, DEVICE).unwrap();
        let stronger: Vec<f64> = values.iter().map(|value| value * factor).collect();
        let other = judge(&stronger, DEVICE).unwrap();
        prop_assert!((other.value / (one.value * factor) - 1.0).abs() < 1e-9);
        prop_assert!((other.u_own / (one.u_own * factor) - 1.0).abs() < 1e-9);
        prop_assert_eq!(one.reasons, other.reasons);
    }

    #[test]
    fn anything_is_answered(
        values in prop::collection::vec(any::<f64>(), 0..40), repeat_percent in any::<f64>(), equal in 0_usize..20,
    ) {
        let mut values = values;
        values.extend(std::iter::repeat_n(3.5, equal));
        if let Some(burst) = judge(&values, BurstSettings { repeat_percent }) {
            prop_assert!(burst.used >= 1 && burst.reasons.len() == values.len() && burst.value.is_finite());
        }
    }

    #[test]
    fn u_never_falls_below_the_devices_share(values in prop::collection::vec(0.0_f64..900.0, 1..20)) {
        let burst = judge(&values, DEVICE).unwrap();
        let least = 0.02 * burst.value.abs() / (burst.used as f64).sqrt();
        prop_assert!(burst.u_own >= least * (1.0 - 1e-12) && burst.u_own.is_finite() && burst.used >= 1);
    }

    #[test]
    fn short_bursts_are_the_same_in_blocks(values in prop::collection::vec(0.0_f64..900.0, 1..40)) {
        let mut blocked = BlockedBurst::new(DEVICE);
        for value in &values {
            prop_assert!(blocked.push(*value).is_none());
        }
        let (last, whole) = blocked.finish();
        let direct = judge(&values, DEVICE);
        prop_assert_eq!(&last, &direct);
        prop_assert_eq!(whole.unwrap().value, direct.unwrap().value);
    }
}
