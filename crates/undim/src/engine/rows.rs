//! Rows as an importer gave them, kept beside the archive so that no file is read by its importer twice.
//! Derived: what is missing or damaged is read again from the raw file.

use std::fs::{self, File};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};
use undim_import::run::SinkError;
use undim_import::wire::{Caps, Decoder, Encoder, Ending, Frame, Header, RowRef, Sandbox};
use undim_intake::spool::{HIDDEN, hidden_name};
use undim_model::ImportedRow;
use undim_survey::{RowIter, Rows, RowsError};

/// Where rows lie in the state folder.
const ROWS: &str = "rows";

/// Removes rows that a killed program left half written.
pub(crate) fn remove_unfinished(state: &Path) -> io::Result<()> {
    let folders = match fs::read_dir(state.join(ROWS)) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        folders => folders?,
    };
    for folder in folders {
        let folder = folder?;
        if !folder.file_type()?.is_dir() {
            continue;
        }
        for found in fs::read_dir(folder.path())? {
            let found = found?;
            if found
                .file_name()
                .as_encoded_bytes()
                .starts_with(HIDDEN.as_bytes())
            {
                fs::remove_file(found.path())?;
            }
        }
    }
    Ok(())
}

/// Makes the rows of one state folder readable from another; what is read anew goes to the other alone.
pub(crate) fn link_rows(from: &Path, to: &Path) -> io::Result<()> {
    let folders = match fs::read_dir(from.join(ROWS)) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        folders => folders?,
    };
    for folder in folders {
        let folder = folder?;
        if !folder.file_type()?.is_dir() {
            continue;
        }
        let beside = to.join(ROWS).join(folder.file_name());
        fs::create_dir_all(&beside)?;
        for found in fs::read_dir(folder.path())? {
            let found = found?;
            std::os::unix::fs::symlink(found.path(), beside.join(found.file_name()))?;
        }
    }
    Ok(())
}

/// The rows of one content in a file.
#[derive(Debug, Clone)]
pub(crate) struct CachedRows {
    path: PathBuf,
}

impl CachedRows {
    /// The rows of a content, as read with everything that `key` is the fingerprint of.
    pub(crate) fn at(state: &Path, hash: &str, key: &str) -> Self {
        let folder = state.join(ROWS).join(hash.get(..2).unwrap_or("00"));
        Self {
            path: folder.join(format!("{hash}-{}", key.get(..16).unwrap_or(key))),
        }
    }

    /// True where the rows are there, from the first to the ending.
    pub(crate) fn is_whole(&self) -> bool {
        let Ok(file) = File::open(&self.path) else {
            return false;
        };
        let mut decoder = Decoder::new(file, Caps::default());
        let mut rows = Vec::new();
        loop {
            match decoder.next_frame(&mut rows) {
                Ok(Some(Frame::Ended(Ending::Done { .. }))) => return true,
                Ok(Some(_)) => {}
                Ok(None) | Err(_) => return false,
            }
        }
    }

    /// Begins to write them.
    pub(crate) fn begin(&self) -> io::Result<RowsWriter> {
        let folder = self.path.parent().unwrap_or(Path::new("."));
        fs::create_dir_all(folder)?;
        let aside = folder.join(hidden_name("rows"));
        let mut encoder = Encoder::new(BufWriter::with_capacity(1 << 16, File::create(&aside)?));
        let header = Header {
            name: "rows".to_owned(),
            version: "1".to_owned(),
            reads: String::new(),
            abi: String::new(),
        };
        encoder
            .sandbox(Sandbox::default())
            .and_then(|()| encoder.importer(&header))
            .map_err(io::Error::other)?;
        Ok(RowsWriter {
            encoder,
            aside,
            path: self.path.clone(),
        })
    }
}

/// Rows being written aside.
pub(crate) struct RowsWriter {
    encoder: Encoder<BufWriter<File>>,
    aside: PathBuf,
    path: PathBuf,
}

impl RowsWriter {
    /// Some more.
    pub(crate) fn write(&mut self, rows: &[ImportedRow]) -> Result<(), SinkError> {
        for row in rows {
            self.encoder.row(&RowRef::from(row))?;
        }
        Ok(())
    }

    /// Puts them in place. Not synced: after a power cut the ending is missing and they are read again.
    pub(crate) fn finish(self) -> io::Result<()> {
        let mut to = self.encoder.finish().map_err(io::Error::other)?;
        io::Write::flush(&mut to)?;
        fs::rename(&self.aside, &self.path)
    }

    /// Throws them away.
    pub(crate) fn discard(self) {
        let _ = fs::remove_file(&self.aside);
    }
}

impl Rows for CachedRows {
    fn open(&self) -> Result<RowIter<'_>, RowsError> {
        let failed = |error: &dyn std::fmt::Display| RowsError::Unreadable(error.to_string());
        let file = File::open(&self.path).map_err(|error| failed(&error))?;
        let mut decoder = Decoder::new(file, Caps::default());
        let mut batch: Vec<ImportedRow> = Vec::new();
        let mut next = 0;
        let mut over = false;
        Ok(Box::new(std::iter::from_fn(move || {
            loop {
                if let Some(row) = batch.get_mut(next) {
                    next += 1;
                    return Some(Ok(std::mem::take(row)));
                }
                if over {
                    return None;
                }
                next = 0;
                batch.clear();
                match decoder.next_frame(&mut batch) {
                    Ok(Some(Frame::Ended(Ending::Done { .. }))) => over = true,
                    Ok(Some(_)) => {}
                    Ok(None) => {
                        over = true;
                        return Some(Err(RowsError::Unreadable("they end in the middle".to_owned())));
                    }
                    Err(error) => {
                        over = true;
                        return Some(Err(RowsError::Unreadable(error.to_string())));
                    }
                }
            }
        })))
    }
}
