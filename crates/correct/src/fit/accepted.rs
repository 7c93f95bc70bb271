//! Whether a correction in use still holds, by new pairs.

use undim_model::AcceptedHolds;
use undim_stats::normal::two_sided;
use undim_stats::robust::{MAD_TO_SD, median, median_absolute_deviation};

/// Fewer pairs tell nothing.
const FEWEST: usize = 4;
/// Below this it no longer holds.
const LIMIT: f64 = 0.01;
/// A difference smaller than this matters to nobody, percent.
const SMALLEST_PERCENT: f64 = 2.0;

/// Corrected values of the device beside the reference's, `u_shared_percent` what all pairs share (fit, re-zeroing of
/// both, drift; not the reference's calibration, which both hold). The middle of the ratios is taken, so that a
/// shadow moves nothing.
pub fn still_holds(pairs: &[(f64, f64)], u_shared_percent: f64) -> Option<AcceptedHolds> {
    let ratios: Vec<f64> = (pairs.iter())
        .filter(|(corrected, reference)| *corrected > 0.0 && *reference > 0.0)
        .map(|(corrected, reference)| 100.0 * (corrected / reference).ln())
        .collect();
    if ratios.len() < FEWEST {
        return None;
    }
    let middle = median(&ratios)?;
    let scatter = median_absolute_deviation(&ratios, middle)? * MAD_TO_SD;
    // The median's standard deviation under normal noise is √(π/2) times the mean's.
    let u_own = scatter * (std::f64::consts::FRAC_PI_2 / ratios.len() as f64).sqrt();
    let u_percent = u_own.hypot(u_shared_percent).max(0.01);
    let reads_percent = 100.0 * (middle / 100.0).exp_m1();
    let p = two_sided(middle / u_percent);
    let found = AcceptedHolds {
        reads_percent,
        u_percent,
        p,
        holds: p >= LIMIT || reads_percent.abs() < SMALLEST_PERCENT,
    };
    (reads_percent.is_finite() && u_percent.is_finite() && p.is_finite()).then_some(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_device_that_drifted_is_told_with_its_size() {
        let pairs = |factor: f64| -> Vec<(f64, f64)> {
            (1..=10)
                .map(|i| {
                    (
                        f64::from(i) * 50.0 * factor * (1.0 + 0.01 * f64::from(i % 3 - 1)),
                        f64::from(i) * 50.0,
                    )
                })
                .collect()
        };
        let drifted = still_holds(&pairs(0.9), 2.0).unwrap();
        assert!(
            !drifted.holds && (drifted.reads_percent + 10.0).abs() < 1.0,
            "{drifted:?}"
        );
        assert!(still_holds(&pairs(1.02), 2.0).unwrap().holds);
        assert_eq!(still_holds(&pairs(0.9)[..3], 2.0), None);
        assert_eq!(still_holds(&[(f64::NAN, 1.0); 5], 2.0), None);
    }
}
