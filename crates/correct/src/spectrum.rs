//! Spectra of light, and what follows from them: photons, watts, lux, and how far a device is misled.
//!
//! A spectrum is a list of wavelengths (nm) and spectral power (per nm, relative or absolute), with straight lines between
//! and nothing beyond. Every integral is exact for such a spectrum: a product of straight pieces is at most a cubic, and
//! Simpson's rule integrates a cubic exactly.
//!
//! Photosynthetic photon flux density (PPFD) counts photons from 400 to 700 nm (K. J. `McCree`, *Agric. Meteorol.* 10 (1972)
//! 443–453, for the band). The extended band runs to 750 nm (S. Zhen, B. Bugbee, *Plant Cell Environ.* 43 (2020) 1259–1272).

mod light;
mod mismatch;
mod mix;
mod read;
mod shipped;

pub use light::{Band, Light, sensitivity_spread_percent};
pub use mismatch::{Target, mismatch};
pub use mix::{MixError, mix};
pub use read::{Meaning, Read, ReadError, read};
pub use shipped::{LED_NAMES, Shipped, shipped, shipped_names};

/// µmol of photons per joule and nanometre of wavelength, 10⁻³/(h c `N_A`), from the exact constants of the SI.
pub const MICROMOL_PER_JOULE_AND_NM: f64 = 0.008_359_347_229_11;

/// Lumens per watt at 555 nm, `K_m` (ISO/CIE 23539).
pub const LUMEN_PER_WATT: f64 = 683.002;

/// Photosynthetically active, nm.
pub const PAR_NM: [f64; 2] = [400.0, 700.0];

/// The extended band, nm.
pub const EPAR_NM: [f64; 2] = [400.0, 750.0];

/// Spectral power against wavelength, or a response against it.
#[derive(Debug, Clone, PartialEq)]
pub struct Spectrum {
    /// Wavelength in nm, rising, and the value there, none below zero.
    points: Vec<[f64; 2]>,
}

impl Spectrum {
    /// From points (nm, value) in any order. `None` unless there are two at least, all finite, wavelengths above zero and
    /// each there once, no value below zero and one above.
    pub fn new(mut points: Vec<[f64; 2]>) -> Option<Self> {
        let is_sound =
            |[nm, value]: &[f64; 2]| nm.is_finite() && *nm > 0.0 && value.is_finite() && *value >= 0.0;
        if points.len() < 2 || !points.iter().all(is_sound) {
            return None;
        }
        points.sort_by(|one, other| one[0].total_cmp(&other[0]));
        let is_rising = points.windows(2).all(|pair| pair[0][0] < pair[1][0]);
        let is_any = points.iter().any(|[_, value]| *value > 0.0);
        (is_rising && is_any).then_some(Self { points })
    }

    /// The points, by wavelength.
    pub fn points(&self) -> &[[f64; 2]] {
        &self.points
    }

    /// First and last wavelength, nm.
    pub fn span_nm(&self) -> [f64; 2] {
        let end = |point: Option<&[f64; 2]>| point.map_or(0.0, |[nm, _]| *nm);
        [end(self.points.first()), end(self.points.last())]
    }

    /// The largest value.
    pub fn peak(&self) -> f64 {
        self.points.iter().fold(0.0, |most, [_, value]| value.max(most))
    }

    /// Where the largest value stands, nm; the first of several.
    pub fn peak_nm(&self) -> f64 {
        let peak = self.peak();
        self.points
            .iter()
            .find(|[_, value]| *value >= peak)
            .map_or(0.0, |[nm, _]| *nm)
    }

    /// The value at a wavelength: a straight line between points, zero beyond them.
    pub fn at(&self, nm: f64) -> f64 {
        let after = self.points.partition_point(|[point, _]| *point < nm);
        match (
            after.checked_sub(1).and_then(|before| self.points.get(before)),
            self.points.get(after),
        ) {
            (_, Some([point, value])) if *point == nm => *value,
            (Some([from, low]), Some([to, high])) => low + (high - low) * (nm - from) / (to - from),
            _ => 0.0,
        }
    }

    /// The same with every value times a factor.
    pub(crate) fn times(&self, factor: f64) -> Self {
        let points = self
            .points
            .iter()
            .map(|[nm, value]| [*nm, value * factor])
            .collect();
        Self { points }
    }

    /// The same with its wavelengths moved.
    pub(crate) fn moved(&self, by_nm: f64) -> Self {
        let points = self
            .points
            .iter()
            .map(|[nm, value]| [nm + by_nm, *value])
            .collect();
        Self { points }
    }
}

/// ∫ of the product of the spectra, and of the wavelength where `by_wavelength`, over a band (nm); zero where one of them
/// is not there. Exact for up to three factors in all.
pub(crate) fn integral(spectra: &[&Spectrum], by_wavelength: bool, [from, to]: [f64; 2]) -> f64 {
    let (from, to) = spectra.iter().fold((from, to), |(from, to), spectrum| {
        let [first, last] = spectrum.span_nm();
        (from.max(first), to.min(last))
    });
    if from >= to {
        return 0.0;
    }
    let mut knots: Vec<f64> = spectra
        .iter()
        .flat_map(|spectrum| spectrum.points())
        .map(|[nm, _]| *nm)
        .collect();
    knots.retain(|nm| *nm > from && *nm < to);
    knots.extend([from, to]);
    knots.sort_by(f64::total_cmp);
    knots.dedup();
    let product = |nm: f64| {
        let weight = if by_wavelength { nm } else { 1.0 };
        spectra
            .iter()
            .fold(weight, |product, spectrum| product * spectrum.at(nm))
    };
    let pieces = knots.windows(2).map(|piece| {
        let (low, high) = (piece[0], piece[1]);
        (high - low) / 6.0 * (product(low) + 4.0 * product(f64::midpoint(low, high)) + product(high))
    });
    pieces.sum()
}

#[cfg(test)]
mod tests;
