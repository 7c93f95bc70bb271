//! The file's own bytes: as they are, or unpacked where the file is compressed with gzip (RFC 1952).

use flate2::read::MultiGzDecoder;
use std::io::{self, Chain, Cursor, Read};
use undim_sdk::Input;

/// What a gzip file begins with (RFC 1952, 2.3.1).
pub(crate) const GZIP: &[u8] = b"\x1f\x8b";

/// A file to read from.
pub(crate) enum Unpacked<'s, 'i> {
    /// As it is.
    Plain(Whole<'s, 'i>),
    /// Unpacked while it is read.
    Gzip(Box<MultiGzDecoder<Whole<'s, 'i>>>),
}

/// A file from its first byte, of which the beginning was looked at already.
type Whole<'s, 'i> = Chain<Cursor<Vec<u8>>, &'s mut Input<'i>>;

impl<'s, 'i> Unpacked<'s, 'i> {
    /// Looks at the first bytes.
    pub(crate) fn open(input: &'s mut Input<'i>) -> io::Result<Self> {
        let mut start = Vec::with_capacity(GZIP.len());
        input.by_ref().take(GZIP.len() as u64).read_to_end(&mut start)?;
        let is_gzip = start == GZIP;
        let whole = Cursor::new(start).chain(input);
        Ok(if is_gzip {
            Self::Gzip(Box::new(MultiGzDecoder::new(whole)))
        } else {
            Self::Plain(whole)
        })
    }

    /// True where it is unpacked.
    pub(crate) fn is_gzip(&self) -> bool {
        matches!(self, Self::Gzip(_))
    }
}

impl Read for Unpacked<'_, '_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::Plain(whole) => whole.read(buffer),
            Self::Gzip(decoder) => decoder.read(buffer),
        }
    }
}

/// The first bytes of a file, unpacked as far as they go.
pub(crate) fn start_of(start: &[u8], most: u64) -> Vec<u8> {
    let mut unpacked = Vec::new();
    // The beginning of a file ends in the middle of what is packed; what came out before that counts.
    let _ = MultiGzDecoder::new(start).take(most).read_to_end(&mut unpacked);
    unpacked
}
