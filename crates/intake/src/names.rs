//! What the name of a file says, and how a name is shown to people.

use jiff::civil::Date;
use std::fmt::Write as _;

/// The folder of the inbox for files taken in.
pub const TAKEN: &str = "taken";
/// The folder of the inbox for files that can't be used.
pub const SET_ASIDE: &str = "set-aside";
/// What follows a file's whole name in the name of its note.
pub const NOTE_ENDING: &str = ".note.toml";
/// What follows a file's whole name in the name of the file that says why it was set aside.
pub const WHY_ENDING: &str = ".why.txt";
/// Bytes of the longest name that a file system takes (POSIX `NAME_MAX` on Linux).
pub const LONGEST_NAME: usize = 255;

/// Endings of files that somebody is still writing; compared without case.
pub const TEMPORARY_ENDINGS: [&str; 11] = [
    "~",
    ".tmp",
    ".part",
    ".partial",
    ".crdownload",
    ".download",
    ".filepart",
    ".opdownload",
    ".swp",
    ".!sync",
    ".bts",
];

/// True for names that are passed over in silence: hidden ones, and those that editors, browsers,
/// upload and sync clients use while they write.
pub fn is_temporary(name: &[u8]) -> bool {
    let lower = name.to_ascii_lowercase();
    name.starts_with(b".")
        || name.starts_with(b"~$")
        || (name.len() > 1 && name.starts_with(b"#") && name.ends_with(b"#"))
        || TEMPORARY_ENDINGS
            .iter()
            .any(|ending| lower.ends_with(ending.as_bytes()))
        || is_sync_conflict(&lower)
}

/// Copies that sync clients lay beside a file when two sides changed it: `x.sync-conflict-….csv`,
/// `x (conflicted copy …).csv`, `x_conflict-20260403-101500.csv`.
fn is_sync_conflict(lower: &[u8]) -> bool {
    let has = |part: &[u8]| lower.windows(part.len()).any(|window| window == part);
    let dated = |part: &[u8]| {
        lower
            .windows(part.len() + 8)
            .any(|window| window.starts_with(part) && window[part.len()..].iter().all(u8::is_ascii_digit))
    };
    has(b".sync-conflict-") || has(b"conflicted copy") || dated(b"_conflict-")
}

/// The last part of a path.
pub fn file_name(path: &[u8]) -> &[u8] {
    path.rsplit(|byte| *byte == b'/').next().unwrap_or(path)
}

/// Everything before the last `/`; empty for a file in the inbox itself.
pub fn folder_of(path: &[u8]) -> &[u8] {
    let name = file_name(path);
    path.get(..path.len().saturating_sub(name.len() + 1))
        .unwrap_or_default()
}

/// True below `taken/` and `set-aside/`, which are no input.
pub fn is_put_away(path: &[u8]) -> bool {
    [TAKEN, SET_ASIDE].iter().any(|folder| {
        path.strip_prefix(folder.as_bytes())
            .is_some_and(|rest| rest.starts_with(b"/"))
    })
}

/// The path of the file that a note belongs to; `None` where the path is no note's.
pub fn file_of_note(path: &[u8]) -> Option<&[u8]> {
    let file = path.strip_suffix(NOTE_ENDING.as_bytes())?;
    (!file_name(file).is_empty()).then_some(file)
}

/// What follows a table's whole name in the name of its W3C metadata.
pub const METADATA_ENDING: &str = "-metadata.json";

/// The path of the table that W3C metadata beside it describe; `None` where the path is none of theirs.
pub fn file_of_metadata(path: &[u8]) -> Option<&[u8]> {
    let file = path.strip_suffix(METADATA_ENDING.as_bytes())?;
    let at = file_name(file).iter().rposition(|byte| *byte == b'.')?;
    (at > 0).then_some(file)
}

/// The path of a table's W3C metadata.
pub fn metadata_of_file(path: &[u8]) -> Vec<u8> {
    [path, METADATA_ENDING.as_bytes()].concat()
}

/// True for the description of a data package, which speaks of tables beside it.
pub fn is_package(path: &[u8]) -> bool {
    file_name(path) == b"datapackage.json"
}

/// True for what lies beside a file and is never taken as readings: a note, or a description.
pub fn is_beside(path: &[u8]) -> bool {
    file_of_note(path).is_some() || file_of_metadata(path).is_some() || is_package(path)
}

