//! From bursts to station values.

use crate::stage::{Chain, Seen, Stage};
use crate::verdicts::{At, Verdicts};
use jiff::civil::Date;
use std::cmp::Reverse;
use undim_clean::burst::{BlockedBurst, Burst, BurstSettings};
use undim_correct::SharedU;
use undim_model::{Flag, Measured, Position, Reason, Reasons, SharedKind, SharedPart, StationValue, Text};
use undim_place::light::Light;

/// So many readings may wait for their bursts, over all places; then bursts are judged as far as they have come.
const MOST_WAITING: usize = 300_000;
/// A burst is not cut into blocks of fewer readings than this, which could tell little.
const LEAST_BLOCK: usize = 16;

/// The readings of all stations, by the station's number.
#[derive(Debug, Default)]
pub(crate) struct Tallies {
    by_station: Vec<Tally>,
    /// Readings whose burst has not been looked at.
    waiting: usize,
    /// How many may wait before bursts are cut.
    limit: usize,
}

impl Tallies {
    /// Counts a reading of a station, used or not.
    pub(crate) fn count(&mut self, station: usize, seen: &Seen, reasons: Reasons) {
        if self.by_station.len() <= station {
            self.by_station.resize_with(station + 1, Tally::default);
        }
        self.by_station[station].count(seen, reasons);
    }

    /// Takes a counted reading into the burst of its device.
    pub(crate) fn push(
        &mut self,
        station: usize,
        reading: Waiting,
        seen: &Seen,
        stage: &Stage<'_>,
        verdicts: &mut Verdicts,
    ) {
        let repeat_percent = stage.register.devices[seen.device].device.repeat_percent;
        let bucket = self.by_station[station].bucket(seen.device, repeat_percent);
        self.waiting -= bucket.waiting.len();
        bucket.push(reading, seen, &stage.chains, verdicts);
        self.waiting += bucket.waiting.len();
        if self.waiting > self.limit.max(MOST_WAITING) {
            self.cut(&stage.chains, verdicts);
        }
    }

    /// Judges every burst that is long enough. Where many short ones are left, the next time comes later.
    fn cut(&mut self, chains: &[Chain], verdicts: &mut Verdicts) {
        self.waiting = 0;
        for (_, bucket) in self.by_station.iter_mut().flat_map(|tally| &mut tally.buckets) {
            if bucket.waiting.len() >= LEAST_BLOCK {
                bucket.cut(chains, verdicts);
            }
            self.waiting += bucket.waiting.len();
        }
        self.limit = 2 * self.waiting;
    }
}

/// All readings of a station.
#[derive(Debug, Default)]
struct Tally {
    readings: u64,
    placed: u64,
    sum_cm: [f64; 3],
    reasons: Reasons,
    /// By device, in the order in which they came.
    buckets: Vec<(usize, Bucket)>,
}

impl Tally {
    fn count(&mut self, seen: &Seen, reasons: Reasons) {
        self.readings += 1;
        self.reasons = self.reasons.union(reasons);
        if let [Some(left), Some(bottom), Some(front)] = seen.placed.position_cm {
            self.placed += 1;
            for (sum, add) in self.sum_cm.iter_mut().zip([left, bottom, front]) {
                *sum += add;
            }
        }
    }

    /// The readings of a device that may count towards its value.
    fn bucket(&mut self, device: usize, repeat_percent: f64) -> &mut Bucket {
        let known = self.buckets.iter().position(|(of, _)| *of == device);
        let number = known.unwrap_or_else(|| {
            self.buckets.push((device, Bucket::new(repeat_percent)));
            self.buckets.len() - 1
        });
        &mut self.buckets[number].1
    }

    fn mean_position(&self) -> Option<Position> {
        (self.placed > 0)
            .then(|| Position::from(self.sum_cm.map(|sum| sum / self.placed as f64)))
            .filter(|mean| mean.is_finite())
    }
}

/// The readings of one device at one station.
#[derive(Debug)]
struct Bucket {
    burst: BlockedBurst,
    /// The readings of the unfinished block.
    waiting: Vec<Waiting>,
    used: u64,
    questionable: u64,
    best: Flag,
    shared: SharedSums,
    /// The correction of the first used reading.
    chain: Option<usize>,
    /// Relative, the largest of its readings': a place is as uncertain for one reading as for many.
    u_place: f64,
    u_rod: f64,
    /// The same of its readings' tilt: tilted one way a device is wrong one way.
    u_tilt: f64,
    reasons: Reasons,
}

