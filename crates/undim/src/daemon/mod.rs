//! The daemon: a machine without a clock, and the loop that gives it one.

mod interrupt;
mod machine;
mod run;
mod systemd;

pub(crate) use interrupt::cancel_on_signals;
pub(crate) use machine::{Looked, Mode, Pace};
pub(crate) use run::{Ended, lock, run};
