//! A tank with known truth, for tests only.
//!
//! Richer than the model that judges: the fixtures hang 3 cm from where they are declared, panes reflect, places are
//! not found again exactly, the sensor is not quite level, the fixtures' levels wander, and whole surveys share
//! an error.

use crate::shares::{KnowsShares, Shares};
use jiff::Timestamp;
use jiff::civil::{Date, date};
use undim_model::{
    Flag, FlagCounts, Measured, Position, Reasons, SharedKind, SharedPart, StationValue, Survey, Tank, Text,
};

/// `SplitMix64` (G. L. Steele, D. Lea, C. H. Flood, OOPSLA 2014), and normal values by Box & Muller (1958).
pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub(crate) fn uniform(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn normal(&mut self, sd: f64) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        sd * radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

const LENGTH: f64 = 120.0;
const DEPTH: f64 = 60.0;
const REFLECTED: f64 = 0.3;

/// Light of one fixture at a place: four lenses of cosine-squared spread, straight rays, attenuation on the way.
fn light(centre: [f64; 3], at: Position, reflected: f64) -> f64 {
    let direct = |at: Position| {
        [(-5.0, -5.0), (-5.0, 5.0), (5.0, -5.0), (5.0, 5.0)]
            .into_iter()
            .map(|(dx, dz)| {
                let lens = Position::new(centre[0] + dx, centre[1], centre[2] + dz);
                let distance = lens.distance_cm(at);
                let cos = (lens.from_bottom_cm - at.from_bottom_cm) / distance;
                cos.powi(3) / distance.powi(2) * (-0.0025 * distance).exp()
            })
            .sum::<f64>()
    };
    let Position {
        from_left_cm: x,
        from_bottom_cm: y,
        from_front_cm: z,
    } = at;
    direct(at)
        + reflected
            * [
                Position::new(-x, y, z),
                Position::new(2.0 * LENGTH - x, y, z),
                Position::new(x, y, -z),
                Position::new(x, y, 2.0 * DEPTH - z),
            ]
            .map(direct)
            .iter()
            .sum::<f64>()
}

/// What is wrong with the light and the keeper in a simulated year.
#[derive(Clone, Copy)]
pub(crate) struct Noise {
    /// Shared by a survey and not stated by the device, percent; the tank states the same.
    pub(crate) repeat_percent: f64,
    /// Shared by a survey and stated by the device, percent.
    pub(crate) rezero_percent: f64,
    /// How well a place is found again, cm.
    pub(crate) place_cm: f64,
    /// What an unlevel sensor costs, percent, stated nowhere.
    pub(crate) tilt_percent: f64,
}

impl Noise {
    /// Shared error of one survey, stated and unstated in equal parts.
    pub(crate) fn shared(percent: f64) -> Self {
        let part = percent / std::f64::consts::SQRT_2;
        Self {
            repeat_percent: part,
            rezero_percent: part,
            place_cm: 0.5,
            tilt_percent: 1.0,
        }
    }
}

/// A simulated tank.
pub(crate) struct Simulated {
    pub(crate) tank: Tank,
    pub(crate) places: Vec<(Text, Position)>,
    declared: Vec<(String, [f64; 3])>,
    true_centres: Vec<[f64; 3]>,
    noise: Noise,
    pub(crate) random: Random,
}

impl Simulated {
    /// Two fixtures, thirty places at three heights.
    pub(crate) fn new(seed: u64, noise: Noise) -> Self {
        let mut random = Random::new(seed);
        let declared: Vec<(String, [f64; 3])> = [("west", 30.0), ("east", 90.0)]
            .map(|(id, left)| (id.to_owned(), [left, 75.0, 30.0]))
            .into();
        let true_centres = declared
            .iter()
            .map(|(_, centre)| centre.map(|c| c + random.normal(3.0 / 3.0_f64.sqrt())))
            .collect();
        let mut places = Vec::new();
        for height in [10.0, 22.0, 34.0] {
            for column in 0..5 {
                for row in [18.0, 42.0] {
                    let name = format!("at-{}-{height}-{row}", 12 + 24 * column);
                    let left = 12.0 + 24.0 * f64::from(column);
                    places.push((Text::from(name), Position::new(left, height, row)));
                }
            }
        }
        let mut tank = Tank::undeclared("harbour");
        tank.drift.survey_repeat_percent = noise.repeat_percent;
        Self {
            tank,
            places,
            declared,
            true_centres,
            noise,
            random,
        }
    }

    /// A survey with `given[f]` of each fixture's full light, and `place_factor(i)` more at single places.
    pub(crate) fn survey(&mut self, day: Date, given: &[f64], place_factor: impl Fn(usize) -> f64) -> Survey {
        let noise = self.noise;
        let common = (self.random.normal(noise.repeat_percent / 100.0)
            + self.random.normal(noise.rezero_percent / 100.0))
        .exp();
        let levels: Vec<f64> = given
            .iter()
            .map(|g| g * self.random.normal(0.007).exp())
            .collect();
        let places = self.places.clone();
        let stations = places
            .iter()
            .enumerate()
            .map(|(i, (name, at))| self.station(name, *at, &levels, common * place_factor(i)))
            .collect();
        survey(day, "noon", stations)
    }

    fn station(&mut self, name: &Text, at: Position, levels: &[f64], factor: f64) -> StationValue {
        let noise = self.noise;
        let total = |at: Position| -> f64 {
            self.true_centres
                .iter()
                .zip(levels)
                .map(|(centre, level)| 1e6 * level * light(*centre, at, REFLECTED))
                .sum()
        };
        let here = total(at);
        let gradient: f64 = (0..3)
            .map(|axis| {
                let mut step = [0.0; 3];
                step[axis] = 0.1;
                ((total(at.moved_by(step)) / here).ln() / 0.1).powi(2)
            })
            .sum::<f64>()
            .sqrt();
        let off = [0; 3].map(|_| self.random.normal(noise.place_cm));
        let missed = {
            let moved = at.moved_by(off);
            self.true_centres
                .iter()
                .zip(levels)
                .map(|(centre, level)| 1e6 * level * light(*centre, moved, REFLECTED))
                .sum::<f64>()
        };
        let burst = 0.02 / 5.0_f64.sqrt();
        let ppfd = missed
            * factor
            * (1.0 + self.random.normal(burst))
            * (1.0 + self.random.normal(noise.tilt_percent / 100.0));
        let u_own = ppfd * burst.hypot(gradient * noise.place_cm);
        let shared = [
            (SharedKind::Calibration, 3.0),
            (SharedKind::Rezero, noise.rezero_percent),
        ]
        .map(|(kind, percent)| SharedPart {
            kind,
            u_ppfd: ppfd * percent / 100.0,
        });
        station(name, Some(at), ppfd, u_own, &shared)
    }
}

/// Shares as the declared geometry tells them: no reflections, fixtures where they are declared.
impl KnowsShares for Simulated {
    fn shares(&self, survey: &Survey) -> Shares {
        let stations = survey
            .stations
            .iter()
            .map(|station| {
                let at = station.position?;
                let parts: Vec<f64> = self.declared.iter().map(|(_, c)| light(*c, at, 0.0)).collect();
                let sum: f64 = parts.iter().sum();
                Some(parts.iter().map(|part| part / sum).collect())
            })
            .collect();
        Shares {
            fixtures: self.declared.iter().map(|(id, _)| id.clone()).collect(),
            stations,
            paths_m: Vec::new(),
        }
    }
}

/// No fixture is declared.
pub(crate) struct NoFixtures;

impl KnowsShares for NoFixtures {
    fn shares(&self, _: &Survey) -> Shares {
        Shares::default()
    }
}

/// A day so many months after January 2026.
pub(crate) fn month(number: usize) -> Date {
    let number = number as i16;
    date(2026 + number / 12, (number % 12) as i8 + 1, 5)
}

/// A station's value, read with one device and correction.
pub(crate) fn station(
    name: &str,
    position: Option<Position>,
    ppfd: f64,
    u_own: f64,
    shared: &[SharedPart],
) -> StationValue {
    let u_shared = shared.iter().fold(0.0_f64, |sum, part| sum.hypot(part.u_ppfd));
    StationValue {
        station: Text::from(name),
        declared: false,
        position,
        readings: 5,
        used: 5,
        value: Some(Measured {
            ppfd,
            u_own,
            u_shared,
        }),
        device: Text::from("bagged-phone"),
        correction: Text::from("bagged-phone 2026-01-01"),
        shared: shared.to_vec(),
        u_place_ppfd: None,
        u_tilt_ppfd: None,
        gradient_per_cm: None,
        scatter_percent: None,
        flag: Flag::Good,
        reasons: Reasons::NONE,
    }
}

/// A survey at noon UTC.
pub(crate) fn survey(day: Date, scene: &str, stations: Vec<StationValue>) -> Survey {
    let start: Timestamp = format!("{day}T12:00:00Z").parse().unwrap();
    Survey {
        tank: "harbour".to_owned(),
        id: format!("{day}-{scene}"),
        revision: 1,
        scene: Some(scene.to_owned()),
        replaces: Vec::new(),
        start,
        end: start,
        date: day,
        timezone: "UTC".to_owned(),
        sources: Vec::new(),
        withdrawn: Vec::new(),
        devices: Vec::new(),
        stations,
        counts: FlagCounts::default(),
        pumps_on: None,
        water_cm: None,
        read_again: Vec::new(),
        said: Vec::new(),
        tied_to_reference: false,
    }
}
