//! The importer that misbehaves on request.

use crate::Test;
use std::{
    cell::RefCell,
    fs::File,
    path::{Path, PathBuf},
    process::Command,
    sync::{OnceLock, atomic::AtomicBool},
    time::{Duration, Instant},
};
use undim_import::run::{
    ImportFailure, ImportReport, ImportedRow, Limits, SandboxPolicy, Sink, SinkError, Source, Worker,
};

pub(crate) const TESTS: &[Test] = &[
    ("every_crash_is_one_sentence", every_crash_is_one_sentence),
    ("every_hang_ends_in_time", every_hang_ends_in_time),
    ("every_flood_is_stopped", every_flood_is_stopped),
    ("every_lie_is_seen", every_lie_is_seen),
    (
        "what_is_not_allowed_does_not_happen",
        what_is_not_allowed_does_not_happen,
    ),
    ("prints_go_to_the_log", prints_go_to_the_log),
    ("words_of_the_importer_arrive", words_of_the_importer_arrive),
    ("a_probe_can_not_hurt_either", a_probe_can_not_hurt_either),
    ("memory_stays_flat", memory_stays_flat),
];

/// A folder, the hostile importer, and a worker with short limits.
pub(crate) struct Bench {
    pub(crate) folder: tempfile::TempDir,
    pub(crate) library: PathBuf,
    pub(crate) worker: Worker,
    pub(crate) cancel: AtomicBool,
    /// What the last good reading gave.
    pub(crate) rows: RefCell<Vec<ImportedRow>>,
}

impl Bench {
    pub(crate) fn new() -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
            library: built(),
            worker: Worker {
                program: std::env::current_exe().unwrap(),
                limits: Limits {
                    timeout: Duration::from_secs(5),
                    memory_bytes: 256 << 20,
                    output_bytes: 8 << 20,
                },
                sandbox: SandboxPolicy::Best,
            },
            cancel: AtomicBool::new(false),
            rows: RefCell::default(),
        }
    }

    pub(crate) fn file(&self, content: &str) -> File {
        let path = self.folder.path().join("file.txt");
        std::fs::write(&path, content).unwrap();
        File::open(path).unwrap()
    }

    pub(crate) fn read_file(&self, file: &File, sink: &mut Sink) -> Result<ImportReport, ImportFailure> {
        self.worker.read(
            &self.library,
            Source {
                file,
                name: "file.txt",
            },
            &[],
            &self.cancel,
            sink,
        )
    }

    pub(crate) fn read_with(
        &self,
        content: &str,
        mut sink: impl FnMut(&[ImportedRow]) -> Result<(), SinkError>,
    ) -> Result<ImportReport, ImportFailure> {
        self.read_file(&self.file(content), &mut sink)
    }

    pub(crate) fn read(&self, content: &str) -> Result<ImportReport, ImportFailure> {
        let mut all = Vec::new();
        let report = self.read_with(content, |rows| {
            all.extend_from_slice(rows);
            Ok(())
        });
        self.rows.replace(all);
        report
    }

    pub(crate) fn probe(&self, content: &str) -> Result<u8, ImportFailure> {
        let file = self.file(content);
        self.worker.probe(
            &self.library,
            Source {
                file: &file,
                name: "file.txt",
            },
            &self.cancel,
        )
    }

    pub(crate) fn probe_and_read(&self, content: &str) -> Result<Option<ImportReport>, ImportFailure> {
        let file = self.file(content);
        let source = Source {
            file: &file,
            name: "file.txt",
        };
        self.worker
            .probe_and_read(&self.library, source, &[], &self.cancel, &mut |_| Ok(()))
    }

    /// The sentence about a misdeed; afterwards a good file is read as ever.
    fn complaint(&self, misdeed: &str) -> String {
        let failure = self.read(&format!("hostile: {misdeed}\n1\n")).unwrap_err();
        assert_eq!(
            self.read("hostile: behave\n7\n").unwrap().rows,
            1,
            "after {misdeed}"
        );
        failure.to_string()
    }

    fn expect_each(&self, expected: &[(&str, &str)]) {
        for (misdeed, sentence) in expected {
            assert_eq!(self.complaint(misdeed), *sentence, "{misdeed}");
        }
    }
}

