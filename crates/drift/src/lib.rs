//! Judge: change against the baseline, and the life of an alert.
//!
//! [`judge`] folds over a tank's surveys, oldest first. What it says of a survey depends on that survey and
//! earlier ones only, so a survey that arrives late changes what comes after it and nothing before.
//!
//! - `baseline`: which survey each one is held against.
//! - `poor`, `mean`: a poor baseline gives way to the mean of the first three good surveys.
//! - `compare`: the change at each place both hold, with own and shared uncertainty kept apart.
//! - `shares`: how the light at a place divides among the fixtures.
//! - `fit`: the even change, each fixture's and what is left to single places, of one survey against its baseline.
//! - `joint`: what all surveys since the baseline say together: which events, of which shape, from when, how surely.
//! - `trend`, `outlook`: whether a loss crept or came in one step, and where it leads.
//! - [`reminders`]: what only the passing of time shows: overdue, silent, intake.
//! - [`days`]: a mounted sensor's days against a week of days.
//! - `alerts`: what opens, grows and closes; `cause` weighs why, `words` say it, [`steps`] what to do.
//!
//! A single survey's change is judged real by the probability of its sign under a normal law with the stated uncertainty and
//! nothing known beforehand; an alert opens on what all surveys say together, where how often such things happen counts.

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
mod outlook;
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
