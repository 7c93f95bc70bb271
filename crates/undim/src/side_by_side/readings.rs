//! From readings of a survey or of files to the pairs of one device and one reference.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use undim_clean::unit;
use undim_correct::fit::{BeforeFit, Pair, SideBySideReadings, SideReading, pairs};
use undim_emit::text_cell::shown;
use undim_model::{Device, Flag, Medium, Reading, Reason, Role, Tank, Text};
use undim_place::TankOnDay;

/// A reading as far as pairs need it.
#[derive(Debug, Clone)]
pub(crate) struct Taken {
    pub(crate) device: Text,
    pub(crate) station: Option<Text>,
    pub(crate) time: Option<Timestamp>,
    pub(crate) from_bottom_cm: Option<f64>,
    pub(crate) raw: Option<f64>,
    pub(crate) unit: Option<Text>,
    pub(crate) ppfd: Option<f64>,
    pub(crate) flag: Flag,
    pub(crate) is_over_range: bool,
    pub(crate) scene: Option<Text>,
}

impl Taken {
    /// Of a reading of a survey.
    pub(crate) fn of(reading: &Reading, scene: Option<&Text>) -> Self {
        Self {
            device: reading.device.clone(),
            station: reading.station.clone(),
            time: reading.time,
            from_bottom_cm: reading.position_cm[1],
            raw: reading.raw,
            unit: reading.raw_unit.clone(),
            ppfd: reading.value.map(|value| value.ppfd),
            flag: reading.flag,
            is_over_range: reading.reasons.has(Reason::OverRange),
            scene: scene.cloned(),
        }
    }
}

/// Reads the `readings.csv` of a survey's folder.
pub(crate) fn of_survey(folder: &Path, scene: Option<&Text>) -> Result<Vec<Taken>, String> {
    let path = folder.join("readings.csv");
    let failed = |error: csv::Error| format!("{} can't be read: {error}", shown(&path.display().to_string()));
    let mut reader = csv::Reader::from_path(&path).map_err(failed)?;
    let header = reader.headers().map_err(failed)?.clone();
    let place = |name: &str| header.iter().position(|column| column == name);
    let columns = [
        "time",
        "device",
        "station",
        "from_bottom_cm",
        "raw",
        "raw_unit",
        "ppfd",
        "flag",
        "reasons",
    ]
    .map(place);
    let mut taken = Vec::new();
    for record in reader.records() {
        let record = record.map_err(failed)?;
        let cell = |column: usize| {
            let cell = columns[column]
                .and_then(|place| record.get(place))
                .unwrap_or_default();
            // A leading ' keeps spreadsheets from taking a text for a formula.
            let cell = cell.strip_prefix('\'').unwrap_or(cell);
            (!cell.is_empty()).then_some(cell)
        };
        let number = |column: usize| {
            cell(column)
                .and_then(|cell| cell.parse::<f64>().ok())
                .filter(|n| n.is_finite())
        };
        taken.push(Taken {
            device: Text::from(cell(1).unwrap_or_default()),
            station: cell(2).map(Text::from),
            time: cell(0).and_then(|cell| cell.parse().ok()),
            from_bottom_cm: number(3),
            raw: number(4),
            unit: cell(5).map(Text::from),
            ppfd: number(6),
            flag: match cell(7) {
                Some("1") => Flag::Good,
                Some("2") => Flag::NotEvaluated,
                Some("3") => Flag::Questionable,
                Some("9") => Flag::Missing,
                _ => Flag::Bad,
            },
            is_over_range: cell(8)
                .is_some_and(|reasons| reasons.split(';').any(|reason| reason == "over-range")),
            scene: scene.cloned(),
        });
    }
    Ok(taken)
}

/// The device and the reference of some readings, by what was asked for, else by their roles.
pub(crate) fn choose(
    taken: &[Taken],
    devices: &BTreeMap<String, Device>,
    asked: [Option<&str>; 2],
) -> Result<[String; 2], String> {
    let present: BTreeSet<&str> = taken.iter().map(|taken| &*taken.device).collect();
    let listed = || {
        present
            .iter()
            .map(|id| shown(id).into_owned())
            .collect::<Vec<_>>()
            .join(", ")
    };
    let role = |id: &str| devices.get(id).map(|device| device.role);
    let find = |asked: &str| {
        let by_name = || {
            present
                .iter()
                .find(|id| devices.get(**id).is_some_and(|device| device.name == asked))
        };
        present
            .iter()
            .find(|id| **id == asked)
            .or_else(by_name)
            .map(|id| (*id).to_owned())
            .ok_or_else(|| {
                format!(
                    "there is no reading of “{}”; the readings are of: {}",
                    shown(asked),
                    listed()
                )
            })
    };
    let only = |candidates: Vec<&str>, flag: &str, what: &str| match candidates.as_slice() {
        [only] => Ok((*only).to_owned()),
        [] => Err(format!(
            "the readings are of {}: none is {what}; name it with {flag}",
            if present.is_empty() {
                "no device".to_owned()
            } else {
                listed()
            }
        )),
        _ => Err(format!(
            "more than one is {what}: {}; name one with {flag}",
            candidates.join(", ")
        )),
    };
    let reference = match asked[1] {
        Some(asked) => find(asked)?,
        None => {
            let mut candidates: Vec<&str> = present
                .iter()
                .copied()
                .filter(|id| role(id) == Some(Role::Reference))
                .collect();
            if candidates.is_empty() && asked[0].is_some() && present.len() == 2 {
                candidates = present
                    .iter()
                    .copied()
                    .filter(|id| Some(*id) != asked[0])
                    .collect();
            }
            only(candidates, "--reference", "a reference")?
        }
    };
    let device = match asked[0] {
        Some(asked) => find(asked)?,
        None => {
            let candidates = present
                .iter()
                .copied()
                .filter(|id| *id != reference && role(id) != Some(Role::Reference));
            only(
                candidates.collect(),
                "--device",
                "an everyday device beside the reference",
            )?
        }
    };
    if device == reference {
        return Err("the device and the reference are one and the same".to_owned());
    }
    Ok([device, reference])
}

