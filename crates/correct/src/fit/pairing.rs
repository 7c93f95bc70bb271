//! From the readings of two devices to pairs: station by station, or moment by moment where both ran on.

use super::pair::{Pair, Why};
use crate::choose::choose;
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::BTreeMap;
use undim_model::{Correction, Device, DeviceUnit, Factor, Medium, Text};
use undim_stats::robust::{HUBER_K, huber_location, mean_and_sd, median};

/// Fewer pairs by station than this, and the streams are held against each other in time, if both ran on.
const FEWEST_BY_STATION: usize = 3;
/// A stream has as many timed readings.
const FEWEST_IN_STREAM: usize = 8;
/// The reference is interpolated between readings no further apart, seconds.
const LONGEST_GAP_S: f64 = 90.0;
/// A stream gives no more pairs: neighbours in time are averaged.
const MOST_BY_TIME: usize = 200;
/// No value is known better than the tenths of a display: 0.1/√12 (JCGM 100:2008, F.2.2.1).
const LEAST_U: f64 = 0.03;

/// What comes before the fit in a device's chain: its own unit, dark and sensitivity. Spectral and immersion are left
/// at 1, since readings beside a reference under the same light already hold them.
#[derive(Debug, Clone, PartialEq)]
pub struct BeforeFit {
    to_own: f64,
    /// Subtracted, in the device's own unit.
    pub dark: Factor,
    /// Times this; `None` where the device reads in photon flux, or has none.
    pub sensitivity: Option<Factor>,
    scale: f64,
}

impl BeforeFit {
    /// `None` where the file's unit is another quantity than the device's.
    pub fn new(
        device: &Device,
        unit: Option<DeviceUnit>,
        day: Date,
        scene: Option<&str>,
        medium: Medium,
    ) -> Option<Self> {
        let holds: Option<&Correction> = choose(&device.corrections, day, scene, medium)
            .and_then(|choice| device.corrections.get(choice.index));
        let file = unit.or(device.unit).unwrap_or(DeviceUnit::MICROMOL);
        let own = device.unit.unwrap_or(file);
        let to_own = own.factor_from(file)?;
        let nothing = Factor { value: 0.0, u: 0.0 };
        let reads_photon_flux = matches!(own, DeviceUnit::PhotonFlux(_));
        let sensitivity = holds
            .and_then(|correction| correction.sensitivity)
            .filter(|_| !reads_photon_flux);
        Some(Self {
            to_own,
            dark: holds.map_or(nothing, |correction| correction.dark),
            scale: match own {
                DeviceUnit::PhotonFlux(to_micromol) => to_micromol,
                _ => sensitivity.map_or(1.0, |sensitivity| sensitivity.value),
            },
            sensitivity,
        })
    }

    /// v: what the fit is made on.
    pub fn apply(&self, raw: f64) -> f64 {
        (raw * self.to_own - self.dark.value) * self.scale
    }
}

/// A reading of one of the two devices that counts.
#[derive(Debug, Clone, PartialEq)]
pub struct SideReading {
    /// Its station.
    pub station: Option<Text>,
    /// When it was read.
    pub time: Option<Timestamp>,
    /// v for the device, the corrected value for the reference.
    pub value: f64,
}

/// The readings of two devices under one scene.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SideBySideReadings {
    /// The device's.
    pub device: Vec<SideReading>,
    /// The reference's.
    pub reference: Vec<SideReading>,
    /// `repeat_percent` of both.
    pub repeat_percent: [f64; 2],
    /// The scene.
    pub scene: Option<Text>,
}

/// Pairs by station, as burst values; where fewer than three stations were read with both and both ran on, the
/// reference's stream is interpolated to the times of the device's.
pub fn pairs(readings: &SideBySideReadings) -> Vec<Pair> {
    let by_station = by_station(readings);
    if by_station.len() >= FEWEST_BY_STATION {
        return by_station;
    }
    let by_time = by_time(readings);
    if by_time.len() > by_station.len() {
        by_time
    } else {
        by_station
    }
}

