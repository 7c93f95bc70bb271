//! Rows: one row, one reading.

use crate::UndimText;

/// `value` holds something.
pub const HAS_VALUE: u32 = 1 << 0;
/// `unit` holds something.
pub const HAS_UNIT: u32 = 1 << 1;
/// `x` holds something.
pub const HAS_X: u32 = 1 << 2;
/// `y` holds something.
pub const HAS_Y: u32 = 1 << 3;
/// `z` holds something.
pub const HAS_Z: u32 = 1 << 4;
/// `station` holds something.
pub const HAS_STATION: u32 = 1 << 5;
/// `device` holds something.
pub const HAS_DEVICE: u32 = 1 << 6;
/// `tilt_deg` holds something.
pub const HAS_TILT: u32 = 1 << 7;
/// `temperature_c` holds something.
pub const HAS_TEMPERATURE: u32 = 1 << 8;
/// `remark` holds something.
pub const HAS_REMARK: u32 = 1 << 9;
/// Every bit that has a meaning.
pub const HAS_ALL: u32 = (1 << 10) - 1;

/// No time.
pub const TIME_NONE: u32 = 0;
/// Microseconds since 1970-01-01T00:00:00Z.
pub const TIME_INSTANT: u32 = 1;
/// Microseconds since 1970-01-01T00:00:00 on the same wall clock, no zone.
pub const TIME_WALL: u32 = 2;

/// One row.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct UndimRow {
    /// Bytes of this struct.
    pub size: u32,
    /// `HAS_` bits: which fields hold something; the others are not looked at.
    pub present: u32,
    /// Line or record number in the file, from 1: where the record starts.
    pub row: u64,
    /// Microseconds, by `time_kind`.
    pub time_us: i64,
    /// One of the `TIME_` kinds.
    pub time_kind: u32,
    /// Zero.
    pub reserved: u32,
    /// As the device gave it.
    pub value: f64,
    /// As the file gives it.
    pub x: f64,
    /// As the file gives it.
    pub y: f64,
    /// As the file gives it.
    pub z: f64,
    /// Degrees from level.
    pub tilt_deg: f64,
    /// °C.
    pub temperature_c: f64,
    /// Of the value: a UCUM code.
    pub unit: UndimText,
    /// The station's name.
    pub station: UndimText,
    /// The device's name.
    pub device: UndimText,
    /// Free text.
    pub remark: UndimText,
}

impl UndimRow {
    /// A row that holds nothing yet but its size; its `row` has to be set.
    pub const EMPTY: Self = Self {
        size: size_of::<Self>() as u32,
        present: 0,
        row: 0,
        time_us: 0,
        time_kind: TIME_NONE,
        reserved: 0,
        value: 0.0,
        x: 0.0,
        y: 0.0,
        z: 0.0,
        tilt_deg: 0.0,
        temperature_c: 0.0,
        unit: UndimText::EMPTY,
        station: UndimText::EMPTY,
        device: UndimText::EMPTY,
        remark: UndimText::EMPTY,
    };
}
