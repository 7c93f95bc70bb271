//! `undim plan --blank`: a sheet to take to the tank, as a CSV and as a page to print.

use super::{say, usable_site};
use crate::cli::{Common, Plan};
use crate::engine::belongs;
use crate::exit::Exit;
use crate::look;
use serde::Serialize;
use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use undim_config::{Note, Site};
use undim_emit::page::blank::{BlankPlace, BlankSheet};
use undim_intake::names::harmless;
use undim_model::{Frame, Tank, valid_on};
use undim_place::{FrameInUse, TankOnDay};

#[derive(Serialize)]
struct Written {
    tank: String,
    csv: String,
    page: String,
    places: usize,
    drop_into: String,
}

pub(super) fn run(common: &Common, flags: &Plan) -> Exit {
    let site = match usable_site(common) {
        Ok(site) => site,
        Err(exit) => return exit,
    };
    match blank(&site, common, flags) {
        Ok(()) => Exit::Done,
        Err((exit, why)) => {
            say::error(&format!("undim: {}", harmless(&why)));
            exit
        }
    }
}

type Refused = (Exit, String);

fn blank(site: &Site, common: &Common, flags: &Plan) -> Result<(), Refused> {
    let id = tank_id(site, flags.tank.as_deref()).map_err(|why| (Exit::Usage, why))?;
    let undeclared = Tank::undeclared(&id);
    let tank = site.tanks.get(&id).unwrap_or(&undeclared);
    let zone = undim_clean::time::zone(&site.timezone.name).unwrap_or(jiff::tz::TimeZone::UTC);
    let today = undim_survey::local_date(jiff::Timestamp::now(), &zone);
    let day = TankOnDay::new(tank, today, None);

    let folder = if site.tanks.len() > 1 || !tank.declared {
        format!("{id}/")
    } else {
        String::new()
    };
    let belongs = belongs(
        site,
        format!("{folder}{id}.csv").as_bytes(),
        &Note::default(),
        Some(today),
    )
    .map_err(|why| (Exit::Usage, why))?;
    let frame = day
        .frame(belongs.frame.as_deref())
        .map_err(|error| (Exit::Usage, format!("{error}; then type this again")))?;
    let device = belongs.device_fallback.and_then(|id| site.devices.get(&id));
    let offset = device.map_or([0.0; 3], |device| device.face_offset_cm);
    let places = places(site, &day, &id, &frame, offset);
    let scene = belongs.scene.map(|scene| in_words(tank, &scene, today));
    let axes = axes_in_words(tank, belongs.frame.as_deref(), today);
    let csv_name = format!("{id}-blank.csv");
    let fixtures = day
        .fixtures()
        .iter()
        .map(|fixture| {
            let [left, _, front] = fixture.centre.to_array();
            (fixture.id.as_str(), [left, front])
        })
        .collect();
    // Of several devices the folder says which one it was.
    let inbox = if site.devices.len() > 1 {
        site.inbox.join(&id).join("DEVICE")
    } else {
        site.inbox.join(&folder)
    };
    let sheet = BlankSheet {
        tank: &tank.name,
        inside: tank.inside_on(today),
        fixtures,
        places,
        axes: &axes,
        device: device.map(|device| device.name.as_str()),
        unit: device
            .and_then(|device| device.unit_code.as_deref())
            .filter(|unit| *unit != "umol.m-2.s-1"),
        scene: scene.as_deref(),
        csv_name: &csv_name,
        inbox: &inbox_in_words(site, &inbox),
    };
    let csv = sheet.csv().map_err(|error| {
        (
            Exit::Internal,
            format!("the sheet could not be put together: {error}"),
        )
    })?;
    let out = flags.out.clone().unwrap_or_else(|| PathBuf::from("."));
    let page_name = format!("{id}-blank.html");
    write(
        &out,
        &[(&csv_name, csv.as_bytes()), (&page_name, sheet.page().as_bytes())],
    )?;
    told(
        common,
        &sheet,
        &out,
        &Written {
            tank: id.clone(),
            csv: out.join(&csv_name).display().to_string(),
            page: out.join(&page_name).display().to_string(),
            places: sheet.places.len(),
            drop_into: inbox.display().to_string(),
        },
    );
    Ok(())
}

