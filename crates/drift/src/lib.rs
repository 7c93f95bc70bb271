//! Judge: change against the baseline, and the life of an alert.
//!
//! [`judge`] folds over a tank's surveys, oldest first. What it says of a survey depends on that survey and
//! earlier ones only, so a survey that arrives late changes what comes after it and nothing before.
//!
//! - `baseline`: which survey each one is held against.
//! - `poor`, `mean`: a poor baseline gives way to the mean of the first three good surveys.
//! - `compare`: the change at each place both hold, with own and shared uncertainty kept apart.
//! - `shares`: how the light at a place divides among the fixtures.
//! - `fit`: even change, change of each fixture, and what is left to single places.
//! - `trend`: whether a loss crept or came in one step.
//! - [`reminders`]: what only the passing of time shows: overdue, silent, intake.
//! - [`days`]: a mounted sensor's days against a week of days.
//! - `alerts`: what opens, grows and closes; `cause` and `words` say why, [`steps`] what to do.
//!
//! A change is judged real by the probability of its sign under a normal law with the stated uncertainty and
//! nothing known beforehand. Weighing causes against one another is not done here: `alternatives` stays
//! empty and `cause_probability` is `None`; `alike` names what looks the same.

mod alerts;
mod baseline;
mod cause;
mod compare;
pub mod days;
mod estimate;
mod fit;
mod joint;
mod judge;
mod mean;
mod poor;
pub mod reminders;
mod shares;
pub mod steps;
mod trend;
mod words;

#[cfg(test)]
mod simulate;
#[cfg(test)]
mod tests;

pub use judge::{History, Judged, judge};
