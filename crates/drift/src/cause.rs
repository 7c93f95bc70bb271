//! From what happened to why: odds of causes.
//!
//! The evidence says which shape changed (`joint`); which cause made that shape is a matter of how often each does, times
//! what is known: the upkeep list, reference readings, declared levels, a change of the device. Shapes that the surveys can't
//! tell apart are pooled first and split by how often each happens only. Causes of one pool are alike: no
//! probability above 0.6 is stated among them, and none above 0.95 at all.

use crate::joint::{Class, Event};
use undim_model::{Alternative, Cause, Direction, Priors};

/// The highest probability stated, and the highest among causes that are alike.
const MOST: f64 = 0.95;
const MOST_ALIKE: f64 = 0.6;
/// A cause of the pool counts as alike from this probability on.
const ALIKE_FROM: f64 = 0.05;
/// Others are named from this probability on.
const NAMED_FROM: f64 = 0.01;
/// Two shapes further apart than this, in standard deviations, are told apart.
const TOLD_APART: f64 = 3.0;
/// What is unlikely in the light of what is known keeps this part of its odds.
const HARDLY: f64 = 0.05;
/// And what is likely gets its odds so many times.
const MUCH: f64 = 20.0;

/// What is known beside the light.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
#[expect(clippy::struct_excessive_bools, reason = "each is a fact of its own")]
pub(crate) struct Known {
    /// A reference read both the baseline and this survey: it is not the device, nor growth on its sensor.
    pub(crate) by_reference: bool,
    /// The device or its correction is another than in the baseline.
    pub(crate) device_changed: bool,
    /// The tank's file sets other levels than on the baseline's day, for this target.
    pub(crate) levels_differ: bool,
    /// Lenses or covers of this target were cleaned: before the change began to show, or after it.
    pub(crate) cleaned: Option<When>,
    /// The sensor was wiped.
    pub(crate) wiped: Option<When>,
    /// Water or carbon was changed.
    pub(crate) water: Option<When>,
    /// Rock or corals were moved between the last survey without and the first with the change.
    pub(crate) moved: bool,
    /// The target's only fixture is the whole tank.
    pub(crate) one_fixture: bool,
}

/// When upkeep was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum When {
    /// Between the last survey without the change and the first with it.
    AtItsOnset,
    /// Since, and the change is still there.
    Since,
}

/// A cause with its odds.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Reading {
    pub(crate) cause: Cause,
    /// `None` where nothing was weighed.
    pub(crate) probability: Option<f64>,
    pub(crate) alternatives: Vec<Alternative>,
    pub(crate) alike: Vec<Cause>,
    /// Each shape's probability, the likeliest first, where shapes were weighed.
    pub(crate) classes: Vec<(Class, f64)>,
    /// The shapes that could not be told apart, the likeliest among them.
    pub(crate) pooled: Vec<Class>,
}

/// Weighs the causes of a change at the tank or a fixture. `event` is what was found of it, where it is beyond doubt;
/// `mine` tells the shapes that belong to the target.
pub(crate) fn weigh(
    event: Option<&Event>,
    mine: &dyn Fn(Class) -> bool,
    direction: Direction,
    priors: &Priors,
    known: Known,
) -> Reading {
    let (mut classes, p_ramp) = match event {
        Some(event) => (event.classes.clone(), event.p_ramp),
        // A slow slide of the whole tank that needs no event.
        None => (vec![(Class::Even, 1.0)], 1.0),
    };
    classes.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let likeliest = classes.first().map_or(Class::Even, |(class, _)| *class);
    let apart = |class: Class| event.is_none_or(|event| event.apart(class) >= TOLD_APART);
    let pooled: Vec<Class> = classes
        .iter()
        .map(|(class, _)| *class)
        .filter(|class| *class == likeliest || !apart(*class))
        .collect();
    // Within the pool only how often each shape happens counts.
    let pool: f64 = classes
        .iter()
        .filter(|(class, _)| pooled.contains(class))
        .map(|(_, p)| p)
        .sum();
    let often = |class: Class| match class {
        Class::Even => priors.even,
        Class::Water => priors.water,
        Class::Zero => priors.zero,
        Class::Fixture(_) => priors.fixture,
        Class::Unexplained => priors.unexplained,
    };
    let all: f64 = pooled.iter().map(|class| often(*class)).sum();
    if all > 0.0 {
        for (class, p) in classes.iter_mut().filter(|(class, _)| pooled.contains(class)) {
            *p = pool * often(*class) / all;
        }
    }
    let mut odds: Vec<(Cause, f64, bool)> = Vec::new();
    for (class, p) in &classes {
        let mine = mine(*class);
        for (cause, share) in causes(*class, direction, p_ramp, known.one_fixture) {
            let factor = if mine {
                factor(cause, direction, known)
            } else {
                1.0
            };
            let odd = p * share * factor;
            match odds.iter_mut().find(|(other, _, _)| *other == cause) {
                Some((_, sum, in_pool)) => {
                    *sum += odd;
                    *in_pool |= pooled.contains(class);
                }
                None => odds.push((cause, odd, pooled.contains(class))),
            }
        }
    }
    stated(odds, classes, pooled)
}

