//! `undim fit`: a device's correction from side-by-side readings.

use super::{loaded, say, site_folder};
use crate::cli::{Common, Fit, FitModel};
use crate::daemon::cancel_on_signals;
use crate::engine::{CachedRows, Cancel, machine_timezone};
use crate::exit::Exit;
use crate::look::{self, Failure, LookFile, Surveys, TemporaryFolder};
use crate::side_by_side::{self, Around, Fitting, SHOWN_AT, Taken};
use std::path::{Path, PathBuf};
use undim_config::{Loaded, Note, Site, find_site, parse_note};
use undim_correct::fit::Settings;
use undim_emit::text_cell::shown;
use undim_intake::spool::write_atomically;
use undim_model::Text;
use undim_stats::errors_in_variables::Form;

pub(super) fn run(common: &Common, flags: &Fit) -> Exit {
    fitted(common, flags).unwrap_or_else(|(exit, why)| {
        say::error(&format!("undim: {why}"));
        exit
    })
}

type Failed = (Exit, String);

fn usage(why: String) -> Failed {
    (Exit::Usage, why)
}

fn fitted(common: &Common, flags: &Fit) -> Result<Exit, Failed> {
    let settings = Settings {
        model: flags.model.map(|model| match model {
            FitModel::Offset => Form::Offset,
            FitModel::Gain => Form::Gain,
            FitModel::Line => Form::Line,
            FitModel::Hinge => Form::Hinge,
        }),
        scene: flags.scene.as_deref().map(Text::from),
        all_pairs: flags.all_pairs,
    };
    let at = if flags.at.is_empty() {
        SHOWN_AT.to_vec()
    } else {
        flags.at.clone()
    };
    if !at.iter().all(|value| value.is_finite()) {
        return Err(usage("--at takes numbers, as --at 50,200,500".to_owned()));
    }
    let needs_site = flags.accept || flags.pairs.is_none();
    let site = if needs_site {
        site_at_hand(common, flags.accept)?
    } else {
        None
    };
    let mut fitting = match &flags.pairs {
        Some(path) => side_by_side::from_pairs(
            path,
            [flags.device.clone(), flags.reference.clone()],
            &settings,
            at,
        )
        .map_err(usage)?,
        None => from_readings(flags, site.as_ref(), &settings, at)?,
    };
    if let Some(day) = flags.valid_from {
        fitting.valid_from = Some(day);
    }
    if let Some(out) = &flags.out {
        draw(out, &fitting)?;
    }
    let accepted = match (&site, flags.accept) {
        (Some(site), true) => Some(
            side_by_side::accept(site, &fitting, flags.pairs.is_some()).map_err(|why| (Exit::Remarks, why)),
        ),
        _ => None,
    };
    if common.json {
        say::json(&side_by_side::json_of(&fitting));
    } else {
        say::line(&side_by_side::show(&fitting, &say::screen()));
    }
    if let Some(accepted) = accepted {
        let path = accepted?;
        let text = format!(
            "Written into {}. The next `undim sweep`, or a restart of `undim watch`, derives again the surveys it covers; `undim rebuild` does so now.",
            path.display()
        );
        if common.json {
            say::error(&text);
        } else {
            say::line(&say::screen().wrapped(&text, "", "  "));
        }
    }
    Ok(if fitting.proposal.picked.is_some() {
        Exit::Done
    } else {
        Exit::Remarks
    })
}

/// The site, where one is at hand; it must be where a correction is accepted.
fn site_at_hand(common: &Common, must: bool) -> Result<Option<Site>, Failed> {
    let is_here = || {
        std::env::current_dir()
            .ok()
            .and_then(|here| find_site(&here))
            .is_some()
    };
    if !must && common.site.is_none() && !is_here() {
        return Ok(None);
    }
    site_folder(common).map_err(usage)?;
    let Loaded { site, .. } = loaded(common).map_err(|exit| (exit, "the site can't be read".to_owned()))?;
    site.map(Some)
        .ok_or_else(|| usage("the configuration has mistakes; `undim check` shows them".to_owned()))
}

fn from_readings(
    flags: &Fit,
    site: Option<&Site>,
    settings: &Settings,
    at: Vec<f64>,
) -> Result<Fitting, Failed> {
    let nowhere = Site::defaults(Path::new(""), &machine_timezone());
    let known = site.unwrap_or(&nowhere);
    let zone_name = &known.timezone.name;
    let zone = undim_clean::time::zone(zone_name)
        .ok_or_else(|| usage(format!("the time zone {zone_name} is not known")))?;
    let mut taken = Vec::new();
    let mut sources = Vec::new();
    let mut tank = None;
    for from in &flags.from {
        if from.is_file() {
            taken.extend(of_file(known, from, flags)?);
            sources.push(name_of(from));
            continue;
        }
        let folder = survey_folder(site, from).map_err(usage)?;
        let about = about_survey(&folder);
        taken.extend(
            side_by_side::of_survey(&folder, about.scene.as_ref()).map_err(|why| (Exit::Folders, why))?,
        );
        sources.extend(about.sources);
        if let Some(declared) = known.tanks.get(&about.tank) {
            tank = Some((declared, about.water_cm));
        }
    }
    let asked = [flags.device.as_deref(), flags.reference.as_deref()];
    let chosen = side_by_side::choose(&taken, &known.devices, asked).map_err(usage)?;
    let around = Around {
        devices: &known.devices,
        tank,
        zone: &zone,
    };
    Ok(side_by_side::from_readings(
        &taken, chosen, around, sources, settings, at,
    ))
}

