//! A tank with known truth, richer than the model that judges it.
//!
//! What the judge is not told: fixtures hang 3 cm from where they are declared and throw another beam, four panes
//! reflect, rock shades each place from each fixture by another amount, water absorbs and wanders, readings are
//! taken some millimetres off, a whole survey shares a height error and a scale error, the sensor leans, the surface
//! ripples, an arm throws its shadow, whole bursts go wrong, and each fixture's level wanders.

use crate::drift::random::Random;
use jiff::Timestamp;
use jiff::civil::{Date, date};
use undim_model::{
    DateSpan, Fixture, Flag, FlagCounts, Inside, LevelSet, Measured, Position, Reasons, Scene, StationValue,
    Survey, Tank, Text,
};
use undim_place::light::Light;

const LENGTH_CM: f64 = 120.0;
const FRONT_TO_BACK_CM: f64 = 60.0;
const WATER_CM: f64 = 50.0;
const FIXTURES: [(&str, f64); 2] = [("west", 30.0), ("east", 90.0)];
/// Full light, µmol m⁻² s⁻¹, of the brightest place.
const BRIGHTEST: f64 = 400.0;

/// Sizes of all that goes wrong; k = 1.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Noise {
    /// Shared by a whole survey, percent.
    pub(crate) survey_percent: f64,
    /// How far a fixture hangs from where it is declared, cm (root mean square).
    pub(crate) misplaced_cm: f64,
    /// Each place, each way, cm.
    pub(crate) place_cm: f64,
    /// A whole survey's height, cm.
    pub(crate) rod_cm: f64,
    /// How much the sensor leans each way, degrees.
    pub(crate) tilt_deg: f64,
    /// A single reading, from ripples, percent.
    pub(crate) ripple_percent: f64,
    /// How often an arm shades a single reading.
    pub(crate) shadows: f64,
    /// How often a whole burst goes wrong.
    pub(crate) blunders: f64,
    /// How well a fixture repeats its level, percent.
    pub(crate) level_percent: f64,
    /// How far the water's attenuation wanders, per metre.
    pub(crate) water_per_m: f64,
}

impl Noise {
    /// All of it, with a shared survey error of so many percent.
    pub(crate) fn with_survey_error(survey_percent: f64) -> Self {
        Self {
            survey_percent,
            misplaced_cm: 3.0,
            place_cm: 0.5,
            rod_cm: 0.3,
            tilt_deg: 1.5,
            ripple_percent: 2.0,
            shadows: 0.02,
            blunders: 0.01,
            level_percent: 0.7,
            water_per_m: 0.05,
        }
    }
}

/// What is true of a tank in one survey.
#[derive(Debug, Clone)]
pub(crate) struct State {
    /// Part of each fixture's full light that comes out.
    pub(crate) given: [f64; 2],
    /// More attenuation than at first, per metre.
    pub(crate) water_per_m: f64,
    /// What the device adds to every value, µmol m⁻² s⁻¹.
    pub(crate) zero: f64,
    /// What the device's values are multiplied by.
    pub(crate) device: f64,
    /// One place and the part of its light that is left.
    pub(crate) shaded: Option<(usize, f64)>,
}

impl Default for State {
    fn default() -> Self {
        Self {
            given: [1.0; 2],
            water_per_m: 0.0,
            zero: 0.0,
            device: 1.0,
            shaded: None,
        }
    }
}

/// One fixture's light at one place.
#[derive(Debug, Clone, Copy)]
struct Beam {
    ppfd: f64,
    gradient_per_cm: [f64; 3],
    path_m: f64,
    /// Tangent of the slant, to the left and to the rear.
    slant: [f64; 2],
}

/// A simulated tank.
#[derive(Debug)]
pub(crate) struct Truth {
    /// As its keeper declares it.
    pub(crate) tank: Tank,
    places: Vec<(Text, Position)>,
    beams: Vec<[Beam; 2]>,
    /// What the judge's own geometry says of the gradient.
    declared_gradient: Vec<[f64; 3]>,
    noise: Noise,
    water_per_m: f64,
    pub(crate) random: Random,
}

impl Truth {
    /// Two fixtures, thirty places at three heights.
    pub(crate) fn new(seed: u64, noise: Noise) -> Self {
        Self::with_columns(seed, noise, 5)
    }

