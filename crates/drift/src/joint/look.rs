//! One look over all events: the evidence of each class with each course, beside what is already known.

use super::Settings;
use super::cells::{Cells, dot};
use super::search::{
    Class, Column, Course, Event, GAIN, Odds, RAMP, RECOVERY, SIZES, SLIP, SLIP_SIZE, UNEXPLAINED, Under,
    along, amplitude, products, rate, solve,
};
use super::shapes::Shapes;
use super::totals::Model;
use undim_stats::cholesky::Cholesky;
use undim_stats::normal;

/// How far a shape may be off at a station, as a part of what it says there.
pub(super) fn misfit_of(class: Class) -> f64 {
    match class {
        Class::Even => 0.02,
        Class::Water => 0.10,
        Class::Zero => 0.05,
        Class::Fixture(_) => 0.12,
        Class::Unexplained => 0.0,
    }
}
/// A pulse is weighed from this square of its size in standard deviations on.
const PULSE_STANDS_OUT: f64 = 8.0;
/// Residuals count at most this many standard deviations.
const WINSORISED_AT: f64 = 2.5;

/// What one look shows.
pub(super) struct Look {
    /// ln weight of nothing (more), under each size of the shared error.
    pub(super) null: Vec<f64>,
    candidates: Vec<Candidate>,
    pub(super) odds: Odds,
    /// Variance that known events leave at each station.
    pub(super) misfit: Vec<f64>,
    /// Of each class among the candidates.
    classes: Vec<(Class, f64)>,
}

impl Look {
    /// The likeliest course of the likeliest class.
    pub(super) fn best(&self) -> Option<Event> {
        let (class, _) = self
            .classes
            .iter()
            .copied()
            .reduce(|a, b| if b.1 > a.1 { b } else { a })?;
        let best = self.best_of(class)?;
        let most = best.ln_weight;
        let of = |ramp: bool| -> f64 {
            self.candidates
                .iter()
                .filter(|candidate| {
                    candidate.class == class && matches!(candidate.course, Course::Ramp(_)) == ramp
                })
                .map(|candidate| (candidate.ln_weight - most).exp())
                .sum()
        };
        let (ramp, other) = (of(true), of(false));
        Some(Event {
            class,
            course: best.course,
            is_loss: best.is_loss,
            p_real: 1.0 - self.odds.nothing - self.odds.slip,
            classes: self.classes.clone(),
            p_ramp: ramp / (ramp + other),
            apart: Vec::new(),
        })
    }

    fn best_of(&self, class: Class) -> Option<&Candidate> {
        self.candidates
            .iter()
            .filter(|candidate| candidate.class == class)
            .reduce(|a, b| if b.ln_weight > a.ln_weight { b } else { a })
    }

    /// The likeliest course of each class that lasts, with the class's probability: what the totals are averaged over.
    pub(super) fn models(&self, shapes: &Shapes, years: &[f64]) -> Vec<Model> {
        let mut models = vec![Model {
            weight: self.odds.nothing + self.odds.slip,
            extra: None,
        }];
        let all: f64 = self.classes.iter().map(|(_, p)| p).sum();
        for (class, p) in &self.classes {
            let weight = p / all * (1.0 - self.odds.nothing - self.odds.slip);
            let extra = self
                .best_of(*class)
                .and_then(|best| Column::of(*class, best.course, shapes, years));
            models.push(Model { weight, extra });
        }
        models
    }
}

