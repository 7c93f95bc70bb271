//! `undim importer list`, `try` and `layout`.

use crate::importer_examples::allow_to_run;
use crate::support::{Run, TestSite, importer, repository};
use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::Command;

fn undim(arguments: &[&str], file: &Path, more: &[&str]) -> Run {
    let output = Command::new(env!("CARGO_BIN_EXE_undim"))
        .args(arguments)
        .arg(file)
        .args(more)
        .env("NO_COLOR", "1")
        .output()
        .expect("the program runs");
    Run::from(output)
}

fn set_mode(path: &Path, mode: u32) {
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).expect("permissions");
}

#[test]
fn list_shows_who_is_used_and_why_others_are_not() {
    let site = TestSite::new();
    site.install(&repository().join("plugins/examples/sh/grid.sh"));
    site.write(
        "plugins/zz-grid-again.sh",
        "#!/bin/sh\n# undim-importer: name grid\n",
    );
    allow_to_run(&site.path("plugins/zz-grid-again.sh"));
    site.write("plugins/not-to-be-run.py", "#!/usr/bin/env python3\n");
    set_mode(&site.path("plugins/not-to-be-run.py"), 0o644);
    site.write("plugins/for-the-group.sh", "#!/bin/sh\n");
    set_mode(&site.path("plugins/for-the-group.sh"), 0o775);
    site.write("plugins/slip.sh", "#!/bin/sh\n# undim-importer: marks X\n");
    allow_to_run(&site.path("plugins/slip.sh"));
    site.write("plugins/README.md", "no importer");
    let run = site.undim(&["importer", "list", "--json"]);
    assert_eq!(run.status, Some(0), "{run}");
    let list: serde_json::Value = serde_json::from_str(&run.stdout).expect("JSON");
    let grid = list["importers"]
        .as_array()
        .and_then(|all| all.iter().find(|one| one["name"] == "grid"))
        .unwrap_or_else(|| panic!("{list:#}"));
    assert_eq!(
        (&grid["kind"], &grid["version"]),
        (&"script".into(), &"1.0".into())
    );
    assert!(
        grid["abi"].is_null()
            && grid["path"]
                .as_str()
                .is_some_and(|path| path.ends_with("grid.sh"))
    );
    let delimited = &list["importers"]
        .as_array()
        .and_then(|all| all.iter().find(|one| one["name"] == "delimited"))
        .unwrap_or_else(|| panic!("{list:#}"));
    assert_eq!(
        (&delimited["kind"], &delimited["abi"]),
        (&"library".into(), &"1.0".into())
    );
    let why = |file: &str| {
        let refused = list["refused"].as_array().expect("a list");
        let one = refused
            .iter()
            .find(|one| one["path"].as_str().is_some_and(|path| path.ends_with(file)));
        one.and_then(|one| one["why"].as_str())
            .unwrap_or_else(|| panic!("{file}: {list:#}"))
            .to_owned()
    };
    assert!(why("zz-grid-again.sh").contains("has the same name, grid, and comes first"));
    assert!(why("not-to-be-run.py").contains("chmod +x"));
    assert!(why("for-the-group.sh").contains("its whole group can write to it"));
    assert!(why("slip.sh").contains("line 2 of the script"));
    assert!(!run.stdout.contains("README.md"), "{run}");

    // A folder that others can write to: nothing in it is used.
    for mode in [0o777, 0o775] {
        set_mode(&site.path("plugins"), mode);
        let run = site.undim(&["importer", "list"]);
        assert!(!run.stdout.contains("grid 1.0"), "{run}");
        let one_line = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(one_line.contains("take that right away (chmod go-w)"), "{run}");
    }
}