struct Burst {
    value: f64,
    u: f64,
    time: Option<Timestamp>,
}

fn bursts(readings: &[SideReading], repeat_percent: f64) -> BTreeMap<Text, Burst> {
    let mut by_station: BTreeMap<Text, Vec<&SideReading>> = BTreeMap::new();
    for reading in readings {
        if let Some(station) = &reading.station {
            by_station.entry(station.clone()).or_default().push(reading);
        }
    }
    (by_station.into_iter())
        .filter_map(|(station, readings)| {
            let values: Vec<f64> = readings.iter().map(|reading| reading.value).collect();
            let (value, u) = location(&values, repeat_percent)?;
            let time = readings.iter().filter_map(|reading| reading.time).min();
            Some((station, Burst { value, u, time }))
        })
        .collect()
}

/// Huber's location of a burst and its standard uncertainty, never below `repeat_percent`/√n.
fn location(values: &[f64], repeat_percent: f64) -> Option<(f64, f64)> {
    let (mean, sd) = mean_and_sd(values)?;
    let n = values.len() as f64;
    let repeat = repeat_percent / 100.0 * mean.abs();
    let value = if values.len() < 3 {
        mean
    } else {
        huber_location(values, sd.max(repeat).max(LEAST_U), HUBER_K)?
    };
    Some((value, (sd.max(repeat) / n.sqrt()).max(LEAST_U)))
}

fn by_station(readings: &SideBySideReadings) -> Vec<Pair> {
    let device = bursts(&readings.device, readings.repeat_percent[0]);
    let mut reference = bursts(&readings.reference, readings.repeat_percent[1]);
    let mut pairs: Vec<Pair> = (device.into_iter())
        .filter_map(|(station, device)| {
            let reference = reference.remove(&station)?;
            let time = device.time;
            let has_times = device.time.is_some() && reference.time.is_some();
            Some(Pair {
                station,
                time,
                scene: readings.scene.clone(),
                device: device.value,
                u_device: Some(device.u),
                reference: reference.value,
                u_reference: Some(reference.u),
                correlation: 0.0,
                reasons: if has_times { vec![] } else { vec![Why::NoTime] },
            })
        })
        .collect();
    pairs.sort_by(|one, other| (one.time, &one.station).cmp(&(other.time, &other.station)));
    pairs
}

/// When, the device's value, the reference's, the station.
type Met = (Timestamp, f64, f64, Option<Text>);

