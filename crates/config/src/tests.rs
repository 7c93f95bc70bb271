//! Whole sites, in a folder of their own each.
#![expect(
    clippy::disallowed_methods,
    reason = "a test lays out the files that it loads"
)]

mod checks;

use super::*;
use proptest::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;
use undim_model::{Direction3, FitModel, LevelSet, UpkeepKind};

fn lay_out(root: &Path, files: &[(&str, &str)]) {
    for (path, text) in files {
        let path = root.join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
}

fn load_files(files: &[(&str, &str)]) -> Loaded {
    let root = tempfile::tempdir().unwrap();
    lay_out(root.path(), files);
    if !files.iter().any(|(path, _)| *path == SITE_FILE) {
        lay_out(root.path(), &[(SITE_FILE, "")]);
    }
    load(root.path(), "Europe/Lisbon")
}

/// Loads files and holds what is found against the expected lines.
#[track_caller]
fn check(files: &[(&str, &str)], expected: &[&str]) {
    let loaded = load_files(files);
    let found: Vec<String> = loaded.mistakes.iter().map(ToString::to_string).collect();
    assert_eq!(found, expected);
    assert_eq!(loaded.site.is_none(), loaded.has_mistakes());
}

fn shipped(folder: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../config")
        .join(folder)
}

#[test]
fn the_defaults_are_those_of_an_empty_site() {
    let root = tempfile::tempdir().unwrap();
    lay_out(root.path(), &[(SITE_FILE, "")]);
    for machine in ["Europe/Lisbon", "Not/AZone"] {
        let empty = load(root.path(), machine).site.unwrap();
        let defaults = Site {
            fingerprints: empty.fingerprints.clone(),
            ..Site::defaults(root.path(), machine)
        };
        assert_eq!(defaults, empty);
    }
}

#[test]
fn a_layout_of_its_own_is_read_or_its_mistakes_are_shown_at_their_place() {
    let root = tempfile::tempdir().unwrap();
    lay_out(
        root.path(),
        &[
            (
                "good.toml",
                "delimiter = \";\"\ncolumns.time.format = \"%d/%m/%Y\"\ncolumns.x.unit = \"mm\"\n",
            ),
            ("bad.toml", "quote = '\"'\ndelimiter = \";;\"\n"),
        ],
    );
    let good = load_layout(&root.path().join("good.toml"));
    assert_eq!(good.mistakes, []);
    assert_eq!(good.layout.unwrap().options[0].text, ";");
    let bad = load_layout(&root.path().join("bad.toml"));
    assert!(bad.layout.is_none());
    assert_eq!((bad.mistakes[0].line, bad.mistakes[0].column), (2, 13));
    assert!(bad.render(false, 80).contains("delimiter = \";;\""));
    let missing = load_layout(&root.path().join("missing.toml"));
    assert!(missing.layout.is_none());
    assert!(missing.render(false, 80).contains("can't be read"));
}

#[test]
fn an_empty_site_is_a_valid_one_with_every_default() {
    let root = tempfile::tempdir().unwrap();
    let root = root.path().join("North room");
    fs::create_dir(&root).unwrap();
    lay_out(&root, &[(SITE_FILE, "")]);
    let loaded = load(&root, "Europe/Lisbon");
    assert_eq!(loaded.mistakes, []);
    let empty = loaded.site.unwrap();
    assert_eq!(empty.name, "North room");
    assert_eq!(
        empty.timezone,
        Timezone {
            name: "Europe/Lisbon".into(),
            stated: false
        }
    );
    assert_eq!(empty.inbox, root.join("inbox"));
    assert_eq!(empty.plugins, [root.join("plugins")]);
    assert_eq!(empty.intake.settle, Duration::from_secs(2));
    assert_eq!(empty.intake.rescan, Duration::from_secs(30));
    assert_eq!(empty.intake.after, After::Move);
    assert_eq!(empty.intake.max_file, 4_294_967_296);
    assert_eq!(empty.importers.sandbox, Sandbox::Best);
    assert_eq!(empty.csv, Csv::Standard);
    assert_eq!(empty.importers.timeout, Duration::from_mins(1));
    assert_eq!(empty.importers.memory_bytes, 536_870_912);
    assert_eq!(empty.routes, []);
    assert_eq!(empty.notify, []);

    lay_out(&root, &[(SITE_FILE, ANNOTATED_DEFAULTS)]);
    let mut annotated = load(&root, "Europe/Lisbon").site.unwrap();
    assert_ne!(annotated.fingerprints, empty.fingerprints);
    annotated.fingerprints = empty.fingerprints.clone();
    assert_eq!(annotated, empty, "the annotated file states the defaults");
}

#[test]
fn the_examples_in_the_annotated_site_file_hold() {
    let uncommented: String = ANNOTATED_DEFAULTS
        .lines()
        .map(|line| match line.strip_prefix('#') {
            Some(example) if !example.starts_with(' ') && !example.is_empty() => format!("{example}\n"),
            _ => format!("{line}\n"),
        })
        .collect();
    let root = tempfile::tempdir().unwrap();
    lay_out(root.path(), &[(SITE_FILE, &uncommented)]);
    for part in [
        "tanks/harbour.toml",
        "devices/bagged-phone.toml",
        "devices/hired-reference.toml",
        "layouts/phone-export.toml",
    ] {
        let text = fs::read_to_string(shipped("examples").join(part)).unwrap();
        lay_out(root.path(), &[(part, &text)]);
    }
    let loaded = load(root.path(), "UTC");
    // A mounted sensor and a moving rod: both may be typed, and what this version makes of them is said.
    assert!(
        loaded
            .mistakes
            .iter()
            .all(|found| found.severity == Severity::Note),
        "{:?}",
        loaded.mistakes
    );
    assert_eq!(loaded.count(Severity::Note), 1);
    let site = loaded.site.unwrap();
    assert_eq!(site.routes.len(), 3);
    assert_eq!(
        site.notify,
        [
            NotifySink::File {
                path: root.path().join("outbox/notices.txt")
            },
            NotifySink::Command {
                command: vec!["/usr/local/bin/tell-me".into(), "--quiet".into()]
            },
        ]
    );
    assert_eq!(
        site.timezone,
        Timezone {
            name: "Europe/Lisbon".into(),
            stated: true
        }
    );
}

#[test]
fn the_example_site_is_without_mistakes() {
    let loaded = load(&shipped("examples"), "UTC");
    assert_eq!(loaded.mistakes, [], "{}", loaded.render(false, 100));
    let site = loaded.site.unwrap();
    let tank = &site.tanks["harbour"];
    assert_eq!(tank.name, "Harbour");
    assert!(tank.declared);
    assert_eq!(
        tank.frames[0].axes,
        [Direction3::Right, Direction3::Up, Direction3::Back]
    );
    let levels = &tank.scenes[0].levels;
    assert_eq!(
        levels[0],
        ("west".into(), LevelSet::Whole(0.60)),
        "in written order"
    );
    assert_eq!(
        levels[1].1,
        LevelSet::Channels(vec![("blue".into(), 0.80), ("white".into(), 0.35)])
    );
    assert_eq!(tank.drift.every_seconds, Some(35 * 86_400));
    let fit = site.devices["bagged-phone"].corrections[0].fit.as_ref().unwrap();
    assert_eq!(fit.model, FitModel::Line);
    assert_eq!(fit.covariance, [[1.0, 0.0], [0.0, 0.0004]]);
    let upkeep = &site.upkeep["harbour"];
    assert_eq!(upkeep[1].what, UpkeepKind::LensCleaned);
    assert_eq!(upkeep[1].remark.as_deref(), Some("turned down first, then wiped"));
    let layout = &site.layouts["phone-export"];
    assert_eq!(layout.options.len(), layout.places.len());
    let east: Vec<_> = timeline(tank)
        .into_iter()
        .filter(|epoch| epoch.id == "east")
        .collect();
    assert_eq!(east.len(), 2);
    assert!(east[0].reaches_into_the_past() && !east[1].reaches_into_the_past());
}

#[test]
fn the_demo_site_is_without_mistakes() {
    let loaded = load(&shipped("demo"), "UTC");
    assert_eq!(loaded.mistakes, [], "{}", loaded.render(false, 100));
}

#[test]
fn names_of_files_are_ids() {
    check(
        &[
            ("tanks/taken.toml", ""),
            ("tanks/My Tank.toml", ""),
            ("tanks/b.TOML", ""),
            ("tanks/.a.toml", "x"),
            ("tanks/readme.md", ""),
        ],
        &[
            "tanks/My Tank.toml:1:1: mistake: this file's name gives no id (rename it: an id is small letters, digits, - and _, and begins with a letter or digit, as \"my-tank\")",
            "tanks/b.TOML:1:1: mistake: only names that end in .toml in small letters count here (rename the file)",
            "tanks/taken.toml:1:1: mistake: this file's name gives no id (rename it: `taken` is a folder of the inbox; give the tank another id)",
        ],
    );
}

#[test]
fn files_that_are_none_are_mistakes() {
    use std::os::unix::ffi::OsStrExt as _;
    let root = tempfile::tempdir().unwrap();
    let root = root.path();
    lay_out(root, &[(SITE_FILE, ""), ("devices/x", "")]);
    fs::create_dir_all(root.join("tanks/folder.toml")).unwrap();
    std::os::unix::fs::symlink("loop.toml", root.join("tanks/loop.toml")).unwrap();
    std::os::unix::fs::symlink("nowhere", root.join("tanks/dangling.toml")).unwrap();
    fs::write(root.join("tanks/latin.toml"), b"name = \"x\"\n# M\xe4rz").unwrap();
    fs::write(root.join("layouts"), "a file where a folder is expected").unwrap();
    let odd = std::ffi::OsStr::from_bytes(b"odd\xff\x1b[2J.toml");
    fs::write(root.join("tanks").join(odd), "").unwrap();
    let loaded = load(root, "UTC");
    let shown = loaded.render(false, 100);
    assert_eq!(loaded.count(Severity::Mistake), 6, "{shown}");
    assert!(shown.contains("line 2 of this file is no UTF-8 text"), "{shown}");
    assert!(!shown.contains('\u{1b}'), "{shown:?}");

    let empty = tempfile::tempdir().unwrap();
    let loaded = load(empty.path(), "UTC");
    assert_eq!(loaded.mistakes[0].text, "there is no undim.toml");
    assert_eq!(find_site(empty.path()), None);
}

#[test]
fn a_site_is_found_upwards() {
    let root = tempfile::tempdir().unwrap();
    let root = root.path().canonicalize().unwrap();
    lay_out(&root, &[(SITE_FILE, ""), ("inbox/deep/x.csv", "")]);
    assert_eq!(find_site(&root.join("inbox/deep")), Some(root.clone()));
    assert_eq!(site_at(&root.join(SITE_FILE)), Some(root.clone()));
    assert_eq!(site_at(&root), Some(root.clone()));
    assert_eq!(
        site_at(&root.join("inbox")),
        None,
        "a named folder is that folder"
    );
    assert_eq!(site_at(&root.join("inbox/deep/x.csv")), None);
}

#[test]
fn fingerprints_tell_what_changed() {
    let of = |files: &[(&str, &str)]| load_files(files).site.unwrap().fingerprints;
    let before = of(&[("tanks/a.toml", ""), ("tanks/b.toml", "")]);
    let after = of(&[("tanks/a.toml", ""), ("tanks/b.toml", "name = \"B\"\n")]);
    assert_ne!(before.whole, after.whole);
    assert_eq!(before.tanks["a"], after.tanks["a"]);
    assert_ne!(before.tanks["b"], after.tanks["b"]);
    // BLAKE3 of nothing, from its published test vectors.
    assert_eq!(
        before.tanks["a"],
        "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262"
    );
}

#[test]
fn a_machine_zone_that_is_none_is_told() {
    let root = tempfile::tempdir().unwrap();
    lay_out(root.path(), &[(SITE_FILE, "")]);
    let loaded = load(root.path(), "Local\u{7}");
    assert_eq!(
        loaded.site.unwrap().timezone,
        Timezone {
            name: "UTC".into(),
            stated: false
        }
    );
    assert_eq!(loaded.mistakes[0].severity, Severity::Warning);
    assert!(loaded.mistakes[0].text.contains("Local\\u{7}"));
}

#[test]
fn notes() {
    let note = parse_note(
        "\u{feff}tank = \"Harbour\"\ndate = 2026-05-09\nclock_offset = \"-00:02:30\"\npumps = \"on\"\nwater_cm = 49\nfixtures_on_min = 45\ntaken_by = \"\"\nremark = \"<script>\"\n".as_bytes(),
        "a.csv.note.toml",
    )
    .unwrap();
    let expected = Note {
        tank: Some("Harbour".into()),
        date: Some(jiff::civil::date(2026, 5, 9)),
        clock_offset_us: Some(-150_000_000),
        pumps_on: Some(true),
        water_cm: Some(49.0),
        fixtures_on_min: Some(45.0),
        remark: Some("<script>".into()),
        ..Note::default()
    };
    assert_eq!(note, expected);
    assert_eq!(parse_note(b"", "n").unwrap(), Note::default());
    assert_eq!(
        parse_note(b"clock_offset = -1.5", "n").unwrap().clock_offset_us,
        Some(-1_500_000)
    );
    let told = |text: &[u8]| parse_note(text, "n").unwrap_err()[0].to_string();
    assert_eq!(
        told(b"pump = \"on\""),
        "n:1:1: mistake: unknown key `pump` in the file (did you mean `pumps`?)"
    );
    assert!(told(b"clock_offset = \"1h\"").contains("seconds or"));
    assert!(told(b"pumps = true").contains("\"off\" or \"on\""));
    assert!(told(b"\xff").contains("UTF-8"));
    assert!(told(b"a = [").starts_with("n:1:"));
}

/// TOML that is nearly right: known keys and values, mixed up, and some plain noise.
fn nearly() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        prop::sample::select(vec![
            "[inside]\n",
            "[[inside]]\n",
            "[[frame]]\n",
            "[[station]]\n",
            "[[scene]]\n",
            "[[correction]]\n",
            "[columns]\n",
            "[[value]]\n",
            "[head]\n",
            "[drift]\n",
            "[[route]]\n",
            "[[notify]]\n",
            "[site]\n",
            "[folders]\n",
            "id",
            "at_cm",
            "axes",
            "levels",
            "only",
            "day",
            "from",
            "until",
            "footprint_cm",
            "length_cm",
            "height_cm",
            "fit",
            "model",
            "coefficients",
            "covariance",
            "time",
            "value",
            "match",
            "kind",
            "command",
            "priors",
            "date,what\n",
            " = ",
            ".",
            "\n",
            ", ",
            "{ ",
            " }",
            "[",
            "]",
            "\"hinge\"",
            "\"line\"",
            "\"west\"",
            "\"/(/\"",
            "\"09:00\"",
            "1",
            "-2.5e300",
            "nan",
            "0x7f",
            "2026-03-01",
            "true",
            "'''",
            "\"\"\"",
            "#",
            "\r\n",
            "ö",
            "\u{feff}",
            "\u{0}",
        ])
        .prop_map(str::to_owned),
        "\\PC{0,6}",
    ];
    prop::collection::vec(piece, 0..40).prop_map(|pieces| pieces.concat())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]
    #[test]
    fn no_text_panics_and_every_place_is_inside(text in nearly()) {
        let loaded = load_files(&[
            (SITE_FILE, &text), ("tanks/a.toml", &text), ("devices/a.toml", &text), ("layouts/a.toml", &text), ("upkeep/a.csv", &text),
        ]);
        let note = parse_note(text.as_bytes(), SITE_FILE).err().unwrap_or_default();
        let bare = text.strip_prefix('\u{feff}').unwrap_or(&text);
        let lines: Vec<&str> = bare.split('\n').collect();
        for mistake in loaded.mistakes.iter().chain(&note) {
            let line = lines.get(mistake.line - 1).expect("a line of the file");
            prop_assert!(mistake.column >= 1 && mistake.column <= line.chars().count() + 1);
            prop_assert!(mistake.span.end <= bare.len() && bare.get(mistake.span.clone()).is_some());
            prop_assert!(!mistake.to_string().contains(char::is_control), "control characters");
        }
        loaded.render(true, 80);
        prop_assert_eq!(loaded.site.is_none(), loaded.has_mistakes());
    }
}
