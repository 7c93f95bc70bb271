//! What the changes at single places say together: the even change, each fixture's, and what is left over.
//!
//! The even change is the robust mean of ln(now / then). A fixture's is linear in what it does to a place: if
//! the part sᵢ of a place's light came from fixture i, and i now gives 1 + cᵢ of what it gave, the place has
//! 1 + Σ sᵢcᵢ of what it had. Both are Huber fits with the noise of [`crate::compare`] and, for either survey, the
//! wandering of each fixture's level.
//!
//! Shares come from geometry and are never exact. If fixture f gives (1 + ε) times the light that the geometry says,
//! the change at a place is wrong by sᶠ·(cᶠ − c)·ε, with c the place's change: nothing where all fixtures change
//! alike. This is added to each place, and a part of what a fixture differs by to the fixture itself.

use crate::compare::Pair;
use crate::estimate::{from_ln, from_relative};
use undim_model::Change;
use undim_stats::normal;
use undim_stats::regression::{Fitted, Observations, Prior, Settings, fit};

/// A hundred-thousandth of a place's own uncertainty is near enough.
const ROBUST: Settings = Settings {
    tolerance: 1e-5,
    ..Settings::HUBER
};
/// What only sets the size of the noise may be rougher.
const ROUGH: Settings = Settings {
    tolerance: 1e-2,
    ..Settings::HUBER
};

/// How well a fixture's level repeats, relative, k = 1, for each survey (simulated tanks; no published source).
const LEVEL: f64 = 0.007;
/// How well geometry tells shares, relative, k = 1 (simulated tanks with wall reflections and fixtures 3 cm off).
const SHARE_MISFIT: f64 = 0.12;
/// And what that may do to a fixture as a whole, as a part of what it differs by.
const FIXTURE_MISFIT: f64 = 0.10;
/// Nothing known beforehand of a fixture, but that a change has the order of its light.
const FIXTURE_PRIOR: Prior = Prior { mean: 0.0, sd: 1.0 };
/// Fixtures known no better than this, relative, are not spoken of.
const MOST_FIXTURE_U: f64 = 0.5;
/// Fixtures differ beyond chance where this two-sided probability is passed, shared over all pairs.
const DIFFER: f64 = 0.004;
/// What the stated own uncertainties count for, in observations, beside the scatter that is seen.
const STATED_COUNTS: f64 = 20.0;
/// Mean of min(z², 9) of a standard normal z.
const WINSORISED_MEAN: f64 = 0.97;
/// Places needed to speak of the tank.
pub(crate) const LEAST_PLACES: usize = 3;

/// What the places say together.
#[derive(Debug, Clone, Default)]
pub(crate) struct Field {
    /// Even change.
    pub(crate) even: Option<Change>,
    /// Standard uncertainty of the even change's logarithm.
    pub(crate) u_even: Option<f64>,
    /// Index into the fixtures and its change, where it can be told.
    pub(crate) fixtures: Vec<(usize, Change)>,
    /// Covariance of the relative changes, in the order of `fixtures`.
    covariance: Vec<Vec<f64>>,
    /// True where they differ by more than chance.
    pub(crate) differ: bool,
    /// For each pair: what is left to it alone.
    pub(crate) places: Vec<Option<Place>>,
}

/// What is left to one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Place {
    /// Relative to what the fit expects there.
    pub(crate) left_over: f64,
    /// Its standard uncertainty.
    pub(crate) u: f64,
    /// Huber's weight.
    pub(crate) weight: f64,
}

impl Field {
    /// How one fixture's change differs from another's (positions in `fixtures`).
    pub(crate) fn contrast(&self, one: usize, other: usize) -> Option<Change> {
        let (a, b) = (self.fixtures.get(one)?, self.fixtures.get(other)?);
        let difference = (a.1.percent - b.1.percent) / 100.0;
        let c = |i: usize, j: usize| self.covariance.get(i).and_then(|row| row.get(j)).copied();
        let variance = c(one, one)? + c(other, other)? - 2.0 * c(one, other)?;
        let u = variance.max(0.0).sqrt().hypot(FIXTURE_MISFIT * difference);
        Some(from_relative(difference, u))
    }

