//! Which files of the inbox are at rest, where they belong, and how they are archived and put away.
//!
//! [`route`], [`names`] and [`settle`] are pure: they know no file and no clock. [`listing`],
//! [`lease`], [`spool`] and [`watcher`] touch the machine. Paths are bytes, relative to the inbox and
//! parted by `/`: a name need not be text.
//!
//! The listing is the truth and events are only hints ([`watcher`]); what a file *is* is its content
//! ([`spool::archive`]), never its name, place or time. Nothing here deletes or overwrites a file of
//! the inbox on the strength of a path alone.

pub mod lease;
pub mod listing;
pub mod names;
pub mod route;
pub mod settle;
pub mod spool;
pub mod watcher;

mod beneath;
