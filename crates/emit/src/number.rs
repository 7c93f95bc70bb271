//! The only printer of numbers: fixed decimals with ties to even, never an exponent, never `-0`
//! (formats, section 10, *Written*).
//!
//! Rounding is exact on the binary value. A number that is not finite prints as nothing: an empty cell.

use std::fmt::Write as _;

/// Decimals of a position in cm.
pub const POSITION_DECIMALS: usize = 2;
/// Decimals of a PPFD and of its uncertainties, µmol m⁻² s⁻¹.
pub const PPFD_DECIMALS: usize = 3;
/// Decimals of a percentage.
pub const PERCENT_DECIMALS: usize = 2;

/// Up to this scaled size a product with a power of ten is off by less than half a millionth.
const FAST_BELOW: f64 = 4_294_967_296.0;
/// Nearer to a tie than this the exact printer decides.
const NEAR_A_TIE: f64 = 1e-6;

/// Appends `value` with a fixed number of decimals.
pub fn push_fixed(out: &mut String, value: f64, decimals: usize) {
    if !value.is_finite() {
        return;
    }
    let scale = match decimals {
        0 => 1.0,
        1 => 10.0,
        2 => 100.0,
        3 => 1000.0,
        _ => f64::INFINITY,
    };
    let scaled = value.abs() * scale;
    let rest = scaled - scaled.floor();
    if scaled < FAST_BELOW && (rest - 0.5).abs() > NEAR_A_TIE {
        let units = scaled.floor() as u64 + u64::from(rest > 0.5);
        push_units(out, value < 0.0, units, decimals);
    } else {
        let start = out.len();
        // Writing to a String cannot fail.
        let _ = write!(out, "{value:.decimals$}");
        if out[start..].starts_with('-') && !out[start..].contains(|c: char| ('1'..='9').contains(&c)) {
            out.remove(start);
        }
    }
}

/// Appends `units` · 10^-`decimals`.
fn push_units(out: &mut String, negative: bool, units: u64, decimals: usize) {
    let mut digits = [b'0'; 20];
    let mut at = digits.len();
    let mut left = units;
    while left > 0 || digits.len() - at <= decimals {
        at -= 1;
        digits[at] = b'0' + (left % 10) as u8;
        left /= 10;
    }
    if negative && units > 0 {
        out.push('-');
    }
    let point = digits.len() - decimals;
    out.extend(digits[at..point].iter().copied().map(char::from));
    if decimals > 0 {
        out.push('.');
        out.extend(digits[point..].iter().copied().map(char::from));
    }
}

/// Appends the shortest text that reads back as the same number.
pub fn push_raw(out: &mut String, value: f64) {
    if !value.is_finite() {
        return;
    }
    if value == 0.0 {
        out.push('0');
        return;
    }
    // A decimal of at most 15 digits is told apart by every double, so the first one that divides back
    // to the same number is the shortest (Clinger 1990: both operands of the division are exact).
    let mut scale = 1.0;
    for decimals in 0..=6 {
        let units = (value.abs() * scale).round_ties_even();
        if units >= 1e15 {
            break;
        }
        if units / scale == value.abs() {
            push_units(out, value < 0.0, units as u64, decimals);
            return;
        }
        scale *= 10.0;
    }
    let _ = write!(out, "{value}");
}

/// `value` with a fixed number of decimals.
pub fn fixed(value: f64, decimals: usize) -> String {
    let mut out = String::new();
    push_fixed(&mut out, value, decimals);
    out
}

/// A position in cm, 2 decimals.
pub fn position(cm: f64) -> String {
    fixed(cm, POSITION_DECIMALS)
}

/// A PPFD or its uncertainty in µmol m⁻² s⁻¹, 3 decimals.
pub fn ppfd(value: f64) -> String {
    fixed(value, PPFD_DECIMALS)
}

/// A percentage, 2 decimals.
pub fn percent(value: f64) -> String {
    fixed(value, PERCENT_DECIMALS)
}