/// A reading whose burst has not been looked at.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Waiting {
    pub(crate) at: At,
    pub(crate) flag: Flag,
    pub(crate) raw: f64,
    pub(crate) ppfd: f64,
    /// Number of the chain that corrected it.
    pub(crate) chain: usize,
}

impl Bucket {
    fn new(repeat_percent: f64) -> Self {
        Self {
            burst: BlockedBurst::new(BurstSettings { repeat_percent }),
            waiting: Vec::new(),
            used: 0,
            questionable: 0,
            best: Flag::Missing,
            shared: SharedSums::default(),
            chain: None,
            u_place: 0.0,
            u_rod: 0.0,
            u_tilt: 0.0,
            reasons: Reasons::NONE,
        }
    }

    fn push(&mut self, reading: Waiting, seen: &Seen, chains: &[Chain], verdicts: &mut Verdicts) {
        self.waiting.push(reading);
        self.u_place = self.u_place.max(seen.placed.u_place);
        self.u_rod = self.u_rod.max(seen.placed.u_rod);
        self.u_tilt = self.u_tilt.max(seen.u_tilt);
        if let Some(block) = self.burst.push(reading.ppfd) {
            self.settle(&block.reasons, chains, verdicts);
        }
    }

    /// Judges what waits, and lets its memory go.
    fn cut(&mut self, chains: &[Chain], verdicts: &mut Verdicts) {
        if let Some(block) = self.burst.cut() {
            self.settle(&block.reasons, chains, verdicts);
        }
        self.waiting = Vec::new();
    }

    /// Tells each reading of a finished block what the block showed, and counts those in the value.
    fn settle(&mut self, told: &[Reasons], chains: &[Chain], verdicts: &mut Verdicts) {
        for (reading, told) in self.waiting.drain(..).zip(told) {
            let flag = verdicts.tell(reading.at, *told, reading.flag);
            self.reasons = self.reasons.union(*told);
            if !flag.is_used() {
                continue;
            }
            self.used += 1;
            self.questionable += u64::from(flag == Flag::Questionable);
            self.best = self.best.min(flag);
            self.chain.get_or_insert(reading.chain);
            // Worked out again rather than held: of a rejected reading nothing is shared.
            let corrected = chains[reading.chain].prepared.apply(reading.raw);
            self.shared.add(reading.ppfd, &corrected.shared);
        }
    }

    /// The value of the whole burst; `None` where nothing is left of it.
    fn finish(&mut self, chains: &[Chain], verdicts: &mut Verdicts) -> Option<Burst> {
        let none = BlockedBurst::new(BurstSettings { repeat_percent: 0.0 });
        let (last, whole) = std::mem::replace(&mut self.burst, none).finish();
        if let Some(block) = last {
            self.settle(&block.reasons, chains, verdicts);
        }
        whole.filter(|_| self.used > 0)
    }
}

/// Sums of shared uncertainties, source by source: a mean shares them in full.
#[derive(Debug, Default)]
struct SharedSums {
    count: u64,
    sizes: f64,
    parts: [f64; SharedKind::ALL.len()],
}

impl SharedSums {
    fn add(&mut self, ppfd: f64, shared: &SharedU) {
        self.count += 1;
        self.sizes += ppfd.abs();
        for (sum, kind) in self.parts.iter_mut().zip(SharedKind::ALL) {
            *sum += shared.get(kind);
        }
    }

    /// Of a station's value. Percents are of that value (formats, section 10, uncertainty); what the steps of
    /// a correction bring is the mean over its readings.
    fn of(&self, ppfd: f64) -> Vec<SharedPart> {
        let percents = [
            SharedKind::Calibration,
            SharedKind::DeviceDrift,
            SharedKind::Rezero,
        ];
        let part = |(kind, sum): (SharedKind, f64)| SharedPart {
            kind,
            u_ppfd: if percents.contains(&kind) {
                sum / self.sizes * ppfd.abs()
            } else {
                sum / self.count as f64
            },
        };
        SharedKind::ALL
            .into_iter()
            .zip(self.parts)
            .filter(|(_, sum)| *sum > 0.0)
            .map(part)
            .filter(|part| part.u_ppfd > 0.0)
            .collect()
    }
}

