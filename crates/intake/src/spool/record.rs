//! What happened to each content, kept beside its bytes, so that everything can be derived again even if
//! the ledger is lost: the order of arrival, inbox paths, notes, and what the keeper withdrew.
//!
//! `raw/ab/<hash>.log` is text, one happening on a line, fields parted by tabs and escaped as
//! [`names::shown`] does it, so that a line is a line whatever a path or a note holds:
//!
//! ```text
//! undim raw record 1
//! arrived    arrival=12  mtime_us=1775210400000000  bytes=4321  path=harbour/phone/may.csv
//! note       arrival=15  path=harbour/phone/may.csv.note.toml  text=scene = "noon"\n
//! withdrawn  arrival=20  when_us=1775310400000000  why=the bag was torn
//! reinstated arrival=21  when_us=1775320400000000  why=it was another bag
//! ```
//!
//! Fields that a later version adds are passed over; so is a line of a kind not known, which is said.
//!
//! A line is written before the ledger counts it, so a program killed in between leaves one that never
//! counted. What then really happened stands below it: a later arrival voids all lines above, a later line
//! those whose numbers its own does not exceed.

use super::archive::content_path;
use super::atomic::write_atomically;
use crate::names::{shown, unshown};
use std::fs;
use std::io;
use std::path::Path;

const FIRST_LINE: &str = "undim raw record 1";
const ENDING: &str = ".log";

/// Something that happened to a content.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Happening {
    /// It came in for the first time.
    Arrived {
        /// Where it lay, relative to the inbox.
        path: Vec<u8>,
        /// Its modification time, µs since 1970: the date of last resort.
        mtime_us: i64,
        /// Bytes.
        bytes: u64,
    },
    /// A note came for it.
    Note {
        /// Where the note lay, relative to the inbox.
        path: Vec<u8>,
        /// What it says, as it stands.
        text: String,
    },
    /// The keeper took it out of every judgement.
    Withdrawn {
        /// The keeper's words.
        why: String,
        /// When, µs since 1970.
        when_us: i64,
    },
    /// The keeper took that back: it counts again.
    Reinstated {
        /// The keeper's words; empty where none were given.
        why: String,
        /// When, µs since 1970.
        when_us: i64,
    },
}

/// A happening in the order of all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// From 1; every happening of the archive has its own.
    pub arrival: u64,
    /// The content's BLAKE3, lower-case hexadecimal.
    pub hash: String,
    /// What happened.
    pub happening: Happening,
}

/// What the raw archive holds.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Records {
    /// In order of arrival.
    pub records: Vec<Record>,
    /// Hashes of contents without any record: archived by a program that was then killed. Their files still
    /// lie in the inbox and are taken in again.
    pub unrecorded: Vec<String>,
    /// Hashes that have a record but whose content is gone.
    pub without_content: Vec<String>,
    /// Lines that could not be understood, each a sentence with its place.
    pub damaged: Vec<String>,
}

/// Keeps a happening beside its content. Keeping the same one twice changes nothing.
pub fn record(raw: &Path, record: &Record) -> io::Result<()> {
    let path = content_path(raw, &record.hash);
    let (Some(folder), name) = (path.parent(), format!("{}{ENDING}", record.hash)) else {
        return Err(io::ErrorKind::InvalidInput.into());
    };
    let mut text = read_text(&folder.join(&name))?.unwrap_or_else(|| format!("{FIRST_LINE}\n"));
    let mut kept = Records::default();
    understand(&record.hash, &text, &mut kept);
    if kept.records.contains(record) {
        return Ok(());
    }
    let line = line_of(record);
    if !text.ends_with('\n') {
        text.push('\n');
    }
    text.push_str(&line);
    text.push('\n');
    write_atomically(folder, &name, text.as_bytes())
}

