//! All surveys since the baseline, judged together.
//!
//! The values are y = ln E. Each station has one flat level; each survey moves all stations along a few tank-wide shapes
//! ([`shapes`]); what is left is a station's own noise. Because every tank-wide change and every shared error lies in the
//! span of those shapes, a survey is first compressed to what it says of them ([`cells`]: robust, and with the noise
//! scaled by what the residuals show), and events are then looked for in that small space ([`search`]): a class (which
//! shape) with a course in time (a step, a ramp or a pulse), held against nothing at all, against a slip of the last
//! survey and against one another by their evidence. [`totals`] says what it all comes to now.

mod cells;
mod look;
mod search;
mod shapes;
mod stations;
mod totals;

pub(crate) use search::{Class, Event};
pub(crate) use stations::Station;
pub(crate) use totals::{Amount, Totals};

use crate::compare;
use crate::shares::Shares;
use cells::Cells;
use jiff::civil::Date;
use shapes::Shapes;
use undim_model::{Priors, SharedKind, Survey, Text};

/// Surveys kept from the beginning of a record.
const KEPT_FIRST: usize = 3;
/// Surveys kept from its end; those between are forgotten.
const KEPT_LAST: usize = 24;
/// Days in a year.
const YEAR: f64 = 365.25;

/// What the keeper says of the tank.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Settings {
    /// Events a year.
    pub(crate) priors: Priors,
    /// How well a whole survey repeats, percent.
    pub(crate) repeat_percent: f64,
}

/// One value of a survey.
#[derive(Debug, Clone, Copy)]
struct Cell {
    station: usize,
    ln: f64,
    /// Own variance of that.
    variance: f64,
}

/// One survey as it was taken in.
#[derive(Debug, Clone)]
struct Seen {
    date: Date,
    /// Years since the first survey of the record.
    years: f64,
    cells: Vec<Cell>,
    /// Standard deviation of what a survey shares beyond the tank's own, relative.
    rezero: f64,
    /// The device and correction most stations were read with, and the size of what lasts with it, relative.
    with: (Text, Text),
    lasting: f64,
    /// Coefficients of the last robust fit: where the next one starts.
    theta: Vec<f64>,
}

/// The surveys of one scene since its baseline.
#[derive(Debug, Clone)]
pub(crate) struct Record {
    stations: Vec<Text>,
    levels: Vec<f64>,
    shapes: Shapes,
    first: Date,
    seen: Vec<Seen>,
}

/// What a record says as of its last survey.
#[derive(Debug, Clone)]
pub(crate) struct Said {
    /// Events beyond doubt, the most certain first.
    pub(crate) events: Vec<Event>,
    /// What is likeliest of what is not beyond doubt.
    pub(crate) likeliest: Option<Event>,
    /// What they come to now.
    pub(crate) totals: Totals,
    /// Variance that known events leave at each station, because shapes are never exact.
    pub(crate) misfit: Vec<f64>,
    /// What the last look found that is not beyond doubt.
    pub(crate) open: search::Odds,
    /// Days of the record's surveys.
    pub(crate) days: Vec<Date>,
    /// What is left to each station, by name, in the record's order.
    pub(crate) stations: Vec<(Text, Station)>,
    /// The standard deviation that a survey shares, relative, as the record itself shows it.
    pub(crate) shared: f64,
}

impl Record {
    /// A record that begins with a baseline survey.
    pub(crate) fn new(baseline: &Survey, shares: &Shares) -> Self {
        let usable: Vec<_> = baseline
            .stations
            .iter()
            .enumerate()
            .filter_map(|(at, station)| Some((at, station, compare::usable(station)?)))
            .collect();
        let stations = usable
            .iter()
            .map(|(_, station, _)| station.station.clone())
            .collect();
        let levels = usable.iter().map(|(_, _, value)| value.ppfd.ln()).collect();
        let shapes = Shapes::new(
            &usable
                .iter()
                .map(|(at, station, value)| (*at, *station, value.ppfd))
                .collect::<Vec<_>>(),
            shares,
        );
        let mut record = Self {
            stations,
            levels,
            shapes,
            first: baseline.date,
            seen: Vec::new(),
        };
        record.add(baseline);
        record
    }

