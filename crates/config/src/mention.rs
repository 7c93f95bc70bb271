//! Names in one file of things that another file declares, looked up once all files are read.

use crate::mistake::{nearest, shown};
use crate::sheet::{Placed, Sheet};
use std::collections::{BTreeMap, BTreeSet};
use undim_model::{Device, Role, Tank};

/// A name and what it should be the name of.
#[derive(Debug)]
pub(crate) struct Mention {
    pub(crate) what: What,
    pub(crate) name: Placed<String>,
}

/// What a name should be the name of. The tank is the one that is meant, where it is known.
#[derive(Debug)]
pub(crate) enum What {
    Tank,
    Device,
    Layout,
    Frame {
        tank: Option<String>,
    },
    Scene {
        tank: Option<String>,
    },
    Station {
        tank: Option<String>,
    },
    /// A scene that a device's correction is for.
    CorrectionScene,
    /// The device that a fit holds another against.
    Reference,
    /// A device's own name, which must not be another's.
    OwnName {
        device: String,
    },
    /// What upkeep was done to.
    Upkept {
        tank: String,
    },
}

/// All that is declared.
#[derive(Debug, Default)]
pub(crate) struct Declared {
    pub(crate) tanks: BTreeMap<String, Tank>,
    pub(crate) devices: BTreeMap<String, Device>,
    pub(crate) layouts: BTreeSet<String>,
    /// Tanks of whose file a part could not be read: anything may be declared there.
    pub(crate) half_read: BTreeSet<String>,
}

impl Declared {
    /// The tanks that can be meant, or `None` where nobody can tell: one of them is half read.
    fn tanks_meant(&self, tank: Option<&String>) -> Option<Vec<&Tank>> {
        let meant = |id: &String| tank.is_none_or(|tank| tank == id);
        if self.half_read.iter().any(meant) {
            return None;
        }
        let tanks = self.tanks.iter().filter(|(id, _)| meant(id));
        Some(tanks.map(|(_, tank)| tank).collect())
    }

    /// Says which of the names are no names of anything.
    pub(crate) fn resolve(&self, sheet: &Sheet, mentions: &[Mention]) {
        for Mention { what, name } in mentions {
            match what {
                What::Tank => self.tank(sheet, name),
                What::Device => {
                    let hint = format!("declare it in devices/{}.toml", shown(&name.value));
                    legal(sheet, name, "device", self.devices.keys(), &hint);
                }
                What::Layout => {
                    if !self.layouts.contains(&name.value) {
                        let hint = format!("write layouts/{}.toml", shown(&name.value));
                        needed(sheet, name, "layout", self.layouts.iter(), &hint);
                    }
                }
                What::Frame { tank } => self.frame(sheet, name, tank.as_ref()),
                What::Scene { tank } => {
                    self.of_tank(sheet, name, tank.as_ref(), "scene", |tank| ids(&tank.scenes));
                }
                What::Station { tank } => {
                    self.of_tank(sheet, name, tank.as_ref(), "station", |tank| ids(&tank.stations));
                }
                What::CorrectionScene => {
                    self.of_tank(sheet, name, None, "scene", |tank| ids(&tank.scenes));
                }
                What::Reference => self.reference(sheet, name),
                What::OwnName { device } => self.own_name(sheet, name, device),
                What::Upkept { tank } => {
                    let devices: Vec<_> = self.devices.keys().map(String::as_str).collect();
                    self.of_tank(sheet, name, Some(tank), "fixture, device or station", |tank| {
                        [ids(&tank.fixtures), ids(&tank.stations), devices.clone()].concat()
                    });
                }
            }
        }
    }

    fn tank(&self, sheet: &Sheet, name: &Placed<String>) {
        if !self.half_read.contains(&name.value) {
            let hint = format!("declare it in tanks/{}.toml", shown(&name.value));
            legal(sheet, name, "tank", self.tanks.keys(), &hint);
        }
    }

