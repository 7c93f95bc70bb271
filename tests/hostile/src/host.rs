//! The host's functions, without any care.

use std::iter;
use undim_abi::{self as abi, UndimHost, UndimMessage, UndimRow, UndimText};

/// What undim lent.
pub(crate) struct Host<'h>(&'h UndimHost);

#[expect(unsafe_code, reason = "calls undim's functions, rightly or wrongly")]
impl<'h> Host<'h> {
    pub(crate) fn new(host: &'h UndimHost) -> Self {
        Self(host)
    }

    /// The whole file.
    pub(crate) fn pull_all(&self) -> String {
        let mut file = Vec::new();
        let mut buf = [0; 1000];
        while let Some(pull) = self.0.pull {
            // SAFETY: the buffer is as long as told.
            match usize::try_from(unsafe { pull(self.0.ctx, buf.as_mut_ptr(), buf.len()) }) {
                Ok(count @ 1..) => file.extend(buf.iter().take(count)),
                _ => break,
            }
        }
        String::from_utf8_lossy(&file).into_owned()
    }

    /// Pushes whatever it is given.
    pub(crate) fn push_raw(&self, rows: *const UndimRow, count: usize, stride: usize) -> i32 {
        // SAFETY: none is meant; the worker has to see through it.
        self.0
            .push
            .map_or(1, |push| unsafe { push(self.0.ctx, rows, count, stride) })
    }

    pub(crate) fn push(&self, row: &UndimRow) -> i32 {
        self.push_raw(row, 1, size_of::<UndimRow>())
    }

    pub(crate) fn say_raw(&self, message: *const UndimMessage) -> i32 {
        // SAFETY: none is meant; the worker has to see through it.
        self.0.say.map_or(1, |say| unsafe { say(self.0.ctx, message) })
    }

    pub(crate) fn say(&self, kind: u32, key: &str, text: &[u8]) -> i32 {
        let text = UndimText {
            ptr: text.as_ptr(),
            len: text.len(),
        };
        let message = UndimMessage {
            key: UndimText::of(key),
            line: 2,
            ..UndimMessage::new(kind, text)
        };
        self.say_raw(&raw const message)
    }

    pub(crate) fn found(&self, key: &str, value: &str) {
        self.say(abi::SAY_FOUND, key, value.as_bytes());
    }

    /// One honest row for each line, so that a test sees whether the misdeed left the importer able to work.
    pub(crate) fn push_lines(&self, lines: &str) -> i32 {
        for (number, line) in iter::zip(2.., lines.lines()) {
            let value = line.parse();
            let row = UndimRow {
                row: number,
                present: if value.is_ok() { abi::HAS_VALUE } else { 0 },
                value: value.unwrap_or_default(),
                ..UndimRow::EMPTY
            };
            if self.push(&row) != 0 {
                return abi::STATUS_FAILED;
            }
        }
        abi::STATUS_DONE
    }
}