fn told(common: &Common, sheet: &BlankSheet<'_>, out: &Path, written: &Written) {
    if common.json {
        say::json(written);
        return;
    }
    let screen = say::screen();
    let say = |text: &str| say::line(&screen.wrapped(&harmless(text), "", "  "));
    match written.places {
        0 => say("The tank has no places yet: the sheet has empty lines for them."),
        1 => say("The sheet has 1 place."),
        places => say(&format!(
            "The sheet has {places} places; the first is read once more at the end."
        )),
    }
    say(&format!("Print {}", written.page));
    say(&format!(
        "Fill in {}, save it with the day in its name, and drop it:",
        written.csv
    ));
    let dated = out.join(sheet.csv_name.replace("blank", "YYYY-MM-DD"));
    say::line(&format!(
        "  cp {} {}",
        look::word(dated.as_os_str()),
        look::word(Path::new(&written.drop_into).as_os_str())
    ));
    say::line(&match &common.site {
        Some(site) => format!("  undim sweep --site {}", look::word(site.as_os_str())),
        None => "  undim sweep".to_owned(),
    });
}

/// The tank that is meant.
fn tank_id(site: &Site, named: Option<&str>) -> Result<String, String> {
    let ids: Vec<&str> = site.tanks.keys().map(String::as_str).collect();
    if let Some(named) = named {
        let found = site
            .tanks
            .values()
            .find(|tank| tank.id == named || tank.name == named);
        if let Some(tank) = found {
            return Ok(tank.id.clone());
        }
        let id = undim_survey::id_from(named);
        if site.outbox.join(&id).join("history.csv").is_file() {
            return Ok(id);
        }
        return Err(format!(
            "there is no tank “{named}”; {}",
            if ids.is_empty() {
                "leave --tank out, or declare it in tanks/".to_owned()
            } else {
                format!("type --tank {}", ids.join(" or --tank "))
            }
        ));
    }
    match ids.as_slice() {
        [] => Ok("tank".to_owned()),
        [one] => Ok((*one).to_owned()),
        _ => Err(format!("which tank? Type --tank {}", ids.join(" or --tank "))),
    }
}

/// The tank's stations, else the places of its last survey: where the rod is to stand, and where that is.
fn places(site: &Site, day: &TankOnDay, tank: &str, frame: &FrameInUse, offset: [f64; 3]) -> Vec<BlankPlace> {
    let declared: Vec<(String, [f64; 3])> = day
        .stations()
        .iter()
        .map(|station| (station.id.clone(), station.at.to_array()))
        .collect();
    let found = if declared.is_empty() {
        last_survey(&site.outbox.join(tank).join("history.csv")).unwrap_or_default()
    } else {
        declared.into_iter().map(|(name, at)| (name, Some(at))).collect()
    };
    found
        .into_iter()
        .map(|(station, at_cm)| {
            let rod = at_cm.map(|at| [0, 1, 2].map(|axis| Some(at[axis] - offset[axis])));
            BlankPlace {
                station,
                xyz_cm: rod.map_or([None; 3], |rod| frame.to_xyz_cm(rod)),
                at_cm,
            }
        })
        .collect()
}

type NamedPlace = (String, Option<[f64; 3]>);

