//! The judge held against simulated truth, in one table: `cargo bench-all drift`.
//!
//! `cargo bench-all drift speed` measures how fast it judges, and trends beside numpy and pymannkendall.
//!
//! `cargo bench-all drift [histories] [first seed]`: 500 histories a cell without a number. Constants were tuned on
//! seeds below [`REPORTED_FROM`]; what is reported begins there.

mod random;
mod scenario;
mod score;
mod speed;
mod truth;

use crate::Result;
use scenario::Kind;
use score::Score;
use std::fmt::Write as _;
use std::io::Write as _;
use truth::Noise;

/// Shared errors of a survey, percent.
const SHARED: [f64; 4] = [0.0, 1.0, 2.0, 3.0];
/// Seeds from here on were never looked at while tuning.
const REPORTED_FROM: u64 = 1_000_000;

/// One kind at one shared error, over so many histories.
fn run(kind: Kind, survey_percent: f64, histories: u64, first_seed: u64) -> Score {
    let mut score = Score::default();
    for seed in first_seed..first_seed + histories {
        let seed = seed * 64 + kind as u64 * 8 + survey_percent as u64;
        score.add(
            kind,
            &scenario::history(kind, seed, Noise::with_survey_error(survey_percent)),
        );
    }
    score
}

/// Prints the tables. `words`: how many histories a cell, the first seed, kinds.
pub(crate) fn measure(words: &[&str]) -> Result<bool> {
    if let ["speed"] = words {
        return speed::measure();
    }
    let number = |at: usize, otherwise: u64| {
        words.get(at).map_or(Ok(otherwise), |word| {
            word.parse::<u64>().map_err(|_| {
                format!("“{word}” is no number: cargo bench-all drift [histories] [first seed] [kinds]")
            })
        })
    };
    let histories = number(0, 500)?;
    let first_seed = number(1, REPORTED_FROM)?;
    let chosen: Vec<Kind> = Kind::ALL
        .into_iter()
        .filter(|kind| words.len() < 3 || words[2..].contains(&kind.word()))
        .collect();
    let mut scores: Vec<(Kind, Vec<Score>)> = Vec::new();
    for kind in chosen {
        let row = std::thread::scope(|scope| {
            let jobs: Vec<_> = SHARED
                .map(|percent| scope.spawn(move || run(kind, percent, histories, first_seed)))
                .into();
            jobs.into_iter()
                .map(|job| job.join().unwrap_or_default())
                .collect()
        });
        scores.push((kind, row));
    }
    let mut text = format!("{histories} histories of 24 monthly surveys a cell, seeds from {first_seed}\n\n");
    for (kind, row) in &scores {
        lines(*kind, row, &mut text);
    }
    confusion(&scores, &mut text);
    reliability(&scores, &mut text);
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|error| error.to_string())?;
    Ok(true)
}

type Figure = (&'static str, fn(&Score) -> f64, &'static str, &'static str);

/// What is asked of each kind: name, figure, goal, and what the first prototype reached (at 0, 1, 2, 3 %).
fn figures(kind: Kind) -> Vec<Figure> {
    let found: Figure = ("found at all, %", |s| s.percent(s.found), "", "");
    let beside: Figure = ("other alerts in 100", |s| s.percent(s.beside), "", "");
    let alert: Figure = ("alert's interval holds, %", |s| held(s, 2), "90–99", "93–97");
    match kind {
        Kind::Quiet => vec![
            (
                "false alerts in ten years",
                Score::false_in_ten_years,
                "< 0.5",
                "0.2–0.3",
            ),
            (
                "even interval holds, %",
                |s| held(s, 0),
                "90–99",
                "29–50 where ignored",
            ),
            ("fixture interval holds, %", |s| held(s, 1), "90–99", ""),
        ],
        Kind::OneFixture => vec![
            (
                "found at the next survey, %",
                |s| s.percent(s.at_once),
                ">= 95 up to 2 %",
                "95–100",
            ),
            found,
            ("named a film, %", |s| s.percent(s.named), "", ""),
            beside,
            alert,
        ],
        Kind::Lens | Kind::Water | Kind::Shade => vec![
            ("found by the third, %", |s| s.percent(s.by_third), "", ""),
            ("found and named right, %", |s| s.percent(s.named), ">= 97", "100"),
            beside,
            alert,
        ],
        Kind::EvenStep => vec![
            ("found at the next survey, %", |s| s.percent(s.at_once), "", ""),
            (
                "found by the third, %",
                |s| s.percent(s.by_third),
                ">= 95 at 1 %, 90 at 2 %",
                "100 / – / 92 / 87",
            ),
            beside,
            alert,
        ],
        Kind::Ageing => vec![
            (
                "within three of 7 %, %",
                |s| s.percent(s.within_three),
                ">= 85 at 1 %",
                "95 / 83 / 60 / 37",
            ),
            found,
            beside,
            alert,
        ],
        Kind::Drawn => vec![found, beside, alert],
    }
}

fn held(score: &Score, which: usize) -> f64 {
    let (held, of) = score.covered[which];
    100.0 * held as f64 / of.max(1) as f64
}

fn lines(kind: Kind, row: &[Score], text: &mut String) {
    for (name, figure, goal, prototype) in figures(kind) {
        let _ = write!(text, "{:<12} {name:<28}", kind.word());
        for score in row {
            let _ = write!(text, " {:>6.1}", figure(score));
        }
        let _ = writeln!(text, "   goal {goal:<24} prototype {prototype}");
        if kind != Kind::Quiet && name.starts_with("other") {
            let _ = write!(text, "{:<12} {:<28}", kind.word(), "false before, in ten years");
            for score in row {
                let _ = write!(text, " {:>6.1}", score.false_in_ten_years());
            }
            let _ = writeln!(text);
        }
    }
}

fn confusion(scores: &[(Kind, Vec<Score>)], text: &mut String) {
    let _ = writeln!(text, "\nWhat was taken for what, all shared errors together:");
    for (kind, row) in scores {
        let mut all = std::collections::BTreeMap::<&str, usize>::new();
        for score in row {
            for (taken_for, count) in &score.taken_for {
                *all.entry(taken_for).or_default() += count;
            }
        }
        let list: Vec<String> = all
            .iter()
            .map(|(taken_for, count)| format!("{taken_for} {count}"))
            .collect();
        let _ = writeln!(text, "{:<12} {}", kind.word(), list.join(", "));
    }
}

fn reliability(scores: &[(Kind, Vec<Score>)], text: &mut String) {
    let mut all = Score::default();
    for score in scores
        .iter()
        .filter(|(kind, _)| *kind == Kind::Drawn)
        .flat_map(|(_, row)| row)
    {
        all.merge(score);
    }
    let _ = writeln!(
        text,
        "\nStated probabilities of causes, over drawn events (highest among alike causes {:.2}):",
        all.highest_alike
    );
    for (bin, (stated, sum, right)) in all.reliability.iter().enumerate().filter(|(_, bin)| bin.0 > 0) {
        let n = *stated as f64;
        let truth = *right as f64 / n;
        let _ = writeln!(
            text,
            "said {:>3} to {:>3} %: {stated:>5} times, mean {:>5.1} %, true {:>5.1} % (± {:.1})",
            10 * bin,
            10 * bin + 10,
            100.0 * sum / n,
            100.0 * truth,
            196.0 * (truth * (1.0 - truth) / n).sqrt(),
        );
    }
}

#[cfg(test)]
mod tests;
