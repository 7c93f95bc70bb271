//! Reads delimited text: by a layout, or by finding out for itself.
//!
//! `unpacked` and `source` read the file, unpack and decode it block by block; `probe` says how surely it is a table.
//! What its columns are and how they are read is found out by `undim-tabular`, which other importers of tables share.

mod probe;
mod source;
mod unpacked;

use source::Source;
use undim_sdk::{Failure, Importer, Input, Options, Out};
use undim_tabular::{Kind, Layout};

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
        let mut layout = Layout::new(options, Kind::Delimited)?;
        layout.called(input.file_name());
        let mut source = Source::open(input, layout.encoding(), layout.wide_delimiter())?;
        undim_tabular::read(&mut source, &layout, out)
    }
}

undim_sdk::export!(Delimited);

#[cfg(test)]
mod tests;
