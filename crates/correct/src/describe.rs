//! What is done to a reading, in words.

use undim_model::{Correction, Device, Factor, Fit, FitModel, Role};

/// A correction in use: "line fit of 42 pairs against hired-reference over 20 to 900, valid from 2026-03-01;
/// dark 0.3 mV; spectral 0.97". Steps that change nothing are left out.
pub(crate) fn correction(
    device: &Device,
    correction: &Correction,
    next: Option<&Correction>,
    matches: bool,
) -> String {
    let fit = correction
        .fit
        .as_ref()
        .map_or_else(|| "no side-by-side fit".to_owned(), fit);
    let valid = (correction.span.from).map_or_else(
        || "valid on any day".to_owned(),
        |from| format!("valid from {from}"),
    );
    let mut parts = vec![format!("{fit}, {valid}")];
    let dark_unit = device.unit_code.as_deref().unwrap_or("in the device's own unit");
    let dark = correction.dark;
    if dark.value != 0.0 || dark.u != 0.0 {
        parts.push(format!("dark {}{} {dark_unit}", dark.value, plus_minus(dark)));
    }
    for (name, factor) in [
        ("sensitivity", correction.sensitivity),
        ("spectral", Some(correction.spectral)),
        ("immersion (under water)", Some(correction.immersion)),
    ] {
        if let Some(factor) = factor.filter(|factor| factor.value != 1.0 || factor.u != 0.0) {
            parts.push(format!("{name} {}{}", factor.value, plus_minus(factor)));
        }
    }
    if let Some(from) = next.and_then(|next| next.span.from) {
        parts.push(format!("passing evenly into the correction of {from}"));
    }
    if !matches {
        parts.push("made under another light or in another medium".to_owned());
    }
    parts.join("; ")
}

/// No correction in use.
pub(crate) fn none(device: &Device, has_way_to_micromol: bool) -> String {
    let text = match (has_way_to_micromol, device.role) {
        (false, _) => {
            "no way from its unit to µmol m⁻² s⁻¹: give the device a sensitivity, or a fit, valid on this day"
        }
        (true, Role::Reference) => "taken as it reads: a reference",
        (true, Role::Everyday) => "taken as it reads: no correction is known for this day",
    };
    text.to_owned()
}

fn fit(fit: &Fit) -> String {
    let form = match fit.model {
        FitModel::Offset => "offset fit".to_owned(),
        FitModel::Gain => "gain fit".to_owned(),
        FitModel::Line => "line fit".to_owned(),
        FitModel::Hinge { knot } => format!("hinge fit with its knot at {knot}"),
    };
    let evidence = [
        fit.pairs.map(|pairs| format!("of {pairs} pairs")),
        fit.reference
            .as_ref()
            .map(|reference| format!("against {reference}")),
        fit.over.map(|[low, high]| format!("over {low} to {high}")),
    ];
    let words: Vec<String> = std::iter::once(form)
        .chain(evidence.into_iter().flatten())
        .collect();
    words.join(" ")
}

/// The standard uncertainty behind a number, where there is one.
fn plus_minus(factor: Factor) -> String {
    if factor.u == 0.0 {
        String::new()
    } else {
        format!(" ± {} (k = 1)", factor.u)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use undim_model::DateSpan;

    #[test]
    fn a_correction_is_told_step_by_step() {
        let mut device = Device::undeclared("bagged-phone");
        device.unit_code = Some("mV".to_owned());
        let made = Correction {
            span: DateSpan {
                from: Some(date(2026, 3, 1)),
                until: None,
            },
            scenes: vec![],
            medium: None,
            blend: false,
            dark: Factor { value: 0.3, u: 0.1 },
            sensitivity: Some(Factor { value: 5.2, u: 0.0 }),
            spectral: Factor { value: 1.0, u: 0.0 },
            immersion: Factor { value: 1.0, u: 0.0 },
            fit: Some(Fit {
                model: FitModel::Line,
                coefficients: vec![10.0, 1.0],
                covariance: vec![vec![1.0, 0.0], vec![0.0, 0.0004]],
                over: Some([20.0, 900.0]),
                pairs: Some(42),
                reference: Some("hired-reference".to_owned()),
            }),
        };
        assert_eq!(
            correction(&device, &made, None, true),
            "line fit of 42 pairs against hired-reference over 20 to 900, valid from 2026-03-01; \
             dark 0.3 ± 0.1 (k = 1) mV; sensitivity 5.2"
        );
        assert!(correction(&device, &made, Some(&made), false).ends_with(
            "; passing evenly into the correction of 2026-03-01; made under another light or in another medium"
        ));
    }
}
