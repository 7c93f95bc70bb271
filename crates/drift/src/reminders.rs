//! Reminders: that a survey is overdue, a sensor silent, a file set aside, the machine in need of a look.
//!
//! They depend on the time of looking, which no archive holds. So it is kept *that* something was noticed, and
//! since when; [`changes`] folds what was kept into alerts, the same however often. [`news`] says what is to be
//! kept next, from what is so now. Neither knows a clock.

mod words;

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use undim_model::{Alert, AlertChange, AlertStep, DateSpan, NoticeStep, Noticed, Reminder, State, Subject};
use words::Words;

/// The reminder of a tank's next survey; it is due from its `since` on. `None` where that lies beyond the calendar.
pub fn overdue(tank: &str, survey: &str, last: Timestamp, every_seconds: u64) -> Option<Reminder> {
    let every = SignedDuration::from_secs(i64::try_from(every_seconds).ok()?);
    Some(Reminder {
        tank: Some(tank.to_owned()),
        subject: Subject::Overdue {
            survey: survey.to_owned(),
            last,
            every_seconds,
        },
        since: last.checked_add(every).ok()?,
    })
}

/// What to keep next: what is so now and was not noticed yet, then what was noticed and is so no more.
///
/// `so` holds what is so now or will be at its `since`, if nothing comes before. What was noticed stays so while
/// it is among them, even where the clock was set back. `over_at` gives the time at which something that was
/// noticed was over. While the keeper is away what can wait is not noticed yet.
pub fn news(
    noticed: &[Noticed],
    so: &[Reminder],
    now: Timestamp,
    is_away: bool,
    over_at: impl Fn(&Reminder) -> Timestamp,
) -> Vec<Noticed> {
    let open = open(noticed);
    let begun = so.iter().filter(|reminder| {
        reminder.since <= now
            && !(is_away && reminder.waits_while_away())
            && !open.iter().any(|known| known.is_same_event(reminder))
    });
    let over = open
        .iter()
        .filter(|known| !so.iter().any(|reminder| reminder.is_same_event(known)));
    let begun = begun.map(|reminder| Noticed {
        step: NoticeStep::Opened,
        at: reminder.since,
        reminder: reminder.clone(),
    });
    let over = over.map(|reminder| Noticed {
        step: NoticeStep::Closed,
        // A file that was read in time and came late ends what was noticed meanwhile, not before it began.
        at: over_at(reminder).max(reminder.since),
        reminder: (*reminder).clone(),
    });
    over.chain(begun).collect()
}

/// When [`news`] should be asked again at the latest: the earliest `since` that is still to come.
pub fn next_due(so: &[Reminder], now: Timestamp) -> Option<Timestamp> {
    so.iter()
        .map(|reminder| reminder.since)
        .filter(|since| *since > now)
        .min()
}

/// What was noticed and is not over.
pub fn open(noticed: &[Noticed]) -> Vec<&Reminder> {
    let mut open: Vec<&Reminder> = Vec::new();
    for one in noticed {
        open.retain(|known| !known.is_same_event(&one.reminder));
        if one.step == NoticeStep::Opened {
            open.push(&one.reminder);
        }
    }
    open
}

/// True on a day on which the keeper is away.
pub fn is_away(away: &[DateSpan], now: Timestamp, zone: &TimeZone) -> bool {
    let today = zone.to_datetime(now).date();
    away.iter().any(|span| span.holds(today))
}

/// The alerts that were noticed of a tank, or with `None` of the site, as changes in their order.
pub fn changes(noticed: &[Noticed], tank: Option<&str>, zone: &TimeZone) -> Vec<AlertChange> {
    let mut changes: Vec<AlertChange> = Vec::new();
    let mut open: Vec<(&Reminder, Alert)> = Vec::new();
    for one in noticed.iter().filter(|one| one.reminder.tank.as_deref() == tank) {
        let known = open
            .iter()
            .position(|(reminder, _)| reminder.is_same_event(&one.reminder));
        match (one.step, known) {
            (NoticeStep::Opened, None) => {
                let is_taken = |id: &str| changes.iter().any(|change| change.alert.id == id);
                let alert = alert_of(&one.reminder, zone, is_taken);
                open.push((&one.reminder, alert.clone()));
                changes.push(AlertChange {
                    step: AlertStep::Opened,
                    alert,
                });
            }
            (NoticeStep::Closed, Some(at)) => {
                let (_, mut alert) = open.remove(at);
                alert.state = State::Closed;
                alert.updated = one.at;
                alert.closed = Some(one.at);
                alert.next_step.clear();
                changes.push(AlertChange {
                    step: AlertStep::Closed,
                    alert,
                });
            }
            // Kept twice by a program that was killed in between: it counts once.
            _ => {}
        }
    }
    changes
}

