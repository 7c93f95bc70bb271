//! Regressions against certified values and against each other.

use super::*;
use proptest::prelude::*;

/// The columns of a small file: the first is y, the others with a leading 1 are x.
fn read(text: &str) -> (Vec<Vec<f64>>, Vec<f64>) {
    let number = |cell: &str| cell.trim().parse::<f64>().unwrap();
    text.lines()
        .skip(1)
        .filter(|line| !line.trim().is_empty())
        .map(|line| {
            let cells: Vec<f64> = line.split(',').map(number).collect();
            let row: Vec<f64> = std::iter::once(1.0).chain(cells[1..].iter().copied()).collect();
            (row, cells[0])
        })
        .unzip()
}

fn plain(x: &[Vec<f64>], y: &[f64]) -> (Fitted, f64) {
    let sd = vec![1.0; y.len()];
    let fitted = fit(
        &Observations {
            x,
            y,
            sd: &sd,
            shared: &[],
            priors: &[],
        },
        &Settings::PLAIN,
    )
    .unwrap();
    let squares: f64 = fitted.residuals.iter().map(|r| r * r).sum();
    let sd = (squares / (y.len() - x[0].len()) as f64).sqrt();
    (fitted, sd)
}

fn agree(value: f64, certified: f64, digits: f64) {
    let reached = -((value - certified).abs() / certified.abs()).log10();
    assert!(
        reached >= digits,
        "{value:.15e} is not {certified:.15e}: {reached:.1} digits"
    );
}

// NIST Statistical Reference Datasets, linear regression, certified values.
#[test]
fn norris_as_certified() {
    let (x, y) = read(include_str!("../../../../tests/data/nist_norris.csv"));
    let (fitted, sd) = plain(&x, &y);
    agree(fitted.coefficients[0], -0.262_323_073_774_029, 12.0);
    agree(fitted.coefficients[1], 1.002_116_818_020_45, 12.0);
    agree(sd, 0.884_796_396_144_373, 12.0);
    agree(sd * fitted.covariance[0][0].sqrt(), 0.232_818_234_301_152, 12.0);
    agree(
        sd * fitted.covariance[1][1].sqrt(),
        0.429_796_848_199_937e-3,
        12.0,
    );
}

/// A quadratic whose columns span thirteen decades.
#[test]
fn pontius_as_certified() {
    let (x, y) = read(include_str!("../../../../tests/data/nist_pontius.csv"));
    let x: Vec<Vec<f64>> = x.iter().map(|row| vec![1.0, row[1], row[1] * row[1]]).collect();
    let (fitted, sd) = plain(&x, &y);
    let certified = [
        (0.673_565_789_473_684e-3, 0.107_938_612_033_077e-3),
        (0.732_059_160_401_003e-6, 0.157_817_399_981_659e-9),
        (-0.316_081_871_345_029e-14, 0.486_652_849_992_036e-16),
    ];
    for (k, (coefficient, error)) in certified.into_iter().enumerate() {
        agree(fitted.coefficients[k], coefficient, 10.0);
        agree(sd * fitted.covariance[k][k].sqrt(), error, 10.0);
    }
    agree(sd, 0.205_177_424_076_185e-3, 11.0);
}

#[test]
fn longley_as_certified() {
    let (x, y) = read(include_str!("../../../../tests/data/nist_longley.csv"));
    let (fitted, sd) = plain(&x, &y);
    let certified = [
        (-3_482_258.634_595_82, 890_420.383_607_373),
        (15.061_872_271_373_3, 84.914_925_774_766_9),
        (-0.358_191_792_925_910e-1, 0.334_910_077_722_432e-1),
        (-2.020_229_803_816_83, 0.488_399_681_651_699),
        (-1.033_226_867_173_59, 0.214_274_163_161_675),
        (-0.511_041_056_535_807e-1, 0.226_073_200_069_370),
        (1_829.151_464_613_55, 455.478_499_142_212),
    ];
    for (k, (coefficient, error)) in certified.into_iter().enumerate() {
        agree(fitted.coefficients[k], coefficient, 11.0);
        agree(sd * fitted.covariance[k][k].sqrt(), error, 9.0);
    }
    agree(sd, 304.854_073_561_965, 11.0);
}

/// Brownlee's stack loss data; Huber M-estimate with k = 1.345 and the median scale, iterated to the end by an
/// independent program (recorded to 14 digits; the values printed in Venables & Ripley stop at four decimals:
/// −41.0265, 0.8294, 0.9261, −0.1278, scale 2.441).
#[test]
fn stackloss_as_published() {
    let (x, y) = read(include_str!("../../../../tests/data/stackloss.csv"));
    let sd = vec![1.0; y.len()];
    let fitted = fit(
        &Observations {
            x: &x,
            y: &y,
            sd: &sd,
            shared: &[],
            priors: &[],
        },
        &Settings {
            huber_k: HUBER_K,
            scale: Scale::MedianResidual,
            tolerance: 1e-14,
            most_steps: 500,
        },
    )
    .unwrap();
    let converged = [
        -41.026_485_373_295_01,
        0.829_385_770_253_855,
        0.926_059_415_548_607,
        -0.127_846_317_965_416,
    ];
    let printed = [-41.0265, 0.8294, 0.9261, -0.1278];
    for (k, coefficient) in fitted.coefficients.iter().enumerate() {
        agree(*coefficient, converged[k], 10.0);
        assert!((coefficient - printed[k]).abs() < 1e-4);
    }
    agree(fitted.scale, 2.440_489_045_992_8, 10.0);
}