    /// Two-sided quantile beyond which two fixtures differ by more than chance.
    pub(crate) fn differ_beyond(&self) -> f64 {
        let n = self.fixtures.len().max(2);
        let pairs = (n * (n - 1) / 2) as f64;
        normal::quantile(1.0 - DIFFER / (2.0 * pairs))
    }
}

/// Fits the pairs; `shares` gives each pair's shares of the light before.
pub(crate) fn field(pairs: &[Pair], fixtures: usize, shares: &[Option<&[f64]>]) -> Field {
    let mut field = Field {
        places: vec![None; pairs.len()],
        ..Field::default()
    };
    let used: Vec<usize> = (0..pairs.len())
        .filter(|i| pairs.get(*i).is_some_and(Pair::tells_of_the_tank))
        .collect();
    if used.len() < LEAST_PLACES {
        return field;
    }
    even(pairs, &used, shares, fixtures, &mut field);
    if fixtures > 0 {
        let used: Vec<usize> = used
            .into_iter()
            .filter(|i| shares.get(*i).is_some_and(Option::is_some))
            .collect();
        if used.len() > fixtures.max(LEAST_PLACES - 1) {
            by_fixture(pairs, &used, shares, fixtures, &mut field);
        }
    }
    field
}

fn even(pairs: &[Pair], used: &[usize], shares: &[Option<&[f64]>], fixtures: usize, field: &mut Field) {
    let x = vec![vec![1.0]; used.len()];
    let y: Vec<f64> = used.iter().map(|i| pairs[*i].ln_ratio).collect();
    let sd: Vec<f64> = used.iter().map(|i| pairs[*i].own).collect();
    let shared: Vec<Vec<f64>> = used
        .iter()
        .map(|i| {
            shared_row(
                &pairs[*i],
                1.0,
                shares.get(*i).copied().flatten(),
                fixtures,
                |_| 1.0,
            )
        })
        .collect();
    let Some((fitted, spread)) = scaled_fit(&x, &y, &sd, &shared, &[], &ROBUST) else {
        return;
    };
    let u = fitted.covariance[0][0].sqrt();
    field.even = Some(from_ln(fitted.coefficients[0], u));
    field.u_even = Some(u);
    for (at, i) in used.iter().enumerate() {
        field.places[*i] = Some(Place {
            left_over: fitted.own_residuals[at].exp_m1(),
            u: (sd[at] * spread).hypot(fitted.u_fitted[at]) * fitted.own_residuals[at].exp(),
            weight: fitted.weights[at],
        });
    }
}

