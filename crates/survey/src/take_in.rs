//! Take in: the readings of one survey become stations.
//!
//! Readings are streamed twice and never held: the first pass judges every burst, the second writes each
//! reading with what its burst told. A survey by hand has some dozens of readings, a log that ran on has
//! millions; both go the same way.

use crate::book::Entry;
use crate::source::{RowsError, Source, TimedRow, in_time_order};
use crate::stage::{Seen, SiteView, SourceStage, Stage};
use crate::stations::{Bucket, StationTally, station_values};
use std::collections::HashMap;
use undim_clean::repeat::Repeats;
use undim_model::{DeviceUse, FlagCounts, Reading, Reason, Reasons, SourceFile, Survey, Text};

/// A survey has no more places than this; a file with more has no places that are read again.
pub const MOST_STATIONS: usize = 20_000;

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
}

/// A survey that was taken in, and what its bursts told about each reading.
#[derive(Debug)]
pub struct TakenIn {
    /// The survey.
    pub survey: Survey,
    /// For each source and each of its readings in order of time: what to add.
    verdicts: Vec<Vec<Told>>,
}

/// What a burst tells about a reading, in one byte: logs have millions.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Told(u8);

impl Told {
    const REASONS: [Reason; 5] = [
        Reason::Spike,
        Reason::Flat,
        Reason::Shadow,
        Reason::Unsteady,
        Reason::Repeat,
    ];

    pub(crate) fn add(&mut self, reasons: Reasons) {
        for (bit, reason) in Self::REASONS.iter().enumerate() {
            if reasons.has(*reason) {
                self.0 |= 1 << bit;
            }
        }
    }

    fn reasons(self) -> Reasons {
        Self::REASONS
            .iter()
            .enumerate()
            .filter(|(bit, _)| self.0 & (1 << bit) != 0)
            .map(|(_, reason)| *reason)
            .collect()
    }
}

/// Takes in a survey: `sources` are the contents of `entry`, in order of arrival.
pub fn take_in(entry: &Entry, sources: &[Source<'_>], site: SiteView<'_>) -> Result<TakenIn, TakeInError> {
    let mut stage = Stage::new(site, entry.scene.as_deref());
    let mut verdicts: Vec<Vec<Told>> = vec![Vec::new(); sources.len()];
    let mut buckets: HashMap<(usize, usize), Bucket> = HashMap::new();
    let mut tallies: Vec<StationTally> = Vec::new();
    let mut device_readings: Vec<u64> = Vec::new();
    let mut source_rows = vec![0_u64; sources.len()];
    let mut repeats = Repeats::default();
    let mut counts = FlagCounts::default();

    let mut merged = Merged::open(entry, sources, &mut stage, |numbers| numbers.sort_unstable())?;
    while let Some((source, seen)) = merged.next(&mut stage)? {
        let index = verdicts[source].len();
        let mut told = Told::default();
        source_rows[source] += 1;
        device_readings.resize(stage.devices.len(), 0);
        device_readings[seen.device] += 1;
        let reading = &seen.reading;
        if let Some(raw) = reading.raw
            && repeats.is_repeat(
                reading.time,
                &reading.device,
                reading.position_cm,
                reading.station.as_deref(),
                raw,
            )
        {
            told.add(Reasons::NONE.with(Reason::Repeat));
        }
        verdicts[source].push(told);
        let flag = told.reasons().union(reading.reasons).flag_from(reading.flag);
        counts.count(flag);
        let Some(station) = seen.station else { continue };
        if station >= MOST_STATIONS {
            return Err(TakeInError::TooManyStations);
        }
        tallies.resize_with(stage.stations.len(), StationTally::default);
        tallies[station].count(reading);
        if !flag.is_used() {
            continue;
        }
        if let Some(value) = reading.value {
            let repeat_percent = stage.devices[seen.device].repeat_percent;
            let bucket = buckets
                .entry((station, seen.device))
                .or_insert_with(|| Bucket::new(repeat_percent));
            bucket.push(&seen, value.ppfd, (source, index), &mut verdicts, &mut counts);
        }
    }
    drop(merged);

    let date = crate::local_date(entry.span.start, site.zone);
    let water_cm = sources.iter().rev().find_map(|source| source.water_cm);
    let stations = station_values(
        &mut stage,
        tallies,
        buckets,
        &mut verdicts,
        &mut counts,
        sources,
        date,
        water_cm,
    );
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
        sources: source_files(sources, &source_rows, &stage),
        devices: device_uses(&stage, &device_readings),
        tied_to_reference: stations.tied_to_reference,
        stations: stations.values,
        counts,
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
        let by_path =
            |numbers: &mut [usize]| numbers.sort_by(|a, b| sources[*a].file.path.cmp(&sources[*b].file.path));
        let mut merged = Merged::open(entry, sources, &mut stage, by_path)?;
        let mut next = vec![0_usize; sources.len()];
        while let Some((source, seen)) = merged.next(&mut stage)? {
            let told = self.verdicts[source]
                .get(next[source])
                .copied()
                .unwrap_or_default();
            next[source] += 1;
            let mut reading = seen.reading;
            reading.reasons = reading.reasons.union(told.reasons());
            reading.flag = reading.reasons.flag_from(reading.flag);
            write(&reading)?;
        }
        Ok(())
    }
}

