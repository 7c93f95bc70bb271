//! Shared uncertainty, told apart by source, for each group of stations read with one device and one
//! correction.

use std::collections::BTreeMap;
use undim_model::{SharedKind, StationValue};

/// Stations that share their errors.
pub(crate) struct Group<'a> {
    pub(crate) device: &'a str,
    pub(crate) correction: &'a str,
    pub(crate) stations: Vec<&'a StationValue>,
    pub(crate) sources: Vec<Source>,
}

/// One source of uncertainty in a group.
pub(crate) struct Source {
    pub(crate) kind: SharedKind,
    /// Smallest and largest share of the value, k = 1, percent.
    pub(crate) percent: Option<(f64, f64)>,
    /// One for each station of the group, k = 1, µmol m⁻² s⁻¹.
    pub(crate) u_ppfd: Vec<f64>,
}

/// Smallest and largest own uncertainty among the stations, k = 1, percent of the value.
pub(crate) fn own_percent(stations: &[StationValue]) -> Option<(f64, f64)> {
    let percents = stations
        .iter()
        .filter_map(|station| station.value)
        .map(|value| 100.0 * value.u_own / value.ppfd.abs())
        .filter(|percent| percent.is_finite());
    percents
        .map(|percent| (percent, percent))
        .reduce(|(low, high), (percent, _)| (low.min(percent), high.max(percent)))
}

/// By device, then correction. Stations without a value have no part in it.
pub(crate) fn groups(stations: &[StationValue]) -> Vec<Group<'_>> {
    let mut groups: BTreeMap<(&str, &str), Vec<&StationValue>> = BTreeMap::new();
    for station in stations.iter().filter(|station| station.value.is_some()) {
        groups
            .entry((&station.device, &station.correction))
            .or_default()
            .push(station);
    }
    groups
        .into_iter()
        .map(|((device, correction), stations)| Group {
            device,
            correction,
            sources: sources(&stations),
            stations,
        })
        .collect()
}

fn sources(stations: &[&StationValue]) -> Vec<Source> {
    let mut kinds: Vec<SharedKind> = stations
        .iter()
        .flat_map(|station| station.shared.iter().map(|part| part.kind))
        .collect();
    kinds.sort_unstable();
    kinds.dedup();
    kinds
        .into_iter()
        .map(|kind| {
            let of = |station: &StationValue| {
                let parts = station.shared.iter().filter(|part| part.kind == kind);
                parts.map(|part| part.u_ppfd).fold(0.0, f64::hypot)
            };
            let percents = stations
                .iter()
                .filter_map(|station| Some(100.0 * of(station) / station.value?.ppfd.abs()))
                .filter(|percent| percent.is_finite());
            Source {
                kind,
                percent: percents
                    .map(|percent| (percent, percent))
                    .reduce(|(low, high), (percent, _)| (low.min(percent), high.max(percent))),
                u_ppfd: stations.iter().map(|station| of(station)).collect(),
            }
        })
        .collect()
}