/// The stations of a survey.
pub(crate) struct Stations {
    pub(crate) values: Vec<StationValue>,
    /// True where every value goes back to a reference.
    pub(crate) tied_to_reference: bool,
}

/// Makes the station values: where a reference read a station its readings alone, otherwise those of the
/// device with most used readings (formats, section 10, surveys).
pub(crate) fn station_values(
    stage: &mut Stage<'_>,
    tallies: Tallies,
    verdicts: &mut Verdicts,
    date: Date,
    water_cm: Option<f64>,
) -> Stations {
    let light = stage.light(date, water_cm);
    let mut values = Vec::with_capacity(tallies.by_station.len());
    let mut tied = true;
    for (number, tally) in tallies.by_station.into_iter().enumerate() {
        let (value, tied_to_reference) = station_value(stage, number, tally, verdicts, light.as_ref());
        tied &= tied_to_reference;
        values.push(value);
    }
    stage.order_stations(&mut values, date);
    Stations {
        tied_to_reference: tied && values.iter().any(|value| value.value.is_some()),
        values,
    }
}

fn station_value(
    stage: &Stage<'_>,
    number: usize,
    mut tally: Tally,
    verdicts: &mut Verdicts,
    light: Option<&Light>,
) -> (StationValue, bool) {
    let mean_position = tally.mean_position();
    let mut reasons = tally.reasons;
    let mut best: Option<(usize, &Bucket, Burst)> = None;
    let rank = |device: usize, bucket: &Bucket| {
        let id = stage.register.device_id(device).clone();
        (stage.register.is_reference(device), bucket.used, Reverse(id))
    };
    for (device, bucket) in &mut tally.buckets {
        let burst = bucket.finish(&stage.chains, verdicts);
        reasons = reasons.union(bucket.reasons);
        if let Some(burst) = burst
            && (best.as_ref()).is_none_or(|(other, than, _)| rank(*device, bucket) > rank(*other, than))
        {
            best = Some((*device, bucket, burst));
        }
    }
    let place = &stage.register.stations[number];
    let position = place.at.or(mean_position);
    let mut value = StationValue {
        station: place.name.clone(),
        declared: place.declared,
        position,
        readings: tally.readings,
        used: 0,
        value: None,
        device: Text::from(""),
        correction: Text::from(""),
        shared: Vec::new(),
        u_place_ppfd: None,
        u_tilt_ppfd: None,
        gradient_per_cm: position.and_then(|at| light?.gradient_per_cm(at)),
        scatter_percent: None,
        flag: Flag::Bad,
        reasons,
    };
    let tied = match &best {
        Some((device, bucket, burst)) => {
            fill(&mut value, stage, *device, bucket, burst);
            stage.is_tied_to_reference(*device, bucket.chain)
        }
        None => true,
    };
    (value, tied)
}

fn fill(value: &mut StationValue, stage: &Stage<'_>, device: usize, bucket: &Bucket, burst: &Burst) {
    let ppfd = burst.value;
    let mut shared = bucket.shared.of(ppfd);
    if bucket.u_rod > 0.0 {
        shared.push(SharedPart {
            kind: SharedKind::RodHeight,
            u_ppfd: (ppfd * bucket.u_rod).abs(),
        });
    }
    value.used = bucket.used;
    value.value = Some(Measured {
        ppfd,
        u_own: (burst.u_own)
            .hypot(ppfd * bucket.u_place)
            .hypot(ppfd * bucket.u_tilt),
        u_shared: shared.iter().fold(0.0, |sum: f64, part| sum.hypot(part.u_ppfd)),
    });
    let part = |relative: f64| (relative > 0.0).then_some((ppfd * relative).abs());
    value.u_place_ppfd = part(bucket.u_place);
    value.u_tilt_ppfd = part(bucket.u_tilt);
    value.shared = shared;
    value.device = stage.register.device_id(device).clone();
    if let Some(chain) = bucket.chain {
        value.correction = stage.chains[chain].key.clone();
    }
    value.scatter_percent = burst.scatter_percent;
    value.flag = if bucket.questionable * 2 > bucket.used {
        Flag::Questionable
    } else {
        bucket.best
    };
    if burst.unsteady {
        value.reasons.add(Reason::Unsteady);
    }
}
