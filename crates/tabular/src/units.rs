//! Units as people write them, turned into UCUM codes.
//!
//! Source of the codes: the Unified Code for Units of Measure (ucum.org). How a unit is spelt in column headers is
//! common practice, no source.

/// A unit of light, irradiance or a sensor's raw signal; a UCUM code.
///
/// `None` where the text is no such unit.
pub(crate) fn light(text: &str) -> Option<&'static str> {
    let unit = squeeze(text);
    let unit = unit.as_str();
    // Photon flux density. "Einstein" is an old word for a mole of photons.
    let photons = ["mmol", "umol", "nmol", "mol", "ueinstein", "ue"];
    for prefix in photons {
        let Some(rest) = unit.strip_prefix(prefix) else {
            continue;
        };
        let rest = ["photons", "photon", "quanta", "quantum"]
            .iter()
            .find_map(|word| rest.strip_prefix(word))
            .unwrap_or(rest);
        if is_per_area_and_second(rest) {
            return Some(match prefix {
                "mmol" => "mmol.m-2.s-1",
                "nmol" => "nmol.m-2.s-1",
                "mol" if rest.is_empty() => return None,
                "mol" => "mol.m-2.s-1",
                _ => "umol.m-2.s-1",
            });
        }
        if prefix == "mol"
            && matches!(
                rest,
                "m-2d-1" | "/m2/d" | "/m2d" | "m2d" | "/m2/day" | "/m2day" | "m-2day-1"
            )
        {
            return Some("mol.m-2.d-1");
        }
    }
    match unit {
        "lx" | "lux" | "lm/m2" | "lmm-2" => Some("lx"),
        "klx" | "klux" | "kilolux" => Some("klx"),
        "w/m2" | "wm-2" | "wm2" | "watt/m2" | "watts/m2" => Some("W.m-2"),
        "mw/m2" | "mwm-2" | "mwm2" => Some("mW.m-2"),
        "mw/cm2" | "mwcm-2" | "mwcm2" => Some("mW.cm-2"),
        "uw/cm2" | "uwcm-2" | "uwcm2" => Some("uW.cm-2"),
        "mv" | "millivolt" | "millivolts" => Some("mV"),
        "uv" | "microvolt" | "microvolts" => Some("uV"),
        "v" | "volt" | "volts" => Some("V"),
        "ua" | "microamp" | "microamps" => Some("uA"),
        "counts" | "count" | "cts" | "adc" | "digits" | "1" => Some("1"),
        _ => None,
    }
}

/// True for what follows the amount in µmol m⁻² s⁻¹, in any spelling; often it is left out altogether.
fn is_per_area_and_second(rest: &str) -> bool {
    matches!(
        rest,
        "" | "m-2s-1"
            | "s-1m-2"
            | "/m2/s"
            | "/m2s"
            | "/m2s-1"
            | "/s/m2"
            | "/sm2"
            | "/s-1m-2"
            | "m-2/s"
            | "m2s"
            | "m2s1"
            | "m2s-1"
            | "m2/s"
            | "sm2"
            | "/m-2/s-1"
            | "/m-2s-1"
    )
}

/// A unit of length for coordinates: the word the formats know, and the factor to it.
pub(crate) fn length(text: &str) -> Option<(&'static str, f64)> {
    match squeeze(text).as_str() {
        "mm" | "millimeter" | "millimetre" | "millimeters" | "millimetres" => Some(("mm", 1.0)),
        "cm" | "centimeter" | "centimetre" | "centimeters" | "centimetres" | "zentimeter" | "centimetros" => {
            Some(("cm", 1.0))
        }
        "dm" => Some(("cm", 10.0)),
        "m" | "meter" | "metre" | "meters" | "metres" | "metros" | "metri" => Some(("m", 1.0)),
        "in" | "inch" | "inches" | "\"" | "zoll" | "pouces" | "pouce" | "pulgadas" | "polegadas"
        | "pollici" | "duim" | "cale" | "tum" | "tommer" | "palce" => Some(("in", 1.0)),
        "ft" | "feet" | "foot" | "'" => Some(("in", 12.0)),
        _ => None,
    }
}

