//! Writing so that a name holds the old bytes or the new ones, never half of them.
//!
//! Temporary file, sync, rename, sync of the folder. A failed sync is final for that file: the system may
//! have thrown the bytes away and would report success the second time, so the file is removed.

use super::archive::sync_folder;
use rustix::fs::{CWD, RenameFlags};
use rustix::io::Errno;
use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};

/// What the names of unfinished files and folders begin with.
pub const HIDDEN: &str = ".undim-";

/// Folders within folders of the outbox, at most: tank, `mounted`, station, part.
const OUTBOX_DEPTH: usize = 6;

/// A name for what is not finished; never the same twice in one program.
pub fn hidden_name(end: &str) -> String {
    static NEXT: AtomicU64 = AtomicU64::new(0);
    let number = NEXT.fetch_add(1, Ordering::Relaxed);
    let short: String = end.chars().take(60).collect();
    format!("{HIDDEN}{}-{number}-{short}", std::process::id())
}

/// Writes a whole file under its name in `folder`.
pub fn write_atomically(folder: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    let hidden = folder.join(hidden_name(""));
    let written = write_synced(&hidden, bytes).and_then(|()| fs::rename(&hidden, folder.join(name)));
    if let Err(error) = written {
        let _ = fs::remove_file(&hidden);
        return Err(error);
    }
    sync_folder(folder)
}

/// A new file, written and synced; an error leaves it to be removed.
pub(super) fn write_synced(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = OpenOptions::new().write(true).create_new(true).open(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// Puts a finished folder in place whole: syncs everything in `parent/hidden`, exchanges it with
/// `parent/name` (or renames it where there is none yet) and removes the old one.
pub fn publish_folder(parent: &Path, hidden: &str, name: &str) -> io::Result<()> {
    let (from, to) = (parent.join(hidden), parent.join(name));
    sync_all_below(&from)?;
    match rustix::fs::renameat_with(CWD, &from, CWD, &to, RenameFlags::EXCHANGE) {
        Ok(()) => {
            sync_folder(parent)?;
            fs::remove_dir_all(&from)
        }
        Err(Errno::NOENT) => {
            fs::rename(&from, &to)?;
            sync_folder(parent)
        }
        // A file system that can't exchange: for a moment the name is missing, never half there.
        Err(Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP) => {
            let old = parent.join(hidden_name(name));
            match fs::rename(&to, &old) {
                Ok(()) => {}
                Err(error) if error.kind() == io::ErrorKind::NotFound => {}
                Err(error) => return Err(error),
            }
            fs::rename(&from, &to)?;
            sync_folder(parent)?;
            if old.exists() {
                fs::remove_dir_all(&old)
            } else {
                Ok(())
            }
        }
        Err(error) => Err(error.into()),
    }
}

fn sync_all_below(folder: &Path) -> io::Result<()> {
    for found in fs::read_dir(folder)? {
        let found = found?;
        if found.file_type()?.is_dir() {
            sync_all_below(&found.path())?;
        } else {
            OpenOptions::new().read(true).open(found.path())?.sync_all()?;
        }
    }
    sync_folder(folder)
}

/// Removes what a killed program left unfinished in the outbox: below the tanks' folders every folder whose
/// name begins with a dot, and everywhere what [`hidden_name`] named. Gives how many. In the outbox itself
/// other dotted names are somebody else's, as a sync client's.
pub fn remove_unfinished(outbox: &Path) -> io::Result<usize> {
    remove_below(outbox, 0)
}

fn remove_below(folder: &Path, depth: usize) -> io::Result<usize> {
    let names = match fs::read_dir(folder) {
        Ok(names) => names,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(0),
        Err(error) => return Err(error),
    };
    let mut removed = 0;
    for found in names {
        let found = found?;
        let is_folder = found.file_type()?.is_dir();
        let name = found.file_name();
        let name = name.as_encoded_bytes();
        let ours = name.starts_with(HIDDEN.as_bytes());
        if is_folder && (ours || (depth > 0 && name.starts_with(b"."))) {
            fs::remove_dir_all(found.path())?;
            removed += 1;
        } else if ours {
            fs::remove_file(found.path())?;
            removed += 1;
        } else if is_folder && !name.starts_with(b".") && depth < OUTBOX_DEPTH {
            removed += remove_below(&found.path(), depth + 1)?;
        }
    }
    Ok(removed)
}

/// Removes unfinished files in the folders of the raw archive.
pub(super) fn remove_hidden_files_below(folder: &Path) -> io::Result<usize> {
    let mut removed = 0;
    for found in fs::read_dir(folder)? {
        let found = found?;
        if found.file_type()?.is_dir() {
            removed += remove_hidden_files_below(&found.path())?;
        } else if found
            .file_name()
            .as_encoded_bytes()
            .starts_with(HIDDEN.as_bytes())
        {
            fs::remove_file(found.path())?;
            removed += 1;
        }
    }
    Ok(removed)
}

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "tests lay out real files")]

    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .expect("a folder")
            .map(|found| found.expect("an entry").file_name().into_string().expect("text"))
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_written_file_replaces_the_old_one_and_leaves_nothing_beside_it() {
        let place = tempfile::tempdir().expect("a folder");
        write_atomically(place.path(), "status.json", b"one").expect("written");
        write_atomically(place.path(), "status.json", b"two").expect("written");
        assert_eq!(fs::read(place.path().join("status.json")).expect("read"), b"two");
        assert_eq!(names(place.path()), ["status.json"]);
        fs::create_dir(place.path().join("taken-name")).expect("a folder");
        fs::write(place.path().join("taken-name/x"), "x").expect("a file");
        assert!(write_atomically(place.path(), "taken-name", b"three").is_err());
        assert_eq!(names(place.path()), ["status.json", "taken-name"]);
    }

    #[test]
    fn a_folder_appears_whole_and_takes_the_old_ones_place() {
        let place = tempfile::tempdir().expect("a folder");
        for (round, files) in [["a.csv", "b.csv"], ["a.csv", "c.csv"]].into_iter().enumerate() {
            let hidden = hidden_name("2026-04-03-noon");
            fs::create_dir_all(place.path().join(&hidden).join("deep")).expect("a folder");
            for file in files {
                fs::write(place.path().join(&hidden).join(file), round.to_string()).expect("a file");
            }
            publish_folder(place.path(), &hidden, "2026-04-03-noon").expect("published");
            assert_eq!(names(place.path()), ["2026-04-03-noon"]);
        }
        assert_eq!(
            names(&place.path().join("2026-04-03-noon")),
            ["a.csv", "c.csv", "deep"]
        );
    }

    #[test]
    fn unfinished_things_go_and_other_peoples_stay() {
        let outbox = tempfile::tempdir().expect("a folder");
        for folder in [
            ".sync-client",
            ".undim-1-0-x/deep",
            "reef/.half",
            "reef/2026/x",
            "reef/mounted/top/.part",
        ] {
            fs::create_dir_all(outbox.path().join(folder)).expect("a folder");
        }
        for file in [
            ".undim-1-1-",
            "reef/.undim-9-9-",
            "reef/.keepers-own",
            "status.json",
        ] {
            fs::write(outbox.path().join(file), "x").expect("a file");
        }
        assert_eq!(remove_unfinished(outbox.path()).expect("removed"), 5);
        assert_eq!(names(outbox.path()), [".sync-client", "reef", "status.json"]);
        assert_eq!(
            names(&outbox.path().join("reef")),
            [".keepers-own", "2026", "mounted"]
        );
        assert_eq!(
            remove_unfinished(&outbox.path().join("none")).expect("nothing there"),
            0
        );
    }
}
