//! Changes as probabilities: their intervals, and how sure their direction is.

use undim_model::{Change, Direction};
use undim_stats::normal;

/// Half the width of a two-sided 95 % interval, in standard uncertainties.
pub(crate) const TWO_SIDED_95: f64 = 1.959_963_984_540_054;
/// One-sided 95 %.
pub(crate) const ONE_SIDED_95: f64 = 1.644_853_626_951_472_7;

/// A change known by its logarithm: ln(now / then) with its standard uncertainty.
pub(crate) fn from_ln(ln: f64, u: f64) -> Change {
    let percent = |x: f64| 100.0 * x.exp_m1();
    Change {
        percent: percent(ln),
        u_percent: 100.0 * ln.exp() * u,
        ci95: [percent(ln - TWO_SIDED_95 * u), percent(ln + TWO_SIDED_95 * u)],
        p_real: sureness(ln, u),
    }
}

/// A change known by now / then − 1 with its standard uncertainty. More than everything can't be lost.
pub(crate) fn from_relative(change: f64, u: f64) -> Change {
    let percent = |x: f64| 100.0 * x.max(-1.0);
    Change {
        percent: percent(change),
        u_percent: 100.0 * u,
        ci95: [
            percent(change - TWO_SIDED_95 * u),
            percent(change + TWO_SIDED_95 * u),
        ],
        p_real: sureness(change, u),
    }
}

/// The probability that a value has the sign of its estimate.
fn sureness(value: f64, u: f64) -> f64 {
    if value == 0.0 || u <= 0.0 {
        return if value == 0.0 { 0.5 } else { 1.0 };
    }
    normal::cdf(value.abs() / u)
}

/// How far a change goes in a direction, percent; negative where it goes the other way.
pub(crate) fn toward(direction: Direction, percent: f64) -> f64 {
    match direction {
        Direction::Loss => -percent,
        Direction::Gain => percent,
    }
}

/// The probability that a change goes in a direction.
pub(crate) fn probability(direction: Direction, change: &Change) -> f64 {
    if toward(direction, change.percent) >= 0.0 {
        change.p_real
    } else {
        1.0 - change.p_real
    }
}

/// True where the 95 % interval leaves out no change.
pub(crate) fn is_proven(change: &Change) -> bool {
    change.ci95[0] > 0.0 || change.ci95[1] < 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logarithms_become_percent() {
        let change = from_ln((0.9_f64).ln(), 0.02);
        assert!((change.percent + 10.0).abs() < 1e-9 && (change.u_percent - 1.8).abs() < 1e-9);
        assert!(is_proven(&change) && change.p_real > 0.999_999);
        // Of no change at all either sign is as likely.
        assert_eq!(from_relative(0.0, 0.02).p_real, 0.5);
        assert!(!is_proven(&from_relative(-0.03, 0.02)));
        // No more than everything is lost.
        assert_eq!(from_relative(-0.9, 0.3).ci95[0], -100.0);
    }

    #[test]
    fn a_direction_is_a_sign() {
        let change = from_relative(-0.03, 0.02);
        assert_eq!(toward(Direction::Loss, change.percent), 3.0);
        assert_eq!(toward(Direction::Gain, change.percent), -3.0);
        let both = probability(Direction::Loss, &change) + probability(Direction::Gain, &change);
        assert!((both - 1.0).abs() < 1e-12 && probability(Direction::Loss, &change) > 0.9);
    }
}
