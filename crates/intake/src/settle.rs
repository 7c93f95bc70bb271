//! Which files of the inbox stand still: two looks, far enough apart, that found the same.
//!
//! Pure. Time is monotonic time since any fixed moment, handed in. A file's own times never mean that it
//! is new or old: they only have to stay the same, so a copy that keeps old times is taken in like any.

use crate::listing::{Entry, Listing, Stamp};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// Remembers what earlier looks found.
#[derive(Debug, Clone)]
pub struct Settler {
    settle: Duration,
    seen: BTreeMap<Vec<u8>, Seen>,
    next_wake: Option<Duration>,
}

#[derive(Debug, Clone)]
struct Seen {
    stamp: Stamp,
    since: Duration,
    not_before: Duration,
}

impl Settler {
    /// `settle`: how long a file must stand still; 0: it is ready at first sight.
    pub fn new(settle: Duration) -> Self {
        Self {
            settle,
            seen: BTreeMap::new(),
            next_wake: None,
        }
    }

    /// Another settling time, from the next look on.
    pub fn set_settle(&mut self, settle: Duration) {
        self.settle = settle;
    }

    /// Takes in a look at `now`; gives the files at rest, in the listing's order. A file is given at
    /// every look until it is gone or among `known`, the states of files that are done with and stay
    /// where they are.
    pub fn observe(&mut self, now: Duration, listing: &Listing, known: &BTreeSet<Stamp>) -> Vec<Entry> {
        let mut seen = BTreeMap::new();
        let mut ready = Vec::new();
        let mut next_wake: Option<Duration> = None;
        for entry in listing
            .entries
            .iter()
            .filter(|entry| !known.contains(&entry.stamp))
        {
            let before = self.seen.remove(&entry.path);
            let state = match before {
                Some(before) if before.stamp == entry.stamp => before,
                before => Seen {
                    stamp: entry.stamp,
                    since: now,
                    not_before: before.map_or(Duration::ZERO, |before| before.not_before),
                },
            };
            let at_rest_from = state.since.saturating_add(self.settle).max(state.not_before);
            if at_rest_from <= now {
                ready.push(entry.clone());
            } else {
                next_wake = Some(next_wake.map_or(at_rest_from, |wake| wake.min(at_rest_from)));
            }
            seen.insert(entry.path.clone(), state);
        }
        self.seen = seen;
        self.next_wake = next_wake;
        ready
    }

    /// Not to be given before `until`: somebody still writes, or nobody can tell whether they do.
    pub fn hold(&mut self, path: &[u8], until: Duration) {
        if let Some(seen) = self.seen.get_mut(path) {
            seen.not_before = seen.not_before.max(until);
            self.next_wake = Some(self.next_wake.map_or(until, |wake| wake.min(until)));
        }
    }

    /// For how long the file has been seen standing still; `None` where the last look did not find it.
    pub fn still_for(&self, path: &[u8], now: Duration) -> Option<Duration> {
        self.seen.get(path).map(|seen| now.saturating_sub(seen.since))
    }

    /// When the next of the files seen may be at rest, if nothing changes; `None` where none is waited for.
    pub fn next_wake(&self) -> Option<Duration> {
        self.next_wake
    }

    /// Files that the last look found and that are not known.
    pub fn waiting(&self) -> usize {
        self.seen.len()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp(mark: u64) -> Stamp {
        Stamp {
            dev: 1,
            ino: mark,
            size: mark,
            mtime_ns: 0,
            ctime_ns: mark as i64,
        }
    }

    /// Scripts: each line a look, `time: name=mark … -> what is ready @ next wake`.
    fn play(settle_ms: u64, known: &[u64], script: &str) {
        let mut settler = Settler::new(Duration::from_millis(settle_ms));
        let known: BTreeSet<Stamp> = known.iter().map(|mark| stamp(*mark)).collect();
        for line in script.lines().map(str::trim).filter(|line| !line.is_empty()) {
            if let Some(held) = line.strip_prefix("hold ") {
                let (name, until) = held.split_once(' ').expect("a name and a time");
                settler.hold(
                    name.as_bytes(),
                    Duration::from_millis(until.parse().expect("a time")),
                );
                continue;
            }
            let (look, wanted) = line.split_once("->").expect("an arrow");
            let (time, files) = look.split_once(':').expect("a time");
            let entries = files
                .split_whitespace()
                .map(|file| {
                    let (name, mark) = file.split_once('=').expect("a mark");
                    Entry {
                        path: name.as_bytes().to_vec(),
                        stamp: stamp(mark.parse().expect("a mark")),
                    }
                })
                .collect();
            let listing = Listing {
                entries,
                ..Listing::default()
            };
            let now = Duration::from_millis(time.trim().parse().expect("a time"));
            let ready: Vec<String> = settler
                .observe(now, &listing, &known)
                .into_iter()
                .map(|entry| String::from_utf8(entry.path).expect("text"))
                .collect();
            let wake = settler
                .next_wake()
                .map_or("never".to_owned(), |wake| wake.as_millis().to_string());
            assert_eq!(
                format!("{} @ {wake}", ready.join(" ")).trim(),
                wanted.trim(),
                "at {line}"
            );
        }
    }

    #[test]
    fn a_file_is_ready_once_it_has_stood_still_long_enough() {
        play(
            2000,
            &[],
            "
            0:    a=1       ->  @ 2000
            1999: a=1       ->  @ 2000
            2000: a=1       -> a @ never
            2500: a=1       -> a @ never
        ",
        );
    }

    #[test]
    fn any_change_starts_the_wait_anew() {
        play(
            2000,
            &[],
            "
            0:    a=1 b=5   ->  @ 2000
            1500: a=2 b=5   ->  @ 2000
            2000: a=2 b=5   -> b @ 3500
            3499: a=2       ->  @ 3500
            3500: a=2       -> a @ never
        ",
        );
    }

    #[test]
    fn what_vanished_is_forgotten() {
        play(
            2000,
            &[],
            "
            0:    a=1       ->  @ 2000
            1000:           ->  @ never
            2000: a=1       ->  @ 4000
            4000: a=1       -> a @ never
        ",
        );
    }

    #[test]
    fn without_a_settling_time_first_sight_is_enough() {
        play(0, &[], "0: a=1 b=2 -> a b @ never");
    }

    #[test]
    fn known_files_are_left_alone_until_they_change() {
        play(
            1000,
            &[1],
            "
            0:    a=1       ->  @ never
            5000: a=1       ->  @ never
            6000: a=3       ->  @ 7000
            7000: a=3       -> a @ never
        ",
        );
    }

    #[test]
    fn a_held_file_waits_until_told() {
        play(
            0,
            &[],
            "
            0:    a=1       -> a @ never
            hold a 1000
            500:  a=1       ->  @ 1000
            999:  a=2       ->  @ 1000
            1000: a=2       -> a @ never
        ",
        );
    }
}