/// The stations of the last survey that a history holds.
fn last_survey(history: &Path) -> Option<Vec<NamedPlace>> {
    let mut reader = csv::Reader::from_path(history).ok()?;
    let headers = reader.headers().ok()?.clone();
    let column = |name: &str| headers.iter().position(|header| header == name);
    let (survey, station) = (column("survey")?, column("station")?);
    let at = [
        column("from_left_cm")?,
        column("from_bottom_cm")?,
        column("from_front_cm")?,
    ];
    let mut last = String::new();
    let mut places: Vec<NamedPlace> = Vec::new();
    for record in reader.records() {
        let record = record.ok()?;
        let id = record.get(survey)?;
        if id != last {
            id.clone_into(&mut last);
            places.clear();
        }
        let number = |column: usize| record.get(column).and_then(|cell| cell.parse::<f64>().ok());
        let [left, bottom, front] = at.map(number);
        let position = left.zip(bottom).zip(front);
        places.push((
            record.get(station)?.to_owned(),
            position.map(|((left, bottom), front)| [left, bottom, front]),
        ));
    }
    Some(places)
}

/// "x to the right, y up, z to the rear, counted from the left bottom front corner".
fn axes_in_words(tank: &Tank, frame: Option<&str>, today: jiff::civil::Date) -> String {
    let inside = tank.inside_on(today);
    let frames = valid_on(&tank.frames, today);
    let used: Option<&&Frame> = frames.iter().find(|used| Some(used.id.as_str()) == frame);
    match used {
        Some(used) => format!(
            "x {}, y {}, z {}, counted from {}",
            crate::new::direction_words(used.axes)[0],
            crate::new::direction_words(used.axes)[1],
            crate::new::direction_words(used.axes)[2],
            crate::new::zero_words(used, inside)
        ),
        None => "x right, y up, z back, counted from left bottom front".to_owned(),
    }
}

/// A scene with what it sets.
fn in_words(tank: &Tank, id: &str, today: jiff::civil::Date) -> String {
    let scenes = valid_on(&tank.scenes, today);
    let levels = scenes.iter().find(|scene| scene.id == id).map(|scene| {
        scene
            .levels
            .iter()
            .map(|(fixture, level)| match level {
                undim_model::LevelSet::Whole(level) => format!("{fixture} {} %", percent(*level)),
                undim_model::LevelSet::Channels(channels) => format!(
                    "{fixture} {}",
                    channels
                        .iter()
                        .map(|(channel, level)| format!("{channel} {} %", percent(*level)))
                        .collect::<Vec<_>>()
                        .join(" ")
                ),
            })
            .collect::<Vec<_>>()
            .join(", ")
    });
    match levels {
        Some(levels) if !levels.is_empty() => format!("{id} ({levels})"),
        _ => id.to_owned(),
    }
}

fn percent(level: f64) -> f64 {
    (level * 1000.0).round() / 10.0
}

/// The inbox as a keeper knows it: relative to the site where it lies there.
fn inbox_in_words(site: &Site, inbox: &Path) -> String {
    inbox
        .strip_prefix(&site.root)
        .unwrap_or(inbox)
        .display()
        .to_string()
}

/// Writes all files or none; nothing is overwritten.
fn write(out: &Path, files: &[(&str, &[u8])]) -> Result<(), Refused> {
    let failed = |path: &Path, error: &io::Error| {
        let why = match error.kind() {
            io::ErrorKind::AlreadyExists => {
                return (
                    Exit::Usage,
                    format!(
                        "{} is there already, and nothing is overwritten; move it, or name another folder with --out DIR",
                        path.display()
                    ),
                );
            }
            _ => format!(
                "{} could not be written: {error}; name a folder that may be written to with --out DIR",
                path.display()
            ),
        };
        (Exit::Folders, why)
    };
    let is_new = !out.exists();
    fs::create_dir_all(out).map_err(|error| failed(out, &error))?;
    let mut made = Vec::new();
    for (name, bytes) in files {
        let path = out.join(name);
        let opened = OpenOptions::new().write(true).create_new(true).open(&path);
        let written = opened.and_then(|mut file| {
            made.push(path.clone());
            file.write_all(bytes)
        });
        if let Err(error) = written {
            // Only what was made just now goes.
            for path in made {
                let _ = fs::remove_file(path);
            }
            if is_new {
                let _ = fs::remove_dir(out);
            }
            return Err(failed(&path, &error));
        }
    }
    Ok(())
}
