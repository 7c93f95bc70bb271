//! How far a device is misled by light of another spectrum than it was calibrated under.

use super::shipped::photopic;
use super::{PAR_NM, Spectrum, integral};

/// What a device is to read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Target {
    /// PPFD: photons from 400 to 700 nm.
    Photons,
    /// Illuminance, by V(λ).
    Illuminance,
}

impl Target {
    fn of(self, light: &Spectrum) -> f64 {
        match self {
            Self::Photons => integral(&[light], true, PAR_NM),
            Self::Illuminance => integral(&[light, photopic()], false, light.span_nm()),
        }
    }
}

/// The spectral mismatch correction factor F* = (∫S t / ∫S s) · (∫`S_A` s / ∫`S_A` t), by which a reading is multiplied: S the
/// light, `S_A` what the device was calibrated under, s its relative response per watt, t the target's weight (CIE e-ILV
/// 17-25-115, ISO/CIE 19476:2014 with t = V; for photons t = λ from 400 to 700 nm, zero elsewhere). `None` where the
/// device sees nothing of either light, or neither holds any.
pub fn mismatch(
    light: &Spectrum,
    calibrated_under: &Spectrum,
    response: &Spectrum,
    target: Target,
) -> Option<f64> {
    let seen = |light: &Spectrum| integral(&[light, response], false, response.span_nm());
    let factor = target.of(light) / seen(light) * (seen(calibrated_under) / target.of(calibrated_under));
    (factor.is_finite() && factor > 0.0).then_some(factor)
}
