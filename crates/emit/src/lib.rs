//! Survey packages, pages and notices, written to a given writer.
//!
//! Pure: no file, no clock. The caller names the folder, syncs and renames; this crate only turns a
//! judged survey into text, the same text for the same input. Formats: `config/README.md`, sections 6,
//! 7 and 10 (*Written*). The serialised twins live here, so that a written format never freezes a noun
//! of the model.

pub mod alerts;
pub mod calendar;
mod corals;
mod csv_style;
pub mod datapackage_json;
pub mod days_csv;
mod fit_json;
pub mod history_csv;
mod json;
pub mod mounted_json;
mod notice;
pub mod number;
pub mod page;
pub mod readings_csv;
mod report;
#[cfg(test)]
#[path = "../examples/samples/mod.rs"]
mod samples;
mod shared;
mod sign;
pub mod stations_csv;
pub mod survey_json;
pub mod terminal;
pub mod text_cell;
pub mod typed_table;
pub mod words;
mod zone;

pub use csv_style::CsvStyle;
pub use notice::{Notice, notice};
pub use report::Report;
pub use zone::{SiteZone, TimePrinter, UnknownZone};
