//! What a device reads in.

use undim_model::DeviceUnit;

/// A UCUM code of a quantity that a device can read in.
pub(crate) fn parse(code: &str) -> Option<DeviceUnit> {
    match code {
        "umol.m-2.s-1" => Some(DeviceUnit::MICROMOL),
        "lx" => Some(DeviceUnit::Illuminance(1.0)),
        "W.m-2" => Some(DeviceUnit::Irradiance(1.0)),
        "mV" => Some(DeviceUnit::Voltage(1.0)),
        "1" => Some(DeviceUnit::Counts),
        _ => None,
    }
}
