//! One reading's way through cleaning, correcting and placing.

use crate::names::id_from;
use crate::source::{Source, TimedRow};
use crate::{TakeInError, local_date};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::borrow::Cow;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;
use undim_clean::{range, tilt, unit};
use undim_correct::{Prepared, SharedU, When, prepare};
use undim_model::{
    Device, DeviceUnit, Flag, Measured, Position, Reading, Reason, Reasons, Role, StationValue, Tank, Text,
    valid_on,
};
use undim_place::light::Light;
use undim_place::{FrameInUse, StationMatch, TankOnDay, face};

/// Fixtures read sooner than this after switching on are still settling (common practice, no source).
pub const WARM_UP_MIN: f64 = 20.0;
/// What a light value without any unit is taken to be in; said as assumed.
const UNSTATED_UNIT: &str = "umol.m-2.s-1";

/// What take-in needs to know of the site.
#[derive(Debug, Clone, Copy)]
pub struct SiteView<'a> {
    /// The tank that was read.
    pub tank: &'a Tank,
    /// Declared devices by id.
    pub devices: &'a BTreeMap<String, Device>,
    /// The site's zone.
    pub zone: &'a TimeZone,
    /// Its IANA name.
    pub zone_name: &'a str,
}

/// A reading, judged by itself; its burst has not been looked at.
pub(crate) struct Seen {
    /// What will be written, but for what the burst tells.
    pub(crate) reading: Reading,
    /// Number of its station in [`Stage::stations`].
    pub(crate) station: Option<usize>,
    /// Number of its device in [`Stage::devices`].
    pub(crate) device: usize,
    /// Shared sources of uncertainty.
    pub(crate) shared: SharedU,
    /// Number of the chain that corrected it in [`Stage::chains`].
    pub(crate) chain: usize,
}

/// A place that readings belong to.
pub(crate) struct Place {
    pub(crate) name: Text,
    pub(crate) declared: bool,
    pub(crate) at: Option<Position>,
}

/// The tables that readings are looked up in; filled as they come.
pub(crate) struct Stage<'a> {
    site: SiteView<'a>,
    scene: Option<&'a str>,
    pub(crate) devices: Vec<Cow<'a, Device>>,
    device_ids: Vec<Text>,
    device_by_name: HashMap<Text, usize>,
    pub(crate) stations: Vec<Place>,
    station_by_name: HashMap<Text, usize>,
    /// Undeclared names as given, by the id made of them.
    renamed: BTreeMap<(&'static str, String), Text>,
    pub(crate) chains: Vec<Chain>,
    days: Vec<(Date, Option<f64>, TankOnDay)>,
    day: Option<(Timestamp, Timestamp, Date)>,
    units: HashMap<Text, Option<DeviceUnit>>,
    /// Names of devices whose unit was assumed.
    pub(crate) unit_assumed: Vec<usize>,
}

/// A prepared correction and what it was prepared for.
pub(crate) struct Chain {
    device: usize,
    day: Date,
    medium: undim_model::Medium,
    unit: Option<DeviceUnit>,
    pub(crate) prepared: Prepared,
    pub(crate) key: Text,
}

/// What a source brings to each of its readings, looked up once.
pub(crate) struct SourceStage {
    path: Text,
    device_note: Option<Text>,
    device_fallback: Option<Text>,
    station_note: Option<Text>,
    station_fallback: Option<Text>,
    frame: Option<(Date, FrameInUse)>,
    warm_up: bool,
}

impl<'a> Stage<'a> {
    pub(crate) fn new(site: SiteView<'a>, scene: Option<&'a str>) -> Self {
        Self {
            site,
            scene,
            devices: Vec::new(),
            device_ids: Vec::new(),
            device_by_name: HashMap::new(),
            stations: Vec::new(),
            station_by_name: HashMap::new(),
            renamed: BTreeMap::new(),
            chains: Vec::new(),
            days: Vec::new(),
            day: None,
            units: HashMap::new(),
            unit_assumed: Vec::new(),
        }
    }

