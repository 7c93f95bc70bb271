//! What happens in a simulated tank, and what the right answer is.

use crate::drift::random::Random;
use crate::drift::truth::{Noise, State, Truth, month};
use undim_model::{AlertTarget, Cause, Survey};

/// Surveys in a history, one a month.
pub(crate) const SURVEYS: usize = 24;

/// What happens.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Kind {
    /// Nothing.
    Quiet,
    /// 10 % off one whole fixture.
    OneFixture,
    /// 10 to 25 % off one fixture by a film.
    Lens,
    /// 0.4 to 0.9 per metre more attenuation.
    Water,
    /// 30 to 60 % off one place.
    Shade,
    /// 8 to 15 % off everything at once.
    EvenStep,
    /// 9 % a year off everything.
    Ageing,
    /// One of the events that the priors name, as often as they say, of a cause drawn by the priors' odds.
    Drawn,
}

impl Kind {
    /// All of them, in the order of the table.
    pub(crate) const ALL: [Self; 8] = [
        Self::Quiet,
        Self::OneFixture,
        Self::Lens,
        Self::Water,
        Self::Shade,
        Self::EvenStep,
        Self::Ageing,
        Self::Drawn,
    ];

    /// As the table names it.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Quiet => "quiet",
            Self::OneFixture => "one-fixture",
            Self::Lens => "lens",
            Self::Water => "water",
            Self::Shade => "shade",
            Self::EvenStep => "even-step",
            Self::Ageing => "ageing",
            Self::Drawn => "drawn",
        }
    }
}

/// A history and what is true of it.
#[derive(Debug)]
pub(crate) struct History {
    /// The tank.
    pub(crate) truth: Truth,
    /// Its surveys.
    pub(crate) surveys: Vec<Survey>,
    /// What was true at each.
    pub(crate) states: Vec<State>,
    /// The first survey after it began; or for what creeps, past the threshold.
    pub(crate) shows_at: usize,
    /// The first survey that is touched at all.
    pub(crate) begins: usize,
    /// What an alert should be about.
    pub(crate) target: Option<AlertTarget>,
    /// Its true cause.
    pub(crate) cause: Option<Cause>,
}

/// What happens to the tank, survey by survey.
struct Event {
    begins: usize,
    target: AlertTarget,
    cause: Cause,
    /// Percent a year, or all at once.
    creeps: bool,
    size: f64,
    what: What,
}

enum What {
    Even,
    Device,
    Fixture(usize),
    Water,
    Zero,
    Place(usize),
}

/// Makes a history.
pub(crate) fn history(kind: Kind, seed: u64, noise: Noise) -> History {
    let mut truth = Truth::new(seed, noise);
    let event = event(kind, &mut truth);
    let states: Vec<State> = (0..SURVEYS)
        .map(|t| event.as_ref().map_or_else(State::default, |event| event.state(t)))
        .collect();
    let surveys = states
        .iter()
        .enumerate()
        .map(|(t, state)| truth.survey(month(t), state))
        .collect();
    let threshold = truth.tank.drift.loss_percent.notice / 100.0;
    let (begins, shows_at) = event.as_ref().map_or((SURVEYS, SURVEYS), |event| {
        let shows = if event.creeps {
            event.begins + (12.0 * threshold / event.size).ceil() as usize
        } else {
            event.begins
        };
        (event.begins, shows)
    });
    History {
        truth,
        surveys,
        states,
        shows_at,
        begins,
        target: event.as_ref().map(|event| event.target.clone()),
        cause: event.map(|event| event.cause),
    }
}

impl Event {
    fn state(&self, t: usize) -> State {
        let mut state = State::default();
        if t < self.begins {
            return state;
        }
        let size = if self.creeps {
            self.size * (t - self.begins) as f64 / 12.0
        } else {
            self.size
        };
        match self.what {
            What::Even => state.given = [1.0 - size; 2],
            What::Device => state.device = 1.0 - size,
            What::Fixture(which) => state.given[which] = 1.0 - size,
            What::Water => state.water_per_m = size,
            What::Zero => state.zero = -size,
            What::Place(place) => state.shaded = Some((place, 1.0 - size)),
        }
        state
    }
}

