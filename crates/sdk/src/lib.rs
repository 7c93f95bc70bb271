//! What an importer author uses.
//!
//! An importer turns the bytes of one file into rows, one row for each reading of light, exactly as the file
//! gives them. It cleans nothing, corrects nothing and places nothing: undim does, the same way for every
//! importer. It is a small library that undim loads in a process of its own, without network and without
//! access to any file but the one it is given.
//!
//! # A whole importer
//!
//! Files of lines such as `reef-top 212.5`:
//!
//! ```
//! use undim_sdk::{Failure, Importer, Input, Options, Out, Row};
//!
//! struct Pairs;
//!
//! impl Importer for Pairs {
//!     const NAME: &'static str = "pairs";
//!     const VERSION: &'static str = "0.1.0";
//!     const READS: &'static str = "lines of a station and a value";
//!
//!     fn probe(start: &[u8], _file_name: &str) -> u8 {
//!         if start.starts_with(b"#pairs") { 100 } else { 0 }
//!     }
//!
//!     fn read(input: &mut Input, _options: &Options, out: &mut Out) -> Result<(), Failure> {
//!         let text = String::from_utf8(input.read_to_limit(64 << 20)?)
//!             .map_err(|_| Failure::unusable(0, 0, "this is not UTF-8 text"))?;
//!         out.assumed("unit", "umol.m-2.s-1");
//!         for (line, content) in (1..).zip(text.lines()).skip(1) {
//!             let Some((station, value)) = content.split_once(' ') else {
//!                 return Err(Failure::unusable(line, 0, "here a station and a value should stand"));
//!             };
//!             let value = value.trim().parse().ok();
//!             if value.is_none() {
//!                 out.problem(line, 2, "this is no number");
//!             }
//!             out.push(&Row { row: line, value, station: Some(station), ..Row::default() })?;
//!         }
//!         Ok(())
//!     }
//! }
//!
//! undim_sdk::export!(Pairs);
//!
//! # fn main() {
//! // In the importer's tests, without undim and without a file:
//! let seen = undim_sdk::testing::run::<Pairs>(b"#pairs\nreef-top 212.5\n", "pairs.txt", &[]);
//! assert_eq!(seen.result, Ok(()));
//! assert_eq!(seen.rows[0].value, Some(212.5));
//! # }
//! ```
//!
//! Its `Cargo.toml` needs `crate-type = ["cdylib"]` under `[lib]` (and `"rlib"` beside it for tests in a
//! `tests` folder). Built, the library goes into the site's `plugins` folder; that is all.
//!
//! # What to give
//!
//! [`Row`] tells each column and its unit. Give what the file says and leave out what it does not say: a missing
//! value is a row with `value: None`, never a row left out. A time is an instant where the file gives an
//! offset, otherwise a wall time; never resolve a zone. What the importer found out about the file is told with
//! [`Out::found`], what it had to assume with [`Out::assumed`]: both stand in the survey for the keeper to see.
//!
//! # When something is wrong
//!
//! A cell that can't be read: [`Out::problem`], and on. A file that can't be used: return
//! [`Failure::unusable`] with line and column. A file that can be read in two ways: return
//! [`Failure::question`] with the choices; guessing would put a wrong survey into the keeper's book. A layout
//! that asks for nonsense: [`Failure::option`]. A panic is caught and set down as a failure of this file.
//!
//! # Limits
//!
//! Memory and time are limited (512 MiB and a minute, unless the site says otherwise). Threads, programs, sockets
//! and other files are refused. The environment is empty, and standard output belongs to undim; what is
//! written to standard error is kept for the log, up to 64 KiB.

pub mod cases;
mod exported;
mod failure;
mod input;
mod options;
mod out;
mod row;
pub mod testing;

pub use exported::descriptor;
pub use failure::Failure;
pub use input::Input;
pub use options::{OptionItem, OptionKind, Options};
pub use out::Out;
pub use row::{Row, Time};
/// The C contract underneath; [`export!`] needs it.
pub use undim_abi as abi;

/// Turns the bytes of a file into rows.
pub trait Importer {
    /// Lower-case letters, digits and `-`, 1 to 64 bytes: what a route's `importer` key names.
    const NAME: &'static str;
    /// The importer's version, 1 to 64 bytes; it stands in every survey made with it. Usually
    /// `env!("CARGO_PKG_VERSION")`.
    const VERSION: &'static str;
    /// What it reads, for people; up to 256 bytes.
    const READS: &'static str;

    /// How surely this importer can read a file: 0 not at all, 100 beyond doubt. The surest importer reads it.
    ///
    /// `start` is the whole file or its first 64 KiB, whatever is less; `file_name` has no folder.
    fn probe(start: &[u8], file_name: &str) -> u8;

    /// Reads a file from its first byte to its last and pushes a row for each reading.
    fn read(input: &mut Input, options: &Options, out: &mut Out) -> Result<(), Failure>;
}

/// Exports an importer from its library. Once in a crate, at its top level.
#[macro_export]
macro_rules! export {
    ($importer:ty) => {
        const _: () = {
            #[expect(unsafe_code, reason = "the one symbol that undim looks for")]
            #[unsafe(export_name = "undim_importer_v1")]
            static IMPORTER: $crate::abi::UndimImporter = $crate::descriptor::<$importer>();
        };
    };
}

/// The example of the specification is compiled with the documentation tests.
#[cfg(doctest)]
#[doc = include_str!("../../../plugins/README.md")]
struct Specification;
