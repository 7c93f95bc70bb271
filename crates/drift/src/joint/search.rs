//! Which event, with which course, from when: by evidence.
//!
//! An event moves the coordinates along one direction a with the course g(t). With W the inverse covariance of a survey's
//! coordinates, stations' levels, the background slope and what is already known as nuisance columns of normal matrix N,
//! and c the event's products with those columns, A = Σ g² aᵀW a − cᵀN⁻¹c and b = Σ g aᵀW r for the residuals r. The amplitude
//! has the prior N(0, Λ), so that ln BF = ½b²/(A + 1/Λ) − ½ ln(1 + AΛ), times 2Φ(m/s) for its being a loss. (A Gaussian linear
//! model's evidence; C. M. Bishop, *Pattern Recognition and Machine Learning* (2006), section 3.5.)
//!
//! The error that a whole survey shares is not known: everything is summed over a grid of its size, each weighted by the
//! evidence that nothing but noise has under it.

use super::cells::{Cells, dot};
use super::look::{look, misfit_of};
use super::shapes::Shapes;
use super::totals;
use super::{Said, Seen, Settings};
use undim_stats::cholesky::Cholesky;

/// Sizes of the shared error, relative, and what is thought of each beforehand.
pub(super) const SIZES: usize = 5;
const SHARED: [f64; SIZES] = [0.004, 0.01, 0.02, 0.035, 0.06];
const SHARED_PRIOR: [f64; SIZES] = [0.15, 0.25, 0.30, 0.20, 0.10];
/// How well a tank's stated repeatability tells it: standard deviation of the logarithm.
const STATED_SPREAD: f64 = 0.45;
/// How well a fixture repeats its level, relative; the water's attenuation, per metre; the rod's height, cm.
const LEVEL: f64 = 0.007;
const WATER: f64 = 0.05;
const ROD: f64 = 0.3;
/// Background slope of the whole tank, a year.
const SLOPE: f64 = 0.015;
/// Of stations' levels along the shapes: as good as nothing known.
const FLAT: f64 = 10.0;
/// Amplitudes: relative; per metre; µmol m⁻² s⁻¹.
const AMPLITUDE: [f64; 3] = [0.15, 0.5, 12.0];
/// A ramp's in a year, as a part of a step's.
pub(super) const RAMP: f64 = 2.0 / 3.0;
/// How often an event is over after a given survey.
pub(super) const RECOVERY: f64 = 0.05;
/// Of a slip of the last survey.
pub(super) const SLIP: f64 = 0.03;
/// Its size, relative: a survey does not slip by half, so a loss of that size needs no second look.
pub(super) const SLIP_SIZE: f64 = 0.10;
/// How likely light comes back or grows, beside a loss.
pub(super) const GAIN: f64 = 0.3;
/// What has its own scatter at each station: an event none of the shapes explains.
pub(super) const UNEXPLAINED: f64 = 0.08;
/// Beyond this an event is real.
pub(crate) const REAL: f64 = 0.95;
/// From this probability on the last survey counts as slipped.
const SLIPPED: f64 = 0.5;
/// At most so many events at once.
const MOST_EVENTS: usize = 3;

/// What kind of change: along which shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Class {
    Even,
    Water,
    Zero,
    /// By position among the shares' fixtures.
    Fixture(usize),
    /// Stations change, but along no shape.
    Unexplained,
}

/// How it goes in time; surveys are counted in the record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Course {
    /// All at once, from this survey on.
    Step(usize),
    /// Evenly, after this survey.
    Ramp(usize),
    /// From the first survey to before the second.
    Pulse(usize, usize),
}

impl Course {
    /// Its size at a survey.
    pub(crate) fn at(self, t: usize, years: &[f64]) -> f64 {
        match self {
            Self::Step(from) => f64::from(u8::from(t >= from)),
            Self::Ramp(after) => years
                .get(t)
                .zip(years.get(after))
                .map_or(0.0, |(now, then)| (now - then).max(0.0)),
            Self::Pulse(from, to) => f64::from(u8::from(t >= from && t < to)),
        }
    }

    /// True where it still lasts at the last survey.
    pub(crate) fn lasts(self) -> bool {
        !matches!(self, Self::Pulse(..))
    }

    /// The first survey that it touches, counted in the record.
    pub(crate) fn shows_from(self) -> usize {
        match self {
            Self::Step(from) | Self::Pulse(from, _) => from,
            Self::Ramp(after) => after + 1,
        }
    }
}

