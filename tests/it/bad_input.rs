//! Files that a daemon meets sooner or later: each works or is set aside with a reason, the rest goes on.

use crate::support::{Run, TestSite};
use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt;
use std::process::Command;

const GOOD: &str =
    "time,station,x,y,z,PPFD\n2026-01-10T12:00:00,a,10,10,10,180\n2026-01-10T12:00:05,b,30,12,25,240\n";

fn site() -> TestSite {
    TestSite::with_site_file("[site]\ntimezone = \"UTC\"\n[intake]\nsettle = \"0s\"\n")
}

/// Drops the file beside a good one; the good one always comes through.
fn sweep_beside_a_good_one(site: &TestSite, name: &str, bytes: impl AsRef<[u8]>) -> Run {
    site.drop_file(&format!("reef/{name}"), bytes);
    sweep_with_a_good_one(site)
}

fn sweep_with_a_good_one(site: &TestSite) -> Run {
    site.drop_file("reef/good.csv", GOOD);
    let run = site.undim(&["sweep"]);
    assert!(matches!(run.status, Some(0 | 1)), "{run}");
    assert!(
        site.exists("outbox/reef/2026-01-10/survey.json"),
        "the good file came through: {run}"
    );
    run
}

/// Whatever the files' sizes, program and workers together stay small.
fn sweep_in_bounded_memory(site: &TestSite) {
    site.drop_file("reef/good.csv", GOOD);
    let (run, peak_mib) = site.undim_with_peak(&["sweep"]);
    assert!(matches!(run.status, Some(0 | 1)), "{run}");
    assert!(
        site.exists("outbox/reef/2026-01-10/survey.json"),
        "the good file came through: {run}"
    );
    assert!(peak_mib < 64, "{peak_mib} MiB: {run}");
}

/// The file was moved to set-aside with a reason that holds all of `says`.
fn is_set_aside(site: &TestSite, name: &str, says: &[&str]) {
    assert!(
        site.exists(&format!("inbox/set-aside/reef/{name}")),
        "{}",
        site.listing()
    );
    let why = site.read(&format!("inbox/set-aside/reef/{name}.why.txt"));
    for word in says {
        assert!(
            why.to_lowercase().contains(&word.to_lowercase()),
            "{word} is missing in: {why}"
        );
    }
}

#[test]
fn an_empty_file_stays_and_is_named() {
    let site = site();
    let run = sweep_beside_a_good_one(&site, "empty.csv", "");
    assert!(site.exists("inbox/reef/empty.csv"));
    assert!(run.stdout.contains("empty.csv"), "{run}");
}

#[test]
fn a_header_alone_is_set_aside() {
    let site = site();
    sweep_beside_a_good_one(&site, "header.csv", "time,station,x,y,z,PPFD\n");
    is_set_aside(&site, "header.csv", &["row"]);
}

#[test]
fn a_binary_file_is_set_aside() {
    let site = site();
    let bytes: Vec<u8> = (0..20_000_u32)
        .map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect();
    sweep_beside_a_good_one(&site, "photo.csv", bytes);
    is_set_aside(&site, "photo.csv", &[]);
}

#[test]
fn one_endless_line_is_set_aside_in_bounded_memory() {
    let site = site();
    site.drop_file("reef/endless.csv", vec![b'7'; 300 << 20]);
    sweep_in_bounded_memory(&site);
    is_set_aside(&site, "endless.csv", &["line"]);
}

#[test]
fn nul_bytes_are_set_aside() {
    let site = site();
    sweep_beside_a_good_one(&site, "nul.csv", GOOD.replace("180", "1\08"));
    is_set_aside(&site, "nul.csv", &[]);
}

#[test]
fn a_few_ragged_rows_are_written_and_many_are_set_aside() {
    let site = site();
    let mut few = String::from("time,station,x,y,z,PPFD\n");
    for second in 0..40 {
        few += &format!("2026-02-01T12:00:{second:02},a,10,10,10,{}\n", 180 + second % 3);
    }
    few += "2026-02-01T12:00:50,a,10\n";
    sweep_beside_a_good_one(&site, "few.csv", &few);
    let rows = site.rows("outbox/reef/2026-02-01/readings.csv");
    assert_eq!(rows.len(), 41, "nothing is dropped silently");
    let ragged: Vec<_> = rows.iter().filter(|row| row.get("flag") == "9").collect();
    assert_eq!(ragged.len(), 1);
    assert_eq!(ragged[0].get("row"), "42");

    let many = "time,station,x,y,z,PPFD\n2026-03-01T12:00:00,a,10,10,10,180\n2026-03-01T12:00:01,a\n2026-03-01T12:00:02,a,1,2\n";
    sweep_beside_a_good_one(&site, "many.csv", many);
    is_set_aside(&site, "many.csv", &["3"]);
}

