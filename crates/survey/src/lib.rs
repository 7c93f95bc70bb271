//! Take in: readings become stations and surveys.
mod book;
mod span;
pub use book::{Arrival, Book, Entry, Placement, local_date};
pub use span::{LONGEST_GAP, Span, Spans};