/// One event.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Event {
    pub(crate) class: Class,
    pub(crate) course: Course,
    /// True for a loss.
    pub(crate) is_loss: bool,
    /// Probability that anything happened at all.
    pub(crate) p_real: f64,
    /// Of each class, if anything happened.
    pub(crate) classes: Vec<(Class, f64)>,
    /// Probability, within its class, that it creeps.
    pub(crate) p_ramp: f64,
    /// How far each other class is from explaining the same, in standard deviations.
    pub(crate) apart: Vec<(Class, f64)>,
}

impl Event {
    /// How far a class is from explaining the same.
    pub(crate) fn apart(&self, class: Class) -> f64 {
        self.apart
            .iter()
            .find(|(other, _)| *other == class)
            .map_or(f64::INFINITY, |(_, apart)| *apart)
    }
}

/// How the last look ended.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Odds {
    /// That nothing (more) happened.
    pub(crate) nothing: f64,
    /// That only the last survey slipped.
    pub(crate) slip: f64,
    /// That something of a class happened that lasts.
    pub(crate) lasting: Vec<(Class, f64)>,
}

/// A column: a direction with a course, and its prior standard deviation.
#[derive(Debug, Clone)]
pub(super) struct Column {
    /// Of an event or the background slope; `None` for what is no change of the tank.
    pub(super) class: Option<Class>,
    pub(super) along: Vec<f64>,
    pub(super) course: Vec<f64>,
    pub(super) sd: f64,
}

impl Column {
    /// The column of an event.
    pub(super) fn of(class: Class, course: Course, shapes: &Shapes, years: &[f64]) -> Option<Self> {
        let ramp = if matches!(course, Course::Ramp(_)) {
            RAMP
        } else {
            1.0
        };
        Some(Self {
            class: Some(class),
            along: along(class, shapes)?,
            course: (0..years.len()).map(|t| course.at(t, years)).collect(),
            sd: amplitude(class) * ramp,
        })
    }
}

/// Everything under one size of the shared error.
#[derive(Debug, Clone)]
pub(super) struct Under {
    /// Inverse covariance of each survey's coordinates, k × k.
    pub(super) w: Vec<f64>,
    /// That times the coordinates, k each.
    pub(super) wz: Vec<f64>,
    /// ln of its prior and of the noise's evidence.
    pub(super) ln_weight: f64,
}

/// The directions of events.
pub(super) fn along(class: Class, shapes: &Shapes) -> Option<Vec<f64>> {
    let mut along = vec![0.0; shapes.count()];
    match class {
        Class::Even => along[..shapes.alike()].fill(-1.0),
        Class::Water => along[shapes.path?] = -1.0,
        Class::Zero => along[shapes.zero?] = -1.0,
        Class::Fixture(at) => *along.get_mut(at).filter(|_| shapes.fixtures >= 2)? = -1.0,
        Class::Unexplained => return None,
    }
    Some(along)
}

/// The amplitude that a class is thought to have.
pub(super) fn amplitude(class: Class) -> f64 {
    match class {
        Class::Even | Class::Fixture(_) => AMPLITUDE[0],
        Class::Water => AMPLITUDE[1],
        Class::Zero => AMPLITUDE[2],
        Class::Unexplained => UNEXPLAINED,
    }
}

pub(super) fn rate(class: Class, settings: &Settings, shapes: &Shapes) -> f64 {
    let rate = match class {
        // The only fixture and the whole tank are one.
        Class::Even if shapes.fixtures == 1 => settings.priors.even + settings.priors.fixture,
        Class::Even => settings.priors.even,
        Class::Water => settings.priors.water,
        Class::Zero => settings.priors.zero,
        Class::Fixture(_) => settings.priors.fixture,
        Class::Unexplained => settings.priors.unexplained,
    };
    if rate.is_finite() { rate.max(1e-6) } else { 1e-6 }
}

/// The grid's weights, drawn to what the keeper states.
fn shared_prior(settings: &Settings) -> [f64; SIZES] {
    let stated = (settings.repeat_percent / 100.0).clamp(0.002, 0.1);
    let mut prior = SHARED_PRIOR;
    for (weight, size) in prior.iter_mut().zip(SHARED) {
        *weight *= (-0.5 * ((size / stated).ln() / STATED_SPREAD).powi(2)).exp();
    }
    let sum: f64 = prior.iter().sum();
    prior.map(|weight| weight / sum)
}

