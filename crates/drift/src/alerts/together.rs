//! Alerts on the tank and its fixtures, by what all surveys since the baseline say together.
//!
//! An alert opens where something lasting happened to its target with at least 95 % (neither nothing nor a slip of the last
//! survey) and its mean lies past the threshold; or where the mean lies past it and more than half of it is sure with 95 %,
//! whatever made it (a slow slide needs no event). A fixture is judged by what happened to it beside the tank.

use super::{Alerts, Claim, Finding, Outcome, thresholds};
use crate::estimate::{from_ln, toward};
use crate::joint::{Amount, Class, Said};
use undim_model::{AlertTarget, Direction};

impl Alerts {
    pub(super) fn by_evidence(
        &mut self,
        finding: &Finding<'_>,
        said: &Said,
        direction: Direction,
        outcome: &mut Outcome,
    ) {
        let thresholds = thresholds(finding.tank, direction);
        let tank = &said.totals.tank;
        let claim = Claim {
            target: AlertTarget::Tank,
            change: from_ln(tank.ln(), tank.u()),
            judged: from_ln(tank.ln(), tank.u()),
            p: sure(said, tank, direction, thresholds.notice, &|class| {
                matches!(class, Class::Even | Class::Water | Class::Zero)
            }),
            left_over: None,
            thresholds,
        };
        self.weigh(finding, direction, &claim, true, outcome);
        for (at, amount) in said.totals.fixtures.iter().enumerate() {
            let Some(id) = finding.fixtures.get(at) else {
                continue;
            };
            let claim = Claim {
                target: AlertTarget::Fixture(id.clone()),
                change: from_ln(amount.ln() + tank.ln(), amount.u().hypot(tank.u())),
                judged: from_ln(amount.ln(), amount.u()),
                p: sure(said, amount, direction, thresholds.notice, &|class| {
                    class == Class::Fixture(at)
                }),
                left_over: None,
                thresholds,
            };
            self.weigh(finding, direction, &claim, true, outcome);
        }
    }
}

/// How sure it is that a target changed in a direction.
fn sure(
    said: &Said,
    amount: &Amount,
    direction: Direction,
    notice: f64,
    mine: &dyn Fn(Class) -> bool,
) -> f64 {
    let half = match direction {
        Direction::Loss => amount.below((-notice / 200.0).ln_1p()),
        Direction::Gain => 1.0 - amount.below((notice / 200.0).ln_1p()),
    };
    if toward(direction, amount.ln()) <= 0.0 {
        return half;
    }
    let known = said
        .events
        .iter()
        .filter(|event| mine(event.class) && event.course.lasts())
        .map(|event| event.p_real)
        .fold(0.0, f64::max);
    let open: f64 = said
        .open
        .lasting
        .iter()
        .filter(|(class, _)| mine(*class))
        .map(|(_, p)| p)
        .sum();
    half.max(known).max(open)
}