    pub(crate) fn source(&self, source: &Source<'_>) -> SourceStage {
        let text = |name: &Option<String>| name.as_deref().map(Text::from);
        SourceStage {
            path: source.file.path.clone(),
            device_note: text(&source.device_note),
            device_fallback: text(&source.device_fallback),
            station_note: text(&source.station_note),
            station_fallback: text(&source.station_fallback),
            frame: None,
            warm_up: source
                .fixtures_on_min
                .is_some_and(|minutes| minutes < WARM_UP_MIN),
        }
    }

    /// Takes one row as far as it can go by itself.
    pub(crate) fn see(
        &mut self,
        source: &Source<'a>,
        at: &mut SourceStage,
        timed: TimedRow,
    ) -> Result<Seen, TakeInError> {
        let row = timed.row;
        let day = self.day_of(timed.counted);
        let mut reasons = timed.reasons;
        if at.warm_up {
            reasons.add(Reason::WarmUp);
        }

        let device_name = at
            .device_note
            .clone()
            .or_else(|| row.device.clone())
            .or_else(|| at.device_fallback.clone());
        let device = self.device(device_name.as_ref())?;

        let tank_day = self.tank_on(day, source.water_cm);
        if at.frame.as_ref().is_none_or(|(for_day, _)| *for_day != day) {
            let frame = self.days[tank_day]
                .2
                .frame(source.frame.as_deref())
                .map_err(|error| TakeInError::Frame {
                    path: source.file.path.to_string(),
                    text: error.to_string(),
                })?;
            at.frame = Some((day, frame));
        }
        let noted = match &at.frame {
            Some((_, frame)) => frame.to_tank([row.x, row.y, row.z], source.length_units),
            None => [None; 3],
        };
        let tank = &self.days[tank_day].2;
        let face = face(noted, self.devices[device].face_offset_cm);
        let name = at
            .station_note
            .clone()
            .or_else(|| row.station.clone())
            .or_else(|| at.station_fallback.clone());
        let matched = tank.station(noted, face, name.as_deref());
        reasons = reasons.union(matched.reasons);
        if tank.is_outside(matched.position_cm) {
            reasons.add(Reason::OutsideTank);
        }
        let medium = tank.medium(matched.position_cm[1]);

        let unit_code = self.unit_code(row.unit.as_ref(), device);
        let unit = self.unit(&unit_code);
        let mut value = None;
        let mut shared = SharedU::default();
        let mut base = Flag::Good;
        let mut chain = usize::MAX;
        match row.value.filter(|value| value.is_finite()) {
            None => reasons.add(Reason::MissingValue),
            Some(raw) => {
                let used = &self.devices[device];
                let in_own_unit = match (used.unit, unit) {
                    (Some(own), Some(given)) => own.factor_from(given).map(|factor| raw * factor),
                    _ => Some(raw),
                };
                let tests = [
                    in_own_unit.and_then(|raw| range::gross_range(raw, used.range)),
                    row.tilt_deg
                        .and_then(|tilt_deg| tilt::tilt(tilt_deg, used.max_tilt_deg)),
                ];
                reasons = tests.into_iter().flatten().fold(reasons, Reasons::with);
                chain = self.chain(device, day, medium, unit);
                let corrected = self.chains[chain].prepared.apply(raw);
                reasons = reasons.union(corrected.reasons);
                shared = corrected.shared;
                value = corrected.ppfd.map(|ppfd| Measured {
                    ppfd,
                    u_own: corrected.u_repeat,
                    u_shared: shared.total(),
                });
                if value.is_none() {
                    base = Flag::NotEvaluated;
                }
            }
        }
        let station = self.station(&matched, name.is_some())?;
        let reading = Reading {
            source: at.path.clone(),
            row: row.row,
            time: timed.time,
            device: self.device_ids[device].clone(),
            station: station.map(|number| self.stations[number].name.clone()),
            position_cm: matched.position_cm,
            raw: row.value,
            raw_unit: row.value.map(|_| unit_code),
            value,
            flag: reasons.flag_from(base),
            reasons,
        };
        Ok(Seen {
            reading,
            station,
            device,
            shared,
            chain,
        })
    }