/// The surveys under one size of the shared error.
fn under(seen: &[Seen], cells: &Cells, shapes: &Shapes, size: f64) -> Option<Under> {
    let k = shapes.count();
    let mut w = vec![0.0; seen.len() * k * k];
    let mut wz = vec![0.0; seen.len() * k];
    let mut ln_weight = 0.0;
    for (t, survey) in seen.iter().enumerate() {
        let information = &cells.information[t * k * k..(t + 1) * k * k];
        let right = &cells.right[t * k..(t + 1) * k];
        // Columns of what the survey's noise is made of, in the shapes' coordinates.
        let mut noise: Vec<Vec<f64>> = Vec::with_capacity(k + 1);
        let mut alike = vec![0.0; k];
        alike[..shapes.alike()].fill(size.hypot(survey.rezero));
        noise.push(alike);
        let mut single = |at: Option<usize>, sd: f64| {
            if let Some(at) = at {
                let mut column = vec![0.0; k];
                column[at] = sd;
                noise.push(column);
            }
        };
        for fixture in 0..shapes.fixtures {
            single(Some(fixture), LEVEL);
        }
        single(shapes.path, WATER);
        single(shapes.height, ROD);
        let m = noise.len();
        let times: Vec<Vec<f64>> = noise
            .iter()
            .map(|column| {
                (0..k)
                    .map(|a| dot(&information[a * k..(a + 1) * k], column))
                    .collect()
            })
            .collect();
        let mut inner = vec![0.0; m * m];
        for a in 0..m {
            for b in 0..=a {
                inner[a * m + b] = dot(&noise[a], &times[b]) + f64::from(u8::from(a == b));
            }
        }
        let inner = Cholesky::new(m, &inner)?;
        // `W = J − J·V·(1 + VᵀJV)⁻¹·VᵀJ`, and the same for the right side (Woodbury).
        let mut half: Vec<f64> = noise.iter().map(|column| dot(column, right)).collect();
        inner.half_solve(&mut half);
        ln_weight += 0.5 * dot(&half, &half) - 0.5 * inner.ln_determinant();
        let mut halves = vec![0.0; k * m];
        for a in 0..k {
            let row = &mut halves[a * m..(a + 1) * m];
            for (slot, times) in row.iter_mut().zip(&times) {
                *slot = times[a];
            }
            inner.half_solve(row);
        }
        for a in 0..k {
            wz[t * k + a] = right[a] - dot(&halves[a * m..(a + 1) * m], &half);
            for b in 0..=a {
                let value =
                    information[a * k + b] - dot(&halves[a * m..(a + 1) * m], &halves[b * m..(b + 1) * m]);
                w[t * k * k + a * k + b] = value;
                w[t * k * k + b * k + a] = value;
            }
        }
    }
    Some(Under { w, wz, ln_weight })
}

/// Nuisance columns solved: their factor, and what the columns leave of W·z.
pub(super) struct Solved {
    pub(super) factor: Cholesky,
    /// N⁻¹ times the right side.
    pub(super) mean: Vec<f64>,
    /// ln evidence that the columns add.
    pub(super) ln_evidence: f64,
}

/// Products `W_t·a` of a column's direction, all surveys.
pub(super) fn products(under: &Under, along: &[f64], surveys: usize) -> Vec<f64> {
    let k = along.len();
    let mut products = vec![0.0; surveys * k];
    for t in 0..surveys {
        for a in 0..k {
            let from = t * k * k + a * k;
            products[t * k + a] = dot(&under.w[from..from + k], along);
        }
    }
    products
}

pub(super) fn solve(under: &Under, columns: &[Column], surveys: usize) -> Option<Solved> {
    let n = columns.len();
    let k = columns.first()?.along.len();
    let mut matrix = vec![0.0; n * n];
    let mut right = vec![0.0; n];
    let mut ln_prior = 0.0;
    for (a, column) in columns.iter().enumerate() {
        let products = products(under, &column.along, surveys);
        for t in 0..surveys {
            let g = column.course[t];
            if g == 0.0 {
                continue;
            }
            right[a] += g * dot(&under.wz[t * k..(t + 1) * k], &column.along);
            for (b, other) in columns.iter().enumerate().take(a + 1) {
                matrix[a * n + b] += g * other.course[t] * dot(&products[t * k..(t + 1) * k], &other.along);
            }
        }
        matrix[a * n + a] += column.sd.powi(-2);
        ln_prior += column.sd.powi(-2).ln();
    }
    let factor = Cholesky::new(n, &matrix)?;
    let mut half = right.clone();
    factor.half_solve(&mut half);
    let ln_evidence = 0.5 * dot(&half, &half) - 0.5 * (factor.ln_determinant() - ln_prior);
    factor.solve(&mut right);
    Some(Solved {
        factor,
        mean: right,
        ln_evidence,
    })
}