fn fixture(which: usize) -> AlertTarget {
    AlertTarget::Fixture(["west", "east"][which].to_owned())
}

fn event(kind: Kind, truth: &mut Truth) -> Option<Event> {
    let places = truth.places();
    let random = &mut truth.random;
    let begins = 4 + random.one_of(16);
    let event = |target, cause, size, what| Event {
        begins,
        target,
        cause,
        creeps: false,
        size,
        what,
    };
    Some(match kind {
        Kind::Quiet => return None,
        Kind::OneFixture => {
            let which = random.one_of(2);
            event(fixture(which), Cause::LensDirty, 0.10, What::Fixture(which))
        }
        Kind::Lens => {
            let which = random.one_of(2);
            event(
                fixture(which),
                Cause::LensDirty,
                random.between(0.10, 0.25),
                What::Fixture(which),
            )
        }
        Kind::Water => event(
            AlertTarget::Tank,
            Cause::WaterClarity,
            random.between(0.4, 0.9),
            What::Water,
        ),
        Kind::Shade => {
            let place = random.one_of(places);
            let size = random.between(0.3, 0.6);
            let target = AlertTarget::Station(truth.place(place).to_owned());
            event(target, Cause::StationShaded, size, What::Place(place))
        }
        Kind::EvenStep => event(
            AlertTarget::Tank,
            Cause::LevelsChanged,
            random.between(0.08, 0.15),
            What::Even,
        ),
        Kind::Ageing => Event {
            begins: 0,
            creeps: true,
            ..event(AlertTarget::Tank, Cause::FixtureAgeing, 0.09, What::Even)
        },
        Kind::Drawn => drawn(random, begins),
    })
}

/// An event a keeper might meet: the class by the tank's priors, step or creep alike, the cause by the odds of its class.
fn drawn(random: &mut Random, begins: usize) -> Event {
    let class = random.uniform() * 1.2;
    let creeps = random.uniform() < 0.5;
    let cause = random.uniform();
    let begins = if creeps { begins / 2 } else { begins };
    let size = if creeps {
        random.normal(0.10).abs()
    } else {
        random.normal(0.15).abs()
    };
    let event = |target, cause, size, what| Event {
        begins,
        target,
        cause,
        creeps,
        size,
        what,
    };
    let size = size.min(0.6);
    if class < 0.3 {
        let cause = match (creeps, cause) {
            (false, c) if c < 0.4 => Cause::LevelsChanged,
            (false, c) if c < 0.8 => Cause::DeviceDrift,
            (true, c) if c < 0.5 => Cause::FixtureAgeing,
            (true, c) if c < 0.8 => Cause::DeviceDrift,
            _ => Cause::SensorFouled,
        };
        let what = if cause == Cause::DeviceDrift {
            What::Device
        } else {
            What::Even
        };
        event(AlertTarget::Tank, cause, size, what)
    } else if class < 0.5 {
        let size = random.normal(if creeps { 0.33 } else { 0.5 }).abs();
        event(AlertTarget::Tank, Cause::WaterClarity, size, What::Water)
    } else if class < 0.6 {
        let size = random.normal(if creeps { 8.0 } else { 12.0 }).abs();
        event(AlertTarget::Tank, Cause::DeviceDrift, size, What::Zero)
    } else {
        let which = random.one_of(2);
        let cause = match (creeps, cause) {
            (_, c) if c < 0.55 => Cause::LensDirty,
            (false, c) if c < 0.80 => Cause::FixtureFault,
            (false, _) => Cause::LevelsChanged,
            (true, _) => Cause::FixtureAgeing,
        };
        event(fixture(which), cause, size, What::Fixture(which))
    }
}