/// With one coefficient, equal sds and one error shared by all, generalised least squares has a closed form:
/// the mean, with variance s²/n + c² (JCGM 100:2008, F.1.2.3).
#[test]
fn a_shared_error_never_averages_down() {
    let x = vec![vec![1.0]; 25];
    let y: Vec<f64> = (0..25).map(|i| f64::from(i % 5)).collect();
    let sd = vec![0.5; 25];
    let shared = vec![vec![0.3]; 25];
    let fitted = fit(
        &Observations {
            x: &x,
            y: &y,
            sd: &sd,
            shared: &shared,
            priors: &[],
        },
        &Settings::PLAIN,
    )
    .unwrap();
    agree(fitted.coefficients[0], 2.0, 12.0);
    agree(fitted.covariance[0][0], 0.25 / 25.0 + 0.09, 12.0);
    // The shared part cancels between the fit and the observations themselves.
    agree(fitted.u_fitted[0], 0.1, 12.0);
}

/// A normal prior and a normal mean: precisions add (any textbook, e.g. Gelman et al., *Bayesian Data
/// Analysis*, 3rd ed., section 2.5).
#[test]
fn a_prior_counts_like_one_more_observation() {
    let x = vec![vec![1.0]; 4];
    let fitted = fit(
        &Observations {
            x: &x,
            y: &[3.0; 4],
            sd: &[1.0; 4],
            shared: &[],
            priors: &[Some(Prior { mean: 1.0, sd: 0.5 })],
        },
        &Settings::PLAIN,
    )
    .unwrap();
    agree(fitted.coefficients[0], 2.0, 12.0);
    agree(fitted.covariance[0][0], 1.0 / 8.0, 12.0);
}

#[test]
fn what_cannot_be_fitted_is_said() {
    let one = vec![vec![1.0]];
    let observations = |x, y, sd| Observations {
        x,
        y,
        sd,
        shared: &[],
        priors: &[],
    };
    let twice = vec![vec![1.0, 2.0]; 3];
    for (result, expected) in [
        (
            fit(&observations(&[], &[], &[]), &Settings::HUBER),
            RegressionError::Shape,
        ),
        (
            fit(&observations(&one, &[f64::NAN], &[1.0]), &Settings::HUBER),
            RegressionError::NotFinite,
        ),
        (
            fit(&observations(&one, &[1.0], &[0.0]), &Settings::HUBER),
            RegressionError::NotFinite,
        ),
        (
            fit(&observations(&twice, &[1.0; 3], &[1.0; 3]), &Settings::HUBER),
            RegressionError::Undetermined,
        ),
    ] {
        assert_eq!(result.unwrap_err(), expected);
    }
}

proptest! {
    /// Residuals of a least-squares fit are orthogonal to every column.
    #[test]
    fn residuals_are_orthogonal(rows in proptest::collection::vec((-5.0..5.0, -5.0..5.0, -50.0..50.0), 4..40)) {
        let x: Vec<Vec<f64>> = rows.iter().map(|(a, _, _): &(f64, f64, f64)| vec![1.0, *a]).collect();
        let y: Vec<f64> = rows.iter().map(|(_, _, y)| *y).collect();
        let sd = vec![1.0; y.len()];
        if let Ok(fitted) = fit(
            &Observations { x: &x, y: &y, sd: &sd, shared: &[], priors: &[] },
            &Settings::PLAIN,
        ) {
            for k in 0..2 {
                let dot: f64 = x.iter().zip(&fitted.residuals).map(|(row, r)| row[k] * r).sum();
                prop_assert!(dot.abs() < 1e-8, "{dot}");
            }
        }
    }

    /// One wild value among many can't pull a robust mean further than its bounded influence allows.
    #[test]
    fn one_wild_value_moves_little(wild in -1e6..1e6_f64) {
        let x = vec![vec![1.0]; 21];
        let mut y: Vec<f64> = (-10..=10).map(|i| f64::from(i) * 0.1).collect();
        y[10] = wild;
        let fitted = fit(
            &Observations { x: &x, y: &y, sd: &[1.0; 21], shared: &[], priors: &[] },
            &Settings::HUBER,
        ).unwrap();
        prop_assert!(fitted.coefficients[0].abs() <= HUBER_K / 20.0 + 1e-6);
        prop_assert!(fitted.settled);
    }
}