#[expect(clippy::disallowed_methods, reason = "the archive is a folder of files")]
pub(super) fn read_text(path: &Path) -> io::Result<Option<String>> {
    match fs::read_to_string(path) {
        Ok(text) => Ok(Some(text)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
    }
}

/// Reads what the archive holds. A line that is damaged is said and the others count.
pub fn read_records(raw: &Path) -> io::Result<Records> {
    let mut all = Records::default();
    let (mut contents, mut recorded) = (Vec::new(), Vec::new());
    for folder in fs::read_dir(raw)? {
        let folder = folder?;
        if !folder.file_type()?.is_dir() || folder.file_name().len() != 2 {
            continue;
        }
        for found in fs::read_dir(folder.path())? {
            let found = found?;
            let Ok(name) = found.file_name().into_string() else {
                continue;
            };
            if is_hash(&name) {
                contents.push(name);
            } else if let Some(hash) = name.strip_suffix(ENDING).filter(|hash| is_hash(hash)) {
                let text = read_text(&found.path())?.unwrap_or_default();
                understand(hash, &text, &mut all);
                recorded.push(hash.to_owned());
            }
        }
    }
    all.records
        .sort_by(|a, b| (a.arrival, &a.hash).cmp(&(b.arrival, &b.hash)));
    all.damaged.sort();
    contents.sort();
    recorded.sort();
    all.unrecorded = contents
        .iter()
        .filter(|hash| recorded.binary_search(hash).is_err())
        .cloned()
        .collect();
    all.without_content = recorded
        .into_iter()
        .filter(|hash| contents.binary_search(hash).is_err())
        .collect();
    Ok(all)
}

fn is_hash(name: &str) -> bool {
    name.len() == 64 && name.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

fn line_of(record: &Record) -> String {
    let arrival = record.arrival;
    match &record.happening {
        Happening::Arrived {
            path,
            mtime_us,
            bytes,
        } => format!(
            "arrived\tarrival={arrival}\tmtime_us={mtime_us}\tbytes={bytes}\tpath={}",
            shown(path)
        ),
        Happening::Note { path, text } => format!(
            "note\tarrival={arrival}\tpath={}\ttext={}",
            shown(path),
            shown(text.as_bytes())
        ),
        Happening::Withdrawn { why, when_us } => decided("withdrawn", arrival, *when_us, why),
        Happening::Reinstated { why, when_us } => decided("reinstated", arrival, *when_us, why),
    }
}

fn decided(what: &str, arrival: u64, when_us: i64, why: &str) -> String {
    format!(
        "{what}\tarrival={arrival}\twhen_us={when_us}\twhy={}",
        shown(why.as_bytes())
    )
}

fn understand(hash: &str, text: &str, all: &mut Records) {
    let mut lines = text.lines();
    let first = lines.next().unwrap_or_default();
    if first != FIRST_LINE {
        all.damaged.push(format!(
            "{hash}{ENDING}, line 1: begins with \"{}\", not with \"{FIRST_LINE}\"; a newer undim may have written it",
            shown(first.as_bytes())
        ));
        return;
    }
    let mut counted: Vec<Record> = Vec::new();
    for (index, line) in lines.enumerate() {
        match record_of(hash, line) {
            Some(record) => {
                let is_arrival = matches!(record.happening, Happening::Arrived { .. });
                counted.retain(|earlier| !is_arrival && earlier.arrival < record.arrival);
                counted.push(record);
            }
            None => all.damaged.push(format!(
                "{hash}{ENDING}, line {}: can't be understood; it is passed over",
                index + 2
            )),
        }
    }
    all.records.append(&mut counted);
}

fn record_of(hash: &str, line: &str) -> Option<Record> {
    let mut fields = line.split('\t');
    let kind = fields.next()?;
    let fields: Vec<(&str, &str)> = fields.map(|field| field.split_once('=')).collect::<Option<_>>()?;
    let field = |name: &str| {
        fields
            .iter()
            .find(|(key, _)| *key == name)
            .map(|(_, value)| *value)
    };
    let bytes = |name: &str| field(name).and_then(unshown);
    let text = |name: &str| bytes(name).and_then(|bytes| String::from_utf8(bytes).ok());
    let happening = match kind {
        "arrived" => Happening::Arrived {
            path: bytes("path")?,
            mtime_us: field("mtime_us")?.parse().ok()?,
            bytes: field("bytes")?.parse().ok()?,
        },
        "note" => Happening::Note {
            path: bytes("path")?,
            text: text("text")?,
        },
        "withdrawn" => Happening::Withdrawn {
            why: text("why")?,
            when_us: field("when_us")?.parse().ok()?,
        },
        "reinstated" => Happening::Reinstated {
            why: text("why")?,
            when_us: field("when_us")?.parse().ok()?,
        },
        _ => return None,
    };
    Some(Record {
        arrival: field("arrival")?.parse().ok()?,
        hash: hash.to_owned(),
        happening,
    })
}

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "tests lay out real files")]

    use super::*;
    use proptest::prelude::*;

    fn arrived(arrival: u64, mark: char, path: &[u8]) -> Record {
        Record {
            arrival,
            hash: mark.to_string().repeat(64),
            happening: Happening::Arrived {
                path: path.to_vec(),
                mtime_us: -5,
                bytes: 3,
            },
        }
    }

    #[test]
    fn order_paths_and_notes_come_back_from_the_archive_alone() {
        let raw = tempfile::tempdir().expect("a folder");
        for mark in ["aa", "bb", "cc"] {
            fs::create_dir(raw.path().join(mark)).expect("a folder");
        }
        for mark in ["a", "c"] {
            let hash = mark.repeat(64);
            fs::write(content_path(raw.path(), &hash), "raw").expect("a content");
        }
        let note = Record {
            arrival: 3,
            hash: "b".repeat(64),
            happening: Happening::Note {
                path: b"x.csv.note.toml".to_vec(),
                text: "scene = \"noon\"\nremark = 'a\tb'\n".to_owned(),
            },
        };
        let withdrawn = Record {
            arrival: 4,
            hash: "b".repeat(64),
            happening: Happening::Withdrawn {
                why: "the bag\nwas torn = yes".to_owned(),
                when_us: 1_775_310_400_000_000,
            },
        };
        let reinstated = Record {
            arrival: 5,
            hash: "b".repeat(64),
            happening: Happening::Reinstated {
                why: String::new(),
                when_us: -1,
            },
        };
        let records = [
            arrived(1, 'b', b"b\n\xff.csv"),
            arrived(2, 'a', b"a = b.csv"),
            note,
            withdrawn,
            reinstated,
        ];
        for one in records.iter().rev().chain(&records) {
            record(raw.path(), one).expect("kept");
        }
        let read = read_records(raw.path()).expect("read");
        assert_eq!(read.records, records);
        assert_eq!(read.unrecorded, ["c".repeat(64)]);
        assert_eq!(read.without_content, ["b".repeat(64)]);
        assert!(read.damaged.is_empty());
    }

    #[test]
    fn a_damaged_line_is_said_and_the_others_count() {
        let mut all = Records::default();
        let text = format!(
            "{FIRST_LINE}\nnonsense\n{}\tlater=1\narrived\tarrival=x\n",
            line_of(&arrived(7, 'a', b"a"))
        );
        understand(&"a".repeat(64), &text, &mut all);
        assert_eq!(all.records, [arrived(7, 'a', b"a")]);
        assert_eq!(all.damaged.len(), 2);
        assert!(all.damaged[0].contains("line 2") && all.damaged[1].contains("line 4"));
        understand("b", "undim raw record 2\n", &mut all);
        assert_eq!((all.damaged.len(), all.records.len()), (3, 1));
    }

    #[test]
    fn lines_that_never_counted_are_voided_by_those_below() {
        let note = |arrival, text: &str| Record {
            happening: Happening::Note {
                path: b"a.note.toml".to_vec(),
                text: text.to_owned(),
            },
            ..arrived(arrival, 'a', b"a")
        };
        let read = |records: &[Record]| {
            let mut all = Records::default();
            let lines: String = records.iter().map(|one| line_of(one) + "\n").collect();
            understand(&"a".repeat(64), &format!("{FIRST_LINE}\n{lines}"), &mut all);
            all.records
        };
        // The file came again after others, or before them.
        for again in [3, 9] {
            let records = [
                arrived(5, 'a', b"a"),
                note(6, "x"),
                arrived(again, 'a', b"a"),
                note(again + 1, "x"),
            ];
            assert_eq!(read(&records), records[2..]);
        }
        let records = [arrived(1, 'a', b"a"), note(4, "x"), note(4, "y"), note(5, "x")];
        assert_eq!(
            read(&records),
            [records[0].clone(), records[2].clone(), records[3].clone()]
        );
    }

    #[test]
    fn the_same_line_is_kept_again_where_another_stands_below_it() {
        let raw = tempfile::tempdir().expect("a folder");
        fs::create_dir(raw.path().join("aa")).expect("a folder");
        fs::write(content_path(raw.path(), &"a".repeat(64)), "raw").expect("a content");
        for arrival in [5, 5, 6, 5] {
            record(raw.path(), &arrived(arrival, 'a', b"a")).expect("kept");
        }
        assert_eq!(
            read_records(raw.path()).expect("read").records,
            [arrived(5, 'a', b"a")]
        );
    }

    proptest! {
        #[test]
        fn any_note_comes_back(path in prop::collection::vec(any::<u8>(), 0..30), text in any::<String>(), arrival: u64) {
            let written = Record {
                arrival,
                hash: "a".repeat(64),
                happening: Happening::Note { path, text },
            };
            let line = line_of(&written);
            prop_assert_eq!(line.lines().count(), 1);
            prop_assert_eq!(record_of(&written.hash, &line), Some(written));
        }
    }
}
