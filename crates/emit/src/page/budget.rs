//! The uncertainty budget of every place, as a table.

use crate::number::fixed;
use crate::text_cell::shown;
use crate::words;
use maud::{Markup, html};
use undim_model::{SharedKind, StationValue};

/// A longer table no browser likes.
const MOST_ROWS: usize = 500;

/// Each place's contributions, k = 1; nothing where no place has a value.
pub(super) fn table(stations: &[StationValue]) -> Markup {
    let with_value: Vec<&StationValue> = stations
        .iter()
        .filter(|station| station.value.is_some())
        .collect();
    let kinds: Vec<SharedKind> = SharedKind::ALL
        .into_iter()
        .filter(|kind| with_value.iter().any(|station| of(station, *kind) > 0.0))
        .collect();
    let is_placed = with_value.iter().any(|station| station.u_place_ppfd.is_some());
    let is_tilted = with_value.iter().any(|station| station.u_tilt_ppfd.is_some());
    html! {
        @if !with_value.is_empty() {
            h3 { "Where each value's uncertainty comes from" }
            div.wide { table {
                thead { tr {
                    th { "place" } th.n { "PPFD" } th.n { "readings" }
                    @if is_placed { th.n { "where held" } }
                    @if is_tilted { th.n { "tilt" } }
                    @for kind in &kinds { th.n { (words::shared_phrase(*kind)) } }
                    th.n { "u (k = 1)" }
                } }
                tbody { @for station in with_value.iter().take(MOST_ROWS) { @if let Some(value) = station.value { tr {
                    td.name { (shown(&station.station)) }
                    td.n { (fixed(value.ppfd, 1)) }
                    td.n { (fixed(readings(station), 2)) }
                    @if is_placed { td.n { (cell(station.u_place_ppfd)) } }
                    @if is_tilted { td.n { (cell(station.u_tilt_ppfd)) } }
                    @for kind in &kinds { td.n { (cell(Some(of(station, *kind)).filter(|u| *u > 0.0))) } }
                    td.n { (fixed(value.u(), 2)) }
                } } } }
            } }
            @if with_value.len() > MOST_ROWS { p.quiet { (with_value.len() - MOST_ROWS) " more places are not shown." } }
            p.quiet { "Contributions in µmol m⁻² s⁻¹, k = 1; their squares add up to u². The first columns are the place's own, the others shared. `undim explain` tells one value's whole budget." }
        }
    }
}

fn cell(u_ppfd: Option<f64>) -> String {
    u_ppfd.map_or_else(String::new, |u_ppfd| fixed(u_ppfd, 2))
}

fn of(station: &StationValue, kind: SharedKind) -> f64 {
    let parts = station.shared.iter().filter(|part| part.kind == kind);
    parts.map(|part| part.u_ppfd).fold(0.0, f64::hypot)
}

/// What is left of the own uncertainty.
fn readings(station: &StationValue) -> f64 {
    let own = station.value.map_or(0.0, |value| value.u_own);
    let others = [station.u_place_ppfd, station.u_tilt_ppfd].map(Option::unwrap_or_default);
    others
        .into_iter()
        .fold(own * own, |left, other| left - other * other)
        .max(0.0)
        .sqrt()
}
