//! `undim explain`: where a value's uncertainty comes from. Reads only; works beside a running daemon.

use super::{not_opened, say, usable_site};
use crate::cli::{Common, Explain};
use crate::engine::OpenError;
use crate::exit::Exit;
use crate::side_by_side;
use serde_json::json;
use undim_config::Site;
use undim_correct::budget::{Budget, Input, Part};
use undim_correct::{Prepared, When, prepare};
use undim_emit::text_cell::shown;
use undim_model::{Correction, Device, Medium, StationValue, Survey};
use undim_place::TankOnDay;
use undim_store::Reader;

pub(super) fn run(common: &Common, flags: &Explain) -> Exit {
    let site = match usable_site(common) {
        Ok(site) => site,
        Err(exit) => return exit,
    };
    match explained(&site, flags) {
        Ok(explained) if common.json => say::json(&explained.json()),
        Ok(explained) => say::line(&explained.text()),
        Err(Failed::Usage(why)) => {
            say::error(&format!("undim: {why}"));
            return Exit::Usage;
        }
        Err(Failed::Store(error)) => return not_opened(&error),
    }
    Exit::Done
}

enum Failed {
    Usage(String),
    Store(Box<OpenError>),
}

struct Explained {
    tank: String,
    survey: String,
    station: StationValue,
    budget: Budget,
    /// What each step leaves of the mean reading.
    chain: Vec<(&'static str, f64)>,
    /// The mean of the readings used, and its unit.
    raw: Option<(f64, String)>,
    in_words: String,
    remarks: Vec<String>,
}

fn explained(site: &Site, flags: &Explain) -> Result<Explained, Failed> {
    let store = |error: undim_store::StoreError| Failed::Store(Box::new(error.into()));
    let reader = Reader::open_read_only(&site.state.join("undim.db")).map_err(store)?;
    let Some(reader) = reader else {
        return Err(Failed::Usage(
            "no survey was taken in yet; drop a file into the inbox and type `undim sweep`".to_owned(),
        ));
    };
    let (tank, asked) = match flags.survey.trim_end_matches('/').rsplit_once('/') {
        Some((tank, survey)) => (tank.rsplit('/').next(), survey),
        None => (None, flags.survey.as_str()),
    };
    let mut ids: Vec<(String, String)> = Vec::new();
    for of in reader.tanks().map_err(store)? {
        ids.extend(
            reader
                .survey_heads(&of)
                .map_err(store)?
                .into_iter()
                .map(|head| (of.clone(), head.id)),
        );
    }
    let found: Vec<&(String, String)> = (ids.iter())
        .filter(|(of, id)| id == asked && tank.is_none_or(|tank| tank == of))
        .collect();
    let (tank, id) = match found.as_slice() {
        [only] => *only,
        [] => {
            let near = near(asked, ids.iter().map(|(_, id)| id.as_str()));
            return Err(Failed::Usage(format!(
                "there is no survey {}; {near}",
                shown(&flags.survey)
            )));
        }
        _ => {
            return Err(Failed::Usage(format!(
                "more than one tank has a survey {0}; write TANK/{0}",
                shown(asked)
            )));
        }
    };
    let survey = reader
        .survey(tank, id)
        .map_err(store)?
        .map(|stored| stored.survey);
    let Some(survey) = survey else {
        return Err(Failed::Usage(format!(
            "there is no survey {} any more; type it again",
            shown(id)
        )));
    };
    let station = survey
        .stations
        .iter()
        .find(|station| *station.station == *flags.station);
    let Some(station) = station else {
        let near = near(
            &flags.station,
            survey.stations.iter().map(|station| &*station.station),
        );
        return Err(Failed::Usage(format!(
            "survey {id} has no station {}; {near}",
            shown(&flags.station)
        )));
    };
    of_station(site, &survey, station)
}

fn of_station(site: &Site, survey: &Survey, station: &StationValue) -> Result<Explained, Failed> {
    let undeclared = Device::undeclared(&station.device);
    let device = site.devices.get(&*station.device).unwrap_or(&undeclared);
    let mut remarks = Vec::new();
    let (raw, unit) = mean_raw(site, survey, station).unzip();
    let prepared = prepared(site, survey, station, device, unit.as_deref());
    let is_same = prepared.key() == station.correction;
    if !is_same {
        remarks.push("The device's file has changed since: the chain and the factors' own u are left out until the next `undim sweep`.".to_owned());
    }
    let correction = if is_same {
        correction_of(device, &station.correction)
    } else {
        None
    };
    let Some(budget) = Budget::of(station, correction) else {
        return Err(Failed::Usage(format!(
            "station {} has no value in survey {}: {}; readings.csv beside its page shows each reading and why",
            shown(&station.station),
            survey.id,
            if station.readings == 0 {
                "it has no reading"
            } else {
                "none of its readings was used"
            }
        )));
    };
    let steps = raw.filter(|_| is_same).and_then(|raw| prepared.steps(raw));
    Ok(Explained {
        tank: survey.tank.clone(),
        survey: survey.id.clone(),
        station: station.clone(),
        budget,
        chain: steps
            .into_iter()
            .flatten()
            .map(|(kind, value)| (kind.word(), value))
            .collect(),
        raw: raw.zip(unit),
        in_words: if is_same {
            prepared.describe().to_owned()
        } else {
            String::new()
        },
        remarks,
    })
}

/// The correction as it was, or would be, prepared for the station.
fn prepared(
    site: &Site,
    survey: &Survey,
    station: &StationValue,
    device: &Device,
    unit: Option<&str>,
) -> Prepared {
    let from_bottom_cm = station.position.map(|position| position.to_array()[1]);
    let medium = (site.tanks.get(&survey.tank)).map_or(Medium::Water, |tank| {
        TankOnDay::new(tank, survey.date, survey.water_cm).medium(from_bottom_cm)
    });
    let when = When {
        day: survey.date,
        scene: survey.scene.as_deref(),
        medium,
    };
    let unit = unit.and_then(undim_clean::unit::parse).or(device.unit);
    prepare(
        device,
        |id| site.devices.get(id).map(|device| device.cal_percent),
        unit,
        &when,
    )
}

/// By the number in the key of a correction; a blend has two and so none of its own.
fn correction_of<'a>(device: &'a Device, key: &str) -> Option<&'a Correction> {
    let mut parts = key.split('/');
    let number: usize = parts.nth(2)?.parse().ok()?;
    let is_alone = parts.next().is_none();
    is_alone
        .then(|| device.corrections.get(number.checked_sub(1)?))
        .flatten()
}

