//! The one sentence that a survey comes down to, and the line under it.

use super::figures::{between, day_from, lower_first, upper_first, visible};
use super::{causes, percent_of, place, signed_percent};
use crate::text_cell::shown;
use crate::{Report, SiteZone};
use jiff::civil::Date;
use undim_model::{About, Alert, AlertTarget, Change, Judgement, Survey, TrendPoint, Verdict};

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
pub(crate) fn finding<'a>(survey: &Survey, judgement: &'a Judgement) -> Option<Finding<'a>> {
    let open_alerts = &judgement.open_alerts;
    match judgement.verdict {
        Verdict::Baseline | Verdict::NoBaseline | Verdict::TooPoor => None,
        Verdict::NoChangeProven => alert_finding(survey, open_alerts.iter()),
        Verdict::BelowThreshold | Verdict::PastThreshold => {
            alert_finding(survey, open_alerts.iter()).or_else(|| judged_finding(judgement))
        }
    }
}

/// An alert on light that closed with a survey.
struct Closed<'a> {
    alert: &'a Alert,
    back: Option<Back>,
}

/// How far the light went back.
struct Back {
    /// True where light had been lost.
    was_loss: bool,
    /// Of the light in the survey before, percent.
    percent: f64,
    /// The survey before.
    before: Date,
}

/// The weightiest alert that closed with a survey.
fn closed<'a>(survey: &Survey, judgement: &'a Judgement) -> Option<Closed<'a>> {
    let alert = super::closed_alerts(judgement).max_by_key(|alert| rank(alert))?;
    Some(Closed {
        alert,
        back: back(survey, judgement, alert),
    })
}

/// The trend of what an alert is about.
fn trend_of<'a>(judgement: &'a Judgement, target: &AlertTarget) -> &'a [TrendPoint] {
    match target {
        AlertTarget::Tank => &judgement.even_trend,
        AlertTarget::Fixture(id) => judgement
            .fixture_trends
            .iter()
            .find(|(fixture, _)| fixture == id)
            .map_or(&[], |(_, points)| points),
        _ => &[],
    }
}

/// How far the light went back, where that is why the alert closed: only then it says what to do.
fn back(survey: &Survey, judgement: &Judgement, alert: &Alert) -> Option<Back> {
    let [.., before, now] = trend_of(judgement, &alert.target) else {
        return None;
    };
    let is_back = *now.survey == *survey.id && !alert.next_step.is_empty();
    is_back.then(|| Back {
        was_loss: before.change.percent < 0.0,
        percent: 100.0 * ((100.0 + now.change.percent) / (100.0 + before.change.percent).max(1.0) - 1.0),
        before: before.date,
    })
}

/// The sentence of a survey.
pub fn sentence(survey: &Survey, judgement: &Judgement) -> String {
    let found = finding(survey, judgement);
    let closed = closed(survey, judgement);
    first_sentence(survey, judgement, found.as_ref(), closed.as_ref())
}

/// The sentence of a survey and what stands under it.
pub fn headline(report: &Report<'_>) -> Headline {
    let found = finding(report.survey, report.judgement);
    let closed = closed(report.survey, report.judgement);
    Headline {
        sentence: sentence(report.survey, report.judgement),
        detail: detail(report, found.as_ref(), closed.as_ref()),
    }
}

fn since(survey: &Survey, judgement: &Judgement, word: &str) -> String {
    judgement
        .baseline_date
        .map(|date| format!(" {word} {}", day_from(date, survey.date)))
        .unwrap_or_default()
}

fn first_sentence(
    survey: &Survey,
    judgement: &Judgement,
    found: Option<&Finding<'_>>,
    closed: Option<&Closed<'_>>,
) -> String {
    match (judgement.verdict, found) {
        (Verdict::Baseline, _) => "This survey is the baseline.".to_owned(),
        (Verdict::NoBaseline, _) => "Nothing to hold this survey against yet.".to_owned(),
        (Verdict::TooPoor, _) if survey.pumps_on == Some(true) => {
            "Too poor to judge: the pumps were on.".to_owned()
        }
        (Verdict::TooPoor, _) => "This survey is too poor to judge.".to_owned(),
        (_, Some(found)) if found.alert.is_some() || closed.is_none() => changed(survey, judgement, found),
        (_, found) => match (closed, found) {
            (
                Some(Closed {
                    alert,
                    back: Some(back),
                }),
                _,
            ) => came_back(survey, alert, back),
            (_, Some(found)) => changed(survey, judgement, found),
            (_, None) => nothing_proven(survey, judgement),
        },
    }
}

