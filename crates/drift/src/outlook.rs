//! Where a trend leads: slope, decline, creep, and the days on which thresholds will be reached.
//!
//! Slopes are Theil–Sen's of the logarithm of what is left, chance is Mann–Kendall's; from two years on both compare each
//! season with itself only, since room light and water have seasons. A projection reaches no further ahead than what was
//! observed: TM-21's six times presumes twenty samples, and here is one tank.

use crate::words;
use jiff::civil::Date;
use undim_model::{AlertTarget, Outlook, Reach, Tank, TrendPoint};
use undim_stats::trend::{Decline, mann_kendall, seasonal_kendall, seasonal_theil_sen};
use undim_stats::{chart, robust};

/// Surveys needed, the baseline included, and days from the first to the last.
const LEAST_SURVEYS: usize = 6;
const LEAST_DAYS: i64 = 120;
/// Seasons are compared with themselves from this many days on.
const SEASONAL_DAYS: i64 = 730;
const YEAR: f64 = 365.25;
/// Chance below this is a trend.
const CHANCE: f64 = 0.05;
/// EWMA's weight and its limits; CUSUM's slack and decision limit, in standard deviations (NIST/SEMATECH e-Handbook 6.3.2).
const LAMBDA: f64 = 0.2;
const SIGMAS: f64 = 3.0;
const SLACK: f64 = 0.5;
const DECISION: f64 = 5.0;

/// The outlook of one target.
pub(crate) fn outlook(
    tank: &Tank,
    scene: Option<&str>,
    target: AlertTarget,
    points: &[TrendPoint],
) -> Outlook {
    let days = |point: &TrendPoint| -> i64 {
        points
            .first()
            .map_or(0, |first| (point.date - first.date).get_days().into())
    };
    let span = points.last().map_or(0, days);
    let mut outlook = Outlook {
        scene: scene.map(str::to_owned),
        target,
        surveys: points.len(),
        days: span,
        percent_a_year: None,
        p_chance: None,
        decline_percent: None,
        creeps: false,
        reaches: Vec::new(),
        said: String::new(),
    };
    let usable: Vec<(f64, f64, u32)> = points
        .iter()
        .filter(|point| point.change.percent > -99.9 && point.change.percent.is_finite())
        .map(|point| {
            let season = u32::from(point.date.month().unsigned_abs()) / 3 % 4;
            (
                days(point) as f64 / YEAR,
                (point.change.percent / 100.0).ln_1p(),
                season,
            )
        })
        .collect();
    let years: Vec<f64> = usable.iter().map(|point| point.0).collect();
    let lns: Vec<f64> = usable.iter().map(|point| point.1).collect();
    outlook.creeps = creeps(tank, &lns);
    if usable.len() < LEAST_SURVEYS || span < LEAST_DAYS {
        outlook.said = format!(
            "Not enough surveys yet for a trend: {} in {span} days, and it takes {LEAST_SURVEYS} over at least {LEAST_DAYS} days.",
            usable.len()
        );
        return outlook;
    }
    let seasonal = span >= SEASONAL_DAYS;
    let seasons: Vec<u32> = usable
        .iter()
        .map(|point| if seasonal { point.2 } else { 0 })
        .collect();
    let test = if seasonal {
        seasonal_kendall(&years, &lns, &seasons)
    } else {
        mann_kendall(&years, &lns)
    };
    let Some(line) = seasonal_theil_sen(&years, &lns, &seasons, 0.95) else {
        outlook
            .said
            .push_str("The surveys lie too close together for a trend.");
        return outlook;
    };
    let percent = |ln: f64| 100.0 * ln.exp_m1();
    outlook.percent_a_year = Some((percent(line.slope), line.interval.map(percent)));
    outlook.p_chance = test.map(|test| test.p);
    let left: Vec<f64> = lns.iter().map(|ln| ln.exp()).collect();
    outlook.decline_percent = Decline::fit(&years, &left).map(|decline| -percent(-decline.rate));
    let is_trend = test.is_some_and(|test| test.p < CHANCE) && line.interval[0] * line.interval[1] > 0.0;
    if !is_trend {
        outlook.said = format!(
            "No trend is proven over {} surveys in {span} days: {} to {} a year (95 %).",
            usable.len(),
            words::amount(percent(line.interval[0])),
            words::amount(percent(line.interval[1])),
        );
        return outlook;
    }
    if let Some(last) = points.last() {
        let now = line.intercept + line.slope * years.last().copied().unwrap_or(0.0);
        let thresholds = [tank.drift.loss_percent.notice, tank.drift.loss_percent.urgent];
        outlook.reaches = thresholds
            .into_iter()
            .filter_map(|loss| reach(loss, now, line.interval, last.date, span))
            .collect();
    }
    outlook.said = said(&outlook, percent(line.slope), line.interval.map(percent));
    outlook
}

/// When a loss will be reached, if within the observed span.
fn reach(loss_percent: f64, now: f64, interval: [f64; 2], today: Date, span: i64) -> Option<Reach> {
    let missing = (-loss_percent / 100.0).ln_1p() - now;
    // Reached already, or going the other way.
    if missing.is_nan() || missing >= 0.0 || interval[1] >= 0.0 {
        return None;
    }
    let after = |slope: f64| -> Option<Date> {
        let days = (missing / slope * YEAR).ceil();
        (days <= span as f64).then(|| today.checked_add(jiff::Span::new().days(days as i64)).ok())?
    };
    Some(Reach {
        loss_percent: loss_percent.round() as u32,
        earliest: after(interval[0])?,
        latest: after(interval[1]),
    })
}