/// The path of a file's note.
pub fn note_of_file(path: &[u8]) -> Vec<u8> {
    [path, NOTE_ENDING.as_bytes()].concat()
}

/// The day that a file's name holds: the first `YYYY-MM-DD` or `YYYYMMDD` that is a day of the calendar
/// and touches no further digit (formats, section 10).
pub fn date_in(path: &[u8]) -> Option<Date> {
    let name = file_name(path);
    (0..name.len()).find_map(|at| {
        let digit_before = at > 0 && name.get(at - 1).is_some_and(u8::is_ascii_digit);
        if digit_before {
            return None;
        }
        let rest = name.get(at..)?;
        date_at(rest, &[4, 5], 10).or_else(|| date_at(rest, &[], 8))
    })
}

/// A date at the very start, `length` bytes long; `[4, 5]` stands for dashes after year and month.
fn date_at(rest: &[u8], dashes: &[usize], length: usize) -> Option<Date> {
    let written = rest.get(..length)?;
    if rest.get(length).is_some_and(u8::is_ascii_digit) {
        return None;
    }
    let digits: Vec<u8> = if dashes.is_empty() {
        written.to_vec()
    } else {
        if written.get(4) != Some(&b'-') || written.get(7) != Some(&b'-') {
            return None;
        }
        written
            .iter()
            .copied()
            .enumerate()
            .filter(|(at, _)| *at != 4 && *at != 7)
            .map(|(_, byte)| byte)
            .collect()
    };
    if !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let number = |from: usize, to: usize| {
        digits.get(from..to).map(|part| {
            part.iter()
                .fold(0_i16, |sum, digit| sum * 10 + i16::from(digit - b'0'))
        })
    };
    Date::new(
        number(0, 4)?,
        i8::try_from(number(4, 6)?).ok()?,
        i8::try_from(number(6, 8)?).ok()?,
    )
    .ok()
}

/// Bytes as one line of harmless text, from which [`unshown`] gives the same bytes back.
///
/// Text stands as it is but for `\`, control characters, marks that turn the direction of writing and
/// other invisible ones, which become `\\`, `\n`, `\r`, `\t` or `\u{…}`; bytes that are no UTF-8 become
/// `\x…`.
pub fn shown(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len());
    for chunk in bytes.utf8_chunks() {
        for character in chunk.valid().chars() {
            match character {
                '\\' => text.push_str("\\\\"),
                '\n' => text.push_str("\\n"),
                '\r' => text.push_str("\\r"),
                '\t' => text.push_str("\\t"),
                hidden if is_hidden(hidden) => {
                    let _ = write!(text, "\\u{{{:x}}}", u32::from(hidden));
                }
                plain => text.push(plain),
            }
        }
        for byte in chunk.invalid() {
            let _ = write!(text, "\\x{byte:02x}");
        }
    }
    text
}

/// A text of several lines that can do nothing to a terminal or a page: hidden characters become `\u{…}`,
/// line ends stay. It can't be turned back.
pub fn harmless(text: &str) -> String {
    let mut told = String::with_capacity(text.len());
    for character in text.chars() {
        if character != '\n' && is_hidden(character) {
            let _ = write!(told, "\\u{{{:x}}}", u32::from(character));
        } else {
            told.push(character);
        }
    }
    told
}

