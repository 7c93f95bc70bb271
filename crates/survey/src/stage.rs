//! One reading's way through cleaning, correcting and placing.

use crate::at_source::{AtSource, Placed, Today, stated_in};
use crate::register::Register;
use crate::source::{Source, TimedRow};
use crate::{TakeInError, local_date};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use std::rc::Rc;
use undim_clean::{range, tilt};
use undim_correct::{Prepared, When, prepare};
use undim_model::{
    Device, DeviceUnit, Flag, ImportedRow, Measured, Medium, Reading, Reason, Reasons, StationValue, Tank,
    Text, valid_on,
};
use undim_place::light::Light;
use undim_place::{TankOnDay, face};

/// Fixtures read sooner than this after switching on are still settling (common practice, no source).
pub const WARM_UP_MIN: f64 = 20.0;

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

/// A reading, judged by itself; its burst has not been looked at. Names are numbers of the [`Register`].
pub(crate) struct Seen {
    pub(crate) row: u64,
    pub(crate) time: Option<Timestamp>,
    /// `None` for a missing value.
    pub(crate) raw: Option<f64>,
    pub(crate) unit: usize,
    pub(crate) device: usize,
    pub(crate) placed: Placed,
    pub(crate) value: Option<Measured>,
    /// Relative standard uncertainty from the tilt.
    pub(crate) u_tilt: f64,
    /// Number of the chain that corrected it in [`Stage::chains`].
    pub(crate) chain: usize,
    pub(crate) flag: Flag,
    pub(crate) reasons: Reasons,
}

/// The tables that readings are looked up in; filled as they come, in order of time.
pub(crate) struct Stage<'a> {
    site: SiteView<'a>,
    scene: Option<&'a str>,
    pub(crate) register: Register<'a>,
    pub(crate) chains: Vec<Chain>,
    /// The tank on the present day, with each water level that a note gives.
    tanks: Vec<(Date, Option<f64>, Rc<TankOnDay>)>,
}

/// A prepared correction and what it was prepared for.
pub(crate) struct Chain {
    device: usize,
    /// The last day it holds for as far as was looked.
    day: Date,
    medium: Medium,
    unit: Option<DeviceUnit>,
    pub(crate) prepared: Prepared,
    pub(crate) key: Text,
}

impl<'a> Stage<'a> {
    pub(crate) fn new(site: SiteView<'a>, scene: Option<&'a str>) -> Self {
        Self {
            site,
            scene,
            register: Register::new(site),
            chains: Vec::new(),
            tanks: Vec::new(),
        }
    }

    /// Takes one row as far as it can go by itself.
    pub(crate) fn see(
        &mut self,
        source: &Source<'a>,
        at: &mut AtSource,
        timed: &TimedRow,
    ) -> Result<Seen, TakeInError> {
        let row = &timed.row;
        let day = self.turn_to(source, at, timed.counted)?;
        let device = self.device(at, row)?;
        let placed = match at.remembered(row, device) {
            Some(placed) => placed,
            None => self.place(source, at, row, device)?,
        };
        let unit = self.unit(at, row, device)?;
        let mut seen = Seen {
            row: row.row,
            time: timed.time,
            raw: row.value.filter(|value| value.is_finite()),
            unit,
            device,
            placed,
            value: None,
            u_tilt: 0.0,
            chain: usize::MAX,
            flag: Flag::Good,
            reasons: timed.reasons.union(placed.reasons),
        };
        if at.warm_up {
            seen.reasons.add(Reason::WarmUp);
        }
        match seen.raw {
            None => seen.reasons.add(Reason::MissingValue),
            Some(raw) => self.test_and_correct(&mut seen, raw, row.tilt_deg, day),
        }
        seen.flag = seen.reasons.flag_from(seen.flag);
        Ok(seen)
    }

