//! From bytes to text: which encoding a file has, and decoding it block by block.

use crate::{names, units};
use encoding_rs::Encoding;

/// The text encoding of a file and how it was known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// What decodes the file's bytes.
    pub kind: Kind,
    /// Bytes of the mark at the file's start.
    pub mark: usize,
    /// Neither a mark nor a layout states it.
    pub assumed: bool,
}

/// What decodes the bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// UTF-8, which is checked.
    Utf8,
    /// One of the WHATWG's other encodings.
    Other(&'static Encoding),
}

impl Kind {
    /// The WHATWG's name, in small letters.
    pub fn name(self) -> String {
        match self {
            Kind::Utf8 => "utf-8".to_owned(),
            Kind::Other(encoding) => encoding.name().to_ascii_lowercase(),
        }
    }
}

/// First bytes of files that are no text, and what such files are called.
const NOT_TEXT: &[(&[u8], &str)] = &[
    (b"\x1f\x8b", "compressed with gzip; unpack it first"),
    (
        b"PK\x03\x04",
        "a zip archive or a spreadsheet file; export the sheet as CSV",
    ),
    (
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
        "an old spreadsheet or word processor file; export it as CSV",
    ),
    (b"%PDF-", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"\x7fELF", "a program"),
    (b"MZ\x90", "a program"),
    (b"SQLite format 3\0", "a database"),
    (b"\x89HDF", "an HDF5 file"),
    (b"CDF\x01", "a netCDF file"),
    (b"CDF\x02", "a netCDF file"),
    (b"PAR1", "a Parquet file"),
    (b"BZh", "compressed with bzip2; unpack it first"),
    (b"\xfd7zXZ", "compressed with xz; unpack it first"),
    (b"\x28\xb5\x2f\xfd", "compressed with zstd; unpack it first"),
    (b"7z\xbc\xaf", "a 7z archive; unpack it first"),
];

/// Finds the encoding from a file's first bytes; `whole` where these are all. The error is a line, 0 for the whole file,
/// and a sentence.
pub fn find(start: &[u8], whole: bool) -> Result<Found, (u64, String)> {
    if start.starts_with(b"\xff\xfe\0\0") || start.starts_with(b"\0\0\xfe\xff") {
        return Err((
            0,
            "this text is in UTF-32, which is not read; save it as UTF-8".to_owned(),
        ));
    }
    for (encoding, mark) in [
        (Kind::Utf8, &b"\xef\xbb\xbf"[..]),
        (Kind::Other(encoding_rs::UTF_16LE), b"\xff\xfe"),
        (Kind::Other(encoding_rs::UTF_16BE), b"\xfe\xff"),
    ] {
        if start.starts_with(mark) {
            return Ok(Found {
                kind: encoding,
                mark: mark.len(),
                assumed: false,
            });
        }
    }
    if let Some((_, what)) = NOT_TEXT.iter().find(|(magic, _)| start.starts_with(magic)) {
        return Err((0, format!("this is no text but {what}")));
    }
    let assumed = |kind| {
        Ok(Found {
            kind,
            mark: 0,
            assumed: true,
        })
    };
    if let Some(kind) = utf16_by_zeros(start) {
        return assumed(kind);
    }
    if let Some(at) = start.iter().position(|byte| *byte == 0) {
        let line = start.iter().take(at).filter(|byte| **byte == b'\n').count() as u64 + 1;
        return Err((
            line,
            format!(
                "this is no text: byte {} of the file is zero; export it again",
                at + 1
            ),
        ));
    }
    let (valid, invalid) = utf8_counts(start, whole);
    if invalid == 0 || valid > invalid {
        return assumed(Kind::Utf8);
    }
    assumed(Kind::Other(best_single(start)))
}

/// The encoding a layout names; the error is a sentence.
pub fn named(label: &str, start: &[u8]) -> Result<Found, String> {
    let encoding = Encoding::for_label(label.trim().as_bytes())
        .filter(|encoding| *encoding != encoding_rs::REPLACEMENT)
        .ok_or_else(|| {
            format!("`{label}` is no text encoding known here; try `utf-8`, `utf-16le` or `windows-1252`")
        })?;
    let kind = if encoding == encoding_rs::UTF_8 {
        Kind::Utf8
    } else {
        Kind::Other(encoding)
    };
    let mark = match Encoding::for_bom(start) {
        Some((marked, length)) if marked == encoding => length,
        _ => 0,
    };
    Ok(Found {
        kind,
        mark,
        assumed: false,
    })
}

/// UTF-16 without a mark: in text that is mostly plain, every other byte is zero.
fn utf16_by_zeros(start: &[u8]) -> Option<Kind> {
    let pairs = start.get(..4096).unwrap_or(start).chunks_exact(2);
    let (mut count, mut first, mut second) = (0usize, 0usize, 0usize);
    for pair in pairs {
        count += 1;
        first += usize::from(pair[0] == 0);
        second += usize::from(pair[1] == 0);
    }
    if count >= 2 && second * 5 >= count * 3 && first * 50 <= count {
        Some(Kind::Other(encoding_rs::UTF_16LE))
    } else if count >= 2 && first * 5 >= count * 3 && second * 50 <= count {
        Some(Kind::Other(encoding_rs::UTF_16BE))
    } else {
        None
    }
}