/// Weighs every event beside the columns.
pub(super) fn look(
    grid: &[Under],
    columns: &[Column],
    cells: &Cells,
    shapes: &Shapes,
    settings: &Settings,
    years: &[f64],
) -> Option<Look> {
    let surveys = years.len();
    let k = shapes.count();
    let mut classes = vec![Class::Even, Class::Water, Class::Zero];
    classes.extend((0..shapes.fixtures).map(Class::Fixture));
    classes.retain(|class| along(*class, shapes).is_some());
    let mut null = Vec::with_capacity(grid.len());
    let mut means = Vec::with_capacity(grid.len());
    // ln weights under each size, candidate by candidate.
    let mut tally = Tally::new(classes.len(), surveys);
    let mut slip = Vec::with_capacity(grid.len());
    for (which, under) in grid.iter().enumerate() {
        let solved = solve(under, columns, surveys)?;
        null.push(under.ln_weight + solved.ln_evidence);
        means.push(solved.mean.clone());
        // What the columns leave of W·z.
        let mut left = under.wz.clone();
        let column_products: Vec<Vec<f64>> = columns
            .iter()
            .map(|column| products(under, &column.along, surveys))
            .collect();
        for ((column, products), mean) in columns.iter().zip(&column_products).zip(&solved.mean) {
            for t in 0..surveys {
                let g = column.course[t] * mean;
                if g != 0.0 {
                    for a in 0..k {
                        left[t * k + a] -= g * products[t * k + a];
                    }
                }
            }
        }
        for (number, class) in classes.iter().enumerate() {
            let Some(along) = along(*class, shapes) else {
                continue;
            };
            let sums = Sums::new(
                under,
                columns,
                &column_products,
                &solved.factor,
                &left,
                &along,
                years,
            );
            let sd = amplitude(*class);
            let ln_rate = rate(*class, settings, shapes).ln();
            sums.candidates(sd, ln_rate, years, &mut |course, ln, is_loss| {
                tally.add(which, number, *class, course, ln, is_loss);
            });
            if *class == Class::Even {
                let (a, b) = sums.step(surveys - 1);
                let (ln, _) = ln_bayes(a, b, SLIP_SIZE, 1.0);
                slip.push(ln + SLIP.ln());
            }
        }
    }
    let most = (0..grid.len()).reduce(|a, b| if null[b] > null[a] { b } else { a })?;
    let misfit = misfit(&means[most], columns, shapes, cells.stations);
    let ln_unexplained = unexplained(
        cells,
        shapes,
        &misfit,
        rate(Class::Unexplained, settings, shapes),
        years,
    );
    let mut look = tally.look(null, &slip, ln_unexplained);
    look.misfit = misfit;
    Some(look)
}

/// Variance that known events leave at each station because shapes are never exact.
fn misfit(means: &[f64], columns: &[Column], shapes: &Shapes, stations: usize) -> Vec<f64> {
    (0..stations)
        .map(|station| {
            columns
                .iter()
                .zip(means)
                .filter_map(|(column, mean)| Some((misfit_of(column.class?), column, mean)))
                .map(|(part, column, mean)| {
                    let size = column.course.last().copied().unwrap_or(0.0)
                        * mean
                        * dot(&column.along, shapes.row(station));
                    (part * size).powi(2)
                })
                .sum()
        })
        .collect()
}

/// ln evidence of a step at some stations along no shape, from each survey on, its rate included.
fn unexplained(
    cells: &Cells,
    shapes: &Shapes,
    misfit: &[f64],
    rate: f64,
    years: &[f64],
) -> Vec<(Course, f64)> {
    let n = cells.stations;
    let speaking = (0..n).filter(|station| shapes.speaks(*station)).count() as f64;
    let free = ((speaking - shapes.count() as f64) / speaking.max(1.0)).max(0.0);
    let mut ln = vec![0.0; years.len()];
    for (station, misfit) in misfit
        .iter()
        .enumerate()
        .filter(|(station, _)| shapes.speaks(*station))
    {
        let own = |t: usize| {
            let (residual, sd) = (cells.residuals[t * n + station], cells.sds[t * n + station]);
            (!residual.is_nan()).then(|| (residual.clamp(-WINSORISED_AT * sd, WINSORISED_AT * sd), sd * sd))
        };
        let (mut sum, mut variance, mut count) = (0.0, 0.0, 0.0);
        for (residual, own) in (0..years.len()).filter_map(own) {
            sum += residual;
            variance += own;
            count += 1.0;
        }
        if count < 2.0 {
            continue;
        }
        variance /= count;
        let (mut before, mut many) = (0.0, 0.0);
        for (t, ln) in ln.iter_mut().enumerate() {
            if many > 0.0 && many < count {
                let contrast = (sum - before) / (count - many) - before / many;
                let under = variance * count / (many * (count - many)) + misfit;
                let over = under + UNEXPLAINED * UNEXPLAINED;
                *ln +=
                    free * 0.5 * (contrast * contrast * (under.recip() - over.recip()) - (over / under).ln());
            }
            if let Some((residual, _)) = own(t) {
                before += residual;
                many += 1.0;
            }
        }
    }
    (1..years.len())
        .map(|t| {
            (
                Course::Step(t),
                ln[t] + (rate * (years[t] - years[t - 1]).max(1.0 / 365.0)).ln(),
            )
        })
        .collect()
}

