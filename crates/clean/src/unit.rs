//! Units by their UCUM codes (The Unified Code for Units of Measure), as far as light comes in them.
//!
//! A code is an expression of atoms with metric prefixes and integer exponents, joined by `.` and `/`, with
//! parentheses; case counts, and neither blanks nor the micro sign are codes.

use undim_model::DeviceUnit;

/// What a code reduces to: a factor and the powers of its base quantities.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Reduced {
    factor: f64,
    /// mol, m, s, lm, W, V.
    powers: [i32; 6],
    counts: bool,
}

const ONE: Reduced = Reduced {
    factor: 1.0,
    powers: [0; 6],
    counts: false,
};
const PHOTON_FLUX: [i32; 6] = [1, -2, -1, 0, 0, 0];
const ILLUMINANCE: [i32; 6] = [0, -2, 0, 1, 0, 0];
const IRRADIANCE: [i32; 6] = [0, -2, 0, 0, 1, 0];
const VOLTAGE: [i32; 6] = [0, 0, 0, 0, 0, 1];

/// The quantity and scale of a UCUM code; `None` where it is no code or no quantity that light is read in.
pub fn parse(code: &str) -> Option<DeviceUnit> {
    if code.is_empty() || code.len() > 64 {
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
        [0, 0, 0, 0, 0, 0] if reduced.counts || reduced.factor == 1.0 => Some(DeviceUnit::Counts),
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

impl Parser<'_> {
    fn expression(&mut self, depth: u32) -> Option<Reduced> {
        if depth > 4 {
            return None;
        }
        let mut result = if let Some(rest) = self.rest.strip_prefix('/') {
            self.rest = rest;
            divided(ONE, self.component(depth)?)
        } else {
            self.component(depth)?
        };
        loop {
            if let Some(rest) = self.rest.strip_prefix('.') {
                self.rest = rest;
                result = multiplied(result, self.component(depth)?);
            } else if let Some(rest) = self.rest.strip_prefix('/') {
                self.rest = rest;
                result = divided(result, self.component(depth)?);
            } else {
                return Some(result);
            }
        }
    }

    fn component(&mut self, depth: u32) -> Option<Reduced> {
        if let Some(rest) = self.rest.strip_prefix('(') {
            self.rest = rest;
            let inner = self.expression(depth + 1)?;
            self.rest = self.rest.strip_prefix(')')?;
            return Some(inner);
        }
        let end = self.rest.find(['.', '/', '(', ')']).unwrap_or(self.rest.len());
        let (mut text, rest) = self.rest.split_at(end);
        self.rest = rest;
        let mut counts = false;
        if let Some(start) = text.find('{') {
            // An annotation says something to people and nothing to the unit.
            text.strip_suffix('}')?;
            counts = start == 0;
            text = &text[..start];
            if counts {
                return Some(Reduced { counts: true, ..ONE });
            }
        }
        if text.is_empty() {
            return None;
        }
        if text.bytes().all(|byte| byte.is_ascii_digit()) {
            let factor: f64 = text.parse().ok()?;
            return Some(Reduced { factor, ..ONE });
        }
        let split = text
            .find(|c: char| c.is_ascii_digit() || c == '-' || c == '+')
            .unwrap_or(text.len());
        let (symbol, exponent) = text.split_at(split);
        let exponent: i32 = if exponent.is_empty() {
            1
        } else {
            exponent.trim_start_matches('+').parse().ok()?
        };
        if exponent == 0 || exponent.abs() > 4 {
            return None;
        }
        let atom = atom(symbol)?;
        Some(Reduced {
            factor: atom.factor.powi(exponent),
            powers: atom.powers.map(|power| power * exponent),
            counts,
        })
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
        counts: a.counts || b.counts,
    }
}

fn divided(a: Reduced, b: Reduced) -> Reduced {
    let inverse = Reduced {
        factor: 1.0 / b.factor,
        powers: b.powers.map(|power| -power),
        counts: b.counts,
    };
    multiplied(a, inverse)
}

/// Metric prefixes that light comes in.
const PREFIXES: [(&str, f64); 8] = [
    ("k", 1e3),
    ("h", 1e2),
    ("d", 1e-1),
    ("c", 1e-2),
    ("m", 1e-3),
    ("u", 1e-6),
    ("n", 1e-9),
    ("M", 1e6),
];

/// An atom of UCUM, with or without a metric prefix.
fn atom(symbol: &str) -> Option<Reduced> {
    let plain = |factor: f64, powers: [i32; 6]| {
        Some(Reduced {
            factor,
            powers,
            counts: false,
        })
    };
    let metric = |symbol: &str| match symbol {
        "mol" => plain(1.0, [1, 0, 0, 0, 0, 0]),
        "m" => plain(1.0, [0, 1, 0, 0, 0, 0]),
        "s" => plain(1.0, [0, 0, 1, 0, 0, 0]),
        "lm" => plain(1.0, [0, 0, 0, 1, 0, 0]),
        "lx" => plain(1.0, ILLUMINANCE),
        "W" => plain(1.0, [0, 0, 0, 0, 1, 0]),
        "V" => plain(1.0, VOLTAGE),
        _ => None,
    };
    if let Some(found) = metric(symbol) {
        return Some(found);
    }
    match symbol {
        "min" => return plain(60.0, [0, 0, 1, 0, 0, 0]),
        "h" => return plain(3600.0, [0, 0, 1, 0, 0, 0]),
        "d" => return plain(86_400.0, [0, 0, 1, 0, 0, 0]),
        _ => {}
    }
    PREFIXES.iter().find_map(|(prefix, factor)| {
        let found = metric(symbol.strip_prefix(prefix)?)?;
        Some(Reduced {
            factor: found.factor * factor,
            ..found
        })
    })
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
        ];
        for code in wrong {
            assert_eq!(parse(code), None, "{code}");
        }
    }

    proptest! {
        #[test]
        fn any_text_is_answered(text in "\\PC{0,40}") {
            let _ = parse(&text);
        }
    }
}
