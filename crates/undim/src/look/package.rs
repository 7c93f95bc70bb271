//! The folder that `--out` names: page and package, complete or not there; nothing is ever overwritten.

use super::Surveys;
use crate::engine::{Cancel, EngineError};
use rustix::fs::{CWD, RenameFlags, renameat_with};
use rustix::io::Errno;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Why it was not written.
#[derive(Debug, thiserror::Error)]
pub(crate) enum OutError {
    /// There is something in its place.
    #[error("{0} is not empty, and nothing is ever overwritten; name a folder that is not there yet")]
    NotEmpty(PathBuf),
    /// The system.
    #[error("{path} could not be written: {error}")]
    Unwritable {
        /// What was to be written.
        path: PathBuf,
        /// What the system says.
        error: io::Error,
    },
    /// A package.
    #[error(transparent)]
    Package(#[from] EngineError),
}

/// The folder, made or found empty.
pub(crate) struct Out {
    folder: PathBuf,
    /// True where it was not there before.
    made: bool,
}

impl Out {
    /// Asks for the folder without making it: a mistake is told before a long file is read.
    pub(crate) fn check(folder: &Path) -> Result<(), OutError> {
        match fs::read_dir(folder) {
            Ok(mut found) => match found.next() {
                None => Ok(()),
                Some(_) => Err(OutError::NotEmpty(folder.to_owned())),
            },
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
            Err(error) if error.kind() == io::ErrorKind::NotADirectory => {
                Err(OutError::NotEmpty(folder.to_owned()))
            }
            Err(error) => Err(unwritable(folder)(error)),
        }
    }

    /// Writes the packages of a file's surveys: of one survey into the folder itself, of several into a
    /// folder for each. Gives the newest page.
    pub(crate) fn write(folder: &Path, surveys: &Surveys<'_>, cancel: &Cancel) -> Result<PathBuf, OutError> {
        Self::check(folder)?;
        let out = Self {
            folder: folder.to_owned(),
            made: !folder.exists(),
        };
        fs::create_dir_all(folder).map_err(unwritable(folder))?;
        let written = out.fill(surveys, cancel);
        if written.is_err() && out.made {
            // Only what is empty goes.
            let _ = fs::remove_dir(folder);
        }
        written
    }

    fn fill(&self, surveys: &Surveys<'_>, cancel: &Cancel) -> Result<PathBuf, OutError> {
        let ids = surveys.write_packages(&self.folder, cancel)?;
        let newest = ids
            .last()
            .map_or_else(|| self.folder.clone(), |id| self.folder.join(id));
        if let [_] = ids.as_slice() {
            self.lift(&newest)?;
            return Ok(self.folder.join("report.html"));
        }
        Ok(newest.join("report.html"))
    }

    /// Moves the files of a lone survey's folder up into the folder itself, in order of name.
    fn lift(&self, from: &Path) -> Result<(), OutError> {
        let mut names = fs::read_dir(from)
            .and_then(|found| {
                found
                    .map(|entry| Ok(entry?.file_name()))
                    .collect::<io::Result<Vec<_>>>()
            })
            .map_err(unwritable(from))?;
        names.sort();
        for name in names {
            let to = self.folder.join(&name);
            rename_to_free(&from.join(&name), &to).map_err(unwritable(&to))?;
        }
        fs::remove_dir(from).map_err(unwritable(from))
    }
}

/// Gives a file another name, unless that is taken.
fn rename_to_free(from: &Path, to: &Path) -> io::Result<()> {
    match renameat_with(CWD, from, CWD, to, RenameFlags::NOREPLACE) {
        // A file system that can't: the folder was empty a moment ago.
        Err(Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP) if !to.exists() => fs::rename(from, to),
        renamed => Ok(renamed?),
    }
}

fn unwritable(path: &Path) -> impl FnOnce(io::Error) -> OutError {
    let path = path.to_owned();
    move |error| OutError::Unwritable { path, error }
}
