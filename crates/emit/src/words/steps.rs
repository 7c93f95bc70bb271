//! What to do next, safety first.

use super::{DO_NOT_RAISE, LEAVE_LEVELS, place};
use crate::Report;
use crate::text_cell::shown;
use undim_drift::steps::next_step;
use undim_model::{About, Alert, Cause, Direction, State, Verdict};

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
        About::Light => {
            let percent = alert.change_percent.unwrap_or_default();
            let direction = if percent > 0.0 { Direction::Gain } else { Direction::Loss };
            let cause = alert.cause.unwrap_or(Cause::Unexplained);
            next_step(&alert.target, cause, direction, percent, None)
        }
    }
}

/// True for a loss of light.
pub(crate) fn is_loss(alert: &Alert) -> bool {
    alert.about == About::Light && alert.change_percent.is_some_and(|change| change < 0.0)
}

/// The *do next* box of a survey: the steps of the open alerts and of those that closed with it, else what the
/// survey itself asks for. Under an open loss the last one is always not to raise the output.
pub fn do_next(report: &Report<'_>) -> Vec<String> {
    let judgement = report.judgement;
    let mut next: Vec<String> = Vec::new();
    let mut add = |step: String| {
        if !next.contains(&step) {
            next.push(step);
        }
    };
    let poor = judgement.verdict == Verdict::TooPoor;
    if poor {
        add(AGAIN_WHOLE.to_owned());
    }
    let closed = super::closed_alerts(judgement);
    let open = &judgement.open_alerts;
    let several = open.len() > 1;
    for alert in open {
        for (index, step) in steps(alert).into_iter().enumerate() {
            let named = several && index == 0 && alert.about == About::Light && step != LEAVE_LEVELS;
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
    for alert in closed {
        // The page asks for the pumps on its own first line.
        for step in alert.next_step.iter().filter(|step| !step.contains("pumps")) {
            add(shown(step).into_owned());
        }
    }
    if let Some(again) = read_again(report).filter(|_| !poor) {
        add(again);
    }
    if open.iter().any(is_loss) {
        next.retain(|step| step != DO_NOT_RAISE && step != LEAVE_LEVELS);
        next.push(DO_NOT_RAISE.to_owned());
    }
    if next.is_empty() {
        next.push(
            match judgement.verdict {
                Verdict::Baseline | Verdict::NoBaseline => NOTHING_NOW[0],
                _ => NOTHING_NOW[1],
            }
            .to_owned(),
        );
    }
    next
}

/// The same for a tank, with the steps of alerts that are not about light: none of them belongs to a survey.
pub(crate) fn do_next_of_tank<'a>(
    report: &Report<'_>,
    others: impl Iterator<Item = &'a Alert>,
) -> Vec<String> {
    let mut next = do_next(report);
    let mut more: Vec<String> = Vec::new();
    for step in others.filter(|alert| alert.about != About::Light).flat_map(steps) {
        if !next.contains(&step) && !more.contains(&step) {
            more.push(step);
        }
    }
    if !more.is_empty() {
        next.retain(|step| !NOTHING_NOW.contains(&step.as_str()));
    }
    let loss = next.pop_if(|last| last == DO_NOT_RAISE);
    next.extend(more);
    next.extend(loss);
    next
}

/// What stands where nothing is to be done: on the first survey, and on later ones.
const NOTHING_NOW: [&str; 2] = [
    "Next time read the same places with the same device, under the same scene.",
    "Nothing now. Next time read the same places again with the same device.",
];

const AGAIN_WHOLE: &str = "Read the whole survey again with the same device, under the same scene, pumps off by timer; turn the pumps back on afterwards.";

/// A reason without brackets of its own.
fn flat(why: &str) -> String {
    shown(why).replace(" (", "; ").replace(')', "")
}

/// "Read w4 again (an arm's shadow).", or of several "Read again: w4 (an arm's shadow), e1 and e2 (tilted too far)."
pub(crate) fn read_again(report: &Report<'_>) -> Option<String> {
    const NAMED: usize = 4;
    let again = &report.survey.read_again;
    let mut groups: Vec<(&str, Vec<String>)> = Vec::new();
    for again in again {
        let name = shown(&again.station).into_owned();
        match groups.iter_mut().find(|(why, _)| *why == again.why) {
            Some((_, names)) => names.push(name),
            None => groups.push((&again.why, vec![name])),
        }
    }
    if let [(why, names)] = groups.as_slice() {
        let names = match names.get(..NAMED) {
            Some(first) if names.len() > NAMED + 1 => {
                format!("{} and {} other places", first.join(", "), names.len() - NAMED)
            }
            _ => super::list(names),
        };
        return Some(format!("Read {names} again ({}).", flat(why)));
    }
    let mut parts: Vec<String> = Vec::new();
    let mut told = 0;
    for (why, names) in &groups {
        if told > 0 && told + names.len() > NAMED {
            continue;
        }
        told += names.len();
        let first = names.get(..NAMED).filter(|_| names.len() > NAMED);
        let names = match first {
            Some(first) => format!("{} and {} more", first.join(", "), names.len() - NAMED),
            None => super::list(names),
        };
        parts.push(format!("{names} ({})", flat(why)));
    }
    if again.len() > told {
        parts.push(super::counted(again.len() - told, "other place", "other places"));
    }
    (!parts.is_empty()).then(|| format!("Read again: {}.", super::list(&parts)))
}