/// Counts characters of more than one byte, and bytes that fit nowhere; a character cut off at the end counts as neither.
fn utf8_counts(bytes: &[u8], whole: bool) -> (usize, usize) {
    let (mut valid, mut invalid) = (0, 0);
    let mut chunks = bytes.utf8_chunks().peekable();
    while let Some(chunk) = chunks.next() {
        valid += chunk.valid().chars().filter(|c| !c.is_ascii()).count();
        let cut_off = chunks.peek().is_none() && !whole && chunk.invalid().len() < 4;
        invalid += usize::from(!chunk.invalid().is_empty() && !cut_off);
    }
    (valid, invalid)
}

/// Of the encodings in use beside Unicode, the one in which the file's headings make words we know; Windows-1252
/// where none is better.
fn best_single(start: &[u8]) -> &'static Encoding {
    let head = start.get(..16 << 10).unwrap_or(start);
    let mut best = (0, encoding_rs::WINDOWS_1252);
    for encoding in [
        encoding_rs::WINDOWS_1252,
        encoding_rs::WINDOWS_1250,
        encoding_rs::WINDOWS_1251,
        encoding_rs::SHIFT_JIS,
        encoding_rs::GB18030,
        encoding_rs::EUC_JP,
        encoding_rs::MACINTOSH,
    ] {
        let (text, _) = encoding.decode_without_bom_handling(head);
        let known = text
            .split([',', ';', '\t', '|', '\n', '\r', '"'])
            .map(str::trim)
            .filter(|cell| !cell.is_empty() && cell.len() < 100 && !cell.is_ascii())
            .take(400)
            .filter(|cell| {
                let named = names::read(cell);
                named
                    .as_ref()
                    .is_some_and(|named| named.unit.is_some() || !names::words(cell).is_empty())
                    || units::is_any(cell)
            })
            .count();
        if known > best.0 {
            best = (known, encoding);
        }
    }
    best.1
}

/// Decodes a file block by block.
pub struct Decoder {
    kind: Kind,
    inner: Option<encoding_rs::Decoder>,
    /// Bytes of a character whose end has not come yet.
    carry: Vec<u8>,
    /// A character beyond ASCII was seen: what follows must be UTF-8 too.
    seen_wide: bool,
    may_change: bool,
}

/// What happened in a block beside decoding.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event {
    /// Nothing.
    Fine,
    /// So far plain ASCII, now something that is no UTF-8: from here on Windows-1252.
    Changed,
    /// Bytes that fit nowhere became replacement characters.
    Replaced,
}

impl Decoder {
    /// Starts at the byte behind the file's mark.
    pub fn new(found: &Found) -> Decoder {
        let mut decoder = Decoder {
            kind: found.kind,
            inner: None,
            carry: Vec::new(),
            seen_wide: false,
            may_change: found.assumed && found.kind == Kind::Utf8,
        };
        decoder.start();
        decoder
    }

    fn start(&mut self) {
        if let Kind::Other(encoding) = self.kind {
            self.inner = Some(encoding.new_decoder_without_bom_handling());
        }
    }

    /// Appends the text of these bytes; `last` where no more will come.
    pub fn decode(&mut self, bytes: &[u8], last: bool, text: &mut String) -> Event {
        if self.inner.is_some() {
            return self.decode_other(bytes, last, text);
        }
        let joined;
        let bytes = if self.carry.is_empty() {
            bytes
        } else {
            joined = [self.carry.as_slice(), bytes].concat();
            self.carry.clear();
            &joined
        };
        match std::str::from_utf8(bytes) {
            Ok(valid) => {
                self.push(valid, text);
                Event::Fine
            }
            Err(error) => {
                let (valid, rest) = bytes.split_at(error.valid_up_to());
                self.push(std::str::from_utf8(valid).unwrap_or_default(), text);
                if error.error_len().is_none() && !last {
                    self.carry = rest.to_vec();
                    return Event::Fine;
                }
                if self.may_change && !self.seen_wide {
                    self.kind = Kind::Other(encoding_rs::WINDOWS_1252);
                    self.start();
                    self.decode_other(rest, last, text);
                    return Event::Changed;
                }
                self.replace(rest, last, text);
                Event::Replaced
            }
        }
    }

    /// Pushes what is left of a block with faults, each fault as one replacement character.
    fn replace(&mut self, bytes: &[u8], last: bool, text: &mut String) {
        let mut chunks = bytes.utf8_chunks().peekable();
        while let Some(chunk) = chunks.next() {
            self.push(chunk.valid(), text);
            let cut_off = chunks.peek().is_none()
                && !last
                && std::str::from_utf8(chunk.invalid()).is_err_and(|error| error.error_len().is_none());
            if cut_off {
                self.carry = chunk.invalid().to_vec();
            } else if !chunk.invalid().is_empty() {
                text.push('\u{fffd}');
            }
        }
    }

