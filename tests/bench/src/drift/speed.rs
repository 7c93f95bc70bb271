//! How fast a tank is judged, and trends beside their peers in the same run.

use crate::Result;
use crate::drift::random::Random;
use crate::drift::truth::{Noise, State, Truth, month};
use std::fmt::Write as _;
use std::io::Write as _;
use std::time::{Duration, Instant};
use undim_drift::{History, judge};
use undim_stats::trend::Slopes;

/// Surveys before the one that is judged, and stations of each.
const EARLIER: usize = 120;
const COLUMNS: u32 = 10;
/// Series, and surveys of each.
const SERIES: usize = 10_000;
const SURVEYS: usize = 60;
/// A goal of the judge.
const JUDGED_WITHIN: Duration = Duration::from_millis(50);

/// The peers, one line each: name, seconds for all series. pymannkendall does a part, and is told as if it did all.
const PEERS: &str = r"
import sys, time
import numpy as np
n, t = int(sys.argv[1]), int(sys.argv[2])
rng = np.random.default_rng(1)
y = rng.normal(size=(n, t)) - 0.01 * np.arange(t)
x = np.arange(t, dtype=float)
i, j = np.triu_indices(t, 1)
start = time.perf_counter()
for chunk in np.array_split(y, 20):
    rise = chunk[:, j] - chunk[:, i]
    s = np.sign(rise).sum(axis=1)
    slope = np.median(rise / (x[j] - x[i]), axis=1)
print('numpy', time.perf_counter() - start)
try:
    import pymannkendall
except ImportError:
    sys.exit()
part = 200
start = time.perf_counter()
for series in y[:part]:
    pymannkendall.original_test(series)
print('pymannkendall', (time.perf_counter() - start) * n / part)
";

/// Prints the figures; true where the goals are met.
pub(crate) fn measure() -> Result<bool> {
    let (whole, one) = judging()?;
    let trends = trends()?;
    let mut text = String::new();
    let _ = writeln!(
        text,
        "judging a tank of {EARLIER} surveys and one more, {} stations: the whole past {:.1} ms, of which the last survey {:.2} ms (goal < 50 ms)",
        COLUMNS * 6,
        1e3 * whole.as_secs_f64(),
        1e3 * one.as_secs_f64()
    );
    let _ = writeln!(
        text,
        "Theil–Sen and Mann–Kendall, {SERIES} series of {SURVEYS}: {:.3} s",
        trends.as_secs_f64()
    );
    let peers = std::process::Command::new("python3")
        .args(["-c", PEERS, &SERIES.to_string(), &SURVEYS.to_string()])
        .output();
    match peers {
        Ok(output) => {
            for line in String::from_utf8_lossy(&output.stdout).lines() {
                if let Some((name, seconds)) = line
                    .split_once(' ')
                    .and_then(|(n, s)| Some((n, s.parse::<f64>().ok()?)))
                {
                    let _ = writeln!(
                        text,
                        "  {name}: {seconds:.2} s, {:.0} times as long",
                        seconds / trends.as_secs_f64()
                    );
                }
            }
        }
        Err(error) => {
            let _ = writeln!(text, "  no peers: python3 can't be started ({error})");
        }
    }
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|error| error.to_string())?;
    Ok(whole < JUDGED_WITHIN)
}

/// The whole past, and what its last survey adds; the best of five.
fn judging() -> Result<(Duration, Duration)> {
    let mut truth = Truth::with_columns(7, Noise::with_survey_error(1.0), COLUMNS);
    let surveys: Vec<_> = (0..=EARLIER)
        .map(|t| truth.survey(month(t), &State::default()))
        .collect();
    let all: Vec<_> = surveys.iter().collect();
    let time = |surveys: &[&undim_model::Survey]| -> Result<Duration> {
        (0..5)
            .map(|_| {
                let start = Instant::now();
                let judged = judge(&History {
                    tank: &truth.tank,
                    surveys,
                    upkeep: &[],
                });
                std::hint::black_box(judged.judgements.len());
                start.elapsed()
            })
            .min()
            .ok_or_else(|| "nothing was measured".to_owned())
    };
    let whole = time(&all)?;
    let before = time(all.get(..EARLIER).unwrap_or_default())?;
    Ok((whole, whole.saturating_sub(before)))
}

fn trends() -> Result<Duration> {
    let x: Vec<f64> = (0..SURVEYS).map(|t| t as f64).collect();
    let mut random = Random::new(1);
    let series: Vec<Vec<f64>> = (0..SERIES)
        .map(|_| x.iter().map(|t| random.normal(1.0) - 0.01 * t).collect())
        .collect();
    let mut slopes = Slopes::new(&x).ok_or("the times don't rise")?;
    (0..3)
        .map(|_| {
            let start = Instant::now();
            let sum: f64 = series
                .iter()
                .filter_map(|y| slopes.of(y))
                .map(|(slope, s)| slope + s)
                .sum();
            std::hint::black_box(sum);
            start.elapsed()
        })
        .min()
        .ok_or_else(|| "nothing was measured".to_owned())
}
