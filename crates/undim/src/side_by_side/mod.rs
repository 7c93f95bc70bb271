//! `undim fit`: a device's correction from readings beside a reference.

mod accept;
mod block;
mod json;
mod pairs_file;
mod readings;
mod show;
mod summary;

pub(crate) use accept::accept;
pub(crate) use json::of as json_of;
pub(crate) use readings::{Taken, choose, of_survey};
pub(crate) use show::show;
pub(crate) use summary::summary;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use undim_correct::fit::{BeforeFit, Proposal, Settings, propose, still_holds};
use undim_model::{AcceptedHolds, Device, Medium, Role, SideBySide, Tank};

/// Where a corrected value is shown if nothing else is asked for.
pub(crate) const SHOWN_AT: [f64; 3] = [50.0, 200.0, 500.0];

/// A fit with what it came from.
#[derive(Debug)]
pub(crate) struct Fitting {
    /// The device's id, where it is known.
    pub(crate) device: Option<String>,
    /// The reference's.
    pub(crate) reference: Option<String>,
    /// What surrounded both.
    pub(crate) medium: Option<Medium>,
    /// The correction's first day.
    pub(crate) valid_from: Option<Date>,
    /// What comes before the fit in the device's chain.
    pub(crate) before: Option<BeforeFit>,
    /// The reference's own, k = 1: it comes on top of what is told.
    pub(crate) calibration_percent: Option<f64>,
    /// Files that the pairs were read from.
    pub(crate) sources: Vec<String>,
    /// What the pairs say.
    pub(crate) proposal: Proposal,
    /// The correction that was in use, held against the pairs.
    pub(crate) accepted: Option<AcceptedHolds>,
    /// Device values at which the corrected one is told.
    pub(crate) at: Vec<f64>,
}

/// From a file of pairs.
pub(crate) fn from_pairs(
    path: &Path,
    [device, reference]: [Option<String>; 2],
    settings: &Settings,
    at: Vec<f64>,
) -> Result<Fitting, String> {
    let pairs = pairs_file::read(path)?;
    let name = path
        .file_name()
        .unwrap_or(path.as_os_str())
        .to_string_lossy()
        .into_owned();
    let first = pairs.iter().filter_map(|pair| pair.time).min();
    Ok(Fitting {
        device,
        reference,
        medium: None,
        valid_from: first.map(|time| undim_survey::local_date(time, &TimeZone::UTC)),
        before: None,
        calibration_percent: None,
        sources: vec![name],
        proposal: propose(pairs, settings),
        accepted: None,
        at,
    })
}

/// What the readings are judged in.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Around<'a> {
    /// Declared devices.
    pub(crate) devices: &'a BTreeMap<String, Device>,
    /// The tank and its water level, where they are known.
    pub(crate) tank: Option<(&'a Tank, Option<f64>)>,
    /// Of the site.
    pub(crate) zone: &'a TimeZone,
}

/// From readings of a device and a reference.
pub(crate) fn from_readings(
    taken: &[Taken],
    [device, reference]: [String; 2],
    around: Around<'_>,
    sources: Vec<String>,
    settings: &Settings,
    at: Vec<f64>,
) -> Fitting {
    let known = |id: &str| {
        around
            .devices
            .get(id)
            .cloned()
            .unwrap_or_else(|| Device::undeclared(id))
    };
    let (everyday, standard) = (known(&device), known(&reference));
    let paired = readings::paired(taken, [&everyday, &standard], around.tank, around.zone);
    let mut proposal = propose(paired.pairs, settings);
    proposal.advice.splice(0..0, paired.said);
    let accepted = (everyday
        .corrections
        .iter()
        .any(|correction| correction.fit.is_some()))
    .then(|| {
        still_holds(
            &paired.corrected,
            shared_percent(&everyday, &standard, paired.day),
        )
    })
    .flatten();
    Fitting {
        device: Some(device),
        reference: Some(reference),
        medium: Some(paired.medium),
        valid_from: paired.day,
        before: paired.before,
        calibration_percent: standard.declared.then_some(standard.cal_percent),
        sources,
        proposal,
        accepted,
        at,
    }
}

/// Each everyday device of a survey beside its reference, where it holds both.
pub(crate) fn of_survey_readings(taken: &[Taken], around: Around<'_>, sources: &[String]) -> Vec<SideBySide> {
    let role = |id: &str| around.devices.get(id).map(|device| device.role);
    let present: BTreeSet<&str> = taken.iter().map(|taken| &*taken.device).collect();
    let reference = present.iter().filter(|id| role(id) == Some(Role::Reference));
    // Of several references the one with most readings.
    let reference = reference.max_by_key(|id| taken.iter().filter(|taken| &*taken.device == **id).count());
    let Some(reference) = reference else {
        return Vec::new();
    };
    (present.iter())
        .filter(|id| role(id) != Some(Role::Reference))
        .map(|id| {
            let chosen = [(*id).to_owned(), (*reference).to_owned()];
            let at = SHOWN_AT.to_vec();
            let fitting = from_readings(taken, chosen, around, sources.to_vec(), &Settings::default(), at);
            summary(&fitting)
        })
        .filter(|found| !found.pairs.is_empty())
        .collect()
}

/// What all pairs share, but for the reference's calibration: re-zeroing of both, the device's drift since its last
/// correction, and the calibration of another reference, if the correction was made beside one.
fn shared_percent(device: &Device, reference: &Device, day: Option<Date>) -> f64 {
    let last = device
        .corrections
        .iter()
        .filter(|correction| correction.fit.is_some())
        .max_by_key(|correction| correction.span.from);
    let years = last
        .and_then(|correction| correction.span.from)
        .zip(day)
        .map_or(0.0, |(from, day)| {
            from.duration_until(day).as_hours() as f64 / (24.0 * 365.25)
        })
        .max(0.0);
    let same = last
        .and_then(|correction| correction.fit.as_ref()?.reference.as_deref())
        .is_some_and(|made_beside| made_beside == reference.id);
    let calibrations = if same {
        0.0
    } else {
        reference.cal_percent.hypot(reference.cal_percent)
    };
    device
        .rezero_percent
        .hypot(reference.rezero_percent)
        .hypot(device.drift_percent_per_year * years)
        .hypot(calibrations)
}
