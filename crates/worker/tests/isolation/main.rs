//! An importer can't hurt: whatever it does is one sentence about one file, and the next file is read.
//!
//! This program is the tests and the worker that they run, as undim itself is. It builds the importer that misbehaves on
//! request (and some small ones in C, for what goes wrong before a word can be said) and runs it file by file.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]
#![expect(clippy::print_stdout, reason = "a test program tells what it does")]

mod bench;
mod foreign;
mod hostile;

use std::{panic::catch_unwind, process::ExitCode, time::Instant};

/// A test's name and what it does.
type Test = (&'static str, fn());

fn main() -> ExitCode {
    let mut arguments = std::env::args_os().skip(1).peekable();
    if arguments
        .next_if(|first| first == undim_import::wire::ARGUMENT)
        .is_some()
    {
        return undim_worker::main(arguments);
    }
    let words: Vec<String> = arguments.filter_map(|word| word.into_string().ok()).collect();
    let wanted = |name: &str| {
        let mut filters = words.iter().filter(|word| !word.starts_with('-')).peekable();
        filters.peek().is_none() || filters.any(|filter| name.contains(filter.as_str()))
    };
    let tests = hostile::TESTS.iter().chain(foreign::TESTS).chain(bench::TESTS);
    let mut failed = Vec::new();
    for (name, test) in tests.filter(|(name, _)| wanted(name)) {
        if words.iter().any(|word| word == "--list") {
            println!("{name}: test");
            continue;
        }
        let start = Instant::now();
        let went = if catch_unwind(*test).is_ok() {
            "ok"
        } else {
            "FAILED"
        };
        println!("test {name} ... {went} ({} ms)", start.elapsed().as_millis());
        if went != "ok" {
            failed.push(name);
        }
    }
    if failed.is_empty() {
        return ExitCode::SUCCESS;
    }
    println!("failed: {failed:?}");
    ExitCode::FAILURE
}
