//! A mix of channels by level.

use super::{PAR_NM, Spectrum, integral};

/// Why channels could not be mixed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MixError {
    /// Every level is zero, or no channel was named.
    AllOff,
    /// A level is below zero or no number.
    Level,
    /// A relative spectrum and a measured one: nothing says how bright one is beside the other.
    Unlike,
}

/// The light of channels, each its spectrum at full output, whether that was measured, and its level (0 to 1).
///
/// Measured spectra add as they were written, so they must have been measured alike. Relative ones (from a list) are
/// brought to the same PPFD at full output first, so that levels are shares of PPFD.
///
/// # Errors
/// Where nothing can be said of the mix: see [`MixError`].
pub fn mix(channels: &[(&Spectrum, bool, f64)]) -> Result<Spectrum, MixError> {
    if channels
        .iter()
        .any(|(.., level)| !(level.is_finite() && *level >= 0.0))
    {
        return Err(MixError::Level);
    }
    let lit: Vec<&(&Spectrum, bool, f64)> = channels.iter().filter(|(.., level)| *level > 0.0).collect();
    if lit.iter().any(|(_, is_measured, _)| *is_measured)
        && lit.iter().any(|(_, is_measured, _)| !is_measured)
    {
        return Err(MixError::Unlike);
    }
    let scaled: Vec<Spectrum> = lit
        .iter()
        .map(|(spectrum, is_measured, level)| {
            let par = integral(&[spectrum], true, PAR_NM);
            spectrum.times(if *is_measured || par <= 0.0 {
                *level
            } else {
                level / par
            })
        })
        .collect();
    let mut knots: Vec<f64> = scaled
        .iter()
        .flat_map(super::Spectrum::points)
        .map(|[nm, _]| *nm)
        .collect();
    knots.sort_by(f64::total_cmp);
    knots.dedup();
    let points = knots
        .into_iter()
        .map(|nm| [nm, scaled.iter().map(|spectrum| spectrum.at(nm)).sum()])
        .collect();
    Spectrum::new(points).ok_or(MixError::AllOff)
}