/// ln Bayes factor of an amplitude N(0, sd²), its sign free: losses count in full, gains with this factor. True for a loss.
pub(super) fn ln_bayes(a: f64, b: f64, sd: f64, gain: f64) -> (f64, bool) {
    let prior = sd * sd;
    let a = a.max(0.0);
    let variance = (a + prior.recip()).recip();
    let ln = 0.5 * b * b * variance - 0.5 * (a * prior).ln_1p();
    let z = b * variance.sqrt();
    // 2Φ(z) + gain·2Φ(−z).
    let far = tail(z.abs());
    let sides = if z >= 0.0 {
        2.0 * (1.0 - far) + gain * 2.0 * far
    } else {
        2.0 * far + gain * 2.0 * (1.0 - far)
    };
    (ln + sides.ln(), z >= 0.0)
}

/// 1 − Φ(z) for z ≥ 0: exact near the middle, a short continued fraction further out, which is all that a sum with 1 needs.
fn tail(z: f64) -> f64 {
    if z < 1.5 {
        return normal::upper_tail(z);
    }
    let fraction = [6.0, 5.0, 4.0, 3.0, 2.0, 1.0]
        .into_iter()
        .fold(z + 0.65, |below, level| z + level / below);
    (-0.5 * z * z).exp() / (fraction * (2.0 * std::f64::consts::PI).sqrt())
}

/// Sums from each survey to the last, of one class under one size of the shared error.
struct Sums {
    n: usize,
    /// Σ w, Σ y·w, Σ y²·w with y the years and w = aᵀWa; Σ r, Σ y·r.
    plain: Vec<[f64; 5]>,
    /// Σ L⁻¹c and Σ y·L⁻¹c, n numbers each.
    whole: Vec<f64>,
    timed: Vec<f64>,
}

impl Sums {
    fn new(
        under: &Under,
        columns: &[Column],
        column_products: &[Vec<f64>],
        factor: &Cholesky,
        left: &[f64],
        along: &[f64],
        years: &[f64],
    ) -> Self {
        let (n, k, surveys) = (columns.len(), along.len(), years.len());
        let products = products(under, along, surveys);
        let mut sums = Self {
            n,
            plain: vec![[0.0; 5]; surveys + 1],
            whole: vec![0.0; (surveys + 1) * n],
            timed: vec![0.0; (surveys + 1) * n],
        };
        let mut c = vec![0.0; n];
        for t in (0..surveys).rev() {
            let y = years[t];
            let w = dot(&products[t * k..(t + 1) * k], along);
            let r = dot(&left[t * k..(t + 1) * k], along);
            let [a, b, d, e, f] = sums.plain[t + 1];
            sums.plain[t] = [a + w, b + y * w, d + y * y * w, e + r, f + y * r];
            for (slot, (column, products)) in c.iter_mut().zip(columns.iter().zip(column_products)) {
                *slot = column.course[t] * dot(&products[t * k..(t + 1) * k], along);
            }
            factor.half_solve(&mut c);
            for (at, c) in c.iter().enumerate() {
                sums.whole[t * n + at] = sums.whole[(t + 1) * n + at] + c;
                sums.timed[t * n + at] = sums.timed[(t + 1) * n + at] + y * c;
            }
        }
        sums
    }

    fn step(&self, from: usize) -> (f64, f64) {
        self.pulse(from, self.plain.len() - 1)
    }

    fn pulse(&self, from: usize, to: usize) -> (f64, f64) {
        let n = self.n;
        let taken: f64 = (0..n)
            .map(|at| (self.whole[from * n + at] - self.whole[to * n + at]).powi(2))
            .sum();
        (
            self.plain[from][0] - self.plain[to][0] - taken,
            self.plain[from][3] - self.plain[to][3],
        )
    }

    fn ramp(&self, after: usize, y: f64) -> (f64, f64) {
        let n = self.n;
        let t = after + 1;
        let taken: f64 = (0..n)
            .map(|at| (self.timed[t * n + at] - y * self.whole[t * n + at]).powi(2))
            .sum();
        let [w, yw, yyw, r, yr] = self.plain[t];
        (yyw - 2.0 * y * yw + y * y * w - taken, yr - y * r)
    }

