//! From the times of a file to instants: zones, the hour that comes twice, the hour that is skipped.
//!
//! A wall time in the hour that comes twice takes the first offset unless the order of the file shows the
//! second; one in a skipped hour is moved forward by the size of the gap; both are said (formats, section
//! 10, intake). Zone data is the bundled one only, so that a rebuild can't change with the system's.

use jiff::tz::{AmbiguousOffset, Offset, TimeZone, TimeZoneDatabase};
use jiff::{SignedDuration, Timestamp};
use undim_model::ImportedTime;

/// What there is to say about a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Said {
    /// It came twice; the first was taken.
    FoldFirst,
    /// It came twice; the order of the file shows the second.
    FoldSecond,
    /// The clocks skipped it; it was moved forward.
    GapMovedForward,
}

/// A time with its instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Resolved {
    /// The instant.
    pub timestamp: Timestamp,
    /// What there is to say about it.
    pub said: Option<Said>,
}

/// A time that no calendar holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the time lies outside the years −9999 to 9999; check the time column and its format")]
pub struct OutsideCalendar;

/// Resolves the times of one file, in the order of the file, in constant memory.
///
/// The order shows the second where a wall time in a fold is earlier than the one before it in the same
/// fold, where the one before was already the second, or where the first would lie before the last time
/// outside the fold. A file that comes to a fold from later times runs backwards: its steps back show nothing,
/// and it keeps the first.
#[derive(Debug, Clone)]
pub struct Resolver {
    zone: TimeZone,
    clock_offset_us: i64,
    /// The fold that the last time was in.
    fold: Option<Fold>,
    before: Option<Timestamp>,
    /// The stretch around the last time whose offset is plain: files run on, zones seldom change.
    plain: Option<Plain>,
}

/// What is known inside a fold.
#[derive(Debug, Clone, Copy)]
struct Fold {
    /// The last time in it, taken as the first.
    last_as_first: Timestamp,
    second: bool,
    file_runs_backwards: bool,
}

/// A stretch of wall time, from and until in microseconds, with one offset.
#[derive(Debug, Clone, Copy)]
struct Plain {
    from_us: i64,
    until_us: i64,
    offset: Offset,
}

impl Resolver {
    /// `clock_offset_us` is added to the file's times: to a wall time before its zone is applied.
    pub fn new(zone: TimeZone, clock_offset_us: i64) -> Self {
        Self {
            zone,
            clock_offset_us,
            fold: None,
            before: None,
            plain: None,
        }
    }

    /// The instant of the next time of the file.
    pub fn resolve(&mut self, time: ImportedTime) -> Result<Resolved, OutsideCalendar> {
        let resolved = match time {
            ImportedTime::Instant(us) => Resolved {
                timestamp: self.instant(us)?,
                said: None,
            },
            ImportedTime::Wall(us) => {
                self.wall(us.checked_add(self.clock_offset_us).ok_or(OutsideCalendar)?)?
            }
        };
        self.before = Some(resolved.timestamp);
        Ok(resolved)
    }

    fn instant(&self, us: i64) -> Result<Timestamp, OutsideCalendar> {
        let us = us.checked_add(self.clock_offset_us).ok_or(OutsideCalendar)?;
        Timestamp::from_microsecond(us).map_err(|_| OutsideCalendar)
    }

    fn wall(&mut self, us: i64) -> Result<Resolved, OutsideCalendar> {
        if let Some(plain) = self.plain
            && plain.from_us <= us
            && us < plain.until_us
        {
            self.fold = None;
            let instant = us.checked_sub(micros(plain.offset)).ok_or(OutsideCalendar)?;
            return Ok(Resolved {
                timestamp: Timestamp::from_microsecond(instant).map_err(|_| OutsideCalendar)?,
                said: None,
            });
        }
        // A wall time is written as the instant that it would be at offset zero.
        let wall = Offset::UTC.to_datetime(Timestamp::from_microsecond(us).map_err(|_| OutsideCalendar)?);
        let at = |offset: Offset| offset.to_timestamp(wall).map_err(|_| OutsideCalendar);
        match self.zone.to_ambiguous_timestamp(wall).offset() {
            AmbiguousOffset::Unambiguous { offset } => {
                self.fold = None;
                let timestamp = at(offset)?;
                self.plain = Some(self.plain_around(timestamp, offset));
                Ok(Resolved {
                    timestamp,
                    said: None,
                })
            }
            // With the offset from before the gap the wall clock reads as much later as was skipped.
            AmbiguousOffset::Gap { before, .. } => {
                self.fold = None;
                Ok(Resolved {
                    timestamp: at(before)?,
                    said: Some(Said::GapMovedForward),
                })
            }
            AmbiguousOffset::Fold { before, after } => {
                let (first, second) = (at(before)?, at(after)?);
                let is_second = self.is_second(first, second);
                Ok(Resolved {
                    timestamp: if is_second { second } else { first },
                    said: Some(if is_second {
                        Said::FoldSecond
                    } else {
                        Said::FoldFirst
                    }),
                })
            }
        }
    }

