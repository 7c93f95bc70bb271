//! Units by their UCUM codes (The Unified Code for Units of Measure), as far as light comes in them.
//!
//! A code is an expression of atoms with metric prefixes and integer exponents, joined by `.` and `/`, with
//! parentheses; case counts, and neither blanks nor the micro sign are codes. What stands in braces is said to
//! people and changes nothing.
//!
//! Known atoms: `mol m s min h d lm lx W V` and whole numbers. Source: The Unified Code for Units of Measure,
//! its sections on syntax and prefixes, and the atoms of its ucum-essence.

use undim_model::DeviceUnit;

/// What a code reduces to: a factor and the powers of its base quantities.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Reduced {
    factor: f64,
    /// mol, m, s, lm, W, V.
    powers: [i32; 6],
}

const ONE: Reduced = Reduced {
    factor: 1.0,
    powers: [0; 6],
};
const PHOTON_FLUX: [i32; 6] = [1, -2, -1, 0, 0, 0];
const ILLUMINANCE: [i32; 6] = [0, -2, 0, 1, 0, 0];
const IRRADIANCE: [i32; 6] = [0, -2, 0, 0, 1, 0];
const VOLTAGE: [i32; 6] = [0, 0, 0, 0, 0, 1];
/// UCUM's prefixes, as far as light is measured with them.
const PREFIXES: [(&str, f64); 12] = [
    ("da", 1e1),
    ("G", 1e9),
    ("M", 1e6),
    ("k", 1e3),
    ("h", 1e2),
    ("d", 1e-1),
    ("c", 1e-2),
    ("m", 1e-3),
    ("u", 1e-6),
    ("n", 1e-9),
    ("p", 1e-12),
    ("f", 1e-15),
];
/// Longer codes are no units of light.
const LONGEST_CODE: usize = 64;
/// Parentheses within parentheses.
const DEEPEST: u32 = 4;
const LARGEST_EXPONENT: i32 = 4;

/// The quantity and scale of a UCUM code; `None` where it is no code or no quantity that light is read in.
pub fn parse(code: &str) -> Option<DeviceUnit> {
    if code.is_empty() || code.len() > LONGEST_CODE {
        return None;
    }
    let mut parser = Parser { rest: code };
    let reduced = parser.expression(0)?;
    if !parser.rest.is_empty() || !reduced.factor.is_finite() || reduced.factor <= 0.0 {
        return None;
    }
    match reduced.powers {
        PHOTON_FLUX => Some(DeviceUnit::PhotonFlux(clean_factor(reduced.factor * 1e6))),
        ILLUMINANCE => Some(DeviceUnit::Illuminance(clean_factor(reduced.factor))),
        IRRADIANCE => Some(DeviceUnit::Irradiance(clean_factor(reduced.factor))),
        VOLTAGE => Some(DeviceUnit::Voltage(clean_factor(reduced.factor * 1e3))),
        [0, 0, 0, 0, 0, 0] if reduced.factor == 1.0 => Some(DeviceUnit::Counts),
        _ => None,
    }
}

/// Powers of ten multiply inexactly; what lies within rounding of one is that one.
fn clean_factor(factor: f64) -> f64 {
    let power = factor.log10().round();
    let exact = 10_f64.powi(power as i32);
    if (factor / exact - 1.0).abs() < 1e-12 {
        exact
    } else {
        factor
    }
}

struct Parser<'a> {
    rest: &'a str,
}

impl<'a> Parser<'a> {
    /// Components joined by `.` and `/`, from left to right; the whole code may begin with `/`.
    fn expression(&mut self, depth: u32) -> Option<Reduced> {
        if depth > DEEPEST {
            return None;
        }
        let mut result = ONE;
        if depth > 0 || !self.rest.starts_with('/') {
            result = self.component(depth)?;
        }
        loop {
            if self.takes('.') {
                result = multiplied(result, self.component(depth)?);
            } else if self.takes('/') {
                result = divided(result, self.component(depth)?);
            } else {
                return Some(result);
            }
        }
    }

