//! Tails of the χ², F and Student distributions, by the incomplete gamma and beta functions.
//!
//! M. Abramowitz, I. A. Stegun, *Handbook of Mathematical Functions* (1964): 26.4 (χ²), 26.5 and 26.6
//! (incomplete beta, F), 26.7 (Student); series 6.5.29, the continued fractions 6.5.31 and 26.5.8. Good to
//! about 13 digits for the degrees of freedom that samples have.

use crate::normal;

/// Terms after which a series or fraction is taken as it stands; far more than any sample needs.
const MOST_TERMS: u32 = 10_000;
/// Keeps the continued fractions away from a division by zero (modified Lentz).
const TINY: f64 = 1e-300;

/// ln Γ(x) for x > 0: Stirling's series (6.1.41), after moving x up to where it holds full precision.
fn ln_gamma(x: f64) -> f64 {
    let mut x = x;
    let mut product = 1.0;
    while x < 15.0 {
        product *= x;
        x += 1.0;
    }
    let inverse = 1.0 / (x * x);
    let series = (1.0 / 12.0
        - inverse
            * (1.0 / 360.0 - inverse * (1.0 / 1260.0 - inverse * (1.0 / 1680.0 - inverse * (1.0 / 1188.0)))))
        / x;
    (x - 0.5) * x.ln() - x + 0.5 * (2.0 * std::f64::consts::PI).ln() + series - product.ln()
}

