//! Whatever stands in a header as a unit: it is a quantity of light with a sensible factor, or none.

#![no_main]

use libfuzzer_sys::fuzz_target;
use undim_clean::unit::parse;
use undim_model::DeviceUnit;

fuzz_target!(|code: &str| {
    if let Some(DeviceUnit::PhotonFlux(factor) | DeviceUnit::Illuminance(factor) | DeviceUnit::Irradiance(factor) | DeviceUnit::Voltage(factor)) = parse(code) {
        assert!(factor.is_finite() && factor > 0.0, "{code}: {factor}");
    }
});
