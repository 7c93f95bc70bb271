//! Judging, held against simulated truth and against worked cases.

mod poor;
mod rules;
mod truth;

use crate::judge::{History, Judged, judge_with};
use crate::shares::KnowsShares;
use undim_model::{Survey, Tank, Upkeep};

/// Judges surveys of a tank.
fn judged(tank: &Tank, surveys: &[Survey], upkeep: &[Upkeep], shares: &dyn KnowsShares) -> Judged {
    judge_with(
        &History {
            tank,
            surveys: &surveys.iter().collect::<Vec<_>>(),
            upkeep,
        },
        shares,
    )
}
