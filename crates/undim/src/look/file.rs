//! The file that is looked at: opened once, whatever becomes of its name.

use std::fs::{File, Metadata, OpenOptions};
use std::io::{self, Read as _, Seek as _};
use std::os::unix::ffi::OsStrExt as _;
use std::os::unix::fs::{MetadataExt as _, OpenOptionsExt as _};
use std::path::Path;
use undim_intake::names;

/// An opened file.
pub(crate) struct LookFile {
    pub(crate) file: File,
    /// Its name without its folder, as it is shown.
    pub(crate) name: String,
    /// The same as it is.
    pub(crate) name_bytes: Vec<u8>,
    /// Its size.
    pub(crate) bytes: u64,
    /// When it was last changed, µs since 1970.
    pub(crate) mtime_us: i64,
    /// Name and text of the descriptions that lie beside it.
    pub(crate) descriptions: Vec<(String, String)>,
    metadata: Metadata,
}

impl LookFile {
    /// Opens a file for reading. The error is a sentence.
    pub(crate) fn open(path: &Path) -> Result<Self, String> {
        let shown = names::shown(path.as_os_str().as_bytes());
        let failed = |error: io::Error| match error.kind() {
            io::ErrorKind::NotFound => format!("there is no file {shown}; check how its name is written"),
            _ => format!("{shown} can't be read: {error}"),
        };
        // A pipe without a writer would hold up an open that waits.
        let flags = rustix::fs::OFlags::NONBLOCK.bits().cast_signed();
        let file = OpenOptions::new()
            .read(true)
            .custom_flags(flags)
            .open(path)
            .map_err(failed)?;
        let metadata = file.metadata().map_err(failed)?;
        if !metadata.is_file() {
            let what = if metadata.is_dir() {
                "a folder"
            } else {
                "no regular file"
            };
            return Err(format!("{shown} is {what}; name one file of readings"));
        }
        let name_bytes = path
            .file_name()
            .map_or_else(Vec::new, |name| name.as_bytes().to_vec());
        Ok(Self {
            file,
            name: names::shown(&name_bytes),
            name_bytes,
            bytes: metadata.len(),
            mtime_us: metadata.mtime().saturating_mul(1_000_000) + metadata.mtime_nsec() / 1000,
            descriptions: descriptions_beside(path),
            metadata,
        })
    }

    /// False where somebody wrote to it since it was opened.
    pub(crate) fn is_unchanged(&self) -> bool {
        let state = |metadata: &Metadata| (metadata.len(), metadata.mtime(), metadata.mtime_nsec());
        self.file
            .metadata()
            .is_ok_and(|now| state(&now) == state(&self.metadata))
    }

    /// BLAKE3 of its bytes, lower-case hexadecimal.
    pub(crate) fn blake3(&self) -> io::Result<String> {
        let mut file = &self.file;
        file.rewind()?;
        let mut hasher = blake3::Hasher::new();
        let mut buffer = vec![0; 1 << 16];
        loop {
            match file.read(&mut buffer)? {
                0 => return Ok(hasher.finalize().to_hex().to_string()),
                count => {
                    hasher.update(&buffer[..count]);
                }
            }
        }
    }
}

/// A description is text, and written for one table or some.
const LARGEST_DESCRIPTION: u64 = 1 << 20;

/// What lies beside a file and may describe it, the file's own first.
fn descriptions_beside(path: &Path) -> Vec<(String, String)> {
    let Some(name) = path.file_name() else {
        return Vec::new();
    };
    let own = names::metadata_of_file(name.as_bytes());
    let shared = b"datapackage.json".to_vec();
    let found = [own, shared].into_iter().filter_map(|name| {
        let beside = path.with_file_name(std::ffi::OsStr::from_bytes(&name));
        let metadata = std::fs::metadata(&beside).ok()?;
        let fits = metadata.is_file() && metadata.len() <= LARGEST_DESCRIPTION;
        let text = fits.then(|| std::fs::read_to_string(&beside).ok()).flatten()?;
        Some((names::shown(&name), text))
    });
    found.collect()
}
