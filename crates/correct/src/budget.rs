//! The uncertainty budget of one value (JCGM 100:2008, clause 5 and annex G).

use undim_model::{Correction, Factor, SharedKind, StationValue};
use undim_stats::tails::student_factor;

/// Whether averaging helps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// This value's own.
    Own,
    /// Common to every value read with the same correction.
    Shared,
}

/// One input of a value.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// `readings`, `place`, `tilt`, or the word of a [`SharedKind`].
    pub name: &'static str,
    /// Own or shared.
    pub part: Part,
    /// Its estimate, where it is a number of its own (a factor, a dark reading).
    pub value: Option<f64>,
    /// Standard uncertainty, in `unit`.
    pub u: f64,
    /// `umol.m-2.s-1`, `%` (of the value), `1` (a factor) or `own` (the device's own unit).
    pub unit: &'static str,
    /// ∂PPFD/∂input without its sign, µmol m⁻² s⁻¹ per `unit`.
    pub sensitivity: f64,
    /// Contribution, k = 1, µmol m⁻² s⁻¹.
    pub u_ppfd: f64,
    /// Degrees of freedom; `None` for a type B estimate, taken as known well (G.4.3).
    pub dof: Option<f64>,
}

/// The budget of one value.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// µmol m⁻² s⁻¹.
    pub ppfd: f64,
    /// In the order of the chain.
    pub inputs: Vec<Input>,
    /// Combined, k = 1: own, shared, both.
    pub u_own: f64,
    /// See `u_own`.
    pub u_shared: f64,
    /// See `u_own`.
    pub u: f64,
    /// Effective degrees of freedom; `None` where no input has finite ones.
    pub dof: Option<f64>,
    /// Coverage factor for 95 %.
    pub k: f64,
}

impl Budget {
    /// Of a station; `None` where it has no value. `correction` is the one in use, where it is at hand: it tells each
    /// factor's own u. The readings' part already allows for how few they are (JCGM 101:2008, 6.4.9), so its degrees of
    /// freedom don't count a second time.
    pub fn of(station: &StationValue, correction: Option<&Correction>) -> Option<Self> {
        let value = station.value?;
        let [place, tilt] = [station.u_place_ppfd, station.u_tilt_ppfd].map(Option::unwrap_or_default);
        let readings = (value.u_own.powi(2) - place.powi(2) - tilt.powi(2))
            .max(0.0)
            .sqrt();
        let size = value.ppfd.abs();
        let mut inputs = vec![plain("readings", Part::Own, readings, None)];
        inputs.extend((tilt > 0.0).then(|| percent("tilt", Part::Own, tilt, size)));
        inputs.extend((place > 0.0).then(|| percent("place", Part::Own, place, size)));
        let order = [
            SharedKind::Dark,
            SharedKind::Sensitivity,
            SharedKind::Spectral,
            SharedKind::Immersion,
            SharedKind::Fit,
            SharedKind::Calibration,
            SharedKind::DeviceDrift,
            SharedKind::Rezero,
            SharedKind::RodHeight,
        ];
        for kind in order {
            let parts = station.shared.iter().filter(|part| part.kind == kind);
            let u_ppfd = parts.map(|part| part.u_ppfd).fold(0.0, f64::hypot);
            if u_ppfd > 0.0 {
                inputs.push(shared(kind, u_ppfd, size, correction));
            }
        }
        let u = value.u();
        let dof = effective_dof(
            u,
            &inputs
                .iter()
                .map(|input| (input.u_ppfd, input.dof))
                .collect::<Vec<_>>(),
        );
        Some(Self {
            ppfd: value.ppfd,
            inputs,
            u_own: value.u_own,
            u_shared: value.u_shared,
            u,
            dof,
            k: coverage_factor(dof),
        })
    }

    /// Expanded uncertainty for 95 %, µmol m⁻² s⁻¹.
    pub fn expanded(&self) -> f64 {
        self.k * self.u
    }

    /// An input's share of the combined variance, percent.
    pub fn share_percent(&self, input: &Input) -> f64 {
        if self.u > 0.0 {
            100.0 * (input.u_ppfd / self.u).powi(2)
        } else {
            0.0
        }
    }
}

fn plain(name: &'static str, part: Part, u_ppfd: f64, dof: Option<f64>) -> Input {
    Input {
        name,
        part,
        value: None,
        u: u_ppfd,
        unit: "umol.m-2.s-1",
        sensitivity: 1.0,
        u_ppfd,
        dof,
    }
}

fn percent(name: &'static str, part: Part, u_ppfd: f64, size: f64) -> Input {
    if size <= 0.0 {
        return plain(name, part, u_ppfd, None);
    }
    Input {
        name,
        part,
        value: None,
        u: 100.0 * u_ppfd / size,
        unit: "%",
        sensitivity: size / 100.0,
        u_ppfd,
        dof: None,
    }
}