/// What the readings of one device and one reference make.
#[derive(Debug)]
pub(crate) struct Paired {
    pub(crate) pairs: Vec<Pair>,
    /// Corrected value of the device and the reference's, by the correction that was in use.
    pub(crate) corrected: Vec<(f64, f64)>,
    pub(crate) before: Option<BeforeFit>,
    pub(crate) medium: Medium,
    /// The day of the first reading.
    pub(crate) day: Option<Date>,
    /// What was left out on the way, in sentences.
    pub(crate) said: Vec<String>,
}

/// Pairs scene by scene.
pub(crate) fn paired(
    taken: &[Taken],
    [device, reference]: [&Device; 2],
    tank: Option<(&Tank, Option<f64>)>,
    zone: &TimeZone,
) -> Paired {
    let of_device = || taken.iter().filter(|taken| *taken.device == *device.id);
    let of_both = || of_device().chain(taken.iter().filter(|taken| *taken.device == *reference.id));
    let first = of_both().filter_map(|taken| taken.time).min();
    let day = first.map(|time| undim_survey::local_date(time, zone));
    let on_day = tank.map(|(tank, water_cm)| TankOnDay::new(tank, day.unwrap_or(Date::ZERO), water_cm));
    let medium_of = |taken: &Taken| {
        on_day
            .as_ref()
            .map_or(Medium::Water, |tank| tank.medium(taken.from_bottom_cm))
    };
    let in_water = of_device()
        .filter(|taken| medium_of(taken) == Medium::Water)
        .count();
    let medium = if 2 * in_water >= of_device().count() {
        Medium::Water
    } else {
        Medium::Air
    };
    // Of a device whose unit nobody declared the first reading's counts: numbers in another are no pairs with it.
    let first_unit = of_device().find_map(|taken| taken.unit.as_deref().and_then(unit::parse));
    let device = &Device {
        unit: device.unit.or(first_unit),
        ..device.clone()
    };
    let mut left = LeftOut::default();
    let mut by_scene: BTreeMap<Option<Text>, [SideBySideReadings; 2]> = BTreeMap::new();
    let mut before: Option<BeforeFit> = None;
    for reading in of_both() {
        if reading.is_over_range {
            left.over_range += 1;
        }
        if !matches!(reading.flag, Flag::Good | Flag::NotEvaluated | Flag::Questionable) {
            continue;
        }
        if medium_of(reading) != medium {
            left.other_medium += 1;
            continue;
        }
        let sides = by_scene.entry(reading.scene.clone()).or_insert_with(|| {
            let side = SideBySideReadings {
                repeat_percent: [device.repeat_percent, reference.repeat_percent],
                scene: reading.scene.clone(),
                ..SideBySideReadings::default()
            };
            [side.clone(), side]
        });
        let side = |value| SideReading {
            station: reading.station.clone(),
            time: reading.time,
            value,
        };
        if *reading.device == *reference.id {
            if let Some(ppfd) = reading.ppfd {
                sides[0].reference.push(side(ppfd));
                sides[1].reference.push(side(ppfd));
            }
            continue;
        }
        let parsed = reading.unit.as_deref().and_then(unit::parse);
        let made = BeforeFit::new(
            device,
            parsed,
            day.unwrap_or(Date::ZERO),
            reading.scene.as_deref(),
            medium,
        );
        match (made, reading.raw) {
            (Some(made), Some(raw)) => {
                sides[0].device.push(side(made.apply(raw)));
                before.get_or_insert(made);
            }
            (None, _) => {
                left.strange
                    .insert(reading.unit.as_deref().unwrap_or("no unit").to_owned());
            }
            (_, None) => {}
        }
        if let Some(ppfd) = reading.ppfd {
            sides[1].device.push(side(ppfd));
        }
    }
    let corrected = by_scene.values().flat_map(|sides| pairs(&sides[1]));
    let corrected = corrected.map(|pair| (pair.device, pair.reference)).collect();
    Paired {
        pairs: by_scene.values().flat_map(|sides| pairs(&sides[0])).collect(),
        corrected,
        before,
        medium,
        day,
        said: left.sentences(device),
    }
}

/// Readings that make no pairs.
#[derive(Debug, Default)]
struct LeftOut {
    over_range: usize,
    other_medium: usize,
    /// Units that lead to no other.
    strange: BTreeSet<String>,
}

impl LeftOut {
    fn sentences(&self, device: &Device) -> Vec<String> {
        let mut said = Vec::new();
        if self.over_range > 0 {
            said.push(format!(
            "{} readings were left out as over a device's range: what lies there can't be known; read places that are less bright.",
            self.over_range
        ));
        }
        if self.other_medium > 0 {
            said.push(format!(
                "{} readings in another medium than the others were left out: a correction holds in one.",
                self.other_medium
            ));
        }
        if !self.strange.is_empty() {
            let units: Vec<String> = self.strange.iter().map(|unit| shown(unit).into_owned()).collect();
            said.push(format!(
            "Readings of {} in {} can't be turned into its own unit ({}): say in devices/{}.toml what it reads in.",
            device.id,
            units.join(", "),
            device.unit_code.as_deref().unwrap_or("none is declared"),
            device.id
        ));
        }
        said
    }
}
