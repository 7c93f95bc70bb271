//! What to do next, safety first.

use super::{DO_NOT_RAISE, LOCAL_CODES, percent_of, place};
use crate::Report;
use crate::text_cell::shown;
use undim_model::{About, Alert, AlertTarget, Cause, State, Verdict};

/// How much the light rises at once when a loss of so many percent is undone, percent of what it is now.
///
/// A loss of 16 % leaves 0.84; 1/0.84 = 1.19. `None` for a loss of everything, or for none.
pub fn returns_percent(loss_percent: f64) -> Option<f64> {
    (loss_percent > 0.0 && loss_percent < 100.0).then(|| 100.0 * loss_percent / (100.0 - loss_percent))
}

/// The steps of an alert: its own, or where it brings none those that its cause asks for.
pub(crate) fn steps(alert: &Alert) -> Vec<String> {
    if alert.next_step.is_empty() {
        fallback_steps(alert)
    } else {
        alert
            .next_step
            .iter()
            .map(|step| shown(step).into_owned())
            .collect()
    }
}

/// Steps for an alert that brings none of its own, in order, safety first.
pub fn fallback_steps(alert: &Alert) -> Vec<String> {
    if alert.state == State::Closed {
        return vec!["Nothing to do.".to_owned()];
    }
    match alert.about {
        About::Overdue => vec!["Read the same places with the same device, under the same scene.".to_owned()],
        About::Silent => vec!["Look at the sensor, its cable and its logger. Hands dry, and nothing on a charger near the water.".to_owned()],
        About::Intake => vec!["See the note beside the file, mend it, and drop it again. Nothing is lost.".to_owned()],
        About::Light => light_steps(alert),
    }
}

fn light_steps(alert: &Alert) -> Vec<String> {
    let change = alert.change_percent.unwrap_or_default();
    if change > 0.0 {
        return vec![
            "Watch the corals; if they pale or close, turn the light down a little.".to_owned(),
            "Read the same places again with the same device, or with a reference.".to_owned(),
        ];
    }
    let mut steps = Vec::new();
    let dirty = alert.cause == Some(Cause::LensDirty) || alert.alike.contains(&Cause::LensDirty);
    if dirty {
        let fixture = match &alert.target {
            AlertTarget::Fixture(id) => format!("the {} fixture", shown(id)),
            _ => "the fixtures".to_owned(),
        };
        if let Some(back) = returns_percent(-change) {
            steps.push(format!(
                "Before cleaning turn {fixture} down to {} of its present level: the light returns at once, {} more than now.",
                percent_of(100.0 + change),
                percent_of(back)
            ));
        }
        steps.push("Unplug it, let it cool, and clean it away from the water.".to_owned());
        steps.push("Read the same places again with the same device.".to_owned());
        steps.push("Go back up over weeks, watching the corals.".to_owned());
        steps.push(LOCAL_CODES.to_owned());
    } else {
        steps.push("Read the same places again with the same device; a reference tells whether the device has drifted.".to_owned());
    }
    steps.push(DO_NOT_RAISE.to_owned());
    steps
}

/// The *do next* box of a survey: the steps of the open alerts, else what the survey itself asks for. Under an
/// open loss the last one is always not to raise the output.
pub fn do_next(report: &Report<'_>) -> Vec<String> {
    let mut next: Vec<String> = Vec::new();
    let several = report.judgement.open_alerts.len() > 1;
    let mut add = |step: String| {
        if !next.contains(&step) {
            next.push(step);
        }
    };
    for alert in &report.judgement.open_alerts {
        for (index, step) in steps(alert).into_iter().enumerate() {
            let named = several && index == 0 && alert.about == About::Light;
            add(if named {
                format!(
                    "{}: {}",
                    super::figures::upper_first(&place(&alert.target)),
                    super::lower_first(&step)
                )
            } else {
                step
            });
        }
    }
    if let Some(again) = read_again(report) {
        add(again);
    }
    let lost = |alert: &Alert| {
        alert.about == About::Light && alert.change_percent.is_some_and(|change| change < 0.0)
    };
    if report.judgement.open_alerts.iter().any(lost) {
        next.retain(|step| step != DO_NOT_RAISE);
        next.push(DO_NOT_RAISE.to_owned());
    }
    if next.is_empty() {
        next.push(
            match report.judgement.verdict {
                Verdict::Baseline | Verdict::NoBaseline => {
                    "Next time read the same places with the same device, under the same scene."
                }
                Verdict::TooPoor => "Read the places again with the same device, under the same scene.",
                Verdict::NoChangeProven | Verdict::BelowThreshold | Verdict::PastThreshold => {
                    "Nothing now. Read the same places again with the same device next time."
                }
            }
            .to_owned(),
        );
    }
    next
}

/// "Read w4 (an arm's shadow), e1 and e2 (tilted too far) again."
pub(crate) fn read_again(report: &Report<'_>) -> Option<String> {
    const NAMED: usize = 4;
    let again = &report.survey.read_again;
    let mut groups: Vec<(&str, Vec<String>)> = Vec::new();
    for again in again.iter().take(NAMED) {
        let name = shown(&again.station).into_owned();
        match groups.iter_mut().find(|(why, _)| *why == again.why) {
            Some((_, names)) => names.push(name),
            None => groups.push((&again.why, vec![name])),
        }
    }
    let mut parts: Vec<String> = groups
        .into_iter()
        .map(|(why, names)| format!("{} ({})", super::list(&names), shown(why)))
        .collect();
    if again.len() > NAMED {
        parts.push(super::counted(again.len() - NAMED, "other place", "other places"));
    }
    (!parts.is_empty()).then(|| format!("Read {} again.", super::list(&parts)))
}