fn shared(kind: SharedKind, u_ppfd: f64, size: f64, correction: Option<&Correction>) -> Input {
    let factor = |factor: Option<Factor>, unit| match factor.filter(|factor| factor.u > 0.0) {
        Some(factor) => Input {
            name: kind.word(),
            part: Part::Shared,
            value: Some(factor.value),
            u: factor.u,
            unit,
            sensitivity: u_ppfd / factor.u,
            u_ppfd,
            dof: None,
        },
        None => plain(kind.word(), Part::Shared, u_ppfd, None),
    };
    match kind {
        SharedKind::Dark => factor(correction.map(|correction| correction.dark), "own"),
        SharedKind::Sensitivity => factor(correction.and_then(|correction| correction.sensitivity), "1"),
        SharedKind::Spectral => factor(correction.map(|correction| correction.spectral), "1"),
        SharedKind::Immersion => factor(correction.map(|correction| correction.immersion), "1"),
        SharedKind::Fit => {
            let fit = correction.and_then(|correction| correction.fit.as_ref());
            let dof = fit.and_then(|fit| {
                let fitted = fit.covariance.len().max(fit.coefficients.len()) as f64;
                let free = fit.pairs? as f64 - fitted;
                (free >= 1.0).then_some(free)
            });
            plain(kind.word(), Part::Shared, u_ppfd, dof)
        }
        _ => percent(kind.word(), Part::Shared, u_ppfd, size),
    }
}

/// The Welch–Satterthwaite formula, `ν_eff` = u⁴ / Σ uᵢ⁴/νᵢ (JCGM 100:2008, G.4.1), of contributions and their degrees of
/// freedom; `None` where none has finite ones.
pub fn effective_dof(u: f64, parts: &[(f64, Option<f64>)]) -> Option<f64> {
    let below: f64 = parts
        .iter()
        .filter_map(|(part, dof)| Some((part / u).powi(4) / (*dof)?))
        .filter(|term| term.is_finite())
        .sum();
    (below > 0.0).then(|| 1.0 / below)
}

/// Student's t for 95 % with the degrees of freedom cut to a whole number (JCGM 100:2008, G.4.1 and table G.2); the normal
/// distribution's 1.96 for none.
pub fn coverage_factor(dof: Option<f64>) -> f64 {
    const NORMAL_95: f64 = 1.959_963_984_540_054;
    // Beyond this Student's t and the normal distribution agree to a millionth.
    const MANY: f64 = 1e6;
    dof.filter(|dof| *dof < MANY)
        .map_or(NORMAL_95, |dof| student_factor(0.05, dof.floor().max(1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// JCGM 100:2008, H.1.6: contributions 25 (18 degrees of freedom), 9.7 (25.6), 2.9 (50), 16.6 (2) nm, combined 32 nm:
    /// 16 effective degrees of freedom. (G.4's example: 10 effective from relative 0.25, 0.57, 0.82 with 9, 4, 14, that is
    /// 19.0.) From memory.
    #[test]
    fn welch_satterthwaite_gives_the_examples_of_the_gum() {
        let combined = 25.0_f64.hypot(9.7).hypot(2.9).hypot(16.6);
        let h1 = effective_dof(
            combined,
            &[
                (25.0, Some(18.0)),
                (9.7, Some(25.6)),
                (2.9, Some(50.0)),
                (16.6, Some(2.0)),
            ],
        );
        assert_eq!(h1.map(f64::floor), Some(16.0));
        let parts = [(0.25, Some(9.0)), (0.57, Some(4.0)), (0.82, Some(14.0))];
        let u = 0.25_f64.hypot(0.57).hypot(0.82);
        let g4 = effective_dof(u, &parts).expect("finite");
        assert!((g4 - 19.0).abs() < 0.1, "{g4}");
        // Table G.2: 2.09 for 19 degrees of freedom, 95 %.
        assert!((coverage_factor(Some(19.0)) - 2.09).abs() < 0.01);
        assert_eq!(effective_dof(1.0, &[(1.0, None)]), None);
    }

    proptest! {
        #[test]
        fn effective_degrees_lie_between_the_least_and_the_sum(parts in proptest::collection::vec((0.01f64..10.0, 1.0f64..50.0), 1..6)) {
            let u = parts.iter().fold(0.0, |sum: f64, (part, _)| sum.hypot(*part));
            let given: Vec<_> = parts.iter().map(|(part, dof)| (*part, Some(*dof))).collect();
            let dof = effective_dof(u, &given).expect("finite");
            let least = parts.iter().map(|(_, dof)| *dof).fold(f64::INFINITY, f64::min);
            let sum: f64 = parts.iter().map(|(_, dof)| dof).sum();
            prop_assert!(dof >= least * (1.0 - 1e-9) && dof <= sum * (1.0 + 1e-9));
            prop_assert!(coverage_factor(Some(dof)) > 1.95);
        }
    }
}
