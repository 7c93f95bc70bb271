//! Single readings and bursts, before any tank or correction is known: units, times, quality tests.
//!
//! One file for each quality test; each says what it flags, why, an example, its limits and its source.

pub mod burst;
pub mod range;
pub mod repeat;
pub mod tilt;
pub mod time;
pub mod unit;
