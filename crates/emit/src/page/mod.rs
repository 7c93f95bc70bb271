//! `report.html`, the page of one survey, and the two above it: of a tank, of the whole site. The answer in
//! five seconds, the evidence in a minute.
//!
//! Self-contained: no script, no network, one style sheet that the page's content security policy admits
//! by its hash. Light and dark, a phone's width, paper. Shape carries meaning, colour repeats it.

pub mod blank;
mod budget;
pub(crate) mod facts;
mod folded;
pub(crate) mod label;
mod marks;
mod plan;
mod reach;
pub(crate) mod sha256;
mod side_by_side;
mod site;
mod spectrum;
mod tank;
mod trend;

pub use side_by_side::{side_by_side, side_by_side_drawing};
pub use spectrum::{spectrum, spectrum_drawing};

use crate::sign::seen;
use crate::text_cell::shown;
use crate::{Report, words};
use maud::{DOCTYPE, Markup, PreEscaped, html};

pub use site::{TankLine, site};
pub use tank::{TankPage, tank};

const STYLE: &str = include_str!("style.css");

/// The page of a survey, whole.
pub fn survey(report: &Report<'_>) -> String {
    let headline = words::headline(report);
    let tank = shown(&report.tank.name);
    let seen = seen(report);
    let views = plan::views(report, &seen);
    let body = html! {
        main {
            @if let Some(pumps) = words::pumps(report.survey.pumps_on) { p.pumps { (pumps) } }
            @if report.in_site {
                nav.over aria-label="Above this page" {
                    a href="../../index.html" { (shown(report.site_name)) } " › " a href="../index.html" { (tank) }
                }
            }
            p.over {
                @if !report.in_site { (tank) " · " }
                "Survey of " (words::weekday_and_day(report.survey.date))
                @if let Some(scene) = &report.survey.scene { " · scene " (shown(scene)) }
                @if report.survey.revision > 1 { " · revision " (report.survey.revision) }
            }
            h1 { (headline.sentence) }
            p.detail { @for sentence in &headline.detail { (sentence) " " } }
            @if !report.survey.tied_to_reference { p.note { (words::NOT_TIED) } }
            (next(words::do_next(report)))
            (facts::markup(report))
            div.views {
                @if let Some(views) = &views { (views) }
                div.trends { (trend::trends(report)) (reach::reach(report)) }
            }
            @for of in report.side_by_side {
                (side_by_side::section(of, of.accepted.as_ref().map(words::accepted_holds).as_deref()))
            }
            (folded::folds(report, &seen, views.is_none()))
            footer {
                p { "PAR (PPFD) in µmol m⁻² s⁻¹. " (words::BOTH_INTERVALS) }
                p { (shown(report.site_name)) " · judged from the readings of " (words::day_and_year(report.survey.date)) " and those before · undim " (shown(report.software_version)) " watches; it never switches." }
            }
        }
    };
    document(&format!("{tank}: {}", headline.sentence), &body)
}

/// The box that says what to do.
fn next(mut steps: Vec<String>) -> Markup {
    let loss = steps.pop_if(|last| last == words::DO_NOT_RAISE).is_some();
    html! {
        section.next {
            h2 { "Do next" }
            div {
                @if let [only] = steps.as_slice() {
                    p { (only) }
                } @else {
                    ol { @for step in &steps { li { (step) } } }
                }
                @if loss {
                    p { strong { (words::DO_NOT_RAISE) } }
                    p.quiet { (words::STAND_IN) }
                }
            }
        }
    }
}

fn document(title: &str, body: &Markup) -> String {
    styled_document(title, STYLE, body)
}

fn styled_document(title: &str, style: &str, body: &Markup) -> String {
    let policy = format!(
        "default-src 'none'; style-src 'sha256-{}'; base-uri 'none'; form-action 'none'",
        sha256::base64(&sha256::sha256(style.as_bytes()))
    );
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                style { (PreEscaped(style)) }
            }
            body { (body) }
        }
    }
    .into_string()
        + "\n"
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod tests_of_tanks;
