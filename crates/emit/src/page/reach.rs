//! Each coral's light beside the range it should get, on one scale.

use super::label::text_width;
use super::marks::{inline_sign, shape, shorten};
use crate::Report;
use crate::corals::{CoralLight, Standing, TO_95, corals};
use crate::number::{fixed, short as f};
use crate::sign::Sign;
use crate::text_cell::shown;
use crate::words::{self, counted};
use maud::{Markup, html};
use undim_model::LightRange;

const WIDTH: f64 = 340.0;
const ROW: f64 = 19.0;
const TEXT: f64 = 11.0;
/// Room on the right for the value.
const RIGHT: f64 = 268.0;
/// Names take no more than this.
const WIDEST_NAME: f64 = 116.0;
/// More corals than this stand in the table alone.
const MOST: usize = 14;

/// What is drawn of one coral.
struct Row {
    name: String,
    light: String,
    ppfd: f64,
    half: f64,
    wanted: [f64; 2],
    sign: Sign,
}

/// The drawing; nothing where no coral has both a range and a reading near.
pub(super) fn reach(report: &Report<'_>) -> Markup {
    let corals = corals(report);
    let rows: Vec<Row> = corals.iter().filter_map(row).take(MOST).collect();
    let left = rows
        .iter()
        .map(|row| text_width(&row.name, TEXT, true))
        .fold(0.0, f64::max)
        .min(WIDEST_NAME)
        + 10.0;
    let most = round_up(
        rows.iter()
            .map(|row| row.wanted[1].max(row.ppfd + row.half))
            .fold(1.0, f64::max),
    );
    let x = |ppfd: f64| left + (ppfd / most).clamp(0.0, 1.0) * (RIGHT - left);
    let height = ROW * rows.len() as f64;
    html! {
        @if !rows.is_empty() {
            figure.trend {
                h2 { span { "Corals" } span.aside { "PPFD; the bar is the range wanted" } }
                svg viewBox=(format!("0 0 {WIDTH} {}", f(height + 16.0))) role="img" aria-label="Each coral's light beside the range it should get" {
                    @for (number, row) in rows.iter().enumerate() {
                        @let y = ROW * (number as f64 + 0.5);
                        text.name x="0" y=(f(y + 4.0)) { (row.name) }
                        path.axis-line d=(format!("M{} {}H{}", f(left), f(y), f(RIGHT))) {}
                        rect.wanted x=(f(x(row.wanted[0]))) y=(f(y - 5.0)) width=(f(x(row.wanted[1]) - x(row.wanted[0]))) height="10" {}
                        path.bar d=(format!("M{} {}H{}", f(x(row.ppfd - row.half)), f(y), f(x(row.ppfd + row.half)))) {}
                        g class=(format!("sign {}", row.sign.class())) { (shape(row.sign, x(row.ppfd), y)) }
                        text.axis x=(f(WIDTH)) y=(f(y + 3.5)) text-anchor="end" { (row.light) }
                    }
                    text.axis x=(f(left)) y=(f(height + 11.0)) text-anchor="middle" { "0" }
                    text.axis x=(f(RIGHT)) y=(f(height + 11.0)) text-anchor="middle" { (fixed(most, 0)) }
                }
                @if rows.iter().any(|row| row.sign != Sign::Same) {
                    p.quiet { (inline_sign(Sign::Less)) "too little " (inline_sign(Sign::More)) "too much, by the nearest reading" }
                }
                @if corals.iter().any(|coral| coral.is_unsteady) { p.quiet { (words::CORALS_UNSTEADY) } }
                @if rows.len() < corals.len() {
                    p.quiet { (counted(corals.len() - rows.len(), "other coral stands", "other corals stand")) " in the table below." }
                }
            }
        }
    }
}

fn row(coral: &CoralLight<'_>) -> Option<Row> {
    let Some(LightRange::Ppfd(from, to)) = coral.coral.wanted else {
        return None;
    };
    let value = coral.station?.value?;
    let half = TO_95 * value.u();
    let all_finite = [from, to, value.ppfd, half]
        .iter()
        .all(|number| number.is_finite());
    (all_finite && to >= from).then(|| Row {
        name: shorten(&shown(&coral.coral.id)),
        light: coral.light().unwrap_or_default(),
        ppfd: value.ppfd,
        half,
        wanted: [from, to],
        sign: match coral.standing {
            Standing::Below => Sign::Less,
            Standing::Above => Sign::More,
            _ => Sign::Same,
        },
    })
}

/// The next multiple of half a power of ten.
fn round_up(most: f64) -> f64 {
    let step = 10_f64.powf(most.log10().floor()) / 2.0;
    (most / step).ceil() * step
}
