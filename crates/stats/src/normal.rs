//! The normal distribution: its cumulative probability, tails, quantile and log-density.

use std::f64::consts::{PI, SQRT_2};

/// Below this the power series is taken, above it the continued fraction; both hold full precision here.
const SERIES_UP_TO: f64 = 2.0;
/// Beyond this the upper tail is less than the smallest positive number.
const TAIL_ENDS: f64 = 39.0;

/// ln φ(x), the natural logarithm of the standard normal density.
pub fn ln_density(x: f64) -> f64 {
    -0.5 * x * x - 0.5 * (2.0 * PI).ln()
}

/// Φ(x): the probability that a standard normal value lies below `x`.
pub fn cdf(x: f64) -> f64 {
    upper_tail(-x)
}

/// 1 − Φ(x), in full relative precision far out in the tail.
///
/// Abramowitz & Stegun, *Handbook of Mathematical Functions* (1964): the series 26.2.11 near the middle,
/// the continued fraction 26.2.14 further out.
pub fn upper_tail(x: f64) -> f64 {
    if x.is_nan() {
        return f64::NAN;
    }
    let size = x.abs();
    if size < SERIES_UP_TO {
        return 0.5 - half_by_series(x);
    }
    let tail = tail_by_fraction(size);
    if x > 0.0 { tail } else { 1.0 - tail }
}

/// The probability that a standard normal value lies further from zero than `x` does.
pub fn two_sided(x: f64) -> f64 {
    (2.0 * upper_tail(x.abs())).min(1.0)
}

/// Φ(x) − ½ = φ(x) · Σ xᵏ / (1·3·5 … k), k = 1, 3, 5, …
fn half_by_series(x: f64) -> f64 {
    let mut term = x;
    let mut sum = x;
    let mut odd = 1.0;
    while term.abs() > f64::EPSILON * 0.1 * sum.abs() {
        odd += 2.0;
        term *= x * x / odd;
        sum += term;
    }
    sum * ln_density(x).exp()
}

/// φ(x) / (x + 1/(x + 2/(x + 3/(x + …)))), from its end; for x ≥ 2, where 200 levels are more than enough.
fn tail_by_fraction(x: f64) -> f64 {
    if x > TAIL_ENDS {
        return 0.0;
    }
    let below = (1..=200)
        .rev()
        .fold(x, |below, level| x + f64::from(level) / below);
    // exp(−x²/2) loses digits in x² when x is large: the square is split into a short part and the rest.
    let short = (x * 16.0).trunc() / 16.0;
    let rest = (x - short) * (x + short);
    (-0.5 * short * short).exp() * (-0.5 * rest).exp() / (SQRT_2 * PI.sqrt() * below)
}

/// The value below which a standard normal value lies with probability `p`; infinite at 0 and 1, NaN outside.
///
/// M. J. Wichura, Algorithm AS 241, *Applied Statistics* 37 (1988) 477–484, routine PPND16; about 16 digits.
pub fn quantile(p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    let from_middle = p - 0.5;
    if from_middle.abs() <= 0.425 {
        let r = 0.180_625 - from_middle * from_middle;
        return from_middle * polynomial(&MIDDLE[0], r) / polynomial(&MIDDLE[1], r);
    }
    let tail = if from_middle < 0.0 { p } else { 1.0 - p };
    if tail == 0.0 {
        return f64::INFINITY.copysign(from_middle);
    }
    let r = (-tail.ln()).sqrt();
    let size = if r <= 5.0 {
        polynomial(&TAIL[0], r - 1.6) / polynomial(&TAIL[1], r - 1.6)
    } else {
        polynomial(&FAR[0], r - 5.0) / polynomial(&FAR[1], r - 5.0)
    };
    size.copysign(from_middle)
}

fn polynomial(coefficients: &[f64; 8], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// Numerator and denominator, lowest power first, as printed.
#[expect(
    clippy::unreadable_literal,
    clippy::excessive_precision,
    reason = "as printed in AS 241"
)]
const MIDDLE: [[f64; 8]; 2] = [
    [
        3.3871328727963666080,
        1.3314166789178437745e2,
        1.9715909503065514427e3,
        1.3731693765509461125e4,
        4.5921953931549871457e4,
        6.7265770927008700853e4,
        3.3430575583588128105e4,
        2.5090809287301226727e3,
    ],
    [
        1.0,
        4.2313330701600911252e1,
        6.8718700749205790830e2,
        5.3941960214247511077e3,
        2.1213794301586595867e4,
        3.9307895800092710610e4,
        2.8729085735721942674e4,
        5.2264952788528545610e3,
    ],
];

