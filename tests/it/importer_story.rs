//! The power user's own importer: written against the SDK or the C header, built, dropped in the plugin folder, used.

use crate::importer_examples::compiled_in_c;
use crate::support::{TestSite, build_library, repository};
use std::fs;
use std::path::{Path, PathBuf};

/// An importer for the memory of an invented logger that somebody soldered together: `SHEDLOG1`, the start in Unix
/// seconds, then eight bytes a reading: seconds since the start, place (cm), light in tenths; big-endian.
const SHED_LOG: &str = r#"
use undim_sdk::{Failure, Importer, Input, Options, Out, Row, Time};

struct ShedLog;

impl Importer for ShedLog {
    const NAME: &'static str = "shed-log";
    const VERSION: &'static str = env!("CARGO_PKG_VERSION");
    const READS: &'static str = "the memory of the logger from the garden shed";

    fn probe(start: &[u8], _file_name: &str) -> u8 {
        if start.starts_with(b"SHEDLOG1") { 100 } else { 0 }
    }

    fn read(input: &mut Input, _options: &Options, out: &mut Out) -> Result<(), Failure> {
        let memory = input.read_to_limit(1 << 20)?;
        let start = memory.get(8..12).and_then(|bytes| bytes.try_into().ok()).map(u32::from_be_bytes);
        let start = start.ok_or_else(|| Failure::unusable(1, 0, "the logger's start is missing"))?;
        out.found("unit", "umol.m-2.s-1");
        for (row, record) in (1..).zip(memory[12..].chunks(8)) {
            let &[high, low, left, bottom, front, _, light_high, light_low] = record else {
                return Err(Failure::unusable(row, 0, "the memory ends within a reading"));
            };
            let seconds = i64::from(start) + i64::from(u16::from_be_bytes([high, low]));
            let light = u16::from_be_bytes([light_high, light_low]);
            out.push(&Row {
                row,
                time: Some(Time::Instant(seconds * 1_000_000)),
                value: (light != u16::MAX).then(|| f64::from(light) / 10.0),
                x: Some(left.into()),
                y: Some(bottom.into()),
                z: Some(front.into()),
                ..Row::default()
            })?;
        }
        Ok(())
    }
}

undim_sdk::export!(ShedLog);
"#;

/// A crate of its own, outside the repository, built with the real cargo.
fn build_shed_log(version: &str, program: &str) -> PathBuf {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let sdk = repository().join("crates/sdk").canonicalize().expect("the SDK");
    let manifest = format!(
        "[workspace]\n\n[package]\nname = \"shed-log\"\nversion = \"{version}\"\nedition = \"2024\"\n\n\
         [lib]\ncrate-type = [\"cdylib\"]\n\n[dependencies]\nundim-sdk = {{ path = {:?} }}\n",
        sdk.display().to_string()
    );
    fs::create_dir(folder.path().join("src")).expect("a folder");
    fs::write(folder.path().join("Cargo.toml"), manifest).expect("a written file");
    fs::write(folder.path().join("src/lib.rs"), program).expect("a written file");
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).join("shed-log");
    let library = build_library(folder.path(), "shed-log", Some(&target));
    // Out of cargo's way: the next version is built under the same name.
    let kept = target.join(format!("version-{version}"));
    fs::create_dir_all(&kept).expect("a folder");
    let copy = kept.join("libshed_log.so");
    fs::copy(library, &copy).expect("a copied library");
    copy
}

/// The logger's memory: readings of three places in tenths of µmol m⁻² s⁻¹, starting at a Unix second.
fn memory(start: u32, readings: &[u16]) -> Vec<u8> {
    let mut bytes = b"SHEDLOG1".to_vec();
    bytes.extend(start.to_be_bytes());
    for (number, light) in (0_u16..).zip(readings) {
        bytes.extend((number * 5).to_be_bytes());
        bytes.extend([[10, 20, 30, 0], [40, 12, 25, 0], [70, 30, 30, 0]][usize::from(number % 3)]);
        bytes.extend(light.to_be_bytes());
    }
    bytes
}

/// 2026-02-14T12:00:00Z.
const FEBRUARY: u32 = 1_771_070_400;
/// 2026-03-14T12:00:00Z.
const MARCH: u32 = 1_773_489_600;

