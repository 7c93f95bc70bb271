//! `undim completions SHELL`: from the same definitions as the help.

use crate::cli::{Cli, Completions};
use crate::exit::Exit;
use clap::CommandFactory;
use std::io::Write;

pub(super) fn run(flags: &Completions) -> Exit {
    let mut script = Vec::new();
    clap_complete::generate(flags.shell, &mut Cli::command(), "undim", &mut script);
    // A reader that went away has what it wanted.
    let _ = std::io::stdout().lock().write_all(&script);
    Exit::Done
}
