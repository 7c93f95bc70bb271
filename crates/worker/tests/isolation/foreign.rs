//! Libraries that are wrong before a word can be said, and a right one: written in C against the header.

use crate::{Test, hostile::Bench};
use std::{
    path::{Path, PathBuf},
    process::Command,
    time::Duration,
};
use undim_import::run::{ImportFailure, ImportOption, OptionKind, SandboxPolicy, Source};

pub(crate) const TESTS: &[Test] = &[
    ("an_importer_in_c_reads", an_importer_in_c_reads),
    ("wrong_descriptors_are_refused", wrong_descriptors_are_refused),
    ("what_is_no_importer_is_refused", what_is_no_importer_is_refused),
    (
        "a_library_can_not_hurt_while_it_loads",
        a_library_can_not_hurt_while_it_loads,
    ),
    ("a_whole_sandbox_can_be_demanded", a_whole_sandbox_can_be_demanded),
];

const DESCRIPTOR: &str = "UNDIM_MAGIC, UNDIM_ABI_MAJOR, UNDIM_ABI_MINOR, sizeof(UndimImporter), 0";

/// An importer that does nothing but exist.
pub(crate) fn importer(name: &str, probe: &str) -> String {
    descriptor(
        DESCRIPTOR,
        &format!("UNDIM_TEXT(\"{name}\"), UNDIM_TEXT(\"1\"), UNDIM_TEXT(\"\")"),
        "probe, read_file",
        probe,
    )
}

fn descriptor(numbers: &str, texts: &str, calls: &str, probe: &str) -> String {
    format!(
        "#include <undim_importer.h>
         static int32_t probe(const uint8_t *s, size_t n, const char *f, size_t m) {{
             (void)s; (void)n; (void)f; (void)m; {probe}
         }}
         __attribute__((unused)) static int32_t read_file(const UndimHost *host) {{ (void)host; return UNDIM_DONE; }}
         const UndimImporter undim_importer_v1 = {{ {numbers}, {texts}, {calls} }};"
    )
}

/// Compiles a library against the header.
pub(crate) fn compile(folder: &Path, name: &str, program: &str) -> PathBuf {
    let (source, library) = (folder.join("source.c"), folder.join(name));
    std::fs::write(&source, program).unwrap();
    let header = Path::new(env!("CARGO_MANIFEST_DIR")).join("../abi/include");
    let mut compiler = Command::new("cc");
    compiler.args([
        "-std=c99", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", "-I",
    ]);
    let output = compiler
        .arg(header)
        .arg("-o")
        .args([&library, &source])
        .output()
        .expect("a C compiler named cc");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    library
}

fn an_importer_in_c_reads() {
    let example = include_str!("../../../../plugins/examples/c/pairs.c");
    let mut bench = Bench::new();
    bench.library = compile(bench.folder.path(), "example.so", example);
    let report = bench.read("#pairs\nreef-top 212.5\nsand -\n").unwrap();
    assert_eq!((report.importer.name.as_str(), report.rows), ("pairs-c", 2));
    let rows = bench.rows.take();
    assert_eq!(
        (rows[0].row, rows[0].station.as_deref(), rows[0].value),
        (2, Some("reef-top"), Some(212.5))
    );
    assert_eq!(
        (rows[1].row, rows[1].station.as_deref(), rows[1].value),
        (3, Some("sand"), None)
    );
    assert_eq!(report.problems.len(), 1);
    assert_eq!(bench.probe("#pairs\n").unwrap(), 100);
    assert_eq!(
        bench.read("#pairs\nnothing\n").unwrap_err().to_string(),
        "line 2: here a station and a value should stand"
    );

    // An option that it doesn't know is the layout's mistake.
    let file = bench.file("#pairs\n");
    let option = ImportOption {
        path: "colour".into(),
        kind: OptionKind::Text,
        text: "red".into(),
    };
    let source = Source {
        file: &file,
        name: "file.txt",
    };
    let failure = bench
        .worker
        .read(&bench.library, source, &[option], &bench.cancel, &mut |_| Ok(()));
    let Err(ImportFailure::Unusable {
        option: Some(0),
        text,
        ..
    }) = failure
    else {
        panic!("{failure:?}")
    };
    assert_eq!(text, "this importer has no options");
}

