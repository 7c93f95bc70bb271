//! Looks at a book before it is opened: what unpacks into far more than it seems, or claims cells without end, is
//! refused with a sentence instead of filling the memory.

use std::io::{Cursor, Read};
use undim_sdk::Failure;
use zip::ZipArchive;

/// Most parts of a book.
const MOST_PARTS: usize = 10_000;
/// Most that a book may unpack to, bytes.
const MOST_UNPACKED: u64 = 192 << 20;
/// From this size on a part must not be packed more tightly than [`MOST_RATIO`], bytes.
const LARGE: u64 = 8 << 20;
/// Tables of readings pack to a tenth or a thirtieth; what packs to far less holds one thing over and over.
const MOST_RATIO: u64 = 200;
/// Most cells.
pub(crate) const MOST_CELLS: u64 = 5_000_000;

/// What kind of book a file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Xlsx,
    Xls,
    Ods,
}

/// Tells the kind of a book, or why it is none that can be read.
pub(crate) fn check(bytes: &[u8]) -> Result<Kind, Failure> {
    if bytes.starts_with(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1") {
        if has_utf16(bytes, "EncryptedPackage") {
            return Err(unusable(
                "the book is locked with a password; save it without one",
            ));
        }
        dimensions(bytes)?;
        return Ok(Kind::Xls);
    }
    if !bytes.starts_with(b"PK") {
        return Err(unusable(
            "this is no spreadsheet file; if it is text, give it the ending .csv",
        ));
    }
    let broken = |error: zip::result::ZipError| {
        unusable(&format!(
            "the book is damaged or cut off ({error}); copy or save it again"
        ))
    };
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(broken)?;
    if archive.len() > MOST_PARTS {
        return Err(unusable(&format!("the book has more than {MOST_PARTS} parts")));
    }
    let mut total = 0;
    let mut kind = None;
    for at in 0..archive.len() {
        let mut part = archive.by_index(at).map_err(broken)?;
        let name = part.name().map_err(broken)?.into_owned();
        let packed = part.compressed_size().max(1);
        let counted = count(&mut part, MOST_UNPACKED - total, &name, packed)?;
        total += counted.bytes;
        match name.as_str() {
            "xl/workbook.xml" => kind = kind.or(Some(Kind::Xlsx)),
            "xl/workbook.bin" => {
                return Err(unusable("this kind of book (xlsb) is not read; save it as xlsx"));
            }
            "content.xml" => {
                kind = kind.or(Some(Kind::Ods));
                if counted.cells > MOST_CELLS {
                    return Err(too_many_cells(counted.cells));
                }
            }
            "xl/sharedStrings.xml" if counted.claimed > counted.bytes => {
                return Err(unusable(&format!(
                    "the book claims {} texts and has room for none of them: it is damaged; save it again",
                    counted.claimed
                )));
            }
            _ => {}
        }
    }
    kind.ok_or_else(|| unusable("this archive holds no spreadsheet; unpack it, and drop what is in it"))
}

pub(crate) fn too_many_cells(count: u64) -> Failure {
    unusable(&format!(
        "the book has {count} cells or more, and up to {MOST_CELLS} are read; export the sheet as CSV"
    ))
}

fn unusable(text: &str) -> Failure {
    Failure::unusable(0, 0, text)
}

/// What a part holds, counted while it is unpacked, whatever it says about itself.
#[derive(Debug, Default)]
struct Counted {
    bytes: u64,
    /// Cells, repeated ones as often as they are repeated.
    cells: u64,
    /// The texts that a table of texts claims to have.
    claimed: u64,
}

fn count(part: &mut impl Read, room: u64, name: &str, packed: u64) -> Result<Counted, Failure> {
    let mut counted = Counted::default();
    let mut tags = Tags::default();
    let is_content = name == "content.xml";
    let is_texts = name == "xl/sharedStrings.xml";
    let mut block = vec![0; 64 << 10];
    loop {
        let read = part.read(&mut block).map_err(|error| {
            unusable(&format!(
                "the book's part {name} is damaged ({error}); save it again"
            ))
        })?;
        let fresh = block.get(..read).unwrap_or_default();
        if fresh.is_empty() {
            counted.cells += tags.row_cells * tags.row_repeats;
            return Ok(counted);
        }
        if is_texts && counted.bytes == 0 {
            counted.claimed = attribute(fresh, b"uniqueCount")
                .max(attribute(fresh, b" count"))
                .unwrap_or(0);
        }
        counted.bytes += fresh.len() as u64;
        if is_content {
            counted.cells = counted.cells.saturating_add(tags.take(fresh));
        }
        let too_tight = counted.bytes > LARGE && counted.bytes / packed > MOST_RATIO;
        if counted.bytes > room || too_tight {
            return Err(unusable(&format!(
                "the book unpacks to more than {} MiB, which no table of readings does; export the sheet as CSV",
                (MOST_UNPACKED - room + counted.bytes) >> 20
            )));
        }
    }
}

