//! One reading after cleaning, correcting and placing.

use crate::{Flag, Measured, Reasons, Text};
use jiff::Timestamp;

/// One row of `readings.csv`.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The inbox path of its file.
    pub source: Text,
    /// Line where the record starts, the header included.
    pub row: u64,
    /// When it was read, where the file tells.
    pub time: Option<Timestamp>,
    /// The device's id.
    pub device: Text,
    /// The station it belongs to, if any.
    pub station: Option<Text>,
    /// Where the sensing face was: from left, from bottom, from front, cm; what is not known is `None`.
    pub position_cm: [Option<f64>; 3],
    /// As the device gave it.
    pub raw: Option<f64>,
    /// The unit of `raw`, UCUM.
    pub raw_unit: Option<Text>,
    /// Corrected, with the uncertainty of this single reading.
    pub value: Option<Measured>,
    /// Quality.
    pub flag: Flag,
    /// Why.
    pub reasons: Reasons,
}
