//! Mounted sensors: a route with a station makes minutes and days of a log, no surveys.

use crate::support::TestSite;
use jiff::civil::{Date, date};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use std::fmt::Write as _;
use std::fs;

const SITE: &str = "[site]\ntimezone = \"Europe/Lisbon\"\n[intake]\nsettle = \"0s\"\n\
     [[route]]\nmatch = \"reef/logger/**\"\ntank = \"reef\"\nstation = \"reef-top\"\nscene = \"day\"\n";

const TANK: &str = "name = \"Reef\"\n[[scene]]\nid = \"day\"\nlevels = {}\n\
     day = [[\"09:00\", 0.0], [\"10:00\", 1.0], [\"18:00\", 1.0], [\"19:00\", 0.0]]\n\
     [[station]]\nid = \"reef-top\"\nat_cm = [35.0, 38.0, 25.0]\n";

fn site() -> TestSite {
    let site = TestSite::with_site_file(SITE);
    site.write("tanks/reef.toml", TANK);
    site
}

fn zone() -> TimeZone {
    TimeZone::get("Europe/Lisbon").expect("a known zone")
}

fn midnight(day: Date) -> Timestamp {
    zone().to_timestamp(day.at(0, 0, 0, 0)).expect("a midnight")
}

/// A log from one local midnight to another: 200 µmol from 9 to 19 o'clock, times a day's share.
fn log(from: Date, days: i64, step: i64, share: impl Fn(i64) -> f64) -> String {
    let mut text = String::from("time,PPFD\n");
    for number in 0..days {
        let day = from.saturating_add(number.days());
        let (begin, end) = (midnight(day), midnight(day.saturating_add(1.day())));
        let mut at = begin;
        while at < end {
            let is_on = (9..19).contains(&zone().to_datetime(at).hour());
            let light = if is_on { 200.0 * share(number) } else { 0.0 };
            let _ = writeln!(text, "{at},{light}");
            at += step.seconds();
        }
    }
    text
}

fn today() -> Date {
    zone().to_datetime(Timestamp::now()).date()
}

const FOLDER: &str = "outbox/reef/mounted/reef-top";

#[test]
fn a_log_becomes_minutes_and_days_and_no_survey() {
    let site = site();
    let check = site.undim(&["check"]);
    assert!(
        check.status == Some(0) && !check.stdout.contains("ordinary survey"),
        "{check}"
    );
    let begin = date(2026, 3, 20);
    site.drop_file(
        "reef/logger/a.csv",
        log(begin, 12, 60, |day| if day < 9 { 1.0 } else { 0.8 }),
    );
    let run = site.sweep();
    assert!(run.stdout.contains("sensor mounted at"), "{run}");
    assert_eq!(site.surveys("reef"), [""; 0]);
    let days = site.rows(&format!("{FOLDER}/days.csv"));
    assert_eq!(days.len(), 12);
    // 200 µmol m⁻² s⁻¹ for ten hours; the clocks change on the tenth day, at night.
    assert_eq!(days[0].get("dli"), "7.200");
    assert_eq!(days[9].get("date"), "2026-03-29");
    assert_eq!((days[9].get("n"), days[9].get("flag")), ("1380", "1"));
    assert_eq!(days[9].get("dli"), "5.760");
    assert_eq!(days[9].get("change_percent"), "-20.00");
    assert_eq!(days[9].get("baseline"), "2026-03-20/2026-03-26");
    assert!(days[9].get("u_change_percent").parse::<f64>().expect("a number") < 1.0);
    assert!(days[..7].iter().all(|day| day.get("change_percent").is_empty()));
    assert!(site.exists(&format!("{FOLDER}/minutes-2026.parquet")));
    assert_eq!(
        site.json(&format!("{FOLDER}/datapackage.json"))["resources"]
            .as_array()
            .map(Vec::len),
        Some(2)
    );
    // It ended long ago: nobody watches the light there any more.
    let alerts = site.read("outbox/reef/alerts.jsonl");
    assert_eq!(alerts.lines().count(), 1, "{alerts}");
    let silent: serde_json::Value = serde_json::from_str(alerts.trim()).expect("JSON");
    assert_eq!(
        (&silent["about"], &silent["where"]),
        (&"silent".into(), &"reef-top".into())
    );
    // The last reading and 26 hours.
    assert_eq!(silent["opened"], "2026-04-02T01:59:00+01:00");

    let before = site.snapshot("outbox/reef");
    for command in ["rebuild", "sweep"] {
        site.undim(&[command]);
        assert_eq!(site.snapshot("outbox/reef"), before, "after {command}");
    }
    fs::remove_dir_all(site.path("outbox")).expect("an outbox");
    for ending in ["", "-wal", "-shm"] {
        let _ = fs::remove_file(site.path(&format!("state/undim.db{ending}")));
    }
    site.undim(&["sweep"]);
    assert_eq!(
        site.snapshot("outbox/reef"),
        before,
        "after a lost outbox and ledger"
    );
    let status = site.undim(&["status"]);
    assert!(
        status.stdout.contains("Sensor mounted at reef-top: 12 days"),
        "{status}"
    );
}

