//! What importers of tables share: which column is what, how its numbers, times and units are written, and what only
//! the keeper can tell.
//!
//! An importer turns its file into text, cell by cell or as it stands, and hands it over as a [`Text`]; [`read`] does the
//! rest and pushes the rows. It goes through these steps, each a module:
//!
//! 1. `layout` reads what the keeper says about this kind of file.
//! 2. `sniff` finds out the rest from the text's first part: delimiter, header, which column is what (`names`,
//!    `units`), how numbers (`number`) and times (`datetime`) are written. What can't be known is asked.
//! 3. `decide` makes a `plan` of both.
//! 4. `read` follows the plan line by line (`lines`), in bounded memory. A later line that proves the plan wrong
//!    ends the reading with that line named; nothing is read wrongly on.
//!
//! `encoding` knows how texts are encoded. Everything here stands on `undim-sdk` alone.

mod cells;
mod datetime;
mod decide;
pub mod encoding;
mod kind;
mod layout;
mod lines;
mod names;
mod number;
mod plan;
mod read;
mod sniff;
mod text;
mod units;

pub use cells::Cells;
pub use kind::Kind;
pub use layout::{Layout, WIDE_DELIMITER};
pub use lines::line_length;
pub use plan::Fact;
pub use read::read;
pub use text::Text;

use undim_sdk::Failure;

/// Tries to make a plan for a text, which is the whole file where `whole` is true, and gives what stands in the way.
pub fn try_plan(text: &str, whole: bool, layout: &Layout) -> Result<(), Failure> {
    decide::plan(text, whole, layout)
        .map(|_| ())
        .map_err(|refused| refused.trouble.failure)
}

/// The UCUM code of a unit of light as people write it; `None` where the text is no such unit. A sensor's raw signal
/// (mV, counts) counts only where the keeper says so.
pub fn light_unit(text: &str) -> Option<&'static str> {
    units::light(text).filter(|code| code.contains(".m-2") || code.contains(".cm-2") || code.ends_with("lx"))
}

/// True for a dotted path whose last keys name a reading of light; `false` where they only may.
pub fn names_light(path: &str) -> bool {
    names::read_path(path)
        .is_some_and(|named| named.role == names::Role::Value && named.strength != names::Strength::Weak)
}

/// True for a dotted path whose last keys mean anything here: a value, a time, a place, a name.
pub fn names_anything(path: &str) -> bool {
    names::read_path(path).is_some()
}

/// True for a dotted path whose last keys name a value of any sort, such as `value` or `reading`.
pub fn names_value(path: &str) -> bool {
    names::read_path(path).is_some_and(|named| named.role == names::Role::Value)
}
