//! A device beside a reference: the pairs with the fit and its 95 % band, differences against the mean, what is left
//! over (J. M. Bland, D. G. Altman, *Lancet* i (1986) 307–310, for the second).

use super::document;
use crate::number::short as f;
use crate::text_cell::shown;
use maud::{Markup, html};
use undim_model::SideBySide;

const WIDTH: f64 = 340.0;
const HEIGHT: f64 = 250.0;
const LEFT: f64 = 46.0;
const RIGHT: f64 = 330.0;
const TOP: f64 = 14.0;
const BOTTOM: f64 = 210.0;
/// More pairs are drawn without titles and smaller.
const MANY: usize = 80;

/// A page of its own.
pub fn side_by_side(of: &SideBySide) -> String {
    let (headline, rest) = of.verdict.split_once(". ").unwrap_or((&of.verdict, ""));
    let body = html! {
        main {
            p.over { (shown(&of.device)) " beside " (shown(&of.reference)) }
            h1 { (shown(headline)) }
            @if !rest.is_empty() { p.detail { (shown(rest)) } }
            @if !of.advice.is_empty() { ul { @for sentence in &of.advice { li { (shown(sentence)) } } } }
            (panels(of))
            footer { p { "Intervals hold with 95 % confidence. A proposal: nothing is changed by it." } }
        }
    };
    document(
        &format!("{} beside {}", shown(&of.device), shown(&of.reference)),
        &body,
    )
}

/// The same as one drawing.
pub fn side_by_side_drawing(of: &SideBySide) -> String {
    let panels: Vec<Markup> = drawings(of)
        .into_iter()
        .map(|(title, inside, _)| {
            html! { text.name x=(f(LEFT)) y="10" { (title) } (inside) }
        })
        .collect();
    let markup = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {WIDTH} {}", f(f64::from(panels.len() as u32) * (HEIGHT + 16.0)))) {
            style { (DRAWING_STYLE) }
            rect.page width="100%" height="100%" {}
            @for (place, panel) in panels.iter().enumerate() {
                g transform=(format!("translate(0 {})", f(place as f64 * (HEIGHT + 16.0) + 6.0))) { (panel) }
            }
        }
    };
    markup.into_string() + "\n"
}

pub(super) const DRAWING_STYLE: &str = "svg{font:11px system-ui,sans-serif;--page:#fbfaf7;--ink:#1c2326;--quiet:#565f64;--line:#d5d6d2;--loss:#8a3b00;--gain:#1b6fb5;--same:#5f686d}@media(prefers-color-scheme:dark){svg{--page:#14181a;--ink:#ecebe4;--quiet:#a4adb1;--line:#3a4246;--loss:#ffb27a;--gain:#64a6e2;--same:#9aa3a8}}.page{fill:var(--page)}text{fill:var(--ink)}.axis{fill:var(--quiet);font-size:10px}.name{font-weight:600}.axis-line{stroke:var(--line);fill:none}.band{fill:var(--gain);opacity:.2}.curve{stroke:var(--gain);stroke-width:1.6;fill:none}.pair{fill:var(--page);stroke:var(--ink);stroke-width:1.3}.pair.out{stroke:var(--loss);fill:none}.equal,.limit{stroke:var(--same);stroke-dasharray:4 3;fill:none}.middle{stroke:var(--same);fill:none}";

/// What stands in the page of a survey.
pub(super) fn section(of: &SideBySide, accepted: Option<&str>) -> Markup {
    html! {
        section {
            h2 { "Read side by side" }
            p { (shown(&of.verdict)) }
            @if let Some(sentence) = accepted { p { strong { (shown(sentence)) } } }
            @if !of.advice.is_empty() { ul { @for sentence in &of.advice { li { (shown(sentence)) } } } }
            (panels(of))
            @if of.fit.is_some() {
                p.quiet { "A proposal: nothing is changed until it is accepted. `undim fit` shows it as it goes into the device's file, and --accept writes it there." }
            }
        }
    }
}

