//! The examples that an author begins from: in C, Python and shell, each held against its cases and the usual bad files;
//! and what `undim importer new` writes, really built.

use crate::support::{Run, TestSite, repository};
use std::path::{Path, PathBuf};
use std::process::Command;

/// The example in C as the system's compiler makes it.
pub(crate) fn compiled_in_c(folder: &Path) -> PathBuf {
    let library = folder.join("pairs.so");
    let output = Command::new("cc")
        .args([
            "-std=c99", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", "-I",
        ])
        .arg(repository().join("crates/abi/include"))
        .arg("-o")
        .arg(&library)
        .arg(repository().join("plugins/examples/c/pairs.c"))
        .output()
        .expect("a C compiler named cc");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    library
}

/// Runs the case kit on a folder; `importer` where it doesn't lie there.
fn cases(folder: &Path, importer: Option<&Path>) -> Run {
    let mut command = Command::new(env!("CARGO_BIN_EXE_undim"));
    command
        .args(["importer", "cases"])
        .arg(folder)
        .env("NO_COLOR", "1");
    if let Some(importer) = importer {
        command.arg("--importer").arg(importer);
    }
    Run::from(command.output().expect("the program runs"))
}

fn holds(run: &Run) {
    assert_eq!(run.status, Some(0), "{run}");
    assert!(run.stdout.contains("the contract holds"), "{run}");
    assert!(!run.stdout.contains("BROKE"), "{run}");
}

/// True where Python is; where it isn't, this is said and its checks are left out.
#[expect(clippy::print_stdout, reason = "a check that is left out is told")]
pub(crate) fn has_python() -> bool {
    let found = ["/usr/local/bin", "/usr/bin", "/bin"]
        .iter()
        .any(|folder| Path::new(folder).join("python3").exists());
    if !found {
        println!("left out: no python3 on this machine");
    }
    found
}

#[test]
fn the_example_in_c_passes_its_cases() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let library = compiled_in_c(folder.path());
    holds(&cases(&repository().join("plugins/examples/c"), Some(&library)));
}

#[test]
fn the_example_in_shell_passes_its_cases() {
    holds(&cases(&repository().join("plugins/examples/sh"), None));
}

#[test]
fn the_example_in_python_passes_its_cases() {
    if has_python() {
        holds(&cases(&repository().join("plugins/examples/python"), None));
    }
}

/// A script in the plugin folder, a file of its kind in the inbox: a survey.
#[test]
fn a_script_is_dropped_in_and_used() {
    let site = TestSite::new();
    site.install(&repository().join("plugins/examples/sh/grid.sh"));
    site.drop_file(
        "reef/grid 2026-02-14.txt",
        "GRID z=25\n10 30\n40 180 210\n20 120 -\n",
    );
    let run = site.sweep();
    let survey = site.json("outbox/reef/2026-02-14/survey.json");
    assert_eq!(survey["sources"][0]["importer"]["name"], "grid", "{run}");
    let stations = site.rows("outbox/reef/2026-02-14/stations.csv");
    let names: Vec<_> = stations.iter().map(|row| row.get("station")).collect();
    assert_eq!(
        names,
        ["at-10-20-25", "at-10-40-25", "at-30-20-25", "at-30-40-25"]
    );
    let readings = site.rows("outbox/reef/2026-02-14/readings.csv");
    assert_eq!(readings.len(), 4);
    assert_eq!(readings.iter().filter(|row| row.get("flag") == "9").count(), 1);
}

/// Without a word about itself a script reads what a route sends it.
#[test]
fn a_script_without_declarations_reads_what_a_route_sends_it() {
    let site = TestSite::with_site_file(
        "[intake]\nsettle = \"0s\"\n[[route]]\nmatch = \"**/*.bare\"\nimporter = \"bare\"\n",
    );
    site.write(
        "bare.sh",
        "#!/bin/sh\nexec awk 'BEGIN { print \"row,value,station\" } { print NR \",\" $2 \",\" $1 }'\n",
    );
    allow_to_run(&site.path("bare.sh"));
    site.install(&site.path("bare.sh"));
    site.drop_file("reef/a 2026-02-14.bare", "sand 96\nreef 212.5\n");
    site.sweep();
    let survey = site.json("outbox/reef/2026-02-14/survey.json");
    assert_eq!(survey["sources"][0]["importer"]["name"], "bare");
    assert_eq!(site.rows("outbox/reef/2026-02-14/stations.csv").len(), 2);
}

pub(crate) fn allow_to_run(path: &Path) {
    use std::os::unix::fs::PermissionsExt as _;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o755)).expect("permissions");
}

fn new_importer(folder: &Path, arguments: &[&str]) -> Run {
    let output = Command::new(env!("CARGO_BIN_EXE_undim"))
        .current_dir(folder)
        .args(["importer", "new"])
        .args(arguments)
        .output()
        .expect("the program runs");
    Run::from(output)
}

/// A stranger's folder, far from this repository: it builds without a network and passes its tests.
#[test]
fn a_new_importer_in_rust_builds_and_passes_its_cases() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let run = new_importer(folder.path(), &["pond-log"]);
    assert_eq!(run.status, Some(0), "{run}");
    let written = folder.path().join("pond-log");
    let again = new_importer(folder.path(), &["pond-log"]);
    assert_eq!(again.status, Some(2), "nothing is overwritten: {again}");

    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).join("pond-log");
    let cargo = |arguments: &[&str]| {
        let output = Command::new(env!("CARGO"))
            .current_dir(&written)
            .args(arguments)
            .args(["--offline", "--quiet"])
            .env("CARGO_TARGET_DIR", &target)
            .output()
            .expect("cargo runs");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "{said}");
        assert!(!said.contains("warning"), "{said}");
    };
    cargo(&["test"]);
    cargo(&["build"]);
    let library = target.join("debug").join(format!(
        "{}pond_log{}",
        std::env::consts::DLL_PREFIX,
        std::env::consts::DLL_SUFFIX
    ));
    holds(&cases(&written, Some(&library)));
}

#[test]
fn a_new_script_passes_its_cases() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut languages = vec!["sh"];
    if has_python() {
        languages.push("python");
    }
    for language in languages {
        let name = format!("pond-{language}");
        let run = new_importer(folder.path(), &[&name, "--script", language]);
        assert_eq!(run.status, Some(0), "{run}");
        holds(&cases(&folder.path().join(&name), None));
    }
    let run = new_importer(folder.path(), &["Pond_Log"]);
    assert_eq!(run.status, Some(2), "{run}");
}

/// A case that doesn't hold, and an importer that breaks on bad files, are told, and the exit says so.
#[test]
fn what_breaks_the_contract_is_told() {
    let site = TestSite::new();
    site.write(
        "odd/odd.sh",
        "#!/bin/sh\n# undim-importer: mark odd\nread -r first\n[ \"$first\" = odd ] || exec awk 'BEGIN { print \"row,values\" }'\nexec awk 'BEGIN { print \"row,value\" } { print NR + 1 \",\" $1 }'\n",
    );
    allow_to_run(&site.path("odd/odd.sh"));
    site.write("odd/cases/two/input.txt", "odd\n1\n2\n");
    site.write("odd/cases/two/expected.csv", "row,value\n2,1\n3,3\n");
    site.write("odd/cases/two/note.md", "Two.");
    let run = cases(&site.path("odd"), None);
    assert_eq!(run.status, Some(1), "{run}");
    let told = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "expected.csv, line 3: expected 3,3, got 3,2",
        "“values” is no column",
        "The contract is broken by 1 of 1 cases",
    ] {
        assert!(told.contains(words), "{words}\n{run}");
    }
}
