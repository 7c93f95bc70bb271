//! What a worker is and costs, with files that nothing is wrong with. `hostile: behave` reads a number from each line.

use crate::{
    Test,
    hostile::{Bench, memory_bytes},
};
use std::{
    sync::atomic::{AtomicBool, Ordering},
    thread,
    time::{Duration, Instant},
};
use undim_import::{
    find::{Finder, read_with_surest},
    run::ImportFailure,
};

pub(crate) const TESTS: &[Test] = &[
    ("a_good_file_is_read", a_good_file_is_read),
    ("the_sandbox_is_told", the_sandbox_is_told),
    ("a_small_file_takes_milliseconds", a_small_file_takes_milliseconds),
    ("a_long_file_streams", a_long_file_streams),
    ("cancelling_is_seen_at_once", cancelling_is_seen_at_once),
    (
        "a_taker_that_fails_ends_the_worker",
        a_taker_that_fails_ends_the_worker,
    ),
    (
        "a_slow_taker_is_no_slow_importer",
        a_slow_taker_is_no_slow_importer,
    ),
    (
        "a_file_that_could_be_written_is_not_handed_over",
        a_file_that_could_be_written_is_not_handed_over,
    ),
    (
        "the_surest_importer_is_found_and_reads",
        the_surest_importer_is_found_and_reads,
    ),
];

fn a_good_file_is_read() {
    let bench = Bench::new();
    let report = bench.read("hostile: behave\n1.5\n\n-2e3\n").unwrap();
    assert_eq!((report.importer.name.as_str(), report.rows), ("hostile", 3));
    let rows = bench.rows.take();
    assert_eq!(
        rows.iter().map(|row| (row.row, row.value)).collect::<Vec<_>>(),
        [(2, Some(1.5)), (3, None), (4, Some(-2e3)),]
    );
    assert_eq!(
        bench.worker.describe(&bench.library, &bench.cancel).unwrap(),
        report.importer
    );
    assert_eq!(bench.probe("hostile: behave\n").unwrap(), 100);
    assert_eq!(bench.probe("something else").unwrap(), 0);
    assert_eq!(bench.probe("").unwrap(), 0);
}

fn the_sandbox_is_told() {
    let report = Bench::new().read("hostile: behave\n").unwrap();
    println!(
        "sandbox here: {:?}, lacks {:?}",
        report.sandbox,
        report.sandbox.lacks()
    );
    // Every Linux since 3.5 can filter system calls; Landlock is what may be missing.
    assert!(report.sandbox.seccomp);
    assert_eq!(report.sandbox.lacks().is_none(), report.sandbox.is_full());
}

fn a_small_file_takes_milliseconds() {
    let bench = Bench::new();
    let file = format!("hostile: behave\n{}", "212.5\n".repeat(60));
    let mut times: Vec<Duration> = (0..21)
        .map(|_| {
            let start = Instant::now();
            bench.probe_and_read(&file).unwrap().unwrap();
            start.elapsed()
        })
        .collect();
    times.sort_unstable();
    println!(
        "probing and reading 60 rows: median {:?}, worst {:?}",
        times[10], times[20]
    );
    // Ten times what it takes on an idle machine.
    assert!(times[10] < Duration::from_millis(80), "{:?}", times[10]);
}

fn a_long_file_streams() {
    let bench = Bench::new();
    let file = format!("hostile: behave\n{}", "1\n".repeat(500_000));
    let before = memory_bytes();
    let report = bench.read_with(&file, |_| Ok(())).unwrap();
    let grown = memory_bytes().saturating_sub(before);
    assert_eq!(report.rows, 500_000);
    assert!(grown < 8 << 20, "{grown} bytes for rows that nobody kept");
}

fn cancelling_is_seen_at_once() {
    let bench = Bench::new();
    let cancel = &bench.cancel;
    let start = Instant::now();
    thread::scope(|scope| {
        scope.spawn(|| {
            thread::sleep(Duration::from_millis(150));
            cancel.store(true, Ordering::Relaxed);
        });
        assert!(matches!(
            bench.read("hostile: sleep\n"),
            Err(ImportFailure::Cancelled)
        ));
    });
    assert!(
        start.elapsed() < Duration::from_millis(800),
        "{:?}",
        start.elapsed()
    );
}