/// Control characters, and what can't be seen or changes how the text around it is seen (Unicode
/// Standard Annex 9, section 2; separators and zero-width characters).
fn is_hidden(character: char) -> bool {
    character.is_control()
        || matches!(character,
            '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}

/// The bytes of which [`shown`] made this text; `None` where it did not.
pub fn unshown(text: &str) -> Option<Vec<u8>> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find('\\') {
        bytes.extend_from_slice(rest.get(..at)?.as_bytes());
        let escape = rest.get(at + 1..)?;
        let kind = escape.chars().next()?;
        rest = escape.get(kind.len_utf8()..)?;
        match kind {
            '\\' => bytes.push(b'\\'),
            'n' => bytes.push(b'\n'),
            'r' => bytes.push(b'\r'),
            't' => bytes.push(b'\t'),
            'x' => {
                bytes.push(u8::from_str_radix(rest.get(..2)?, 16).ok()?);
                rest = rest.get(2..)?;
            }
            'u' => {
                let (number, after) = rest.strip_prefix('{')?.split_once('}')?;
                let character = char::from_u32(u32::from_str_radix(number, 16).ok()?)?;
                bytes.extend_from_slice(character.encode_utf8(&mut [0; 4]).as_bytes());
                rest = after;
            }
            _ => return None,
        }
    }
    bytes.extend_from_slice(rest.as_bytes());
    Some(bytes)
}

/// A name made free by a number before its extension: `may.csv`, `may-2.csv`, `may-3.csv`. A note's
/// number stands before the extension of its file: `may-2.csv.note.toml`. Where the name grows past
/// [`LONGEST_NAME`] its stem is cut. `number` 1 adds none.
pub fn numbered(name: &[u8], number: u32) -> Vec<u8> {
    let (stem, ending) = split_ending(name);
    fitted(stem, &[mark(number).as_bytes(), ending].concat())
}

fn mark(number: u32) -> String {
    if number < 2 {
        String::new()
    } else {
        format!("-{number}")
    }
}

/// `NAME.why.txt` for a file; where it grows past [`LONGEST_NAME`] the stem is cut.
pub fn why_name(name: &[u8]) -> Vec<u8> {
    numbered_why_name(name, 1)
}

/// That of [`numbered`]`(name, number)`: the number stays where the stem is cut.
pub fn numbered_why_name(name: &[u8], number: u32) -> Vec<u8> {
    let (stem, ending) = split_ending(name);
    fitted(
        stem,
        &[mark(number).as_bytes(), ending, WHY_ENDING.as_bytes()].concat(),
    )
}

/// Stem and extension (with its dot); a note's ending counts as part of the extension. An extension
/// longer than 64 bytes is none.
fn split_ending(name: &[u8]) -> (&[u8], &[u8]) {
    let inner = file_of_note(name).unwrap_or(name);
    let dot = inner
        .iter()
        .rposition(|byte| *byte == b'.')
        .filter(|at| *at > 0 && inner.len() - at <= 64)
        .unwrap_or(inner.len());
    name.split_at_checked(dot).unwrap_or((name, b""))
}

fn fitted(stem: &[u8], ending: &[u8]) -> Vec<u8> {
    let room = LONGEST_NAME.saturating_sub(ending.len());
    let mut cut = stem.len().min(room);
    // No character is cut in two: step back over the bytes that go on with one.
    while cut > room.saturating_sub(3) && stem.get(cut).is_some_and(|byte| byte & 0xc0 == 0x80) {
        cut -= 1;
    }
    [stem.get(..cut).unwrap_or(stem), ending].concat()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use proptest::prelude::*;

    #[test]
    fn names_of_files_still_being_written_are_passed_over() {
        for name in [
            ".hidden",
            ".#may.csv",
            "may.csv~",
            "may.tmp",
            "may.csv.part",
            "a.partial",
            "a.CRDOWNLOAD",
            "a.download",
            "a.filepart",
            "~$may.xlsx",
            "#may.csv#",
            "may.sync-conflict-20260403-101500-ABC.csv",
            "may (conflicted copy 2026-04-03).csv",
            "may_conflict-20260403-101500.csv",
        ] {
            assert!(is_temporary(name.as_bytes()), "{name}");
        }
        for name in [
            "may.csv",
            "#1.csv",
            "#",
            "part",
            "tmp",
            "a.parts",
            "may_conflict-of-east.csv",
            "~may.csv",
        ] {
            assert!(!is_temporary(name.as_bytes()), "{name}");
        }
    }

    #[test]
    fn notes_find_their_files() {
        assert_eq!(file_of_note(b"a/may.csv.note.toml"), Some(&b"a/may.csv"[..]));
        assert_eq!(file_of_note(b"a/.note.toml"), None);
        assert_eq!(file_of_note(b"a/note.toml"), None);
        assert_eq!(note_of_file(b"a/may.csv"), b"a/may.csv.note.toml");
        assert_eq!(
            file_of_metadata(b"a/may.csv-metadata.json"),
            Some(&b"a/may.csv"[..])
        );
        assert_eq!(file_of_metadata(b"a.b/may-metadata.json"), None);
        assert!(is_package(b"a/datapackage.json") && !is_beside(b"a/may.json"));
        assert!(is_put_away(b"taken/x") && is_put_away(b"set-aside/a/b"));
        assert!(!is_put_away(b"taken") && !is_put_away(b"a/taken/x") && !is_put_away(b"takens/x"));
        assert_eq!((folder_of(b"a/b/c"), folder_of(b"c")), (&b"a/b"[..], &b""[..]));
    }

    #[test]
    fn a_date_in_a_name_is_a_day_of_the_calendar_with_nothing_touching() {
        // Formats, section 10: from a name only YYYY-MM-DD or YYYYMMDD is taken.
        let cases = [
            ("2026-04-03.csv", Some(date(2026, 4, 3))),
            ("reef 20260403 noon.csv", Some(date(2026, 4, 3))),
            ("20260403T1015.csv", Some(date(2026, 4, 3))),
            ("x2026-04-03_2026-05-03", Some(date(2026, 4, 3))),
            ("20261345-20260403.csv", Some(date(2026, 4, 3))),
            ("2024-02-29", Some(date(2024, 2, 29))),
            ("2026-02-29.csv", None),
            ("202604031.csv", None),
            ("120260403.csv", None),
            ("2026-04-031.csv", None),
            ("03.04.2026.csv", None),
            ("2026_04_03.csv", None),
            ("2026-4-3.csv", None),
            ("2026-04-03/reef.csv", None),
            ("", None),
        ];
        for (name, wanted) in cases {
            assert_eq!(date_in(name.as_bytes()), wanted, "{name}");
        }
    }

    #[test]
    fn what_could_mislead_is_shown_escaped() {
        assert_eq!(shown("réf/a b.csv".as_bytes()), "réf/a b.csv");
        assert_eq!(shown(b"a\nb\x1b[2J\\"), "a\\nb\\u{1b}[2J\\\\");
        assert_eq!(shown("x\u{202e}vsc.exe".as_bytes()), "x\\u{202e}vsc.exe");
        assert_eq!(shown(b"\xff\xc3"), "\\xff\\xc3");
        assert_eq!(unshown("\\q"), None);
        assert_eq!(unshown("\\u{110000}"), None);
        assert_eq!(unshown("\\"), None);
    }

    #[test]
    fn numbers_stand_before_the_extension_and_names_stay_short_enough() {
        let named = |name: &str, number| String::from_utf8(numbered(name.as_bytes(), number)).expect("text");
        assert_eq!(named("may.csv", 1), "may.csv");
        assert_eq!(named("may.csv", 2), "may-2.csv");
        assert_eq!(named("may", 12), "may-12");
        assert_eq!(named("may.csv.note.toml", 2), "may-2.csv.note.toml");
        assert_eq!(named("may.csv.why.txt", 2), "may.csv.why-2.txt");
        let long = format!("{}.csv", "é".repeat(125));
        assert_eq!(named(&long, 2), format!("{}-2.csv", "é".repeat(124)));
        assert_eq!(named(&long, 10), format!("{}-10.csv", "é".repeat(124)));
        assert_eq!(named(&long, 100), format!("{}-100.csv", "é".repeat(123)));
        assert_eq!(
            why_name(long.as_bytes()),
            format!("{}.csv.why.txt", "é".repeat(121)).as_bytes()
        );
        assert_eq!(why_name(b"may.csv"), b"may.csv.why.txt");
    }

    #[test]
    fn what_a_terminal_would_obey_is_told_and_not_done() {
        assert_eq!(
            harmless("a\u{1b}[31m\nb\u{202e}c\\x\t"),
            "a\\u{1b}[31m\nb\\u{202e}c\\x\\u{9}"
        );
        assert_eq!(harmless("Höhle 💡"), "Höhle 💡");
    }

    proptest! {
        #[test]
        fn shown_text_gives_the_bytes_back(bytes in prop::collection::vec(any::<u8>(), 0..60)) {
            let text = shown(&bytes);
            prop_assert!(!text.chars().any(is_hidden));
            prop_assert_eq!(unshown(&text), Some(bytes));
        }

        #[test]
        fn numbered_names_fit_and_differ(name in prop::collection::vec(1_u8.., 1..300), number in 2_u32..100_000) {
            let made = numbered(&name, number);
            prop_assert!(made.len() <= LONGEST_NAME);
            prop_assert!(numbered(&name, 1) != made);
            prop_assert!(why_name(&name).len() <= LONGEST_NAME);
        }
    }
}
