//! The only place that prints.

use std::io::{IsTerminal, Write};

/// One or more lines on standard output. A reader that went away is no fault.
pub(super) fn line(text: &str) {
    let _ = writeln!(std::io::stdout().lock(), "{text}");
}

/// A value as JSON on standard output.
pub(super) fn json(value: &impl serde::Serialize) {
    match serde_json::to_string_pretty(value) {
        Ok(text) => line(&text),
        Err(why) => error(&format!("undim: {why}")),
    }
}

/// One or more lines on standard error.
pub(super) fn error(text: &str) {
    let _ = writeln!(std::io::stderr().lock(), "{text}");
}

/// Columns of the terminal.
pub(super) fn width() -> usize {
    let columns = rustix::termios::tcgetwinsize(std::io::stdout()).map_or(0, |size| usize::from(size.ws_col));
    if columns >= 40 { columns.min(120) } else { 100 }
}

/// True where the terminal can show more than ASCII.
pub(super) fn is_unicode() -> bool {
    let language = ["LC_ALL", "LC_CTYPE", "LANG"]
        .iter()
        .filter_map(std::env::var_os)
        .find(|value| !value.is_empty());
    language.is_none_or(|value| {
        let value = value.to_string_lossy().to_ascii_lowercase();
        value.contains("utf-8") || value.contains("utf8") || !std::io::stdout().is_terminal()
    })
}
