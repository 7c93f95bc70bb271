//! Files as they pass from the inbox into the raw archive and out of the way.
//!
//! Order of one file: [`archive()`] (bytes under their hash, synced), [`record`] (what happened, beside the
//! bytes), then the ledger, then [`put_away`]
//! or [`set_aside()`]. A program killed anywhere in between starts again at the
//! first step and comes to the same end: every step says or leaves the same when it is done twice.

mod archive;
mod atomic;
mod lock;
mod noticed;
mod put_away;
mod record;
mod set_aside;

pub use archive::{
    ArchiveError, ArchiveOptions, Archived, NotYet, archive, content_path, read_small, remove_leftovers,
};
pub use atomic::{HIDDEN, hidden_name, publish_folder, remove_unfinished, write_atomically};
pub use lock::{LockError, StateLock, state_lock};
pub use noticed::{keep_noticed, read_noticed};
pub use put_away::{PutAwayError, Shelf, delete, put_away};
pub use record::{Happening, Record, Records, read_records, record};
pub use set_aside::{remove_unfinished_reasons, set_aside};

#[cfg(test)]
mod tests;
