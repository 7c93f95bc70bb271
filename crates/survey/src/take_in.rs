//! Take in: the readings of one survey become stations.
//!
//! Readings are streamed twice and never held: the first pass judges every burst, the second writes each
//! reading with what its burst told. A survey by hand has some dozens of readings, a log that ran on has
//! millions; both go the same way.

use crate::book::Entry;
use crate::merged::Merged;
use crate::register::{MOST_DEVICES, MOST_STATIONS, MOST_UNITS};
use crate::source::{RowsError, Source};
use crate::stage::{SiteView, Stage};
use crate::stations::{Tallies, Waiting, station_values};
use crate::verdicts::Verdicts;
use undim_clean::repeat::{Repeats, Taken};
use undim_model::{DeviceUse, Reading, Reason, Reasons, SourceFile, Survey};

/// Why a survey could not be taken in. Each concerns one file or one name in it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TakeInError {
    /// The rows could not be gone through.
    #[error("{path}: {error}")]
    Rows {
        /// The file.
        path: String,
        /// Why.
        error: RowsError,
    },
    /// The frame that the file's route or note names is not to be had.
    #[error("{path}: {text}")]
    Frame {
        /// The file.
        path: String,
        /// Why.
        text: String,
    },
    /// Two names that become one id.
    #[error(
        "the {noun} names “{first}” and “{second}” both become the id {id}; declare one of them with name = \"{second}\", or rename it in the file"
    )]
    NameCollision {
        /// Device or station.
        noun: &'static str,
        /// The name that came first.
        first: String,
        /// The name that came second.
        second: String,
        /// The id of both.
        id: String,
    },
    /// Too many places.
    #[error(
        "it holds readings at more than {MOST_STATIONS} different places; is a column that counts on (a time, a row number) taken for a position or a station?"
    )]
    TooManyStations,
    /// Too many devices.
    #[error(
        "it holds readings of more than {MOST_DEVICES} different devices; is another column taken for the device?"
    )]
    TooManyDevices,
    /// Too many units.
    #[error("it holds more than {MOST_UNITS} different units; is another column taken for the unit?")]
    TooManyUnits,
}

/// A survey that was taken in, and what its bursts told about each reading.
#[derive(Debug)]
pub struct TakenIn {
    /// The survey.
    pub survey: Survey,
    verdicts: Verdicts,
}