fn name_of(path: &Path) -> String {
    shown(&path.file_name().unwrap_or(path.as_os_str()).to_string_lossy()).into_owned()
}

/// A survey by the path of its folder, TANK/SURVEY, or its id alone.
fn survey_folder(site: Option<&Site>, asked: &Path) -> Result<PathBuf, String> {
    let holds = |folder: &PathBuf| folder.join("readings.csv").is_file();
    let asked_folder = asked.to_path_buf();
    if holds(&asked_folder) {
        return Ok(asked_folder);
    }
    let name = shown(&asked.display().to_string()).into_owned();
    let Some(site) = site else {
        return Err(format!(
            "there is no file or survey {name}; name files of readings, or the site with --site PATH"
        ));
    };
    let below = site.outbox.join(asked);
    if holds(&below) {
        return Ok(below);
    }
    let tanks = std::fs::read_dir(&site.outbox)
        .into_iter()
        .flatten()
        .filter_map(Result::ok);
    let mut found: Vec<PathBuf> = tanks.map(|tank| tank.path().join(asked)).filter(holds).collect();
    found.sort();
    match found.as_slice() {
        [only] => Ok(only.clone()),
        [] => Err(format!(
            "there is no file or survey {name}; `undim status` names the last surveys"
        )),
        _ => Err(format!(
            "more than one tank has a survey {name}; write TANK/{name}"
        )),
    }
}

struct About {
    tank: String,
    scene: Option<Text>,
    water_cm: Option<f64>,
    sources: Vec<String>,
}

/// What `survey.json` says of a survey.
fn about_survey(folder: &Path) -> About {
    let json: serde_json::Value = std::fs::read(folder.join("survey.json"))
        .ok()
        .and_then(|bytes| serde_json::from_slice(&bytes).ok())
        .unwrap_or_default();
    let files = json["sources"].as_array().into_iter().flatten();
    About {
        tank: json["tank"].as_str().unwrap_or_default().to_owned(),
        scene: json["scene"].as_str().map(Text::from),
        water_cm: json["water_cm"].as_f64(),
        sources: files
            .filter_map(|file| file["file"].as_str().map(str::to_owned))
            .collect(),
    }
}

/// The readings of a file, as `undim look` reads it; a note beside it counts. A file that names no device is that of
/// the device it is called after.
fn of_file(site: &Site, path: &Path, flags: &Fit) -> Result<Vec<Taken>, Failed> {
    let cancel = Cancel::default();
    cancel_on_signals(&cancel)
        .map_err(|error| (Exit::Internal, format!("signals can't be listened to: {error}")))?;
    let file = LookFile::open(path).map_err(usage)?;
    let folder = TemporaryFolder::new().map_err(|why| (Exit::Folders, why))?;
    let rows = CachedRows::at(folder.path(), "rows", "fit");
    let read = look::read(site, None, &file, Some(&rows), &cancel);
    let reading = read.map_err(|failure| usage(format!("{}: {}", file.name, not_read(&failure))))?;
    let mut note_path = path.as_os_str().to_owned();
    note_path.push(".note.toml");
    let mut note = match std::fs::read(&note_path) {
        Ok(bytes) => parse_note(&bytes, name_of(Path::new(&note_path))).map_err(|_| {
            usage(format!(
                "the note {} has mistakes; mend it, or take it away",
                name_of(Path::new(&note_path))
            ))
        })?,
        Err(_) => Note::default(),
    };
    if note.device.is_none() && reading.first.iter().all(|row| row.device.is_none()) {
        let stem = path
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .to_lowercase();
        let asked = [&flags.device, &flags.reference].into_iter().flatten();
        let ids = site.devices.keys().chain(asked);
        let called = ids
            .filter(|id| stem.contains(id.as_str()))
            .max_by_key(|id| id.len());
        note.device = Some(called.cloned().unwrap_or_else(|| undim_survey::id_from(&stem)));
    }
    let surveys = Surveys::take_in_with(site, &file, "", reading.imported, rows, &note, &cancel)
        .map_err(|why| usage(format!("{}: {why}", file.name)))?
        .ok_or((Exit::Remarks, "stopped".to_owned()))?;
    let mut taken = Vec::new();
    surveys
        .each_reading(&mut |reading, scene| taken.push(Taken::of(reading, scene.map(Text::from).as_ref())))
        .map_err(|error| usage(format!("{}: {error}", file.name)))?;
    Ok(taken)
}

fn not_read(failure: &Failure) -> String {
    match failure {
        Failure::Asked { text, .. } => format!("{text} `undim look` shows the choices"),
        Failure::Unusable {
            line, column, text, ..
        } => format!("{}{text}", look::place(*line, *column)),
        Failure::Failed(why) => why.clone(),
        Failure::Stopped => "stopped".to_owned(),
    }
}

fn draw(out: &Path, fitting: &Fitting) -> Result<(), Failed> {
    let summary = side_by_side::summary(fitting);
    let bytes = match out.extension().and_then(|end| end.to_str()) {
        Some("html") => undim_emit::page::side_by_side(&summary),
        Some("svg") => undim_emit::page::side_by_side_drawing(&summary),
        _ => return Err(usage("--out takes a file that ends in .html or .svg".to_owned())),
    };
    let failed = |error: std::io::Error| {
        (
            Exit::Folders,
            format!("{} can't be written: {error}", shown(&out.display().to_string())),
        )
    };
    let folder = out
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    let Some(name) = out.file_name().and_then(|name| name.to_str()) else {
        return Err(usage("--out names no file".to_owned()));
    };
    write_atomically(folder, name, bytes.as_bytes()).map_err(failed)
}
