//! A device and its corrections (FORMATS §4).

use crate::DateSpan;
use jiff::civil::Date;

/// What a device is used for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum Role {
    /// Read with between reference days.
    #[default]
    Everyday,
    /// Calibrated; what others are held against.
    Reference,
}

/// The quantity and scale that a device reads in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DeviceUnit {
    /// Photon flux density; the factor turns one of it into µmol m⁻² s⁻¹.
    PhotonFlux(f64),
    /// Illuminance; the factor turns one of it into lx.
    Illuminance(f64),
    /// Irradiance; the factor turns one of it into W m⁻².
    Irradiance(f64),
    /// Voltage; the factor turns one of it into mV.
    Voltage(f64),
    /// Counts, or any other plain number.
    Counts,
}

impl DeviceUnit {
    /// µmol m⁻² s⁻¹ itself.
    pub const MICROMOL: Self = Self::PhotonFlux(1.0);

    /// The factor from `other`'s numbers to this unit's; `None` where they are different quantities.
    pub fn factor_from(self, other: Self) -> Option<f64> {
        match (self, other) {
            (Self::PhotonFlux(mine), Self::PhotonFlux(theirs))
            | (Self::Illuminance(mine), Self::Illuminance(theirs))
            | (Self::Irradiance(mine), Self::Irradiance(theirs))
            | (Self::Voltage(mine), Self::Voltage(theirs)) => Some(theirs / mine),
            (Self::Counts, Self::Counts) => Some(1.0),
            _ => None,
        }
    }
}

/// A device.
#[derive(Debug, Clone, PartialEq)]
pub struct Device {
    /// The file's stem.
    pub id: String,
    /// As shown to people; a file may use it instead of the id.
    pub name: String,
    /// False for a device that only a folder or a file names.
    pub declared: bool,
    /// What it is used for.
    pub role: Role,
    /// What it reads in, if a file does not say: UCUM code as written.
    pub unit_code: Option<String>,
    /// The same, understood.
    pub unit: Option<DeviceUnit>,
    /// Of one reading, k = 1, percent; averages within a burst.
    pub repeat_percent: f64,
    /// Of a whole survey, k = 1, percent.
    pub rezero_percent: f64,
    /// Of its calibration, k = 1, percent.
    pub cal_percent: f64,
    /// Growth since the last reference day, k = 1, percent a year.
    pub drift_percent_per_year: f64,
    /// What it can read, in its own unit.
    pub range: Option<[f64; 2]>,
    /// From the noted position to the sensing face: right, up, back, cm.
    pub face_offset_cm: [f64; 3],
    /// Readings tilted further are bad, degrees.
    pub max_tilt_deg: Option<f64>,
    /// Departure from the cosine law by angle: degrees, rising, and percent.
    pub cosine: Vec<[f64; 2]>,
    /// Date of its certificate.
    pub calibrated: Option<Date>,
    /// When the certificate runs out.
    pub valid_until: Option<Date>,
    /// In written order.
    pub corrections: Vec<Correction>,
}

impl Device {
    /// A device of which only the id is known; the defaults of FORMATS §10.
    pub fn undeclared(id: &str) -> Self {
        Self {
            id: id.to_owned(),
            name: id.to_owned(),
            declared: false,
            role: Role::Everyday,
            unit_code: None,
            unit: None,
            repeat_percent: 2.0,
            rezero_percent: 2.0,
            cal_percent: 5.0,
            drift_percent_per_year: 0.0,
            range: None,
            face_offset_cm: [0.0; 3],
            max_tilt_deg: None,
            cosine: Vec::new(),
            calibrated: None,
            valid_until: None,
            corrections: Vec::new(),
        }
    }
}

/// What surrounds the sensing face.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Medium {
    /// Above the surface.
    Air,
    /// Under the surface.
    Water,
}

/// A factor, or an amount, with its standard uncertainty in the same unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Factor {
    /// Its value.
    pub value: f64,
    /// k = 1.
    pub u: f64,
}

/// One correction of a device.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// `valid_from` and `valid_until`.
    pub span: DateSpan,
    /// The scenes it was made under; empty: any.
    pub scenes: Vec<String>,
    /// The medium it was made in; `None`: any.
    pub medium: Option<Medium>,
    /// True for `between = "blend"`: interpolated in time to the next correction.
    pub blend: bool,
    /// Subtracted, in the device's own unit.
    pub dark: Factor,
    /// Times this gives µmol m⁻² s⁻¹; `None` where the file gives none.
    pub sensitivity: Option<Factor>,
    /// Spectral mismatch factor.
    pub spectral: Factor,
    /// Immersion-effect factor, only for readings under water.
    pub immersion: Factor,
    /// The side-by-side fit.
    pub fit: Option<Fit>,
}

/// The form of a fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FitModel {
    /// v + a.
    Offset,
    /// b · v.
    Gain,
    /// a + b · v.
    Line,
    /// a + b · v + c · max(0, v − knot).
    Hinge {
        /// Where the slope changes, on the scale of v.
        knot: f64,
    },
}

/// A fit from side-by-side readings: maps v, the value after the factors, to the reference's scale.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Its form.
    pub model: FitModel,
    /// As many as the form has: a · b · a, b · a, b, c.
    pub coefficients: Vec<f64>,
    /// Of the coefficients in their order, then of the knot where it has a row; row by row, square.
    pub covariance: Vec<Vec<f64>>,
    /// The span of v over which it was fitted, ends included.
    pub over: Option<[f64; 2]>,
    /// How many pairs it rests on.
    pub pairs: Option<u64>,
    /// The reference device's id.
    pub reference: Option<String>,
}
