//! A folder for what is needed in between, which nobody else can look into and which is removed.

use std::fs::{self, DirBuilder};
use std::io;
use std::os::unix::fs::DirBuilderExt as _;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

/// Names are tried this often.
const TRIES: u32 = 100;

/// A folder that is removed when this goes.
pub(crate) struct TemporaryFolder {
    path: PathBuf,
}

impl TemporaryFolder {
    /// A new, empty folder where the system keeps such things. The error is a sentence.
    pub(crate) fn new() -> Result<Self, String> {
        let parent = std::env::temp_dir();
        let failed = |error: io::Error| {
            format!(
                "no temporary folder could be made in {}: {error}; name another place with TMPDIR",
                parent.display()
            )
        };
        let mut last = io::Error::from(io::ErrorKind::AlreadyExists);
        for attempt in 0..TRIES {
            let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
            let name = format!(
                "undim-look-{}-{:x}-{attempt}",
                std::process::id(),
                since.as_nanos()
            );
            let path = parent.join(name);
            match DirBuilder::new().mode(0o700).create(&path) {
                Ok(()) => return Ok(Self { path }),
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => last = error,
                Err(error) => return Err(failed(error)),
            }
        }
        Err(failed(last))
    }

    pub(crate) fn path(&self) -> &Path {
        &self.path
    }
}

impl Drop for TemporaryFolder {
    fn drop(&mut self) {
        if let Err(error) = fs::remove_dir_all(&self.path) {
            tracing::error!(folder = %self.path.display(), %error, "the temporary folder can't be removed; remove it by hand");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt as _;

    #[test]
    fn it_is_private_and_goes() {
        let (one, other) = (TemporaryFolder::new().unwrap(), TemporaryFolder::new().unwrap());
        assert_ne!(one.path(), other.path());
        let mode = fs::metadata(one.path()).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o700);
        fs::write(one.path().join("rows"), "x").unwrap();
        let path = one.path().to_owned();
        drop(one);
        assert!(!path.exists());
    }
}