/// The shortest text that reads back as the same number.
pub fn raw(value: f64) -> String {
    let mut out = String::new();
    push_raw(&mut out, value);
    out
}

/// One decimal, or none where it is zero: for drawings.
pub(crate) fn short(value: f64) -> String {
    let text = fixed(value, 1);
    match text.strip_suffix(".0") {
        Some(whole) => whole.to_owned(),
        None => text,
    }
}

/// The number that `fixed` prints, for the JSON files; `None` where it prints nothing.
pub(crate) fn rounded(value: f64, decimals: usize) -> Option<f64> {
    fixed(value, decimals).parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn ties_go_to_even_on_the_binary_value() {
        assert_eq!(fixed(0.125, 2), "0.12");
        assert_eq!(fixed(0.375, 2), "0.38");
        assert_eq!(fixed(2.5, 0), "2");
        assert_eq!(fixed(3.5, 0), "4");
        assert_eq!(fixed(0.5, 0), "0");
        assert_eq!(ppfd(0.0625), "0.062");
        assert_eq!(ppfd(0.1875), "0.188");
        assert_eq!(ppfd(4_294_967.062_5), "4294967.062");
        // 1.005 is 1.00499999999999989… and 2.675 is 2.67499999999999982… in binary.
        assert_eq!(percent(1.005), "1.00");
        assert_eq!(percent(2.675), "2.67");
        // 1.015 is 1.01499999999999990…, 1.025 is 1.02499999999999991…, 8.345 is 8.3450000000000006….
        assert_eq!(percent(8.345), "8.35");
    }

    #[test]
    fn no_minus_zero_no_exponent_and_nothing_for_no_number() {
        assert_eq!(percent(-0.0), "0.00");
        assert_eq!(percent(-0.004), "0.00");
        assert_eq!(percent(-0.005), "-0.01"); // -0.005000000000000000104…
        assert_eq!(fixed(-0.5, 0), "0");
        assert_eq!(percent(-1e-300), "0.00");
        assert_eq!(position(1e22), "10000000000000000000000.00");
        assert_eq!(raw(-0.0), "0");
        assert_eq!(raw(1e21), "1000000000000000000000");
        assert_eq!(raw(1e-7), "0.0000001");
        for odd in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(raw(odd), "");
            assert_eq!(ppfd(odd), "");
        }
    }

    #[test]
    fn raw_is_the_shortest() {
        for (value, text) in [
            (0.1, "0.1"),
            (100.0, "100"),
            (243.25, "243.25"),
            (-12.5, "-12.5"),
            (0.3, "0.3"),
            (1.0 / 3.0, "0.3333333333333333"),
            (5e-324, &format!("0.{}5", "0".repeat(323))),
        ] {
            assert_eq!(raw(value), text);
        }
    }

    proptest! {
        #[test]
        fn fixed_is_what_the_exact_printer_gives(value in prop_oneof![
            -1e7f64..1e7, any::<f64>(), (-4_000_000i64..4_000_000).prop_map(|n| n as f64 / 16.0),
            (-4_000_000i64..4_000_000).prop_map(|n| n as f64 / 2000.0),
        ], decimals in 0usize..=3) {
            let exact = if value.is_finite() { format!("{value:.decimals$}") } else { String::new() };
            let plain = exact.trim_start_matches('-');
            let zero = !plain.contains(|c: char| ('1'..='9').contains(&c));
            prop_assert_eq!(fixed(value, decimals), if zero { plain.to_owned() } else { exact });
        }

        #[test]
        fn raw_reads_back_and_is_as_short_as_the_standard_printer(value in prop_oneof![
            -1e6f64..1e6, any::<f64>(), (-900_000i64..900_000).prop_map(|n| n as f64 / 1000.0),
        ]) {
            prop_assume!(value.is_finite());
            let text = raw(value);
            prop_assert!(!text.contains(['e', 'E']));
            prop_assert_eq!(text.parse::<f64>().expect("a number"), value);
            if value != 0.0 {
                prop_assert_eq!(text, format!("{value}"));
            }
        }
    }
}
