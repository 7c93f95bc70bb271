//! How surely a file is delimited text.

use crate::unpacked::{GZIP, start_of};
use undim_tabular::encoding::{self, Decoder};
use undim_tabular::{Layout, line_length, try_plan};

/// So much of a file is looked at, bytes.
const SHOWN: u64 = 64 << 10;

/// Answers 0 to 100 from a file's first bytes.
pub(crate) fn probe(start: &[u8], file_name: &str) -> u8 {
    let name = file_name.to_ascii_lowercase();
    if start.starts_with(GZIP) {
        let unpacked = start_of(start, SHOWN);
        // One step only: what is packed twice is told, not unpacked.
        return if unpacked.starts_with(GZIP) {
            2
        } else {
            probe(&unpacked, name.trim_end_matches(".gz"))
        };
    }
    let by_name = [".csv", ".tsv", ".tab", ".txt", ".dat", ".asc", ".log", ".prn"]
        .iter()
        .any(|end| name.ends_with(end));
    let bonus = if by_name { 5 } else { 0 };
    let Ok(found) = encoding::find(start, false) else {
        return 0;
    };
    let mut text = String::new();
    Decoder::new(&found).decode(start.get(found.mark..).unwrap_or_default(), false, &mut text);
    let control = text
        .chars()
        .take(4096)
        .filter(|c| c.is_control() && !matches!(c, '\t' | '\n' | '\r' | '\u{c}' | '\u{1a}'))
        .count();
    if control > 0 {
        return 0;
    }
    let head = text.trim_start();
    let other_format = head.starts_with(['{', '<'])
        || head.strip_prefix('[').is_some_and(|rest| {
            rest.trim_start().starts_with(['{', '[', '"', ']', '-'])
                || rest.trim_start().starts_with(|c: char| c.is_ascii_digit())
        });
    if other_format {
        return 3;
    }
    if head.starts_with("/begin_header") {
        return 30;
    }
    // What `start` cuts off is not looked at: only the host knows whether it is the whole file.
    let whole = (start.len() as u64) < SHOWN;
    let end = if whole { text.len() } else { last_line_end(&text) };
    match try_plan(text.get(..end).unwrap_or(""), whole, &Layout::default()) {
        Ok(()) => 85 + bonus,
        Err(failure) if !failure.choices().is_empty() => 65 + bonus,
        Err(_) if by_name => 25,
        Err(_) => 5,
    }
}

fn last_line_end(text: &str) -> usize {
    let (mut at, mut last) = (0, 0);
    while let Some(length) = text
        .get(at..)
        .filter(|rest| !rest.is_empty())
        .and_then(|rest| line_length(rest, false))
    {
        at += length;
        last = at;
    }
    last
}
