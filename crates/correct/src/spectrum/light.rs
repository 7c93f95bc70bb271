//! What a spectrum says of its light: PPFD per lux and per watt, shares by band, the extended band.

use super::shipped::{LED_NAMES, photopic, shipped};
use super::{EPAR_NM, LUMEN_PER_WATT, MICROMOL_PER_JOULE_AND_NM, PAR_NM, Spectrum, integral};

/// A band's share of the PPFD.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Its ends, nm.
    pub nm: [f64; 2],
    /// Its photons, percent of those from 400 to 700 nm.
    pub percent: f64,
}

/// Factors between quantities of light of one spectrum.
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    /// µmol m⁻² s⁻¹ per lx.
    pub ppfd_per_lux: f64,
    /// µmol m⁻² s⁻¹ per W m⁻², both from 400 to 700 nm: µmol/J.
    pub ppfd_per_watt: f64,
    /// Photons by bands of 100 nm that the spectrum covers wholly, 300 to 800 nm.
    pub bands: Vec<Band>,
    /// Photons from 400 to 750 nm for each from 400 to 700; `None` where the spectrum ends before 750 with light left.
    pub epar_per_par: Option<f64>,
}

impl Light {
    /// Of a spectrum; `None` where it holds no light from 400 to 700 nm, or none that an eye sees.
    ///
    /// PPFD per W m⁻² is ∫λS/(h c `N_A`) / ∫S, per lux ∫λS/(h c `N_A`) / (`K_m` ∫SV), with S spectral power and V the photopic
    /// efficiency (ISO/CIE 23539).
    pub fn of(spectrum: &Spectrum) -> Option<Self> {
        let photons = |band| MICROMOL_PER_JOULE_AND_NM * integral(&[spectrum], true, band);
        let par = photons(PAR_NM);
        let watts = integral(&[spectrum], false, PAR_NM);
        let [first, last] = spectrum.span_nm();
        let lux = LUMEN_PER_WATT * integral(&[spectrum, photopic()], false, [first, last]);
        let is_light = par > 0.0 && watts > 0.0 && lux > 0.0 && (par + lux).is_finite();
        if !is_light {
            return None;
        }
        let covers = |[from, to]: [f64; 2]| {
            (first <= from || spectrum.ends_dark(true)) && (last >= to || spectrum.ends_dark(false))
        };
        let bands = [300.0, 400.0, 500.0, 600.0, 700.0]
            .map(|from| [from, from + 100.0])
            .into_iter()
            .filter(|band| covers(*band) || (band[0] >= PAR_NM[0] && band[1] <= PAR_NM[1]))
            .map(|nm| Band {
                nm,
                percent: 100.0 * photons(nm) / par,
            })
            .collect();
        Some(Self {
            ppfd_per_lux: par / lux,
            ppfd_per_watt: par / watts,
            bands,
            epar_per_par: covers(EPAR_NM).then(|| photons(EPAR_NM) / par),
        })
    }

    /// Photons from 400 to 500 nm, percent of PPFD.
    pub fn blue_percent(&self) -> f64 {
        (self.bands.iter().find(|band| band.nm[0] == PAR_NM[0])).map_or(0.0, |band| band.percent)
    }
}

impl Spectrum {
    /// True where an end holds less than a thousandth of the peak: nothing is to be expected beyond.
    pub(crate) fn ends_dark(&self, at_first: bool) -> bool {
        let end = if at_first {
            self.points.first()
        } else {
            self.points.last()
        };
        end.is_some_and(|[_, value]| *value <= 1e-3 * self.peak())
    }
}

/// How far a spectrometer's wavelengths may be off, k = 1, nm (small array spectrometers: common practice, no source).
const WAVELENGTH_U_NM: f64 = 2.0;

/// The standard uncertainty (percent, k = 1) of PPFD per lux and per W m⁻² of a spectrum.
///
/// Of a measured one: what wavelengths 2 nm off would change. Of one taken from a list in place of the fixture's own: the
/// standard deviation of the factor over the nine LED spectra of the CIE, whose true one is not known.
pub fn sensitivity_spread_percent(spectrum: &Spectrum, is_measured: bool) -> [f64; 2] {
    let factors =
        |spectrum: &Spectrum| Light::of(spectrum).map(|light| [light.ppfd_per_lux, light.ppfd_per_watt]);
    if is_measured {
        let [low, middle, high] =
            [-WAVELENGTH_U_NM, 0.0, WAVELENGTH_U_NM].map(|by| factors(&spectrum.moved(by)));
        let (Some(low), Some(middle), Some(high)) = (low, middle, high) else {
            return [0.0; 2];
        };
        return [0, 1].map(|of| 50.0 * (high[of] - low[of]).abs() / middle[of]);
    }
    let leds: Vec<[f64; 2]> = LED_NAMES
        .iter()
        .filter_map(|name| factors(&shipped(name)?.spectrum))
        .collect();
    let count = leds.len().max(2) as f64;
    [0, 1].map(|of| {
        let mean = leds.iter().map(|factor| factor[of]).sum::<f64>() / count;
        let squares: f64 = leds.iter().map(|factor| (factor[of] / mean - 1.0).powi(2)).sum();
        100.0 * (squares / (count - 1.0)).sqrt()
    })
}
