//! The text of a notice: what a keeper gets by file or command when an alert opens, grows, changes or
//! closes.

use crate::SiteZone;
use crate::text_cell::shown;
use crate::words::{self, causes_of, steps_of};
use undim_model::{About, Alert, AlertChange, AlertStep};

/// A notice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// One line: place, size and interval.
    pub title: String,
    /// Several lines, each ended by `\n`.
    pub body: String,
}

/// The notice for a change of an alert. `tank_name` is the tank's name as shown to people.
pub fn notice(change: &AlertChange, tank_name: &str, zone: &SiteZone) -> Notice {
    let tank = shown(tank_name);
    Notice {
        title: title(change, &tank),
        body: body(change, &tank, zone),
    }
}

fn title(change: &AlertChange, tank: &str) -> String {
    let what = words::what(&change.alert);
    match change.step {
        AlertStep::Opened => format!("{tank}: {what}"),
        AlertStep::Raised => format!("{tank}, urgent now: {what}"),
        AlertStep::Changed => format!("{tank}, still open: {what}"),
        AlertStep::Closed => format!("{tank}, over: {}", over(&change.alert)),
    }
}

fn over(alert: &Alert) -> String {
    let place = words::place(&alert.target);
    match alert.about {
        About::Light => format!("the light {place} is back within its limits"),
        About::Overdue => "the survey has come".to_owned(),
        About::Silent => format!("readings have come again {place}"),
        About::Intake => format!("mended: {place}"),
    }
}

fn body(change: &AlertChange, tank: &str, zone: &SiteZone) -> String {
    let alert = &change.alert;
    let mut lines: Vec<String> = vec![format!("{}.", title(change, tank))];
    let day = |time| words::day_and_year(zone.date(time));
    if alert.about == About::Light {
        if let Some(baseline) = &alert.baseline {
            lines.push(format!("Held against the survey {}.", shown(baseline)));
        }
        lines.push("The interval holds with 95 % confidence.".to_owned());
    }
    let mut dates = format!("First seen {}", day(alert.opened));
    if alert.updated != alert.opened {
        dates = format!("{dates}, seen last {}", day(alert.updated));
    }
    if let Some(closed) = alert.closed {
        dates = format!("{dates}, over since {}", day(closed));
    }
    lines.push(format!("{dates}."));
    section(&mut lines, "Cause", causes_of(alert), false);
    section(
        &mut lines,
        "Why",
        alert
            .evidence
            .iter()
            .map(|line| shown(line).into_owned())
            .collect(),
        false,
    );
    section(&mut lines, "Next", steps_of(alert), true);
    if change.step != AlertStep::Closed && alert.about == About::Light {
        lines.push(String::new());
        if !lines.iter().any(|line| line.ends_with(words::DO_NOT_RAISE)) {
            lines.push(words::DO_NOT_RAISE.to_owned());
        }
        lines.push(words::STAND_IN.to_owned());
    }
    lines.push(String::new());
    lines.push(format!("Alert {}", shown(&alert.id)));
    lines.push(String::new());
    lines.join("\n")
}

fn section(lines: &mut Vec<String>, head: &str, entries: Vec<String>, numbered: bool) {
    if entries.is_empty() {
        return;
    }
    lines.push(String::new());
    lines.push(format!("{head}:"));
    for (index, entry) in entries.into_iter().enumerate() {
        lines.push(if numbered {
            format!("{}. {entry}", index + 1)
        } else {
            format!("- {entry}")
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples;
    use undim_model::State;

    fn zone() -> SiteZone {
        SiteZone::named("Europe/Lisbon").expect("a zone")
    }

    #[test]
    fn an_alert_that_opens() {
        let (_, judgement) = samples::small();
        let notice = notice(&judgement.alert_changes[0], "Harbour tank", &zone());
        let plain = |text: &str| text.replace('\u{a0}', " ");
        assert_eq!(
            plain(&notice.title),
            "Harbour tank: less light under the west fixture: −16 % (−20 to −12 %)"
        );
        assert_eq!(
            plain(&notice.body),
            "Harbour tank: less light under the west fixture: −16 % (−20 to −12 %).\n\
             Held against the survey 2025-10-11-noon.\n\
             The interval holds with 95 % confidence.\n\
             First seen 14 March 2026.\n\
             \n\
             Cause:\n\
             - Most likely a film on the west lens or cover (74 in 100).\n\
             - Else the west fixture giving less with age (16 in 100) and a fault in the west fixture (10 in 100).\n\
             \n\
             Why:\n\
             - 4 of 5 places lit by west read less; none lit by east does.\n\
             \n\
             Next:\n\
             1. Before cleaning turn the west fixture down to 84 % of its present level: the light returns at once, 19 % more than now.\n\
             2. Unplug it, let it cool, and clean it away from the water.\n\
             3. Read the same places again with the same device.\n\
             4. Go back up over weeks, watching the corals.\n\
             5. Mains over salt water: local codes and licensed people decide.\n\
             6. Don't raise the output to make up for a loss before its cause is known.\n\
             \n\
             For whoever stands in: call the keeper; don't raise the light.\n\
             \n\
             Alert harbour-west-2026-03-14\n"
        );
    }

    #[test]
    fn one_that_closes_asks_for_nothing() {
        let (_, judgement) = samples::small();
        let mut change = judgement.alert_changes[0].clone();
        change.step = AlertStep::Closed;
        change.alert.state = State::Closed;
        change.alert.closed = Some("2026-04-11T11:00:00Z".parse().expect("a time"));
        let notice = notice(&change, "Harbour\u{1b}]0;x\u{7} tank", &zone());
        assert!(
            notice
                .title
                .ends_with("over: the light under the west fixture is back within its limits")
        );
        assert!(notice.body.contains("1. Nothing to do."));
        assert!(!notice.body.contains("stands in"));
        assert!(!notice.body.contains('\u{1b}'));
    }
}
