//! What no file tells: a survey that has not come, files set aside, the machine in need of a look. Times are told
//! from today on, so that the real program with the real clock can be asked.

use crate::support::TestSite;
use crate::watch::{Daemon, wait_for};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp, ToSpan};
use serde_json::Value;
use std::fs;

fn date_of(time: Timestamp) -> Date {
    TimeZone::get("Europe/Lisbon")
        .expect("a known zone")
        .to_datetime(time)
        .date()
}

/// Today in the zone of the site.
fn today() -> Date {
    date_of(Timestamp::now())
}

fn days_ago(days: i64) -> Date {
    today().saturating_sub(days.days())
}

/// A survey of one day, at noon.
fn survey(day: Date) -> String {
    format!("time,station,x,y,z,PPFD\n{day}T12:00:00,a,10,10,10,180\n{day}T12:00:05,b,30,12,25,240\n")
}

/// A survey of ten places with this share of their light.
fn places(day: Date, share: f64) -> String {
    let mut text = String::from("time,station,x,y,z,PPFD\n");
    for place in 0..10 {
        for burst in 0..5 {
            let light = share * (200.0 + 10.0 * f64::from(place) + 0.2 * f64::from(burst));
            text += &format!(
                "{day}T12:{place:02}:{burst:02},p{place},{},10,20,{light:.1}\n",
                10 * place
            );
        }
    }
    text
}

/// A site whose tank wants a survey every 35 days.
fn site(more: &str) -> TestSite {
    let site = TestSite::with_site_file(&format!(
        "[site]\nname = \"North room\"\ntimezone = \"Europe/Lisbon\"\n[intake]\nsettle = \"0s\"\nrescan = \"1s\"\n\
         [[notify]]\nkind = \"file\"\n{more}"
    ));
    site.write("tanks/reef.toml", "name = \"Reef\"\n[drift]\nevery = \"35d\"\n");
    site
}

fn lines(site: &TestSite, path: &str) -> Vec<Value> {
    if !site.exists(path) {
        return Vec::new();
    }
    site.read(path)
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect()
}

fn notices(site: &TestSite) -> String {
    if site.exists("outbox/notices.txt") {
        site.read("outbox/notices.txt")
    } else {
        String::new()
    }
}

/// `opened` and the like as a day of the site.
fn day_of(value: &Value) -> Date {
    date_of(value.as_str().expect("a time").parse().expect("RFC 3339"))
}

#[test]
fn a_survey_that_does_not_come_is_told_once_and_closes_when_it_comes() {
    let site = site("");
    site.drop_file("reef/a.csv", survey(days_ago(40)));
    let run = site.sweep();
    assert!(run.stdout.contains("a survey is overdue"), "{run}");
    let told = lines(&site, "outbox/reef/alerts.jsonl");
    assert_eq!(told.len(), 1, "{told:#?}");
    assert_eq!(told[0]["about"], "overdue");
    assert_eq!(told[0]["change"], "opened");
    assert_eq!(told[0]["state"], "open");
    assert_eq!(told[0]["where"], "tank");
    assert!(told[0]["cause"].is_null() && told[0]["closed"].is_null());
    assert_eq!(
        day_of(&told[0]["opened"]),
        days_ago(5),
        "a date of the data, not of the look"
    );
    let id = told[0]["id"].as_str().expect("an id").to_owned();
    assert_eq!(
        site.json(&format!("outbox/reef/alerts/{id}.json"))["state"],
        "open"
    );
    assert!(
        notices(&site).contains("Reef: a survey is overdue"),
        "{}",
        notices(&site)
    );

    // Nothing new, however often it is looked at; and a rebuild says the same.
    let before = site.snapshot("outbox/reef");
    for command in ["sweep", "rebuild", "sweep"] {
        site.undim(&[command]);
        assert_eq!(site.snapshot("outbox/reef"), before, "after {command}");
    }
    for ending in ["", "-wal", "-shm"] {
        let _ = fs::remove_file(site.path(&format!("state/undim.db{ending}")));
    }
    site.undim(&["sweep"]);
    assert_eq!(site.snapshot("outbox/reef"), before, "after a lost ledger");
    let status = site.undim(&["status", "--fail-on-alert"]);
    assert_eq!(status.status, Some(1), "{status}");

    site.drop_file("reef/b.csv", survey(days_ago(2)));
    site.sweep();
    let told = lines(&site, "outbox/reef/alerts.jsonl");
    assert_eq!(told.len(), 2, "{told:#?}");
    assert_eq!(
        (&told[1]["change"], &told[1]["state"]),
        (&"closed".into(), &"closed".into())
    );
    assert_eq!(told[1]["id"], id.as_str());
    assert_eq!(day_of(&told[1]["closed"]), days_ago(2), "a survey's time");
    assert!(
        notices(&site).contains("the survey has come"),
        "{}",
        notices(&site)
    );
    assert_eq!(
        notices(&site).matches("closed: the survey has come").count(),
        1,
        "{}",
        notices(&site)
    );
    let before = site.snapshot("outbox/reef");
    site.undim(&["rebuild"]);
    assert_eq!(site.snapshot("outbox/reef"), before);
}