    fn frame(&self, sheet: &Sheet, name: &Placed<String>, tank: Option<&String>) {
        let Some(tanks) = self.tanks_meant(tank) else {
            return;
        };
        let known: Vec<&str> = tanks.iter().flat_map(|tank| ids(&tank.frames)).collect();
        if known.contains(&name.value.as_str()) {
            return;
        }
        let hint = match tank.or_else(|| self.tanks.keys().next()) {
            Some(tank) => format!(
                "declare it in tanks/{}.toml as [[frame]] with id = \"{}\"",
                shown(tank),
                shown(&name.value)
            ),
            None => "declare the tank in tanks/, with this frame".to_owned(),
        };
        needed(sheet, name, "frame", known, &hint);
    }

    fn of_tank<'d>(
        &'d self,
        sheet: &Sheet,
        name: &Placed<String>,
        tank: Option<&String>,
        noun: &str,
        known: impl Fn(&'d Tank) -> Vec<&'d str>,
    ) {
        let Some(tanks) = self.tanks_meant(tank) else {
            return;
        };
        let Some(first) = tanks.first() else {
            return; // Of an undeclared tank nothing is declared; that is said where the tank is named.
        };
        let place = match tank {
            Some(tank) => format!("tanks/{}.toml", shown(tank)),
            None if tanks.len() == 1 => format!("tanks/{}.toml", shown(&first.id)),
            None => "the tank's file".to_owned(),
        };
        let known: Vec<&str> = tanks.iter().flat_map(|tank| known(tank)).collect();
        legal(sheet, name, noun, known, &format!("declare it in {place}"));
    }

    fn own_name(&self, sheet: &Sheet, name: &Placed<String>, device: &str) {
        let is_taken =
            |other: &&Device| other.id != device && (other.id == name.value || other.name == name.value);
        if let Some(other) = self.devices.values().find(is_taken) {
            sheet.warn(
                &name.span,
                format!("the device `{}` has the same name", shown(&other.id)),
                "a file that names its device by this name can't be told apart: give each its own",
            );
        }
    }

    fn reference(&self, sheet: &Sheet, name: &Placed<String>) {
        match self.devices.get(&name.value) {
            Some(device) if device.role == Role::Reference => {}
            Some(_) => sheet.warn(
                &name.span,
                format!("`{}` is no reference: its role is everyday", shown(&name.value)),
                format!(
                    "write role = \"reference\" in devices/{}.toml",
                    shown(&name.value)
                ),
            ),
            None => {
                let hint = format!(
                    "declare it in devices/{}.toml with role = \"reference\" and its cal_percent; until then 5 % is taken",
                    shown(&name.value)
                );
                legal(sheet, name, "device", self.devices.keys(), &hint);
            }
        }
    }
}

fn ids<T: undim_model::Dated>(blocks: &[T]) -> Vec<&str> {
    blocks.iter().map(T::id).collect()
}

/// A name that must be declared.
fn needed<S: AsRef<str>>(
    sheet: &Sheet,
    name: &Placed<String>,
    noun: &str,
    known: impl IntoIterator<Item = S>,
    hint: &str,
) {
    let known: Vec<S> = known.into_iter().collect();
    let near = nearest(&name.value, known.iter().map(AsRef::as_ref));
    let hint = near.map_or_else(
        || hint.to_owned(),
        |near| format!("did you mean \"{near}\"? Else {hint}"),
    );
    sheet.mistake(
        &name.span,
        format!("no {noun} `{}` is declared", shown(&name.value)),
        hint,
    );
}

/// A name that need not be declared: nothing has to be. Close to a declared one it is most likely that.
fn legal<S: AsRef<str>>(
    sheet: &Sheet,
    name: &Placed<String>,
    noun: &str,
    known: impl IntoIterator<Item = S>,
    hint: &str,
) {
    let known: Vec<S> = known.into_iter().collect();
    if known.iter().any(|known| known.as_ref() == name.value) {
        return;
    }
    let text = format!("no {noun} `{}` is declared", shown(&name.value));
    match nearest(&name.value, known.iter().map(AsRef::as_ref)) {
        Some(near) => sheet.warn(&name.span, text, format!("did you mean \"{near}\"? Else {hint}")),
        None if known.is_empty() => sheet.note(&name.span, text, hint),
        None => sheet.warn(&name.span, text, hint),
    }
}
