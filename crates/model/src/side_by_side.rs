//! What readings of a device beside a reference say of it (formats, section 8, `undim fit`).

use crate::{Fit, Medium, Text};

/// A correction that is proposed; nothing is changed by it.
#[derive(Debug, Clone, PartialEq)]
pub struct SideBySide {
    /// The device's id.
    pub device: String,
    /// The reference's id.
    pub reference: String,
    /// What surrounded both.
    pub medium: Option<Medium>,
    /// The pairs, in the order of their times.
    pub pairs: Vec<SidePair>,
    /// The device's values over which pairs were used.
    pub span: Option<[f64; 2]>,
    /// The correction; `None` where there is none, and `advice` says why.
    pub fit: Option<Fit>,
    /// The curve with its 95 % band, for drawing.
    pub curve: Vec<CorrectedAt>,
    /// Corrected values at some of the device's.
    pub at: Vec<CorrectedAt>,
    /// Mean of device − reference, and the limits of agreement, as they read.
    pub agreement: Option<[f64; 3]>,
    /// How it stands, a sentence.
    pub verdict: String,
    /// What is missing, or what would make it better; sentences.
    pub advice: Vec<String>,
    /// The correction that was in use, held against the pairs.
    pub accepted: Option<AcceptedHolds>,
}

/// One pair.
#[derive(Debug, Clone, PartialEq)]
pub struct SidePair {
    /// Its station.
    pub station: Text,
    /// The device's value after its factors.
    pub device: f64,
    /// The reference's.
    pub reference: f64,
    /// Reference less the curve.
    pub residual: Option<f64>,
    /// False where it took no part.
    pub used: bool,
}

/// A corrected value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CorrectedAt {
    /// The device's.
    pub device: f64,
    /// On the reference's scale.
    pub corrected: f64,
    /// k = 1.
    pub u: f64,
    /// 95 % interval.
    pub ci95: [f64; 2],
}

/// A test of a correction in use against new pairs: the cause `device-drift` where it fails.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AcceptedHolds {
    /// How much more (positive) or less the corrected device reads than the reference, percent.
    pub reads_percent: f64,
    /// Its standard uncertainty, k = 1.
    pub u_percent: f64,
    /// The probability of a difference as large if the correction held.
    pub p: f64,
    /// False where the correction no longer holds.
    pub holds: bool,
}
