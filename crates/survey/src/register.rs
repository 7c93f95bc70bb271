//! The devices, stations and units of a survey by the numbers that its readings carry.

use crate::TakeInError;
use crate::names::id_from;
use crate::stage::SiteView;
use std::borrow::Cow;
use std::collections::{BTreeMap, HashMap};
use undim_clean::unit;
use undim_model::{Device, DeviceUnit, Position, Role, Text};
use undim_place::StationMatch;

/// What a light value without any unit is taken to be in; said as assumed.
const UNSTATED_UNIT: &str = "umol.m-2.s-1";
/// The device of readings that nobody gave a device for.
const UNKNOWN_DEVICE: &str = "unknown-device";

/// A survey has no more places than this; a file with more has no places that are read again.
pub const MOST_STATIONS: usize = 20_000;
/// A survey is read with no more devices than this.
pub const MOST_DEVICES: usize = 500;
/// Nor in more units.
pub const MOST_UNITS: usize = 500;

/// A device as it is used.
pub(crate) struct KnownDevice<'a> {
    pub(crate) id: Text,
    pub(crate) device: Cow<'a, Device>,
    /// The unit of its readings where a file states none.
    unit: Option<usize>,
}

/// A place that readings belong to.
pub(crate) struct Place {
    pub(crate) name: Text,
    pub(crate) declared: bool,
    /// Where it lies, if it is declared.
    pub(crate) at: Option<Position>,
}

/// A unit as a file or device writes it.
pub(crate) struct KnownUnit {
    pub(crate) code: Text,
    pub(crate) parsed: Option<DeviceUnit>,
    /// The first unit that means the same.
    pub(crate) same_as: usize,
}

/// Filled as the readings come, in their order.
pub(crate) struct Register<'a> {
    site: SiteView<'a>,
    pub(crate) devices: Vec<KnownDevice<'a>>,
    device_numbers: HashMap<Text, usize>,
    pub(crate) stations: Vec<Place>,
    station_numbers: HashMap<Text, usize>,
    pub(crate) units: Vec<KnownUnit>,
    unit_numbers: HashMap<Text, usize>,
    /// The first name as given, by noun and the id made of it.
    given: BTreeMap<(&'static str, String), Text>,
    /// Devices whose unit was assumed.
    pub(crate) unit_assumed: Vec<usize>,
}

impl<'a> Register<'a> {
    pub(crate) fn new(site: SiteView<'a>) -> Self {
        Self {
            site,
            devices: Vec::new(),
            device_numbers: HashMap::new(),
            stations: Vec::new(),
            station_numbers: HashMap::new(),
            units: Vec::new(),
            unit_numbers: HashMap::new(),
            given: BTreeMap::new(),
            unit_assumed: Vec::new(),
        }
    }

    /// A file's devices match an id, then a name; an undeclared name makes a device of its own.
    pub(crate) fn device(&mut self, name: Option<&Text>) -> Result<usize, TakeInError> {
        let given = name.map_or(UNKNOWN_DEVICE, |name| name);
        if let Some(number) = self.device_numbers.get(given) {
            return Ok(*number);
        }
        let all = self.site.devices;
        let declared = all
            .get(given)
            .or_else(|| all.values().find(|device| device.name == given));
        let device = match declared {
            Some(device) => Cow::Borrowed(device),
            None => {
                let id = self.id_for("device", given, |id| all.contains_key(id))?;
                Cow::Owned(Device {
                    name: given.to_owned(),
                    ..Device::undeclared(&id)
                })
            }
        };
        let id = Text::from(device.id.as_str());
        let number = match self.device_numbers.get(&id) {
            Some(number) => *number,
            None if self.devices.len() >= MOST_DEVICES => return Err(TakeInError::TooManyDevices),
            None => {
                let unit = match &device.unit_code {
                    Some(code) => Some(self.unit_number(&Text::from(code.as_str()))?),
                    None => None,
                };
                let number = self.devices.len();
                self.device_numbers.insert(id.clone(), number);
                self.devices.push(KnownDevice { id, device, unit });
                number
            }
        };
        self.device_numbers.insert(Text::from(given), number);
        Ok(number)
    }

    /// The station that was matched; `at` is where it lies, if it is declared.
    pub(crate) fn station(
        &mut self,
        matched: &StationMatch,
        at: Option<Position>,
    ) -> Result<Option<usize>, TakeInError> {
        let Some(given) = &matched.station else {
            return Ok(None);
        };
        if let Some(number) = self.station_numbers.get(given) {
            return Ok(Some(*number));
        }
        let name = if matched.declared {
            given.clone()
        } else {
            let declared = &self.site.tank.stations;
            Text::from(self.id_for("station", given, |id| {
                declared.iter().any(|station| station.id == id)
            })?)
        };
        let number = match self.station_numbers.get(&name) {
            Some(number) => *number,
            None if self.stations.len() >= MOST_STATIONS => return Err(TakeInError::TooManyStations),
            None => {
                self.station_numbers.insert(name.clone(), self.stations.len());
                self.stations.push(Place {
                    name,
                    declared: matched.declared,
                    at,
                });
                self.stations.len() - 1
            }
        };
        self.station_numbers.insert(given.clone(), number);
        Ok(Some(number))
    }

    /// The unit that a row states, else the device's, else the assumed one.
    pub(crate) fn unit(&mut self, stated: Option<&Text>, device: usize) -> Result<usize, TakeInError> {
        if let Some(code) = stated {
            return self.unit_number(code);
        }
        if let Some(unit) = self.devices[device].unit {
            return Ok(unit);
        }
        if !self.unit_assumed.contains(&device) {
            self.unit_assumed.push(device);
        }
        let unit = self.unit_number(&Text::from(UNSTATED_UNIT))?;
        self.devices[device].unit = Some(unit);
        Ok(unit)
    }

    fn unit_number(&mut self, code: &Text) -> Result<usize, TakeInError> {
        if let Some(number) = self.unit_numbers.get(code) {
            return Ok(*number);
        }
        let number = self.units.len();
        if number >= MOST_UNITS {
            return Err(TakeInError::TooManyUnits);
        }
        let parsed = unit::parse(code);
        let alike = |known: &KnownUnit| parsed.is_some() && known.parsed == parsed;
        self.units.push(KnownUnit {
            code: code.clone(),
            parsed,
            same_as: self.units.iter().position(alike).unwrap_or(number),
        });
        self.unit_numbers.insert(code.clone(), number);
        Ok(number)
    }

    /// The id of an undeclared name; two names that become one id can't be told apart.
    fn id_for(
        &mut self,
        noun: &'static str,
        given: &str,
        is_declared: impl Fn(&str) -> bool,
    ) -> Result<String, TakeInError> {
        let id = id_from(given);
        let other = match self.given.get(&(noun, id.clone())) {
            Some(other) if other.as_ref() != given => Some(other.to_string()),
            None if id != given && is_declared(&id) => Some(id.clone()),
            _ => None,
        };
        match other {
            Some(first) => Err(TakeInError::NameCollision {
                noun,
                first,
                second: given.to_owned(),
                id,
            }),
            None => {
                self.given.insert((noun, id.clone()), Text::from(given));
                Ok(id)
            }
        }
    }

    pub(crate) fn device_id(&self, device: usize) -> &Text {
        &self.devices[device].id
    }

    pub(crate) fn is_reference(&self, device: usize) -> bool {
        self.devices[device].device.role == Role::Reference
    }
}
