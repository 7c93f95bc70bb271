//! A fit as the package and the page show it.

use super::Fitting;
use super::show::verdict;
use undim_correct::fit::At;
use undim_model::{CorrectedAt, SideBySide, SidePair};

/// Points of the drawn curve.
const DRAWN: usize = 60;

/// What is shown; nothing where the device or the reference is not known.
pub(crate) fn summary(fitting: &Fitting) -> SideBySide {
    let proposal = &fitting.proposal;
    let values: Vec<f64> = match proposal.span {
        Some([low, high]) => {
            let mut values: Vec<f64> = (0..=DRAWN)
                .map(|i| low + (high - low) * i as f64 / DRAWN as f64)
                .collect();
            if let Some(picked) = proposal.picked().filter(|picked| picked.fitted.curve.c != 0.0) {
                values.push(picked.fitted.curve.knot);
                values.sort_by(f64::total_cmp);
            }
            values
        }
        None => Vec::new(),
    };
    let corrected = |at: &At| CorrectedAt {
        device: at.device,
        corrected: at.corrected,
        u: at.u,
        ci95: at.interval,
    };
    SideBySide {
        device: fitting.device.clone().unwrap_or_else(|| "the device".to_owned()),
        reference: fitting
            .reference
            .clone()
            .unwrap_or_else(|| "the reference".to_owned()),
        medium: fitting.medium,
        pairs: (proposal.pairs.iter())
            .filter(|judged| judged.pair.device.is_finite() && judged.pair.reference.is_finite())
            .map(|judged| SidePair {
                station: judged.pair.station.clone(),
                device: judged.pair.device,
                reference: judged.pair.reference,
                residual: judged.residual,
                used: judged.used,
            })
            .collect(),
        span: proposal.span,
        fit: proposal.fit(fitting.reference.as_deref()),
        curve: proposal.at(&values).iter().map(corrected).collect(),
        at: proposal.at(&fitting.at).iter().map(corrected).collect(),
        agreement: (proposal.agreement).map(|agreement| {
            [
                agreement.mean_difference,
                agreement.limits[0],
                agreement.limits[1],
            ]
        }),
        verdict: verdict(fitting),
        advice: proposal.advice.clone(),
        accepted: fitting.accepted,
    }
}
