//! A first site from a few answers.
//!
//! `answers` reads what was typed, `axes` tries where x, y and z can point, `found` takes answers out of a first file of readings (read the way `undim
//! look` reads it), `files` writes the texts, `make` puts them in place: all of them, or none.

mod answers;
mod axes;
mod files;
mod found;
mod make;

pub(crate) use answers::{device, fixtures, frame, inside, output, water, zeros_to_try};
pub(crate) use axes::{beyond, chosen, fitting, in_words, spans};
pub(crate) use files::{files, is_own};
pub(crate) use found::{Found, direction_words, zero_words};
pub(crate) use make::{MakeError, check_place, make};

use undim_model::{Frame, Inside};

/// A name and the id that is made of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Named {
    /// As typed.
    pub(crate) name: String,
    /// The file's stem, or the block's id.
    pub(crate) id: String,
}

/// A fixture as it was told.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FixtureAnswer {
    /// Its name.
    pub(crate) named: Named,
    /// From left, from bottom, from front, cm; `None` where only its name was told.
    pub(crate) centre_cm: Option<[f64; 3]>,
}

/// A device as it was told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct DeviceAnswer {
    /// Its name.
    pub(crate) named: Named,
    /// UCUM code of what it reads in.
    pub(crate) unit: Option<String>,
    /// Calibrated, and what others are held against.
    pub(crate) is_reference: bool,
}

/// A named place of the first file.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Place {
    /// As the file names it.
    pub(crate) named: Named,
    /// From left, from bottom, from front, cm.
    pub(crate) at_cm: [f64; 3],
}

/// All that is known of the first site.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Answers {
    /// The tank.
    pub(crate) tank: Option<Named>,
    /// Its inside, with the water's height.
    pub(crate) inside: Option<Inside>,
    /// From left to right.
    pub(crate) fixtures: Vec<FixtureAnswer>,
    /// Output when measuring, 0 to 1: one for each fixture, or none.
    pub(crate) levels: Vec<f64>,
    /// What readings are taken with.
    pub(crate) device: Option<DeviceAnswer>,
    /// How x, y, z lie; `None` for the tank's own axes.
    pub(crate) frame: Option<Frame>,
    /// Named places of the first file.
    pub(crate) stations: Vec<Place>,
}

impl Answers {
    /// The tank's id.
    pub(crate) fn tank_id(&self) -> &str {
        self.tank.as_ref().map_or("tank", |tank| tank.id.as_str())
    }

    /// The device's id.
    pub(crate) fn device_id(&self) -> &str {
        self.device
            .as_ref()
            .map_or("everyday", |device| device.named.id.as_str())
    }
}

/// The longest name, and the longest id that a file may be named by, bytes.
const LONGEST: usize = 80;

/// A name as it was typed, with its id (formats, section 10, ids).
pub(crate) fn named(text: &str) -> Result<Named, String> {
    let name = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if name.is_empty() {
        return Err("a name holds at least one letter".to_owned());
    }
    if name.chars().any(char::is_control) {
        return Err("a name holds no control characters; type it again".to_owned());
    }
    if name.len() > LONGEST {
        return Err(format!(
            "a name of {} characters is too long for a file's name; give a shorter one",
            name.chars().count()
        ));
    }
    let id = undim_survey::id_from(&name);
    Ok(Named { name, id })
}

/// The tank's name; two folders of the inbox are no tanks.
pub(crate) fn tank(text: &str) -> Result<Named, String> {
    let tank = named(text)?;
    Ok(match tank.id.as_str() {
        "taken" | "set-aside" => Named {
            id: format!("{}-tank", tank.id),
            ..tank
        },
        _ => tank,
    })
}
