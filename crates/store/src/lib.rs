//! The ledger: files, surveys, alerts and deliveries in SQLite.
//!
//! The raw archive and the configuration are the truth; all that stands here can be derived from them
//! again, but for which notices were delivered. So a ledger that is damaged or lost costs a rebuild and
//! perhaps a notice that comes twice, never a reading.
//!
//! [`Store`] is the one writer; a [`Reader`] may look on while it writes. [`Store::commit`] takes
//! everything that belongs together, as the end of an input and the notices it causes, in one transaction.
//! SQL stands in this crate alone, in `schema`, `read` and `write`; the nouns' stored forms in `twin`.
//!
//! The settings are those whose promises were tried by cutting the power: write-ahead log with
//! `synchronous = FULL` (SQLite documentation, "Write-Ahead Logging" and "PRAGMA synchronous").

mod error;
mod read;
mod rows;
mod schema;
mod twin;
mod write;

pub use error::StoreError;
pub use read::Reader;
pub use rows::{
    Content, ContentState, Counts, Decision, Delivery, DeliveryState, Derived, NewDelivery, Note, NoteState,
    StoredChange, StoredSurvey, SurveyHead, Withdrawal,
};
pub use schema::VERSION;
pub use twin::{decode_change, decode_survey, encode_change, encode_survey};
pub use write::{Batch, Store};

#[cfg(test)]
mod tests;