/// The columns that are always there: stations' levels along the shapes, the background slope, and other devices.
fn background(seen: &[Seen], shapes: &Shapes, years: &[f64]) -> Vec<Column> {
    let k = shapes.count();
    let mut columns: Vec<Column> = (0..k)
        .map(|at| {
            let mut along = vec![0.0; k];
            along[at] = 1.0;
            Column {
                class: None,
                along,
                course: vec![1.0; seen.len()],
                sd: FLAT,
            }
        })
        .collect();
    let mut alike = vec![0.0; k];
    alike[..shapes.alike()].fill(-1.0);
    columns.push(Column {
        class: Some(Class::Even),
        along: alike.clone(),
        course: years.to_vec(),
        sd: SLOPE,
    });
    let Some(first) = seen.first() else {
        return columns;
    };
    let mut others = vec![&first.with];
    for survey in seen {
        if others.contains(&&survey.with) || survey.cells.is_empty() {
            continue;
        }
        others.push(&survey.with);
        columns.push(Column {
            class: None,
            along: alike.clone(),
            course: seen
                .iter()
                .map(|other| f64::from(u8::from(other.with == survey.with)))
                .collect(),
            sd: survey.lasting.hypot(first.lasting).max(0.001),
        });
    }
    columns
}

/// Looks for events, one after the other, until none is beyond doubt.
pub(crate) fn search(seen: &[Seen], cells: &Cells, shapes: &Shapes, settings: &Settings) -> Option<Said> {
    let years: Vec<f64> = seen.iter().map(|survey| survey.years).collect();
    let prior = shared_prior(settings);
    let mut grid = Vec::with_capacity(SHARED.len());
    for (size, prior) in SHARED.into_iter().zip(prior) {
        let mut under = under(seen, cells, shapes, size)?;
        under.ln_weight += prior.ln();
        grid.push(under);
    }
    let mut columns = background(seen, shapes, &years);
    let mut events: Vec<Event> = Vec::new();
    let mut slipped = false;
    loop {
        let look = look(&grid, &columns, cells, shapes, settings, &years)?;
        // Water that wanders moves a whole survey, too.
        let shared = shared_size(&look.null).hypot(WATER * shapes.mean_path);
        if !slipped && look.odds.slip > SLIPPED && look.odds.slip > look.odds.nothing {
            // The last survey stands apart whatever else there is: looked at again with that taken out.
            slipped = true;
            let mut course = vec![0.0; seen.len()];
            if let Some(last) = course.last_mut() {
                *last = 1.0;
            }
            let mut along = vec![0.0; shapes.count()];
            along[..shapes.alike()].fill(-1.0);
            columns.push(Column {
                class: None,
                along,
                course,
                sd: SLIP_SIZE,
            });
            continue;
        }
        let best = look.best();
        let may_add = events.len() < MOST_EVENTS && look.odds.nothing + look.odds.slip <= 1.0 - REAL;
        let Some(event) = best.filter(|_| may_add) else {
            let totals = totals::totals(&grid, &columns, &look, shapes, &years)?;
            let mut likeliest = look.best();
            if let Some(event) = &mut likeliest {
                event.apart =
                    apart(event, &grid, &look.null, &columns, cells, shapes, &years).unwrap_or_default();
            }
            return Some(Said {
                events,
                likeliest,
                totals,
                open: look.odds,
                misfit: look.misfit,
                stations: Vec::new(),
                days: Vec::new(),
                shared,
            });
        };
        let mut event = event;
        event.apart = apart(&event, &grid, &look.null, &columns, cells, shapes, &years).unwrap_or_default();
        match Column::of(event.class, event.course, shapes, &years) {
            Some(column) => {
                columns.push(column);
                events.push(event);
            }
            None => {
                // It takes up no column: once is enough.
                events.push(event);
                let totals = totals::totals(&grid, &columns, &look, shapes, &years)?;
                return Some(Said {
                    events,
                    likeliest: None,
                    totals,
                    open: look.odds,
                    misfit: look.misfit,
                    stations: Vec::new(),
                    days: Vec::new(),
                    shared,
                });
            }
        }
    }
}

