//! Options: what the keeper's layout says, flattened.

use crate::UndimText;

/// A text.
pub const OPTION_TEXT: u32 = 1;
/// Decimal digits, with a sign where negative.
pub const OPTION_INTEGER: u32 = 2;
/// A number with `.` as the decimal point.
pub const OPTION_FLOAT: u32 = 3;
/// `true` or `false`.
pub const OPTION_BOOLEAN: u32 = 4;
/// A date, a time of day, or both, as in RFC 3339.
pub const OPTION_DATE: u32 = 5;
/// An empty list or table; the text is empty.
pub const OPTION_EMPTY: u32 = 6;

/// One option.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct UndimOption {
    /// Bytes of this struct.
    pub size: u32,
    /// One of the `OPTION_` kinds.
    pub kind: u32,
    /// Keys and list positions (from 0) joined by dots; the header tells how unusual keys are written.
    pub path: UndimText,
    /// The value, without quotes.
    pub text: UndimText,
}