    /// Whether the order of the file shows the second of two instants; remembers the fold.
    fn is_second(&mut self, first: Timestamp, second: Timestamp) -> bool {
        let size = first.duration_until(second);
        let same_fold = self
            .fold
            .filter(|fold| fold.last_as_first.duration_until(first).abs() < size);
        let (is_second, file_runs_backwards) = match same_fold {
            Some(fold) => {
                let stepped_back = first < fold.last_as_first && !fold.file_runs_backwards;
                (fold.second || stepped_back, fold.file_runs_backwards)
            }
            None => match self.before {
                Some(before) => (first < before && before <= second, before > second),
                None => (false, false),
            },
        };
        self.fold = Some(Fold {
            last_as_first: first,
            second: is_second,
            file_runs_backwards,
        });
        is_second
    }

    /// The wall times around an instant that one offset holds for and no other: from the change of the zone
    /// before it to the one after it, without what a fold or a gap touches.
    fn plain_around(&self, instant: Timestamp, offset: Offset) -> Plain {
        let offset_us = micros(offset);
        let nanosecond = SignedDuration::from_nanos(1);
        // `preceding` leaves out a change at the very instant, so it is asked a moment later.
        let later = instant.checked_add(nanosecond).unwrap_or(instant);
        let from_us = self.zone.preceding(later).next().map_or(i64::MIN, |change| {
            let earlier = change.timestamp().checked_sub(nanosecond);
            let offset_before = earlier.map_or(offset, |earlier| self.zone.to_offset(earlier));
            change
                .timestamp()
                .as_microsecond()
                .saturating_add(offset_us.max(micros(offset_before)))
        });
        let until_us = self.zone.following(instant).next().map_or(i64::MAX, |change| {
            change
                .timestamp()
                .as_microsecond()
                .saturating_add(offset_us.min(micros(change.offset())))
        });
        Plain {
            from_us,
            until_us,
            offset,
        }
    }
}

fn micros(offset: Offset) -> i64 {
    i64::from(offset.seconds()) * 1_000_000
}

/// A zone by its IANA name (bundled data only), or a fixed offset such as `+01:00`.
pub fn zone(name: &str) -> Option<TimeZone> {
    if let Some(seconds) = offset_seconds(name) {
        return Some(TimeZone::fixed(Offset::from_seconds(seconds).ok()?));
    }
    TimeZoneDatabase::bundled().get(name).ok()
}

/// `±HH:MM` (also `±HHMM`, `±HH`, `Z`) as seconds east.
fn offset_seconds(text: &str) -> Option<i32> {
    let two = |tens: u8, ones: u8| {
        (tens.is_ascii_digit() && ones.is_ascii_digit())
            .then(|| i32::from(tens - b'0') * 10 + i32::from(ones - b'0'))
    };
    let (sign, hours, minutes) = match *text.as_bytes() {
        [b'Z' | b'z'] => return Some(0),
        [sign, h1, h2] => (sign, two(h1, h2)?, 0),
        [sign, h1, h2, m1, m2] | [sign, h1, h2, b':', m1, m2] => (sign, two(h1, h2)?, two(m1, m2)?),
        _ => return None,
    };
    if hours > 18 || minutes > 59 {
        return None;
    }
    match sign {
        b'+' => Some(hours * 3600 + minutes * 60),
        b'-' => Some(-hours * 3600 - minutes * 60),
        _ => None,
    }
}

#[cfg(test)]
mod tests;