/// Takes in a survey: `sources` are the contents of `entry`, in order of arrival.
pub fn take_in(entry: &Entry, sources: &[Source<'_>], site: SiteView<'_>) -> Result<TakenIn, TakeInError> {
    let mut stage = Stage::new(site, entry.scene.as_deref());
    let mut verdicts = Verdicts::for_sources(sources.iter().map(|source| rows_within(source, entry)));
    let mut tallies = Tallies::default();
    let mut device_readings: Vec<u64> = Vec::new();
    let mut repeats = Repeats::default();

    let by_arrival: Vec<usize> = (0..sources.len()).collect();
    let mut merged = Merged::open(entry, sources, &by_arrival)?;
    while let Some((source, seen)) = merged.next(&mut stage)? {
        device_readings.resize(stage.register.devices.len(), 0);
        device_readings[seen.device] += 1;
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
        let told = if is_repeat {
            Reasons::NONE.with(Reason::Repeat)
        } else {
            Reasons::NONE
        };
        let flag = told.flag_from(seen.flag);
        let at = verdicts.add(source, told, flag);
        let Some(station) = seen.placed.station else {
            continue;
        };
        tallies.count(station, &seen, seen.reasons.union(told));
        if let (true, Some(raw), Some(value)) = (flag.is_used(), seen.raw, seen.value) {
            let reading = Waiting {
                at,
                flag,
                raw,
                ppfd: value.ppfd,
                chain: seen.chain,
            };
            tallies.push(station, reading, &seen, &stage, &mut verdicts);
        }
    }

    let date = crate::local_date(entry.span.start, site.zone);
    let water_cm = sources.iter().rev().find_map(|source| source.water_cm);
    let stations = station_values(&mut stage, tallies, &mut verdicts, date, water_cm);
    let mut survey = Survey {
        tank: entry.tank.clone(),
        id: entry.id.clone(),
        revision: entry.revision,
        scene: entry.scene.clone(),
        replaces: entry.replaces.clone(),
        start: entry.span.start,
        end: entry.span.end,
        date,
        timezone: site.zone_name.to_owned(),
        sources: source_files(sources, &verdicts, &merged),
        withdrawn: Vec::new(),
        devices: device_uses(&stage, &device_readings),
        tied_to_reference: stations.tied_to_reference,
        stations: stations.values,
        counts: verdicts.counts,
        pumps_on: sources.iter().rev().find_map(|source| source.pumps_on),
        water_cm,
        read_again: Vec::new(),
        said: said(sources, &stage),
    };
    survey.read_again = crate::read_again::read_again(&survey, site.tank);
    Ok(TakenIn { survey, verdicts })
}

impl TakenIn {
    /// Every reading of the survey in written order: by time, source, row.
    pub fn each_reading<E: From<TakeInError>>(
        &self,
        entry: &Entry,
        sources: &[Source<'_>],
        site: SiteView<'_>,
        mut write: impl FnMut(&Reading) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut stage = Stage::new(site, entry.scene.as_deref());
        let mut merged = Merged::open(entry, sources, &ranks_by_path(sources))?;
        let mut next = vec![0_usize; sources.len()];
        while let Some((source, seen)) = merged.next(&mut stage)? {
            let told = self.verdicts.of((source, next[source]));
            next[source] += 1;
            write(&stage.reading(merged.at(source), &seen, told))?;
        }
        Ok(())
    }
}

/// Each source's place when they are ordered by path; the same for the same path.
fn ranks_by_path(sources: &[Source<'_>]) -> Vec<usize> {
    let rank = |source: &Source<'_>| {
        sources
            .iter()
            .filter(|other| other.file.path < source.file.path)
            .count()
    };
    sources.iter().map(rank).collect()
}

/// How many rows of a source lie in the survey.
fn rows_within(source: &Source<'_>, entry: &Entry) -> u64 {
    let spans = source.scan.spans.iter();
    spans
        .filter(|span| entry.span.holds(span.start))
        .map(|span| span.rows)
        .sum()
}

fn source_files(sources: &[Source<'_>], verdicts: &Verdicts, merged: &Merged<'_>) -> Vec<SourceFile> {
    sources
        .iter()
        .zip(verdicts.rows())
        .enumerate()
        .map(|(number, (source, rows))| {
            let mut file = SourceFile {
                rows,
                ..source.file.clone()
            };
            file.renamed.extend(merged.at(number).renamed.iter().cloned());
            file
        })
        .collect()
}

fn device_uses(stage: &Stage<'_>, readings: &[u64]) -> Vec<DeviceUse> {
    let mut uses: Vec<DeviceUse> = stage
        .register
        .devices
        .iter()
        .zip(readings)
        .enumerate()
        .map(|(number, (known, readings))| DeviceUse {
            id: known.device.id.clone(),
            name: known.device.name.clone(),
            is_reference: stage.register.is_reference(number),
            declared: known.device.declared,
            readings: *readings,
            corrections: stage.corrections_of(number),
            rezero_percent: known.device.rezero_percent,
        })
        .collect();
    uses.sort_by(|a, b| a.id.cmp(&b.id));
    uses
}

fn said(sources: &[Source<'_>], stage: &Stage<'_>) -> Vec<String> {
    let mut said: Vec<String> = Vec::new();
    for source in sources {
        let sentences = source.said.iter().cloned().chain(source.scan.sentences());
        said.extend(sentences.map(|sentence| format!("{}: {sentence}", source.file.path)));
    }
    for device in &stage.register.unit_assumed {
        said.push(format!(
            "{}: neither file nor device states a unit; umol.m-2.s-1 was assumed",
            stage.register.device_id(*device)
        ));
    }
    said
}

#[cfg(test)]
mod tests;
