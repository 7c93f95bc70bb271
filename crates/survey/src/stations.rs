//! From bursts to station values.

use crate::source::Source;
use crate::stage::{Seen, Stage};
use crate::take_in::Told;
use jiff::civil::Date;
use std::collections::HashMap;
use undim_clean::burst::{BlockedBurst, BurstSettings};
use undim_correct::SharedU;
use undim_model::{
    Flag, FlagCounts, Measured, Position, Reading, Reason, Reasons, Role, SharedKind, SharedPart,
    StationValue, Text,
};

/// What is counted over all readings of a station, used or not.
#[derive(Debug, Default)]
pub(crate) struct StationTally {
    readings: u64,
    placed: u64,
    sum_cm: [f64; 3],
    reasons: Reasons,
}

impl StationTally {
    pub(crate) fn count(&mut self, reading: &Reading) {
        self.readings += 1;
        self.reasons = self.reasons.union(reading.reasons);
        if let [Some(left), Some(bottom), Some(front)] = reading.position_cm {
            self.placed += 1;
            for (sum, add) in self.sum_cm.iter_mut().zip([left, bottom, front]) {
                *sum += add;
            }
        }
    }

    fn mean_position(&self) -> Option<Position> {
        (self.placed > 0).then(|| Position::from(self.sum_cm.map(|sum| sum / self.placed as f64)))
    }
}

/// The readings of one device at one station.
#[derive(Debug)]
pub(crate) struct Bucket {
    burst: BlockedBurst,
    /// Where the readings of the unfinished block stand: source and index.
    open: Vec<(usize, usize)>,
    pushed: u64,
    used: u64,
    questionable: u64,
    best: Flag,
    shared: SharedSums,
    chain: Option<usize>,
    /// Flags of the readings of the unfinished block, before their burst told anything.
    open_flags: Vec<(Flag, Reasons)>,
    reasons: Reasons,
}

impl Bucket {
    pub(crate) fn new(repeat_percent: f64) -> Self {
        Self {
            burst: BlockedBurst::new(BurstSettings { repeat_percent }),
            open: Vec::new(),
            open_flags: Vec::new(),
            pushed: 0,
            used: 0,
            questionable: 0,
            best: Flag::Missing,
            shared: SharedSums::default(),
            chain: None,
            reasons: Reasons::NONE,
        }
    }

    pub(crate) fn push(
        &mut self,
        seen: &Seen,
        ppfd: f64,
        at: (usize, usize),
        verdicts: &mut [Vec<Told>],
        counts: &mut FlagCounts,
    ) {
        self.pushed += 1;
        self.open.push(at);
        self.open_flags.push((seen.reading.flag, seen.reading.reasons));
        self.shared.add(&seen.shared);
        self.chain.get_or_insert(seen.chain);
        if let Some(block) = self.burst.push(ppfd) {
            self.settle(&block.reasons, verdicts, counts);
        }
    }

    /// Writes what a finished block told beside each of its readings.
    fn settle(&mut self, told: &[Reasons], verdicts: &mut [Vec<Told>], counts: &mut FlagCounts) {
        for (((source, index), (flag, own)), reasons) in
            self.open.drain(..).zip(self.open_flags.drain(..)).zip(told)
        {
            if let Some(verdict) = verdicts
                .get_mut(source)
                .and_then(|of_source| of_source.get_mut(index))
            {
                verdict.add(*reasons);
            }
            let before = flag;
            let flag = reasons.union(own).flag_from(flag);
            counts.recount(before, flag);
            self.reasons = self.reasons.union(*reasons);
            if flag.is_used() {
                self.used += 1;
                self.questionable += u64::from(flag == Flag::Questionable);
                self.best = self.best.min(flag);
            }
        }
    }
}

/// Sums of shared uncertainties, source by source: a mean shares them in full.
#[derive(Debug, Default)]
struct SharedSums([f64; SharedKind::ALL.len()]);

impl SharedSums {
    fn add(&mut self, shared: &SharedU) {
        for part in shared.iter() {
            self.0[part.kind as usize] += part.u_ppfd;
        }
    }

    fn means(&self, count: u64) -> Vec<SharedPart> {
        let parts = SharedKind::ALL
            .into_iter()
            .zip(self.0)
            .filter(|(_, sum)| *sum > 0.0);
        parts
            .map(|(kind, sum)| SharedPart {
                kind,
                u_ppfd: sum / count as f64,
            })
            .collect()
    }
}

/// The stations of a survey.
pub(crate) struct Stations {
    pub(crate) values: Vec<StationValue>,
    pub(crate) tied_to_reference: bool,
}