/// Counts the cells of an `OpenDocument` table as its tags go by, those that are repeated too.
#[derive(Debug, Default)]
struct Tags {
    /// The tag that is being read, without its mark; none outside tags.
    tag: Option<Vec<u8>>,
    row_cells: u64,
    row_repeats: u64,
    /// Repeats of a cell that nothing follows so far: empty ones at a row's end don't count.
    last: u64,
}

impl Tags {
    fn take(&mut self, bytes: &[u8]) -> u64 {
        let mut done: u64 = 0;
        for byte in bytes {
            match (&mut self.tag, byte) {
                (None, b'<') => self.tag = Some(Vec::new()),
                (Some(_), b'>') => {
                    let tag = self.tag.take().unwrap_or_default();
                    done = done.saturating_add(self.tag(&tag));
                }
                (Some(tag), byte) if tag.len() < 2048 => tag.push(*byte),
                (None | Some(_), _) => {}
            }
        }
        done
    }

    /// Cells of the row that a tag ends.
    fn tag(&mut self, tag: &[u8]) -> u64 {
        if tag.starts_with(b"table:table-row") && !tag.starts_with(b"table:table-rows") {
            let done = self.row_cells.saturating_mul(self.row_repeats);
            self.row_repeats = attribute(tag, b"number-rows-repeated").unwrap_or(1);
            (self.row_cells, self.last) = (0, 0);
            return done;
        }
        if tag.starts_with(b"table:table-cell") || tag.starts_with(b"table:covered-table-cell") {
            let repeats = attribute(tag, b"number-columns-repeated").unwrap_or(1);
            let filled = contains(tag, b"value-type=") || contains(tag, b"formula=");
            if filled {
                self.row_cells = self.row_cells.saturating_add(self.last).saturating_add(repeats);
                self.last = 0;
            } else {
                self.last = self.last.saturating_add(repeats);
            }
        }
        0
    }
}

/// The number that an attribute of a tag holds.
fn attribute(tag: &[u8], name: &[u8]) -> Option<u64> {
    let at = tag.windows(name.len()).position(|window| window == name)? + name.len();
    let rest = tag.get(at..)?;
    let rest = rest.strip_prefix(b"=\"").or_else(|| rest.strip_prefix(b"='"))?;
    let digits = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    // More digits than fit are more than enough.
    let text = std::str::from_utf8(rest.get(..digits)?).ok()?;
    Some(text.parse().unwrap_or(if digits == 0 { 0 } else { u64::MAX }))
}

fn contains(text: &[u8], part: &[u8]) -> bool {
    text.windows(part.len()).any(|window| window == part)
}

fn has_utf16(bytes: &[u8], text: &str) -> bool {
    let wide: Vec<u8> = text.bytes().flat_map(|byte| [byte, 0]).collect();
    contains(bytes, &wide)
}

/// The record of a sheet's extent in an old book (MS-XLS 2.4.90): a false one would claim memory without end.
fn dimensions(bytes: &[u8]) -> Result<(), Failure> {
    for window in bytes.windows(18) {
        if !window.starts_with(&[0x00, 0x02, 0x0e, 0x00]) {
            continue;
        }
        let number = |at: usize, length: usize| -> u64 {
            let bytes = window.get(at..at + length).unwrap_or_default();
            bytes
                .iter()
                .rev()
                .fold(0, |sum, byte| sum << 8 | u64::from(*byte))
        };
        let (first_row, last_row, first_column, last_column) =
            (number(4, 4), number(8, 4), number(12, 2), number(14, 2));
        let reserved = number(16, 2) == 0;
        let cells = last_row
            .saturating_sub(first_row)
            .saturating_mul(last_column.saturating_sub(first_column));
        if reserved && cells > MOST_CELLS {
            return Err(too_many_cells(cells));
        }
    }
    Ok(())
}
