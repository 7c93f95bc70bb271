//! The likeliest cause, first form: three causes by rule, no odds.
//!
//! - A loss under one fixture only, where there are others to compare it with: `lens-dirty`.
//! - An even loss that crept over the surveys rather than came in one step: `fixture-ageing`.
//! - Anything else: `unexplained`.
//!
//! Causes that look the same with what is known are named beside it, never weighed.

use crate::trend::{Creep, creep};
use undim_model::{AlertTarget, Cause, Direction, TrendPoint};

/// A cause once given is taken back only when the line is this far behind the step, so that it does not flicker.
const TAKEN_BACK_AT: f64 = -1.5;

/// A cause, what can't be told from it, and the creep it rests on.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Reading {
    pub(crate) cause: Cause,
    pub(crate) alike: Vec<Cause>,
    pub(crate) creep: Option<Creep>,
}

/// The cause of a change at a target. `before` is what an open alert says so far, `trend` the target's own.
pub(crate) fn of(
    target: &AlertTarget,
    direction: Direction,
    fixtures: usize,
    trend: &[TrendPoint],
    before: Option<Cause>,
) -> Reading {
    let reading = |cause, alike: &[Cause], creep| Reading {
        cause,
        alike: alike.to_vec(),
        creep,
    };
    match (target, direction) {
        (AlertTarget::Fixture(_), Direction::Loss) if fixtures >= 2 => reading(
            Cause::LensDirty,
            &[Cause::FixtureAgeing, Cause::FixtureFault, Cause::LevelsChanged],
            None,
        ),
        (AlertTarget::Tank, Direction::Loss) => {
            let needed = if before == Some(Cause::FixtureAgeing) {
                TAKEN_BACK_AT
            } else {
                0.0
            };
            match creep(trend) {
                Some(creep) if creep.ahead >= needed => reading(
                    Cause::FixtureAgeing,
                    &[Cause::DeviceDrift, Cause::LensDirty],
                    Some(creep),
                ),
                _ => reading(
                    Cause::Unexplained,
                    &[
                        Cause::DeviceDrift,
                        Cause::LevelsChanged,
                        Cause::LensDirty,
                        Cause::WaterClarity,
                    ],
                    None,
                ),
            }
        }
        (AlertTarget::Tank, Direction::Gain) => reading(
            Cause::Unexplained,
            &[
                Cause::DeviceDrift,
                Cause::LevelsChanged,
                Cause::WaterClarity,
                Cause::RoomLight,
            ],
            None,
        ),
        (AlertTarget::Fixture(_), _) => reading(
            Cause::Unexplained,
            &[Cause::LevelsChanged, Cause::FixtureMoved, Cause::LensDirty],
            None,
        ),
        (AlertTarget::Station(_) | AlertTarget::Stations(_) | AlertTarget::Path(_), Direction::Loss) => {
            reading(
                Cause::Unexplained,
                &[Cause::StationShaded, Cause::RockMoved, Cause::PositionOff],
                None,
            )
        }
        (AlertTarget::Station(_) | AlertTarget::Stations(_) | AlertTarget::Path(_), Direction::Gain) => {
            reading(Cause::Unexplained, &[Cause::RockMoved, Cause::PositionOff], None)
        }
    }
}