#[test]
fn what_lies_in_the_inbox_is_no_survey_that_has_not_come() {
    let site = site("");
    site.drop_file("reef/a.csv", survey(days_ago(40)));
    site.drop_file("reef/b.csv", survey(days_ago(1)));
    site.sweep();
    assert!(lines(&site, "outbox/reef/alerts.jsonl").is_empty());
    // Without `every` it is never overdue.
    site.write("tanks/reef.toml", "name = \"Reef\"\n");
    site.drop_file(
        "reef/c.csv",
        survey(days_ago(0).saturating_sub(Span::new().years(1))),
    );
    site.sweep();
    assert!(lines(&site, "outbox/reef/alerts.jsonl").is_empty());
}

#[test]
fn while_the_keeper_is_away_reminders_wait_and_losses_do_not() {
    let away = |from: Date, until: Date| format!("[[away]]\nfrom = {from}\nuntil = {until}\n");
    let site = site(&away(days_ago(10), days_ago(-10)));
    assert_eq!(site.undim(&["check"]).status, Some(0));
    site.drop_file("reef/a.csv", places(days_ago(40), 1.0));
    site.drop_file("reef/broken.csv", "\u{0}\u{1}\u{2} no table\n");
    site.undim(&["sweep"]);
    assert!(lines(&site, "outbox/reef/alerts.jsonl").is_empty());
    assert!(lines(&site, "outbox/_site/alerts.jsonl").is_empty());
    assert!(!site.undim(&["status"]).stdout.contains("overdue"));
    // A loss is told all the same.
    site.drop_file("reef/loss.csv", places(days_ago(1), 0.5));
    site.undim(&["sweep"]);
    let told = lines(&site, "outbox/reef/alerts.jsonl");
    assert!(
        !told.is_empty() && told.iter().all(|alert| alert["about"] == "light"),
        "{told:#?}"
    );

    // Back at home the file that was set aside is told.
    let text = site.read("undim.toml");
    let (head, _) = text.split_once("[[away]]").expect("written above");
    site.write("undim.toml", head.to_owned() + &away(days_ago(10), days_ago(1)));
    site.undim(&["sweep"]);
    assert_eq!(lines(&site, "outbox/_site/alerts.jsonl").len(), 1);

    site.write("undim.toml", head.to_owned() + &away(days_ago(1), days_ago(2)));
    let check = site.undim(&["check"]);
    assert_eq!(check.status, Some(2), "{check}");
    assert!(check.stdout.contains("comes before"), "{check}");
}

#[test]
fn a_file_set_aside_is_told_once_and_closes_when_it_is_taken_away() {
    let site = site("");
    site.drop_file("reef/broken.csv", "\u{0}\u{1}\u{2} no table\n");
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(1), "{run}");
    let told = lines(&site, "outbox/_site/alerts.jsonl");
    assert_eq!(told.len(), 1, "{told:#?}");
    assert_eq!(told[0]["about"], "intake");
    assert_eq!(told[0]["where"], "set-aside/reef/broken.csv");
    assert!(told[0]["tank"].is_null());
    assert!(
        told[0]["evidence"]
            .as_array()
            .is_some_and(|lines| lines.len() == 2),
        "the reason is told too: {told:#?}"
    );
    assert_eq!(day_of(&told[0]["opened"]), today());
    assert!(
        notices(&site).contains("North room: a look is needed"),
        "{}",
        notices(&site)
    );
    let before = site.snapshot("outbox/_site");
    for command in ["sweep", "rebuild"] {
        site.undim(&[command]);
        assert_eq!(site.snapshot("outbox/_site"), before, "after {command}");
    }
    let status = site.undim(&["status"]);
    assert!(status.stdout.contains("set-aside/reef/broken.csv"), "{status}");

    fs::remove_file(site.path("inbox/set-aside/reef/broken.csv")).expect("taken away");
    site.sweep();
    let told = lines(&site, "outbox/_site/alerts.jsonl");
    assert_eq!(told.len(), 2, "{told:#?}");
    assert_eq!(told[1]["change"], "closed");
    assert!(notices(&site).contains("mended"), "{}", notices(&site));

    // Many at once are told together.
    for number in 0..20 {
        site.drop_file(
            &format!("reef/broken-{number}.csv"),
            format!("\u{0}\u{1} {number}\n"),
        );
    }
    site.undim(&["sweep"]);
    let told = lines(&site, "outbox/_site/alerts.jsonl");
    assert_eq!(told.len(), 3, "{told:#?}");
    assert_eq!(told[2]["where"], "set-aside");
}

