//! A text that crosses the boundary.

/// A text: pointer and length in bytes, UTF-8, no closing zero. It never grows.
///
/// A text that an importer hands over has to stay valid until the call that takes it returns.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct UndimText {
    /// The first byte; may be null where `len` is 0.
    pub ptr: *const u8,
    /// How many bytes.
    pub len: usize,
}

impl UndimText {
    /// No text.
    pub const EMPTY: Self = Self {
        ptr: core::ptr::null(),
        len: 0,
    };

    /// A view of a text, valid as long as that text is.
    pub const fn of(text: &str) -> Self {
        Self {
            ptr: text.as_ptr(),
            len: text.len(),
        }
    }

    /// The bytes, or `None` for a null pointer with a length, or a length that no object can have.
    ///
    /// # Safety
    ///
    /// Where `ptr` is not null it has to point to `len` bytes that stay valid and unchanged for `'a`.
    #[expect(unsafe_code, reason = "the pointer comes from the other side of a C boundary")]
    pub const unsafe fn bytes<'a>(self) -> Option<&'a [u8]> {
        if self.len == 0 {
            return Some(&[]);
        }
        if self.ptr.is_null() || self.len > isize::MAX as usize {
            return None;
        }
        // SAFETY: not null and not longer than an object can be, both seen above; the caller promises the rest.
        Some(unsafe { core::slice::from_raw_parts(self.ptr, self.len) })
    }
}
