//! A spectrum: its light from 380 to 780 nm, with what it is held against, and its factors.

use super::document;
use super::side_by_side::DRAWING_STYLE;
use crate::number::short as f;
use crate::text_cell::shown;
use maud::{Markup, html};
use undim_model::{SpectrumCurve, SpectrumSheet};

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 300.0;
const LEFT: f64 = 14.0;
const RIGHT: f64 = 626.0;
const TOP: f64 = 40.0;
const BOTTOM: f64 = 262.0;
const FROM_NM: f64 = 380.0;
const TO_NM: f64 = 780.0;
/// Finer than the drawing shows.
const MOST_POINTS: usize = 1600;

/// A page of its own.
pub fn spectrum(of: &SpectrumSheet) -> String {
    let body = html! {
        main {
            p.over { "Spectrum of " (shown(&of.name)) }
            h1 { (shown(&of.headline)) }
            figure {
                svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label="Light against wavelength" { (inside(of)) }
                figcaption.quiet { "Power per nanometre, each curve brought to its own peak. Upright lines part the bands of 100 nm; PPFD counts photons from 400 to 700 nm." }
            }
            table {
                @for [fact, value] in &of.facts { tr { th scope="row" { (shown(fact)) } td { (shown(value)) } } }
            }
            @if !of.remarks.is_empty() { ul { @for sentence in &of.remarks { li { (shown(sentence)) } } } }
            footer { p { "Factors hold for this spectrum alone: another mix of channels has others. Don't look into blue or UV fixtures while measuring." } }
        }
    };
    document(&format!("Spectrum of {}", shown(&of.name)), &body)
}

/// The same as one drawing.
pub fn spectrum_drawing(of: &SpectrumSheet) -> String {
    let markup = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) {
            style { (DRAWING_STYLE) }
            rect.page width="100%" height="100%" {}
            (inside(of))
        }
    };
    markup.into_string() + "\n"
}

fn x(nm: f64) -> f64 {
    LEFT + (nm - FROM_NM) / (TO_NM - FROM_NM) * (RIGHT - LEFT)
}

fn inside(of: &SpectrumSheet) -> Markup {
    // The line's form tells the curves apart, in grey and on paper too.
    let forms = ["curve", "equal", "middle"];
    html! {
        @for nm in [400.0, 500.0, 600.0, 700.0] {
            path.axis-line d=(format!("M{} {}V{}", f(x(nm)), f(TOP), f(BOTTOM))) {}
            text.axis x=(f(x(nm))) y=(f(BOTTOM + 15.0)) text-anchor="middle" { (nm) }
        }
        path.axis-line d=(format!("M{} {}H{}", f(LEFT), f(BOTTOM), f(RIGHT))) {}
        text.axis x=(f(RIGHT)) y=(f(BOTTOM + 31.0)) text-anchor="end" { "wavelength, nm" }
        @for (place, curve) in of.curves.iter().enumerate() {
            @let form = forms.get(place).copied().unwrap_or("limit");
            @if let Some(path) = path(curve) {
                @if place == 0 { path.band d=(format!("{path}V{}H{}Z", f(BOTTOM), f(x(first_nm(curve))))) {} }
                path class=(form) d=(path) { title { (shown(&curve.name)) } }
            }
            @let at = LEFT + place as f64 * (RIGHT - LEFT) / 3.0;
            path class=(form) d=(format!("M{} 12h18", f(at))) {}
            text.axis x=(f(at + 23.0)) y="15.5" { (short(&curve.name)) }
        }
    }
}

fn first_nm(curve: &SpectrumCurve) -> f64 {
    curve
        .points
        .first()
        .map_or(FROM_NM, |[nm, _]| nm.clamp(FROM_NM, TO_NM))
}

/// What fits beside the next name.
fn short(name: &str) -> String {
    let name = shown(name);
    match name.char_indices().nth(26) {
        Some((end, _)) => format!("{}…", &name[..end]),
        None => name.into_owned(),
    }
}

fn path(curve: &SpectrumCurve) -> Option<String> {
    let in_view = |point: &&[f64; 2]| (FROM_NM..=TO_NM).contains(&point[0]);
    let peak = curve
        .points
        .iter()
        .filter(in_view)
        .fold(0.0, |most: f64, point| most.max(point[1]));
    let every = curve.points.len().div_ceil(MOST_POINTS).max(1);
    let steps: Vec<String> = (curve.points.iter().step_by(every).filter(in_view))
        .map(|[nm, value]| format!("{} {}", f(x(*nm)), f(BOTTOM - value / peak * (BOTTOM - TOP))))
        .collect();
    (peak > 0.0 && steps.len() > 1).then(|| format!("M{}", steps.join("L")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_with_markup_is_inert_and_a_curve_without_light_is_not_drawn() {
        let curve = |value: f64| SpectrumCurve {
            name: "<b>blue".to_owned(),
            points: vec![[400.0, value], [700.0, value]],
        };
        let mut sheet = SpectrumSheet {
            name: "<b>blue".to_owned(),
            headline: "1 lx is 0.02 µmol m⁻² s⁻¹".to_owned(),
            curves: vec![curve(1.0), curve(0.0)],
            facts: vec![["peak".to_owned(), "450 nm".to_owned()]],
            remarks: vec![],
        };
        let page = spectrum(&sheet);
        assert!(!page.contains("<b>blue") && !page.contains("NaN"), "{page}");
        assert_eq!(
            page.matches("class=\"equal\"").count(),
            1,
            "only its place in the key"
        );
        sheet.curves.clear();
        assert!(!spectrum_drawing(&sheet).contains("NaN"));
    }
}
