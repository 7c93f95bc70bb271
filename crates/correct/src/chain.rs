//! One correction made ready for one unit and medium: dark → sensitivity → spectral → immersion → fit.

use crate::curve::Curve;
use undim_model::{Correction, DeviceUnit, Factor, FitModel, Medium, SharedKind};

const EXACTLY_ONE: Factor = Factor { value: 1.0, u: 0.0 };
const EXACTLY_ZERO: Factor = Factor { value: 0.0, u: 0.0 };

/// The steps of one correction.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Chain {
    /// From the file's numbers to the device's own unit.
    to_own: f64,
    /// In the device's own unit.
    dark: Factor,
    /// From the device's own unit to the unit of v.
    sensitivity: Factor,
    spectral: Factor,
    immersion: Factor,
    curve: Option<Curve>,
}

/// What a chain gives for one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Outcome {
    /// µmol m⁻² s⁻¹.
    pub(crate) ppfd: f64,
    /// The contribution of each step, k = 1, µmol m⁻² s⁻¹, in the order of [`STEPS`].
    pub(crate) u: [f64; STEPS.len()],
    /// True where v lies outside the fit's `over`.
    pub(crate) beyond: bool,
}

/// The sources of uncertainty in a chain, in the order in which they are applied.
pub(crate) const STEPS: [SharedKind; 5] = [
    SharedKind::Dark,
    SharedKind::Sensitivity,
    SharedKind::Spectral,
    SharedKind::Immersion,
    SharedKind::Fit,
];

impl Chain {
    /// A reading that is in µmol m⁻² s⁻¹ but for a factor, taken as it is.
    pub(crate) fn plain(file: DeviceUnit) -> Option<Self> {
        let DeviceUnit::PhotonFlux(to_micromol) = file else {
            return None;
        };
        Some(Self {
            to_own: 1.0,
            dark: EXACTLY_ZERO,
            sensitivity: Factor {
                value: to_micromol,
                u: 0.0,
            },
            spectral: EXACTLY_ONE,
            immersion: EXACTLY_ONE,
            curve: None,
        })
    }

    /// The chain of a correction for numbers in `file`'s unit, or `None` where it leads from there to no
    /// µmol m⁻² s⁻¹.
    ///
    /// A device without a declared unit reads in the file's. A file in photon flux from a device that reads
    /// in something else has been through the device's sensitivity already, so neither `dark` nor
    /// `sensitivity` is applied. A gain, line or hinge maps to the reference's scale by itself, so a device
    /// that reads in lx or mV needs no `sensitivity` beside one.
    pub(crate) fn new(
        correction: &Correction,
        own: Option<DeviceUnit>,
        file: DeviceUnit,
        medium: Medium,
    ) -> Option<Self> {
        let own = own.unwrap_or(file);
        let scales_by_fit = correction.sensitivity.is_none()
            && correction
                .fit
                .as_ref()
                .is_some_and(|fit| fit.model != FitModel::Offset);
        let reads_photon_flux = matches!(own, DeviceUnit::PhotonFlux(_));
        // v, the value after the factors, on which the fit was made.
        let v_is_micromol = reads_photon_flux || !scales_by_fit;
        let (to_own, dark, sensitivity) = match (own.factor_from(file), own, file) {
            (Some(to_own), DeviceUnit::PhotonFlux(to_micromol), _) => (
                to_own,
                correction.dark,
                Factor {
                    value: to_micromol,
                    u: 0.0,
                },
            ),
            (Some(to_own), ..) => match correction.sensitivity {
                Some(sensitivity) => (to_own, correction.dark, sensitivity),
                None if scales_by_fit => (to_own, correction.dark, EXACTLY_ONE),
                None => return None,
            },
            (None, _, DeviceUnit::PhotonFlux(to_micromol)) if v_is_micromol => (
                1.0,
                EXACTLY_ZERO,
                Factor {
                    value: to_micromol,
                    u: 0.0,
                },
            ),
            (None, ..) => return None,
        };
        let curve = match &correction.fit {
            Some(fit) => Some(Curve::new(fit, v_is_micromol)?),
            None => None,
        };
        let immersion = match medium {
            Medium::Water => correction.immersion,
            Medium::Air => EXACTLY_ONE,
        };
        Some(Self {
            to_own,
            dark,
            sensitivity,
            spectral: correction.spectral,
            immersion,
            curve,
        })
    }

    /// What each step leaves of one reading, in the order of [`STEPS`].
    pub(crate) fn steps(&self, raw: f64) -> [f64; STEPS.len()] {
        let dark = raw * self.to_own - self.dark.value;
        let sensitivity = dark * self.sensitivity.value;
        let spectral = sensitivity * self.spectral.value;
        let immersion = spectral * self.immersion.value;
        let fit = self
            .curve
            .as_ref()
            .map_or(immersion, |curve| curve.at(immersion).value);
        [dark, sensitivity, spectral, immersion, fit]
    }

    /// Applies the steps to one reading, each contribution |∂ppfd/∂x|·u(x) (JCGM 100:2008, 5.1.3).
    pub(crate) fn apply(&self, raw: f64) -> Outcome {
        let Self {
            dark,
            sensitivity: s,
            spectral: p,
            immersion: i,
            ..
        } = *self;
        let own = raw * self.to_own - dark.value;
        let v = own * s.value * p.value * i.value;
        let (ppfd, slope, u_fit, beyond) = match &self.curve {
            Some(curve) => {
                let point = curve.at(v);
                (point.value, point.slope, point.u, point.beyond)
            }
            None => (v, 1.0, 0.0, false),
        };
        let u = [
            (slope * s.value * p.value * i.value * dark.u).abs(),
            (slope * own * p.value * i.value * s.u).abs(),
            (slope * own * s.value * i.value * p.u).abs(),
            (slope * own * s.value * p.value * i.u).abs(),
            u_fit,
        ];
        Outcome { ppfd, u, beyond }
    }
}
