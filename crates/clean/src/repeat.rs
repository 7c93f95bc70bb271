//! Repeat: the same reading again.
//!
//! - **Flags** `repeat` on a reading with the device, time, place and value of one already taken in; bad.
//! - **Why**: an export that overlaps the one before it must not count twice.
//! - **Example**: a logger that writes its whole memory each time.
//! - **Limits**: the first taken in stays good. Readings without a time of their own are never repeats: a
//!   hand-typed burst of equal values is no repeat. Of one instant no more than [`MOST_REMEMBERED`] different
//!   readings are remembered.
//! - **Source**: formats, section 10, flags.

use jiff::Timestamp;
use std::collections::HashSet;
use std::hash::{BuildHasherDefault, DefaultHasher};

/// Different readings of one instant beyond these are not remembered, so that a log whose times are all the
/// same needs no more memory than others.
pub const MOST_REMEMBERED: usize = 200_000;

/// So few readings are sooner compared one by one than hashed.
const FEW: usize = 16;

/// What has to be the same in a repeat, beside the time. Device, station and unit are numbers that the caller
/// gives to their names.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Taken {
    /// Which device.
    pub device: usize,
    /// Which station, if any.
    pub station: Option<usize>,
    /// Where, cm.
    pub position_cm: [Option<f64>; 3],
    /// What it gave.
    pub value: f64,
    /// In which unit.
    pub unit: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
struct Key {
    value: u64,
    position: [Option<u64>; 3],
    device: usize,
    station: Option<usize>,
    unit: usize,
}

impl From<Taken> for Key {
    fn from(taken: Taken) -> Self {
        let bits = |number: f64| if number == 0.0 { 0 } else { number.to_bits() };
        Self {
            value: bits(taken.value),
            position: taken.position_cm.map(|coordinate| coordinate.map(bits)),
            device: taken.device,
            station: taken.station,
            unit: taken.unit,
        }
    }
}

/// Finds repeats among readings that come in order of time, those of one time in order of arrival. Holds no
/// more than the readings of one instant.
#[derive(Debug, Default)]
pub struct Repeats {
    time: Option<Timestamp>,
    few: Vec<Key>,
    /// Those beyond the few. A fixed hasher: the answer never depends on it.
    more: HashSet<Key, BuildHasherDefault<DefaultHasher>>,
}

impl Repeats {
    /// True where this reading was there before; else it is remembered.
    pub fn is_repeat(&mut self, time: Option<Timestamp>, taken: Taken) -> bool {
        let Some(time) = time else { return false };
        if self.time != Some(time) {
            self.time = Some(time);
            self.few.clear();
            if !self.more.is_empty() {
                // Made anew: clearing costs as much as it ever held, for every instant that follows.
                self.more = HashSet::default();
            }
        }
        let key = Key::from(taken);
        if self.few.contains(&key) {
            return true;
        }
        if self.few.len() < FEW {
            self.few.push(key);
            return false;
        }
        if self.remembered() < MOST_REMEMBERED {
            !self.more.insert(key)
        } else {
            self.more.contains(&key)
        }
    }

    /// How many readings are remembered.
    pub fn remembered(&self) -> usize {
        self.few.len() + self.more.len()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_second(second).unwrap()
    }

    fn taken(value: f64) -> Taken {
        Taken {
            device: 0,
            station: Some(0),
            position_cm: [Some(1.0), Some(2.0), None],
            value,
            unit: 0,
        }
    }

    #[test]
    fn only_the_same_in_everything_is_a_repeat() {
        let first = taken(100.0);
        let others = [
            taken(100.5),
            Taken { device: 1, ..first },
            Taken {
                station: None,
                ..first
            },
            Taken {
                position_cm: [Some(1.0), Some(2.0), Some(0.0)],
                ..first
            },
            Taken { unit: 1, ..first },
        ];
        let mut repeats = Repeats::default();
        assert!(!repeats.is_repeat(Some(at(1)), first));
        assert!(repeats.is_repeat(Some(at(1)), first));
        for other in others {
            assert!(!repeats.is_repeat(Some(at(1)), other), "{other:?}");
            assert!(repeats.is_repeat(Some(at(1)), other), "{other:?}");
        }
        assert!(!repeats.is_repeat(Some(at(2)), first));
        assert_eq!(repeats.remembered(), 1);
        assert!(!repeats.is_repeat(None, first));
        assert!(!repeats.is_repeat(None, first));
    }

    #[test]
    fn nought_is_nought_with_either_sign() {
        let mut repeats = Repeats::default();
        assert!(!repeats.is_repeat(Some(at(1)), taken(0.0)));
        assert!(repeats.is_repeat(Some(at(1)), taken(-0.0)));
    }

    #[test]
    fn many_readings_of_one_instant_are_remembered_up_to_a_limit() {
        let mut repeats = Repeats::default();
        let many = MOST_REMEMBERED as u32 + 100;
        assert!((0..many).all(|value| !repeats.is_repeat(Some(at(1)), taken(f64::from(value)))));
        assert_eq!(repeats.remembered(), MOST_REMEMBERED);
        assert!((0..200_000_u32).all(|value| repeats.is_repeat(Some(at(1)), taken(f64::from(value)))));
        // What is beyond it stays good rather than being taken for something it may not be.
        assert!(!repeats.is_repeat(Some(at(1)), taken(f64::from(many - 1))));
        assert!(!repeats.is_repeat(Some(at(2)), taken(1.0)));
        assert_eq!(repeats.remembered(), 1);
    }
}
