//! `undim look FILE`: what it tells, and that it leaves nothing behind.

use crate::support::{Run, TestSite, importer, repository, rows};
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const GOOD: &str =
    "time,station,x,y,z,PPFD\n2026-01-10T12:00:00,a,10,10,10,180\n2026-01-10T12:00:05,b,30,12,25,240\n";

/// The columns of the formats, section 5.
const COLUMNS: [&str; 12] = [
    "row",
    "time",
    "value",
    "unit",
    "x",
    "y",
    "z",
    "station",
    "device",
    "tilt",
    "temperature",
    "remark",
];

fn case(name: &str) -> PathBuf {
    repository().join("plugins/delimited/cases").join(name)
}

fn input(case: &Path) -> String {
    let found = fs::read_dir(case).expect("a case").filter_map(Result::ok);
    found
        .map(|entry| entry.path())
        .find(|path| path.file_stem().is_some_and(|stem| stem == "input"))
        .expect("an input")
        .to_string_lossy()
        .into_owned()
}

fn look(site: &TestSite, file: &str, flags: &[&str]) -> Run {
    site.undim(&[&["look", file], flags].concat())
}

fn look_json(site: &TestSite, file: &str, flags: &[&str]) -> (Run, serde_json::Value) {
    let run = look(site, file, &[flags, &["--json"]].concat());
    let json = serde_json::from_str(&run.stdout).unwrap_or_else(|error| panic!("{error}: {run}"));
    (run, json)
}