/// A temperature's way to °C.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Temperature {
    Celsius,
    Fahrenheit,
    Kelvin,
}

impl Temperature {
    pub(crate) fn to_celsius(self, value: f64) -> f64 {
        match self {
            Temperature::Celsius => value,
            Temperature::Fahrenheit => (value - 32.0) / 1.8,
            Temperature::Kelvin => value - 273.15,
        }
    }
}

/// A unit of temperature.
pub(crate) fn temperature(text: &str) -> Option<Temperature> {
    match squeeze(text).as_str() {
        "degc" | "c" | "cel" | "celsius" | "gradc" | "gradcelsius" => Some(Temperature::Celsius),
        "degf" | "f" | "fahrenheit" => Some(Temperature::Fahrenheit),
        "k" | "kelvin" => Some(Temperature::Kelvin),
        _ => None,
    }
}

/// A unit of angle: the factor to degrees.
pub(crate) fn angle(text: &str) -> Option<f64> {
    match squeeze(text).as_str() {
        "deg" | "degree" | "degrees" | "grad" | "gradi" | "graden" | "grados" | "graus" => Some(1.0),
        "rad" | "radian" | "radians" => Some(180.0 / std::f64::consts::PI),
        _ => None,
    }
}

/// True where a text is some unit we know, or a usual entry of a units row for time and counters.
pub(crate) fn is_any(text: &str) -> bool {
    let word = squeeze(text);
    light(text).is_some()
        || length(text).is_some()
        || temperature(text).is_some()
        || angle(text).is_some()
        || matches!(
            word.as_str(),
            "s" | "sec"
                | "min"
                | "h"
                | "d"
                | "hh:mm"
                | "hh:mm:ss"
                | "utc"
                | "gmt"
                | "%"
                | "pct"
                | "ph"
                | "ppt"
                | "psu"
        )
        || crate::datetime::order::hint(text).is_some()
}

/// True for a text in the form of a unit, known or not: a quotient, a power, a product of powers.
pub(crate) fn looks_like_one(text: &str) -> bool {
    let word = squeeze(text);
    let has_letter = word.bytes().any(|byte| byte.is_ascii_alphabetic());
    has_letter && word.len() <= 24 && (word.contains('/') || word.contains("-1") || word.contains("-2"))
}

/// Lower case, one spelling of µ and of powers, no blanks, dots, brackets or multiplication signs.
fn squeeze(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.trim().chars() {
        match c {
            '\u{b5}' | '\u{3bc}' => out.push('u'),
            '\u{ba}' | '\u{b0}' => out.push_str("deg"),
            '\u{2103}' => out.push_str("degc"),
            '\u{2109}' => out.push_str("degf"),
            '\u{b9}' => out.push('1'),
            '\u{b2}' | '\u{33a1}' => out.push('2'),
            '\u{b3}' => out.push('3'),
            '\u{207b}' | '\u{2212}' | '\u{2013}' => out.push('-'),
            '\u{2215}' | '\u{2044}' => out.push('/'),
            ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}' | '.' | '\u{b7}' | '\u{22c5}' | '*' | '\u{d7}' | '^'
            | '_' | '(' | ')' | '[' | ']' | '{' | '}' | ',' => {}
            c => out.extend(c.to_lowercase()),
        }
    }
    for (from, to) in [
        ("micromoles", "umol"),
        ("micromole", "umol"),
        ("micromol", "umol"),
        ("mikromol", "umol"),
        ("umoles", "umol"),
        ("umole", "umol"),
        ("microeinstein", "ueinstein"),
        ("persecond", "/s"),
        ("persec", "/s"),
        ("persquaremeter", "/m2"),
        ("persquaremetre", "/m2"),
        ("perm2", "/m2"),
        ("pers", "/s"),
        ("sqm", "m2"),
        ("second", "s"),
        ("sec", "s"),
        ("sek", "s"),
    ] {
        if out.contains(from) && out.len() > from.len() || out == from {
            out = out.replace(from, to);
        }
    }
    out
}

