//! Where a reading was taken, what it belongs to, and how each fixture's light reaches it.
//!
//! [`TankOnDay`] is a tank as it stood on one day: of its blocks those that held then, and that day's water
//! level. It turns a file's x, y, z into the tank's own axes (formats, sections 1 and 3), tells what lies
//! outside the glass and what above the water, and finds the station of every reading (formats, section 10,
//! places). [`light`] holds the geometry of light: how much of it each fixture sends to a place, and how
//! steeply it changes there.
//!
//! Positions are `[Option<f64>; 3]`: from left, from bottom, from front, in cm; what is not known is `None`.

mod frame;
pub mod light;
pub mod order;
mod shape;
mod station;
mod tank_on_day;

pub use frame::{FrameError, FrameInUse};
pub use station::StationMatch;
pub use tank_on_day::{TankOnDay, face};

/// Differences below this are rounding noise of unit conversions, cm: what lies this near to an end counts as
/// on it.
const NOISE_CM: f64 = 1e-6;