/// The mean of the readings used, as the device gave them, and their unit; `None` where they differ in it.
fn mean_raw(site: &Site, survey: &Survey, station: &StationValue) -> Option<(f64, String)> {
    let folder = site.outbox.join(&survey.tank).join(&survey.id);
    let taken = side_by_side::of_survey(&folder, None).ok()?;
    let used: Vec<_> = taken
        .iter()
        .filter(|reading| {
            reading.flag.is_used()
                && reading.device == station.device
                && reading.station.as_ref() == Some(&station.station)
        })
        .collect();
    let unit = used.first()?.unit.clone()?;
    let raws: Vec<f64> = used
        .iter()
        .filter(|reading| reading.unit.as_ref() == Some(&unit))
        .filter_map(|reading| reading.raw)
        .collect();
    (raws.len() == used.len()).then(|| (raws.iter().sum::<f64>() / raws.len() as f64, unit.to_string()))
}

/// The names nearest to one that is not there.
fn near<'a>(asked: &str, names: impl Iterator<Item = &'a str>) -> String {
    let mut names: Vec<(usize, &str)> = names.map(|name| (apart(asked, name), name)).collect();
    names.sort_unstable();
    names.dedup();
    let near: Vec<_> = names.iter().take(4).map(|(_, name)| shown(name)).collect();
    if near.is_empty() {
        "there is none yet".to_owned()
    } else {
        format!("the nearest: {}", near.join(", "))
    }
}

/// Letters to change, add or take away (V. I. Levenshtein, 1966).
fn apart(one: &str, other: &str) -> usize {
    let other: Vec<char> = other.chars().take(200).collect();
    let mut row: Vec<usize> = (0..=other.len()).collect();
    for (above, letter) in one.chars().take(200).enumerate() {
        let mut next = vec![above + 1];
        for (place, pair) in row.windows(2).enumerate() {
            let same = other.get(place) == Some(&letter);
            let left = next.last().copied().unwrap_or_default();
            next.push((pair[0] + usize::from(!same)).min(pair[1] + 1).min(left + 1));
        }
        row = next;
    }
    row.last().copied().unwrap_or_default()
}

fn part(input: &Input) -> &'static str {
    match input.part {
        Part::Own => "own",
        Part::Shared => "shared",
    }
}

/// Three significant digits.
fn digits(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let places = (2.0 - value.abs().log10().floor()).clamp(0.0, 6.0) as usize;
    format!("{value:.places$}")
}