    fn component(&mut self, depth: u32) -> Option<Reduced> {
        if self.takes('(') {
            let inner = self.expression(depth + 1)?;
            return self.takes(')').then_some(inner);
        }
        let symbol = self.take_while(|byte| byte.is_ascii_alphabetic());
        if symbol.is_empty() {
            let number = self.take_while(|byte| byte.is_ascii_digit());
            let said = self.annotation()?;
            return match number {
                "" => said.then_some(ONE),
                _ => Some(Reduced {
                    factor: number.parse().ok()?,
                    ..ONE
                }),
            };
        }
        let exponent = self.exponent()?;
        self.annotation()?;
        let atom = atom(symbol)?;
        Some(Reduced {
            factor: atom.factor.powi(exponent),
            powers: atom.powers.map(|power| power * exponent),
        })
    }

    /// A signed whole number after a symbol; 1 where there is none.
    fn exponent(&mut self) -> Option<i32> {
        let negative = self.takes('-');
        let signed = negative || self.takes('+');
        let digits = self.take_while(|byte| byte.is_ascii_digit());
        if digits.is_empty() {
            return (!signed).then_some(1);
        }
        let exponent: i32 = digits.parse().ok()?;
        (1..=LARGEST_EXPONENT)
            .contains(&exponent)
            .then_some(if negative { -exponent } else { exponent })
    }

    /// Whether words in braces stand here; `None` where they have no end or are no plain ASCII.
    fn annotation(&mut self) -> Option<bool> {
        if !self.takes('{') {
            return Some(false);
        }
        self.take_while(|byte| byte.is_ascii_graphic() && byte != b'{' && byte != b'}');
        self.takes('}').then_some(true)
    }

    fn takes(&mut self, sign: char) -> bool {
        match self.rest.strip_prefix(sign) {
            Some(rest) => {
                self.rest = rest;
                true
            }
            None => false,
        }
    }

    fn take_while(&mut self, wanted: impl Fn(u8) -> bool) -> &'a str {
        let end = self.rest.bytes().position(|byte| !wanted(byte));
        let (taken, rest) = self.rest.split_at(end.unwrap_or(self.rest.len()));
        self.rest = rest;
        taken
    }
}

fn multiplied(a: Reduced, b: Reduced) -> Reduced {
    let mut powers = a.powers;
    powers
        .iter_mut()
        .zip(b.powers)
        .for_each(|(power, other)| *power += other);
    Reduced {
        factor: a.factor * b.factor,
        powers,
    }
}

fn divided(a: Reduced, b: Reduced) -> Reduced {
    let inverse = Reduced {
        factor: 1.0 / b.factor,
        powers: b.powers.map(|power| -power),
    };
    multiplied(a, inverse)
}

/// An atom of UCUM, with or without a metric prefix.
fn atom(symbol: &str) -> Option<Reduced> {
    let time = |seconds: f64| {
        Some(Reduced {
            factor: seconds,
            powers: [0, 0, 1, 0, 0, 0],
        })
    };
    match symbol {
        // Not metric: they take no prefix.
        "min" => return time(60.0),
        "h" => return time(3600.0),
        "d" => return time(86_400.0),
        _ => {}
    }
    metric(symbol).or_else(|| {
        PREFIXES.iter().find_map(|(prefix, factor)| {
            let found = metric(symbol.strip_prefix(prefix)?)?;
            Some(Reduced {
                factor: found.factor * factor,
                ..found
            })
        })
    })
}