    /// The day of the site's zone, remembered until it ends: readings come in order of time.
    fn day_of(&mut self, time: Timestamp) -> Date {
        if let Some((from, until, date)) = self.day
            && from <= time
            && time < until
        {
            return date;
        }
        let date = local_date(time, self.site.zone);
        let bound = |day: Date| self.site.zone.to_timestamp(day.at(0, 0, 0, 0));
        if let (Ok(from), Some(Ok(until))) = (bound(date), date.tomorrow().ok().map(bound)) {
            self.day = Some((from, until, date));
        }
        date
    }

    fn tank_on(&mut self, day: Date, water_cm: Option<f64>) -> usize {
        if let Some(found) = self
            .days
            .iter()
            .rposition(|(for_day, water, _)| *for_day == day && *water == water_cm)
        {
            return found;
        }
        self.days
            .push((day, water_cm, TankOnDay::new(self.site.tank, day, water_cm)));
        self.days.len() - 1
    }

    /// A file's devices match an id, then a name; an undeclared name makes a device of its own.
    fn device(&mut self, name: Option<&Text>) -> Result<usize, TakeInError> {
        let given = name.map_or("unknown-device", |name| name);
        if let Some(number) = self.device_by_name.get(given) {
            return Ok(*number);
        }
        let declared = self
            .site
            .devices
            .get(given)
            .or_else(|| self.site.devices.values().find(|device| device.name == given));
        let device = match declared {
            Some(device) => Cow::Borrowed(device),
            None => {
                let id = {
                    let devices = self.site.devices;
                    self.id_for("device", given, |id| devices.contains_key(id))?
                };
                Cow::Owned(Device {
                    name: given.to_owned(),
                    ..Device::undeclared(&id)
                })
            }
        };
        let id = Text::from(device.id.as_str());
        let number = match self.device_ids.iter().position(|known| *known == id) {
            Some(number) => number,
            None => {
                self.devices.push(device);
                self.device_ids.push(id);
                self.devices.len() - 1
            }
        };
        self.device_by_name.insert(Text::from(given), number);
        Ok(number)
    }

    fn station(&mut self, matched: &StationMatch, named: bool) -> Result<Option<usize>, TakeInError> {
        let Some(given) = &matched.station else {
            return Ok(None);
        };
        if let Some(number) = self.station_by_name.get(given) {
            return Ok(Some(*number));
        }
        let name = if matched.declared || !named {
            given.clone()
        } else {
            let tank = self.site.tank;
            Text::from(self.id_for("station", given, |id| {
                tank.stations.iter().any(|station| station.id == id)
            })?)
        };
        let number = match self.stations.iter().position(|place| place.name == name) {
            Some(number) => number,
            None => {
                let at = self.days.iter().rev().find_map(|(_, _, tank)| {
                    tank.stations()
                        .iter()
                        .find(|station| station.id == name.as_ref())
                        .map(|station| station.at)
                });
                self.stations.push(Place {
                    name,
                    declared: matched.declared,
                    at,
                });
                self.stations.len() - 1
            }
        };
        self.station_by_name.insert(given.clone(), number);
        Ok(Some(number))
    }

    /// The id of an undeclared name; two names that become one id can't be told apart.
    fn id_for(
        &mut self,
        noun: &'static str,
        given: &str,
        taken: impl Fn(&str) -> bool,
    ) -> Result<String, TakeInError> {
        let id = id_from(given);
        let other = match self.renamed.get(&(noun, id.clone())) {
            Some(other) if other.as_ref() != given => Some(other.to_string()),
            None if id != given && taken(&id) => Some(id.clone()),
            _ => None,
        };
        match other {
            Some(other) => Err(TakeInError::NameCollision {
                noun,
                first: other,
                second: given.to_owned(),
                id,
            }),
            None => {
                self.renamed.insert((noun, id.clone()), Text::from(given));
                Ok(id)
            }
        }
    }