fn panels(of: &SideBySide) -> Markup {
    html! {
        div.side-by-side {
            @for (title, inside, caption) in drawings(of) {
                figure {
                    h2 { (title) }
                    svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label=(title) { (inside) }
                    @if let Some(caption) = caption { figcaption.quiet { (caption) } }
                }
            }
        }
    }
}

type Drawing = (&'static str, Markup, Option<String>);

fn drawings(of: &SideBySide) -> Vec<Drawing> {
    let mut drawings = Vec::new();
    if of.pairs.len() < 2 {
        return drawings;
    }
    drawings.extend(scatter(of));
    drawings.extend(differences(of));
    drawings.extend(residuals(of));
    drawings
}

/// Both axes of a drawing.
struct Axes {
    x: [f64; 2],
    y: [f64; 2],
}

impl Axes {
    /// Around all of these; `None` where they span nothing.
    fn around(points: &[(f64, f64)]) -> Option<Self> {
        let ends = |value: fn(&(f64, f64)) -> f64| {
            let values = points.iter().map(value).filter(|value| value.is_finite());
            let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                (low.min(value), high.max(value))
            });
            let margin = 0.05 * (high - low);
            let is_span = (high - low).is_finite() && high > low;
            is_span.then_some([low - margin, high + margin])
        };
        Some(Self {
            x: ends(|point| point.0)?,
            y: ends(|point| point.1)?,
        })
    }

    fn x(&self, value: f64) -> f64 {
        LEFT + (value - self.x[0]) / (self.x[1] - self.x[0]) * (RIGHT - LEFT)
    }

    fn y(&self, value: f64) -> f64 {
        BOTTOM - (value - self.y[0]) / (self.y[1] - self.y[0]) * (BOTTOM - TOP)
    }

    fn path(&self, points: impl Iterator<Item = (f64, f64)>) -> String {
        let steps: Vec<String> = points
            .map(|(x, y)| format!("{} {}", f(self.x(x)), f(self.y(y))))
            .collect();
        format!("M{}", steps.join("L"))
    }

    fn level(&self, value: f64) -> String {
        format!("M{} {}H{}", f(LEFT), f(self.y(value)), f(RIGHT))
    }

    fn markup(&self, x_name: &str, y_name: &str) -> Markup {
        html! {
            @for tick in ticks(self.x) {
                path.axis-line d=(format!("M{} {}V{}", f(self.x(tick)), f(TOP), f(BOTTOM))) {}
                text.axis x=(f(self.x(tick))) y=(f(BOTTOM + 14.0)) text-anchor="middle" { (plain(tick)) }
            }
            @for tick in ticks(self.y) {
                path.axis-line d=(format!("M{} {}H{}", f(LEFT), f(self.y(tick)), f(RIGHT))) {}
                text.axis x=(f(LEFT - 5.0)) y=(f(self.y(tick) + 3.5)) text-anchor="end" { (plain(tick)) }
            }
            text.axis x=(f(RIGHT)) y=(f(BOTTOM + 30.0)) text-anchor="end" { (x_name) }
            text.axis x=(f(LEFT)) y=(f(TOP - 4.0)) { (y_name) }
        }
    }
}

/// Round values, three to six of them.
fn ticks([low, high]: [f64; 2]) -> Vec<f64> {
    let rough = (high - low) / 4.0;
    let power = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|times| times * power)
        .find(|step| *step >= rough)
        .unwrap_or(rough);
    let first = (low / step).ceil() as i64;
    let last = (high / step).floor() as i64;
    (first..=last.min(first + 8))
        .map(|number| number as f64 * step)
        .collect()
}

fn plain(value: f64) -> String {
    let rounded: f64 = format!("{value:.3e}").parse().unwrap_or(value);
    format!("{}", if rounded == 0.0 { 0.0 } else { rounded }).replace('-', "−")
}

