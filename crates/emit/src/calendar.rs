//! `calendar.ics`: the days that a keeper should know of, as iCalendar (RFC 5545), for any calendar program.
//!
//! Every event is a whole day and blocks nothing. Its `UID` stays the same however often the file is written,
//! and its `DTSTAMP` is a time of the data (a survey's end, a certificate's day), never the clock's: the same
//! past gives the same bytes.

use crate::page::sha256;
use crate::text_cell::shown;
use crate::{SiteZone, words};
use jiff::civil::Date;
use jiff::tz::Offset;
use jiff::{Timestamp, ToSpan};
use std::io;
use undim_model::{Correction, DateSpan, Device, Survey, Tank};

/// A day to know of.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Event {
    /// The day.
    pub day: Date,
    /// Unique within the site, and stable.
    pub key: String,
    /// One line.
    pub summary: String,
    /// More, several lines divided by `\n`.
    pub description: String,
    /// When what it says was last true of the data.
    pub stamp: Timestamp,
}

/// The day on which the next survey of a tank is due; `None` without `every` or without a survey.
pub fn next_due(tank: &Tank, last: &Survey, zone: &SiteZone) -> Option<Date> {
    let seconds = i64::try_from(tank.drift.every_seconds?).ok()?;
    let due = last.start.checked_add(seconds.seconds()).ok()?;
    Some(zone.date(due))
}

/// The next survey of a tank.
///
/// Where the keeper is away on that day, the event says so.
pub fn survey_due(tank: &Tank, last: &Survey, away: &[DateSpan], zone: &SiteZone) -> Option<Event> {
    let day = next_due(tank, last, zone)?;
    let until = away
        .iter()
        .filter(|span| span.holds(day))
        .find_map(|span| span.until);
    Some(Event {
        day,
        key: format!("survey-due-{}", tank.id),
        summary: words::survey_due(&tank.name),
        description: words::survey_due_more(last.date, until),
        stamp: last.end,
    })
}

/// Days on which something about a device runs out: its certificate, and the last of its corrections.
pub fn device_due(device: &Device) -> Vec<Event> {
    let mut events = Vec::new();
    let midnight = |day: Date| {
        let start = Offset::UTC.to_timestamp(day.at(0, 0, 0, 0));
        start.unwrap_or(Timestamp::UNIX_EPOCH)
    };
    if let Some(day) = device.valid_until {
        events.push(Event {
            day,
            key: format!("certificate-{}", device.id),
            summary: words::certificate_ends(&device.name),
            description: words::certificate_ends_more(device.calibrated),
            stamp: midnight(device.calibrated.unwrap_or(day)),
        });
    }
    let newest = device
        .corrections
        .iter()
        .max_by_key(|correction| correction.span.from);
    let ends = |correction: &&Correction| {
        let others = device.corrections.iter();
        let open = |other: &Correction| other.span.until.is_none();
        !others.into_iter().any(open) && correction.span.until.is_some()
    };
    if let Some(correction) = newest.filter(ends)
        && let Some(day) = device
            .corrections
            .iter()
            .filter_map(|correction| correction.span.until)
            .max()
    {
        events.push(Event {
            day,
            key: format!("correction-{}", device.id),
            summary: words::correction_ends(&device.name),
            description: words::CORRECTION_ENDS_MORE.to_owned(),
            stamp: midnight(correction.span.from.unwrap_or(day)),
        });
    }
    events
}

/// Writes the calendar. RFC 5545 has none without events, so there should be one at least.
pub fn write<W: io::Write>(
    mut to: W,
    site_name: &str,
    events: &[Event],
    software_version: &str,
) -> io::Result<()> {
    let mut events: Vec<&Event> = events.iter().collect();
    events.sort();
    // Tanks of two sites may share an id; a calendar may hold both.
    let site: String = sha256::sha256(site_name.as_bytes())[..4]
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    let mut text = String::new();
    let mut line = |name: &str, value: &str| push_folded(&mut text, &format!("{name}:{value}"));
    line("BEGIN", "VCALENDAR");
    line("VERSION", "2.0");
    line(
        "PRODID",
        &format!("-//undim//undim {}//EN", escaped(software_version)),
    );
    line("CALSCALE", "GREGORIAN");
    // RFC 7986, sections 5.1 and 5.7; the second name is what older programs look for.
    line("NAME", &escaped(&words::calendar_name(site_name)));
    line("X-WR-CALNAME", &escaped(&words::calendar_name(site_name)));
    line("REFRESH-INTERVAL;VALUE=DURATION", "PT12H");
    for event in events {
        line("BEGIN", "VEVENT");
        line("UID", &format!("{}-{site}@undim", escaped(&event.key)));
        line("DTSTAMP", &event.stamp.strftime("%Y%m%dT%H%M%SZ").to_string());
        line("DTSTART;VALUE=DATE", &event.day.strftime("%Y%m%d").to_string());
        line("SUMMARY", &escaped(&event.summary));
        line("DESCRIPTION", &escaped(&event.description));
        line("TRANSP", "TRANSPARENT");
        line("END", "VEVENT");
    }
    line("END", "VCALENDAR");
    to.write_all(text.as_bytes())
}