fn alert_of(reminder: &Reminder, zone: &TimeZone, is_taken: impl Fn(&str) -> bool) -> Alert {
    let words = Words::of(reminder, zone);
    let date = zone.to_datetime(reminder.since).date();
    let plain: String = format!("{date}-{}", words.stem)
        .to_lowercase()
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
        .collect();
    let mut id = plain.clone();
    let mut number = 2_u32;
    while is_taken(&id) {
        id = format!("{plain}-{number}");
        number += 1;
    }
    let survey = match &reminder.subject {
        Subject::Overdue { survey, .. } => Some(survey.clone()),
        _ => None,
    };
    Alert {
        id,
        tank: reminder.tank.clone().unwrap_or_default(),
        about: words.about,
        state: State::Open,
        level: words.level,
        cause: None,
        cause_probability: None,
        target: words.target,
        change_percent: None,
        ci95: None,
        survey,
        baseline: None,
        opened: reminder.since,
        updated: reminder.since,
        closed: None,
        evidence: words.evidence,
        next_step: words.next_step,
        alternatives: Vec::new(),
        alike: Vec::new(),
        p_real: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use proptest::prelude::*;

    fn at(days: i64) -> Timestamp {
        Timestamp::from_second(1_790_000_000 + days * 86_400).expect("a time")
    }

    fn due(last: i64) -> Reminder {
        overdue("harbour", "survey", at(last), 35 * 86_400).expect("a reminder")
    }

    fn over(_: &Reminder) -> Timestamp {
        at(40)
    }

    #[test]
    fn a_survey_is_overdue_once_and_the_next_one_closes_it() {
        let mut kept = Vec::new();
        assert_eq!(news(&kept, &[due(0)], at(34), false, over), []);
        assert_eq!(next_due(&[due(0)], at(34)), Some(at(35)));
        let opened = news(&kept, &[due(0)], at(38), false, over);
        assert_eq!(opened.len(), 1);
        assert_eq!(opened[0].at, at(35), "since it was due, not since it was noticed");
        kept.extend(opened);
        assert_eq!(news(&kept, &[due(0)], at(39), false, over), [], "once");
        assert_eq!(
            news(&kept, &[due(0)], at(-900), false, over),
            [],
            "a clock set back"
        );
        let closed = news(&kept, &[due(40)], at(41), false, over);
        assert_eq!(
            (closed.len(), closed[0].step, closed[0].at),
            (1, NoticeStep::Closed, at(40))
        );
        kept.extend(closed);
        let changes = changes(&kept, Some("harbour"), &TimeZone::UTC);
        let steps: Vec<_> = changes.iter().map(|change| change.step).collect();
        assert_eq!(steps, [AlertStep::Opened, AlertStep::Closed]);
        assert_eq!(changes[0].alert.id, "2026-10-26-overdue");
        assert_eq!(changes[0].alert.id, changes[1].alert.id);
        assert_eq!(changes[1].alert.closed, Some(at(40)));
        assert_eq!(super::changes(&kept, None, &TimeZone::UTC), []);
    }

    #[test]
    fn a_file_that_came_late_closes_not_before_it_was_opened() {
        let kept = news(&[], &[due(0)], at(38), false, over);
        let closed = news(&kept, &[due(20)], at(38), false, |_| at(20));
        assert_eq!(closed[0].at, at(35));
    }

    #[test]
    fn away_holds_what_can_wait() {
        let full = Reminder {
            tank: None,
            subject: Subject::DiskFull {
                folder: "state".into(),
                left_mib: 1,
            },
            since: at(1),
        };
        let so = [due(0), full.clone()];
        let kept = news(&[], &so, at(38), true, over);
        assert_eq!(kept.len(), 1);
        assert_eq!(kept[0].reminder, full);
        assert_eq!(
            news(&kept, &so, at(50), false, over).len(),
            1,
            "told on the way home"
        );
        let span = DateSpan {
            from: Some(date(2026, 10, 1)),
            until: Some(date(2026, 10, 31)),
        };
        assert!(is_away(&[span], at(38), &TimeZone::UTC));
        assert!(!is_away(&[span], at(41), &TimeZone::UTC));
    }

    #[test]
    fn the_same_thing_again_is_another_alert() {
        let opened = news(&[], &[due(0)], at(38), false, over);
        let mut kept = opened.clone();
        kept.extend(news(&kept, &[], at(38), false, over));
        kept.extend(news(&kept, &[due(0)], at(39), false, over));
        let ids: Vec<_> = changes(&kept, Some("harbour"), &TimeZone::UTC)
            .into_iter()
            .map(|change| change.alert.id)
            .collect();
        assert_eq!(
            ids,
            ["2026-10-26-overdue", "2026-10-26-overdue", "2026-10-26-overdue-2"]
        );
    }

    #[test]
    fn lengths_are_said_as_people_do() {
        use words::length;
        assert_eq!(length(35 * 86_400), "35 days");
        assert_eq!(length(86_400), "1 day");
        assert_eq!(length(26 * 3600), "26 hours");
        assert_eq!(length(61), "1 minute");
    }

    proptest! {
        #[test]
        fn whatever_is_so_each_event_opens_once_and_closes_once(
            looks in prop::collection::vec((prop::collection::vec(0_i64..4, 0..3), any::<bool>()), 0..30),
        ) {
            let mut kept: Vec<Noticed> = Vec::new();
            for (lasts, away) in looks {
                let so: Vec<Reminder> = lasts.into_iter().map(due).collect();
                kept.extend(news(&kept, &so, at(60), away, over));
                let again = news(&kept, &so, at(60), away, over);
                prop_assert!(again.iter().all(|one| one.step == NoticeStep::Opened));
                // The same reminder twice among `so` is the only thing that could be told twice.
                let all = changes(&kept, Some("harbour"), &TimeZone::UTC);
                for change in &all {
                    let of_it = |step| all.iter().filter(|c| c.alert.id == change.alert.id && c.step == step).count();
                    prop_assert_eq!(of_it(AlertStep::Opened), 1);
                    prop_assert!(of_it(AlertStep::Closed) <= 1);
                }
            }
        }
    }
}