/// Makes the station values: where a reference read a station its readings alone, otherwise those of the
/// device with most used readings (formats, section 10, surveys).
pub(crate) fn station_values(
    stage: &mut Stage<'_>,
    tallies: Vec<StationTally>,
    buckets: HashMap<(usize, usize), Bucket>,
    verdicts: &mut [Vec<Told>],
    counts: &mut FlagCounts,
    sources: &[Source<'_>],
    date: Date,
    water_cm: Option<f64>,
) -> Stations {
    let mut in_order: Vec<((usize, usize), Bucket)> = buckets.into_iter().collect();
    in_order.sort_unstable_by_key(|(key, _)| *key);
    let mut finished: Vec<Vec<Finished>> = Vec::new();
    finished.resize_with(tallies.len(), Vec::new);
    for ((station, device), mut bucket) in in_order {
        let (last, burst) = std::mem::replace(
            &mut bucket.burst,
            BlockedBurst::new(BurstSettings { repeat_percent: 0.0 }),
        )
        .finish();
        if let Some(block) = last {
            bucket.settle(&block.reasons, verdicts, counts);
        }
        let (Some(burst), true) = (burst, bucket.used > 0) else {
            continue;
        };
        finished[station].push(Finished {
            device,
            burst,
            bucket,
        });
    }
    let frame = sources.first().and_then(|source| source.frame.clone());
    let (place_cm, rod_cm) = stage.frame_errors_cm(date, frame.as_deref());
    let light = stage.light(date, water_cm);
    let mut values = Vec::with_capacity(tallies.len());
    let mut tied = true;
    for (number, tally) in tallies.into_iter().enumerate() {
        let chosen = finished[number].iter().max_by_key(|one| {
            let is_reference = stage.devices[one.device].role == Role::Reference;
            (
                is_reference,
                one.bucket.used,
                std::cmp::Reverse(stage.device_id(one.device).clone()),
            )
        });
        let place = &stage.stations[number];
        let (name, declared) = (place.name.clone(), place.declared);
        let position = place.at.filter(|_| declared).or_else(|| tally.mean_position());
        let mut value = StationValue {
            station: name,
            declared,
            position,
            readings: tally.readings,
            used: 0,
            value: None,
            device: Text::from(""),
            correction: Text::from(""),
            shared: Vec::new(),
            gradient_per_cm: position.and_then(|at| light.as_ref()?.gradient_per_cm(at)),
            scatter_percent: None,
            flag: Flag::Bad,
            reasons: finished[number]
                .iter()
                .fold(tally.reasons, |reasons, one| reasons.union(one.bucket.reasons)),
        };
        if let Some(one) = chosen {
            fill(&mut value, one, stage, place_cm, rod_cm);
            tied &= stage.is_tied_to_reference(one.device, one.bucket.chain);
        }
        values.push(value);
    }
    stage.order_stations(&mut values, date);
    let tied_to_reference = tied && values.iter().any(|value| value.value.is_some());
    Stations {
        values,
        tied_to_reference,
    }
}

struct Finished {
    device: usize,
    burst: undim_clean::burst::Burst,
    bucket: Bucket,
}

fn fill(value: &mut StationValue, one: &Finished, stage: &Stage<'_>, place_cm: f64, rod_cm: f64) {
    let ppfd = one.burst.value;
    let slope_per_cm = value
        .gradient_per_cm
        .map_or(0.0, |[left, up, back]| left.hypot(up).hypot(back));
    let upward_per_cm = value.gradient_per_cm.map_or(0.0, |[_, up, _]| up.abs());
    let mut shared: Vec<SharedPart> = one.bucket.shared.means(one.bucket.pushed);
    if rod_cm > 0.0 && upward_per_cm > 0.0 {
        shared.push(SharedPart {
            kind: SharedKind::RodHeight,
            u_ppfd: (ppfd * upward_per_cm * rod_cm).abs(),
        });
    }
    value.used = one.bucket.used;
    value.value = Some(Measured {
        ppfd,
        u_own: one.burst.u_own.hypot(ppfd * slope_per_cm * place_cm),
        u_shared: shared.iter().fold(0.0, |sum: f64, part| sum.hypot(part.u_ppfd)),
    });
    value.shared = shared;
    value.device = stage.device_id(one.device).clone();
    value.correction = one
        .bucket
        .chain
        .map_or_else(|| Text::from(""), |chain| stage.chains[chain].key.clone());
    value.scatter_percent = one.burst.scatter_percent;
    value.flag = if one.bucket.questionable * 2 > one.bucket.used {
        Flag::Questionable
    } else {
        one.bucket.best
    };
    if one.burst.unsteady {
        value.reasons.add(Reason::Unsteady);
    }
}
