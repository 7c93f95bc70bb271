//! Keeps watch over the light in a coral tank.
//!
//! This file only sets up: what runs where is told in `DEVELOPERS.md`.

mod cli;
mod command;
mod daemon;
mod engine;
mod exit;
mod light;
mod logging;
mod look;
mod new;
mod side_by_side;

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    // An importer's worker starts before anything else exists: its sandbox binds the calling thread only.
    let mut arguments = std::env::args_os().skip(1);
    if arguments
        .next()
        .is_some_and(|first| first == undim_import::wire::ARGUMENT)
    {
        return undim_worker::main(arguments);
    }
    command::run(&cli::Cli::parse()).into()
}