#[expect(
    clippy::unreadable_literal,
    clippy::excessive_precision,
    reason = "as printed in AS 241"
)]
const TAIL: [[f64; 8]; 2] = [
    [
        1.42343711074968357734,
        4.63033784615654529590,
        5.76949722146069140550,
        3.64784832476320460504,
        1.27045825245236838258,
        2.41780725177450611770e-1,
        2.27238449892691845833e-2,
        7.74545014278341407640e-4,
    ],
    [
        1.0,
        2.05319162663775882187,
        1.67638483018380384940,
        6.89767334985100004550e-1,
        1.48103976427480074590e-1,
        1.51986665636164571966e-2,
        5.47593808499534494600e-4,
        1.05075007164441684324e-9,
    ],
];

#[expect(
    clippy::unreadable_literal,
    clippy::excessive_precision,
    reason = "as printed in AS 241"
)]
const FAR: [[f64; 8]; 2] = [
    [
        6.65790464350110377720,
        5.46378491116411436990,
        1.78482653991729133580,
        2.96560571828504891230e-1,
        2.65321895265761230930e-2,
        1.24266094738807843860e-3,
        2.71155556874348757815e-5,
        2.01033439929228813265e-7,
    ],
    [
        1.0,
        5.99832206555887937690e-1,
        1.36929880922735805310e-1,
        1.48753612908506148525e-2,
        7.86869131145613259100e-4,
        1.84631831751005468180e-5,
        1.42151175831644588870e-7,
        2.04426310338993978564e-15,
    ],
];

#[cfg(test)]
mod tests {
    use super::*;

    fn near(value: f64, expected: f64, relative: f64) {
        assert!(
            (value - expected).abs() <= relative * expected.abs(),
            "{value:e} is not {expected:e}"
        );
    }

    #[test]
    fn tails_agree_with_the_c_library() {
        // ½ erfc(−x/√2) by the C library's erfc (glibc). Its argument is rounded, which costs x² units in the last
        // place of the tail.
        for (x, expected) in [
            (-8.0, 6.220_960_574_271_819e-16),
            (-5.0, 2.866_515_718_791_946e-7),
            (-3.0, 0.001_349_898_031_630_095_7),
            (-1.0, 0.158_655_253_931_457_07),
            (-0.5, 0.308_537_538_725_986_9),
            (0.3, 0.617_911_422_188_952_6),
            (6.0, 0.999_999_999_013_412_3),
        ] {
            near(cdf(x), expected, f64::EPSILON * (x * x + 4.0));
        }
        near(cdf(-37.0), 5.725_571_222_525_139e-300, f64::EPSILON * 37.0 * 37.0);
        assert_eq!(cdf(f64::NEG_INFINITY), 0.0);
        assert_eq!(cdf(f64::INFINITY), 1.0);
        assert!(cdf(f64::NAN).is_nan());
    }

    #[test]
    fn quantiles_are_those_of_as_241() {
        // Wichura 1988, the three values with which the paper checks its routines (from memory).
        near(quantile(0.25), -0.674_489_750_196_081_7, 1e-15);
        near(quantile(0.001), -3.090_232_306_167_814, 1e-15);
        near(quantile(1e-20), -9.262_340_089_798_408, 1e-15);
        // The usual two-sided 95 % factor.
        near(quantile(0.975), 1.959_963_984_540_054, 1e-15);
        assert_eq!(quantile(0.0), f64::NEG_INFINITY);
        assert_eq!(quantile(1.0), f64::INFINITY);
        assert!(quantile(1.1).is_nan());
    }

    #[test]
    fn quantile_turns_the_tail_back() {
        for step in -148..=148 {
            let x = f64::from(step) * 0.25;
            near(quantile(cdf(-x.abs())), -x.abs(), 1e-13);
        }
        near(two_sided(-1.959_963_984_540_054), 0.05, 1e-13);
        near(ln_density(0.0).exp(), 0.398_942_280_401_432_7, 1e-15);
    }
}