/// What was said, its lines no longer broken.
fn unwrapped(run: &Run) -> String {
    run.stdout.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn keys(json: &serde_json::Value) -> BTreeSet<&str> {
    json.as_object()
        .expect("an object")
        .keys()
        .map(String::as_str)
        .collect()
}

fn in_site(site: &TestSite, name: &str, text: impl AsRef<[u8]>) -> String {
    site.write(name, text);
    site.path(name).to_string_lossy().into_owned()
}

#[test]
fn json_is_one_object_with_just_the_agreed_keys() {
    let site = TestSite::new();
    let (run, json) = look_json(&site, &input(&case("german-export")), &[]);
    assert_eq!(run.status, Some(0), "{run}");
    let wanted = [
        "importer", "assumed", "question", "readings", "first", "last", "problems",
    ];
    assert_eq!(keys(&json), wanted.into());
    let assumed = &json["assumed"];
    let wanted = [
        "encoding",
        "delimiter",
        "quote",
        "decimal",
        "header_line",
        "timezone",
        "unit",
        "columns",
    ];
    assert_eq!(keys(assumed), wanted.into());
    assert_eq!(json["importer"], "delimited");
    assert_eq!(assumed["encoding"], "windows-1252");
    assert_eq!(assumed["delimiter"], ";");
    assert_eq!(assumed["decimal"], ",");
    assert_eq!(assumed["header_line"], 5);
    assert_eq!(assumed["unit"], "umol.m-2.s-1");
    assert_eq!(assumed["columns"]["value"], "PAR");
    assert_eq!(assumed["columns"]["time"], "Datum + Uhrzeit");
    assert!(json["question"].is_null());
    assert_eq!(json["readings"], 3);
    for end in ["first", "last"] {
        assert_eq!(keys(&json[end]), COLUMNS.into());
    }
    assert_eq!(json["first"]["row"], 7);
    assert_eq!(json["first"]["time"], "2026-04-03T10:15:00");
    assert_eq!(json["first"]["value"], 212.4);
    assert_eq!(json["first"]["x"], 12.5);
    assert_eq!(json["last"]["station"], "A;3");
    assert!(json["last"]["device"].is_null());
    assert_eq!(json["problems"], serde_json::json!([]));

    let (run, json) = look_json(&site, &input(&case("ragged-few")), &[]);
    assert_eq!(run.status, Some(0), "{run}");
    assert_eq!(json["problems"][0]["line"], 19);
    assert_eq!(json["problems"][0]["column"], 0);
    assert!(
        json["problems"][0]["text"]
            .as_str()
            .expect("a sentence")
            .contains("2 cells")
    );
}

/// Every case of the importer for delimited files, read by the whole program: its rows, its question, or why not.
#[test]
fn every_case_gives_the_rows_or_the_question_that_its_importer_gives() {
    let site = TestSite::new();
    let cases = fs::read_dir(repository().join("plugins/delimited/cases")).expect("cases");
    let mut counts = [0; 3];
    for case in cases.filter_map(Result::ok).map(|entry| entry.path()) {
        if case.join("layout.txt").exists() {
            continue;
        }
        let file = input(&case);
        if let Ok(expected) = fs::read_to_string(case.join("expected.csv")) {
            let run = look(&site, &file, &["--rows"]);
            assert_eq!(run.status, Some(0), "{run}");
            assert_eq!(run.stdout, expected, "{}", case.display());
            counts[0] += 1;
            continue;
        }
        let expected = fs::read_to_string(case.join("expected.txt")).expect("an expectation");
        let (run, json) = look_json(&site, &file, &[]);
        assert_eq!(run.status, Some(1), "{run}");
        assert!(json["importer"].is_null() && json["first"].is_null(), "{run}");
        assert_eq!(json["readings"], 0);
        let mut told = String::new();
        if json["question"].is_null() {
            let problem = &json["problems"][0];
            let text = problem["text"].as_str().expect("a sentence");
            let _ = writeln!(
                told,
                "line {}, column {}: {text}",
                problem["line"], problem["column"]
            );
            counts[1] += 1;
        } else {
            let text = json["question"]["text"].as_str().expect("a question");
            let _ = writeln!(told, "question: {text}");
            for choice in json["question"]["choices"].as_array().expect("choices") {
                let choice = choice.as_str().expect("a choice");
                let _ = writeln!(told, "  {choice}");
                // A choice can be written into a layout just as it stands.
                let layout = in_site(&site, "answer.toml", choice);
                let (answered, answer) = look_json(&site, &file, &["--layout", &layout]);
                assert!(matches!(answered.status, Some(0 | 1)), "{choice}: {answered}");
                assert_ne!(
                    answer["question"]["text"], text,
                    "{choice} is no answer: {answered}"
                );
            }
            counts[2] += 1;
        }
        assert_eq!(told, expected, "{}", case.display());
        let rows = look(&site, &file, &["--rows"]);
        assert_eq!((rows.status, rows.stdout.as_str()), (Some(1), ""), "{rows}");
    }
    assert!(counts[0] > 20 && counts[1] > 2 && counts[2] > 5, "{counts:?}");
}

#[test]
fn people_are_told_the_values_what_was_assumed_a_plan_and_one_question() {
    let site = TestSite::new();
    let file = in_site(&site, "first export.csv", GOOD);
    let run = look(&site, &file, &[]);
    assert_eq!(run.status, Some(0), "{run}");
    for told in [
        "first export.csv: 2 readings, read by the importer delimited",
        "2026-01-10T12:00:05",
        "text in UTF-8",
        "light from “PPFD”",
        "x counts from the left pane, y from the bottom, z from the front pane, in cm",
        "in the site's zone, Europe/Lisbon",
        "PAR (PPFD) in µmol m⁻² s⁻¹",
        "Seen from above",
        "Not tied to a reference",
        "The answer that would help most: Which way do x, y and z point",
        "Nothing was stored",
    ] {
        assert!(unwrapped(&run).contains(told), "{told} is missing in {run}");
    }
    let rear = run.stdout.find("│").expect("a plan");
    let plan: Vec<&str> = run.stdout[rear..]
        .lines()
        .take_while(|line| line.starts_with('│'))
        .collect();
    let line_of = |value: &str| {
        plan.iter()
            .position(|line| line.contains(value))
            .expect("a place")
    };
    assert!(
        line_of("240") < line_of("180"),
        "further back is further up: {run}"
    );

    let without_places = in_site(
        &site,
        "values.csv",
        "time,PPFD\n2026-01-10 12:00,180\n2026-01-10 12:01,185\n",
    );
    let run = look(&site, &without_places, &[]);
    assert!(unwrapped(&run).contains("Where was each value read?"), "{run}");
    let stations = in_site(&site, "stations.csv", "station,PPFD\na,180\nb,240\n");
    let run = look(&site, &stations, &[]);
    assert!(unwrapped(&run).contains("is that tied to a reference?"), "{run}");
}

#[test]
fn a_question_comes_with_its_choices_and_what_to_type() {
    let site = TestSite::new();
    let file = input(&case("one-thousand"));
    let run = look(&site, &file, &[]);
    assert_eq!(run.status, Some(1), "{run}");
    let told = unwrapped(&run);
    for part in [
        "is that 1.234 or 1234?",
        "- decimal = \",\"",
        "- thousands = \",\"",
        "--layout layout.toml",
    ] {
        assert!(told.contains(part), "{part} is missing in {run}");
    }
    // What it says to do, done.
    let layout = in_site(&site, "layout.toml", "decimal = \",\"\n");
    let run = look(&site, &file, &["--layout", &layout, "--rows"]);
    assert_eq!(run.status, Some(0), "{run}");
    assert_eq!(rows(&run.stdout)[0].number("value"), 1.234);
}

#[test]
fn a_layout_is_used_and_its_mistakes_are_shown_at_their_place() {
    let site = TestSite::new();
    for name in ["layout-date-order", "rfc4180-quotes"] {
        let folder = case(name);
        let layout = folder.join("layout.txt");
        let run = look(
            &site,
            &input(&folder),
            &["--rows", "--layout", &layout.to_string_lossy()],
        );
        assert_eq!(run.status, Some(0), "{run}");
        assert_eq!(
            run.stdout,
            fs::read_to_string(folder.join("expected.csv")).expect("rows")
        );
    }
    let file = in_site(&site, "good.csv", GOOD);
    let layout = in_site(&site, "wrong.toml", "quote = '\"'\ndelimiter = \";;\"\n");
    let run = look(&site, &file, &["--layout", &layout]);
    assert_eq!(run.status, Some(2), "{run}");
    assert!(
        run.stderr.contains("wrong.toml:2:13") && run.stderr.contains("delimiter = \";;\""),
        "{run}"
    );
    let absent = in_site(&site, "absent.toml", "\n[columns]\nvalue = { from = \"Wert\" }\n");
    let (run, json) = look_json(&site, &file, &["--layout", &absent]);
    assert_eq!(run.status, Some(1), "{run}");
    let text = json["problems"][0]["text"].as_str().expect("a sentence");
    assert!(
        text.contains("absent.toml, line 3, column 18") && text.contains("\"PPFD\""),
        "{text}"
    );
    let run = look(&site, &file, &["--layout", "nowhere.toml"]);
    assert_eq!(run.status, Some(2), "{run}");
    assert!(run.stderr.contains("nowhere.toml"), "{run}");
}

#[test]
fn out_writes_page_and_package_and_never_over_anything() {
    let site = TestSite::new();
    let file = in_site(&site, "export.csv", GOOD);
    let out = site.path("results/first");
    let run = look(&site, &file, &["--out", &out.to_string_lossy()]);
    assert_eq!(run.status, Some(0), "{run}");
    assert!(run.stdout.contains("results/first/report.html"), "{run}");
    let mut names: Vec<String> = site
        .snapshot("results/first")
        .into_iter()
        .map(|(name, _)| name)
        .collect();
    names.sort();
    let wanted = [
        "datapackage.json",
        "readings.csv",
        "report.html",
        "stations.csv",
        "survey.json",
    ];
    assert_eq!(names, wanted);
    let readings = site.rows("results/first/readings.csv");
    assert_eq!(readings.len(), 2);
    assert_eq!(readings[1].get("station"), "b");
    let survey = site.json("results/first/survey.json");
    let source = &survey["sources"][0];
    assert_eq!(
        source["blake3"],
        blake3::hash(GOOD.as_bytes()).to_hex().to_string()
    );
    let before = site.snapshot("results");

    let again = look(&site, &file, &["--out", &out.to_string_lossy()]);
    assert_eq!(again.status, Some(2), "{again}");
    assert!(again.stderr.contains("nothing is ever overwritten"), "{again}");
    let in_place_of_a_file = look(&site, &file, &["--out", &file]);
    assert_eq!(in_place_of_a_file.status, Some(2), "{in_place_of_a_file}");
    let below_a_file = look(&site, &file, &["--out", &format!("{file}/out")]);
    assert!(matches!(below_a_file.status, Some(2 | 3)), "{below_a_file}");
    assert_eq!(site.snapshot("results"), before);

    // An empty folder is filled; of several surveys each gets a folder of its own.
    fs::create_dir_all(site.path("several")).expect("a folder");
    let two = in_site(
        &site,
        "two.csv",
        GOOD.to_owned() + "2026-02-10T12:00:00,a,10,10,10,90\n",
    );
    let several = site.path("several");
    let (run, json) = look_json(&site, &two, &["--out", &several.to_string_lossy()]);
    assert_eq!(
        (run.status, json["readings"].as_u64()),
        (Some(0), Some(3)),
        "{run}"
    );
    for id in ["2026-01-10", "2026-02-10"] {
        assert!(
            site.exists(&format!("several/{id}/datapackage.json")),
            "{}",
            site.listing()
        );
    }
    // A file that can't be read leaves no folder behind.
    let run = look(
        &site,
        &input(&case("prose")),
        &["--out", &site.path("none").to_string_lossy()],
    );
    assert_eq!(run.status, Some(1), "{run}");
    assert!(!site.exists("none"));
}

#[test]
fn no_site_is_needed_and_nothing_is_left_behind() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    for name in ["bin", "lib/undim/importers", "home", "here", "temporary", "files"] {
        fs::create_dir_all(at(name)).expect("a folder");
    }
    let program = at("bin/undim");
    fs::copy(env!("CARGO_BIN_EXE_undim"), &program).expect("a copied program");
    let library = importer("undim-importer-delimited");
    let name = library.file_name().expect("a name");
    fs::copy(library, at("lib/undim/importers").join(name)).expect("a copied importer");
    fs::write(at("files/good.csv"), GOOD).expect("a file");
    fs::write(at("files/asked.csv"), "station;PAR\nA;1,234\nB;2,345\n").expect("a file");
    for (file, flags, status) in [
        ("good.csv", &[][..], 0),
        ("good.csv", &["--rows"], 0),
        ("good.csv", &["--json"], 0),
        ("asked.csv", &[], 1),
        ("asked.csv", &["--rows"], 1),
        ("absent.csv", &[], 2),
    ] {
        let output = Command::new(&program)
            .arg("look")
            .arg(at("files").join(file))
            .args(flags)
            .current_dir(at("here"))
            .env_clear()
            .env("HOME", at("home"))
            .env("TMPDIR", at("temporary"))
            .output()
            .expect("the program runs");
        let run = Run::from(output);
        assert_eq!(run.status, Some(status), "{file} {flags:?}: {run}");
        for name in ["home", "here", "temporary"] {
            let mut left = fs::read_dir(at(name)).expect("a folder");
            assert!(left.next().is_none(), "{name} after {file} {flags:?}");
        }
        let mut files: Vec<_> = fs::read_dir(at("files"))
            .expect("files")
            .map(|f| f.expect("a file").file_name())
            .collect();
        files.sort();
        assert_eq!(files, ["asked.csv", "good.csv"]);
    }
    assert_eq!(fs::read_to_string(at("files/good.csv")).expect("the file"), GOOD);
}

