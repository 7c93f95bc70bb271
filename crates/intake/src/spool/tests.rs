//! Archiving and putting away on a real file system.

#![expect(clippy::disallowed_methods, reason = "tests lay out real files")]

use super::*;
use crate::lease::{self, Lease};
use crate::listing::{Entry, Stamp, list};
use rustix::fd::BorrowedFd;
use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use tempfile::TempDir;

static GO_ON: AtomicBool = AtomicBool::new(false);
static STOP: AtomicBool = AtomicBool::new(true);

fn at_rest(_: BorrowedFd<'_>) -> Lease {
    Lease::AtRest
}

fn being_written(_: BorrowedFd<'_>) -> Lease {
    Lease::BeingWritten
}

fn options() -> ArchiveOptions<'static> {
    ArchiveOptions {
        max_file: 1 << 20,
        cancel: &GO_ON,
        ask: at_rest,
        take_if_unsure: false,
    }
}

struct Place {
    _folder: TempDir,
    inbox: PathBuf,
    raw: PathBuf,
}

impl Place {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let (inbox, raw) = (folder.path().join("inbox"), folder.path().join("raw"));
        fs::create_dir(&inbox).expect("a folder");
        fs::create_dir(&raw).expect("a folder");
        Self {
            _folder: folder,
            inbox,
            raw,
        }
    }

    fn at(&self, path: &[u8]) -> PathBuf {
        self.inbox.join(OsStr::from_bytes(path))
    }

    fn drop_file(&self, path: &[u8], bytes: &[u8]) -> Entry {
        let file = self.at(path);
        fs::create_dir_all(file.parent().expect("a folder")).expect("folders");
        fs::write(file, bytes).expect("a file");
        self.entry(path)
    }

    fn entry(&self, path: &[u8]) -> Entry {
        list(&self.inbox)
            .entries
            .into_iter()
            .find(|entry| entry.path == path)
            .expect("listed")
    }

    fn archive(&self, entry: &Entry) -> Result<Archived, ArchiveError> {
        archive(&self.inbox, entry, &self.raw, &options())
    }

    fn raw_names(&self) -> Vec<String> {
        names(&self.raw)
    }
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .expect("a folder")
        .map(|found| {
            found
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    names.sort();
    names
}

#[test]
fn a_content_lies_once_under_its_blake3_whatever_it_is_called() {
    let place = Place::new();
    let first = place.drop_file(b"reef/b\n\xff.csv", &[0]);
    let archived = place.archive(&first).expect("archived");
    // The BLAKE3 authors' test_vectors.json, input_len 1 (one zero byte), first 32 bytes of its hash.
    assert_eq!(
        archived.hash,
        "2d3adedff11b61f14c886e35afa036736dcd87a74d27b5c1510225d0f592e213"
    );
    assert_eq!((archived.bytes, archived.already_there), (1, false));
    let kept = content_path(&place.raw, &archived.hash);
    assert_eq!(fs::read(&kept).expect("kept"), [0]);
    assert!(fs::metadata(&kept).expect("kept").permissions().readonly());
    let copy = place.drop_file(b"copy.csv", &[0]);
    assert!(place.archive(&copy).expect("archived").already_there);
    assert_eq!(place.raw_names(), ["2d"]);
}

#[test]
fn a_content_cut_short_in_the_archive_is_mended() {
    let place = Place::new();
    let entry = place.drop_file(b"a.csv", b"abc");
    let archived = place.archive(&entry).expect("archived");
    let kept = content_path(&place.raw, &archived.hash);
    fs::remove_file(&kept).expect("removed");
    fs::write(&kept, "a").expect("cut");
    assert!(!place.archive(&entry).expect("archived").already_there);
    assert_eq!(fs::read(&kept).expect("kept"), b"abc");
}

#[test]
fn what_is_not_at_rest_waits_and_leaves_nothing_behind() {
    let place = Place::new();
    let entry = place.drop_file(b"a.csv", b"abc");
    let not_yet = |result: Result<Archived, ArchiveError>| match result.expect_err("waits") {
        ArchiveError::NotYet(why) => why,
        other => panic!("{other}"),
    };
    let asked = |ask, take_if_unsure| {
        archive(
            &place.inbox,
            &entry,
            &place.raw,
            &ArchiveOptions {
                ask,
                take_if_unsure,
                ..options()
            },
        )
    };
    assert_eq!(not_yet(asked(being_written, true)), NotYet::BeingWritten);
    assert_eq!(not_yet(asked(lease::cannot_tell, false)), NotYet::Unsure);
    assert!(asked(lease::cannot_tell, true).is_ok());

    fs::write(place.at(b"a.csv"), "abcd").expect("changed");
    assert_eq!(not_yet(place.archive(&entry)), NotYet::Changed);
    fs::remove_file(place.at(b"a.csv")).expect("removed");
    assert_eq!(not_yet(place.archive(&entry)), NotYet::Vanished);
    std::os::unix::fs::symlink("/dev/zero", place.at(b"a.csv")).expect("a link");
    assert_eq!(not_yet(place.archive(&entry)), NotYet::Changed);
    assert_eq!(place.raw_names(), ["64"]);
}

#[test]
fn too_large_unreadable_and_told_to_stop_are_said() {
    let place = Place::new();
    let entry = place.drop_file(b"a.csv", &[7; 100]);
    let with = |options: ArchiveOptions<'_>| archive(&place.inbox, &entry, &place.raw, &options);
    assert!(matches!(
        with(ArchiveOptions {
            max_file: 99,
            ..options()
        }),
        Err(ArchiveError::TooLarge { bytes: 100, max: 99 })
    ));
    assert!(matches!(
        with(ArchiveOptions {
            cancel: &STOP,
            ..options()
        }),
        Err(ArchiveError::Cancelled)
    ));
    assert!(place.raw_names().is_empty());
    // A sparse file of 10 TiB is refused by its size, before a byte is read.
    let sparse = fs::File::create(place.at(b"sparse.csv")).expect("a file");
    if sparse.set_len(10 << 40).is_ok() {
        let sparse = place.entry(b"sparse.csv");
        assert!(matches!(
            place.archive(&sparse),
            Err(ArchiveError::TooLarge { .. })
        ));
    }
    let gone = place.raw.join("none");
    assert!(matches!(
        archive(&place.inbox, &entry, &gone, &options()),
        Err(ArchiveError::Archive { .. })
    ));
}

#[test]
fn leftovers_of_a_killed_program_are_removed() {
    let place = Place::new();
    let entry = place.drop_file(b"a.csv", b"abc");
    place.archive(&entry).expect("archived");
    fs::write(place.raw.join(".incoming-1-0"), "half").expect("a leftover");
    fs::write(place.raw.join("64/.undim-1-0-"), "half").expect("a leftover");
    assert_eq!(remove_leftovers(&place.raw).expect("removed"), 2);
    assert_eq!(place.raw_names(), ["64"]);
}

#[test]
fn a_note_is_read_with_the_same_checks() {
    let place = Place::new();
    let entry = place.drop_file(b"a.csv.note.toml", b"pumps = \"off\"\n");
    assert_eq!(
        read_small(&place.inbox, &entry, &options()).expect("read"),
        b"pumps = \"off\"\n"
    );
    let small = ArchiveOptions {
        max_file: 3,
        ..options()
    };
    assert!(matches!(
        read_small(&place.inbox, &entry, &small),
        Err(ArchiveError::TooLarge { .. })
    ));
}

#[test]
fn put_away_keeps_folders_and_overwrites_nothing() {
    let place = Place::new();
    let mut moved = Vec::new();
    for round in 0..3_u8 {
        let entry = place.drop_file(b"reef/phone/may.csv", &[round; 4]);
        let path = put_away(&place.inbox, &entry.path, entry.stamp, Shelf::Taken).expect("moved");
        assert_eq!(fs::read(place.at(&path)).expect("kept"), [round; 4]);
        moved.push(String::from_utf8(path).expect("text"));
    }
    assert_eq!(
        moved,
        [
            "taken/reef/phone/may.csv",
            "taken/reef/phone/may-2.csv",
            "taken/reef/phone/may-3.csv"
        ]
    );
    assert!(list(&place.inbox).entries.is_empty());
}

#[test]
fn names_too_long_for_a_number_or_a_reason_are_cut_and_given_whole() {
    let place = Place::new();
    let name = [&[b'\n'; 3][..], &[b'n'; 248], b".csv"].concat();
    let mut paths = Vec::new();
    for (round, ending) in [(0_u8, "n.csv.why.txt"), (1, "n-2.csv.why.txt")] {
        let entry = place.drop_file(&name, &[round]);
        let path = set_aside(
            &place.inbox,
            &name,
            entry.stamp,
            "line 3: two readings of one date",
        )
        .expect("moved");
        let found = names(&place.inbox.join("set-aside"));
        let why = found
            .iter()
            .find(|name| name.ends_with(ending))
            .expect("a reason");
        let why = [&b"set-aside/"[..], why.as_bytes()].concat();
        let text = fs::read_to_string(place.at(&why)).expect("text");
        assert!(
            text.starts_with(&format!("File: \\n\\n\\n{}.csv\n\n", "n".repeat(248))),
            "{text}"
        );
        assert!(text.ends_with("line 3: two readings of one date\n"));
        paths.extend([path, why]);
    }
    paths.sort();
    paths.dedup();
    assert_eq!(paths.len(), 4);
    let short = place.drop_file(b"may.csv", b"x");
    let path = set_aside(&place.inbox, b"may.csv", short.stamp, "why\n").expect("moved");
    assert_eq!(path, b"set-aside/may.csv");
    assert_eq!(
        fs::read_to_string(place.at(b"set-aside/may.csv.why.txt")).expect("text"),
        "why\n"
    );
}

#[test]
fn a_reason_that_a_killed_program_left_is_used_and_another_one_is_not() {
    let place = Place::new();
    let entry = place.drop_file(b"may.csv", b"x");
    fs::create_dir_all(place.at(b"set-aside")).expect("a folder");
    fs::write(place.at(b"set-aside/may.csv.why.txt"), "why\n").expect("a reason");
    fs::write(place.at(b"set-aside/.undim-1-2-why"), "wh").expect("half a reason");
    assert_eq!(remove_unfinished_reasons(&place.inbox).expect("removed"), 1);
    let path = set_aside(&place.inbox, b"may.csv", entry.stamp, "why").expect("moved");
    assert_eq!(path, b"set-aside/may.csv");
    fs::remove_file(place.at(&path)).expect("mended elsewhere");
    let entry = place.drop_file(b"may.csv", b"y");
    let path = set_aside(&place.inbox, b"may.csv", entry.stamp, "another").expect("moved");
    assert_eq!(path, b"set-aside/may-2.csv");
    let old = Stamp {
        size: 99,
        ..entry.stamp
    };
    let entry = place.drop_file(b"may.csv", b"z");
    assert!(matches!(
        set_aside(&place.inbox, b"may.csv", old, "a third"),
        Err(PutAwayError::Replaced)
    ));
    assert_eq!(fs::read(place.at(&entry.path)).expect("it stays"), b"z");
    assert_eq!(
        names(&place.inbox.join("set-aside")),
        ["may-2.csv", "may-2.csv.why.txt", "may.csv.why.txt"]
    );
}

#[test]
fn a_file_that_is_not_the_one_read_stays() {
    let place = Place::new();
    let old = place.drop_file(b"a.csv", b"old");
    fs::write(place.at(b"b.csv"), "new").expect("a file");
    fs::rename(place.at(b"b.csv"), place.at(b"a.csv")).expect("renamed onto it");
    assert!(matches!(
        put_away(&place.inbox, b"a.csv", old.stamp, Shelf::Taken),
        Err(PutAwayError::Replaced)
    ));
    assert!(matches!(
        delete(&place.inbox, b"a.csv", old.stamp),
        Err(PutAwayError::Replaced)
    ));
    assert_eq!(fs::read(place.at(b"a.csv")).expect("there"), b"new");
    fs::remove_file(place.at(b"a.csv")).expect("removed");
    assert!(matches!(
        put_away(&place.inbox, b"a.csv", old.stamp, Shelf::Taken),
        Err(PutAwayError::Vanished)
    ));
    assert!(matches!(
        put_away(&place.inbox, b"../raw", old.stamp, Shelf::Taken),
        Err(PutAwayError::Unusable { .. })
    ));
}

#[test]
fn delete_leaves_neither_the_file_nor_empty_folders() {
    let place = Place::new();
    let entry = place.drop_file(b"reef/a.csv", b"x");
    delete(&place.inbox, b"reef/a.csv", entry.stamp).expect("deleted");
    assert_eq!(names(&place.inbox), ["reef"]);
    assert!(names(&place.inbox.join("reef")).is_empty());
}
