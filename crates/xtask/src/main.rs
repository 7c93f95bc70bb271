//! Chores: the demo and the distribution.
//!
//! `cargo demo` · `cargo xtask dist --prefix DIR`

mod build;
mod demo;
mod dist;

use std::path::PathBuf;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let outcome = match words.as_slice() {
        ["demo"] => demo::run(None),
        ["demo", folder] => demo::run(Some(PathBuf::from(folder))),
        ["dist", "--prefix", prefix] => dist::run(&PathBuf::from(prefix)),
        _ => Err("usage: cargo demo [FOLDER]  |  cargo xtask dist --prefix FOLDER".to_owned()),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(message) => {
            say_error(&message);
            ExitCode::FAILURE
        }
    }
}

/// The top folder of the repository.
fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../..")
}

#[expect(clippy::print_stderr, reason = "a chore talks to whoever runs it")]
fn say_error(message: &str) {
    eprintln!("{message}");
}

#[expect(clippy::print_stdout, reason = "a chore talks to whoever runs it")]
fn say(message: &str) {
    println!("{message}");
}