    fn test_and_correct(&mut self, seen: &mut Seen, raw: f64, tilt_deg: Option<f64>, day: Date) {
        let unit = self.register.units[seen.unit].parsed;
        let device = &self.register.devices[seen.device].device;
        // A number in another quantity, or in a unit that nobody knows, can't be held against the range.
        let in_own_unit = match (device.unit, unit) {
            (Some(own), Some(given)) => own.factor_from(given).map(|factor| raw * factor),
            (Some(_), None) => None,
            (None, _) => Some(raw),
        };
        let tests = [
            in_own_unit.and_then(|raw| range::gross_range(raw, device.range)),
            tilt_deg.and_then(|tilt_deg| tilt::tilt(tilt_deg, device.max_tilt_deg)),
        ];
        seen.reasons = tests.into_iter().flatten().fold(seen.reasons, Reasons::with);
        seen.u_tilt = tilt_deg.map_or(0.0, |tilt_deg| undim_correct::u_of_tilt(&device.cosine, tilt_deg));
        seen.chain = self.chain(seen.device, day, seen.placed.medium, unit);
        let corrected = self.chains[seen.chain].prepared.apply(raw);
        seen.reasons = seen.reasons.union(corrected.reasons);
        seen.value = corrected.ppfd.map(|ppfd| Measured {
            ppfd,
            u_own: (corrected.u_repeat)
                .hypot(ppfd * seen.placed.u_place)
                .hypot(ppfd * seen.u_tilt),
            u_shared: corrected.shared.total().hypot(ppfd * seen.placed.u_rod),
        });
        if seen.value.is_none() {
            seen.flag = Flag::NotEvaluated;
        }
    }

    /// What is written of a reading, with what its burst told.
    pub(crate) fn reading(&self, at: &AtSource, seen: &Seen, told: Reasons) -> Reading {
        let register = &self.register;
        let reasons = seen.reasons.union(told);
        Reading {
            source: at.path.clone(),
            row: seen.row,
            time: seen.time,
            device: register.device_id(seen.device).clone(),
            station: (seen.placed.station).map(|number| register.stations[number].name.clone()),
            position_cm: seen.placed.position_cm,
            raw: seen.raw,
            raw_unit: seen.raw.map(|_| register.units[seen.unit].code.clone()),
            value: seen.value,
            flag: reasons.flag_from(seen.flag),
            reasons,
        }
    }

    /// The day of the site's zone; the tank and the frame as they are then.
    fn turn_to(
        &mut self,
        source: &Source<'a>,
        at: &mut AtSource,
        time: Timestamp,
    ) -> Result<Date, TakeInError> {
        if let Some(today) = &at.today
            && today.from <= time
            && time < today.until
        {
            return Ok(today.date);
        }
        let date = local_date(time, self.site.zone);
        let bound = |day: Date| self.site.zone.to_timestamp(day.at(0, 0, 0, 0)).ok();
        // At the calendar's ends a day has no bounds and is looked up again for every reading.
        let from = bound(date).unwrap_or(time);
        let until = date.tomorrow().ok().and_then(bound).unwrap_or(time);
        let tank = self.tank_on(date, source.water_cm);
        let frame = tank
            .frame(source.frame.as_deref())
            .map_err(|error| TakeInError::Frame {
                path: source.file.path.to_string(),
                text: error.to_string(),
            })?;
        let light = if frame.place_cm > 0.0 || frame.rod_cm > 0.0 {
            tank.light(&tank.levels(self.scene))
        } else {
            None
        };
        at.turn_to(Today {
            from,
            until,
            date,
            tank,
            frame,
            light,
        });
        Ok(date)
    }

    /// Readings come in order of time: what is known of days gone by is let go.
    fn tank_on(&mut self, day: Date, water_cm: Option<f64>) -> Rc<TankOnDay> {
        let water_cm = water_cm.filter(|water| water.is_finite());
        self.tanks.retain(|(for_day, ..)| *for_day == day);
        let known = self.tanks.iter().find(|(_, water, _)| *water == water_cm);
        if let Some((.., tank)) = known {
            return Rc::clone(tank);
        }
        let tank = Rc::new(TankOnDay::new(self.site.tank, day, water_cm));
        self.tanks.push((day, water_cm, Rc::clone(&tank)));
        tank
    }

    fn device(&mut self, at: &mut AtSource, row: &ImportedRow) -> Result<usize, TakeInError> {
        let name = at.device_name(row);
        if let Some((last, number)) = &at.last_device
            && last.as_ref() == name
        {
            return Ok(*number);
        }
        let name = name.cloned();
        let number = self.register.device(name.as_ref())?;
        let known = &self.register.devices[number];
        if let Some(given) = &name
            && !known.device.declared
        {
            at.note_name(given, &known.id);
        }
        at.last_device = Some((name, number));
        Ok(number)
    }