#[test]
fn a_growing_log_replaces_itself_and_several_join() {
    let site = site();
    let begin = date(2025, 12, 30);
    let whole = log(begin, 4, 300, |_| 1.0);
    let half = whole
        .lines()
        .take(600)
        .fold(String::new(), |text, line| text + line + "\n");
    site.drop_file("reef/logger/a.csv", half);
    site.sweep();
    assert_eq!(site.rows(&format!("{FOLDER}/days.csv")).len(), 3);
    site.drop_file("reef/logger/a.csv", &whole);
    site.drop_file(
        "reef/logger/b.csv",
        log(begin.saturating_add(4.days()), 2, 300, |_| 1.0),
    );
    site.sweep();
    let days = site.rows(&format!("{FOLDER}/days.csv"));
    assert_eq!(days.len(), 6);
    assert!(
        days.iter()
            .all(|day| day.get("n") == "288" && day.get("rejected") == "0"),
        "{}",
        site.read(&format!("{FOLDER}/days.csv"))
    );
    for year in [2025, 2026] {
        assert!(
            site.exists(&format!("{FOLDER}/minutes-{year}.parquet")),
            "{}",
            site.listing()
        );
    }
    // The same at once.
    let other = self::site();
    other.drop_file("reef/logger/a.csv", &whole);
    other.drop_file(
        "reef/logger/b.csv",
        log(begin.saturating_add(4.days()), 2, 300, |_| 1.0),
    );
    other.sweep();
    let of = |site: &TestSite| fs::read(site.path(&format!("{FOLDER}/minutes-2026.parquet"))).expect("there");
    assert_eq!(of(&site), of(&other));

    // A file that a note moves to another tank leaves this one; without its route it is an ordinary file.
    site.drop_file("reef/logger/b.csv.note.toml", "tank = \"lagoon\"\n");
    site.sweep();
    assert_eq!(site.rows(&format!("{FOLDER}/days.csv")).len(), 4);
    assert_eq!(site.rows("outbox/lagoon/mounted/reef-top/days.csv").len(), 2);
    site.write("undim.toml", SITE.split("[[route]]").next().expect("a beginning"));
    site.sweep();
    assert!(!site.exists("outbox/reef/mounted"), "{}", site.listing());
    assert!(!site.surveys("reef").is_empty());
}

#[test]
fn a_log_without_times_or_with_a_wrong_frame_is_set_aside() {
    let site = site();
    site.drop_file("reef/logger/untimed.csv", "station,PPFD\na,100\na,101\n");
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(1), "{run}");
    let why = site.read("inbox/set-aside/reef/logger/untimed.csv.why.txt");
    assert!(why.contains("none of its rows has a time"), "{why}");
    site.drop_file("reef/logger/b.csv", log(date(2026, 3, 1), 1, 600, |_| 1.0));
    site.drop_file("reef/logger/b.csv.note.toml", "frame = \"nowhere\"\n");
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(1), "{run}");
    assert!(
        site.exists("inbox/set-aside/reef/logger/b.csv.why.txt"),
        "{}",
        site.listing()
    );
    assert!(!site.exists("outbox/reef/mounted"), "{}", site.listing());
}

