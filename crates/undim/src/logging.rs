//! Log lines: for people on a terminal, or one JSON object a line.

use crate::cli::{Color, Common, LogFormat};
use std::io::IsTerminal;
use tracing::Level;

/// Sets up the log of the whole program, on standard error.
pub(crate) fn set_up(common: &Common, quiet: Level) {
    let level = match common.verbose {
        0 => quiet,
        1 => quiet.max(Level::DEBUG),
        _ => Level::TRACE,
    };
    let builder = tracing_subscriber::fmt()
        .with_max_level(level)
        .with_writer(std::io::stderr)
        .with_target(false)
        .with_ansi(colored(common.color, std::io::stderr().is_terminal()));
    // `--json` asks for facts as JSON, and a daemon's facts are its log.
    let format = if common.json && quiet == Level::INFO {
        LogFormat::Json
    } else {
        common.log
    };
    match format {
        LogFormat::Text => builder.compact().init(),
        LogFormat::Json => builder
            .json()
            .flatten_event(true)
            .with_current_span(false)
            .with_span_list(false)
            .init(),
    }
}

/// Whether to colour what goes to a stream.
pub(crate) fn colored(color: Color, is_terminal: bool) -> bool {
    match color {
        Color::Always => true,
        Color::Never => false,
        Color::Auto => is_terminal && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty()),
    }
}
