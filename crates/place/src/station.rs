//! Which station a reading belongs to (formats, section 10, places).

use crate::NOISE_CM;
use std::collections::BTreeMap;
use undim_model::{Position, Reason, Reasons, Station, Text};

/// The station of a reading.
///
/// In this order: a declared station that the reading names, by its id, then by its `name`; a name that nobody
/// declared, which is a station of its own; the nearest station whose own radius holds the sensing face, ends
/// included, ties by id; a name made of the noted position; none.
///
/// `no-position` stands where there is neither a name nor a whole position: with one or two coordinates a place
/// is not known. `position-off` stands where a declared station is named and the sensing face lies beyond its
/// radius, in the coordinates that are known.
#[derive(Debug, Clone, PartialEq)]
pub struct StationMatch {
    /// The declared id, the file's name for it, or `at-<left>-<bottom>-<front>`; `None` where no place is known.
    pub station: Option<Text>,
    /// True where the tank declares it.
    pub declared: bool,
    /// Where the sensing face was, cm; a declared station that is named lends each coordinate that is missing.
    pub position_cm: [Option<f64>; 3],
    /// The same, where it is whole.
    pub at: Option<Position>,
    /// `no-position`, `position-off`.
    pub reasons: Reasons,
}

/// The stations of one day, ready to be searched.
#[derive(Debug, Clone)]
pub(crate) struct Stations {
    /// In declared order.
    declared: Vec<Station>,
    /// Each one's id as it is handed out.
    ids: Vec<Text>,
    /// Places in the two lists above, by id.
    by_id: Vec<usize>,
    /// Ids, and what they may be called instead.
    by_name: BTreeMap<String, usize>,
}

impl Stations {
    pub(crate) fn new(stations: Vec<&Station>) -> Self {
        let declared: Vec<Station> = stations.into_iter().cloned().collect();
        let mut by_name = BTreeMap::new();
        // An id goes before a name, and of equal names the first declared.
        for (place, station) in declared.iter().enumerate().rev() {
            by_name.extend(station.name.clone().map(|name| (name, place)));
        }
        by_name.extend(
            declared
                .iter()
                .enumerate()
                .map(|(place, station)| (station.id.clone(), place)),
        );
        let mut by_id: Vec<usize> = (0..declared.len()).collect();
        by_id.sort_by(|&a, &b| declared[a].id.cmp(&declared[b].id));
        let ids = declared
            .iter()
            .map(|station| Text::from(station.id.as_str()))
            .collect();
        Self {
            declared,
            ids,
            by_id,
            by_name,
        }
    }

    pub(crate) fn declared(&self) -> &[Station] {
        &self.declared
    }

    pub(crate) fn find(
        &self,
        noted: [Option<f64>; 3],
        face: [Option<f64>; 3],
        name: Option<&str>,
    ) -> StationMatch {
        let name = name.map(str::trim).filter(|name| !name.is_empty());
        match name {
            Some(name) => match self.by_name.get(name) {
                Some(&place) => self.named(place, face),
                None => found(Some(Text::from(name)), false, face, Reasons::NONE),
            },
            None => self.unnamed(noted, face),
        }
    }

    fn named(&self, place: usize, face: [Option<f64>; 3]) -> StationMatch {
        let station = &self.declared[place];
        let own = station.at.to_array();
        let mut position_cm = face;
        for (coordinate, own) in position_cm.iter_mut().zip(own) {
            *coordinate = coordinate.or(Some(own));
        }
        let mut reasons = Reasons::NONE;
        if whole(position_cm).is_some_and(|at| !is_held(station, at)) {
            reasons.add(Reason::PositionOff);
        }
        found(Some(self.ids[place].clone()), true, position_cm, reasons)
    }

    fn unnamed(&self, noted: [Option<f64>; 3], face: [Option<f64>; 3]) -> StationMatch {
        if let Some(place) = whole(face).and_then(|at| self.nearest(at)) {
            return found(Some(self.ids[place].clone()), true, face, Reasons::NONE);
        }
        match whole(noted) {
            Some(noted) => found(Some(name_of(noted)), false, face, Reasons::NONE),
            None => found(None, false, face, Reasons::NONE.with(Reason::NoPosition)),
        }
    }

    /// Distances that differ by rounding noise are ties.
    fn nearest(&self, at: Position) -> Option<usize> {
        let mut nearest: Option<(usize, f64)> = None;
        for &place in &self.by_id {
            let station = &self.declared[place];
            let distance = station.at.distance_cm(at);
            if is_held(station, at) && nearest.is_none_or(|(_, best)| distance < best - NOISE_CM) {
                nearest = Some((place, distance));
            }
        }
        nearest.map(|(place, _)| place)
    }
}

fn found(
    station: Option<Text>,
    declared: bool,
    position_cm: [Option<f64>; 3],
    reasons: Reasons,
) -> StationMatch {
    StationMatch {
        station,
        declared,
        position_cm,
        at: whole(position_cm),
        reasons,
    }
}

fn is_held(station: &Station, at: Position) -> bool {
    station.at.distance_cm(at) <= station.radius_cm + NOISE_CM
}

fn whole(position_cm: [Option<f64>; 3]) -> Option<Position> {
    let [left, bottom, front] = position_cm;
    Some(Position::new(left?, bottom?, front?)).filter(|at| at.is_finite())
}

/// `at-30-12-25`: each coordinate rounded half away from zero to whole cm.
fn name_of(noted: Position) -> Text {
    let [left, bottom, front] = noted.to_array().map(whole_cm);
    Text::from(format!("at-{left:.0}-{bottom:.0}-{front:.0}"))
}

/// Rounded half away from zero, after rounding noise is taken off: 12.499 999 999 98 from a unit conversion is
/// 12.5 and gives 13. Never −0.
fn whole_cm(cm: f64) -> f64 {
    const NOISE_STEPS_A_CM: f64 = 1.0 / NOISE_CM;
    let quiet = (cm * NOISE_STEPS_A_CM).round() / NOISE_STEPS_A_CM;
    let whole = if quiet.is_finite() { quiet.round() } else { cm };
    // −0 + 0 is 0.
    whole + 0.0
}

#[cfg(test)]
mod tests;