fn wrong_descriptors_are_refused() {
    let texts = "UNDIM_TEXT(\"name\"), UNDIM_TEXT(\"1\"), UNDIM_TEXT(\"reads\")";
    let mut bench = Bench::new();
    for (numbers, texts, calls, sentence) in [
        (
            "42, 1, 0, sizeof(UndimImporter), 0",
            texts,
            "probe, read_file",
            "the importer broke its contract: undim_importer_v1 does not begin with the agreed mark",
        ),
        (
            "UNDIM_MAGIC, 2, 7, sizeof(UndimImporter), 0",
            texts,
            "probe, read_file",
            "the importer was built for version 2.7 of the importer contract, this program has version 1.0; get one that fits",
        ),
        (
            "UNDIM_MAGIC, 1, 0, 40, 0",
            texts,
            "probe, read_file",
            "the importer broke its contract: undim_importer_v1 says that it has 40 bytes; it needs 88",
        ),
        (
            DESCRIPTOR,
            texts,
            "probe, 0",
            "the importer broke its contract: undim_importer_v1 has no probe or no read",
        ),
        (
            DESCRIPTOR,
            "UNDIM_TEXT(\"No Name\"), UNDIM_TEXT(\"1\"), UNDIM_TEXT(\"\")",
            "probe, read_file",
            "the importer broke its contract: its name, version or description is not as agreed",
        ),
        (
            DESCRIPTOR,
            "{ 0, 9 }, UNDIM_TEXT(\"1\"), UNDIM_TEXT(\"\")",
            "probe, read_file",
            "the importer broke its contract: its name, version or description is no text",
        ),
    ] {
        let program = descriptor(numbers, texts, calls, "return 0;");
        bench.library = compile(bench.folder.path(), "wrong.so", &program);
        let failure = bench.worker.describe(&bench.library, &bench.cancel).unwrap_err();
        assert_eq!(failure.to_string(), sentence);
    }
    // A later minor version of the same contract is welcome, and so is a longer descriptor.
    let program = descriptor(
        "UNDIM_MAGIC, 1, 9, sizeof(UndimImporter), 0",
        texts,
        "probe, read_file",
        "return 0;",
    );
    let library = compile(bench.folder.path(), "later.so", &program);
    assert_eq!(
        bench.worker.describe(&library, &bench.cancel).unwrap().name,
        "name"
    );
}

fn what_is_no_importer_is_refused() {
    let bench = Bench::new();
    let folder = bench.folder.path();
    let sentence = |library: &Path| {
        bench
            .worker
            .describe(library, &bench.cancel)
            .unwrap_err()
            .to_string()
    };
    let plain = compile(
        folder,
        "plain.so",
        "int undim(void); int undim(void) { return 1; }",
    );
    assert_eq!(
        sentence(&plain),
        "the importer could not be loaded: it is a library, but no importer: it exports no undim_importer_v1"
    );
    let text = folder.join("text.so");
    std::fs::write(&text, "not a library").unwrap();
    assert!(sentence(&text).contains("too short"), "{}", sentence(&text));
    let cut = folder.join("cut.so");
    let whole = std::fs::read(&plain).unwrap();
    std::fs::write(&cut, &whole[..whole.len() / 8]).unwrap();
    let why = bench.worker.describe(&cut, &bench.cancel);
    assert!(
        matches!(
            why,
            Err(ImportFailure::CannotLoad { .. } | ImportFailure::Crashed { .. })
        ),
        "{why:?}"
    );
    assert!(sentence(&folder.join("none.so")).starts_with("the importer could not be loaded: "));
}

fn a_library_can_not_hurt_while_it_loads() {
    let mut bench = Bench::new();
    bench.worker.limits.timeout = Duration::from_millis(300);
    let secret = bench.folder.path().join("undim.toml");
    std::fs::write(&secret, "[site]").unwrap();
    let with_start = |start: &str| {
        let start = start.replace("SECRET", &format!("\"{}\"", secret.display()));
        format!(
            "#define _POSIX_C_SOURCE 200809L
             #include <fcntl.h>
             #include <sys/socket.h>
             #include <unistd.h>
             {}
             __attribute__((constructor)) static void start(void) {{ {start} }}",
            importer("early", "return 0;")
        )
    };
    let describe = |start: &str| {
        let library = compile(bench.folder.path(), "early.so", &with_start(start));
        bench.worker.describe(&library, &bench.cancel)
    };
    assert!(describe("").is_ok());
    assert!(matches!(describe("for (;;) {}"), Err(ImportFailure::TimedOut)));
    assert!(matches!(
        describe("_exit(3);"),
        Err(ImportFailure::Exited { code: 3 })
    ));
    assert!(matches!(
        describe("*(volatile int *)0 = 1;"),
        Err(ImportFailure::Crashed { .. })
    ));
    assert!(matches!(
        describe("socket(AF_INET, SOCK_DGRAM, 0);"),
        Err(ImportFailure::Crashed { .. })
    ));
    // Paths are Landlock's; a kernel without it can't refuse them to a library that loads.
    if bench.read("hostile: behave\n").unwrap().sandbox.landlock > 0 {
        let opened = "if (open(SECRET, O_RDONLY) >= 0) _exit(9); if (open(SECRET, O_WRONLY) >= 0) _exit(9);";
        assert!(describe(opened).is_ok());
        assert!(describe("if (open(\"/etc/passwd\", O_RDONLY) >= 0) _exit(9);").is_ok());
        assert!(describe("if (open(\"/tmp\", O_RDONLY | O_DIRECTORY) >= 0) _exit(9);").is_ok());
    }
}

fn a_whole_sandbox_can_be_demanded() {
    let mut bench = Bench::new();
    let here = bench.read("hostile: behave\n").unwrap().sandbox;
    bench.worker.sandbox = SandboxPolicy::Required;
    match bench.read("hostile: behave\n7\n") {
        Ok(report) => assert!(here.is_full() && report.rows == 1),
        Err(failure) => {
            assert!(!here.is_full());
            assert!(failure.to_string().contains(here.lacks().unwrap()), "{failure}");
        }
    }
}