#[test]
fn a_site_with_mistakes_that_nobody_named_does_not_matter() {
    let site = TestSite::with_site_file("nonsense = [\n");
    let file = in_site(&site, "good.csv", GOOD);
    let named = look(&site, &file, &[]);
    assert_eq!(named.status, Some(2), "{named}");
    let mut command = Command::new(env!("CARGO_BIN_EXE_undim"));
    let output = command
        .args(["look", "good.csv", "--json"])
        .current_dir(site.path(""))
        .output();
    let run = Run::from(output.expect("the program runs"));
    assert!(run.stderr.contains("undim check"), "{run}");
    // Its importers don't count either; whether any lies beside the program is the build's affair.
    assert!(matches!(run.status, Some(0 | 3)), "{run}");
}

#[test]
fn what_is_no_file_of_readings_is_named() {
    let site = TestSite::new();
    let pipe = site.path("pipe.csv");
    assert!(
        Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .expect("mkfifo runs")
            .success()
    );
    for (file, words) in [
        (site.path("nowhere.csv"), "there is no file"),
        (site.path("inbox"), "is a folder"),
        (pipe, "no regular file"),
    ] {
        let run = look(&site, &file.to_string_lossy(), &[]);
        assert_eq!(run.status, Some(2), "{run}");
        assert!(run.stderr.contains(words), "{run}");
    }
    let empty = in_site(&site, "empty.csv", "");
    let run = look(&site, &empty, &[]);
    assert_eq!(run.status, Some(1), "{run}");
    assert!(run.stdout.contains("it is empty"), "{run}");
    let run = look(&site, &empty, &["--rows", "--json"]);
    assert_eq!(run.status, Some(2), "{run}");
}