fn a_taker_that_fails_ends_the_worker() {
    let bench = Bench::new();
    let failure = bench
        .read_with("hostile: endless-rows\n", |_| Err("the store is full".into()))
        .unwrap_err();
    assert_eq!(failure.to_string(), "the store is full");
    assert!(failure.is_transient());
}

fn a_slow_taker_is_no_slow_importer() {
    let mut bench = Bench::new();
    bench.worker.limits.timeout = Duration::from_millis(400);
    let file = format!("hostile: behave\n{}", "1\n".repeat(9000));
    let report = bench.read_with(&file, |_| {
        thread::sleep(Duration::from_millis(300));
        Ok(())
    });
    assert_eq!(report.unwrap().rows, 9000);
}

fn a_file_that_could_be_written_is_not_handed_over() {
    let bench = Bench::new();
    let path = bench.folder.path().join("open-for-writing");
    std::fs::write(&path, "hostile: behave\n").unwrap();
    let file = std::fs::OpenOptions::new()
        .read(true)
        .write(true)
        .open(path)
        .unwrap();
    let failure = bench.read_file(&file, &mut |_| Ok(())).unwrap_err();
    assert!(failure.to_string().contains("for reading only"), "{failure}");
}

fn the_surest_importer_is_found_and_reads() {
    let bench = Bench::new();
    let plugins = bench.folder.path().join("plugins");
    std::fs::create_dir(&plugins).unwrap();
    for name in ["a.so", "b.so"] {
        std::fs::copy(&bench.library, plugins.join(name)).unwrap();
    }
    crate::foreign::compile(
        &plugins,
        "c.so",
        &crate::foreign::importer("modest", "return 40;"),
    );
    std::fs::write(plugins.join("d.so"), "no library").unwrap();
    std::fs::write(plugins.join("README.md"), "no importer").unwrap();
    let finder = Finder::new([plugins.clone(), plugins.join("none")], bench.folder.path());
    let cancel = AtomicBool::new(false);
    let findings = finder.find(&bench.worker, &cancel);
    let names: Vec<_> = findings
        .importers
        .iter()
        .map(|found| found.header.name.as_str())
        .collect();
    assert_eq!(names, ["hostile", "modest"]);
    let why: Vec<_> = findings
        .passed_over
        .iter()
        .map(|passed| passed.why.as_str())
        .collect();
    assert!(
        why[0].ends_with("a.so has the same name, hostile, and comes first"),
        "{why:?}"
    );
    assert!(
        why[1].starts_with("the importer could not be loaded: "),
        "{why:?}"
    );
    assert_eq!(findings.searched.len(), 4);

    // Known by now: asking again starts no worker.
    let start = Instant::now();
    assert_eq!(finder.find(&bench.worker, &cancel), findings);
    assert!(
        start.elapsed() < Duration::from_millis(5),
        "{:?}",
        start.elapsed()
    );

    let reader = |content: &str, importers| {
        let file = bench.file(content);
        let source = undim_import::run::Source {
            file: &file,
            name: "file.txt",
        };
        read_with_surest(&bench.worker, importers, source, &[], &cancel, &mut |_| Ok(()))
            .map(|report| report.importer.name)
    };
    assert_eq!(
        reader("hostile: behave\n", &findings.importers).unwrap(),
        "hostile"
    );
    assert_eq!(
        reader("hostile: probe-crash\n", &findings.importers).unwrap(),
        "modest"
    );
    assert_eq!(reader("anything", &findings.importers).unwrap(), "modest");
    let nobody = reader("anything", &findings.importers[..1]).unwrap_err();
    assert_eq!(
        nobody.to_string(),
        "no importer can read this file; asked were: hostile"
    );
    assert!(
        reader("anything", &[])
            .unwrap_err()
            .to_string()
            .contains("there are none")
    );

    // Anybody could put their code there.
    let mut rights = std::fs::metadata(&plugins).unwrap().permissions();
    std::os::unix::fs::PermissionsExt::set_mode(&mut rights, 0o777);
    std::fs::set_permissions(&plugins, rights).unwrap();
    let refused = finder.find(&bench.worker, &cancel);
    assert!(refused.importers.is_empty());
    assert!(
        refused.passed_over[0].why.contains("everybody can write"),
        "{refused:?}"
    );
}
