//! Trends held against published examples.

use super::*;

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} is not {expected}");
}

/// Columns of a file of `tests/data`, without its header.
fn table(text: &str) -> Vec<Vec<f64>> {
    text.lines()
        .skip(1)
        .map(|line| {
            line.split(',')
                .filter_map(|cell| cell.trim().parse().ok())
                .collect()
        })
        .collect()
}

#[test]
fn sen_1968() {
    // P. K. Sen, J. Amer. Statist. Assoc. 63 (1968) 1379: slope 4, intercept 6; 93 % interval 26/7 to 35/8 (the interval as
    // checked by the tests of the R package deming, which warn that the paper's own is wrong).
    let x = [1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0];
    let y = [9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0];
    let line = theil_sen(&x, &y, 0.93).unwrap();
    near(line.slope, 4.0, 1e-12);
    near(line.intercept, 6.0, 1e-12);
    // Ranks between slopes are interpolated here: within one slope of the published ends.
    near(line.interval[0], 26.0 / 7.0, 0.1);
    near(line.interval[1], 35.0 / 8.0, 0.1);
    let test = mann_kendall(&x, &y).unwrap();
    near(test.s, 21.0, 0.0);
    // n(n − 1)(2n + 5)/18.
    near(test.variance, 7.0 * 6.0 * 19.0 / 18.0, 1e-12);
}

#[test]
fn us_epa_2009_seasonal_kendall() {
    // US EPA, Unified Guidance (2009), example 14-10, as the R package EnvStats reproduces it: S 35, variance 43,
    // z 5.1849514, p 2.160712e-07, slope 0.06, interval 0.05786914 to 0.07213086.
    let rows = table(include_str!("../../../../tests/data/epa2009_ex14_8_seasonal.csv"));
    // The months' names fall away; the file goes year by year.
    let x: Vec<f64> = rows.iter().map(|row| row[0]).collect();
    let y: Vec<f64> = rows.iter().map(|row| row[1]).collect();
    let season: Vec<u32> = (0..36).map(|at| at % 12).collect();
    let test = seasonal_kendall(&x, &y, &season).unwrap();
    near(test.s, 35.0, 0.0);
    near(test.variance, 43.0, 1e-9);
    near(test.z, 5.184_951_4, 5e-8);
    near(test.p, 2.160_712e-7, 5e-13);
    let line = seasonal_theil_sen(&x, &y, &season, 0.95).unwrap();
    near(line.slope, 0.06, 1e-9);
    near(line.interval[0], 0.057_869_14, 5e-9);
    near(line.interval[1], 0.072_130_86, 5e-9);
}

#[test]
fn nottingham_temperatures() {
    // Monthly temperatures at Nottingham 1920–1939; the R package trend's manual: S 224, variance 11364, z 2.0919, p 0.03645,
    // slope 0.05 °F a year.
    let rows = table(include_str!(
        "../../../../tests/data/nottingham_monthly_temperature_1920_1939.csv"
    ));
    let (mut x, mut y, mut season) = (Vec::new(), Vec::new(), Vec::new());
    for row in rows {
        x.push(row[0]);
        season.push(row[1] as u32);
        y.push(row[2]);
    }
    let test = seasonal_kendall(&x, &y, &season).unwrap();
    near(test.s, 224.0, 0.0);
    near(test.variance, 11_364.0, 1e-6);
    near(test.z, 2.0919, 5e-5);
    near(test.p, 0.036_45, 5e-6);
    near(
        seasonal_theil_sen(&x, &y, &season, 0.95).unwrap().slope,
        0.05,
        1e-9,
    );
}

#[test]
fn ties_leave_less_variance() {
    // Worked by hand: y has one group of three; (4·3·13 − 3·2·11)/18 = 5.
    let test = mann_kendall(&[1.0, 2.0, 3.0, 4.0], &[1.0, 1.0, 1.0, 2.0]).unwrap();
    near(test.s, 3.0, 0.0);
    near(test.variance, 5.0, 1e-12);
    assert_eq!(mann_kendall(&[1.0, 2.0], &[3.0, 3.0]), None);
    assert_eq!(mann_kendall(&[1.0, f64::NAN], &[3.0, 4.0]), None);
    assert!(theil_sen(&[1.0, 1.0], &[2.0, 3.0], 0.95).is_none());
}

#[test]
fn many_series_at_once_are_as_one_by_one() {
    let x = [0.0, 1.0, 2.5, 4.0, 7.0];
    let mut slopes = Slopes::new(&x).unwrap();
    for y in [[1.0, 3.0, 2.0, 2.0, 5.0], [5.0, 4.0, 4.0, 1.0, 0.0]] {
        let (slope, s) = slopes.of(&y).unwrap();
        near(slope, theil_sen(&x, &y, 0.95).unwrap().slope, 1e-12);
        near(s, mann_kendall(&x, &y).unwrap().s, 0.0);
    }
    assert!(Slopes::new(&[1.0, 1.0]).is_none() && slopes.of(&[1.0]).is_none());
}

#[test]
fn a_decline_reaches_seven_tenths() {
    // Our own figures in the form of ANSI/IES TM-21 (no published worked example with data could be verified):
    // 1.01·exp(−4e-6·t) reaches 0.7 after ln(1.01/0.7)/4e-6 = 91656.3187 hours.
    let t: Vec<f64> = (1..=6).map(|k| 1000.0 * f64::from(k)).collect();
    let y: Vec<f64> = t.iter().map(|t| 1.01 * (-4e-6 * t).exp()).collect();
    let decline = Decline::fit(&t, &y).unwrap();
    near(decline.reaches(0.7).unwrap(), 91_656.318_7, 1e-3);
    assert!(
        Decline::fit(&t, &[1.0, 1.1, 1.2, 1.3, 1.4, 1.5])
            .unwrap()
            .reaches(0.7)
            .is_none()
    );
    assert!(Decline::fit(&[1.0, 1.0], &[1.0, 2.0]).is_none());
}