    /// Adds a survey.
    pub(crate) fn add(&mut self, survey: &Survey) {
        let mut cells = Vec::new();
        let mut rezero = 0.0_f64;
        let mut lasting = 0.0_f64;
        let mut with: Vec<((Text, Text), usize)> = Vec::new();
        let mut next = 0;
        for station in &survey.stations {
            // Surveys mostly hold the same stations in the same order.
            let found = if self.stations.get(next) == Some(&station.station) {
                Some(next)
            } else {
                self.stations.iter().position(|known| *known == station.station)
            };
            let Some(at) = found else {
                continue;
            };
            next = at + 1;
            let Some(value) = compare::usable(station) else {
                continue;
            };
            let own = (value.u_own / value.ppfd).max(compare::LEAST_OWN);
            if own > compare::MOST_OWN {
                continue;
            }
            cells.push(Cell {
                station: at,
                ln: value.ppfd.ln(),
                variance: own * own,
            });
            let key = (station.device.clone(), station.correction.clone());
            match with.iter_mut().find(|(known, _)| *known == key) {
                Some((_, count)) => *count += 1,
                None => with.push((key, 1)),
            }
            let size = |lasts: bool| {
                station
                    .shared
                    .iter()
                    .filter(|part| {
                        part.u_ppfd.is_finite()
                            && part.kind != SharedKind::RodHeight
                            && part.kind.lasts_between_surveys() == lasts
                    })
                    .fold(0.0_f64, |sum, part| sum.hypot(part.u_ppfd / value.ppfd))
            };
            rezero = rezero.max(size(false));
            lasting = lasting.max(size(true));
        }
        let with = with
            .into_iter()
            .reduce(|most, other| if other.1 > most.1 { other } else { most })
            .map(|(key, _)| key)
            .unwrap_or_default();
        self.seen.push(Seen {
            date: survey.date,
            years: f64::from((survey.date - self.first).get_days()) / YEAR,
            cells,
            rezero,
            with,
            lasting,
            theta: vec![0.0; self.shapes.count()],
        });
        if self.seen.len() > KEPT_FIRST + KEPT_LAST {
            self.seen.remove(KEPT_FIRST);
        }
    }

    /// Judges all surveys so far. `None` where there are too few stations, or the numbers can't be handled.
    pub(crate) fn judge(&mut self, settings: &Settings) -> Option<Said> {
        if self.seen.len() < 2 || self.stations.len() < crate::fit::LEAST_PLACES {
            return None;
        }
        let cells = Cells::new(&mut self.seen, &mut self.levels, &self.shapes)?;
        let mut said = search::search(&self.seen, &cells, &self.shapes, settings)?;
        let years: Vec<f64> = self.seen.iter().map(|survey| survey.years).collect();
        let stations = stations::stations(&cells, &said.misfit, &years);
        said.days = self.seen.iter().map(|survey| survey.date).collect();
        said.stations = self.stations.iter().cloned().zip(stations).collect();
        Some(said)
    }

    /// The stations at which a shape shows best, the best first.
    pub(crate) fn telling(&self, class: Class, count: usize) -> Vec<Text> {
        let coordinate = match class {
            Class::Fixture(at) => Some(at),
            Class::Water => self.shapes.path,
            Class::Zero => self.shapes.zero,
            Class::Even | Class::Unexplained => None,
        };
        let mut all: Vec<(f64, usize)> = (0..self.stations.len())
            .filter(|station| self.shapes.speaks(*station))
            .map(|station| {
                let size = match coordinate {
                    Some(at) => self.shapes.row(station).get(at).copied().unwrap_or(0.0),
                    // All alike shows best where there is most light.
                    None => self.levels.get(station).copied().unwrap_or(0.0),
                };
                (size, station)
            })
            .collect();
        all.sort_by(|a, b| {
            b.0.total_cmp(&a.0)
                .then_with(|| self.stations[a.1].cmp(&self.stations[b.1]))
        });
        all.into_iter()
            .take(count)
            .map(|(_, station)| self.stations[station].clone())
            .collect()
    }

    /// How many surveys it holds.
    pub(crate) fn surveys(&self) -> usize {
        self.seen.len()
    }
}