#[test]
fn duplicate_headers_are_asked_about() {
    let site = site();
    sweep_beside_a_good_one(
        &site,
        "double.csv",
        "time,x,y,z,PPFD,PPFD\n2026-02-01T12:00:00,1,2,3,100,200\n",
    );
    is_set_aside(&site, "double.csv", &["PPFD"]);
}

#[test]
fn a_date_that_reads_two_ways_is_asked_about() {
    let site = site();
    let run = sweep_beside_a_good_one(
        &site,
        "friend.csv",
        "date,x,y,z,PPFD\n03/04/2026,1,2,3,100\n03/04/2026,4,2,3,110\n",
    );
    is_set_aside(&site, "friend.csv", &["03/04/2026"]);
    assert_eq!(run.status, Some(1), "{run}");
    assert!(run.stdout.contains("friend.csv"), "{run}");
}

#[test]
fn another_encoding_is_read_and_said() {
    let site = site();
    let text = "Zeit;Messpunkt;X (cm);Y (cm);Z (cm);PPFD;Bemerkung\r\n2026-02-01 12:00:00;Höhle;10,5;10;10;180,5;schön\r\n";
    let latin: Vec<u8> = text.chars().map(|c| c as u8).collect();
    sweep_beside_a_good_one(&site, "latin.csv", latin);
    let wide: Vec<u8> = [0xFF, 0xFE]
        .into_iter()
        .chain(
            text.replace("02-01", "02-20")
                .encode_utf16()
                .flat_map(u16::to_le_bytes),
        )
        .collect();
    sweep_beside_a_good_one(&site, "wide.csv", wide);
    for id in ["2026-02-01", "2026-02-20"] {
        let rows = site.rows(&format!("outbox/reef/{id}/readings.csv"));
        assert_eq!(
            (rows[0].get("from_left_cm"), rows[0].get("ppfd")),
            ("10.50", "180.500")
        );
        assert_eq!(
            rows[0].get("station"),
            "h--hle",
            "an undeclared name becomes an id"
        );
    }
    assert!(
        site.read("outbox/reef/2026-02-01/survey.json")
            .contains("windows-1252")
    );
}

#[test]
fn two_million_rows_come_through_in_bounded_memory() {
    let site = site();
    let mut text = String::with_capacity(90 << 20);
    text += "time,x,y,z,PPFD\n";
    for second in 0..2_000_000_u32 {
        let (minute, hour, day) = (second / 60, second / 3600, second / 86_400);
        text += &format!(
            "2026-04-{:02}T{:02}:{:02}:{:02},10,10,10,{}\n",
            day + 1,
            hour % 24,
            minute % 60,
            second % 60,
            150 + second % 7
        );
    }
    site.drop_file("reef/long.csv", text);
    sweep_in_bounded_memory(&site);
    let stations = site.rows("outbox/reef/2026-04-01/stations.csv");
    assert_eq!(stations[0].get("readings"), "2000000");
}

#[test]
fn what_is_no_file_stays_and_is_named() {
    let site = site();
    fs::create_dir_all(site.path("inbox/reef")).expect("a folder");
    let pipe = site.path("inbox/reef/pipe.csv");
    assert!(
        Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .expect("mkfifo")
            .success()
    );
    std::os::unix::fs::symlink("/dev/zero", site.path("inbox/reef/zero.csv")).expect("a link");
    std::os::unix::fs::symlink("good.csv", site.path("inbox/reef/link.csv")).expect("a link");
    let run = sweep_with_a_good_one(&site);
    for name in ["pipe.csv", "zero.csv", "link.csv"] {
        assert!(run.stdout.contains(name), "{name} is named: {run}");
        assert!(
            fs::symlink_metadata(site.path(&format!("inbox/reef/{name}"))).is_ok(),
            "{name} stays"
        );
    }
}

#[test]
fn an_unreadable_file_stays_and_is_named() {
    use std::os::unix::fs::PermissionsExt;
    let site = site();
    site.drop_file("reef/locked.csv", GOOD.replace("01-10", "02-10"));
    let locked = site.path("inbox/reef/locked.csv");
    fs::set_permissions(&locked, fs::Permissions::from_mode(0o000)).expect("permissions");
    if fs::read(&locked).is_ok() {
        // The superuser may read everything; there the file is simply taken in.
        sweep_with_a_good_one(&site);
        return;
    }
    let run = sweep_with_a_good_one(&site);
    assert!(run.stdout.contains("locked.csv"), "{run}");
    assert!(locked.exists());
}

