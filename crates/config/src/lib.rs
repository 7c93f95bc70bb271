//! The site's TOML, checked, with the place of every mistake.
//!
//! [`load`] reads `undim.toml` and the files beside it (formats, sections 2, 3, 4 and 9) and gives either a
//! [`Site`] whose every value is checked, or all mistakes at once, each with file, line, column, the
//! offending text and what to do. [`parse_note`] does the same for a note beside a dropped file, [`load_layout`]
//! for a layout of its own.
//!
//! One file passes through three forms: its text with the findings so far (a sheet), the tree of what was
//! written, read key by key with the place of each value (walk), and the checked value. Names that one
//! file uses and another declares are looked up last (mention). Only `files` touches a disk, and no other
//! crate knows TOML.

mod description;
mod device_file;
mod files;
mod fit;
mod item;
mod layout;
mod layout_file;
mod load;
mod mention;
mod mistake;
mod note;
mod past;
mod sheet;
mod site;
mod site_file;
mod tank_file;
mod tank_shape;
mod upkeep_file;
mod walk;
mod words;

pub use description::{add_described, described, described_tables};
pub use files::{SITE_FILE, find_site, site_at};
pub use layout::{Layout, OptionPlace};
pub use load::{Loaded, LoadedLayout, load, load_layout};
pub use mistake::{Mistake, Severity, Sources, render};
pub use note::{Note, description_part, note_part, parse_note, with_description};
pub use past::{Epoch, timeline};
pub use site::{
    After, Csv, Fingerprints, ImporterSettings, IntakeSettings, NotifySink, Sandbox, Site, Timezone,
};
pub use upkeep_file::{is_upkeep, parse_upkeep};
pub use words::parse_duration;

/// A site file with every key, its default and what it is for.
pub const ANNOTATED_DEFAULTS: &str = include_str!("../../../config/undim.toml");

#[cfg(test)]
mod tests;
