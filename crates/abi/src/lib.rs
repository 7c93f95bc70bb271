//! The frozen C contract of an importer.
//!
//! An importer is a dynamic library with one exported constant, [`SYMBOL`], of the type [`UndimImporter`].
//! The contract itself is told in `include/undim_importer.h`, field by field; this crate is the same in
//! Rust, and a test compiles the header and compares every size and offset. Authors who write Rust use
//! `undim-sdk` and never meet these types.
//!
//! Nothing here has behaviour beyond making and looking at the plain structs. Names and meanings are those of
//! the header, so that the two can be read side by side.

#![no_std]

mod importer;
mod message;
mod option;
mod row;
mod text;

pub use importer::{
    ABI_MAJOR, ABI_MINOR, MAGIC, STATUS_DONE, STATUS_FAILED, SYMBOL, UndimHost, UndimImporter, UndimProbe,
    UndimPull, UndimPush, UndimRead, UndimSay,
};
pub use message::{
    NO_OPTION, SAY_ASSUMED, SAY_CHOICE, SAY_FAILURE, SAY_FOUND, SAY_PROBLEM, SAY_QUESTION, UndimMessage,
};
pub use option::{
    OPTION_BOOLEAN, OPTION_DATE, OPTION_EMPTY, OPTION_FLOAT, OPTION_INTEGER, OPTION_TEXT, UndimOption,
};
pub use row::{
    HAS_ALL, HAS_DEVICE, HAS_REMARK, HAS_STATION, HAS_TEMPERATURE, HAS_TILT, HAS_UNIT, HAS_VALUE, HAS_X,
    HAS_Y, HAS_Z, TIME_INSTANT, TIME_NONE, TIME_WALL, UndimRow,
};
pub use text::UndimText;

/// The C header, word for word.
pub const HEADER: &str = include_str!("../include/undim_importer.h");
