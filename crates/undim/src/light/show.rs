//! A spectrum's answer for the terminal, as JSON and as a page.

use super::Answer;
use serde_json::{Value, json};
use undim_correct::spectrum::{shipped, shipped_names};
use undim_emit::terminal::Screen;
use undim_model::{SpectrumCurve, SpectrumSheet};

/// Four significant digits, never an exponent.
fn digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0".to_owned();
    }
    let places = (3.0 - value.abs().log10().floor()).clamp(0.0, 9.0) as usize;
    format!("{value:.places$}")
}

fn facts(answer: &Answer) -> Vec<[String; 2]> {
    let light = &answer.light;
    let mut facts: Vec<(String, String)> = vec![
        (
            "PPFD per lux".to_owned(),
            format!("{} µmol m⁻² s⁻¹ per lx", digits(light.ppfd_per_lux)),
        ),
        (
            "lux per PPFD".to_owned(),
            format!("{} lx per µmol m⁻² s⁻¹", digits(1.0 / light.ppfd_per_lux)),
        ),
        (
            "PPFD per W m⁻² (400–700 nm)".to_owned(),
            format!("{} µmol/J", digits(light.ppfd_per_watt)),
        ),
    ];
    for band in &light.bands {
        let name = format!("photons {}–{} nm", band.nm[0], band.nm[1]);
        facts.push((name, format!("{:.1} % of PPFD", band.percent)));
    }
    if let Some(epar) = light.epar_per_par {
        facts.push((
            "extended PAR (400–750 nm)".to_owned(),
            format!("{} times PPFD", digits(epar)),
        ));
    }
    facts.push((
        "peak".to_owned(),
        format!("{} nm", digits(answer.spectrum.peak_nm())),
    ));
    if let Some(device) = &answer.device {
        facts.push((
            "spectral mismatch factor".to_owned(),
            format!(
                "{} for {}, calibrated under {}",
                digits(device.factor),
                device.name,
                device.under_name
            ),
        ));
    }
    facts.into_iter().map(|(fact, value)| [fact, value]).collect()
}

/// Lines for a correction in a device's file.
fn paste(answer: &Answer) -> Vec<String> {
    let light = &answer.light;
    let line = |name: &str, value: f64, u: f64, words: &str| {
        format!(
            "{name} = {}\nu_{name} = {}   # k = 1; {words}",
            digits(value),
            digits(u)
        )
    };
    let mut lines: Vec<String> = [
        ("lx", light.ppfd_per_lux, answer.u_percent[0]),
        ("W.m-2", light.ppfd_per_watt, answer.u_percent[1]),
    ]
    .into_iter()
    .map(|(unit, factor, percent)| {
        line(
            "sensitivity",
            factor,
            factor * percent / 100.0,
            &format!("a device that reads in {unit}"),
        )
    })
    .collect();
    if let Some(device) = &answer.device {
        lines.push(line(
            "spectral",
            device.factor,
            device.u_factor,
            "a quarter of its distance from 1",
        ));
    }
    lines
}

fn u_words(answer: &Answer) -> &'static str {
    if answer.is_measured {
        "The u of a sensitivity is what wavelengths 2 nm off would change; the meter's own errors come on top (cal_percent)."
    } else {
        "The u of a sensitivity is how far the factor differs among nine LED spectra of the CIE: a spectrum from a list stands in for your fixture's own. Measure that, and it shrinks."
    }
}

/// The whole answer.
pub(crate) fn show(answer: &Answer, screen: &Screen) -> String {
    let mut lines = vec![
        screen.text(&format!("{} ({})", answer.name, answer.source)),
        String::new(),
    ];
    for [fact, value] in facts(answer) {
        lines.push(screen.text(&format!("  {fact:<28} {value}")));
    }
    lines.push(String::new());
    lines.push("For a [[correction]] in a device's file:".to_owned());
    for block in paste(answer) {
        lines.push(String::new());
        lines.extend(block.lines().map(|line| format!("  {line}")));
    }
    lines.push(String::new());
    for remark in answer.remarks.iter().map(String::as_str).chain([u_words(answer)]) {
        lines.push(screen.wrapped(remark, "", ""));
    }
    lines.join("\n").trim_end().to_owned()
}

/// The object of `--json`.
pub(crate) fn json_of(answer: &Answer) -> Value {
    let light = &answer.light;
    let [first, last] = answer.spectrum.span_nm();
    let [u_lux, u_watt] = answer.u_percent;
    json!({
        "spectrum": answer.name,
        "source": answer.source,
        "from_nm": first,
        "to_nm": last,
        "points": answer.spectrum.points().len(),
        "peak_nm": answer.spectrum.peak_nm(),
        "mix": answer.mix.iter().map(|(name, level)| json!({ "name": name, "level": level })).collect::<Vec<_>>(),
        "ppfd_per_lx": light.ppfd_per_lux,
        "u_ppfd_per_lx": light.ppfd_per_lux * u_lux / 100.0,
        "lx_per_ppfd": 1.0 / light.ppfd_per_lux,
        "ppfd_per_w_m2": light.ppfd_per_watt,
        "u_ppfd_per_w_m2": light.ppfd_per_watt * u_watt / 100.0,
        "bands": light.bands.iter().map(|band| json!({
            "from_nm": band.nm[0], "to_nm": band.nm[1], "percent_of_ppfd": band.percent,
        })).collect::<Vec<_>>(),
        "epar_per_ppfd": light.epar_per_par,
        "mismatch": answer.device.as_ref().map(|device| json!({
            "response": device.name,
            "calibrated_under": device.under_name,
            "spectral": device.factor,
            "u_spectral": device.u_factor,
        })),
        "remarks": answer.remarks,
    })
}

/// The page.
pub(crate) fn sheet(answer: &Answer) -> SpectrumSheet {
    let curve = |name: &str, spectrum: &undim_correct::spectrum::Spectrum| SpectrumCurve {
        name: name.to_owned(),
        points: spectrum.points().to_vec(),
    };
    let mut curves = vec![curve(&answer.name, &answer.spectrum)];
    if let Some(device) = &answer.device {
        curves.push(curve(&format!("response: {}", device.name), &device.response));
        curves.push(curve(
            &format!("calibrated under {}", device.under_name),
            &device.under,
        ));
    }
    SpectrumSheet {
        name: answer.name.clone(),
        headline: format!(
            "1000 lx of this light are {} µmol m⁻² s⁻¹",
            digits(1000.0 * answer.light.ppfd_per_lux)
        ),
        curves,
        facts: facts(answer),
        remarks: answer
            .remarks
            .iter()
            .cloned()
            .chain([u_words(answer).to_owned()])
            .collect(),
    }
}

/// The built-in spectra, a line each.
pub(crate) fn list() -> String {
    let lines: Vec<String> = shipped_names()
        .filter_map(shipped)
        .map(|shipped| format!("{:<12} {}", shipped.name, shipped.source))
        .collect();
    lines.join("\n")
}

/// The same as JSON.
pub(crate) fn list_json() -> Value {
    shipped_names()
        .filter_map(shipped)
        .map(|shipped| json!({ "name": shipped.name, "source": shipped.source }))
        .collect()
}
