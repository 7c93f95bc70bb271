//! The daemon's side of an importer: find, run in a worker, check every frame.
//!
//! An importer is foreign code. It never runs in this process: [`run`] starts a worker, hands it the opened
//! file, and reads typed frames ([`wire`]) from a pipe until the end frame, the deadline or the first thing
//! that is not as agreed. Whatever an importer does is the fate of one file. [`find`] tells which importers
//! there are.
//!
//! Nothing here loads a library, knows a tank or resolves a time; there is no `unsafe`.

pub mod find;
pub mod run;
pub mod wire;
