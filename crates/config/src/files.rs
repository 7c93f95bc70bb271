//! Reading the site's files: the only place of this crate that touches a disk.
#![expect(
    clippy::disallowed_methods,
    reason = "the site's files are read here and handed as text to everything else"
)]

use crate::mistake::{Mistake, shown_path};
use crate::sheet::whole_file;
use std::fs;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

/// The site file's name.
pub const SITE_FILE: &str = "undim.toml";

/// Larger files were never typed by a keeper.
const LARGEST: u64 = 1 << 20;

/// A file that was read.
#[derive(Debug)]
pub(crate) struct Read {
    /// Relative to the site.
    pub(crate) path: PathBuf,
    pub(crate) text: String,
    /// BLAKE3 of its bytes.
    pub(crate) blake3: String,
}

/// The folder of the site that a path names: the folder itself, or the folder of an `undim.toml`.
pub fn site_at(path: &Path) -> Option<PathBuf> {
    let path = fs::canonicalize(path).ok()?;
    let root = if path.is_dir() {
        path
    } else if path.file_name().is_some_and(|name| name == SITE_FILE) {
        path.parent()?.to_owned()
    } else {
        return None;
    };
    fs::symlink_metadata(root.join(SITE_FILE)).ok()?;
    Some(root)
}

/// The nearest folder with an `undim.toml`, from `start` upwards.
pub fn find_site(start: &Path) -> Option<PathBuf> {
    let start = fs::canonicalize(start).ok()?;
    start.ancestors().find_map(site_at)
}

/// The site's folder by its own name, for people.
pub(crate) fn folder_name(root: &Path) -> Option<String> {
    let root = fs::canonicalize(root).ok()?;
    let name = root.file_name()?;
    Some(shown_path(Path::new(name)))
}

/// Reads one file of the site.
pub(crate) fn read(root: &Path, path: &Path) -> Result<Read, Box<Mistake>> {
    let say = |text: &str, hint: &str| Err(Box::new(whole_file(path, text, hint)));
    let bytes = match read_bytes(&root.join(path)) {
        Ok(Some(bytes)) => bytes,
        Ok(None) => {
            return say(
                "this is no regular file",
                "put a plain text file in its place, or remove it",
            );
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound && path == Path::new(SITE_FILE) => {
            return say(
                "there is no undim.toml",
                "an empty one is a valid site; `undim new` writes a first one",
            );
        }
        Err(error) => {
            return say(
                &format!("this file can't be read: {error}"),
                "check that it is there and may be read",
            );
        }
    };
    if bytes.len() as u64 > LARGEST {
        return say(
            "this file is larger than 1 MiB",
            "configuration is typed by hand; is it the right file?",
        );
    }
    let blake3 = blake3::hash(&bytes).to_hex().to_string();
    match String::from_utf8(bytes) {
        Ok(text) => Ok(Read {
            path: path.to_owned(),
            text,
            blake3,
        }),
        Err(error) => {
            let line = 1 + error
                .as_bytes()
                .iter()
                .take(error.utf8_error().valid_up_to())
                .filter(|b| **b == b'\n')
                .count();
            say(
                &format!("line {line} of this file is no UTF-8 text"),
                "save it again as UTF-8",
            )
        }
    }
}

/// A file's bytes, at most one more than the largest allowed; `None` where it is no regular file, which
/// is asked first because opening a pipe waits for its writer.
fn read_bytes(path: &Path) -> io::Result<Option<Vec<u8>>> {
    if !fs::metadata(path)?.is_file() {
        return Ok(None);
    }
    let mut bytes = Vec::new();
    fs::File::open(path)?.take(LARGEST + 1).read_to_end(&mut bytes)?;
    Ok(Some(bytes))
}

/// The files of a folder with an extension, sorted by name, each with its stem; a missing folder has none.
/// Hidden ones are an editor's own.
pub(crate) fn list(
    root: &Path,
    folder: &str,
    extension: &str,
    mistakes: &mut Vec<Mistake>,
) -> Vec<(String, PathBuf)> {
    let entries = match fs::read_dir(root.join(folder)) {
        Ok(entries) => entries,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Vec::new(),
        Err(error) => {
            mistakes.push(whole_file(
                Path::new(folder),
                format!("this folder can't be read: {error}"),
                "check that it is a folder and may be read",
            ));
            return Vec::new();
        }
    };
    let mut found = Vec::new();
    for entry in entries {
        let name = match entry {
            Ok(entry) => PathBuf::from(entry.file_name()),
            Err(error) => {
                let text = format!("this folder can't be read to its end: {error}");
                mistakes.push(whole_file(Path::new(folder), text, "check the disk"));
                break;
            }
        };
        let fits = name
            .extension()
            .is_some_and(|written| written.eq_ignore_ascii_case(extension));
        let hidden = name.as_os_str().as_encoded_bytes().starts_with(b".");
        if !fits || hidden {
            continue;
        }
        let path = Path::new(folder).join(&name);
        if name.extension().is_some_and(|written| written != extension) {
            let text = format!("only names that end in .{extension} in small letters count here");
            mistakes.push(whole_file(&path, text, "rename the file"));
            continue;
        }
        match name.file_stem().and_then(|stem| stem.to_str()) {
            Some(stem) => found.push((stem.to_owned(), path)),
            None => mistakes.push(whole_file(
                &path,
                "this file's name is no UTF-8 text",
                "rename the file",
            )),
        }
    }
    found.sort();
    mistakes.sort_by(|a, b| a.file.cmp(&b.file));
    found
}
