//! Text in a CSV cell, and text shown to people: written so that neither a spreadsheet nor a terminal
//! can take it for a command.
//!
//! A cell that begins with `= + - @`, tab or CR gets a leading `'` (formats, section 10); so do the
//! full-width twins and LF, which some spreadsheets read alike (OWASP, *CSV injection*; CWE-1236).
//! Control characters and marks that turn the direction of writing are spelled out as `\u{…}`.

use std::borrow::Cow;

/// True for characters that change how the rest is shown instead of showing themselves.
pub(crate) fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
            | '\u{2028}' | '\u{2029}' | '\u{feff}')
}

fn spelled_out(text: &str, keep: &[char]) -> Option<String> {
    let odd = |c: char| is_hidden(c) && !keep.contains(&c);
    text.contains(odd).then(|| {
        let mut out = String::with_capacity(text.len() + 8);
        for c in text.chars() {
            if odd(c) {
                out.extend(c.escape_unicode());
            } else {
                out.push(c);
            }
        }
        out
    })
}

/// The text as one line for people: nothing in it can move a cursor or turn the writing.
pub fn shown(text: &str) -> Cow<'_, str> {
    spelled_out(text, &[]).map_or(Cow::Borrowed(text), Cow::Owned)
}

/// The text as the content of a CSV cell, before RFC 4180 quoting. Tab, CR and LF stay.
pub fn guarded(text: &str) -> Cow<'_, str> {
    let plain = |byte: &u8| matches!(byte, b' '..=b'~');
    if text
        .bytes()
        .next()
        .is_none_or(|first| first.is_ascii_alphanumeric())
        && text.as_bytes().iter().all(plain)
    {
        return Cow::Borrowed(text);
    }
    let text = spelled_out(text, &['\t', '\r', '\n']).map_or(Cow::Borrowed(text), Cow::Owned);
    if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠']) {
        Cow::Owned(format!("'{text}"))
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_a_spreadsheet_could_run_gets_a_quote_mark() {
        for (text, cell) in [
            ("=1+1", "'=1+1"),
            ("+a", "'+a"),
            ("-a", "'-a"),
            ("@a", "'@a"),
            ("\ta", "'\ta"),
            ("\ra", "'\ra"),
            ("\na", "'\na"),
            ("＝1", "'＝1"),
            ("a=1", "a=1"),
            ("'=1", "'=1"),
            ("", ""),
            ("a\u{1b}[31m", "a\\u{1b}[31m"),
            ("a\u{202e}b", "a\\u{202e}b"),
            ("\0=1", "\\u{0}=1"),
        ] {
            assert_eq!(guarded(text), cell, "{text:?}");
        }
        assert_eq!(shown("a\tb\nc"), "a\\u{9}b\\u{a}c");
    }

    #[test]
    fn quotes_as_rfc_4180_section_2_has_them() {
        // RFC 4180, section 2, rules 5 to 7: quotes around breaks, quotes and commas; a quote is doubled.
        let mut writer = crate::CsvStyle::Standard.writer(Vec::new());
        writer
            .write_record(["aaa", "b\nbb", "c\"c", "d,d", ""])
            .expect("written");
        let bytes = writer.into_inner().expect("flushed");
        assert_eq!(
            String::from_utf8(bytes).expect("UTF-8"),
            "aaa,\"b\nbb\",\"c\"\"c\",\"d,d\",\n"
        );
    }

    proptest! {
        #[test]
        fn no_cell_begins_with_a_trigger(text in any::<String>()) {
            let cell = guarded(&text);
            prop_assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0']));
            prop_assert!(cell.chars().all(|c| !is_hidden(c) || matches!(c, '\t' | '\r' | '\n')));
        }
    }
}