    fn unit(&mut self, at: &mut AtSource, row: &ImportedRow, device: usize) -> Result<usize, TakeInError> {
        if let (Some((last, number)), Some(code)) = (&at.last_unit, &row.unit)
            && last == code
        {
            return Ok(*number);
        }
        let stated = stated_in(row.unit.as_ref());
        let number = self.register.unit(stated, device)?;
        at.last_unit = stated.map(|code| (code.clone(), number)).or(at.last_unit.take());
        Ok(number)
    }

    /// Where a row lies, and which station it belongs to.
    fn place(
        &mut self,
        source: &Source<'a>,
        at: &mut AtSource,
        row: &ImportedRow,
        device: usize,
    ) -> Result<Placed, TakeInError> {
        let Some(today) = &at.today else {
            // Every reading turns to its day before.
            return Ok(Placed::NOWHERE);
        };
        let noted = today.frame.to_tank([row.x, row.y, row.z], source.length_units);
        let face = face(noted, self.register.devices[device].device.face_offset_cm);
        let name = at.station_name(row).cloned();
        let matched = today.tank.station(noted, face, name.as_deref());
        let declared_at = (today.tank.stations().iter())
            .find(|station| matched.declared && Some(station.id.as_str()) == matched.station.as_deref())
            .map(|station| station.at);
        let mut reasons = matched.reasons;
        if today.tank.is_outside(matched.position_cm) {
            reasons.add(Reason::OutsideTank);
        }
        let [u_place, u_rod] = (matched.at)
            .and_then(|at| today.light.as_ref()?.gradient_per_cm(at))
            .map_or([0.0; 2], |[left, up, back]| {
                [
                    left.hypot(up).hypot(back) * today.frame.place_cm,
                    up.abs() * today.frame.rod_cm,
                ]
            });
        let medium = today.tank.medium(matched.position_cm[1]);
        let station = self.register.station(&matched, declared_at)?;
        if let (Some(number), Some(given), false) = (station, &name, matched.declared) {
            at.note_name(given, &self.register.stations[number].name);
        }
        let placed = Placed {
            station,
            position_cm: matched.position_cm,
            medium,
            reasons,
            u_place,
            u_rod,
        };
        at.remember(row, device, placed);
        Ok(placed)
    }

    fn chain(&mut self, device: usize, day: Date, medium: Medium, unit: Option<DeviceUnit>) -> usize {
        let fits = |chain: &Chain| chain.device == device && chain.medium == medium && chain.unit == unit;
        let last = self.chains.iter().rposition(fits);
        if let Some(number) = last
            && self.chains[number].day == day
        {
            return number;
        }
        let when = When {
            day,
            scene: self.scene,
            medium,
        };
        let devices = self.site.devices;
        let prepared = prepare(
            &self.register.devices[device].device,
            |id| devices.get(id).map(|d| d.cal_percent),
            unit,
            &when,
        );
        if let Some(number) = last
            && self.chains[number].prepared == prepared
        {
            self.chains[number].day = day;
            return number;
        }
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

    /// True where a value goes back to a reference: read by one, or corrected by a fit beside one.
    pub(crate) fn is_tied_to_reference(&self, device: usize, chain: Option<usize>) -> bool {
        self.register.is_reference(device)
            || chain.is_some_and(|chain| self.chains[chain].prepared.tied_to_reference())
    }

    /// The corrections that a device was read with, in words, each once.
    pub(crate) fn corrections_of(&self, device: usize) -> Vec<String> {
        let mut described: Vec<String> = Vec::new();
        for chain in self.chains.iter().filter(|chain| chain.device == device) {
            let text = chain.prepared.describe();
            if !described.iter().any(|known| known == text) {
                described.push(text.to_owned());
            }
        }
        described
    }

    /// The light geometry of a day under the survey's scene, where the tank's measures tell it.
    pub(crate) fn light(&mut self, date: Date, water_cm: Option<f64>) -> Option<Light> {
        let tank = self.tank_on(date, water_cm);
        tank.light(&tank.levels(self.scene))
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
        values.sort_by_cached_key(|value| (rank(value), value.station.clone()));
    }
}
