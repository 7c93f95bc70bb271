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

mod datetime;
mod decide;
pub mod encoding;
mod layout;
mod lines;
mod names;
mod number;
mod plan;
mod read;
mod sniff;
mod text;
mod units;

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
        .map_err(|trouble| trouble.failure)
}
