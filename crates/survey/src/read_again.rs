//! Which stations to read again, and why.

use std::collections::BTreeSet;
use undim_model::{ReadAgain, Reason, StationValue, Survey, Tank, valid_on};

/// Stations whose value is missing, doubtful or rests on what is left after rejections; worst first.
pub(crate) fn read_again(survey: &Survey, tank: &Tank) -> Vec<ReadAgain> {
    let mut found: Vec<(u8, ReadAgain)> = Vec::new();
    for station in &survey.stations {
        if let Some((rank, why)) = why(station) {
            found.push((
                rank,
                ReadAgain {
                    station: station.station.clone(),
                    why,
                },
            ));
        }
    }
    let read: BTreeSet<&str> = survey
        .stations
        .iter()
        .map(|station| station.station.as_ref())
        .collect();
    let declared = valid_on(&tank.stations, survey.date);
    let missed: Vec<&str> = declared
        .iter()
        .map(|s| s.id.as_str())
        .filter(|id| !read.contains(id))
        .collect();
    // A survey of a few places on purpose is no survey with most places forgotten.
    if missed.len() * 2 < declared.len() {
        found.extend(missed.into_iter().map(|id| {
            (
                1,
                ReadAgain {
                    station: id.into(),
                    why: "not read in this survey".to_owned(),
                },
            )
        }));
    }
    found.sort_by_key(|(rank, _)| *rank);
    found.into_iter().map(|(_, again)| again).collect()
}

fn why(station: &StationValue) -> Option<(u8, String)> {
    let has = |reason| station.reasons.has(reason);
    let (used, readings) = (station.used, station.readings);
    if used == 0 {
        let because = station.reasons.iter().map(word).collect::<Vec<_>>().join(", ");
        let because = if because.is_empty() {
            "no value could be made".to_owned()
        } else {
            because
        };
        return Some((0, format!("none of {readings} readings can be used: {because}")));
    }
    let of = format!("{used} of {readings} readings left");
    if has(Reason::Unsteady) {
        return Some((2, "readings scatter, as with the pumps on".to_owned()));
    }
    if has(Reason::Tilt) {
        return Some((3, format!("the sensor was tilted ({of})")));
    }
    if has(Reason::PositionOff) {
        return Some((3, "read too far from where it lies".to_owned()));
    }
    if has(Reason::Shadow) {
        return Some((4, format!("an arm's shadow ({of})")));
    }
    if has(Reason::OverRange) || has(Reason::UnderRange) {
        return Some((4, format!("outside what the device can read ({of})")));
    }
    None
}

/// A reason in words for a keeper.
fn word(reason: Reason) -> String {
    match reason {
        Reason::Shadow => "an arm's shadow".to_owned(),
        Reason::Tilt => "the sensor was tilted".to_owned(),
        Reason::MissingValue => "no value stands in the file".to_owned(),
        other => other.word().replace('-', " "),
    }
}
