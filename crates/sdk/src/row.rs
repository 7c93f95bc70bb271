//! A row.

/// When a reading was taken, as the file gives it. Zones are resolved by undim, never by an importer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Time {
    /// The file gives an offset or counts from an instant: microseconds since 1970-01-01T00:00:00Z.
    Instant(i64),
    /// The file gives what a clock on the wall showed: microseconds since 1970-01-01T00:00:00 on that clock.
    Wall(i64),
}

/// One reading, as the file gives it. Start from `Row::default()` and set what the file has.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Row<'a> {
    /// Line or record number in the file, from 1 and with the header counted: where the record starts.
    pub row: u64,
    /// When.
    pub time: Option<Time>,
    /// As the device gave it; `None` for a missing value. Never a stand-in such as -999.
    pub value: Option<f64>,
    /// The value's unit, as a UCUM code, such as `umol.m-2.s-1` or `lx`.
    pub unit: Option<&'a str>,
    /// As the file gives it: undim knows how the file's axes lie in the tank.
    pub x: Option<f64>,
    /// As the file gives it.
    pub y: Option<f64>,
    /// As the file gives it.
    pub z: Option<f64>,
    /// The station's name.
    pub station: Option<&'a str>,
    /// The device's name.
    pub device: Option<&'a str>,
    /// How far the sensor was from level, degrees.
    pub tilt_deg: Option<f64>,
    /// °C.
    pub temperature_c: Option<f64>,
    /// Free text.
    pub remark: Option<&'a str>,
}