#[test]
fn text_that_would_steer_a_terminal_is_spelled_out() {
    let site = TestSite::new();
    let file = in_site(
        &site,
        "odd.csv",
        "time,station,PPFD,remark\n2026-01-10 12:00,a\u{200f}b,180,\u{202e}txt\n2026-01-10 12:01,c,185,\n",
    );
    let run = look(&site, &file, &[]);
    assert_eq!(run.status, Some(0), "{run}");
    assert!(!run.stdout.contains(['\u{200f}', '\u{202e}']), "{run}");
}

#[test]
fn an_importer_that_misbehaves_costs_one_sentence() {
    let site = TestSite::with_site_file("[importers]\ntimeout = \"1s\"\nmemory = \"256MiB\"\n");
    site.install(importer("undim-importer-hostile"));
    for (misdeed, words) in [
        ("abort", "crashed on this file"),
        ("loop", "took too long"),
        ("allocate", "more memory than it may take"),
        ("endless-rows", "was stopped"),
        ("exit-0", "ended by itself"),
    ] {
        let file = in_site(
            &site,
            &format!("{misdeed}.txt"),
            format!("hostile: {misdeed}\n1\n"),
        );
        let (run, json) = look_json(&site, &file, &[]);
        assert_eq!(run.status, Some(1), "{misdeed}: {run}");
        let text = json["problems"][0]["text"].as_str().expect("a sentence");
        assert!(text.contains(words), "{misdeed}: {text}");
    }
}

