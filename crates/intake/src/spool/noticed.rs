//! What was noticed and no archived file could tell again: that a survey was overdue, a sensor silent, a file
//! set aside. Kept in `raw/noticed.log`, so that everything derived from the archive again says the same.
//!
//! Text like the records beside the contents, one line a change, fields parted by tabs and escaped as
//! [`shown`] does it:
//!
//! ```text
//! undim noticed 1
//! opened   at=2026-11-14T12:00:00Z  tank=harbour  what=overdue  survey=2026-10-10-noon  last=2026-10-10T12:00:00Z  every_s=3024000
//! closed   at=2026-11-16T10:00:00Z  tank=harbour  what=overdue  …
//! ```
//!
//! A line that can't be understood is passed over, which is said.

use super::atomic::write_atomically;
use super::record::read_text;
use crate::names::{shown, unshown};
use std::fmt::Display;
use std::fmt::Write as _;
use std::io;
use std::path::Path;
use undim_model::{NoticeStep, Noticed, Reminder, Subject};

const NAME: &str = "noticed.log";
const FIRST_LINE: &str = "undim noticed 1";

/// Everything that was noticed, in order, and sentences on lines that can't be understood.
pub fn read_noticed(raw: &Path) -> io::Result<(Vec<Noticed>, Vec<String>)> {
    let text = read_text(&raw.join(NAME))?.unwrap_or_default();
    let mut lines = text.lines().enumerate();
    let (mut noticed, mut damaged) = (Vec::new(), Vec::new());
    if let Some((_, first)) = lines.next()
        && first != FIRST_LINE
    {
        damaged.push(format!(
            "{NAME}, line 1: begins with \"{}\", not with \"{FIRST_LINE}\"; a newer undim may have written it",
            shown(first.as_bytes())
        ));
        return Ok((noticed, damaged));
    }
    for (index, line) in lines {
        match noticed_of(line) {
            Some(one) => noticed.push(one),
            None => damaged.push(format!(
                "{NAME}, line {}: can't be understood; it is passed over",
                index + 1
            )),
        }
    }
    Ok((noticed, damaged))
}

/// Adds what was noticed; all of it, or nothing where it fails.
pub fn keep_noticed(raw: &Path, more: &[Noticed]) -> io::Result<()> {
    let mut text = read_text(&raw.join(NAME))?.unwrap_or_else(|| format!("{FIRST_LINE}\n"));
    if !text.ends_with('\n') {
        text.push('\n');
    }
    for one in more {
        text.push_str(&line_of(one));
        text.push('\n');
    }
    write_atomically(raw, NAME, text.as_bytes())
}

fn line_of(noticed: &Noticed) -> String {
    let step = match noticed.step {
        NoticeStep::Opened => "opened",
        NoticeStep::Closed => "closed",
    };
    let mut line = format!("{step}\tat={}", noticed.at);
    let mut add = |key: &str, value: &dyn Display| {
        // Writing to a String can't fail.
        let _ = write!(line, "\t{key}={}", shown(value.to_string().as_bytes()));
    };
    let reminder = &noticed.reminder;
    if let Some(tank) = &reminder.tank {
        add("tank", tank);
    }
    if reminder.since != noticed.at {
        add("since", &reminder.since);
    }
    match &reminder.subject {
        Subject::Overdue {
            survey,
            last,
            every_seconds,
        } => {
            add("what", &"overdue");
            add("survey", survey);
            add("last", last);
            add("every_s", every_seconds);
        }
        Subject::Stopped { station, last } => {
            add("what", &"stopped");
            add("station", station);
            add("last", last);
        }
        Subject::LitAtNight {
            station,
            day,
            minutes,
        } => {
            add("what", &"lit-at-night");
            add("station", station);
            add("day", day);
            add("minutes", minutes);
        }
        Subject::DarkByNoon { station, day } => {
            add("what", &"dark-by-noon");
            add("station", station);
            add("day", day);
        }
        Subject::SetAside { paths, why } => {
            add("what", &"set-aside");
            add("why", why);
            for path in paths {
                add("path", path);
            }
        }
        Subject::InboxMissing { folder } => {
            add("what", &"inbox-missing");
            add("folder", folder);
        }
        Subject::DiskFull { folder, left_mib } => {
            add("what", &"disk-full");
            add("folder", folder);
            add("left_mib", left_mib);
        }
        Subject::ClockJumped { seconds } => {
            add("what", &"clock-jumped");
            add("seconds", seconds);
        }
        Subject::Expired { device, valid_until } => {
            add("what", &"expired");
            add("device", device);
            add("valid_until", valid_until);
        }
    }
    line
}