    /// Every course, with its ln weight.
    fn candidates(&self, sd: f64, ln_rate: f64, years: &[f64], add: &mut dyn FnMut(Course, f64, bool)) {
        let surveys = years.len();
        for from in 1..surveys {
            let ln_prior = ln_rate + (0.5 * (years[from] - years[from - 1]).max(1.0 / 365.0)).ln();
            let (a, b) = self.step(from);
            let (ln, is_loss) = ln_bayes(a, b, sd, GAIN);
            add(Course::Step(from), ln + ln_prior, is_loss);
            let (a, b) = self.ramp(from - 1, years[from - 1]);
            let (ln, is_loss) = ln_bayes(a, b, sd * RAMP, GAIN);
            add(Course::Ramp(from - 1), ln + ln_prior, is_loss);
            for to in from + 1..surveys {
                let (a, b) = self.pulse(from, to);
                // There are many, and each is unlikely: what does not stand out makes no difference.
                if b * b < PULSE_STANDS_OUT * (a.max(0.0) + (sd * sd).recip()) {
                    continue;
                }
                let (ln, is_loss) = ln_bayes(a, b, sd, GAIN);
                add(Course::Pulse(from, to), ln + ln_prior + RECOVERY.ln(), is_loss);
            }
        }
    }
}

/// One candidate's weight.
struct Candidate {
    class: Class,
    course: Course,
    /// ln, under each size of the shared error.
    under: [f64; SIZES],
    /// ln, under all sizes together.
    ln_weight: f64,
    is_loss: bool,
}

/// Candidates' weights, gathered size by size.
struct Tally {
    surveys: usize,
    candidates: Vec<Candidate>,
    /// Where each class's course stands among the candidates, from 1; 0 where it was never weighed.
    places: Vec<usize>,
}

impl Tally {
    fn new(classes: usize, surveys: usize) -> Self {
        Self {
            surveys,
            candidates: Vec::new(),
            places: vec![0; classes * surveys * (surveys + 1)],
        }
    }

    fn add(&mut self, which: usize, number: usize, class: Class, course: Course, ln: f64, is_loss: bool) {
        // One place for each: steps end with the last survey, ramps before the first.
        let (from, to) = match course {
            Course::Step(from) => (from, self.surveys),
            Course::Ramp(after) => (after, 0),
            Course::Pulse(from, to) => (from, to),
        };
        let at = (number * self.surveys + from) * (self.surveys + 1) + to;
        let Some(place) = self.places.get_mut(at) else {
            return;
        };
        if *place == 0 {
            self.candidates.push(Candidate {
                class,
                course,
                under: [f64::NEG_INFINITY; SIZES],
                ln_weight: f64::NEG_INFINITY,
                is_loss,
            });
            *place = self.candidates.len();
        }
        if let Some(under) = self
            .candidates
            .get_mut(*place - 1)
            .and_then(|c| c.under.get_mut(which))
        {
            *under = ln;
        }
    }

    fn look(mut self, null: Vec<f64>, slip: &[f64], unexplained: Vec<(Course, f64)>) -> Look {
        let nothing = sum_ln(null.iter().copied());
        for candidate in &mut self.candidates {
            candidate.ln_weight = sum_ln(candidate.under.iter().zip(&null).map(|(ln, null)| ln + null));
        }
        for (course, ln) in unexplained {
            self.candidates.push(Candidate {
                class: Class::Unexplained,
                course,
                under: [ln; SIZES],
                ln_weight: nothing + ln,
                is_loss: true,
            });
        }
        let slip = sum_ln(null.iter().zip(slip).map(|(null, slip)| null + slip));
        let all = sum_ln(self.candidates.iter().map(|c| c.ln_weight).chain([nothing, slip]));
        let p = |ln: f64| (ln - all).exp();
        let mut classes: Vec<(Class, f64)> = Vec::new();
        let mut lasting: Vec<(Class, f64)> = Vec::new();
        for candidate in &self.candidates {
            let weight = p(candidate.ln_weight);
            for (list, counts) in [(&mut classes, true), (&mut lasting, candidate.course.lasts())] {
                match list.iter_mut().find(|(class, _)| *class == candidate.class) {
                    Some((_, sum)) => *sum += if counts { weight } else { 0.0 },
                    None => list.push((candidate.class, if counts { weight } else { 0.0 })),
                }
            }
        }
        let happened: f64 = classes.iter().map(|(_, p)| p).sum::<f64>().max(f64::MIN_POSITIVE);
        for (_, p) in &mut classes {
            *p /= happened;
        }
        Look {
            odds: Odds {
                nothing: p(nothing),
                slip: p(slip),
                lasting,
            },
            misfit: Vec::new(),
            null,
            candidates: self.candidates,
            classes,
        }
    }
}

/// ln Σ exp.
fn sum_ln(lns: impl Iterator<Item = f64> + Clone) -> f64 {
    let most = lns.clone().fold(f64::NEG_INFINITY, f64::max);
    if most == f64::NEG_INFINITY {
        return most;
    }
    most + lns.map(|ln| (ln - most).exp()).sum::<f64>().ln()
}