#[test]
fn a_stop_leaves_nothing_behind() {
    let site = TestSite::with_site_file("[importers]\ntimeout = \"60s\"\n");
    site.install(importer("undim-importer-hostile"));
    let file = in_site(&site, "sleep.txt", "hostile: sleep\n1\n");
    let temporary = site.path("temporary");
    fs::create_dir_all(&temporary).expect("a folder");
    let count = || fs::read_dir(&temporary).expect("a folder").count();
    let mut command = site.command(&["look", &file]);
    command
        .env("TMPDIR", &temporary)
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let mut child = command.spawn().expect("the program starts");
    let patience = Instant::now() + Duration::from_secs(20);
    while count() == 0 && Instant::now() < patience {
        std::thread::sleep(Duration::from_millis(10));
    }
    assert_eq!(count(), 1);
    let sent = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status();
    assert!(sent.expect("kill runs").success());
    assert_eq!(child.wait().expect("it ends").code(), Some(130));
    assert_eq!(count(), 0);
}

#[test]
fn a_long_log_is_looked_at_in_bounded_memory() {
    let site = TestSite::new();
    let mut text = String::from("time,station,x,y,z,PPFD\n");
    let lines = 600_000_u32;
    for second in 0..lines {
        let (hour, minute) = (second / 3600, second / 60 % 60);
        let _ = writeln!(
            text,
            "2026-01-{:02}T{:02}:{minute:02}:{:02},s{},{},20,30,{}",
            1 + hour / 24,
            hour % 24,
            second % 60,
            second / 200_000,
            10 + second / 200_000 * 20,
            180 + second % 7
        );
    }
    let file = in_site(&site, "log.csv", &text);
    for flags in [&[][..], &["--json"], &["--rows"]] {
        let (run, peak_mib) = site.undim_with_peak(&[&["look", &file], flags].concat());
        assert_eq!(run.status, Some(0), "{}", run.stderr);
        assert!(peak_mib < 64, "{peak_mib} MiB with {flags:?}");
        if flags == ["--rows"] {
            assert_eq!(run.stdout.lines().count(), lines as usize + 1);
        } else {
            assert!(run.stdout.contains("600000"), "{run}");
        }
    }
}
