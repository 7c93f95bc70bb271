//! What an importer yields (FORMATS §5), before anything is judged.

use std::sync::Arc;

/// A short text shared by many rows.
pub type Text = Arc<str>;

/// The time of a row as the file gives it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ImportedTime {
    /// An instant: microseconds since 1970-01-01T00:00:00Z.
    Instant(i64),
    /// A wall time without zone: microseconds since 1970-01-01T00:00:00 on the same wall.
    Wall(i64),
}

/// One row, one reading, as the file gives it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ImportedRow {
    /// Line or record number in the source, from 1: the line where the record starts.
    pub row: u64,
    /// When it was read.
    pub time: Option<ImportedTime>,
    /// As the device gave it; `None` for a missing value.
    pub value: Option<f64>,
    /// UCUM code.
    pub unit: Option<Text>,
    /// In the route's frame.
    pub x: Option<f64>,
    /// In the route's frame.
    pub y: Option<f64>,
    /// In the route's frame.
    pub z: Option<f64>,
    /// The station's name, where the file gives it.
    pub station: Option<Text>,
    /// The device's name, where the file gives it.
    pub device: Option<Text>,
    /// Degrees from level.
    pub tilt_deg: Option<f64>,
    /// °C.
    pub temperature_c: Option<f64>,
    /// Free text.
    pub remark: Option<Text>,
}

/// Something an importer found out or assumed about a file.
///
/// Keys are those of `assumed` in FORMATS §8: `encoding`, `delimiter`, `quote`, `decimal`,
/// `header_line`, `timezone`, `unit`, `columns.<column of §5>`; and `unit.x`, `unit.y`, `unit.z` for a
/// coordinate unit that the file states. The host acts on `timezone` and on `unit.*`; the rest is said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fact {
    /// What it is about.
    pub key: String,
    /// What was found.
    pub value: String,
    /// True where it was assumed rather than stated by the file or a layout.
    pub assumed: bool,
}

/// Something in a file that could not be read as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ImportProblem {
    /// Line of the file, from 1; 0 where it concerns the whole file.
    pub line: u64,
    /// Column of the line, counted in fields from 1; 0 where it concerns the whole line.
    pub column: u32,
    /// A sentence.
    pub text: String,
}