    /// So many columns of six places each.
    pub(crate) fn with_columns(seed: u64, noise: Noise, columns: u32) -> Self {
        let mut random = Random::new(seed);
        let tank = declared();
        let declared_light = Light::new(&tank.fixtures, &[], WATER_CM);
        let each = noise.misplaced_cm / 3.0_f64.sqrt();
        let hung: Vec<Light> = tank
            .fixtures
            .iter()
            .filter_map(|fixture| {
                let mut fixture = fixture.clone();
                let off = [0; 3].map(|_| random.normal(each));
                fixture.centre = fixture.centre.moved_by(off);
                let exponent = 2.0 + random.normal(0.4);
                Light::new(&[fixture], &[], WATER_CM).map(|light| light.with_exponent(exponent))
            })
            .collect();
        let reflected = 0.2 + 0.2 * random.uniform();
        let water = 0.25;
        let places = places(columns);
        let mut beams: Vec<[Beam; 2]> = places
            .iter()
            .map(|(_, at)| {
                let shade = |random: &mut Random| (-random.normal(0.25).abs()).exp();
                let (first, second) = (shade(&mut random), shade(&mut random));
                [
                    beam(&hung[0], FIXTURES[0].1, *at, reflected, water, first),
                    beam(&hung[1], FIXTURES[1].1, *at, reflected, water, second),
                ]
            })
            .collect();
        let most = beams.iter().map(|[a, b]| a.ppfd + b.ppfd).fold(0.0, f64::max);
        for beam in beams.iter_mut().flatten() {
            beam.ppfd *= BRIGHTEST / most;
        }
        let declared_gradient = places
            .iter()
            .map(|(_, at)| {
                declared_light
                    .as_ref()
                    .and_then(|light| light.gradient_per_cm(*at))
                    .unwrap_or_default()
            })
            .collect();
        Self {
            tank,
            places,
            beams,
            declared_gradient,
            noise,
            water_per_m: random.normal(noise.water_per_m),
            random,
        }
    }

    /// How many places are read.
    pub(crate) fn places(&self) -> usize {
        self.places.len()
    }

    /// A place's name.
    pub(crate) fn place(&self, index: usize) -> &str {
        &self.places[index].0
    }

    /// Takes a survey.
    pub(crate) fn survey(&mut self, day: Date, state: &State) -> Survey {
        let noise = self.noise;
        let common = self.random.normal(noise.survey_percent / 100.0).exp() * state.device;
        let height = self.random.normal(noise.rod_cm);
        let levels = state
            .given
            .map(|given| given * self.random.normal(noise.level_percent / 100.0).exp());
        // It wanders, and comes back within some months.
        self.water_per_m = 0.6 * self.water_per_m + self.random.normal(0.8 * noise.water_per_m);
        let water = self.water_per_m + state.water_per_m;
        let stations = (0..self.places.len())
            .map(|index| {
                let left = state
                    .shaded
                    .filter(|(place, _)| *place == index)
                    .map_or(1.0, |(_, left)| left);
                self.station(index, levels, water, height, common * left, state.zero)
            })
            .collect();
        survey(day, stations)
    }

    fn station(
        &mut self,
        index: usize,
        levels: [f64; 2],
        water: f64,
        height: f64,
        factor: f64,
        zero: f64,
    ) -> StationValue {
        let noise = self.noise;
        let mut off = [0; 3].map(|_| self.random.normal(noise.place_cm));
        off[1] += height;
        let lean = [0; 2].map(|_| self.random.normal(noise.tilt_deg).to_radians());
        let light: f64 = self.beams[index]
            .iter()
            .zip(levels)
            .map(|(beam, level)| {
                let moved: f64 = beam.gradient_per_cm.iter().zip(off).map(|(g, o)| g * o).sum();
                let tilted = 1.0 + lean[0] * beam.slant[0] + lean[1] * beam.slant[1];
                level * beam.ppfd * (moved - water * beam.path_m).exp() * tilted
            })
            .sum();
        let blunder = if self.random.uniform() < noise.blunders {
            self.random.normal(0.3).exp()
        } else {
            1.0
        };
        let mut burst: Vec<f64> = (0..5)
            .map(|_| {
                let shadow = if self.random.uniform() < noise.shadows {
                    0.4 + 0.3 * self.random.uniform()
                } else {
                    1.0
                };
                (light * factor * shadow * (1.0 + self.random.normal(noise.ripple_percent / 100.0)) + zero)
                    .max(0.5)
            })
            .collect();
        burst.sort_by(f64::total_cmp);
        let middle = burst[2];
        // As cleaning does: what lies far below its burst is an arm's shadow.
        burst.retain(|value| (value / middle).ln().abs() < 0.15);
        let n = burst.len() as f64;
        let ppfd = blunder * burst.iter().sum::<f64>() / n;
        let place = 0.7
            * self.declared_gradient[index]
                .iter()
                .map(|g| g * g)
                .sum::<f64>()
                .sqrt();
        let u_own = ppfd * (0.02 / n.sqrt()).hypot(place);
        StationValue {
            station: self.places[index].0.clone(),
            declared: false,
            position: Some(self.places[index].1),
            readings: 5,
            used: burst.len() as u64,
            value: Some(Measured {
                ppfd,
                u_own,
                u_shared: 0.0,
            }),
            device: Text::from("bagged-phone"),
            correction: Text::from("bagged-phone 2026-01-01"),
            shared: Vec::new(),
            u_place_ppfd: None,
            u_tilt_ppfd: None,
            gradient_per_cm: Some(self.declared_gradient[index]),
            scatter_percent: Some(2.0),
            flag: Flag::Good,
            reasons: Reasons::NONE,
        }
    }

