//! A value with what is not known about it, own and shared parts apart.

/// A PPFD with its standard uncertainty (k = 1), split by what averaging can do about it.
///
/// The own part belongs to this one value and averages down over readings and stations; the shared
/// part is common to every value read with the same correction and never does.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Measured {
    /// µmol m⁻² s⁻¹.
    pub ppfd: f64,
    /// Own standard uncertainty, µmol m⁻² s⁻¹.
    pub u_own: f64,
    /// Shared standard uncertainty, µmol m⁻² s⁻¹.
    pub u_shared: f64,
}

impl Measured {
    /// Combined standard uncertainty, √(own² + shared²), µmol m⁻² s⁻¹ (JCGM 100:2008, 5.1.2).
    pub fn u(self) -> f64 {
        self.u_own.hypot(self.u_shared)
    }
}

/// Where a shared uncertainty comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SharedKind {
    /// The device's calibration, or with a fit that of its reference.
    Calibration,
    /// The device's drift since its last reference day.
    DeviceDrift,
    /// Switched on again, bag refitted: new for every survey.
    Rezero,
    /// The dark reading.
    Dark,
    /// The sensitivity.
    Sensitivity,
    /// The spectral mismatch factor.
    Spectral,
    /// The immersion factor.
    Immersion,
    /// The side-by-side fit.
    Fit,
    /// The height that a whole survey shares.
    RodHeight,
}

impl SharedKind {
    /// Every kind; `kind as usize` is its place here.
    pub const ALL: [Self; 9] = [
        Self::Calibration,
        Self::DeviceDrift,
        Self::Rezero,
        Self::Dark,
        Self::Sensitivity,
        Self::Spectral,
        Self::Immersion,
        Self::Fit,
        Self::RodHeight,
    ];

    /// The word that is written.
    pub fn word(self) -> &'static str {
        match self {
            Self::Calibration => "calibration",
            Self::DeviceDrift => "device-drift",
            Self::Rezero => "rezero",
            Self::Dark => "dark",
            Self::Sensitivity => "sensitivity",
            Self::Spectral => "spectral",
            Self::Immersion => "immersion",
            Self::Fit => "fit",
            Self::RodHeight => "rod-height",
        }
    }

    /// The kind written with this word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// True where two surveys read with the same device and correction share it, so that it cancels in
    /// a change. Re-zeroing and the rod's height are new in every survey.
    pub fn lasts_between_surveys(self) -> bool {
        !matches!(self, Self::Rezero | Self::RodHeight)
    }
}

/// One source of shared uncertainty in one value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SharedPart {
    /// Where it comes from.
    pub kind: SharedKind,
    /// Its contribution, k = 1, µmol m⁻² s⁻¹.
    pub u_ppfd: f64,
}
