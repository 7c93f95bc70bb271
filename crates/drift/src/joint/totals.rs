//! What all events and the background come to at the last survey, averaged over what is likely.

use super::cells::dot;
use super::look::{Look, misfit_of};
use super::search::{Class, Column, Under, solve};
use super::shapes::Shapes;
use undim_stats::normal;

/// What a shape that is never quite right adds to an amount, as a part of it.
const SHARE_UNSURE: f64 = 0.10;

/// What is less likely is left out of the average.
const LEAST_WEIGHT: f64 = 2e-3;

/// One thing that may be: with a probability, beside the columns that are known.
pub(super) struct Model {
    pub(super) weight: f64,
    pub(super) extra: Option<Column>,
}

/// A change as a mixture of normal laws, of the logarithm; negative for a loss.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Amount {
    /// Weight, mean, standard deviation.
    parts: Vec<(f64, f64, f64)>,
}

impl Amount {
    /// Its mean.
    pub(crate) fn ln(&self) -> f64 {
        self.parts.iter().map(|(weight, mean, _)| weight * mean).sum()
    }

    /// Its standard deviation.
    pub(crate) fn u(&self) -> f64 {
        let mean = self.ln();
        self.parts
            .iter()
            .map(|(weight, at, sd)| weight * (sd * sd + (at - mean).powi(2)))
            .sum::<f64>()
            .sqrt()
    }

    /// The probability that it lies below.
    pub(crate) fn below(&self, ln: f64) -> f64 {
        self.parts
            .iter()
            .map(|(weight, mean, sd)| {
                if *sd > 0.0 {
                    weight * normal::cdf((ln - mean) / sd)
                } else {
                    weight * f64::from(u8::from(*mean < ln))
                }
            })
            .sum()
    }
}

/// Amounts at the last survey.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Totals {
    /// What happened to the tank's light as a whole: even change, water, the device's zero; fixtures apart.
    pub(crate) tank: Amount,
    /// What happened to each fixture's light by itself.
    pub(crate) fixtures: Vec<Amount>,
}

pub(super) fn totals(
    grid: &[Under],
    columns: &[Column],
    look: &Look,
    shapes: &Shapes,
    years: &[f64],
) -> Option<Totals> {
    let surveys = years.len();
    let mut totals = Totals {
        tank: Amount::default(),
        fixtures: vec![Amount::default(); if shapes.fixtures >= 2 { shapes.fixtures } else { 0 }],
    };
    let mut columns = columns.to_vec();
    let known = columns.len();
    for model in look.models(shapes, years) {
        if model.weight < LEAST_WEIGHT {
            continue;
        }
        columns.truncate(known);
        columns.extend(model.extra);
        let mut solved = Vec::with_capacity(grid.len());
        for under in grid {
            solved.push((under.ln_weight, solve(under, &columns, surveys)?));
        }
        let most = solved
            .iter()
            .map(|(ln, s)| ln + s.ln_evidence)
            .fold(f64::NEG_INFINITY, f64::max);
        let all: f64 = solved
            .iter()
            .map(|(ln, s)| (ln + s.ln_evidence - most).exp())
            .sum();
        for (ln, solved) in solved {
            let weight = model.weight * (ln + solved.ln_evidence - most).exp() / all;
            let put = |amount: &mut Amount, effect: &dyn Fn(Class) -> f64| {
                let mut along: Vec<f64> = columns
                    .iter()
                    .map(|column| {
                        column.class.map_or(0.0, |class| {
                            effect(class) * column.course.last().copied().unwrap_or(0.0)
                        })
                    })
                    .collect();
                let mean = dot(&along, &solved.mean);
                let unsure: f64 = along
                    .iter()
                    .zip(&solved.mean)
                    .zip(&columns)
                    .map(|((along, mean), column)| {
                        let part = match column.class {
                            Some(Class::Fixture(_)) => SHARE_UNSURE,
                            Some(class) => misfit_of(class),
                            None => 0.0,
                        };
                        (part * along * mean).powi(2)
                    })
                    .sum();
                solved.factor.half_solve(&mut along);
                amount
                    .parts
                    .push((weight, mean, (dot(&along, &along) + unsure).sqrt()));
            };
            put(&mut totals.tank, &|class| match class {
                Class::Even => -1.0,
                Class::Water => -shapes.mean_path,
                Class::Zero => -shapes.mean_zero,
                _ => 0.0,
            });
            for (at, amount) in totals.fixtures.iter_mut().enumerate() {
                put(amount, &|class| {
                    if class == Class::Fixture(at) { -1.0 } else { 0.0 }
                });
            }
        }
    }
    for amount in std::iter::once(&mut totals.tank).chain(&mut totals.fixtures) {
        let sum: f64 = amount.parts.iter().map(|part| part.0).sum();
        for part in &mut amount.parts {
            part.0 /= sum;
        }
    }
    Some(totals)
}
