//! `undim status`: the inbox, the last surveys, open alerts. Reads only; works beside a running daemon.

use super::{not_opened, say, usable_site};
use crate::cli::{Common, Status};
use crate::engine::{MOUNTED, OpenError, SensorNow, StatusFile, alert_json, open_alerts};
use crate::exit::Exit;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::path::Path;
use std::time::Duration;
use undim_config::Site;
use undim_drift::reminders;
use undim_emit::{SiteZone, words};
use undim_model::{Alert, Level, Reminder};
use undim_store::{Counts, Reader, StoreError, SurveyHead};

/// A state that is dated later than now by less than this is of now: clocks are set right by seconds, seconds.
const CLOCKS_DIFFER: i64 = 120;

/// Surveys shown for each tank.
const SHOWN: usize = 3;

#[derive(Serialize)]
struct Shown {
    site: String,
    /// The daemon's own word, where it has left one.
    daemon: Option<StatusFile>,
    /// Its age, seconds.
    daemon_age_seconds: Option<i64>,
    files: Files,
    tanks: Vec<TankShown>,
    /// Alerts that belong to no tank.
    open_alerts: Vec<serde_json::Value>,
    #[serde(skip)]
    alerts: Vec<Alert>,
}

#[derive(Serialize)]
struct Files {
    taken: u64,
    set_aside: u64,
    superseded: u64,
    withdrawn: u64,
    notices_waiting: u64,
    notices_given_up: u64,
}

#[derive(Serialize)]
struct TankShown {
    tank: String,
    surveys: usize,
    last: Vec<SurveyShown>,
    mounted: Vec<MountedShown>,
    open_alerts: Vec<serde_json::Value>,
    #[serde(skip)]
    alerts: Vec<Alert>,
}

#[derive(Serialize)]
struct MountedShown {
    station: String,
    days: usize,
    last_reading: Option<String>,
    folder: String,
}

#[derive(Serialize)]
struct SurveyShown {
    survey: String,
    revision: u32,
    start: String,
    page: String,
}

pub(super) fn run(common: &Common, flags: &Status) -> Exit {
    let site = match usable_site(common) {
        Ok(site) => site,
        Err(exit) => return exit,
    };
    let shown = match gather(&site) {
        Ok(shown) => shown,
        Err(error) => return not_opened(&OpenError::Store(error)),
    };
    let of_tanks = shown.tanks.iter().flat_map(|tank| &tank.alerts);
    let has_alert = of_tanks.chain(&shown.alerts).next().is_some();
    let too_old = flags
        .max_age
        .and_then(|most| too_old(&shown, most))
        .inspect(|why| say::error(&format!("undim: {why}")));
    if common.json {
        say::json(&shown);
    } else {
        print(&shown);
    }
    if too_old.is_some() || (flags.fail_on_alert && has_alert) {
        Exit::Remarks
    } else {
        Exit::Done
    }
}

/// Why nobody can be sure that the inbox is watched: for whoever watches the watcher.
fn too_old(shown: &Shown, most: Duration) -> Option<String> {
    let (Some(daemon), Some(age)) = (&shown.daemon, shown.daemon_age_seconds) else {
        return Some(
            "undim has never worked here: there is no outbox/status.json; start `undim watch`".to_owned(),
        );
    };
    // A state from the future is no sign of life either: the clock was set back.
    let is_fresh = age >= -CLOCKS_DIFFER && u64::try_from(age.max(0)).is_ok_and(|age| age <= most.as_secs());
    (!is_fresh).then(|| match daemon.state.as_str() {
        "watching" => format!(
            "`undim watch` was last heard of {} ago (process {}); see whether it still runs, else start it again",
            ago(age),
            daemon.pid
        ),
        _ => format!("undim worked last {} ago; start `undim watch`, or `undim sweep` on time", ago(age)),
    })
}