/// The sources of a survey as one stream in order of time; of equal times in an order of sources that
/// the caller chooses, then in order of the file.
struct Merged<'a> {
    /// Sources in the chosen order, each with its next row.
    heads: Vec<Head<'a>>,
    sources: &'a [Source<'a>],
}

struct Head<'a> {
    source: usize,
    stage: SourceStage,
    rows: Box<dyn Iterator<Item = Result<TimedRow, RowsError>> + 'a>,
    next: Option<TimedRow>,
}

impl<'a> Merged<'a> {
    fn open(
        entry: &'a Entry,
        sources: &'a [Source<'a>],
        stage: &mut Stage<'a>,
        order: impl FnOnce(&mut [usize]),
    ) -> Result<Self, TakeInError> {
        let mut numbers: Vec<usize> = (0..sources.len()).collect();
        order(&mut numbers);
        let mut heads = Vec::with_capacity(numbers.len());
        for source in numbers {
            let from = &sources[source];
            let failed = |error| TakeInError::Rows {
                path: from.file.path.to_string(),
                error,
            };
            let mut rows = in_time_order(from.rows, &from.timing, &from.scan, entry.span).map_err(failed)?;
            let next = rows.next().transpose().map_err(failed)?;
            heads.push(Head {
                source,
                stage: stage.source(from),
                rows,
                next,
            });
        }
        Ok(Self { heads, sources })
    }

    fn next(&mut self, stage: &mut Stage<'a>) -> Result<Option<(usize, Seen)>, TakeInError> {
        // A survey has a handful of files; the first of equal times is the first in the chosen order.
        let earliest = self
            .heads
            .iter()
            .enumerate()
            .filter_map(|(number, head)| head.next.as_ref().map(|row| (row.counted, number)))
            .min();
        let Some((_, number)) = earliest else {
            return Ok(None);
        };
        let head = &mut self.heads[number];
        let Some(row) = head.next.take() else {
            return Ok(None);
        };
        let source = &self.sources[head.source];
        head.next = head.rows.next().transpose().map_err(|error| TakeInError::Rows {
            path: source.file.path.to_string(),
            error,
        })?;
        let seen = stage.see(source, &mut head.stage, row)?;
        Ok(Some((head.source, seen)))
    }
}

fn source_files(sources: &[Source<'_>], rows: &[u64], stage: &Stage<'_>) -> Vec<SourceFile> {
    sources
        .iter()
        .zip(rows)
        .map(|(source, rows)| {
            let mut file = SourceFile {
                rows: *rows,
                ..source.file.clone()
            };
            file.renamed.extend(stage.renamed_names());
            file
        })
        .collect()
}

fn device_uses(stage: &Stage<'_>, readings: &[u64]) -> Vec<DeviceUse> {
    let mut uses: Vec<DeviceUse> = stage
        .devices
        .iter()
        .enumerate()
        .map(|(number, device)| {
            let mut corrections: Vec<String> = Vec::new();
            for described in stage.chains_of(number) {
                if !corrections.contains(&described) {
                    corrections.push(described);
                }
            }
            DeviceUse {
                id: device.id.clone(),
                name: device.name.clone(),
                is_reference: device.role == undim_model::Role::Reference,
                declared: device.declared,
                readings: readings.get(number).copied().unwrap_or(0),
                corrections,
                rezero_percent: device.rezero_percent,
            }
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
    for device in &stage.unit_assumed {
        let name: &Text = stage.device_id(*device);
        said.push(format!(
            "{name}: neither file nor device states a unit; umol.m-2.s-1 was assumed"
        ));
    }
    said
}