#[test]
fn a_sensor_that_falls_silent_is_told_and_closes_when_it_reads_again() {
    let site = site();
    let text = SITE.to_owned() + "silent_after = \"3d\"\n";
    site.write("undim.toml", text);
    let begin = today().saturating_sub(6.days());
    site.drop_file("reef/logger/a.csv", log(begin, 4, 600, |_| 1.0));
    site.sweep();
    assert_eq!(
        site.read("outbox/reef/alerts.jsonl"),
        "",
        "three days are allowed"
    );
    site.write("undim.toml", SITE);
    site.sweep();
    let told = site.read("outbox/reef/alerts.jsonl");
    assert_eq!(told.lines().count(), 1, "{told}");
    site.drop_file(
        "reef/logger/b.csv",
        log(today().saturating_sub(2.days()), 2, 600, |_| 1.0),
    );
    site.sweep();
    let told = site.read("outbox/reef/alerts.jsonl");
    let last: serde_json::Value = serde_json::from_str(told.lines().last().expect("a line")).expect("JSON");
    assert_eq!(
        (told.lines().count(), &last["change"]),
        (2, &"closed".into()),
        "{told}"
    );
    let before = site.snapshot("outbox/reef");
    site.undim(&["rebuild"]);
    assert_eq!(site.snapshot("outbox/reef"), before);
}

#[test]
fn light_at_night_and_a_dark_morning_are_told() {
    let site = site();
    let begin = today().saturating_sub(2.days());
    let light = |lit: &dyn Fn(i8) -> bool| {
        let text = log(begin, 2, 60, |_| 1.0);
        text.lines().fold(String::new(), |all, line| {
            let time = line
                .split(',')
                .next()
                .and_then(|time| time.parse::<Timestamp>().ok());
            match time {
                Some(time) => {
                    let hour = zone().to_datetime(time).hour();
                    all + &format!("{time},{}\n", if lit(hour) { 200 } else { 0 })
                }
                None => all + line + "\n",
            }
        })
    };
    site.drop_file(
        "reef/logger/night.csv",
        light(&|hour| hour == 3 || (9..19).contains(&hour)),
    );
    site.sweep();
    let told = site.read("outbox/reef/alerts.jsonl");
    assert_eq!(told.lines().count(), 1, "{told}");
    assert!(
        told.contains("for 60 minutes") && told.contains("\"about\":\"silent\""),
        "{told}"
    );

    let other = self::site();
    other.drop_file("reef/logger/dark.csv", light(&|hour| (15..19).contains(&hour)));
    other.sweep();
    let told = other.read("outbox/reef/alerts.jsonl");
    assert_eq!(told.lines().count(), 1, "{told}");
    assert!(
        told.contains("no light at reef-top by 12:00") && told.contains("urgent"),
        "{told}"
    );
}

#[test]
fn a_month_of_seconds_comes_through_in_bounded_memory() {
    let site = site();
    // Written out it is some 80 MB; the peak is that of all processes together.
    let mut text = String::with_capacity(100 << 20);
    text.push_str("time,PPFD\n");
    let begin = midnight(date(2026, 1, 1)).as_second();
    for second in 0..31 * 86_400_i64 {
        let at = Timestamp::from_second(begin + second).expect("a time");
        let _ = writeln!(text, "{at},{}", 100 + second % 7);
    }
    site.drop_file("reef/logger/month.csv", text);
    let (run, peak_mib) = site.undim_with_peak(&["sweep"]);
    assert_eq!(run.status, Some(0), "{run}");
    let days = site.rows(&format!("{FOLDER}/days.csv"));
    assert_eq!(days.len(), 31);
    assert!(
        days.iter()
            .all(|day| day.get("n") == "86400" && day.get("flag") == "1"),
        "{}",
        site.read(&format!("{FOLDER}/days.csv"))
    );
    assert!(peak_mib < 128, "{peak_mib} MiB");
}