/// The library of the hostile importer, built once and found by what cargo says, never by composing a path.
fn built() -> PathBuf {
    static LIBRARY: OnceLock<PathBuf> = OnceLock::new();
    let build = || {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let arguments = [
            "build",
            "--quiet",
            "--message-format=json",
            "--package",
            "undim-importer-hostile",
        ];
        let output = Command::new(cargo)
            .args(arguments)
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .output()
            .unwrap();
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        let messages = String::from_utf8(output.stdout).unwrap();
        // Every file name is a JSON string of its own; paths with quotes or backslashes are not built in.
        let names = messages
            .split('"')
            .filter(|text| Path::new(text).extension().is_some_and(|end| end == "so"));
        PathBuf::from(
            names
                .into_iter()
                .find(|name| name.contains("undim_importer_hostile"))
                .unwrap(),
        )
    };
    LIBRARY.get_or_init(build).clone()
}

fn every_crash_is_one_sentence() {
    let crash = "it touched memory that is not its own)";
    let abort = "the importer crashed on this file (SIGABRT: it gave up; its error output may tell why)";
    Bench::new().expect_each(&[
        ("panic", abort),
        ("abort", abort),
        ("stack-overflow", abort),
        (
            "null-write",
            &format!("the importer crashed on this file (SIGSEGV: {crash}"),
        ),
        (
            "exit-0",
            "the importer ended by itself with status 0 before the file was read",
        ),
        (
            "exit-7",
            "the importer ended by itself with status 7 before the file was read",
        ),
        (
            "allocate",
            "the importer needs more memory than it may take (importers.memory sets how much)",
        ),
    ]);
}

fn every_hang_ends_in_time() {
    let mut bench = Bench::new();
    bench.worker.limits.timeout = Duration::from_millis(500);
    for misdeed in ["loop", "sleep"] {
        let start = Instant::now();
        let failure = bench.read(&format!("hostile: {misdeed}\n")).unwrap_err();
        assert!(matches!(failure, ImportFailure::TimedOut), "{misdeed}: {failure}");
        assert!(
            start.elapsed() < Duration::from_millis(1500),
            "{misdeed}: {:?}",
            start.elapsed()
        );
    }
    assert_eq!(bench.read("hostile: behave\n7\n").unwrap().rows, 1);
}

fn every_flood_is_stopped() {
    let bench = Bench::new();
    let before = Instant::now();
    bench.expect_each(&[
        (
            "endless-rows",
            "the importer was stopped because it sent more than 8388608 bytes of rows; split the file",
        ),
        (
            "endless-facts",
            "the importer broke its contract: it told more than 256 facts about one file",
        ),
    ]);
    assert!(
        before.elapsed() < Duration::from_secs(3),
        "{:?}",
        before.elapsed()
    );
    // Nothing of a flood of problems is kept beyond the limit, so only the deadline ends it.
    let mut bench = bench;
    bench.worker.limits.timeout = Duration::from_millis(300);
    let failure = bench.read("hostile: endless-problems\n").unwrap_err();
    assert!(matches!(failure, ImportFailure::TimedOut), "{failure}");
}

fn every_lie_is_seen() {
    let broke = |what: &str| format!("the importer broke its contract: {what}");
    let bench = Bench::new();
    for (misdeed, what) in [
        ("too-many-rows", "push was given more rows than fit into memory"),
        (
            "small-stride",
            "push was given a stride of 8 bytes; a row takes 144",
        ),
        (
            "odd-stride",
            "push was given a stride of 145 bytes; a row takes 144",
        ),
        ("null-rows", "push was given rows that lie where no rows can"),
        ("row-zero", "a row has the number 0; rows count from 1"),
        ("small-row", "a row says that it has 8 bytes"),
        ("unknown-bits", "a row has bits set that have no meaning yet"),
        ("unknown-time", "a row has a time of an unknown kind"),
        ("not-utf8", "row 2: its station is not UTF-8 text"),
        ("long-station", "row 2: its station is longer than 256 bytes"),
        ("null-text", "row 2: its unit is not UTF-8 text"),
        ("null-message", "say was given no message"),
        ("small-message", "a message says that it has 4 bytes"),
        ("unknown-message", "it sent a message of an unknown kind"),
        ("lone-choice", "it offered a choice without a question"),
        ("fails-in-silence", "read returned 1 without saying why"),
        ("goes-on-after-stop", "a row has the number 0; rows count from 1"),
        ("garbage-in-the-pipe", "a frame is longer than agreed"),
        ("forged-frames", "a frame stands where it must not"),
    ] {
        assert_eq!(bench.complaint(misdeed), broke(what), "{misdeed}");
    }
    assert_eq!(
        bench.complaint("closes-everything"),
        "the importer ended by itself with status 1 before the file was read"
    );
}

