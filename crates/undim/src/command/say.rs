//! The only place that prints.

use std::io::{IsTerminal, Write};
use undim_emit::terminal::{Glyphs, Screen};

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

/// Columns to write in: the terminal's, but no line too long to read; 80 where there is no terminal.
pub(super) fn width() -> usize {
    let columns = rustix::termios::tcgetwinsize(std::io::stdout()).map_or(0, |size| usize::from(size.ws_col));
    if columns >= 40 { columns.min(100) } else { 80 }
}

/// The terminal, as answers are laid out for it.
pub(super) fn screen() -> Screen {
    Screen {
        glyphs: if is_unicode() {
            Glyphs::Unicode
        } else {
            Glyphs::Ascii
        },
        width: width(),
    }
}

/// True where more than ASCII can be shown: files and pipes take UTF-8, a terminal what its locale says.
fn is_unicode() -> bool {
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"]
        .iter()
        .filter_map(std::env::var_os)
        .find(|value| !value.is_empty())
        .map(|value| value.to_string_lossy().to_ascii_lowercase());
    !std::io::stdout().is_terminal()
        || locale.is_some_and(|locale| locale.contains("utf-8") || locale.contains("utf8"))
}