fn changed(survey: &Survey, judgement: &Judgement, found: &Finding<'_>) -> String {
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

fn came_back(survey: &Survey, alert: &Alert, back: &Back) -> String {
    let place = place(&alert.target);
    let than = format!("than on {}", day_from(back.before, survey.date));
    if back.was_loss {
        format!("Light is back {place}: {} more {than}.", percent_of(back.percent))
    } else {
        format!(
            "The extra light {place} is gone: {} less {than}.",
            percent_of(back.percent)
        )
    }
}

fn nothing_proven(survey: &Survey, judgement: &Judgement) -> String {
    match (judgement.verdict, judgement.smallest_loss_percent) {
        (Verdict::NoChangeProven, Some(loss)) => {
            format!("No change proven; a loss of {} would show.", visible(loss))
        }
        (Verdict::NoChangeProven, None) => "No change proven.".to_owned(),
        _ => format!(
            "The light has changed at single places{}.",
            since(survey, judgement, "since")
        ),
    }
}

fn detail(report: &Report<'_>, found: Option<&Finding<'_>>, closed: Option<&Closed<'_>>) -> Vec<String> {
    let judgement = report.judgement;
    let mut detail = Vec::new();
    match (judgement.verdict, found) {
        (Verdict::Baseline, _) => {
            detail.extend(judgement.limits.iter().map(|limit| shown(limit).into_owned()));
            detail.push("Later surveys are held against it.".to_owned());
            if let Some(loss) = judgement.smallest_loss_percent {
                detail.push(format!("An even loss of {} from it would show.", visible(loss)));
            }
        }
        (Verdict::NoBaseline, _) => detail.push("Change shows from the second survey on.".to_owned()),
        (Verdict::TooPoor, _) => {
            detail.extend(judgement.limits.first().map(|limit| shown(limit).into_owned()));
            let open = judgement.open_alerts.iter().map(|alert| place(&alert.target));
            detail.extend(open.map(|place| format!("The alert on the light {place} stays open.")));
        }
        (_, Some(found)) if found.alert.is_some() || closed.is_none_or(|closed| closed.back.is_none()) => {
            let range = upper_first(&between(found.percent, found.ci95));
            detail.push(if found.ci95[0] < 0.0 && found.ci95[1] > 0.0 {
                format!("{range}.")
            } else {
                format!("{range} {}.", if found.percent < 0.0 { "less" } else { "more" })
            });
            detail.extend(others(judgement, &found.target));
            detail.extend(found.alert.and_then(|alert| story(report, alert)));
            detail.extend(found.alert.and_then(causes::likely_cause));
            detail.extend(below_threshold(report, found));
        }
        _ if closed.is_some_and(|closed| closed.back.is_some()) => {}
        _ => {
            if let Some(even) = judgement.even {
                detail.push(format!(
                    "The whole tank reads {} ({}){}.",
                    signed_percent(even.percent),
                    super::interval(even.percent, even.ci95),
                    since(report.survey, report.judgement, "against")
                ));
            }
            detail.push("Smaller losses, and losses at single places, can still hide.".to_owned());
        }
    }
    if let Some(closed) = closed {
        detail.extend(after_closing(report, closed));
    }
    detail
}

/// Since when an alert is open, and what the light read then.
fn story(report: &Report<'_>, alert: &Alert) -> Option<String> {
    let opened = trend_of(report.judgement, &alert.target)
        .iter()
        .find(|point| opened_on(report, alert).is_some_and(|day| day == point.date))?;
    (*opened.survey != *report.survey.id).then(|| {
        format!(
            "It was {} on {}, when the alert opened.",
            percent_of(opened.change.percent),
            day_from(opened.date, report.survey.date)
        )
    })
}

fn opened_on(report: &Report<'_>, alert: &Alert) -> Option<Date> {
    let zone = SiteZone::named(&report.survey.timezone).ok()?;
    Some(zone.date(alert.opened))
}

fn after_closing(report: &Report<'_>, closed: &Closed<'_>) -> Vec<String> {
    let alert = closed.alert;
    let mut said = Vec::new();
    match (&closed.back, trend_of(report.judgement, &alert.target).last()) {
        (Some(_), Some(now)) => {
            let left = if now.change.ci95[0] <= 0.0 && now.change.ci95[1] >= 0.0 {
                "no change proven any more"
            } else {
                "a little is left"
            };
            said.push(format!(
                "It reads {} ({}){}: {left}.",
                signed_percent(now.change.percent),
                super::interval(now.change.percent, now.change.ci95),
                since(report.survey, report.judgement, "against")
            ));
            said.push(match opened_on(report, alert) {
                Some(day) => format!("The alert of {} is closed.", day_from(day, report.survey.date)),
                None => "Its alert is closed.".to_owned(),
            });
            if alert.alike.is_empty() {
                said.extend(
                    causes::likely_cause(alert)
                        .map(|cause| cause.replacen("Most likely ", "Most likely it was ", 1)),
                );
            }
        }
        _ => {
            said.push(format!("An alert is closed: the light {}.", place(&alert.target)));
            said.extend(alert.evidence.first().map(|line| shown(line).into_owned()));
        }
    }
    said
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