#[test]
fn a_reference_whose_certificate_ran_out_is_told_from_the_day_after() {
    let site = site("");
    let device = |until: Date| format!("name = \"Hired\"\nrole = \"reference\"\nvalid_until = {until}\n");
    site.write("devices/hired.toml", device(today()));
    site.sweep();
    assert!(
        lines(&site, "outbox/_site/alerts.jsonl").is_empty(),
        "its last day counts"
    );
    site.write("devices/hired.toml", device(days_ago(3)));
    site.sweep();
    let told = lines(&site, "outbox/_site/alerts.jsonl");
    assert_eq!(told.len(), 1, "{told:#?}");
    assert_eq!(told[0]["where"], "devices/hired.toml");
    assert_eq!(day_of(&told[0]["opened"]), days_ago(2));
    site.write("devices/hired.toml", device(days_ago(-300)));
    site.sweep();
    assert_eq!(lines(&site, "outbox/_site/alerts.jsonl").len(), 2);
}

#[test]
fn the_daemon_notices_a_missing_inbox_and_a_survey_whose_time_has_come() {
    let site = site("");
    let daemon = Daemon::start(&site);
    fs::remove_dir_all(site.path("inbox")).expect("removed");
    wait_for("the missing inbox", || {
        lines(&site, "outbox/_site/alerts.jsonl").len() == 1
    });
    wait_for("its notice", || notices(&site).contains("a look is needed"));
    fs::create_dir_all(site.path("inbox")).expect("made again");
    wait_for("the end of it", || {
        lines(&site, "outbox/_site/alerts.jsonl").len() == 2
    });
    // Due in three seconds: 35 days after a survey that began 35 days ago, but for these.
    let now = Timestamp::from_second(Timestamp::now().as_second()).expect("a time");
    let began = now + 3.seconds() - (35 * 24).hours();
    site.drop_file(
        "reef/a.csv",
        format!("time,station,x,y,z,PPFD\n{began},a,10,10,10,180\n{began},b,30,12,25,240\n"),
    );
    wait_for("a survey", || site.exists("outbox/reef/history.csv"));
    wait_for("the survey that is overdue", || {
        lines(&site, "outbox/reef/alerts.jsonl").len() == 1
    });
    let told = lines(&site, "outbox/reef/alerts.jsonl");
    let opened: Timestamp = told[0]["opened"]
        .as_str()
        .expect("a time")
        .parse()
        .expect("RFC 3339");
    assert_eq!(opened, began + (35 * 24).hours());
    assert!(opened <= Timestamp::now());
    assert_eq!(daemon.stop().status, Some(0));
}

#[test]
fn whoever_watches_the_watcher_hears_of_it() {
    let site = site("");
    let run = site.undim(&["status", "--max-age", "1h"]);
    assert_eq!(run.status, Some(1), "{run}");
    assert!(run.stderr.contains("undim watch"), "{run}");
    site.sweep();
    assert_eq!(site.undim(&["status", "--max-age", "1h"]).status, Some(0));
    let mut state = site.json("outbox/status.json");
    state["updated"] = (Timestamp::now() - 3.hours()).to_string().into();
    site.write("outbox/status.json", state.to_string());
    let run = site.undim(&["status", "--max-age", "1h"]);
    assert_eq!(run.status, Some(1), "{run}");
    assert!(run.stderr.contains("3 h ago"), "{run}");
    assert_eq!(site.undim(&["status", "--max-age", "4h"]).status, Some(0));
    let run = site.undim(&["status", "--max-age", "soon"]);
    assert_eq!(run.status, Some(2), "{run}");
    assert!(run.stderr.contains("30s"), "says how to write it: {run}");
    // The next start finds that the clock stands before what was seen.
    state["updated"] = (Timestamp::now() + 48.hours()).to_string().into();
    site.write("outbox/status.json", state.to_string());
    assert_eq!(site.undim(&["status", "--max-age", "1h"]).status, Some(1));
    site.sweep();
    let told = lines(&site, "outbox/_site/alerts.jsonl");
    assert!(
        told[0]["evidence"][0]
            .as_str()
            .is_some_and(|text| text.contains("back by")),
        "{told:#?}"
    );
    site.sweep();
    assert_eq!(lines(&site, "outbox/_site/alerts.jsonl")[1]["change"], "closed");
}