    /// What a state does to the mean of the places' light, percent.
    pub(crate) fn even_percent(&self, state: &State) -> f64 {
        let sum: f64 = self
            .beams
            .iter()
            .map(|beams| {
                let light = |given: [f64; 2], water: f64| -> f64 {
                    beams
                        .iter()
                        .zip(given)
                        .map(|(beam, given)| given * beam.ppfd * (-water * beam.path_m).exp())
                        .sum()
                };
                let before = light([1.0; 2], 0.0);
                ((state.device * light(state.given, state.water_per_m) + state.zero) / before).ln()
            })
            .sum();
        100.0 * (sum / self.beams.len() as f64).exp_m1()
    }
}

fn beam(light: &Light, centre_left: f64, at: Position, reflected: f64, water: f64, shade: f64) -> Beam {
    let Position {
        from_left_cm: x,
        from_bottom_cm: y,
        from_front_cm: z,
    } = at;
    let total = |at: Position| {
        let [x, y, z] = at.to_array();
        let images = [
            Position::new(-x, y, z),
            Position::new(2.0 * LENGTH_CM - x, y, z),
            Position::new(x, y, -z),
            Position::new(x, y, 2.0 * FRONT_TO_BACK_CM - z),
        ];
        let of = |at: Position| light.relative(at).first().copied().unwrap_or_default();
        of(at) + reflected * images.map(of).iter().sum::<f64>()
    };
    let gradient = |axis: usize| {
        let mut step = [0.0; 3];
        step[axis] = 0.2;
        let up = total(at.moved_by(step));
        step[axis] = -0.2;
        (up / total(at.moved_by(step))).ln() / 0.4
    };
    let mut gradient_per_cm = [gradient(0), gradient(1), gradient(2)];
    gradient_per_cm[1] += water / 100.0;
    let across = [x - centre_left, z - 30.0];
    let drop = 75.0 - y;
    // Under water a ray is steeper: sin θ′ = sin θ / 1.34, with the slant of the straight line.
    let slope = across[0].hypot(across[1]) / drop;
    let sin_water = slope / slope.hypot(1.0) / 1.34;
    let tan_water = sin_water / (1.0 - sin_water * sin_water).sqrt();
    let path_m = (WATER_CM - y) / 100.0 * tan_water.hypot(1.0);
    let length = across[0].hypot(across[1]).max(1e-6);
    Beam {
        ppfd: shade * total(at) * (-water * path_m).exp(),
        gradient_per_cm,
        path_m,
        slant: across.map(|way| tan_water * way / length),
    }
}

fn places(columns: u32) -> Vec<(Text, Position)> {
    let mut places = Vec::new();
    for height in [10.0, 22.0, 34.0] {
        for column in 0..columns {
            for row in [18.0, 42.0] {
                let left = 12.0 + 96.0 * f64::from(column) / f64::from((columns - 1).max(1));
                places.push((
                    Text::from(format!("at-{left}-{height}-{row}")),
                    Position::new(left, height, row),
                ));
            }
        }
    }
    places
}

fn declared() -> Tank {
    let mut tank = Tank::undeclared("harbour");
    tank.declared = true;
    tank.inside.push(Inside {
        length_cm: LENGTH_CM,
        front_to_back_cm: FRONT_TO_BACK_CM,
        height_cm: 55.0,
        water_cm: Some(WATER_CM),
        ..Inside::default()
    });
    for (id, left) in FIXTURES {
        tank.fixtures.push(Fixture {
            id: id.to_owned(),
            centre: Position::new(left, 75.0, 30.0),
            size_cm: [10.0, 10.0],
            installed: None,
            lenses: [(-5.0, -5.0), (-5.0, 5.0), (5.0, -5.0), (5.0, 5.0)]
                .map(|(x, z)| Position::new(left + x, 75.0, 30.0 + z))
                .into(),
            span: DateSpan::ALWAYS,
        });
    }
    tank.scenes.push(Scene {
        id: "noon".to_owned(),
        levels: FIXTURES
            .map(|(id, _)| (id.to_owned(), LevelSet::Whole(0.7)))
            .into(),
        only: None,
        day: Vec::new(),
        span: DateSpan::ALWAYS,
    });
    tank
}

/// A day so many months after January 2026.
pub(crate) fn month(number: usize) -> Date {
    let number = i16::try_from(number).unwrap_or(0);
    let of_year = i8::try_from(number % 12).unwrap_or(0);
    date(2026 + number / 12, of_year + 1, 5)
}

fn survey(day: Date, stations: Vec<StationValue>) -> Survey {
    let start: Timestamp = format!("{day}T12:00:00Z")
        .parse()
        .unwrap_or(Timestamp::UNIX_EPOCH);
    Survey {
        tank: "harbour".to_owned(),
        id: format!("{day}-noon"),
        revision: 1,
        scene: Some("noon".to_owned()),
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
