//! Tilt: the sensing face did not look straight up.
//!
//! - **Flags** `tilt` beyond the device's limit; bad.
//! - **Why**: a small tilt can cost over 20 % (common practice, no source).
//! - **Example**: 14° where the device allows 8°.
//! - **Limits**: the limit itself is good; without a tilt or a limit, or with one that is no number, nothing is
//!   tested.
//! - **Source**: none; the limit is the keeper's own (formats, section 4).

use undim_model::Reason;

/// Tests degrees from level, of either sign.
pub fn tilt(tilt_deg: f64, max_tilt_deg: Option<f64>) -> Option<Reason> {
    (tilt_deg.abs() > max_tilt_deg?).then_some(Reason::Tilt)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beyond_the_limit_either_way() {
        assert_eq!(tilt(8.0, Some(8.0)), None);
        assert_eq!(tilt(-8.1, Some(8.0)), Some(Reason::Tilt));
        assert_eq!(tilt(80.0, None), None);
        assert_eq!(tilt(f64::NAN, Some(8.0)), None);
    }
}