fn by_time(readings: &SideBySideReadings) -> Vec<Pair> {
    let timed = |readings: &[SideReading]| {
        let mut timed: Vec<(Timestamp, f64, Option<Text>)> = (readings.iter())
            .filter_map(|reading| Some((reading.time?, reading.value, reading.station.clone())))
            .collect();
        timed.sort_by_key(|one| one.0);
        timed
    };
    let (device, reference) = (timed(&readings.device), timed(&readings.reference));
    if device.len() < FEWEST_IN_STREAM || reference.len() < FEWEST_IN_STREAM {
        return Vec::new();
    }
    let mut met: Vec<Met> = Vec::new();
    for (time, value, station) in device {
        let after = reference.partition_point(|(at, ..)| *at < time);
        let Some((next, next_value, _)) = reference.get(after) else {
            continue;
        };
        let before = if *next == time {
            Some(after)
        } else {
            after.checked_sub(1)
        };
        let Some((last, last_value, _)) = before.and_then(|before| reference.get(before)) else {
            continue;
        };
        let gap = next.duration_since(*last).as_secs_f64();
        if gap > LONGEST_GAP_S {
            continue;
        }
        let share = if gap > 0.0 {
            time.duration_since(*last).as_secs_f64() / gap
        } else {
            0.0
        };
        met.push((
            time,
            value,
            last_value + share * (next_value - last_value),
            station,
        ));
    }
    let block = met.len().div_ceil(MOST_BY_TIME).max(1);
    (met.chunks(block))
        .filter_map(|block| {
            let n = block.len() as f64;
            let middle = |value: fn(&Met) -> f64| median(&block.iter().map(value).collect::<Vec<_>>());
            let (device, reference) = (middle(|met| met.1)?, middle(|met| met.2)?);
            let first = block.first()?;
            let u = |value: f64, percent: f64| (percent / 100.0 * value.abs() / n.sqrt()).max(LEAST_U);
            let [percent, reference_percent] = readings.repeat_percent;
            Some(Pair {
                station: first.3.clone().unwrap_or_else(|| Text::from(first.0.to_string())),
                time: Some(first.0),
                scene: readings.scene.clone(),
                device,
                u_device: Some(u(device, percent)),
                reference,
                u_reference: Some(u(reference, reference_percent)),
                correlation: 0.0,
                reasons: vec![],
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64, station: &str, value: f64) -> SideReading {
        SideReading {
            station: (!station.is_empty()).then(|| Text::from(station)),
            time: Timestamp::from_second(1_800_000_000 + second).ok(),
            value,
        }
    }

    #[test]
    fn bursts_are_paired_station_by_station() {
        let mut readings = SideBySideReadings {
            repeat_percent: [2.0, 1.0],
            ..SideBySideReadings::default()
        };
        for (number, level) in [100.0, 200.0, 300.0].into_iter().enumerate() {
            let (second, name) = (100 * number as i64, format!("s{number}"));
            for (reading, wobble) in [-1.0, 0.0, 1.0, 40.0].into_iter().enumerate() {
                readings
                    .device
                    .push(at(second + reading as i64, &name, level + wobble));
            }
            readings.reference.push(at(second + 30, &name, level * 1.1));
        }
        readings.device.push(at(900, "alone", 5.0));
        let pairs = pairs(&readings);
        assert_eq!(pairs.len(), 3);
        assert_eq!(&*pairs[1].station, "s1");
        assert!((pairs[1].device - 200.0).abs() < 10.0 && pairs[1].reference == (200.0 * 1.1));
        assert!(pairs[1].u_device.unwrap() >= 0.02 * 200.0 / 2.0);
        assert_eq!(pairs[1].u_reference, Some(0.01 * (200.0 * 1.1)));
    }

    #[test]
    fn two_that_ran_on_are_paired_in_time() {
        let mut readings = SideBySideReadings {
            repeat_percent: [2.0, 1.0],
            ..SideBySideReadings::default()
        };
        for step in 0..60 {
            readings
                .device
                .push(at(10 * step + 5, "", 100.0 + 10.0 * step as f64 + 5.0));
            readings
                .reference
                .push(at(10 * step, "", 200.0 + 20.0 * step as f64));
        }
        let found = pairs(&readings);
        // The last has no reference after it.
        assert_eq!(found.len(), 59);
        for pair in &found {
            assert!((pair.reference - 2.0 * pair.device).abs() < 1e-9);
        }
        // A pause of the reference is not bridged.
        readings.reference.retain(|reading| {
            reading
                .time
                .is_some_and(|time| !(1_800_000_100..1_800_000_300).contains(&time.as_second()))
        });
        assert!(pairs(&readings).len() < 45);
    }

    #[test]
    fn another_quantity_leads_nowhere() {
        let mut device = Device::undeclared("phone");
        let day = jiff::civil::date(2026, 3, 1);
        let before = |device: &Device, unit| BeforeFit::new(device, unit, day, None, Medium::Water);
        assert_eq!(
            before(&device, Some(DeviceUnit::Illuminance(1.0)))
                .unwrap()
                .apply(500.0),
            500.0
        );
        device.unit = Some(DeviceUnit::Voltage(1.0));
        assert!(before(&device, Some(DeviceUnit::Illuminance(1.0))).is_none());
        assert_eq!(
            before(&device, Some(DeviceUnit::Voltage(1000.0)))
                .unwrap()
                .apply(0.5),
            500.0
        );
    }
}