/// Weighs the causes of a change at single stations.
pub(crate) fn at_stations(direction: Direction, several: bool, known: Known) -> Reading {
    let odds: &[(Cause, f64)] = match (direction, several) {
        (_, true) => &[
            (Cause::Unexplained, 0.5),
            (Cause::RockMoved, 0.3),
            (Cause::PositionOff, 0.2),
        ],
        (Direction::Loss, false) => &[
            (Cause::StationShaded, 0.6),
            (Cause::RockMoved, 0.2),
            (Cause::PositionOff, 0.2),
        ],
        (Direction::Gain, false) => &[
            (Cause::RockMoved, 0.5),
            (Cause::PositionOff, 0.4),
            (Cause::Unexplained, 0.1),
        ],
    };
    let odds = odds
        .iter()
        .map(|(cause, odd)| {
            let factor = if known.moved && *cause == Cause::RockMoved {
                MUCH
            } else {
                1.0
            };
            (*cause, odd * factor, true)
        })
        .collect();
    stated(odds, Vec::new(), Vec::new())
}

/// Orders, scales and caps.
fn stated(mut odds: Vec<(Cause, f64, bool)>, classes: Vec<(Class, f64)>, pooled: Vec<Class>) -> Reading {
    let sum: f64 = odds.iter().map(|(_, odd, _)| odd).sum();
    for (_, odd, _) in &mut odds {
        *odd = if sum > 0.0 { *odd / sum } else { 0.0 };
    }
    odds.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let Some(&(cause, probability, _)) = odds.first() else {
        return Reading {
            cause: Cause::Unexplained,
            probability: None,
            alternatives: Vec::new(),
            alike: Vec::new(),
            classes,
            pooled,
        };
    };
    let is_pooled = odds.first().is_some_and(|first| first.2);
    let alike: Vec<Cause> = odds
        .iter()
        .skip(1)
        .filter(|(_, p, in_pool)| is_pooled && *in_pool && *p >= ALIKE_FROM)
        .map(|(cause, _, _)| *cause)
        .collect();
    let most = if alike.is_empty() { MOST } else { MOST_ALIKE };
    // What is cut off goes to those that are alike, else it stays unsaid.
    let spare = (probability - most).max(0.0);
    let others: f64 = odds
        .iter()
        .skip(1)
        .filter(|(c, _, _)| alike.contains(c))
        .map(|(_, p, _)| p)
        .sum();
    let alternatives = odds
        .iter()
        .skip(1)
        .map(|(other, p, _)| {
            let more = if alike.contains(other) && others > 0.0 {
                spare * p / others
            } else {
                0.0
            };
            Alternative {
                cause: *other,
                probability: (p + more).min(MOST_ALIKE),
            }
        })
        .filter(|other| other.probability >= NAMED_FROM)
        .collect();
    Reading {
        cause,
        probability: Some(probability.min(most)),
        alternatives,
        alike,
        classes,
        pooled,
    }
}