fn said(outlook: &Outlook, slope: f64, interval: [f64; 2]) -> String {
    let trend = format!(
        "{} a year (95 %: {} to {}), over {} surveys in {} days",
        words::amount(slope),
        words::amount(interval[0]),
        words::amount(interval[1]),
        outlook.surveys,
        outlook.days
    );
    let reaches: Vec<String> = outlook
        .reaches
        .iter()
        .map(|reach| match reach.latest {
            Some(latest) => format!(
                "a loss of {} % between {} and {}",
                reach.loss_percent,
                words::day(reach.earliest),
                words::day(latest)
            ),
            None => format!(
                "a loss of {} % not before {}",
                reach.loss_percent,
                words::day(reach.earliest)
            ),
        })
        .collect();
    if reaches.is_empty() {
        format!("{trend}. No threshold is reached within as many days again.")
    } else {
        format!("{trend}. If it goes on so: {}.", reaches.join("; "))
    }
}

/// True where a chart shows a slow loss while the last value lies above the notice threshold.
fn creeps(tank: &Tank, lns: &[f64]) -> bool {
    let differences: Vec<f64> = lns.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect();
    let (Some(typical), Some(last)) = (robust::median(&differences), lns.last()) else {
        return false;
    };
    if lns.len() < LEAST_SURVEYS {
        return false;
    }
    // Median of |difference| of two normal values: 0.6745·√2 standard deviations.
    let sd = (typical / (0.6745 * std::f64::consts::SQRT_2)).max(0.002);
    if *last <= (-tank.drift.loss_percent.notice / 100.0).ln_1p() {
        return false;
    }
    let averaged = chart::ewma(lns, LAMBDA, 0.0)
        .last()
        .is_some_and(|average| *average < -chart::ewma_limit(LAMBDA, sd, SIGMAS));
    let summed = chart::cusum(lns, 0.0, SLACK * sd)
        .last()
        .is_some_and(|[_, low]| *low > DECISION * sd);
    averaged && summed
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::from_relative;
    use crate::simulate::month;

    fn points(percents: impl IntoIterator<Item = f64>) -> Vec<TrendPoint> {
        percents
            .into_iter()
            .enumerate()
            .map(|(t, percent)| TrendPoint {
                survey: format!("s{t}").into(),
                date: month(t),
                change: from_relative(percent / 100.0, 0.01),
            })
            .collect()
    }

    fn of(percents: impl IntoIterator<Item = f64>) -> Outlook {
        outlook(
            &Tank::undeclared("harbour"),
            Some("noon"),
            AlertTarget::Tank,
            &points(percents),
        )
    }

    const NOISE: [f64; 6] = [0.2, -0.3, 0.1, -0.1, 0.3, -0.2];

    #[test]
    fn few_surveys_say_so() {
        let outlook = of([0.0, -1.0, -2.0]);
        assert!(outlook.percent_a_year.is_none() && outlook.reaches.is_empty());
        assert!(
            outlook.said.starts_with("Not enough surveys yet"),
            "{}",
            outlook.said
        );
    }

    #[test]
    fn a_decline_is_projected_no_further_than_it_was_seen() {
        // 6 % a year: after a year 7 % is two months away, 20 % years.
        let outlook = of((0..13).map(|t| -0.5 * f64::from(t) + NOISE[t as usize % 6]));
        let (slope, interval) = outlook.percent_a_year.unwrap();
        assert!(
            (slope + 6.0).abs() < 0.6 && interval[0] < slope && slope < interval[1],
            "{outlook:?}"
        );
        assert_eq!(outlook.reaches.len(), 1, "{outlook:?}");
        let reach = outlook.reaches[0];
        assert_eq!(reach.loss_percent, 7);
        let last = month(12);
        assert!(last < reach.earliest && reach.earliest <= reach.latest.unwrap());
        assert!((reach.latest.unwrap() - last).get_days() < 200);
        assert!(outlook.creeps && outlook.p_chance.unwrap() < 0.01);
        assert!(outlook.said.contains("a loss of 7 % between"), "{}", outlook.said);
    }

    #[test]
    fn noise_and_gains_reach_nothing() {
        let quiet = of((0..12).map(|t| NOISE[t % 6]));
        assert!(quiet.reaches.is_empty() && !quiet.creeps, "{quiet:?}");
        assert!(quiet.said.starts_with("No trend is proven"), "{}", quiet.said);
        let rising = of((0..12).map(|t| f64::from(t) + NOISE[t as usize % 6]));
        assert!(
            rising.reaches.is_empty() && !rising.creeps && rising.decline_percent.unwrap() < 0.0,
            "{rising:?}"
        );
    }

    #[test]
    fn seasons_are_no_trend() {
        let seasonal = of((0..36)
            .map(|t| 3.0 * (f64::from(t) * std::f64::consts::TAU / 12.0).sin() + NOISE[t as usize % 6]));
        assert!(seasonal.reaches.is_empty(), "{seasonal:?}");
    }
}