fn by_fixture(pairs: &[Pair], used: &[usize], shares: &[Option<&[f64]>], fixtures: usize, field: &mut Field) {
    let share = |i: usize| shares.get(i).copied().flatten().unwrap_or_default();
    let x: Vec<Vec<f64>> = used.iter().map(|i| share(*i).to_vec()).collect();
    let y: Vec<f64> = used.iter().map(|i| pairs[*i].ln_ratio.exp_m1()).collect();
    let priors = vec![Some(FIXTURE_PRIOR); fixtures];
    // The noise is a part of what is there now, which the first pass finds.
    let mut expected = vec![1.0; used.len()];
    let mut changes = vec![0.0; fixtures];
    let mut last = None;
    for settings in [ROUGH, ROBUST] {
        let sd: Vec<f64> = used
            .iter()
            .enumerate()
            .map(|(at, i)| {
                let misfit: f64 = share(*i)
                    .iter()
                    .zip(&changes)
                    .map(|(s, c)| (SHARE_MISFIT * s * (c - (expected[at] - 1.0))).powi(2))
                    .sum();
                ((pairs[*i].own * expected[at]).powi(2) + misfit).sqrt()
            })
            .collect();
        let shared: Vec<Vec<f64>> = used
            .iter()
            .enumerate()
            .map(|(at, i)| {
                let left = |f: usize| (1.0 + changes.get(f).copied().unwrap_or(0.0)).max(0.05);
                shared_row(&pairs[*i], expected[at], Some(share(*i)), fixtures, left)
            })
            .collect();
        let Some((fitted, spread)) = scaled_fit(&x, &y, &sd, &shared, &priors, &settings) else {
            return;
        };
        changes.clone_from(&fitted.coefficients);
        for (expected, row) in expected.iter_mut().zip(&x) {
            let change: f64 = row.iter().zip(&changes).map(|(s, c)| s * c).sum();
            *expected = (1.0 + change).max(0.05);
        }
        last = Some((fitted, sd, spread));
    }
    let Some((fitted, sd, spread)) = last else {
        return;
    };
    let mean = fitted.coefficients.iter().sum::<f64>() / fixtures as f64;
    let told: Vec<usize> = (0..fixtures)
        .filter(|f| fitted.covariance[*f][*f].sqrt() <= MOST_FIXTURE_U)
        .collect();
    field.fixtures = told
        .iter()
        .map(|f| {
            let change = fitted.coefficients[*f];
            let u = fitted.covariance[*f][*f]
                .sqrt()
                .hypot(FIXTURE_MISFIT * (change - mean));
            (*f, from_relative(change, u))
        })
        .collect();
    field.covariance = told
        .iter()
        .map(|f| told.iter().map(|g| fitted.covariance[*f][*g]).collect())
        .collect();
    let beyond = field.differ_beyond();
    field.differ = (0..told.len()).any(|one| {
        (0..one).any(|other| {
            field
                .contrast(one, other)
                .is_some_and(|change| change.percent.abs() > beyond * change.u_percent)
        })
    });
    for (at, i) in used.iter().enumerate() {
        field.places[*i] = Some(Place {
            left_over: fitted.own_residuals[at] / expected[at],
            u: (sd[at] * spread).hypot(fitted.u_fitted[at]) / expected[at],
            weight: fitted.weights[at],
        });
    }
}

/// A place's row of shared errors: those of the two surveys, and each fixture's level in both.
fn shared_row(
    pair: &Pair,
    expected: f64,
    shares: Option<&[f64]>,
    fixtures: usize,
    left: impl Fn(usize) -> f64,
) -> Vec<f64> {
    let level = LEVEL * std::f64::consts::SQRT_2;
    let mut row: Vec<f64> = pair.shared.iter().map(|part| part * expected).collect();
    row.extend((0..fixtures).map(|f| {
        let share = shares.and_then(|shares| shares.get(f)).copied().unwrap_or(0.0);
        level * share * left(f)
    }));
    row
}

/// A Huber fit, done again with larger own deviations where the places scatter more than stated. Gives the factor
/// on them, too; it is never below 1.
fn scaled_fit(
    x: &[Vec<f64>],
    y: &[f64],
    sd: &[f64],
    shared: &[Vec<f64>],
    priors: &[Option<Prior>],
    settings: &Settings,
) -> Option<(Fitted, f64)> {
    let run = |sd: &[f64]| {
        let observations = Observations {
            x,
            y,
            sd,
            shared,
            priors,
        };
        fit(&observations, settings).ok()
    };
    let first = run(sd)?;
    let seen: f64 = first
        .own_residuals
        .iter()
        .zip(sd)
        .map(|(residual, sd)| (residual / sd).powi(2).min(9.0) / WINSORISED_MEAN)
        .sum();
    let free = y.len().saturating_sub(x.first().map_or(0, Vec::len)) as f64;
    let spread = ((STATED_COUNTS + seen) / (STATED_COUNTS + free)).sqrt();
    if spread <= 1.0 {
        return Some((first, 1.0));
    }
    let wider: Vec<f64> = sd.iter().map(|sd| sd * spread).collect();
    Some((run(&wider)?, spread))
}
