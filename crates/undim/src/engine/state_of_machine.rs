//! What the machine itself tells: room on its disks, and whether its clock goes steadily.

use jiff::{SignedDuration, Timestamp};
use rustix::time::{ClockId, clock_gettime};
use std::io;
use std::path::Path;
use std::time::Duration;

/// With less left on a disk it counts as full: the archive and the ledger need room to finish what they began.
const LEAST_LEFT: u64 = 64 << 20;

/// Clocks are set right by seconds every day; this is no setting right.
const JUMP: SignedDuration = SignedDuration::from_mins(2);

/// After a jump the clock must have gone steadily for so long.
const STEADY: Duration = Duration::from_hours(1);

/// Room on the disk that holds a folder, bytes that may be used; and what tells this disk from others.
pub(super) fn room(folder: &Path) -> io::Result<(u64, u64)> {
    let stat = rustix::fs::statvfs(folder)?;
    Ok((stat.f_bavail.saturating_mul(stat.f_frsize), stat.f_fsid))
}

/// MiB left, where a disk counts as full.
pub(super) fn full(left_bytes: u64) -> Option<u64> {
    (left_bytes < LEAST_LEFT).then_some(left_bytes >> 20)
}

/// The wall clock held against one that nobody sets and that goes on while the machine sleeps.
#[derive(Debug)]
pub(super) struct Clockwork {
    /// When a program last wrote its state here, until the clock was looked at first.
    heard: Option<Timestamp>,
    /// Wall clock and steady clock at the last look.
    last: Option<(Timestamp, Duration)>,
    /// By how much it jumped last, seconds, and when on the steady clock.
    jump: Option<(i64, Duration)>,
}

impl Clockwork {
    /// Begins with what the wall clock showed when the program before this one wrote last.
    pub(super) fn since(heard: Option<Timestamp>) -> Self {
        Self {
            heard,
            last: None,
            jump: None,
        }
    }

    /// Looks at both clocks.
    pub(super) fn look(&mut self) -> Option<i64> {
        let steady = clock_gettime(ClockId::Boottime);
        let steady = Duration::new(
            u64::try_from(steady.tv_sec).unwrap_or_default(),
            u32::try_from(steady.tv_nsec).unwrap_or_default(),
        );
        self.step(Timestamp::now(), steady)
    }

    /// By how many seconds the clock jumped lately; negative: back. That it went on while no program ran can't
    /// be told from a jump forward; that it stands before what was seen then can.
    fn step(&mut self, wall: Timestamp, steady: Duration) -> Option<i64> {
        let by = match (self.last, self.heard.take()) {
            (Some((wall_before, steady_before)), _) => {
                let passed = SignedDuration::try_from(steady.saturating_sub(steady_before));
                wall.duration_since(wall_before) - passed.unwrap_or(SignedDuration::MAX)
            }
            (None, Some(heard)) => wall.duration_since(heard).min(SignedDuration::ZERO),
            (None, None) => SignedDuration::ZERO,
        };
        self.last = Some((wall, steady));
        if by.abs() > JUMP {
            self.jump = Some((by.as_secs(), steady));
        }
        let (seconds, at) = self.jump?;
        if steady.saturating_sub(at) > STEADY {
            self.jump = None;
            return None;
        }
        Some(seconds)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wall(seconds: i64) -> Timestamp {
        Timestamp::from_second(1_790_000_000 + seconds).expect("a time")
    }

    #[test]
    fn a_clock_that_goes_steadily_is_no_news_and_a_jump_is_for_an_hour() {
        let minutes = |minutes: u64| Duration::from_mins(minutes);
        let mut clock = Clockwork::since(Some(wall(-90_000)));
        assert_eq!(clock.step(wall(0), minutes(5)), None, "time went on");
        assert_eq!(clock.step(wall(61), minutes(6)), None, "set right by a second");
        assert_eq!(clock.step(wall(-3479), minutes(7)), Some(-3600));
        assert_eq!(clock.step(wall(-3419), minutes(8)), Some(-3600));
        assert_eq!(clock.step(wall(241), minutes(9)), Some(3600), "and forward again");
        assert_eq!(clock.step(wall(241 + 4200), minutes(79)), None);
    }

    #[test]
    fn a_clock_that_stands_before_what_was_seen_jumped_back() {
        let mut clock = Clockwork::since(Some(wall(86_400)));
        assert_eq!(clock.step(wall(0), Duration::from_secs(30)), Some(-86_400));
    }

    #[test]
    fn little_room_is_told_in_mib() {
        assert_eq!(full(63 << 20), Some(63));
        assert_eq!(full(64 << 20), None);
        let folder = tempfile::tempdir().expect("a folder");
        assert!(room(folder.path()).expect("a disk").0 > 0);
    }
}