/// The probability that a χ² value with `dof` degrees of freedom exceeds `x`; 1 where there are none.
pub fn chi_squared_above(x: f64, dof: f64) -> f64 {
    if x.is_nan() || dof.is_nan() {
        return f64::NAN;
    }
    if dof <= 0.0 || x <= 0.0 {
        return 1.0;
    }
    let (a, x) = (dof / 2.0, x / 2.0);
    if x.is_infinite() {
        return 0.0;
    }
    let front = (a * x.ln() - x - ln_gamma(a)).exp();
    if x < a + 1.0 {
        let (mut term, mut sum) = (1.0 / a, 1.0 / a);
        for n in 1..MOST_TERMS {
            term *= x / (a + f64::from(n));
            sum += term;
            if term < sum * f64::EPSILON {
                break;
            }
        }
        return (1.0 - front * sum).clamp(0.0, 1.0);
    }
    let mut b = x + 1.0 - a;
    let mut c = 1.0 / TINY;
    let mut d = 1.0 / b;
    let mut fraction = d;
    for n in 1..MOST_TERMS {
        let n = f64::from(n);
        let step = -n * (n - a);
        b += 2.0;
        d = 1.0 / away_from_zero(step * d + b);
        c = away_from_zero(b + step / c);
        let change = c * d;
        fraction *= change;
        if (change - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    (front * fraction).clamp(0.0, 1.0)
}

/// The probability that an F value with these degrees of freedom exceeds `x`.
pub fn f_above(x: f64, dof: f64, dof_below: f64) -> f64 {
    if x.is_nan() || dof <= 0.0 || dof_below <= 0.0 {
        return f64::NAN;
    }
    if x <= 0.0 {
        return 1.0;
    }
    incomplete_beta(dof_below / (dof_below + dof * x), dof_below / 2.0, dof / 2.0)
}

/// The probability that a Student value with `dof` degrees of freedom lies further from zero than `t` does.
pub fn student_two_sided(t: f64, dof: f64) -> f64 {
    if t.is_nan() || dof.is_nan() || dof <= 0.0 {
        return f64::NAN;
    }
    incomplete_beta(dof / (dof + t * t), dof / 2.0, 0.5)
}

/// The size that a Student value with `dof` degrees of freedom exceeds, on either side, with probability `p`: for
/// p = 0.05 half the width of a 95 % interval in standard uncertainties. The normal's for infinite `dof`; infinite
/// where there are none.
pub fn student_factor(p: f64, dof: f64) -> f64 {
    let is_probability = p > 0.0 && p < 1.0;
    if !is_probability || dof.is_nan() {
        return f64::NAN;
    }
    if dof <= 0.0 {
        return f64::INFINITY;
    }
    let normal = normal::quantile(1.0 - p / 2.0);
    if dof > 1e7 {
        return normal;
    }
    let (mut low, mut high) = (0.0, normal.max(1.0));
    while student_two_sided(high, dof) > p && high < 1e12 {
        high *= 2.0;
    }
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if student_two_sided(middle, dof) > p {
            low = middle;
        } else {
            high = middle;
        }
        if high - low <= f64::EPSILON * high {
            break;
        }
    }
    f64::midpoint(low, high)
}

/// Iₓ(a, b), the regularised incomplete beta function.
fn incomplete_beta(x: f64, a: f64, b: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    let front = (ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * x.ln() + b * (-x).ln_1p()).exp();
    if x < (a + 1.0) / (a + b + 2.0) {
        (front * beta_fraction(x, a, b) / a).clamp(0.0, 1.0)
    } else {
        (1.0 - front * beta_fraction(1.0 - x, b, a) / b).clamp(0.0, 1.0)
    }
}

fn beta_fraction(x: f64, a: f64, b: f64) -> f64 {
    let mut c = 1.0;
    let mut d = 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut fraction = d;
    for m in 1..MOST_TERMS {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / away_from_zero(1.0 + even * d);
        c = away_from_zero(1.0 + even / c);
        fraction *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / away_from_zero(1.0 + odd * d);
        c = away_from_zero(1.0 + odd / c);
        let change = d * c;
        fraction *= change;
        if (change - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    fraction
}

fn away_from_zero(value: f64) -> f64 {
    if value.abs() < TINY { TINY } else { value }
}

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
    fn closed_forms() {
        // χ² with 2 degrees of freedom is exponential; Student with 1 is Cauchy, with 2 has an algebraic tail.
        for x in [0.01_f64, 0.5, 3.0, 20.0, 200.0] {
            near(chi_squared_above(x, 2.0), (-x / 2.0).exp(), 1e-12);
            near(chi_squared_above(x, 1.0), normal::two_sided(x.sqrt()), 1e-11);
            near(
                student_two_sided(x, 1.0),
                1.0 - 2.0 * x.atan() / std::f64::consts::PI,
                1e-9,
            );
            near(student_two_sided(x, 2.0), 1.0 - x / (2.0 + x * x).sqrt(), 1e-8);
            near(f_above(x * x, 1.0, 7.0), student_two_sided(x, 7.0), 1e-12);
        }
        near(ln_gamma(0.5), std::f64::consts::PI.sqrt().ln(), 1e-14);
        near(ln_gamma(11.0), 3_628_800_f64.ln(), 1e-14);
    }

    #[test]
    fn tables() {
        // JCGM 100:2008, table G.2: t for 95 % (95.45 % has 2.28 at 10).
        for (dof, t) in [
            (1.0, 12.71),
            (5.0, 2.57),
            (10.0, 2.23),
            (16.0, 2.12),
            (50.0, 2.01),
        ] {
            assert!((student_factor(0.05, dof) - t).abs() < 0.005, "{dof}");
        }
        near(student_factor(0.05, f64::INFINITY), 1.959_963_984_540_054, 1e-14);
        // Bland & Altman 1986: t = 2.12 at 16. χ² 5 % points 3.841 and 18.307 (the usual tables, from memory).
        near(chi_squared_above(3.841_458_820_694_124, 1.0), 0.05, 1e-10);
        near(chi_squared_above(18.307_038_053_275_146, 10.0), 0.05, 1e-10);
        assert_eq!(chi_squared_above(1.0, 0.0), 1.0);
        assert_eq!(student_factor(0.05, 0.0), f64::INFINITY);
        assert!(f_above(f64::NAN, 1.0, 1.0).is_nan());
    }
}