    fn unit_code(&mut self, given: Option<&Text>, device: usize) -> Text {
        if let Some(code) = given {
            return code.clone();
        }
        if let Some(code) = &self.devices[device].unit_code {
            return Text::from(code.as_str());
        }
        if !self.unit_assumed.contains(&device) {
            self.unit_assumed.push(device);
        }
        Text::from(UNSTATED_UNIT)
    }

    fn unit(&mut self, code: &Text) -> Option<DeviceUnit> {
        if let Some(unit) = self.units.get(code) {
            return *unit;
        }
        let unit = unit::parse(code);
        self.units.insert(Arc::clone(code), unit);
        unit
    }

    fn chain(
        &mut self,
        device: usize,
        day: Date,
        medium: undim_model::Medium,
        unit: Option<DeviceUnit>,
    ) -> usize {
        let fits = |chain: &Chain| {
            chain.device == device && chain.day == day && chain.medium == medium && chain.unit == unit
        };
        if let Some(number) = self.chains.iter().rposition(fits) {
            return number;
        }
        let when = When {
            day,
            scene: self.scene,
            medium,
        };
        let devices = self.site.devices;
        let prepared = prepare(
            &self.devices[device],
            |id| devices.get(id).map(|d| d.cal_percent),
            unit,
            &when,
        );
        let key = prepared.key();
        self.chains.push(Chain {
            device,
            day,
            medium,
            unit,
            prepared,
            key,
        });
        self.chains.len() - 1
    }
}

impl Stage<'_> {
    /// Undeclared names as given, with the ids made of them.
    pub(crate) fn renamed_names(&self) -> impl Iterator<Item = (String, String)> {
        self.renamed
            .iter()
            .filter(|((_, id), given)| id.as_str() != given.as_ref())
            .map(|((_, id), given)| (given.to_string(), id.clone()))
    }

    /// The corrections that a device was read with, in words.
    pub(crate) fn chains_of(&self, device: usize) -> impl Iterator<Item = String> {
        self.chains
            .iter()
            .filter(move |chain| chain.device == device)
            .map(|chain| chain.prepared.describe().to_owned())
    }

    pub(crate) fn device_id(&self, device: usize) -> &Text {
        &self.device_ids[device]
    }

    /// True where a value goes back to a reference: read by one, or corrected by a fit beside one.
    pub(crate) fn is_tied_to_reference(&self, device: usize, chain: Option<usize>) -> bool {
        self.devices[device].role == Role::Reference
            || chain.is_some_and(|chain| self.chains[chain].prepared.tied_to_reference())
    }

    /// `place_cm` and `rod_cm` of a frame, k = 1.
    pub(crate) fn frame_errors_cm(&self, date: Date, frame: Option<&str>) -> (f64, f64) {
        let frames = valid_on(&self.site.tank.frames, date);
        let found = frames.iter().find(|one| Some(one.id.as_str()) == frame);
        found.map_or((0.0, 0.0), |frame| (frame.place_cm, frame.rod_cm))
    }

    /// The light geometry of a day under the survey's scene, where the tank's measures tell it.
    pub(crate) fn light(&mut self, date: Date, water_cm: Option<f64>) -> Option<Light> {
        let scene = self.scene;
        let number = self.tank_on(date, water_cm);
        let tank = &self.days[number].2;
        tank.light(&tank.levels(scene))
    }

    /// Declared order, then by name.
    pub(crate) fn order_stations(&self, values: &mut [StationValue], date: Date) {
        let declared = valid_on(&self.site.tank.stations, date);
        let rank = |value: &StationValue| {
            declared
                .iter()
                .position(|station| station.id == value.station.as_ref())
                .unwrap_or(usize::MAX)
        };
        values.sort_by(|a, b| (rank(a), &a.station).cmp(&(rank(b), &b.station)));
    }
}