/// The atoms that take a prefix.
fn metric(symbol: &str) -> Option<Reduced> {
    let powers = match symbol {
        "mol" => [1, 0, 0, 0, 0, 0],
        "m" => [0, 1, 0, 0, 0, 0],
        "s" => [0, 0, 1, 0, 0, 0],
        "lm" => [0, 0, 0, 1, 0, 0],
        "lx" => ILLUMINANCE,
        "W" => [0, 0, 0, 0, 1, 0],
        "V" => VOLTAGE,
        _ => return None,
    };
    Some(Reduced { factor: 1.0, powers })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn codes_of_ucum_for_light() {
        // Codes built from the atoms of ucum-essence; the same units written in other allowed ways.
        for code in [
            "umol.m-2.s-1",
            "umol/m2/s",
            "umol/(m2.s)",
            "umol.s-1.m-2",
            "umol{photon}.m-2.s-1",
            "umol.m-2{per/area.}.s-1",
            "umol/(s.m2)",
            "(umol/m2)/s",
            "/m2/s.umol",
            "umol.m-2.s-1.{PAR}",
            "mmol/(1000.m2.s)",
        ] {
            assert_eq!(parse(code), Some(DeviceUnit::PhotonFlux(1.0)), "{code}");
        }
        assert_eq!(parse("mmol.m-2.s-1"), Some(DeviceUnit::PhotonFlux(1e3)));
        assert_eq!(parse("nmol.cm-2.s-1"), Some(DeviceUnit::PhotonFlux(10.0)));
        assert_eq!(parse("lx"), Some(DeviceUnit::Illuminance(1.0)));
        assert_eq!(parse("lm.m-2"), Some(DeviceUnit::Illuminance(1.0)));
        assert_eq!(parse("klx"), Some(DeviceUnit::Illuminance(1e3)));
        assert_eq!(parse("W.m-2"), Some(DeviceUnit::Irradiance(1.0)));
        assert_eq!(parse("mW/cm2"), Some(DeviceUnit::Irradiance(10.0)));
        assert_eq!(parse("mV"), Some(DeviceUnit::Voltage(1.0)));
        assert_eq!(parse("V"), Some(DeviceUnit::Voltage(1e3)));
        assert_eq!(parse("uV"), Some(DeviceUnit::Voltage(1e-3)));
        assert_eq!(parse("mol.m-2.s-1"), Some(DeviceUnit::PhotonFlux(1e6)));
        assert_eq!(parse("uW/cm2"), Some(DeviceUnit::Irradiance(1e-2)));
        assert_eq!(parse("1"), Some(DeviceUnit::Counts));
        assert_eq!(parse("{counts}"), Some(DeviceUnit::Counts));
        let Some(DeviceUnit::PhotonFlux(factor)) = parse("mol.m-2.d-1") else {
            panic!("a photon flux")
        };
        assert!((factor - 1e6 / 86_400.0).abs() < 1e-9);
    }

    #[test]
    fn what_is_no_code_is_none() {
        let wrong = [
            "",
            "umol m-2 s-1",
            "µmol.m-2.s-1",
            "E.m-2.s-1",
            "Einstein",
            "umol.m-2.s-1.",
            "(umol",
            "umol)",
            "m",
            "UMOL.M-2.S-1",
            "2",
            "lx0",
            "mol.m-2.s-1{",
            "///",
            "umol.m+-2.s-1",
            "umol.m--2.s-1",
            "umol.m-0.s-1",
            "umol.m-2.s-",
            "umol.m-2.s-1 ",
            "umol.m-2.s-1{µ}",
            "umol.(/m2).s-1",
            "umol..m-2",
            "kmin",
            "1000.{counts}",
            "0.lx",
            "lx/0",
            "uE.m-2.s-1",
            "µE",
            "lx(",
        ];
        for code in wrong {
            assert_eq!(parse(code), None, "{code}");
        }
    }

    proptest! {
        #[test]
        fn any_text_is_answered(text in "\\PC{0,40}|[umolskWVxdh./(){}0-9+-]{0,40}") {
            let _ = parse(&text);
        }

        #[test]
        fn factors_come_in_any_order(
            order in Just([0, 1, 2]).prop_shuffle(), prefix in prop::sample::select(vec!["", "m", "u", "n"]),
            time in prop::sample::select(vec!["s", "min", "h", "d", "ms"]),
        ) {
            let parts = [format!("{prefix}mol"), "cm-2".to_owned(), format!("{time}-1")];
            let code = order.map(|place| parts[place].clone()).join(".");
            let as_ratio = format!("{prefix}mol/(cm2.{time})");
            let (Some(DeviceUnit::PhotonFlux(one)), Some(DeviceUnit::PhotonFlux(other))) = (parse(&code), parse(&as_ratio))
            else {
                return Err(TestCaseError::fail(code));
            };
            prop_assert!((one / other - 1.0).abs() < 1e-12, "{} {}", code, as_ratio);
        }
    }
}