#[test]
fn an_importer_of_ones_own_is_built_dropped_in_and_used() {
    let lines = SHED_LOG.lines().filter(|line| !line.trim().is_empty()).count();
    assert!(
        lines < 40,
        "the promise is less than forty lines, and these are {lines}"
    );
    let site = TestSite::new();
    let february = memory(FEBRUARY, &[1805, 2402, 3100, 1795, 2398, u16::MAX]);

    // Nobody can read it yet; this is said, and the file is kept.
    site.drop_file("reef/shed-logger/february.bin", &february);
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(1), "{run}");
    assert!(
        site.exists("inbox/set-aside/reef/shed-logger/february.bin"),
        "{}",
        site.listing()
    );

    // The importer in the folder, the same file again: it is read.
    site.install(&build_shed_log("1.2.3", SHED_LOG));
    site.drop_file("reef/shed-logger/february.bin", &february);
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(0), "{run}");
    let survey = site.json("outbox/reef/2026-02-14/survey.json");
    let source = &survey["sources"][0];
    assert_eq!(source["importer"]["name"], "shed-log", "{survey:#}");
    assert_eq!(source["importer"]["version"], "1.2.3", "{survey:#}");
    let readings = site.rows("outbox/reef/2026-02-14/readings.csv");
    assert_eq!(readings.len(), 6);
    assert_eq!(readings[0].get("time"), "2026-02-14T12:00:00+00:00");
    assert_eq!(readings[0].get("raw"), "180.5");
    assert_eq!(readings[5].get("flag"), "9", "a missing value stays a row");
    let stations = site.rows("outbox/reef/2026-02-14/stations.csv");
    let names: Vec<_> = stations.iter().map(|row| row.get("station")).collect();
    assert_eq!(names, ["at-10-20-30", "at-40-12-25", "at-70-30-30"]);

    // A new version that panics: this file is set aside with a sentence, and the next good one is taken in.
    let broken = SHED_LOG.replace(
        "out.found(\"unit\", \"umol.m-2.s-1\");",
        "assert!(start < 1_772_000_000, \"the clock has run over\");",
    );
    assert_ne!(broken, SHED_LOG);
    site.install(&build_shed_log("1.3.0", &broken));
    let march = memory(MARCH, &[1705, 2302, 3000]);
    site.drop_file("reef/shed-logger/march.bin", &march);
    site.drop_file(
        "reef/shed-logger/next.csv",
        "time,x,y,z,PPFD\n2026-03-15T12:00:00Z,10,20,30,171\n",
    );
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(1), "{run}");
    let why = site.read("inbox/set-aside/reef/shed-logger/march.bin.why.txt");
    assert!(
        why.contains("failed in an unforeseen way: the clock has run over"),
        "{why}"
    );
    assert_eq!(site.surveys("reef"), ["2026-02-14", "2026-03-15"], "{run}");
    assert_eq!(
        site.rows("outbox/reef/2026-02-14/readings.csv").len(),
        6,
        "what was read stays"
    );

    // Mended, and dropped again.
    site.install(&build_shed_log("1.3.1", SHED_LOG));
    site.drop_file("reef/shed-logger/march.bin", &march);
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(0), "{run}");
    assert_eq!(site.surveys("reef"), ["2026-02-14", "2026-03-14", "2026-03-15"]);
    let survey = site.json("outbox/reef/2026-03-14/survey.json");
    assert_eq!(survey["sources"][0]["importer"]["version"], "1.3.1");
}

/// The example in C, built by the system's compiler.
#[test]
fn an_importer_in_c_is_built_dropped_in_and_used() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let library = compiled_in_c(folder.path());
    let site = TestSite::new();
    site.install(&library);
    site.drop_file("reef/pairs 2026-02-14.txt", "#pairs\nreef-top 212.5\nsand 96\n");
    let run = site.sweep();
    let survey = site.json("outbox/reef/2026-02-14/survey.json");
    assert_eq!(survey["sources"][0]["importer"]["name"], "pairs-c", "{survey:#}");
    assert_eq!(survey["sources"][0]["importer"]["version"], "1.0");
    let stations = site.rows("outbox/reef/2026-02-14/stations.csv");
    assert_eq!(stations.len(), 2, "{run}");
    assert_eq!(
        (stations[0].get("station"), stations[0].get("ppfd")),
        ("reef-top", "212.500")
    );
}
