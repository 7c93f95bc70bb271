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

/// SplitMix64 and Box–Muller, for simulated readings.
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
fn few_readings_give_no_false_confidence() {
    // One reading: the device's repeatability. Equal readings: never below repeatability / √n.
    assert_eq!(judge(&[100.0], DEVICE).unwrap().u_own, 2.0);
    assert!((judge(&[100.0; 4], DEVICE).unwrap().u_own - 1.0).abs() < 0.2);
    assert!(judge(&[100.0; 4], DEVICE).unwrap().u_own >= 1.0);
    assert!(judge(&[100.0, 105.0], DEVICE).unwrap().u_own > 2.0);
}

#[test]
fn intervals_cover_and_clean_bursts_are_left_alone() {
    let mut numbers = Numbers(7);
    for n in 1..=10 {
        let (mut covered, mut flagged, bursts) = (0, 0, 4000);
        for _ in 0..bursts {
            let values: Vec<f64> = (0..n).map(|_| 200.0 * (1.0 + 0.02 * numbers.normal())).collect();
            let burst = judge(&values, DEVICE).unwrap();
            covered += u32::from((burst.value - 200.0).abs() <= 1.96 * burst.u_own);
            flagged += u32::from(
                burst
                    .reasons
                    .iter()
                    .any(|reasons| reasons.has(Reason::Shadow) || reasons.has(Reason::Spike)),
            );
        }
        let share = f64::from(covered) / f64::from(bursts);
        assert!((0.93..=0.995).contains(&share), "{n} readings: {share}");
        assert!(
            f64::from(flagged) / f64::from(bursts) < 0.01,
            "{n} readings: {flagged} flagged"
        );
    }
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
    fn one_wild_reading_of_five_moves_nothing(base in 50.0_f64..900.0, wild in -1e6_f64..1e6) {
        let mut values: Vec<f64> = [-0.8, 0.3, 1.1, -0.4].map(|z| base * (1.0 + 0.01 * z)).to_vec();
        values.push(wild);
        let burst = judge(&values, DEVICE).unwrap();
        prop_assert!((burst.value - base).abs() < 0.04 * base, "{}", burst.value);
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