/// A TEXT value (RFC 5545, section 3.3.11). What would not show itself is spelled out.
fn escaped(text: &str) -> String {
    let lines = text.split('\n').map(|line| {
        let line = shown(line);
        line.replace('\\', "\\\\").replace(';', "\\;").replace(',', "\\,")
    });
    lines.collect::<Vec<_>>().join("\\n")
}

/// Lines of at most 75 octets without their end, the others begun with a blank (RFC 5545, section 3.1); a
/// character is never cut.
fn push_folded(text: &mut String, line: &str) {
    const MOST: usize = 75;
    let mut used = 0;
    for c in line.chars() {
        if used + c.len_utf8() > MOST {
            text.push_str("\r\n ");
            used = 1;
        }
        text.push(c);
        used += c.len_utf8();
    }
    text.push_str("\r\n");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples;
    use jiff::civil::date;
    use proptest::prelude::*;
    use undim_model::Factor;

    fn event(summary: &str) -> Event {
        Event {
            day: date(2026, 4, 18),
            key: "survey-due-harbour".into(),
            summary: summary.into(),
            description: "one\ntwo; three".into(),
            stamp: "2026-03-14T12:21:30.5Z".parse().expect("a time"),
        }
    }

    fn written(events: &[Event]) -> String {
        let mut bytes = Vec::new();
        write(&mut bytes, "North room", events, "0.1.0").expect("written");
        String::from_utf8(bytes).expect("UTF-8")
    }

    #[test]
    fn the_exact_text_of_a_day() {
        let text = written(&[event("Harbour, left: a survey is due")]);
        let event = text.split("BEGIN:VEVENT\r\n").nth(1).expect("an event");
        assert_eq!(
            event,
            "UID:survey-due-harbour-21069999@undim\r\nDTSTAMP:20260314T122130Z\r\nDTSTART;VALUE=DATE:20260418\r\n\
             SUMMARY:Harbour\\, left: a survey is due\r\nDESCRIPTION:one\\ntwo\\; three\r\nTRANSP:TRANSPARENT\r\n\
             END:VEVENT\r\nEND:VCALENDAR\r\n"
        );
        assert!(text.starts_with("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//undim//undim 0.1.0//EN\r\n"));
    }

    #[test]
    fn the_next_survey_is_counted_from_the_start_of_the_last() {
        let mut scenario = samples::quiet();
        let zone = SiteZone::named("Pacific/Auckland").expect("a zone");
        assert_eq!(survey_due(&scenario.tank, &scenario.survey, &[], &zone), None);
        scenario.tank.drift.every_seconds = Some(35 * 86_400);
        // 14 March 12:00 UTC is the 15th there.
        assert_eq!(
            next_due(&scenario.tank, &scenario.survey, &zone),
            Some(date(2026, 4, 19))
        );
        let away = [DateSpan {
            from: Some(date(2026, 4, 10)),
            until: Some(date(2026, 4, 25)),
        }];
        let told = survey_due(&scenario.tank, &scenario.survey, &away, &zone).expect("an event");
        assert!(told.description.contains("away until 25"), "{}", told.description);
        scenario.tank.drift.every_seconds = Some(u64::MAX);
        assert_eq!(next_due(&scenario.tank, &scenario.survey, &zone), None);
    }

    #[test]
    fn a_certificate_and_the_last_correction_run_out() {
        let mut device = Device::undeclared("hired-reference");
        assert_eq!(device_due(&device), []);
        device.calibrated = Some(date(2025, 11, 1));
        device.valid_until = Some(date(2027, 11, 1));
        let correction = |from: Date, until: Option<Date>| Correction {
            span: DateSpan {
                from: Some(from),
                until,
            },
            scenes: Vec::new(),
            medium: None,
            blend: false,
            dark: Factor { value: 0.0, u: 0.0 },
            sensitivity: None,
            spectral: Factor { value: 1.0, u: 0.0 },
            immersion: Factor { value: 1.0, u: 0.0 },
            fit: None,
        };
        device.corrections = vec![
            correction(date(2026, 1, 1), Some(date(2026, 6, 30))),
            correction(date(2026, 7, 1), Some(date(2026, 12, 31))),
        ];
        let days: Vec<Date> = device_due(&device).iter().map(|event| event.day).collect();
        assert_eq!(days, [date(2027, 11, 1), date(2026, 12, 31)]);
        device.corrections.push(correction(date(2027, 1, 1), None));
        assert_eq!(device_due(&device).len(), 1);
    }

    proptest! {
        #[test]
        fn no_line_is_long_and_unfolding_gives_the_text_back(summary in any::<String>()) {
            let text = written(&[event(&summary)]);
            for line in text.split("\r\n") {
                prop_assert!(line.len() <= 75);
                prop_assert!(!line.contains(['\r', '\n']));
            }
            let unfolded = text.replace("\r\n ", "");
            let told = format!("SUMMARY:{}\r\n", escaped(&summary));
            prop_assert!(unfolded.contains(&told));
        }
    }
}
