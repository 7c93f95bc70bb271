//! The bytes of the file.

use crate::Failure;
use std::io::{self, Read};

/// The file, from its first byte to its last; it can be read once and not be wound back.
///
/// Reads are passed straight on, so wrap it in a [`std::io::BufReader`] for small ones.
pub struct Input<'a> {
    source: &'a mut dyn Read,
    file_name: &'a str,
}

impl<'a> Input<'a> {
    pub(crate) fn new(source: &'a mut dyn Read, file_name: &'a str) -> Self {
        Self { source, file_name }
    }

    /// The file's name without its folder; bytes that are no UTF-8 are replaced.
    pub fn file_name(&self) -> &'a str {
        self.file_name
    }

    /// The rest of the file, or a failure where it is longer than `limit` bytes.
    pub fn read_to_limit(&mut self, limit: usize) -> Result<Vec<u8>, Failure> {
        let mut bytes = Vec::new();
        let read = self.by_ref().take(limit as u64 + 1).read_to_end(&mut bytes)?;
        if read > limit {
            return Err(Failure::unusable(
                0,
                0,
                format!("the file is longer than the {limit} bytes that can be read at once; split it"),
            ));
        }
        Ok(bytes)
    }
}

impl Read for Input<'_> {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        self.source.read(buf)
    }
}
