//! What a first file of readings tells: what it was read with, in which unit, how far its places reach, and
//! what they are called.

use super::{Named, Place, named};
use crate::engine::CachedRows;
use crate::look::Reading;
use undim_model::{Direction3, Frame, Inside, LengthUnit, Zero};
use undim_place::order::{Extent, reach};
use undim_survey::Rows as _;

/// More named places than this are no survey by hand.
const MOST_PLACES: usize = 300;

/// Readings of one name that lie further apart than this are no one place, cm.
const ONE_PLACE_CM: f64 = 6.0;

/// What was found.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Found {
    /// Its readings.
    pub(crate) readings: u64,
    /// The one device that it names.
    pub(crate) device: Option<String>,
    /// The one unit that it gives, where that is not µmol m⁻² s⁻¹.
    pub(crate) unit: Option<String>,
    /// How far its x, y, z reach.
    pub(crate) extent: Extent,
    /// Its named places, in order of appearance.
    places: Vec<(String, Extent)>,
    /// True where it names more than are kept.
    too_many_places: bool,
}

/// One value, as long as all are the same.
#[derive(Default)]
struct Same {
    value: Option<String>,
    differs: bool,
}

impl Same {
    fn add(&mut self, value: Option<&str>) {
        match (&self.value, value) {
            (Some(known), Some(value)) => self.differs |= known != value,
            (None, Some(value)) => self.value = Some(value.to_owned()),
            (_, None) => {}
        }
    }

    fn one(self) -> Option<String> {
        self.value.filter(|_| !self.differs)
    }
}

impl Found {
    /// Goes through every row; the error is a sentence.
    pub(crate) fn in_rows(reading: &Reading, rows: &CachedRows) -> Result<Self, String> {
        let unit = |axis: &str| {
            reading
                .imported
                .fact(&format!("unit.{axis}"))
                .and_then(LengthUnit::from_code)
        };
        let units = [unit("x"), unit("y"), unit("z")];
        let empty = Extent {
            units,
            ..Extent::default()
        };
        let mut found = Self {
            readings: reading.imported.rows,
            extent: empty,
            ..Self::default()
        };
        let (mut device, mut value_unit) = (Same::default(), Same::default());
        for row in rows.open().map_err(|error| error.to_string())? {
            let row = row.map_err(|error| error.to_string())?;
            device.add(row.device.as_deref());
            value_unit.add(row.unit.as_deref());
            let xyz = [row.x, row.y, row.z];
            found.extent.add(xyz);
            let Some(name) = row
                .station
                .as_deref()
                .map(str::trim)
                .filter(|name| !name.is_empty())
            else {
                continue;
            };
            let is_full = found.places.len() >= MOST_PLACES;
            match found.places.iter_mut().find(|(known, _)| known == name) {
                Some((_, extent)) => extent.add(xyz),
                None if is_full => found.too_many_places = true,
                None => {
                    let mut extent = empty;
                    extent.add(xyz);
                    found.places.push((name.to_owned(), extent));
                }
            }
        }
        found.device = device.one();
        found.unit = value_unit.one().filter(|unit| unit != "umol.m-2.s-1");
        Ok(found)
    }

    /// Its named places as stations under a frame: those whose readings lie together, inside the tank.
    pub(crate) fn stations(&self, frame: &Frame, inside: Option<&Inside>) -> Vec<Place> {
        if self.too_many_places {
            return Vec::new();
        }
        let nowhere = Inside::default();
        let mut stations: Vec<Place> = Vec::new();
        for (name, extent) in &self.places {
            let [Some(left), Some(bottom), Some(front)] = reach(extent, frame, inside.unwrap_or(&nowhere))
            else {
                continue;
            };
            let ends = [left, bottom, front];
            let middle = ends.map(|[least, greatest]| ((least + greatest) * 50.0).round() / 100.0);
            let apart = ends
                .iter()
                .any(|[least, greatest]| greatest - least > ONE_PLACE_CM);
            let most = inside.map(|inside| [inside.length_cm, inside.height_cm, inside.front_to_back_cm]);
            let outside = most.is_some_and(|most| {
                middle
                    .iter()
                    .zip(most)
                    .any(|(at, most)| !(0.0..=most).contains(at))
            });
            let Ok(named) = named(name) else { continue };
            let is_taken = |named: &Named| stations.iter().any(|other| other.named.id == named.id);
            if apart || outside || is_taken(&named) {
                continue;
            }
            stations.push(Place { named, at_cm: middle });
        }
        stations
    }
}

/// "right up back".
pub(crate) fn direction_words(axes: [Direction3; 3]) -> [&'static str; 3] {
    axes.map(|axis| match axis {
        Direction3::Right => "right",
        Direction3::Left => "left",
        Direction3::Up => "up",
        Direction3::Down => "down",
        Direction3::Back => "back",
        Direction3::Front => "front",
    })
}

/// "left bottom front", or the place in numbers.
pub(crate) fn zero_words(frame: &Frame, inside: Option<&Inside>) -> String {
    let most = inside.map(|inside| [inside.length_cm, inside.height_cm, inside.front_to_back_cm]);
    let names = [["left", "right"], ["bottom", "top"], ["front", "back"]];
    let words: Option<Vec<&str>> = names
        .iter()
        .zip(frame.origin_cm)
        .enumerate()
        .map(|(place, (names, at))| {
            if place == 1 && frame.zero == Zero::Surface && at == 0.0 {
                Some("surface")
            } else if at == 0.0 {
                Some(names[0])
            } else {
                most.filter(|most| at == most[place]).map(|_| names[1])
            }
        })
        .collect();
    words.map_or_else(
        || {
            let [left, bottom, front] = frame.origin_cm;
            format!("{left} {bottom} {front}")
        },
        |words| words.join(" "),
    )
}
