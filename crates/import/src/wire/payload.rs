//! The bytes of one frame, read with every length checked.

use super::WireError;

/// What is left of a payload.
pub(super) struct Payload<'p>(&'p [u8]);

impl<'p> Payload<'p> {
    pub(super) fn new(bytes: &'p [u8]) -> Self {
        Self(bytes)
    }

    pub(super) fn take(&mut self, count: usize) -> Result<&'p [u8], WireError> {
        let (taken, rest) = self
            .0
            .split_at_checked(count)
            .ok_or(WireError::Broken("a frame is too short"))?;
        self.0 = rest;
        Ok(taken)
    }

    pub(super) fn array<const N: usize>(&mut self) -> Result<[u8; N], WireError> {
        let (taken, rest) = self
            .0
            .split_first_chunk::<N>()
            .ok_or(WireError::Broken("a frame is too short"))?;
        self.0 = rest;
        Ok(*taken)
    }

    pub(super) fn u8(&mut self) -> Result<u8, WireError> {
        self.array::<1>().map(|[byte]| byte)
    }

    pub(super) fn u16(&mut self) -> Result<u16, WireError> {
        self.array().map(u16::from_le_bytes)
    }

    pub(super) fn u32(&mut self) -> Result<u32, WireError> {
        self.array().map(u32::from_le_bytes)
    }

    pub(super) fn u64(&mut self) -> Result<u64, WireError> {
        self.array().map(u64::from_le_bytes)
    }

    /// A text of at most `limit` bytes, with its length in two bytes before it.
    pub(super) fn text(&mut self, limit: usize) -> Result<&'p str, WireError> {
        let len = usize::from(self.u16()?);
        if len > limit {
            return Err(WireError::Broken("a text is too long"));
        }
        std::str::from_utf8(self.take(len)?).map_err(|_| WireError::Broken("a text is not UTF-8"))
    }

    pub(super) fn finished(self) -> Result<(), WireError> {
        if self.0.is_empty() {
            Ok(())
        } else {
            Err(WireError::Broken("a frame is too long"))
        }
    }
}
