//! What a reminder says: why, and what to do next.

use crate::steps::LOCAL_CODES;
use crate::words::day;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use undim_model::{About, AlertTarget, Level, Reminder, Subject};

/// What an alert says.
pub(super) struct Words {
    pub(super) about: About,
    pub(super) level: Level,
    pub(super) target: AlertTarget,
    pub(super) stem: String,
    pub(super) evidence: Vec<String>,
    pub(super) next_step: Vec<String>,
}

const LOOK_AT_SENSOR: &str = "Look at the sensor, its cable and its logger. Hands dry, and nothing on a charger near the water. Until it reads again nobody watches the light there.";

impl Words {
    pub(super) fn of(reminder: &Reminder, zone: &TimeZone) -> Self {
        let day_of = |time: Timestamp| day(zone.to_datetime(time).date());
        match &reminder.subject {
            Subject::Overdue {
                last, every_seconds, ..
            } => Self {
                about: About::Overdue,
                level: Level::Notice,
                target: AlertTarget::Tank,
                stem: "overdue".to_owned(),
                evidence: vec![format!(
                    "The last survey was on {}. One is wanted every {}, so the next was due by {}.",
                    day_of(*last),
                    length(*every_seconds),
                    day_of(reminder.since)
                )],
                next_step: vec!["Read the same places with the same device, under the same scene, pumps off by timer; turn the pumps back on afterwards.".to_owned()],
            },
            Subject::Stopped { station, last } => Self::stopped(station, *last, zone),
            Subject::LitAtNight { station, day, minutes } => Self::lit_at_night(station, *day, *minutes),
            Subject::DarkByNoon { station, day } => Self::dark_by_noon(station, *day),
            Subject::SetAside { paths, why } => {
                let mut evidence = vec![match paths.as_slice() {
                    [one] => format!("{one} could not be used."),
                    several => format!("{} files could not be used: {}.", several.len(), some_of(several)),
                }];
                evidence.extend((!why.is_empty()).then(|| why.clone()));
                Self {
                    about: About::Intake,
                    level: Level::Notice,
                    target: AlertTarget::Path(match paths.as_slice() {
                        [one] => one.clone(),
                        _ => "set-aside".to_owned(),
                    }),
                    stem: "set-aside".to_owned(),
                    evidence,
                    next_step: vec!["Read the .why.txt beside the file, mend the file or say how to read it, and drop it again; or take it out of set-aside. Nothing is lost.".to_owned()],
                }
            }
            Subject::InboxMissing { folder } => Self::intake(
                folder,
                "inbox-missing",
                Level::Urgent,
                format!("The inbox {folder} is not there, so no file can be taken in."),
                "Make the folder again, or mount the disk that it lies on. Files are taken in as soon as it is back.",
            ),
            Subject::DiskFull { folder, left_mib } => Self::intake(
                folder,
                "disk-full",
                Level::Urgent,
                format!("Only {left_mib} MiB are left on the disk that holds {folder}."),
                "Make room on that disk. The raw archive below the state folder must stay; old files in inbox/taken lie in it too.",
            ),
            Subject::ClockJumped { seconds } => Self::intake(
                "the clock of this machine",
                "clock-jumped",
                Level::Notice,
                format!(
                    "The clock of this machine jumped {} by {}.",
                    if *seconds < 0 { "back" } else { "forward" },
                    length(seconds.unsigned_abs())
                ),
                "See whether date and time are right now, and whether the machine sets its clock by the network. Readings keep the times of their own files; a file without times may have the wrong day: write date = … into its note.",
            ),
            Subject::Expired { device, valid_until } => Self::intake(
                &format!("devices/{device}.toml"),
                &format!("expired-{device}"),
                Level::Notice,
                format!("The certificate of the reference {device} ran out on {}.", day(*valid_until)),
                "Have the reference calibrated again, and write the new calibrated and valid_until into its file. Change is still seen; absolute light rests on it less and less.",
            ),
        }
    }

    fn stopped(station: &str, last: Timestamp, zone: &TimeZone) -> Self {
        Self {
            evidence: vec![format!(
                "The last reading at {station} is of {}.",
                moment(last, zone)
            )],
            ..Self::silent(station, Level::Notice, vec![LOOK_AT_SENSOR.to_owned()])
        }
    }

    fn lit_at_night(station: &str, on: Date, minutes: u32) -> Self {
        Self {
            evidence: vec![format!(
                "In the dark hours of {} there was light at {station} for {minutes} minutes, although the programme is dark then.",
                day(on)
            )],
            ..Self::silent(
                station,
                Level::Notice,
                vec![
                    "See whether a fixture stays on at night, the programme was changed, or a lamp or daylight of the room reaches the tank.".to_owned(),
                    "If the programme was changed, write it into the tank's scene; with from = and the date, the past stays as it was.".to_owned(),
                    "Else look at the sensor: a reading that is never dark can be its own fault.".to_owned(),
                ],
            )
        }
    }

    fn dark_by_noon(station: &str, on: Date) -> Self {
        Self {
            evidence: vec![format!(
                "On {} there was no light at {station} by 12:00, although the programme is on.",
                day(on)
            )],
            ..Self::silent(
                station,
                Level::Urgent,
                vec![
                    format!(
                        "See whether the fixtures are on. If they are not, look for the timer or the supply first, hands dry. {LOCAL_CODES}"
                    ),
                    "After days in the dark bring the light back slowly, watching the corals.".to_owned(),
                    "If they are on, look at the sensor, its cable and its logger.".to_owned(),
                ],
            )
        }
    }

    fn silent(station: &str, level: Level, next_step: Vec<String>) -> Self {
        Self {
            about: About::Silent,
            level,
            target: AlertTarget::Station(station.to_owned()),
            stem: format!("silent-{station}"),
            evidence: Vec::new(),
            next_step,
        }
    }

    fn intake(path: &str, stem: &str, level: Level, evidence: String, next_step: &str) -> Self {
        Self {
            about: About::Intake,
            level,
            target: AlertTarget::Path(path.to_owned()),
            stem: stem.to_owned(),
            evidence: vec![evidence],
            next_step: vec![next_step.to_owned()],
        }
    }
}

/// "a, b and 7 more".
fn some_of(names: &[String]) -> String {
    const NAMED: usize = 5;
    match names.get(..NAMED) {
        Some(first) if names.len() > NAMED => {
            format!("{} and {} more", first.join(", "), names.len() - NAMED)
        }
        _ => names.join(", "),
    }
}

/// "35 days", "36 hours", "1 minute".
pub(super) fn length(seconds: u64) -> String {
    let (count, noun) = match seconds {
        s if s >= 86_400 && s % 86_400 == 0 => (s / 86_400, "day"),
        s if s >= 3 * 86_400 => (s / 86_400, "day"),
        s if s >= 2 * 3600 || (s >= 3600 && s % 3600 == 0) => (s / 3600, "hour"),
        s if s >= 60 => (s / 60, "minute"),
        s => (s, "second"),
    };
    format!("{count} {noun}{}", if count == 1 { "" } else { "s" })
}

/// "3 November 2026, 14:02".
fn moment(time: Timestamp, zone: &TimeZone) -> String {
    let local = zone.to_datetime(time);
    format!("{}, {}", day(local.date()), local.strftime("%H:%M"))
}