fn gather(site: &Site) -> Result<Shown, StoreError> {
    let daemon: Option<StatusFile> = std::fs::read(site.outbox.join("status.json"))
        .ok()
        .and_then(|bytes| serde_json::from_slice(&bytes).ok());
    let daemon_age_seconds = daemon.as_ref().and_then(|daemon| {
        let updated: Timestamp = daemon.updated.parse().ok()?;
        Some(Timestamp::now().as_second() - updated.as_second())
    });
    let mut counts = Counts::default();
    let mut tanks = Vec::new();
    let (mut of_site, mut of_site_shown) = (Vec::new(), Vec::new());
    if let Some(reader) = Reader::open_read_only(&site.state.join("undim.db"))? {
        counts = reader.counts()?;
        let zone = SiteZone::named(&site.timezone.name).ok();
        of_site = open_alerts(&reader, "")?;
        of_site_shown = of_site
            .iter()
            .filter_map(|alert| alert_json(alert, zone.as_ref()?))
            .collect();
        for tank in reader.tanks()? {
            let heads = reader.survey_heads(&tank)?;
            let mut alerts: Vec<Alert> = open_alerts(&reader, &tank)?
                .into_iter()
                .map(|alert| up_to_date(alert, &site.outbox))
                .collect();
            let sensors = sensors(&reader, &tank)?;
            alerts.extend(not_noticed(site, &tank, heads.last(), &sensors, &alerts));
            let last = heads.iter().rev().take(SHOWN).map(|head| SurveyShown {
                survey: head.id.clone(),
                revision: head.revision,
                start: Timestamp::from_microsecond(head.start_us)
                    .ok()
                    .zip(zone.as_ref())
                    .map_or_else(String::new, |(start, zone)| zone.time(start)),
                page: site
                    .outbox
                    .join(&tank)
                    .join(&head.id)
                    .join("report.html")
                    .display()
                    .to_string(),
            });
            let open = alerts
                .iter()
                .filter_map(|alert| alert_json(alert, zone.as_ref()?))
                .collect();
            tanks.push(TankShown {
                surveys: heads.len(),
                last: last.collect(),
                mounted: sensors
                    .into_iter()
                    .map(|(station, now)| mounted_shown(site, &tank, station, &now, zone.as_ref()))
                    .collect(),
                open_alerts: open,
                alerts,
                tank,
            });
        }
    }
    Ok(Shown {
        site: site.name.clone(),
        daemon,
        daemon_age_seconds,
        files: Files {
            taken: counts.taken,
            set_aside: counts.set_aside,
            superseded: counts.superseded,
            withdrawn: counts.withdrawn,
            notices_waiting: counts.deliveries_waiting,
            notices_given_up: counts.deliveries_given_up,
        },
        tanks,
        open_alerts: of_site_shown,
        alerts: of_site,
    })
}

/// A tank's mounted sensors by station.
fn sensors(reader: &Reader, tank: &str) -> Result<Vec<(String, SensorNow)>, StoreError> {
    let kept = reader.derived_of(MOUNTED, tank)?;
    let read = kept
        .into_iter()
        .filter_map(|kept| Some((kept.id, serde_json::from_str(&kept.body).ok()?)));
    Ok(read.collect())
}

fn mounted_shown(
    site: &Site,
    tank: &str,
    station: String,
    now: &SensorNow,
    zone: Option<&SiteZone>,
) -> MountedShown {
    MountedShown {
        folder: site
            .outbox
            .join(tank)
            .join(MOUNTED)
            .join(&station)
            .display()
            .to_string(),
        station,
        days: now.days,
        last_reading: now.last().zip(zone).map(|(last, zone)| zone.time(last)),
    }
}

/// What is so by now and nobody was told of, as nothing has looked since: overdue, silent.
fn not_noticed(
    site: &Site,
    tank: &str,
    last: Option<&SurveyHead>,
    sensors: &[(String, SensorNow)],
    open: &[Alert],
) -> Vec<Alert> {
    let now = Timestamp::now();
    let Some(zone) = undim_clean::time::zone(&site.timezone.name) else {
        return Vec::new();
    };
    let overdue = last.and_then(|last| {
        let every = site.tanks.get(tank)?.drift.every_seconds?;
        let start = Timestamp::from_microsecond(last.start_us).ok()?;
        reminders::overdue(tank, &last.id, start, every)
    });
    let silent = sensors
        .iter()
        .flat_map(|(station, sensor)| sensor.reminders(tank, station, &zone));
    let so: Vec<Reminder> = overdue.into_iter().chain(silent).collect();
    let is_away = reminders::is_away(&site.away, now, &zone);
    let news = reminders::news(&[], &so, now, is_away, |_| now);
    reminders::changes(&news, Some(tank), &zone)
        .into_iter()
        .map(|change| change.alert)
        .filter(|alert| {
            !open
                .iter()
                .any(|known| known.about == alert.about && known.target == alert.target)
        })
        .collect()
}

