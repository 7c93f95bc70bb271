//! Texts that people will read.

use std::fmt::Write as _;

/// The text with everything escaped that a terminal, a log or a page would not show as it stands: control
/// characters, and marks that turn the direction of writing (Unicode Technical Report 36, bidirectional text
/// spoofing). What is escaped once stays as it is.
pub fn printable(text: &str) -> String {
    if !text.chars().any(is_hidden) {
        return text.to_owned();
    }
    text.chars()
        .fold(String::with_capacity(text.len()), |mut shown, letter| {
            if is_hidden(letter) {
                // Writing to a string can't fail.
                let _ = write!(shown, "{}", letter.escape_default());
            } else {
                shown.push(letter);
            }
            shown
        })
}

fn is_hidden(letter: char) -> bool {
    letter.is_control()
        || matches!(letter, '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

/// The text, or as much of it as fits with an ellipsis into `limit` bytes.
pub(super) fn cut(text: &str, limit: usize) -> (&str, &'static str) {
    const ELLIPSIS: &str = "…";
    if text.len() <= limit {
        return (text, "");
    }
    (
        text.get(..text.floor_char_boundary(limit - ELLIPSIS.len()))
            .unwrap_or_default(),
        ELLIPSIS,
    )
}
