//! The one sentence that a survey comes down to, and the line under it.

use super::figures::{between, day_from, lower_first, upper_first, visible};
use super::{causes, percent_of, place, signed_percent};
use crate::Report;
use crate::text_cell::shown;
use undim_model::{About, Alert, AlertTarget, Change, Judgement, Survey, Verdict};

/// The answer of a survey.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Headline {
    /// What changed, where, by how much, since when.
    pub sentence: String,
    /// Its range, what did not change, and the likeliest cause.
    pub detail: Vec<String>,
}

/// What the headline is about.
pub(crate) struct Finding<'a> {
    pub(crate) target: AlertTarget,
    pub(crate) percent: f64,
    pub(crate) ci95: [f64; 2],
    pub(crate) alert: Option<&'a Alert>,
}

/// A probability from which a change counts as proven.
const PROVEN: f64 = 0.95;

fn rank(alert: &Alert) -> (undim_model::Level, u64) {
    let size = alert.change_percent.unwrap_or_default().abs().min(1e6);
    (alert.level, (size * 1000.0) as u64)
}

fn alert_finding<'a>(survey: &Survey, alerts: impl Iterator<Item = &'a Alert>) -> Option<Finding<'a>> {
    alerts
        .filter(|alert| alert.about == About::Light && alert.survey.as_deref() == Some(&survey.id))
        .filter_map(|alert| {
            let percent = alert.change_percent?;
            Some(Finding {
                target: alert.target.clone(),
                percent,
                ci95: alert.ci95.unwrap_or([percent; 2]),
                alert: Some(alert),
            })
        })
        .max_by_key(|finding| finding.alert.map(rank))
}

fn judged_finding(judgement: &Judgement) -> Option<Finding<'static>> {
    let of = |target: AlertTarget, change: Change| Finding {
        target,
        percent: change.percent,
        ci95: change.ci95,
        alert: None,
    };
    if judgement.fixtures_differ {
        let largest = judgement
            .fixtures
            .iter()
            .filter(|fixture| fixture.change.p_real >= PROVEN)
            .max_by(|a, b| a.change.percent.abs().total_cmp(&b.change.percent.abs()));
        if let Some(fixture) = largest {
            return Some(of(AlertTarget::Fixture(fixture.fixture.clone()), fixture.change));
        }
    }
    let even = judgement.even.filter(|even| even.p_real >= PROVEN)?;
    Some(of(AlertTarget::Tank, even))
}

/// What the survey's sentence is about: the weightiest open alert that this survey shows, else its judgement.
pub(crate) fn finding<'a>(
    survey: &Survey,
    judgement: &'a Judgement,
) -> Option<Finding<'a>> {
    let open_alerts = &judgement.open_alerts;
    match judgement.verdict {
        Verdict::Baseline | Verdict::NoBaseline | Verdict::TooPoor => None,
        Verdict::NoChangeProven => alert_finding(survey, open_alerts.iter()),
        Verdict::BelowThreshold | Verdict::PastThreshold => {
            alert_finding(survey, open_alerts.iter()).or_else(|| judged_finding(judgement))
        }
    }
}

/// The sentence of a survey as its own judgement gives it, alerts that it opened included.
pub fn sentence(survey: &Survey, judgement: &Judgement) -> String {
    first_sentence(survey, judgement, finding(survey, judgement).as_ref())
}

/// The sentence of a survey and what stands under it.
pub fn headline(report: &Report<'_>) -> Headline {
    let found = finding(report.survey, report.judgement);
    Headline {
        sentence: first_sentence(report.survey, report.judgement, found.as_ref()),
        detail: detail(report, found.as_ref()),
    }
}

fn since(survey: &Survey, judgement: &Judgement, word: &str) -> String {
    judgement
        .baseline_date
        .map(|date| format!(" {word} {}", day_from(date, survey.date)))
        .unwrap_or_default()
}