fn marks(
    of: &SideBySide,
    axes: &Axes,
    point: impl Fn(&undim_model::SidePair) -> Option<(f64, f64)>,
) -> Markup {
    let is_many = of.pairs.len() > MANY;
    let radius = if is_many { 1.8 } else { 3.4 };
    html! {
        @for pair in &of.pairs {
            @if let Some((x, y)) = point(pair) {
                @if pair.used {
                    circle.pair cx=(f(axes.x(x))) cy=(f(axes.y(y))) r=(radius) { @if !is_many { title { (shown(&pair.station)) } } }
                } @else {
                    // A cross: left out, whatever the colours.
                    path.pair.out d=(format!("M{} {}l7 7m0 -7l-7 7", f(axes.x(x) - 3.5), f(axes.y(y) - 3.5))) { title { (shown(&pair.station)) ", left out" } }
                }
            }
        }
    }
}

fn scatter(of: &SideBySide) -> Option<Drawing> {
    let mut all: Vec<(f64, f64)> = of
        .pairs
        .iter()
        .map(|pair| (pair.device, pair.reference))
        .collect();
    all.extend(
        of.curve
            .iter()
            .flat_map(|at| [(at.device, at.ci95[0]), (at.device, at.ci95[1])]),
    );
    let axes = Axes::around(&all)?;
    let band = (of.curve.iter().map(|at| (at.device, at.ci95[1])))
        .chain(of.curve.iter().rev().map(|at| (at.device, at.ci95[0])));
    let (low, high) = (axes.x[0].max(axes.y[0]), axes.x[1].min(axes.y[1]));
    let inside = html! {
        (axes.markup("device", "reference"))
        @if low < high { path.equal d=(axes.path([(low, low), (high, high)].into_iter())) { title { "both the same" } } }
        @if !of.curve.is_empty() {
            path.band d=(format!("{}Z", axes.path(band))) {}
            path.curve d=(axes.path(of.curve.iter().map(|at| (at.device, at.corrected)))) {}
        }
        (marks(of, &axes, |pair| Some((pair.device, pair.reference))))
    };
    let caption = "Each mark a pair, a cross one left out; the line the correction with its 95 % band, dashed where both read the same.";
    Some(("Pairs and the fit", inside, Some(caption.to_owned())))
}

fn differences(of: &SideBySide) -> Option<Drawing> {
    let [mean, low, high] = of.agreement?;
    let point = |pair: &undim_model::SidePair| {
        (
            f64::midpoint(pair.device, pair.reference),
            pair.device - pair.reference,
        )
    };
    let mut all: Vec<(f64, f64)> = of.pairs.iter().map(point).collect();
    let first = all.first()?.0;
    all.extend([(first, low), (first, high)]);
    let axes = Axes::around(&all)?;
    let inside = html! {
        (axes.markup("mean of both", "device − reference"))
        path.middle d=(axes.level(mean)) {}
        path.limit d=(axes.level(low)) {}
        path.limit d=(axes.level(high)) {}
        (marks(of, &axes, |pair| Some(point(pair))))
    };
    let caption = format!(
        "As they read: {} on average, most between {} and {} (mean ± 2 sd, dashed).",
        plain(mean),
        plain(low),
        plain(high)
    );
    Some(("Differences against the mean", inside, Some(caption)))
}

fn residuals(of: &SideBySide) -> Option<Drawing> {
    let points = of
        .pairs
        .iter()
        .filter_map(|pair| Some((pair.device, pair.residual?)));
    let mut all: Vec<(f64, f64)> = points.collect();
    let first = all.first()?.0;
    all.extend(of.curve.iter().flat_map(|at| {
        [
            (at.device, at.ci95[0] - at.corrected),
            (at.device, at.ci95[1] - at.corrected),
        ]
    }));
    all.push((first, 0.0));
    let axes = Axes::around(&all)?;
    let band = (of.curve.iter().map(|at| (at.device, at.ci95[1] - at.corrected))).chain(
        of.curve
            .iter()
            .rev()
            .map(|at| (at.device, at.ci95[0] - at.corrected)),
    );
    let inside = html! {
        (axes.markup("device", "left over"))
        @if !of.curve.is_empty() { path.band d=(format!("{}Z", axes.path(band))) {} }
        path.middle d=(axes.level(0.0)) {}
        (marks(of, &axes, |pair| Some((pair.device, pair.residual?))))
    };
    Some((
        "Left over after the fit",
        inside,
        Some("Reference less the corrected device; the band is how well the correction is known.".to_owned()),
    ))
}
