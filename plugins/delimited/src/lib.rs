//! Reads delimited text: by a layout, or by finding out for itself.
//!
//! A file goes through these steps, each a module:
//!
//! 1. `unpacked` and `source` read, unpack and decode it block by block; `encoding` knows the encodings.
//! 2. `layout` reads what the keeper says about this kind of file.
//! 3. `sniff` finds out the rest from the file's first part: delimiter, header, which column is what (`names`,
//!    `units`), how numbers (`number`) and times (`datetime`) are written. What can't be known is asked.
//! 4. `decide` makes a `plan` of both.
//! 5. `read` follows the plan line by line (`lines`), in bounded memory. A later line that proves the plan wrong
//!    ends the reading with that line named; nothing is read wrongly on.

mod datetime;
mod decide;
mod encoding;
mod layout;
mod lines;
mod names;
mod number;
mod plan;
mod probe;
mod read;
mod sniff;
mod source;
mod units;
mod unpacked;

use undim_sdk::{Failure, Importer, Input, Options, Out};

/// The importer of delimited text.
#[derive(Debug)]
pub struct Delimited;

impl Importer for Delimited {
    const NAME: &'static str = "delimited";
    const VERSION: &'static str = env!("CARGO_PKG_VERSION");
    const READS: &'static str = "text tables: commas, semicolons, tabs, bars or blanks between cells";

    fn probe(start: &[u8], file_name: &str) -> u8 {
        probe::probe(start, file_name)
    }

    fn read(input: &mut Input, options: &Options, out: &mut Out) -> Result<(), Failure> {
        read::read(input, options, out)
    }
}

undim_sdk::export!(Delimited);

#[cfg(test)]
mod tests;