#[test]
fn try_shows_claims_readings_and_problems() {
    let site = TestSite::new();
    site.install(&repository().join("plugins/examples/sh/grid.sh"));
    site.write("grid.txt", "GRID z=25\n10 30\n40 180 21o\n");
    let path = site.path("grid.txt");
    let path = path.to_str().expect("text");
    let run = site.undim(&["importer", "try", path]);
    assert_eq!(run.status, Some(0), "{run}");
    for words in [
        "90  grid ",
        "grid.txt: 2 readings, read by the importer grid 1.0.",
        "line 3, column 3: this is no number",
    ] {
        assert!(run.stdout.contains(words), "{words}\n{run}");
    }

    site.write(
        "odd.csv",
        "time,place,PPFD,battery\n2026-07-14 12:00:00,a,180,3.9\n2026-07-14 12:00:05,b,x,3.9\n2026-07-14 12:00:10,c,190,3.9\n2026-07-14 12:00:15,d,170,3.9\n",
    );
    let path = site.path("odd.csv");
    let run = site.undim(&["importer", "try", path.to_str().expect("text"), "--json"]);
    assert_eq!(run.status, Some(0), "{run}");
    let tried: serde_json::Value = serde_json::from_str(&run.stdout).expect("JSON");
    // Lisbon in summer.
    assert_eq!(tried["rows"][0]["time"], "2026-07-14T12:00:00+01:00", "{tried:#}");
    assert_eq!(tried["rows"][1]["value"], serde_json::Value::Null);
    assert_eq!(
        (&tried["problems"][0]["line"], &tried["problems"][0]["column"]),
        (&3.into(), &3.into())
    );
    let claims = tried["claims"].as_array().expect("a list");
    assert!(
        claims
            .iter()
            .any(|claim| claim["importer"] == "grid" && claim["sure"] == 0)
    );
    let run = site.undim(&["importer", "try", path.to_str().expect("text")]);
    assert!(run.stdout.contains("nothing was read from \"battery\""), "{run}");

    let run = site.undim(&[
        "importer",
        "try",
        path.to_str().expect("text"),
        "--importer",
        "nobody",
    ]);
    assert_eq!(run.status, Some(2), "{run}");
    assert!(run.stderr.contains("no importer named “nobody”"), "{run}");
}

/// A mistake in a layout that only shows with the file is told at its place, as one that shows by itself.
#[test]
fn a_mistake_in_a_layout_is_shown_at_its_place() {
    let site = TestSite::new();
    site.write("odd.csv", "time,place,PPFD\n2026-07-14 12:00:00,a,180\n");
    let file = site.path("odd.csv");
    for (layout, words) in [
        (
            "skip = 0\ncolumns.value.from = \"Light\"\n",
            "no column has this name",
        ),
        ("skip = \"none\"\n", "skip"),
    ] {
        site.write("layout.toml", layout);
        let run = site.undim(&[
            "importer",
            "try",
            file.to_str().expect("text"),
            "--layout",
            site.path("layout.toml").to_str().expect("text"),
        ]);
        assert_ne!(run.status, Some(0), "{run}");
        let all = format!("{}{}", run.stdout, run.stderr);
        assert!(all.contains("layout.toml:") && all.contains('^'), "{run}");
        assert!(all.contains(words), "{run}");
    }
}

/// What was found out about every case of `delimited`, written down as a layout, reads the same.
#[test]
fn a_printed_layout_reads_the_file_as_it_was_read() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let library = importer("undim-importer-delimited");
    let site = TestSite::new();
    assert!(library.exists());
    let site_path = site.path("");
    let site_flag = ["--site", site_path.to_str().expect("text")];
    let mut cases: Vec<PathBuf> = fs::read_dir(repository().join("plugins/delimited/cases"))
        .expect("the cases")
        .map(|entry| entry.expect("a case").path())
        .collect();
    cases.sort();
    let mut compared = 0;
    for case in cases {
        // Those with a layout of their own are read by that.
        if case.join("layout.txt").exists() || !case.join("expected.csv").exists() {
            continue;
        }
        let input = fs::read_dir(&case)
            .expect("a case")
            .map(|entry| entry.expect("a file").path())
            .find(|path| path.file_stem().is_some_and(|stem| stem == "input"))
            .expect("an input");
        let name = case.display();
        let plain = undim(&["look", "--rows"], &input, &site_flag);
        assert_eq!(plain.status, Some(0), "{name}: {plain}");
        let printed = undim(&["importer", "layout"], &input, &site_flag);
        assert_eq!(printed.status, Some(0), "{name}: {printed}");
        let layout = folder.path().join("layout.toml");
        fs::write(&layout, &printed.stdout).expect("a written layout");
        let layout_flags = [
            "--layout",
            layout.to_str().expect("text"),
            site_flag[0],
            site_flag[1],
        ];
        let by_layout = undim(&["look", "--rows"], &input, &layout_flags);
        assert_eq!(
            (by_layout.status, &by_layout.stdout),
            (plain.status, &plain.stdout),
            "{name}\n{}\n{}",
            printed.stdout,
            by_layout.stderr
        );
        compared += 1;
    }
    assert!(compared >= 25, "{compared} cases");
}