/// True where a text is put together of units' usual signs, whatever they measure: `kW`, `l/min`, `N m`, `K/M3`.
///
/// SI units, their prefixes and those accepted beside them (SI brochure, 9th edition, tables 2, 4, 7 and 8), and some of
/// the trade.
pub(crate) fn looks_like(text: &str) -> bool {
    const SIGNS: [&str; 49] = [
        "m", "s", "kg", "g", "a", "k", "mol", "cd", "hz", "n", "pa", "j", "w", "c", "v", "f", "ohm", "ohmm",
        "t", "h", "lm", "lx", "bq", "gy", "rad", "sr", "d", "min", "l", "ha", "ev", "db", "bar", "rpm",
        "psu", "ppm", "ppb", "ppt", "in", "ft", "us", "deg", "degc", "degf", "wh", "nm", "um", "gal", "lux",
    ];
    let inner = text
        .trim()
        .trim_start_matches(['[', '('])
        .trim_end_matches([']', ')']);
    let known = |sign: &str| {
        let lower = sign.to_lowercase();
        let bare = lower.trim_end_matches(|c: char| c.is_ascii_digit());
        SIGNS.contains(&bare)
            || ["k", "m", "c", "d", "h", "u", "\u{b5}", "\u{3bc}", "n", "g"]
                .iter()
                .any(|prefix| {
                    bare.strip_prefix(prefix)
                        .is_some_and(|rest| SIGNS.contains(&rest))
                })
    };
    if is_any(text) || matches!(inner, "-" | "%" | "\u{b0}" | "1") {
        return true;
    }
    let mut signs = inner
        .split(['/', '.', '*', '^', ' ', '-', '\u{b7}', '\u{22c5}'])
        .filter(|sign| !sign.is_empty() && !sign.bytes().all(|byte| byte.is_ascii_digit()))
        .peekable();
    signs.peek().is_some() && inner.len() < 16 && signs.all(|sign| known(sign.trim_matches(['\u{b0}', '%'])))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn photon_flux_in_many_spellings() {
        for text in [
            "\u{b5}mol/m\u{b2}/s",
            "\u{3bc}mol m\u{207b}\u{b2} s\u{207b}\u{b9}",
            "umol m-2 s-1",
            "umol.m-2.s-1",
            "\u{b5}mol\u{b7}m-2\u{b7}s-1",
            "umol/(m2 s)",
            "\u{b5}mol/m^2/sec",
            "umol photons m-2 s-1",
            "micromol/m2/s",
            "uE m-2 s-1",
            "\u{b5}mol",
            "umol_m2_s",
            "micromoles per square meter per second",
        ] {
            assert_eq!(light(text), Some("umol.m-2.s-1"), "{text}");
        }
    }

    #[test]
    fn other_units_of_light() {
        for (text, want) in [
            ("Lux", Some("lx")),
            ("lx", Some("lx")),
            ("W/m\u{b2}", Some("W.m-2")),
            ("W m-2", Some("W.m-2")),
            ("mV", Some("mV")),
            ("counts", Some("1")),
            ("mol/m2/d", Some("mol.m-2.d-1")),
            ("mol m-2 s-1", Some("mol.m-2.s-1")),
            ("mol", None),
            ("cm", None),
            ("", None),
        ] {
            assert_eq!(light(text), want, "{text}");
        }
    }

    #[test]
    fn lengths_angles_temperatures() {
        assert_eq!(length("mm"), Some(("mm", 1.0)));
        assert_eq!(length("\""), Some(("in", 1.0)));
        assert_eq!(length("ft"), Some(("in", 12.0)));
        assert_eq!(length("s"), None);
        assert_eq!(temperature("\u{b0}C"), Some(Temperature::Celsius));
        assert_eq!(temperature("\u{ba}F"), Some(Temperature::Fahrenheit));
        assert_eq!(angle("\u{b0}"), Some(1.0));
        assert!((Temperature::Fahrenheit.to_celsius(77.0) - 25.0).abs() < 1e-12);
    }

    #[test]
    fn unknown_units_are_seen_as_units() {
        assert!(looks_like_one("BTU/h/ft2") && looks_like_one("kcal m-2"));
        assert!(!looks_like_one("corrected") && !looks_like_one("sensor 1"));
    }
}
