//! Spectra of open standards, built in. Their sources stand in `crates/correct/data/README.md`.

use super::Spectrum;
use std::sync::LazyLock;

const ILLUMINANTS: &str = include_str!("../../data/cie_illuminants.csv");
const REFERENCE_SUN: &str = include_str!("../../data/astm_g173_03.csv");
const PHOTOPIC: &str = include_str!("../../data/cie_v_lambda_1nm.csv");

const CIE: &str = "CIE 015:2018";
const ASTM: &str = "ASTM G173-03, air mass 1.5";

/// The LED spectra of CIE 015:2018.
pub const LED_NAMES: [&str; 9] = [
    "LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-BH1", "LED-RGB1", "LED-V1", "LED-V2",
];

/// A spectrum that is built in.
#[derive(Debug, Clone, PartialEq)]
pub struct Shipped {
    /// Its name in the standard.
    pub name: &'static str,
    /// The standard.
    pub source: &'static str,
    /// Relative spectral power.
    pub spectrum: Spectrum,
}

static ALL: LazyLock<Vec<Shipped>> = LazyLock::new(|| {
    let mut all: Vec<Shipped> = Vec::new();
    let mut points: Vec<[f64; 2]> = Vec::new();
    let mut name = "";
    let mut done = |name: &'static str, points: Vec<[f64; 2]>| {
        all.extend(Spectrum::new(points).map(|spectrum| Shipped {
            name,
            source: CIE,
            spectrum,
        }));
    };
    for line in ILLUMINANTS.lines().skip(1) {
        let Some((of, rest)) = line.split_once(',') else {
            continue;
        };
        if of != name {
            done(name, std::mem::take(&mut points));
            name = of;
        }
        points.extend(point(rest, 1));
    }
    done(name, points);
    for (name, column) in [("G173", 2), ("G173-direct", 3)] {
        let points = REFERENCE_SUN
            .lines()
            .skip(1)
            .filter_map(|line| point(line, column));
        all.extend(Spectrum::new(points.collect()).map(|spectrum| Shipped {
            name,
            source: ASTM,
            spectrum,
        }));
    }
    all
});

static V: LazyLock<Spectrum> = LazyLock::new(|| Spectrum {
    points: PHOTOPIC
        .lines()
        .skip(1)
        .filter_map(|line| point(line, 1))
        .collect(),
});

fn point(line: &str, column: usize) -> Option<[f64; 2]> {
    let mut cells = line.split(',');
    let nm = cells.next()?.parse().ok()?;
    Some([nm, cells.nth(column - 1)?.parse().ok()?])
}

/// The photopic luminous efficiency V(λ).
pub(crate) fn photopic() -> &'static Spectrum {
    &V
}

/// A built-in spectrum by its name, in capitals or not.
pub fn shipped(name: &str) -> Option<&'static Shipped> {
    ALL.iter().find(|shipped| shipped.name.eq_ignore_ascii_case(name))
}

/// The names of all.
pub fn shipped_names() -> impl Iterator<Item = &'static str> {
    ALL.iter().map(|shipped| shipped.name)
}
