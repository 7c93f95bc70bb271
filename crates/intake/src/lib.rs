//! Which files of the inbox are at rest, where they belong, and how they are archived and put away.
//!
//! The pure part knows no file and no clock: [`route`] says where a file belongs. Paths are bytes,
//! relative to the inbox and parted by `/`: a name need not be text.

pub mod route;
