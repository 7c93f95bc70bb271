//! Where a file belongs: what its note, its own columns, its route and its folders say.
//!
//! Pure. Precedence key by key: note, file column, route, folders, the lone one (formats, section 10,
//! intake).

use jiff::civil::Date;
use undim_config::{Note, Site};
use undim_intake::route::{Folders, Route, first_match, folders};
use undim_model::valid_on;
use undim_survey::id_from;

/// The tank of a file that nothing names, in a site without tanks.
const NAMELESS_TANK: &str = "tank";

/// Where a file belongs, but for what its own columns say.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Belongs {
    /// The tank's id.
    pub(crate) tank: String,
    /// The name that the id was made of, where nobody declared the tank.
    pub(crate) tank_given: Option<String>,
    /// The scene's id.
    pub(crate) scene: Option<String>,
    /// The frame its coordinates are in.
    pub(crate) frame: Option<String>,
    /// How to read it.
    pub(crate) layout: Option<String>,
    /// Who is to read it.
    pub(crate) importer: Option<String>,
    /// The device that the note names; wins over the file's column.
    pub(crate) device_note: Option<String>,
    /// The device that route, folders or a lone one give.
    pub(crate) device_fallback: Option<String>,
    /// The station that the note names.
    pub(crate) station_note: Option<String>,
    /// The station that the route gives: the file is the log of a sensor mounted there.
    pub(crate) mounted: Option<String>,
}

/// Says where a file belongs, or asks.
pub(crate) fn belongs(site: &Site, path: &[u8], note: &Note, day: Option<Date>) -> Result<Belongs, String> {
    let route = first_match(&site.routes, path);
    let spoken = folders(path);
    let (tank, tank_given) = tank(site, route, spoken, note)?;
    let declared = site.tanks.get(&tank);
    let scene = note
        .scene
        .clone()
        .or_else(|| route.and_then(|route| route.scene.clone()))
        .or_else(|| {
            let scenes = declared.map(|tank| match day {
                Some(day) => valid_on(&tank.scenes, day)
                    .into_iter()
                    .map(|scene| scene.id.clone())
                    .collect(),
                None => tank
                    .scenes
                    .iter()
                    .map(|scene| scene.id.clone())
                    .collect::<Vec<_>>(),
            });
            lone(scenes.unwrap_or_default())
        });
    let scene = scene.map(|scene| {
        if undim_survey::is_id(&scene) {
            scene
        } else {
            id_from(&scene)
        }
    });
    if let Some(scene) = &scene
        && let Some((name, digits)) = scene.rsplit_once('-')
        && !digits.is_empty()
        && digits.bytes().all(|byte| byte.is_ascii_digit())
    {
        return Err(format!(
            "a scene can't end in - and digits, which count the surveys of a day; in its note write scene = \"{name}{digits}\" instead of \"{scene}\""
        ));
    }
    let folder_device = spoken.device.map(|name| {
        let name = String::from_utf8_lossy(name).into_owned();
        site.devices
            .values()
            .find(|device| device.id == name || device.name == name)
            .map_or(name, |d| d.id.clone())
    });
    Ok(Belongs {
        tank,
        tank_given,
        scene,
        frame: note
            .frame
            .clone()
            .or_else(|| route.and_then(|route| route.frame.clone())),
        layout: note
            .layout
            .clone()
            .or_else(|| route.and_then(|route| route.layout.clone())),
        importer: route.and_then(|route| route.importer.clone()),
        device_note: note.device.clone(),
        device_fallback: route
            .and_then(|route| route.device.clone())
            .or(folder_device)
            .or_else(|| lone(site.devices.keys().cloned().collect())),
        station_note: note.station.clone(),
        mounted: route.and_then(|route| route.station.clone()),
    })
}

/// The tank's id, and the name it was made of where nobody declared it.
fn tank(
    site: &Site,
    route: Option<&Route>,
    spoken: Folders<'_>,
    note: &Note,
) -> Result<(String, Option<String>), String> {
    let named = note
        .tank
        .clone()
        .or_else(|| route.and_then(|route| route.tank.clone()))
        .or_else(|| spoken.tank.map(|name| String::from_utf8_lossy(name).into_owned()));
    let Some(name) = named else {
        let mut ids: Vec<&String> = site.tanks.keys().collect();
        return match ids.len() {
            0 => Ok((NAMELESS_TANK.to_owned(), None)),
            1 => Ok((ids.remove(0).clone(), None)),
            _ => Err(format!(
                "it is not said which tank it belongs to: put it into one of the folders {}, or write tank = \"…\" into a note beside it; for files that came while there was one tank, write a [[route]] with match = \"*\" and that tank into undim.toml",
                ids.iter()
                    .map(|id| format!("inbox/{id}/"))
                    .collect::<Vec<_>>()
                    .join(", ")
            )),
        };
    };
    if let Some(tank) = site
        .tanks
        .get(&name)
        .or_else(|| site.tanks.values().find(|tank| tank.name == name))
    {
        return Ok((tank.id.clone(), None));
    }
    let id = id_from(&name);
    if site.tanks.contains_key(&id) {
        return Err(format!(
            "the tank name “{name}” becomes the id {id}, which is another tank's; write {id}, or give tanks/{id}.toml name = \"{name}\""
        ));
    }
    let id = if id == "taken" || id == "set-aside" {
        format!("{id}-tank")
    } else {
        id
    };
    Ok((id, Some(name)))
}

fn lone(mut ids: Vec<String>) -> Option<String> {
    if ids.len() == 1 { ids.pop() } else { None }
}
