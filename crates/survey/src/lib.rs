//! Take in: readings become stations and surveys.
//!
//! `clean → correct → place → survey`: the pure middle of undim. [`scan`] looks through a file's times,
//! [`Book`] says which readings make one survey and what it is called, [`take_in`] judges them, and
//! [`TakenIn::each_reading`] gives them one by one to whoever writes them down. [`mounted()`] makes minutes and
//! days of a mounted sensor's log.

mod at_source;
mod book;
mod merged;
mod mounted;
mod names;
mod read_again;
mod register;
mod source;
mod span;
mod stage;
mod stations;
mod take_in;
mod verdicts;

pub use book::{Arrival, Book, Entry, Placement, local_date};
pub use mounted::{Day, Minute, Mounted, mounted};
pub use names::{id_from, is_id};
pub use register::{MOST_DEVICES, MOST_STATIONS, MOST_UNITS};
pub use source::{
    MOST_ROWS_OUT_OF_ORDER, RowIter, Rows, RowsError, Scan, Source, TimedRow, Timing, in_time_order, scan,
};
pub use span::{LONGEST_GAP, Span, Spans};
pub use stage::{SiteView, WARM_UP_MIN};
pub use take_in::{TakeInError, TakenIn, take_in};