    fn push(&mut self, valid: &str, text: &mut String) {
        self.seen_wide = self.seen_wide || !valid.is_ascii();
        text.push_str(valid);
    }

    fn decode_other(&mut self, bytes: &[u8], last: bool, text: &mut String) -> Event {
        let Some(inner) = &mut self.inner else {
            return Event::Fine;
        };
        let mut replaced = false;
        let mut rest = bytes;
        loop {
            text.reserve(
                inner
                    .max_utf8_buffer_length(rest.len())
                    .unwrap_or(rest.len() * 3 + 16),
            );
            let (result, read, faults) = inner.decode_to_string(rest, text, last);
            replaced |= faults;
            rest = rest.get(read..).unwrap_or_default();
            if result == encoding_rs::CoderResult::InputEmpty {
                break;
            }
        }
        if replaced { Event::Replaced } else { Event::Fine }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn kind(start: &[u8]) -> Result<String, String> {
        find(start, true)
            .map(|found| found.kind.name())
            .map_err(|(_, text)| text)
    }

    fn utf16(text: &str, big: bool) -> Vec<u8> {
        text.encode_utf16()
            .flat_map(|unit| {
                if big {
                    unit.to_be_bytes()
                } else {
                    unit.to_le_bytes()
                }
            })
            .collect()
    }

    #[test]
    fn marks_and_patterns() {
        let name = |text: &str| Ok(text.to_owned());
        assert_eq!(kind(b"time,par\n"), name("utf-8"));
        assert_eq!(kind(b"\xef\xbb\xbftime"), name("utf-8"));
        assert_eq!(kind("x;\u{b5}mol".as_bytes()), name("utf-8"));
        assert_eq!(kind(b"x;\xb5mol/m\xb2/s"), name("windows-1252"));
        assert_eq!(kind(b"\xff\xfet\0"), name("utf-16le"));
        assert_eq!(kind(&utf16("time;par\n1;2\n", false)), name("utf-16le"));
        assert_eq!(kind(&utf16("time;par\n1;2\n", true)), name("utf-16be"));
        assert!(kind(b"\xff\xfe\0\0t\0\0\0").unwrap_err().contains("UTF-32"));
        assert!(kind(b"a,b\n1,\0\n").unwrap_err().contains("byte 7"));
        assert!(kind(b"\x1f\x8b\x08").unwrap_err().contains("gzip"));
        assert!(kind(b"PK\x03\x04").is_err());
    }

    #[test]
    fn other_alphabets_are_known_by_their_headings() {
        for (encoding, text) in [
            (
                encoding_rs::SHIFT_JIS,
                "\u{65e5}\u{6642},\u{5730}\u{70b9},\u{7167}\u{5ea6}\n",
            ),
            (
                encoding_rs::WINDOWS_1251,
                "\u{414}\u{430}\u{442}\u{430};\u{412}\u{440}\u{435}\u{43c}\u{44f};\u{441}\u{432}\u{435}\u{442}\n",
            ),
            (encoding_rs::WINDOWS_1252, "Datum;Beleuchtungsst\u{e4}rke (lx)\n"),
        ] {
            let (bytes, _, _) = encoding.encode(text);
            assert_eq!(kind(&bytes), Ok(encoding.name().to_ascii_lowercase()), "{text}");
        }
    }

    #[test]
    fn late_bytes_that_are_no_utf8() {
        let found = Found {
            kind: Kind::Utf8,
            mark: 0,
            assumed: true,
        };
        let mut decoder = Decoder::new(&found);
        let mut text = String::new();
        assert_eq!(decoder.decode(b"plain ", false, &mut text), Event::Fine);
        assert_eq!(decoder.decode(b"\xb5mol", true, &mut text), Event::Changed);
        assert_eq!(text, "plain \u{b5}mol");
        let mut decoder = Decoder::new(&found);
        let mut text = String::new();
        assert_eq!(
            decoder.decode("\u{b5} ".as_bytes(), false, &mut text),
            Event::Fine
        );
        assert_eq!(decoder.decode(b"\xb5 x", true, &mut text), Event::Replaced);
        assert_eq!(text, "\u{b5} \u{fffd} x");
    }

    proptest! {
        #[test]
        fn blocks_of_any_size_give_the_same_text(text in "\\PC{0,60}", size in 1usize..7, which in 0usize..3) {
            let (kind, bytes) = match which {
                0 => (Kind::Utf8, text.as_bytes().to_vec()),
                1 => (Kind::Other(encoding_rs::UTF_16LE), utf16(&text, false)),
                _ => (Kind::Other(encoding_rs::UTF_16BE), utf16(&text, true)),
            };
            let mut decoder = Decoder::new(&Found { kind, mark: 0, assumed: false });
            let mut out = String::new();
            for block in bytes.chunks(size) {
                prop_assert_eq!(decoder.decode(block, false, &mut out), Event::Fine);
            }
            decoder.decode(&[], true, &mut out);
            prop_assert_eq!(out, text);
        }
    }
}
