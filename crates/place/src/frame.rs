//! Somebody's x, y, z into the tank's axes, and back.

use crate::tank_on_day::Level;
use jiff::civil::Date;
use std::fmt;
use undim_model::{Direction3, Frame, LengthUnit, Zero};

/// A frame as it lies on one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrameInUse {
    /// Where its zero lies in the tank; `None` where it hangs on a water level that is not known.
    origin_cm: [Option<f64>; 3],
    axes: [Direction3; 3],
    unit: LengthUnit,
    /// How well a place is found again, k = 1, cm; own to each place.
    pub place_cm: f64,
    /// What a whole survey may share in height, k = 1, cm.
    pub rod_cm: f64,
}

impl FrameInUse {
    /// The tank's own axes: x from left, y from bottom, z from front, cm; places taken as exact.
    pub(crate) const TANK: Self = Self {
        origin_cm: [Some(0.0); 3],
        axes: [Direction3::Right, Direction3::Up, Direction3::Back],
        unit: LengthUnit::Centimetre,
        place_cm: 0.0,
        rod_cm: 0.0,
    };

    pub(crate) fn new(frame: &Frame, water: Level) -> Self {
        let [left, bottom, front] = frame.origin_cm;
        let bottom = match frame.zero {
            Zero::Bottom => Some(bottom),
            Zero::Surface => water.map(|water| water + bottom),
        };
        Self {
            origin_cm: [Some(left), bottom, Some(front)],
            axes: frame.axes,
            unit: frame.unit,
            place_cm: frame.place_cm,
            rod_cm: frame.rod_cm,
        }
    }

    /// A file's x, y, z as from left, from bottom, from front, cm. `units` are those that the file states, one
    /// for each coordinate; where it states none the frame's unit holds.
    ///
    /// What a missing coordinate stands for is not known in the result, and neither is a height counted from
    /// a water level that nobody gave, nor a number that is not finite.
    pub fn to_tank(&self, xyz: [Option<f64>; 3], units: [Option<LengthUnit>; 3]) -> [Option<f64>; 3] {
        let mut tank = [None; 3];
        for ((number, unit), axis) in xyz.into_iter().zip(units).zip(self.axes) {
            let (place, sign) = axis.axis_and_sign();
            let moved = number
                .zip(self.origin_cm[place])
                .map(|(number, origin)| origin + sign * in_cm(number, unit.unwrap_or(self.unit)));
            tank[place] = moved.filter(|cm| cm.is_finite());
        }
        tank
    }

    /// The same as [`Self::to_xyz`], but in cm whatever the frame's unit.
    pub fn to_xyz_cm(&self, position_cm: [Option<f64>; 3]) -> [Option<f64>; 3] {
        self.to_xyz(position_cm)
            .map(|number| number.map(|number| in_cm(number, self.unit)))
    }

    /// Back again: from left, from bottom, from front in cm as x, y, z of this frame, in its unit.
    pub fn to_xyz(&self, position_cm: [Option<f64>; 3]) -> [Option<f64>; 3] {
        self.axes.map(|axis| {
            let (place, sign) = axis.axis_and_sign();
            let (cm, origin) = position_cm[place].zip(self.origin_cm[place])?;
            let number = sign * (cm - origin) / self.unit.cm();
            number.is_finite().then_some(number)
        })
    }
}

/// Millimetres are divided, not multiplied by 0.1: that keeps whole tenths exact.
fn in_cm(number: f64, unit: LengthUnit) -> f64 {
    match unit {
        LengthUnit::Millimetre => number / 10.0,
        _ => number * unit.cm(),
    }
}

/// A frame that the tank does not have on this day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrameError {
    /// The id that was asked for.
    pub id: String,
    /// The day.
    pub day: Date,
    /// True where the tank has it, but on other days.
    pub holds_on_other_days: bool,
    /// Of the frames that hold on this day the one whose id is most alike.
    pub nearest: Option<String>,
}

impl FrameError {
    pub(crate) fn new(id: &str, day: Date, all: &[Frame], valid: &[&Frame]) -> Self {
        let distance = |frame: &&&Frame| strsim::osa_distance(id, &frame.id);
        Self {
            id: id.to_owned(),
            day,
            holds_on_other_days: all.iter().any(|frame| frame.id == id),
            nearest: valid.iter().min_by_key(distance).map(|frame| frame.id.clone()),
        }
    }
}

impl fmt::Display for FrameError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { id, day, .. } = self;
        if self.holds_on_other_days {
            write!(
                f,
                "the frame `{id}` does not hold on {day}; check its `from` and `until`"
            )?;
        } else {
            write!(f, "the tank has no frame `{id}`")?;
        }
        match &self.nearest {
            Some(nearest) => write!(f, "; the nearest that holds on {day} is `{nearest}`"),
            None => write!(
                f,
                "; it has none on {day}, so leave `frame` out for the tank's own axes, or declare it"
            ),
        }
    }
}

impl std::error::Error for FrameError {}

#[cfg(test)]
mod tests;
