//! A device beside a reference, as `survey.json` holds it under `fit`: the proposal, and how the correction in use held.

use serde::Serialize;
use undim_model::{FitModel, Medium, SideBySide};

/// One device.
#[derive(Serialize)]
pub(crate) struct Fit<'a> {
    device: &'a str,
    reference: &'a str,
    medium: Option<&'static str>,
    pairs: usize,
    used: usize,
    left_out: Vec<&'a str>,
    span: Option<[f64; 2]>,
    verdict: &'a str,
    advice: &'a [String],
    correction: Option<Correction<'a>>,
    at: Vec<At>,
    /// Whether the correction in use held against these pairs; `null` where none is in use, or too few tell.
    accepted: Option<Accepted>,
}

#[derive(Serialize)]
struct Correction<'a> {
    model: &'static str,
    coefficients: &'a [f64],
    knot: Option<f64>,
    covariance: &'a [Vec<f64>],
    over: Option<[f64; 2]>,
    pairs: Option<u64>,
    reference: Option<&'a str>,
}

#[derive(Serialize)]
struct At {
    device: f64,
    corrected: f64,
    u: f64,
    ci95: [f64; 2],
}

#[derive(Serialize)]
struct Accepted {
    /// `device-drift` where it no longer holds.
    cause: Option<&'static str>,
    holds: bool,
    reads_percent: f64,
    u_percent: f64,
    p: f64,
}

/// Of one device.
pub(crate) fn of(of: &SideBySide) -> Fit<'_> {
    Fit {
        device: &of.device,
        reference: &of.reference,
        medium: of.medium.map(|medium| match medium {
            Medium::Air => "air",
            Medium::Water => "water",
        }),
        pairs: of.pairs.len(),
        used: of.pairs.iter().filter(|pair| pair.used).count(),
        left_out: (of.pairs.iter())
            .filter(|pair| !pair.used)
            .map(|pair| &*pair.station)
            .collect(),
        span: of.span,
        verdict: &of.verdict,
        advice: &of.advice,
        correction: of.fit.as_ref().map(|fit| {
            let (model, knot) = match fit.model {
                FitModel::Offset => ("offset", None),
                FitModel::Gain => ("gain", None),
                FitModel::Line => ("line", None),
                FitModel::Hinge { knot } => ("hinge", Some(knot)),
            };
            Correction {
                model,
                coefficients: &fit.coefficients,
                knot,
                covariance: &fit.covariance,
                over: fit.over,
                pairs: fit.pairs,
                reference: fit.reference.as_deref(),
            }
        }),
        at: (of.at.iter())
            .map(|at| At {
                device: at.device,
                corrected: at.corrected,
                u: at.u,
                ci95: at.ci95,
            })
            .collect(),
        accepted: of.accepted.map(|held| Accepted {
            cause: (!held.holds).then_some("device-drift"),
            holds: held.holds,
            reads_percent: held.reads_percent,
            u_percent: held.u_percent,
            p: held.p,
        }),
    }
}
