//! The text of a notice: what a keeper gets by file or command when an alert opens, grows, changes or
//! closes.

use crate::SiteZone;
use crate::terminal::wrap;
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
        body: body(change, zone),
    }
}

fn title(change: &AlertChange, tank: &str) -> String {
    let what = words::what(&change.alert);
    match change.step {
        AlertStep::Opened => format!("{tank}: {what}"),
        AlertStep::Raised => format!("{tank}, urgent now: {what}"),
        AlertStep::Changed => format!("{tank}, still open: {what}"),
        AlertStep::Closed => format!("{tank}, alert closed: {}", over(&change.alert)),
    }
}

fn over(alert: &Alert) -> String {
    let place = words::place(&alert.target);
    match (alert.about, alert.change_percent, alert.ci95) {
        // Only where the light went back there is something to do.
        (About::Light, Some(percent), Some(ends)) if !alert.next_step.is_empty() => format!(
            "light is back {place}: {} ({})",
            words::signed_percent(percent),
            words::interval(percent, ends)
        ),
        (About::Light, ..) => format!("light {place}"),
        (About::Overdue, ..) => "the survey has come".to_owned(),
        (About::Silent, ..) => format!("the sensor {place} reads as it should again"),
        (About::Intake, ..) => format!("mended: {place}"),
    }
}

fn body(change: &AlertChange, zone: &SiteZone) -> String {
    let alert = &change.alert;
    let is_light = alert.about == About::Light;
    let day = |time| words::day_and_year(zone.date(time));
    let mut dates = format!("Seen first on {}", day(alert.opened));
    if let Some(closed) = alert.closed {
        dates = format!("{dates}, over on {}", day(closed));
    } else if alert.updated != alert.opened {
        dates = format!("{dates}, seen last on {}", day(alert.updated));
    }
    let interval = if is_light {
        " The interval in the title holds with 95 % confidence."
    } else {
        ""
    };
    let mut text = Text::default();
    text.line(&format!("{dates}.{interval}"), "", "");
    if change.step != AlertStep::Closed {
        text.section("Cause", causes_of(alert), false);
    }
    let why = alert.evidence.iter().map(|line| shown(line).into_owned());
    text.section("Why", why.collect(), false);
    let mut steps = steps_of(alert);
    steps.retain(|step| step != words::DO_NOT_RAISE);
    text.section("Next", steps, true);
    let is_open = change.step != AlertStep::Closed;
    if is_light && (is_open || !alert.next_step.is_empty()) {
        text.blank();
        if is_open && words::is_loss(alert) {
            text.line(words::DO_NOT_RAISE, "", "");
        }
        text.line(words::STAND_IN, "", "");
    }
    text.lines.join("\n") + "\n"
}

/// Lines of a plain text, none wider than 76 columns where it can be helped: what mail and terminals show whole.
#[derive(Default)]
struct Text {
    lines: Vec<String>,
}

impl Text {
    const WIDTH: usize = 76;

    fn line(&mut self, text: &str, first: &str, others: &str) {
        self.lines.extend(wrap(text, first, others, Self::WIDTH));
    }

    fn blank(&mut self) {
        self.lines.push(String::new());
    }

    fn section(&mut self, head: &str, entries: Vec<String>, numbered: bool) {
        if entries.is_empty() {
            return;
        }
        self.blank();
        self.lines.push(format!("{head}:"));
        for (index, entry) in entries.into_iter().enumerate() {
            let mark = if numbered {
                format!("{}. ", index + 1)
            } else {
                "- ".to_owned()
            };
            self.line(&entry, &mark, &" ".repeat(mark.len()));
        }
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
            "Seen first on 14 March 2026. The interval in the title holds with 95 %\n\
             confidence.\n\
             \n\
             Cause:\n\
             - Most likely a film on the west lens or cover (74 in 100).\n\
             - Else the west fixture giving less with age (16 in 100) and a fault in the\n  \
               west fixture (10 in 100).\n\
             \n\
             Why:\n\
             - 4 of 5 places lit by west read less; none lit by east does.\n\
             \n\
             Next:\n\
             1. Leave the levels as they are until the cause is known: it may be the\n   \
                device, and corals have grown used to what they get.\n\
             2. Switch the west fixture off, let it cool, and look at its lens and cover\n   \
                from the side.\n\
             3. If there is a film: before cleaning, turn the west fixture down to about\n   \
                84 % of its present level. The light may jump by 19 % at once, and a\n   \
                sudden excess bleaches corals.\n\
             4. Unplug it, let it cool, and clean it away from the water. Never look into\n   \
                blue or UV emitters. Mains over salt water: local codes and licensed\n   \
                electricians decide.\n\
             5. Read the same places again with the same device, pumps off by timer, and\n   \
                turn the pumps back on afterwards.\n\
             6. If the light is back it was a film: go back up over weeks, watching the\n   \
                corals. If not, ageing or a fault is likelier: write what was done into\n   \
                the upkeep list.\n\
             \n\
             Don't raise the output to make up for a loss before its cause is known.\n\
             For whoever stands in: call the keeper; don't raise the light.\n"
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
                .ends_with("alert closed: light under the west fixture")
        );
        assert!(notice.body.contains("1. Nothing to do."));
        assert!(!notice.body.contains("stands in"));
        assert!(!notice.body.contains('\u{1b}'));
    }
}