impl Explained {
    fn text(&self) -> String {
        let screen = say::screen();
        let budget = &self.budget;
        let mut lines = vec![
            format!(
                "{} in survey {}/{}: {:.3} ± {:.3} µmol m⁻² s⁻¹ (95 %), read with {}",
                shown(&self.station.station),
                self.tank,
                self.survey,
                budget.ppfd,
                budget.expanded(),
                shown(&self.station.device)
            ),
            String::new(),
        ];
        if let Some((raw, unit)) = &self.raw {
            let steps: Vec<String> = std::iter::once(format!("{} {} read", digits(*raw), shown(unit)))
                .chain(
                    self.chain
                        .iter()
                        .map(|(step, value)| format!("{} after {step}", digits(*value))),
                )
                .collect();
            lines.push(screen.wrapped(&format!("The mean reading: {}", steps.join(" → ")), "", "  "));
            lines.push(screen.wrapped(&format!("Correction: {}", self.in_words), "", "  "));
            lines.push(String::new());
        }
        lines.push(
            "input          part           u  unit             sensitivity      u_ppfd   share     dof"
                .to_owned(),
        );
        for input in &budget.inputs {
            lines.push(format!(
                "{:<14} {:<7} {:>8}  {:<15} {:>12} {:>11.3} {:>5.1} % {:>7}",
                input.name,
                part(input),
                digits(input.u),
                if input.unit == "own" {
                    "device's own"
                } else {
                    input.unit
                },
                digits(input.sensitivity),
                input.u_ppfd,
                budget.share_percent(input),
                input
                    .dof
                    .map_or_else(|| "many".to_owned(), |dof| format!("{dof:.0}"))
            ));
        }
        lines.push(String::new());
        lines.push(format!(
            "combined u (k = 1): {:.3}; own {:.3}, shared {:.3}",
            budget.u, budget.u_own, budget.u_shared
        ));
        lines.push(format!(
            "expanded U (95 %): {:.3}, k = {:.3} for {} effective degrees of freedom",
            budget.expanded(),
            budget.k,
            budget
                .dof
                .map_or_else(|| "many".to_owned(), |dof| format!("{dof:.1}"))
        ));
        lines.push(String::new());
        let note = "Shares are of the variance. u_ppfd is in µmol m⁻² s⁻¹; what is shared never averages down over places. The readings' u already allows for how few they are.";
        lines.extend(
            self.remarks
                .iter()
                .map(String::as_str)
                .chain([note])
                .map(|line| screen.wrapped(line, "", "")),
        );
        lines
            .iter()
            .map(|line| screen.text(line).trim_end().to_owned())
            .collect::<Vec<_>>()
            .join("\n")
    }

    fn json(&self) -> serde_json::Value {
        let budget = &self.budget;
        let (u, half) = (budget.u, budget.expanded());
        json!({
            "tank": self.tank,
            "survey": self.survey,
            "station": &*self.station.station,
            "device": &*self.station.device,
            "correction": &*self.station.correction,
            "ppfd": budget.ppfd,
            "raw": self.raw.as_ref().map(|(raw, _)| raw),
            "raw_unit": self.raw.as_ref().map(|(_, unit)| unit),
            "chain": self.chain.iter().map(|(step, value)| json!({ "step": step, "value": value })).collect::<Vec<_>>(),
            "inputs": budget.inputs.iter().map(|input| json!({
                "input": input.name,
                "part": part(input),
                "value": input.value,
                "u": input.u,
                "unit": input.unit,
                "sensitivity": input.sensitivity,
                "u_ppfd": input.u_ppfd,
                "share_percent": budget.share_percent(input),
                "dof": input.dof,
            })).collect::<Vec<_>>(),
            "u_own_ppfd": budget.u_own,
            "u_shared_ppfd": budget.u_shared,
            "u_ppfd": u,
            "dof": budget.dof,
            "k": budget.k,
            "expanded_ppfd": half,
            "ci95": [budget.ppfd - half, budget.ppfd + half],
            "remarks": self.remarks,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_names_are_told_first() {
        assert_eq!(
            [apart("s01", "s01"), apart("s1", "s01"), apart("", "abc")],
            [0, 1, 3]
        );
        let names = ["reef-top", "s01", "s02"];
        assert!(near("s1", names.into_iter()).starts_with("the nearest: s01"));
        assert_eq!(near("s1", std::iter::empty()), "there is none yet");
    }
}