fn print(shown: &Shown) {
    let screen = say::screen();
    let line = |text: &str| say::line(&screen.wrapped(text, "", "  "));
    let more = |text: &str| say::line(&screen.wrapped(text, "  ", "    "));
    line(&shown.site);
    match (&shown.daemon, shown.daemon_age_seconds) {
        (Some(daemon), Some(age)) => {
            line(&match daemon.state.as_str() {
                "watching" => format!(
                    "undim watch runs (process {}); heard of {} ago.",
                    daemon.pid,
                    ago(age)
                ),
                _ => format!(
                    "Nothing watches the inbox now; undim worked last {} ago.",
                    ago(age)
                ),
            });
            if !daemon.inbox.there {
                more("the inbox is missing");
            }
            for path in &daemon.inbox.waiting {
                more(&format!("waits in the inbox: {path}"));
            }
            for left in &daemon.inbox.left_alone {
                more(&format!("left in the inbox: {}: {}", left.path, left.why));
            }
            if let Some(lacks) = &daemon.sandbox_lacks {
                more(&format!("importers run without part of their sandbox: {lacks}"));
            }
            for trouble in &daemon.troubles {
                more(&format!("trouble: {trouble}"));
            }
        }
        _ => line("undim has not worked here yet: `undim watch` keeps watch, `undim sweep` works once."),
    }
    let files = &shown.files;
    let taken = files.taken + files.superseded;
    line(&format!(
        "{taken} {} taken in, {} set aside.",
        if taken == 1 { "file" } else { "files" },
        files.set_aside
    ));
    if files.notices_waiting + files.notices_given_up > 0 {
        line(&format!(
            "{} {} to be sent, {} given up.",
            files.notices_waiting,
            if files.notices_waiting == 1 {
                "notice waits"
            } else {
                "notices wait"
            },
            files.notices_given_up
        ));
    }
    for alert in &shown.alerts {
        line(&open_line(alert));
    }
    for tank in &shown.tanks {
        say::line("");
        line(&format!(
            "Tank {}: {} {}",
            tank.tank,
            tank.surveys,
            if tank.surveys == 1 { "survey" } else { "surveys" }
        ));
        for alert in &tank.alerts {
            more(&open_line(alert));
        }
        if tank.alerts.is_empty() {
            more(
                "No alert is open. That is no proof that all is well: each page says how large a loss would show.",
            );
        }
        for sensor in &tank.mounted {
            more(&format!(
                "Sensor mounted at {}: {} {}, last reading {}",
                sensor.station,
                sensor.days,
                if sensor.days == 1 { "day" } else { "days" },
                sensor.last_reading.as_deref().unwrap_or("unknown")
            ));
            say::line(&format!("  {}", sensor.folder));
        }
        for survey in &tank.last {
            let revision = match survey.revision {
                1 => String::new(),
                revision => format!(" (revision {revision})"),
            };
            say::line(&format!("  {}{revision}  {}", survey.survey, survey.page));
        }
    }
    if shown.tanks.is_empty() {
        line("No survey yet: drop a file into the inbox.");
    }
}

fn open_line(alert: &Alert) -> String {
    let level = match alert.level {
        Level::Notice => "Open",
        Level::Urgent => "Urgent, open",
    };
    format!("{level} since {}: {}", opened(alert), words::what(alert))
}

/// The day of the survey that opened an alert: its id begins with it.
fn opened(alert: &Alert) -> String {
    alert.id.get(..10).and_then(|day| day.parse().ok()).map_or_else(
        || alert.opened.strftime("%-d %B %Y").to_string(),
        words::day_and_year,
    )
}

/// An alert of the ledger with the figures of the last survey, which stand in the outbox.
fn up_to_date(mut alert: Alert, outbox: &Path) -> Alert {
    let path = outbox
        .join(&alert.tank)
        .join("alerts")
        .join(format!("{}.json", alert.id));
    let now: Option<AlertNow> = std::fs::read(path)
        .ok()
        .and_then(|bytes| serde_json::from_slice(&bytes).ok());
    if let Some(now) = now {
        alert.change_percent = now.change_percent;
        alert.ci95 = now.ci95;
        alert.survey = now.survey;
    }
    alert
}

/// What of an alert's file changes from survey to survey.
#[derive(Deserialize)]
struct AlertNow {
    change_percent: Option<f64>,
    ci95: Option<[f64; 2]>,
    survey: Option<String>,
}

fn ago(seconds: i64) -> String {
    match seconds.max(0) {
        seconds if seconds < 120 => format!("{seconds} s"),
        seconds if seconds < 7200 => format!("{} min", seconds / 60),
        seconds if seconds < 172_800 => format!("{} h", seconds / 3600),
        seconds => format!("{} days", seconds / 86_400),
    }
}
