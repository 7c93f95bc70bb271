//! Repeat: the same reading again.
//!
//! - **Flags** `repeat` on a reading with the device, time, place and value of one already taken in; bad.
//! - **Why**: an export that overlaps the one before it must not count twice.
//! - **Example**: a logger that writes its whole memory each time.
//! - **Limits**: the first taken in stays good. Readings without a time of their own are never repeats: a
//!   hand-typed burst of equal values is no repeat.
//! - **Source**: formats, section 10, flags.

use jiff::Timestamp;
use std::collections::HashSet;
use std::hash::{BuildHasherDefault, DefaultHasher};

/// Finds repeats among readings that come in order of time, those of one time in order of arrival. Holds no
/// more than the readings of one instant.
#[derive(Debug, Default)]
pub struct Repeats {
    time: Option<Timestamp>,
    /// A fixed hasher: the answer never depends on it, and it costs no random numbers.
    seen: HashSet<Key, BuildHasherDefault<DefaultHasher>>,
}

#[derive(Debug, PartialEq, Eq, Hash)]
struct Key {
    device: String,
    station: Option<String>,
    place: [Option<u64>; 3],
    value: u64,
}

impl Repeats {
    /// True where this reading was there before; else it is remembered.
    pub fn is_repeat(
        &mut self,
        time: Option<Timestamp>,
        device: &str,
        place: [Option<f64>; 3],
        station: Option<&str>,
        value: f64,
    ) -> bool {
        let Some(time) = time else { return false };
        if self.time != Some(time) {
            self.time = Some(time);
            self.seen.clear();
        }
        let bits = |number: f64| if number == 0.0 { 0 } else { number.to_bits() };
        !self.seen.insert(Key {
            device: device.to_owned(),
            station: station.map(str::to_owned),
            place: place.map(|coordinate| coordinate.map(bits)),
            value: bits(value),
        })
    }

    /// How many readings are remembered.
    pub fn remembered(&self) -> usize {
        self.seen.len()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_same_in_everything_is_a_repeat() {
        let at = |second| Some(Timestamp::from_second(second).unwrap());
        let place = [Some(1.0), Some(2.0), None];
        let mut repeats = Repeats::default();
        assert!(!repeats.is_repeat(at(1), "phone", place, Some("a"), 100.0));
        assert!(repeats.is_repeat(at(1), "phone", place, Some("a"), 100.0));
        assert!(!repeats.is_repeat(at(1), "phone", place, Some("a"), 100.5));
        assert!(!repeats.is_repeat(at(1), "sensor", place, Some("a"), 100.0));
        assert!(!repeats.is_repeat(
            at(1),
            "phone",
            [Some(1.0), Some(2.0), Some(0.0)],
            Some("a"),
            100.0
        ));
        assert!(!repeats.is_repeat(at(2), "phone", place, Some("a"), 100.0));
        assert_eq!(repeats.remembered(), 1);
        assert!(!repeats.is_repeat(None, "phone", place, Some("a"), 100.0));
        assert!(!repeats.is_repeat(None, "phone", place, Some("a"), 100.0));
    }
}
