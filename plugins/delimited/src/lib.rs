//! Reads delimited text: by a layout, or by finding out for itself.

pub(crate) mod datetime;
pub(crate) mod names;
pub(crate) mod number;
pub(crate) mod units;