fn noticed_of(line: &str) -> Option<Noticed> {
    let mut fields = line.split('\t');
    let step = match fields.next()? {
        "opened" => NoticeStep::Opened,
        "closed" => NoticeStep::Closed,
        _ => return None,
    };
    let mut known: Vec<(&str, String)> = Vec::new();
    for field in fields {
        let (key, value) = field.split_once('=')?;
        known.push((key, String::from_utf8(unshown(value)?).ok()?));
    }
    let all = |wanted: &'static str| {
        known
            .iter()
            .filter(move |(key, _)| *key == wanted)
            .map(|(_, value)| value)
    };
    let field = |wanted: &'static str| all(wanted).next();
    let text = |wanted: &'static str| field(wanted).cloned();
    let at = field("at")?.parse().ok()?;
    let subject = match field("what")?.as_str() {
        "overdue" => Subject::Overdue {
            survey: text("survey")?,
            last: field("last")?.parse().ok()?,
            every_seconds: field("every_s")?.parse().ok()?,
        },
        "stopped" => Subject::Stopped {
            station: text("station")?,
            last: field("last")?.parse().ok()?,
        },
        "lit-at-night" => Subject::LitAtNight {
            station: text("station")?,
            day: field("day")?.parse().ok()?,
            minutes: field("minutes")?.parse().ok()?,
        },
        "dark-by-noon" => Subject::DarkByNoon {
            station: text("station")?,
            day: field("day")?.parse().ok()?,
        },
        "set-aside" => Subject::SetAside {
            paths: all("path").cloned().collect(),
            why: text("why")?,
        },
        "inbox-missing" => Subject::InboxMissing {
            folder: text("folder")?,
        },
        "disk-full" => Subject::DiskFull {
            folder: text("folder")?,
            left_mib: field("left_mib")?.parse().ok()?,
        },
        "clock-jumped" => Subject::ClockJumped {
            seconds: field("seconds")?.parse().ok()?,
        },
        "expired" => Subject::Expired {
            device: text("device")?,
            valid_until: field("valid_until")?.parse().ok()?,
        },
        _ => return None,
    };
    let since = match field("since") {
        Some(since) => since.parse().ok()?,
        None => at,
    };
    Some(Noticed {
        step,
        at,
        reminder: Reminder {
            tank: text("tank"),
            subject,
            since,
        },
    })
}

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "tests lay out real files")]

    use super::*;
    use jiff::Timestamp;
    use jiff::civil::date;

    fn all() -> Vec<Noticed> {
        let at = |second| Timestamp::from_second(second).expect("a time");
        let subjects = [
            Subject::Overdue {
                survey: "2026-10-10-noon".into(),
                last: at(5),
                every_seconds: 9,
            },
            Subject::Stopped {
                station: "reef".into(),
                last: Timestamp::from_microsecond(5_000_001).expect("a time"),
            },
            Subject::LitAtNight {
                station: "reef".into(),
                day: date(2026, 3, 1),
                minutes: 40,
            },
            Subject::DarkByNoon {
                station: "reef".into(),
                day: date(2026, 3, 1),
            },
            Subject::SetAside {
                paths: vec!["set-aside/a\tb.csv".into(), "set-aside/c=d\n.csv".into()],
                why: "line 3:\n“what”?".into(),
            },
            Subject::InboxMissing {
                folder: "/x y/inbox".into(),
            },
            Subject::DiskFull {
                folder: "/x".into(),
                left_mib: 3,
            },
            Subject::ClockJumped { seconds: -86_400 },
            Subject::Expired {
                device: "hired".into(),
                valid_until: date(2027, 11, 1),
            },
        ];
        let reminders = subjects
            .into_iter()
            .enumerate()
            .map(|(number, subject)| Reminder {
                tank: (number % 2 == 0).then(|| "harbour".to_owned()),
                subject,
                since: at(100),
            });
        reminders
            .flat_map(|reminder| {
                [(NoticeStep::Opened, 100), (NoticeStep::Closed, 200)].map(|(step, second)| Noticed {
                    step,
                    at: at(second),
                    reminder: reminder.clone(),
                })
            })
            .collect()
    }

    #[test]
    fn what_was_noticed_comes_back_from_the_archive() {
        let raw = tempfile::tempdir().expect("a folder");
        assert_eq!(
            read_noticed(raw.path()).expect("nothing yet"),
            (Vec::new(), Vec::new())
        );
        let all = all();
        let (first, second) = all.split_at(5);
        keep_noticed(raw.path(), first).expect("kept");
        keep_noticed(raw.path(), second).expect("kept");
        assert_eq!(read_noticed(raw.path()).expect("read"), (all, Vec::new()));
    }

    #[test]
    fn a_damaged_line_is_said_and_the_others_count() {
        let raw = tempfile::tempdir().expect("a folder");
        let line = line_of(&all()[0]);
        std::fs::write(
            raw.path().join(NAME),
            format!("{FIRST_LINE}\nnonsense\n{line}\tlater=1\n"),
        )
        .expect("written");
        let (noticed, damaged) = read_noticed(raw.path()).expect("read");
        assert_eq!(noticed, all()[..1]);
        assert_eq!(damaged.len(), 1);
        assert!(damaged[0].contains("line 2"), "{damaged:?}");
        std::fs::write(raw.path().join(NAME), "undim noticed 2\n").expect("written");
        assert_eq!(read_noticed(raw.path()).expect("read").1.len(), 1);
    }
}
