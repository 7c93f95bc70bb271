//! `undim fit --json`: one object (formats, section 8).

use super::Fitting;
use serde::Serialize;
use undim_correct::fit::{At, Candidate, Judged, Proposal};
use undim_model::{Fit, FitModel, Medium};
use undim_stats::errors_in_variables::Form;

/// The object.
#[derive(Debug, Serialize)]
pub(crate) struct FitJson<'a> {
    device: Option<&'a str>,
    reference: Option<&'a str>,
    medium: Option<&'static str>,
    scenes: Vec<&'a str>,
    sources: &'a [String],
    span: Option<[f64; 2]>,
    picked: Option<&'static str>,
    scenes_agree: Option<bool>,
    p_scenes: Option<f64>,
    advice: &'a [String],
    pairs: Vec<PairJson<'a>>,
    models: Vec<ModelJson>,
    standard_error: &'static str,
    correction: Option<CorrectionJson>,
    at: Vec<AtJson>,
    agreement: Option<AgreementJson>,
    /// What the correction's covariance holds beyond the fit's: the device beside the curve, k = 1.
    u_lack_of_fit: Option<f64>,
}

#[derive(Debug, Serialize)]
struct PairJson<'a> {
    station: &'a str,
    time: Option<String>,
    scene: Option<&'a str>,
    device: Option<f64>,
    u_device: Option<f64>,
    reference: Option<f64>,
    u_reference: Option<f64>,
    residual: Option<f64>,
    used: bool,
    reasons: Vec<&'static str>,
}

#[derive(Debug, Serialize)]
struct ModelJson {
    model: &'static str,
    coefficients: Vec<f64>,
    covariance: Vec<Vec<f64>>,
    knot: Option<f64>,
    u_knot: Option<f64>,
    chi2: f64,
    dof: usize,
    aicc: Option<f64>,
    loo: Option<f64>,
}

/// The `fit` block of a device file.
#[derive(Debug, Serialize)]
struct CorrectionJson {
    model: &'static str,
    coefficients: Vec<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    knot: Option<f64>,
    covariance: Vec<Vec<f64>>,
    over: Option<[f64; 2]>,
    pairs: Option<u64>,
    reference: Option<String>,
}

#[derive(Debug, Serialize)]
struct AtJson {
    device: f64,
    corrected: f64,
    u: f64,
    ci95: [f64; 2],
    flag: u8,
}

#[derive(Debug, Serialize)]
struct AgreementJson {
    mean_difference: f64,
    sd: f64,
    limits: [f64; 2],
}

/// Of a fitting.
pub(crate) fn of(fitting: &Fitting) -> FitJson<'_> {
    let proposal = &fitting.proposal;
    let finite = |value: f64| value.is_finite().then_some(value);
    FitJson {
        device: fitting.device.as_deref(),
        reference: fitting.reference.as_deref(),
        medium: fitting.medium.map(|medium| match medium {
            Medium::Air => "air",
            Medium::Water => "water",
        }),
        scenes: proposal.scenes.iter().map(|scene| &**scene).collect(),
        sources: &fitting.sources,
        span: proposal.span,
        picked: proposal.picked().map(|picked| word(picked.fitted.form)),
        scenes_agree: proposal.scenes_test.map(|test| test.agree),
        p_scenes: proposal.scenes_test.and_then(|test| finite(test.p)),
        advice: &proposal.advice,
        pairs: proposal.pairs.iter().map(pair).collect(),
        models: proposal
            .candidates
            .iter()
            .map(|candidate| model(proposal, candidate))
            .collect(),
        standard_error: if proposal.is_scaled {
            "york-2004-scaled"
        } else {
            "york-2004"
        },
        correction: proposal.fit(fitting.reference.as_deref()).map(correction),
        at: proposal.at(&fitting.at).iter().map(at).collect(),
        agreement: proposal.agreement.map(|agreement| AgreementJson {
            mean_difference: agreement.mean_difference,
            sd: agreement.sd,
            limits: agreement.limits,
        }),
        u_lack_of_fit: proposal.picked.map(|_| proposal.lack.u),
    }
}

fn pair(judged: &Judged) -> PairJson<'_> {
    let finite = |value: f64| value.is_finite().then_some(value);
    let pair = &judged.pair;
    PairJson {
        station: &pair.station,
        time: pair.time.map(|time| time.to_string().replace('Z', "+00:00")),
        scene: pair.scene.as_deref(),
        device: finite(pair.device),
        u_device: judged.u[0].and_then(finite),
        reference: finite(pair.reference),
        u_reference: judged.u[1].and_then(finite),
        residual: judged.residual,
        used: judged.used,
        reasons: judged.reasons.iter().map(|why| why.word()).collect(),
    }
}

fn model(proposal: &Proposal, candidate: &Candidate) -> ModelJson {
    let fitted = &candidate.fitted;
    let is_bent = fitted.form == Form::Hinge;
    let u_knot = fitted
        .covariance
        .get(3)
        .and_then(|row| row.get(3))
        .map(|variance| variance.max(0.0).sqrt());
    ModelJson {
        model: word(fitted.form),
        coefficients: fitted.coefficients(),
        covariance: fitted.covariance.clone(),
        knot: is_bent.then_some(fitted.curve.knot),
        u_knot,
        chi2: fitted.chi2,
        dof: fitted.dof,
        aicc: candidate.aicc,
        loo: proposal.leave_one_out(candidate),
    }
}

fn correction(fit: Fit) -> CorrectionJson {
    let (model, knot) = model_and_knot(fit.model);
    CorrectionJson {
        model,
        coefficients: fit.coefficients,
        knot,
        covariance: fit.covariance,
        over: fit.over,
        pairs: fit.pairs,
        reference: fit.reference,
    }
}

fn at(at: &At) -> AtJson {
    AtJson {
        device: at.device,
        corrected: at.corrected,
        u: at.u,
        ci95: at.interval,
        flag: if at.is_beyond { 3 } else { 1 },
    }
}

/// The word of a form.
pub(crate) fn word(form: Form) -> &'static str {
    match form {
        Form::Offset => "offset",
        Form::Gain => "gain",
        Form::Line => "line",
        Form::Hinge => "hinge",
    }
}

/// The same of a fit, with its knot.
pub(crate) fn model_and_knot(model: FitModel) -> (&'static str, Option<f64>) {
    match model {
        FitModel::Offset => ("offset", None),
        FitModel::Gain => ("gain", None),
        FitModel::Line => ("line", None),
        FitModel::Hinge { knot } => ("hinge", Some(knot)),
    }
}