fn shared_size(null: &[f64]) -> f64 {
    let most = null.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let (sum, squares) = null
        .iter()
        .zip(SHARED)
        .fold((0.0, 0.0), |(sum, squares), (ln, size)| {
            let weight = (ln - most).exp();
            (sum + weight, squares + weight * size * size)
        });
    (squares / sum).sqrt()
}

/// How far each class is from explaining what an event of another explains, in standard deviations:
/// `D² = â²·(A_kk − A_kl²/A_ll)` with the same course, less what shapes that are never exact take from it.
fn apart(
    event: &Event,
    grid: &[Under],
    null: &[f64],
    columns: &[Column],
    cells: &Cells,
    shapes: &Shapes,
    years: &[f64],
) -> Option<Vec<(Class, f64)>> {
    let surveys = years.len();
    let most = (0..grid.len()).reduce(|a, b| if null[b] > null[a] { b } else { a })?;
    let under = grid.get(most)?;
    let solved = solve(under, columns, surveys)?;
    let mine = Column::of(event.class, event.course, shapes, years)?;
    let own = information(under, columns, &solved, &mine, &mine);
    let (right, prior) = (reach(under, columns, &solved, &mine), mine.sd.powi(-2));
    let amplitude = right / (own + prior);
    // What a shape's misfit adds to a station's variance, beside what is there.
    let mean = mine.course.iter().sum::<f64>() / surveys as f64;
    let spread: f64 = mine.course.iter().map(|g| (g - mean).powi(2)).sum();
    let (mut squares, mut count) = (0.0, 0.0);
    for station in (0..cells.stations).filter(|station| shapes.speaks(*station)) {
        squares += dot(&mine.along, shapes.row(station)).powi(2);
        count += 1.0;
    }
    let variances = cells.sds.iter().filter(|sd| !sd.is_nan());
    let variance = variances.clone().map(|sd| sd * sd).sum::<f64>() / variances.count().max(1) as f64;
    let misfit =
        (misfit_of(event.class) * amplitude).powi(2) * squares / f64::max(count, 1.0) * spread / variance;
    let mut others = vec![Class::Even, Class::Water, Class::Zero];
    others.extend((0..shapes.fixtures).map(Class::Fixture));
    Some(
        others
            .into_iter()
            .filter(|class| *class != event.class)
            .filter_map(|class| {
                let other = Column::of(class, event.course, shapes, years)?;
                let (cross, its) = (
                    information(under, columns, &solved, &mine, &other),
                    information(under, columns, &solved, &other, &other),
                );
                let left = (own - cross * cross / its.max(f64::MIN_POSITIVE)).max(0.0);
                Some((class, (amplitude * amplitude * left / (1.0 + misfit)).sqrt()))
            })
            .collect(),
    )
}

/// Two columns' products beside the nuisance columns: `Σ g·h·aᵀW b − cᵀN⁻¹d`.
fn information(under: &Under, columns: &[Column], solved: &Solved, one: &Column, other: &Column) -> f64 {
    let surveys = one.course.len();
    let k = one.along.len();
    let with = |column: &Column| -> Vec<f64> {
        let products = products(under, &column.along, surveys);
        columns
            .iter()
            .map(|known| {
                (0..surveys)
                    .map(|t| {
                        column.course[t] * known.course[t] * dot(&products[t * k..(t + 1) * k], &known.along)
                    })
                    .sum()
            })
            .collect()
    };
    let products = products(under, &one.along, surveys);
    let whole: f64 = (0..surveys)
        .map(|t| one.course[t] * other.course[t] * dot(&products[t * k..(t + 1) * k], &other.along))
        .sum();
    let (mut c, mut d) = (with(one), with(other));
    solved.factor.half_solve(&mut c);
    solved.factor.half_solve(&mut d);
    whole - dot(&c, &d)
}

/// A column's product with what the nuisance columns leave.
fn reach(under: &Under, columns: &[Column], solved: &Solved, one: &Column) -> f64 {
    let surveys = one.course.len();
    let k = one.along.len();
    let products = products(under, &one.along, surveys);
    (0..surveys)
        .map(|t| {
            let product = &products[t * k..(t + 1) * k];
            let fitted: f64 = columns
                .iter()
                .zip(&solved.mean)
                .map(|(known, mean)| known.course[t] * mean * dot(product, &known.along))
                .sum();
            one.course[t] * (dot(&under.wz[t * k..(t + 1) * k], &one.along) - fitted)
        })
        .sum()
}