fn what_is_not_allowed_does_not_happen() {
    let bench = Bench::new();
    let killed = "the importer crashed on this file (SIGSYS: it asked the system for something that importers may not do)";
    bench.expect_each(&[("udp", killed), ("tcp", killed), ("chdir", killed)]);

    let outcome = |misdeed: &str, rest: &str| match bench.read(&format!("hostile: {misdeed}\n{rest}\n")) {
        Ok(report) => report.facts[0].value.clone(),
        Err(failure) => failure.to_string(),
    };
    assert_eq!(outcome("environment", "1"), "0 variables");
    for misdeed in ["thread", "fork"] {
        assert_eq!(outcome(misdeed, "1"), "refused: permission denied", "{misdeed}");
        assert_eq!(bench.rows.take().len(), 1, "{misdeed}: the importer goes on");
    }
    let secret = bench.folder.path().join("undim.toml");
    std::fs::write(&secret, "[site]").unwrap();
    let secret = secret.to_str().unwrap();
    assert_eq!(outcome("open-file", secret), "refused: permission denied");
    assert_eq!(outcome("open-file", "/etc/passwd"), "refused: permission denied");
    assert_eq!(
        outcome("open-file", "/proc/self/environ"),
        "refused: permission denied"
    );
    assert_eq!(outcome("list-folder", "/"), "refused: permission denied");
    assert_eq!(outcome("write-file", secret), "refused: permission denied");
    assert_eq!(outcome("remove-file", secret), killed);
    assert_eq!(std::fs::read_to_string(secret).unwrap(), "[site]");
}

fn prints_go_to_the_log() {
    let bench = Bench::new();
    let report = bench.read("hostile: prints\n1\n").unwrap();
    assert_eq!((report.rows, report.stderr.as_str()), (1, "\\u{1b}[31mhello"));
    let report = bench.read("hostile: prints-much\n1\n").unwrap();
    assert_eq!((report.rows, report.stderr.len()), (1, 64 << 10));
}

fn words_of_the_importer_arrive() {
    let bench = Bench::new();
    let report = bench.read("hostile: messages-with-nul\n1\n").unwrap();
    assert_eq!(
        (report.problems[0].line, report.problems[0].text.as_str()),
        (2, "a\\u{0}b\\u{1b}[31mc\u{fffd}d")
    );

    let report = bench.read("hostile: not-a-number\n1\n").unwrap();
    let row = &bench.rows.take()[0];
    assert_eq!((row.value, row.x, row.tilt_deg), (None, None, None));
    let texts: Vec<_> = report
        .problems
        .iter()
        .map(|problem| problem.text.as_str())
        .collect();
    assert_eq!(
        texts,
        [
            "x is inf, which no device reads; it counts as missing",
            "tilt is -inf, which no device reads; it counts as missing"
        ]
    );

    let failure = bench.read("hostile: fails\n").unwrap_err();
    assert_eq!(failure.to_string(), "line 2: on\\nrequest");
    let Err(ImportFailure::Question { text, choices, .. }) = bench.read("hostile: asks\n") else {
        panic!("it asks")
    };
    assert_eq!(
        (text.as_str(), choices),
        ("which?", vec!["this".to_owned(), "that".to_owned()])
    );
}

fn a_probe_can_not_hurt_either() {
    let mut bench = Bench::new();
    bench.worker.limits.timeout = Duration::from_millis(500);
    assert_eq!(
        bench.probe("hostile: probe-150\n").unwrap_err().to_string(),
        "the importer broke its contract: probe answered 150; it should be 0 to 100"
    );
    assert!(matches!(
        bench.probe("hostile: probe-crash\n"),
        Err(ImportFailure::Crashed { .. })
    ));
    assert!(matches!(
        bench.probe("hostile: probe-loop\n"),
        Err(ImportFailure::TimedOut)
    ));
    assert_eq!(bench.probe_and_read("some file\n").unwrap(), None);
}

fn memory_stays_flat() {
    let bench = Bench::new();
    let floods = || {
        for misdeed in [
            "endless-rows",
            "allocate",
            "prints-much",
            "garbage-in-the-pipe",
            "null-write",
        ] {
            _ = bench.read_with(&format!("hostile: {misdeed}\n"), |_| Ok(()));
        }
    };
    floods();
    let before = memory_bytes();
    for _ in 0..5 {
        floods();
    }
    let grown = memory_bytes().saturating_sub(before);
    assert!(grown < 5 << 20, "{grown} bytes more after 25 misdeeds");
}

/// Resident memory of this process.
pub(crate) fn memory_bytes() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() << 10
}
