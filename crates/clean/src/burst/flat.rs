//! Flat: a value that stuck while the light went on moving.
//!
//! - **Flags** `flat` on a run of five or more equal readings; questionable.
//! - **Why**: a device that hangs repeats its last value.
//! - **Example**: 200.3, 201.7, 198.9, then 199.6 five times, then 201.1 and 202.4.
//! - **Limits**: where the display is coarse, or the light moves slowly, equal neighbours are nothing special:
//!   the run must be longer than chance makes it. A burst of nothing but equal values is never flat.
//! - **Source**: US IOOS, *Manual for Real-Time Quality Control of Ocean Optics Data*, version 1.1 (2017), flat
//!   line test; how long a run must be is our own.

use undim_model::{Reason, Reasons};

/// Shorter runs are never flat.
const STUCK_RUN: usize = 5;
/// Other readings that must show that the light moves.
const LEAST_OTHERS: usize = 3;
/// Among how many bursts one may have a run by chance.
const FALSE_RUNS: f64 = 0.01;

/// Marks runs of equal values in a burst whose readings scatter by `sd`.
pub(super) fn mark(values: &[f64], sd: f64, reasons: &mut [Reasons]) {
    let longest = runs(values).map(<[f64]>::len).max().unwrap_or(0);
    if longest < STUCK_RUN || values.len() < longest + LEAST_OTHERS {
        return;
    }
    let Some(needed) = run_needed(values, longest, sd) else {
        return;
    };
    let mut rest = reasons;
    for run in runs(values) {
        let Some((of_run, after)) = rest.split_at_mut_checked(run.len()) else {
            return;
        };
        if run.len() >= needed {
            for reason in of_run {
                reason.add(Reason::Flat);
            }
        }
        rest = after;
    }
}

fn runs(values: &[f64]) -> impl Iterator<Item = &[f64]> {
    values.chunk_by(|one, next| one == next)
}

/// How long a run must be so that chance seldom makes one; `None` where the display is too coarse to tell.
fn run_needed(values: &[f64], longest: usize, sd: f64) -> Option<usize> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    sorted.dedup();
    let resolution = sorted
        .iter()
        .zip(sorted.iter().skip(1))
        .map(|(lower, upper)| upper - lower)
        .fold(f64::INFINITY, f64::min);
    if sorted.len() <= LEAST_OTHERS || sd < 2.0 * resolution {
        return None;
    }
    // Two readings of a normal scatter show the same digit with a probability of resolution / (2 √π sd); a
    // slow light makes neighbours equal more often, as the rest of the burst shows.
    let by_scatter = resolution / (2.0 * std::f64::consts::PI.sqrt() * sd);
    let equal_neighbours = values.len() - runs(values).count();
    let others = values.len() - longest;
    let by_neighbours = (equal_neighbours + 1).saturating_sub(longest) as f64 / others as f64;
    let equal = by_scatter.max(by_neighbours);
    // n · equal^(run − 1) = FALSE_RUNS
    let run = 1.0 + (FALSE_RUNS / values.len() as f64).ln() / equal.ln();
    (equal < 1.0).then(|| STUCK_RUN.max(run.ceil() as usize))
}