#[test]
fn names_of_any_bytes_are_taken_in() {
    let site = site();
    fs::create_dir_all(site.path("inbox/reef")).expect("a folder");
    for (number, name) in [
        &b"new\nline.csv"[..],
        b"\xff\xfe.csv",
        b"-rf.csv",
        "weiß 💡.csv".as_bytes(),
    ]
    .into_iter()
    .enumerate()
    {
        let path = site.path("inbox/reef").join(OsStr::from_bytes(name));
        fs::write(path, GOOD.replace("01-10", &format!("02-{:02}", number + 1))).expect("written");
    }
    let long = "n".repeat(251) + ".csv";
    site.drop_file(&format!("reef/{long}"), GOOD.replace("01-10", "02-20"));
    let run = sweep_with_a_good_one(&site);
    assert_eq!(site.surveys("reef").len(), 6, "{run}\n{}", site.listing());
    assert!(!run.stdout.contains("new\nline"), "names are shown escaped");
}

#[test]
fn what_a_spreadsheet_would_run_and_what_a_browser_would_run_is_inert() {
    let site = site();
    let text = "time,station,x,y,z,PPFD,remark\n2026-02-01T12:00:00,=cmd()|'a',10,10,10,180,<script>alert(1)</script>\n";
    sweep_beside_a_good_one(&site, "formula <script>.csv", text);
    let run_csv = site.read("outbox/reef/2026-02-01/readings.csv");
    for row in csv::Reader::from_reader(run_csv.as_bytes()).records() {
        for cell in &row.expect("a record") {
            let is_number = cell.parse::<f64>().is_ok();
            assert!(
                is_number || !cell.starts_with(['=', '+', '-', '@', '\t', '\r']),
                "{cell}"
            );
        }
    }
    let page = site.read("outbox/reef/2026-02-01/report.html");
    assert!(!page.contains("<script"), "no script on a page");
}

#[test]
fn a_file_that_vanishes_is_no_trouble() {
    let site = site();
    for number in 0..30 {
        site.drop_file(
            &format!("reef/{number:02}.csv"),
            GOOD.replace("01-10", &format!("03-{:02}", number + 1)),
        );
    }
    let inbox = site.path("inbox/reef");
    let remover = std::thread::spawn(move || {
        for number in (0..30).rev().step_by(3) {
            let _ = fs::remove_file(inbox.join(format!("{number:02}.csv")));
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
    });
    let run = sweep_with_a_good_one(&site);
    remover.join().expect("removed");
    assert!(site.surveys("reef").len() >= 20, "{run}");
}

#[test]
fn a_note_that_cannot_be_read_holds_its_file_back_and_both_are_named() {
    let site = site();
    site.drop_file("reef/held.csv", GOOD.replace("01-10", "02-10"));
    site.drop_file("reef/held.csv.note.toml", "pumps = maybe\n");
    let run = sweep_with_a_good_one(&site);
    assert!(site.exists("inbox/reef/held.csv") && site.exists("inbox/reef/held.csv.note.toml"));
    assert!(
        run.stdout.contains("held.csv") && run.stdout.contains("held.csv.note.toml"),
        "{run}"
    );
}

/// Names and notes stand in what is told; none of them may move the cursor or colour the screen.
#[test]
fn what_a_terminal_would_obey_is_inert() {
    let site = site();
    for (number, path) in ["a\u{1b}[31mb/x.csv", "a?[31mb/y.csv"].into_iter().enumerate() {
        site.drop_file(path, GOOD.replace("01-10", &format!("02-{:02}", number + 1)));
    }
    site.drop_file("reef/noted.csv", GOOD.replace("01-10", "03-10"));
    site.drop_file("reef/noted.csv.note.toml", "layout = \"\\u001b[1mbold\"\n");
    site.drop_file("reef/cell.csv", GOOD.replace("180", "1\u{1b}8"));
    let run = sweep_with_a_good_one(&site);
    assert_eq!(run.status, Some(1), "{run}");
    let why = site.read("inbox/set-aside/reef/noted.csv.why.txt");
    assert!(why.contains("\\u{1b}[1mbold"), "{why}");
    for text in [run.stdout, run.stderr, why] {
        assert!(!text.contains('\u{1b}'), "{text:?}");
    }
}
