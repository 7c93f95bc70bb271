//! From the times of a file to instants: zones, the hour that comes twice, the hour that is skipped.
//!
//! A wall time in the hour that comes twice takes the first offset unless the order of the file shows the
//! second; one in a skipped hour is moved forward by the size of the gap; both are said (formats, section
//! 10, intake). Zone data is the bundled one only, so that a rebuild can't change with the system's.

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, Offset, TimeZone, TimeZoneDatabase};
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
#[error("the time lies outside the years −9999 to 9999")]
pub struct OutsideCalendar;

/// Resolves the times of one file, in the order of the file.
#[derive(Debug, Clone)]
pub struct Resolver {
    zone: TimeZone,
    clock_offset_us: i64,
    /// The last wall time that came twice, and whether it was taken as the second.
    in_fold: Option<(DateTime, bool)>,
    before: Option<Timestamp>,
    /// The wall hours around the last time whose offset is plain: files run on, zones seldom change.
    plain: Option<Plain>,
}

/// A stretch of wall time with one offset.
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
            in_fold: None,
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
            let timestamp = us
                .checked_sub(i64::from(plain.offset.seconds()) * 1_000_000)
                .ok_or(OutsideCalendar)?;
            self.in_fold = None;
            let timestamp = Timestamp::from_microsecond(timestamp).map_err(|_| OutsideCalendar)?;
            return Ok(Resolved {
                timestamp,
                said: None,
            });
        }
        // A wall time is written as the instant that it would be at offset zero.
        let wall = Offset::UTC.to_datetime(Timestamp::from_microsecond(us).map_err(|_| OutsideCalendar)?);
        let at = |offset: Offset| offset.to_timestamp(wall).map_err(|_| OutsideCalendar);
        match self.zone.to_ambiguous_timestamp(wall).offset() {
            AmbiguousOffset::Unambiguous { offset } => {
                self.in_fold = None;
                self.remember_plain(us, offset);
                Ok(Resolved {
                    timestamp: at(offset)?,
                    said: None,
                })
            }
            // With the offset from before the gap the wall clock reads as much later as was skipped.
            AmbiguousOffset::Gap { before, .. } => Ok(Resolved {
                timestamp: at(before)?,
                said: Some(Said::GapMovedForward),
            }),
            AmbiguousOffset::Fold { before, after } => {
                let first = at(before)?;
                let second = match self.in_fold {
                    Some((last, was_second)) => was_second || wall < last,
                    None => self
                        .before
                        .is_some_and(|earlier| first < earlier && at(after).is_ok_and(|t| t >= earlier)),
                };
                self.in_fold = Some((wall, second));
                let said = if second { Said::FoldSecond } else { Said::FoldFirst };
                Ok(Resolved {
                    timestamp: if second { at(after)? } else { first },
                    said: Some(said),
                })
            }
        }
    }

    /// The hour of wall time around `us` is plain if both its ends are, with the same offset.
    fn remember_plain(&mut self, us: i64, offset: Offset) {
        const HOUR_US: i64 = 3_600_000_000;
        let from_us = us.div_euclid(HOUR_US) * HOUR_US;
        let until_us = from_us.saturating_add(HOUR_US);
        let plain_at = |us: i64| {
            Timestamp::from_microsecond(us).is_ok_and(|instant| {
                let ambiguous = self
                    .zone
                    .to_ambiguous_timestamp(Offset::UTC.to_datetime(instant))
                    .offset();
                matches!(ambiguous, AmbiguousOffset::Unambiguous { offset: there } if there == offset)
            })
        };
        // Zones change on quarters of an hour; four looks and the end see every change within it.
        let quarters = [0, 15, 30, 45].map(|minutes| from_us.saturating_add(minutes * 60_000_000));
        if quarters
            .into_iter()
            .chain([until_us.saturating_sub(1)])
            .all(plain_at)
        {
            self.plain = Some(Plain {
                from_us,
                until_us,
                offset,
            });
        }
    }
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
    if text == "Z" || text == "z" {
        return Some(0);
    }
    let sign = match text.as_bytes().first()? {
        b'+' => 1,
        b'-' => -1,
        _ => return None,
    };
    let digits: String = text.get(1..)?.chars().filter(|c| *c != ':').collect();
    let (hours, minutes) = match digits.len() {
        2 => (digits.as_str(), "0"),
        4 => digits.split_at(2),
        _ => return None,
    };
    let (hours, minutes): (i32, i32) = (hours.parse().ok()?, minutes.parse().ok()?);
    (hours <= 18 && minutes < 60).then_some(sign * (hours * 3600 + minutes * 60))
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn wall(at: DateTime) -> ImportedTime {
        ImportedTime::Wall(Offset::UTC.to_timestamp(at).unwrap().as_microsecond())
    }

    fn run(zone_name: &str, walls: &[DateTime]) -> Vec<(String, Option<Said>)> {
        let mut resolver = Resolver::new(zone(zone_name).unwrap(), 0);
        walls
            .iter()
            .map(|at| {
                let resolved = resolver.resolve(wall(*at)).unwrap();
                (resolved.timestamp.to_string(), resolved.said)
            })
            .collect()
    }

    #[test]
    fn an_hour_that_comes_twice_takes_the_first_unless_the_file_shows_the_second() {
        // Central European Summer Time ended on 2026-10-25 at 03:00, when the clocks went back to 02:00.
        let day = date(2026, 10, 25);
        let seen = run(
            "Europe/Berlin",
            &[
                day.at(1, 59, 0, 0),
                day.at(2, 30, 0, 0),
                day.at(2, 59, 0, 0),
                day.at(2, 10, 0, 0),
                day.at(2, 40, 0, 0),
                day.at(3, 0, 0, 0),
            ],
        );
        let expected = [
            ("2026-10-24T23:59:00Z", None),
            ("2026-10-25T00:30:00Z", Some(Said::FoldFirst)),
            ("2026-10-25T00:59:00Z", Some(Said::FoldFirst)),
            ("2026-10-25T01:10:00Z", Some(Said::FoldSecond)),
            ("2026-10-25T01:40:00Z", Some(Said::FoldSecond)),
            ("2026-10-25T02:00:00Z", None),
        ];
        assert_eq!(seen, expected.map(|(text, said)| (text.to_owned(), said)));
    }

    #[test]
    fn a_skipped_hour_is_moved_forward_by_the_gap() {
        let spring = run("Europe/Berlin", &[date(2026, 3, 29).at(2, 30, 0, 0)]);
        assert_eq!(
            spring,
            [("2026-03-29T01:30:00Z".to_owned(), Some(Said::GapMovedForward))]
        );
        // Lord Howe Island moves its clocks by half an hour.
        let half = run("Australia/Lord_Howe", &[date(2026, 10, 4).at(2, 15, 0, 0)]);
        assert_eq!(
            half,
            [("2026-10-03T15:45:00Z".to_owned(), Some(Said::GapMovedForward))]
        );
    }

    #[test]
    fn remembering_plain_hours_changes_nothing() {
        for name in [
            "Europe/Lisbon",
            "America/New_York",
            "Australia/Lord_Howe",
            "Asia/Kathmandu",
            "UTC",
        ] {
            let zone = zone(name).unwrap();
            let mut resolver = Resolver::new(zone.clone(), 0);
            for minute in 0..(370 * 24 * 4) {
                let us = 1_767_225_600_000_000 + minute * 15 * 60_000_000;
                let found = resolver.resolve(ImportedTime::Wall(us)).unwrap();
                let fresh = Resolver::new(zone.clone(), 0)
                    .resolve(ImportedTime::Wall(us))
                    .unwrap();
                if !matches!(found.said, Some(Said::FoldFirst | Said::FoldSecond)) {
                    assert_eq!(found, fresh, "{name} {us}");
                }
            }
        }
    }

    #[test]
    fn a_clock_that_was_wrong_is_put_right() {
        let mut resolver = Resolver::new(zone("Europe/Lisbon").unwrap(), -3_600_000_000);
        let noon = resolver.resolve(wall(date(2026, 1, 10).at(13, 0, 0, 0))).unwrap();
        assert_eq!(noon.timestamp.to_string(), "2026-01-10T12:00:00Z");
        let instant = resolver.resolve(ImportedTime::Instant(3_600_000_000)).unwrap();
        assert_eq!(instant.timestamp, Timestamp::UNIX_EPOCH);
    }

    #[test]
    fn zones_and_offsets() {
        assert!(zone("Europe/Lisbon").is_some() && zone("+01:00").is_some() && zone("-0330").is_some());
        assert!(zone("Europe/Atlantis").is_none() && zone("+25:00").is_none() && zone("").is_none());
        let mut resolver = Resolver::new(TimeZone::UTC, 0);
        assert_eq!(
            resolver.resolve(ImportedTime::Wall(i64::MAX)),
            Err(OutsideCalendar)
        );
        assert_eq!(
            resolver.resolve(ImportedTime::Instant(i64::MIN)),
            Err(OutsideCalendar)
        );
    }
}
