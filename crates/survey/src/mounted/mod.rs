//! A mounted sensor: its readings become minutes and days (formats, section 6).
//!
//! Readings are streamed once, in order of time over all files of the station; no more than a minute's readings
//! and a day's minutes are held, so a year of one-second readings needs no more memory than a week.

mod day;
mod minute;
mod programme;

pub use day::Day;
pub use minute::Minute;

use crate::TakeInError;
use crate::book::Entry;
use crate::merged::Merged;
use crate::source::Source;
use crate::stage::{Seen, SiteView, Stage};
use day::Days;
use jiff::Timestamp;
use minute::Gathering;
use undim_clean::repeat::{Repeats, Taken};
use undim_model::{Flag, Text};

/// What a mounted sensor saw, but for its minutes.
#[derive(Debug, Clone, PartialEq)]
pub struct Mounted {
    /// From the first to the last day, those without a reading too.
    pub days: Vec<Day>,
    /// The first reading with a time.
    pub first: Option<Timestamp>,
    /// The last reading with a time.
    pub last: Option<Timestamp>,
    /// The devices it was read with, by id.
    pub devices: Vec<String>,
}

/// One reading as minutes and days take it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sample {
    /// µmol m⁻² s⁻¹; `None` for one that is not used.
    ppfd: Option<f64>,
    u_shared: f64,
    flag: Flag,
    /// Number of the correction.
    chain: usize,
    /// Standard uncertainty of one reading, percent.
    repeat_percent: f64,
}

/// Takes in the log of a mounted sensor: `sources` are the contents of `entry`, in order of arrival, whose
/// station is the note's. Each minute with a reading is written once, in order of time.
pub fn mounted<E: From<TakeInError>>(
    entry: &Entry,
    sources: &[Source<'_>],
    site: SiteView<'_>,
    mut write: impl FnMut(&Minute) -> Result<(), E>,
) -> Result<Mounted, E> {
    let mut stage = Stage::new(site, entry.scene.as_deref());
    let by_arrival: Vec<usize> = (0..sources.len()).collect();
    let mut merged = Merged::open(entry, sources, &by_arrival)?;
    let mut repeats = Repeats::default();
    let mut gathering = Gathering::default();
    let mut days = Days::new(site.tank, entry.scene.as_deref(), site.zone);
    let (mut first, mut last) = (None, None);
    while let Some((_, seen)) = merged.next(&mut stage)? {
        let sample = sample(&seen, &stage, &mut repeats);
        if seen.time.is_some() {
            first = first.or(seen.time);
            last = seen.time;
        }
        if let Some(minute) = gathering.add(seen.time, sample) {
            write(&minute.minute)?;
            days.add(&minute);
        }
    }
    if let Some(minute) = gathering.finish() {
        write(&minute.minute)?;
        days.add(&minute);
    }
    let mut devices: Vec<String> = stage
        .register
        .devices
        .iter()
        .map(|known| known.id.to_string())
        .collect();
    devices.sort();
    let keys: Vec<Text> = stage.chains.iter().map(|chain| chain.key.clone()).collect();
    Ok(Mounted {
        days: days.finish(&keys),
        first,
        last,
        devices,
    })
}

fn sample(seen: &Seen, stage: &Stage<'_>, repeats: &mut Repeats) -> Sample {
    let is_repeat = seen.raw.is_some_and(|raw| {
        let taken = Taken {
            device: seen.device,
            station: seen.placed.station,
            position_cm: seen.placed.position_cm,
            value: raw,
            unit: stage.register.units[seen.unit].same_as,
        };
        repeats.is_repeat(seen.time, taken)
    });
    // One without a time of its own tells nothing of a minute.
    let is_used = seen.flag.is_used() && !is_repeat && seen.time.is_some();
    Sample {
        ppfd: seen.value.filter(|_| is_used).map(|value| value.ppfd),
        u_shared: seen.value.map_or(0.0, |value| value.u_shared),
        flag: seen.flag,
        chain: seen.chain,
        repeat_percent: stage.register.devices[seen.device].device.repeat_percent,
    }
}

#[cfg(test)]
mod tests;