/// How often each cause makes a shape.
fn causes(class: Class, direction: Direction, p_ramp: f64, one_fixture: bool) -> Vec<(Cause, f64)> {
    let mixed = |step: &[(Cause, f64)], ramp: &[(Cause, f64)]| -> Vec<(Cause, f64)> {
        let mut all: Vec<(Cause, f64)> = Vec::new();
        for (list, part) in [(step, 1.0 - p_ramp), (ramp, p_ramp)] {
            for (cause, share) in list {
                match all.iter_mut().find(|(other, _)| other == cause) {
                    Some((_, sum)) => *sum += part * share,
                    None => all.push((*cause, part * share)),
                }
            }
        }
        all
    };
    let fixture = || match direction {
        Direction::Loss => mixed(
            &[
                (Cause::LensDirty, 0.55),
                (Cause::FixtureFault, 0.25),
                (Cause::LevelsChanged, 0.20),
            ],
            &[(Cause::LensDirty, 0.55), (Cause::FixtureAgeing, 0.45)],
        ),
        Direction::Gain => mixed(
            &[(Cause::LevelsChanged, 0.6), (Cause::FixtureMoved, 0.4)],
            &[(Cause::LevelsChanged, 0.6), (Cause::FixtureMoved, 0.4)],
        ),
    };
    match (class, direction) {
        (Class::Even, Direction::Loss) => {
            let even = mixed(
                &[
                    (Cause::LevelsChanged, 0.4),
                    (Cause::DeviceDrift, 0.4),
                    (Cause::SensorFouled, 0.2),
                ],
                &[
                    (Cause::FixtureAgeing, 0.5),
                    (Cause::DeviceDrift, 0.3),
                    (Cause::SensorFouled, 0.2),
                ],
            );
            if !one_fixture {
                return even;
            }
            // With one fixture its own causes change all alike, too.
            let mut both = even;
            for (cause, share) in fixture() {
                match both.iter_mut().find(|(other, _)| *other == cause) {
                    Some((_, sum)) => *sum += share,
                    None => both.push((cause, share)),
                }
            }
            both.iter().map(|(cause, share)| (*cause, share / 2.0)).collect()
        }
        (Class::Even, Direction::Gain) => vec![
            (Cause::LevelsChanged, 0.5),
            (Cause::DeviceDrift, 0.3),
            (Cause::RoomLight, 0.2),
        ],
        (Class::Water, _) => vec![(Cause::WaterClarity, 1.0)],
        (Class::Zero, Direction::Loss) => vec![(Cause::DeviceDrift, 1.0)],
        (Class::Zero, Direction::Gain) => vec![(Cause::DeviceDrift, 0.5), (Cause::RoomLight, 0.5)],
        (Class::Fixture(_), _) => fixture(),
        (Class::Unexplained, _) => vec![(Cause::Unexplained, 1.0)],
    }
}

/// What is known, as a factor on a cause's odds.
fn factor(cause: Cause, direction: Direction, known: Known) -> f64 {
    let by = |when: Option<When>, at_onset: f64, since: f64| match when {
        Some(When::AtItsOnset) => at_onset,
        Some(When::Since) => since,
        None => 1.0,
    };
    let loss = direction == Direction::Loss;
    match cause {
        Cause::DeviceDrift | Cause::SensorFouled if known.by_reference => HARDLY,
        Cause::DeviceDrift if known.device_changed => 4.0,
        Cause::SensorFouled if loss => by(known.wiped, HARDLY, HARDLY),
        Cause::LevelsChanged if known.levels_differ => MUCH,
        // A film that was cleaned off and is still there was none.
        Cause::LensDirty if loss => by(known.cleaned, 0.5, HARDLY),
        Cause::WaterClarity if loss => by(known.water, 1.0, 0.5),
        Cause::WaterClarity => by(known.water, 4.0, 1.0),
        _ => 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(odds: &[(Cause, f64)]) -> Reading {
        stated(
            odds.iter().map(|(cause, odd)| (*cause, *odd, true)).collect(),
            Vec::new(),
            Vec::new(),
        )
    }

    #[test]
    fn causes_that_are_alike_never_get_more_than_six_tenths() {
        let reading = reading(&[(Cause::LensDirty, 0.9), (Cause::FixtureFault, 0.1)]);
        assert_eq!(
            (reading.cause, reading.probability),
            (Cause::LensDirty, Some(0.6))
        );
        assert_eq!(reading.alike, [Cause::FixtureFault]);
        assert!((reading.alternatives[0].probability - 0.4).abs() < 1e-12);
    }

    #[test]
    fn a_lone_cause_gets_no_more_than_ninety_five_in_a_hundred() {
        let reading = reading(&[(Cause::WaterClarity, 0.999), (Cause::LevelsChanged, 0.001)]);
        assert_eq!(reading.probability, Some(0.95));
        assert!(reading.alike.is_empty() && reading.alternatives.is_empty());
    }

    #[test]
    fn what_is_known_moves_the_odds() {
        let known = Known {
            by_reference: true,
            ..Known::default()
        };
        assert_eq!(factor(Cause::DeviceDrift, Direction::Loss, known), HARDLY);
        let cleaned = Known {
            cleaned: Some(When::Since),
            ..Known::default()
        };
        assert_eq!(factor(Cause::LensDirty, Direction::Loss, cleaned), HARDLY);
        assert_eq!(factor(Cause::FixtureAgeing, Direction::Loss, cleaned), 1.0);
        // Shares of a class add up to one.
        for class in [
            Class::Even,
            Class::Water,
            Class::Zero,
            Class::Fixture(0),
            Class::Unexplained,
        ] {
            for direction in [Direction::Loss, Direction::Gain] {
                for one in [false, true] {
                    let sum: f64 = causes(class, direction, 0.3, one).iter().map(|(_, p)| p).sum();
                    assert!((sum - 1.0).abs() < 1e-12, "{class:?} {direction:?}");
                }
            }
        }
    }
}