fn first_sentence(survey: &Survey, judgement: &Judgement, found: Option<&Finding<'_>>) -> String {
    match (judgement.verdict, found) {
        (Verdict::Baseline, _) => "This survey is the baseline.".to_owned(),
        (Verdict::NoBaseline, _) => "Nothing to hold this survey against yet.".to_owned(),
        (Verdict::TooPoor, _) => "This survey is too poor to judge.".to_owned(),
        (_, Some(found)) => {
            let (word, rest) = if found.percent < 0.0 {
                ("Less", format!("gone{}", since(survey, judgement, "since")))
            } else {
                ("More", format!("more{}", since(survey, judgement, "than on")))
            };
            format!(
                "{word} light {}: {} {rest}.",
                place(&found.target),
                percent_of(found.percent)
            )
        }
        (Verdict::NoChangeProven, None) => match judgement.smallest_loss_percent {
            Some(loss) => format!("No change proven; a loss of {} would show.", visible(loss)),
            None => "No change proven.".to_owned(),
        },
        (Verdict::BelowThreshold | Verdict::PastThreshold, None) => {
            format!(
                "The light has changed at single places{}.",
                since(survey, judgement, "since")
            )
        }
    }
}

fn detail(report: &Report<'_>, found: Option<&Finding<'_>>) -> Vec<String> {
    let judgement = report.judgement;
    let mut detail = Vec::new();
    match (judgement.verdict, found) {
        (Verdict::Baseline, _) => {
            detail.push("Later surveys are held against it.".to_owned());
            if let Some(loss) = judgement.smallest_loss_percent {
                detail.push(format!("An even loss of {} from it would show.", visible(loss)));
            }
        }
        (Verdict::NoBaseline, _) => detail.push("Change shows from the second survey on.".to_owned()),
        (Verdict::TooPoor, _) => {
            detail.extend(judgement.limits.iter().map(|limit| shown(limit).into_owned()));
        }
        (_, Some(found)) => {
            let range = upper_first(&between(found.percent, found.ci95));
            detail.push(if found.ci95[0] < 0.0 && found.ci95[1] > 0.0 {
                format!("{range}.")
            } else {
                format!("{range} {}.", if found.percent < 0.0 { "less" } else { "more" })
            });
            detail.extend(others(judgement, &found.target));
            detail.extend(found.alert.and_then(causes::likely_cause));
            detail.extend(below_threshold(report, found));
        }
        (_, None) => {
            if let Some(even) = judgement.even {
                detail.push(format!(
                    "The whole tank reads {} ({}){}.",
                    signed_percent(even.percent),
                    super::interval(even.percent, even.ci95),
                    since(report.survey, judgement, "against")
                ));
            }
            detail.push("Smaller losses, and losses at single places, can still hide.".to_owned());
        }
    }
    detail
}

/// What the other fixtures did.
fn others(judgement: &Judgement, target: &AlertTarget) -> Vec<String> {
    let AlertTarget::Fixture(subject) = target else {
        return Vec::new();
    };
    let mut same = Vec::new();
    let mut changed = Vec::new();
    for fixture in judgement
        .fixtures
        .iter()
        .filter(|fixture| fixture.fixture != *subject)
    {
        let name = format!("the {} fixture", shown(&fixture.fixture));
        let [low, high] = fixture.change.ci95;
        if low <= 0.0 && high >= 0.0 {
            same.push(name);
        } else {
            changed.push(format!("{} under {name}", signed_percent(fixture.change.percent)));
        }
    }
    let mut said = Vec::new();
    if !same.is_empty() {
        said.push(format!("No change proven under {}.", super::list(&same)));
    }
    if !changed.is_empty() {
        said.push(format!("{}.", upper_first(&lower_first(&super::list(&changed)))));
    }
    said
}

fn below_threshold(report: &Report<'_>, found: &Finding<'_>) -> Option<String> {
    if report.judgement.verdict != Verdict::BelowThreshold || found.alert.is_some() {
        return None;
    }
    let drift = &report.tank.drift;
    let notice = if found.percent < 0.0 {
        drift.loss_percent.notice
    } else {
        drift.gain_percent.notice
    };
    Some(format!(
        "Under the {} from which a notice is sent.",
        percent_of(notice)
    ))
}
