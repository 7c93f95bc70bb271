//! A small fixed part of the table, as a test.

use super::run;
use super::scenario::Kind;

const FIRST_SEED: u64 = 500_000;

#[test]
fn quiet_tanks_keep_quiet() {
    let score = run(Kind::Quiet, 2.0, 15, FIRST_SEED);
    assert!(score.false_alerts <= 2, "{score:?}");
}

#[test]
fn a_fixture_that_loses_a_tenth_is_found_at_the_next_survey() {
    let score = run(Kind::OneFixture, 1.0, 15, FIRST_SEED);
    assert!(score.at_once >= 13, "{score:?}");
}
