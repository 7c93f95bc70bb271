//! Gross range: outside what the device can read.
//!
//! - **Flags** `over-range` above the device's range, `under-range` below it; both bad. A value that is no
//!   finite number is `missing-value`.
//! - **Why**: a clipped or negative count is no light reading.
//! - **Example**: 65535 from a sensor whose range ends at 4000.
//! - **Limits**: the ends themselves are good; without a range nothing is tested.
//! - **Source**: US IOOS, *Manual for Real-Time Quality Control of Ocean Optics Data*, version 1.1 (2017), gross
//!   range test.

use undim_model::Reason;

/// Tests a value in the device's own unit.
pub fn gross_range(value: f64, range: Option<[f64; 2]>) -> Option<Reason> {
    if !value.is_finite() {
        return Some(Reason::MissingValue);
    }
    let [low, high] = range?;
    if value > high {
        Some(Reason::OverRange)
    } else if value < low {
        Some(Reason::UnderRange)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ends_are_good() {
        let range = Some([0.0, 2500.0]);
        assert_eq!(gross_range(0.0, range), None);
        assert_eq!(gross_range(2500.0, range), None);
        assert_eq!(gross_range(2500.1, range), Some(Reason::OverRange));
        assert_eq!(gross_range(-0.1, range), Some(Reason::UnderRange));
        assert_eq!(gross_range(-5.0, None), None);
        for no_number in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(gross_range(no_number, range), Some(Reason::MissingValue));
            assert_eq!(gross_range(no_number, None), Some(Reason::MissingValue));
        }
    }
}
