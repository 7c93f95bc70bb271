//! A tank as it stood on one day.

use crate::NOISE_CM;
use crate::frame::{FrameError, FrameInUse};
use crate::light::Light;
use crate::shape::Shape;
use crate::station::{StationMatch, Stations};
use jiff::civil::Date;
use undim_model::{Fixture, Frame, LevelSet, Medium, Scene, Station, Tank, valid_on};

/// Bottom pane to surface, cm, where it is known.
pub(crate) type Level = Option<f64>;

/// Of a tank's blocks those that held on a day, ready for any number of readings.
#[derive(Debug, Clone)]
pub struct TankOnDay {
    day: Date,
    water_cm: Level,
    shape: Option<Shape>,
    /// Every frame of the tank, for naming one that does not hold today.
    frames: Vec<Frame>,
    stations: Stations,
    fixtures: Vec<Fixture>,
    scenes: Vec<Scene>,
}

impl TankOnDay {
    /// The tank on this day. `water_cm`, from a note, takes the place of the declared water level.
    pub fn new(tank: &Tank, day: Date, water_cm: Option<f64>) -> Self {
        let inside = tank.inside_on(day);
        let owned = |fixtures: Vec<&Fixture>| fixtures.into_iter().cloned().collect();
        Self {
            day,
            water_cm: water_cm
                .or(inside.and_then(|inside| inside.water_cm))
                .filter(|water| water.is_finite()),
            shape: inside.map(Shape::new),
            frames: tank.frames.clone(),
            stations: Stations::new(valid_on(&tank.stations, day)),
            fixtures: owned(valid_on(&tank.fixtures, day)),
            scenes: valid_on(&tank.scenes, day).into_iter().cloned().collect(),
        }
    }

    /// The day.
    pub fn day(&self) -> Date {
        self.day
    }

    /// The day's water level, bottom pane to surface, cm.
    pub fn water_cm(&self) -> Option<f64> {
        self.water_cm
    }

    /// The stations that hold today, in declared order.
    pub fn stations(&self) -> &[Station] {
        self.stations.declared()
    }

    /// The fixtures that hang today, in declared order.
    pub fn fixtures(&self) -> &[Fixture] {
        &self.fixtures
    }

    /// The frame with this id; `None` gives the tank's own axes.
    pub fn frame(&self, id: Option<&str>) -> Result<FrameInUse, FrameError> {
        let Some(id) = id else {
            return Ok(FrameInUse::TANK);
        };
        let valid = valid_on(&self.frames, self.day);
        match valid.iter().find(|frame| frame.id == id) {
            Some(frame) => Ok(FrameInUse::new(frame, self.water_cm)),
            None => Err(FrameError::new(id, self.day, &self.frames, &valid)),
        }
    }

    /// True outside the glass: beyond a pane, below the bottom or above the rim; the panes themselves are
    /// inside. Without inside measures nothing is outside. Above the water but in the glass is not outside.
    pub fn is_outside(&self, position_cm: [Option<f64>; 3]) -> bool {
        self.shape
            .as_ref()
            .is_some_and(|shape| shape.is_outside(position_cm))
    }

    /// Air above the surface; water up to it, and where the height or the water level is not known.
    pub fn medium(&self, from_bottom_cm: Option<f64>) -> Medium {
        match from_bottom_cm.zip(self.water_cm) {
            Some((from_bottom, water)) if from_bottom > water + NOISE_CM => Medium::Air,
            _ => Medium::Water,
        }
    }

    /// Which station a reading belongs to. `noted` is where it was noted down, `face` where the sensing face
    /// was, both in the tank's axes; `name` is the station's name as the file gives it. See [`StationMatch`].
    pub fn station(
        &self,
        noted: [Option<f64>; 3],
        face: [Option<f64>; 3],
        name: Option<&str>,
    ) -> StationMatch {
        self.stations.find(noted, face, name)
    }

    /// The light geometry of today's fixtures, each with a factor on its light (see [`Self::levels`]; one that
    /// is missing counts as 1). `None` without fixtures or without a water level.
    pub fn light(&self, levels: &[f64]) -> Option<Light> {
        Light::new(&self.fixtures, levels, self.water_cm?)
    }

    /// What a scene sets on today's fixtures, in declared order: a whole level as it stands, channels by their
    /// mean. A fixture that the scene does not name is off where the scene names others, or has `only`; where
    /// nothing is known about the scene every fixture counts as 1.
    pub fn levels(&self, scene: Option<&str>) -> Vec<f64> {
        let scene = self
            .scenes
            .iter()
            .find(|declared| Some(declared.id.as_str()) == scene);
        self.fixtures
            .iter()
            .map(|fixture| scene.map_or(1.0, |scene| level(scene, &fixture.id)))
            .collect()
    }
}

fn level(scene: &Scene, fixture: &str) -> f64 {
    if scene.only.as_deref().is_some_and(|only| only != fixture) {
        return 0.0;
    }
    match scene.levels.iter().find(|(id, _)| id == fixture) {
        Some((_, LevelSet::Whole(level))) => *level,
        Some((_, LevelSet::Channels(channels))) if !channels.is_empty() => {
            channels.iter().map(|(_, level)| level).sum::<f64>() / channels.len() as f64
        }
        _ if scene.levels.is_empty() || scene.only.is_some() => 1.0,
        _ => 0.0,
    }
}

/// Where the sensing face is: the noted position moved by the device's offset (right, up, back, cm).
pub fn face(noted: [Option<f64>; 3], offset_cm: [f64; 3]) -> [Option<f64>; 3] {
    let mut face = noted;
    for (coordinate, offset) in face.iter_mut().zip(offset_cm) {
        *coordinate = coordinate.map(|at| at + offset);
    }
    face
}

#[cfg(test)]
mod tests;
