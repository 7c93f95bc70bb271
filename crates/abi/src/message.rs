//! Messages: facts, problems, a question with its choices, a failure.

use crate::UndimText;

/// `key`, `text`: a fact that the file or the layout states.
pub const SAY_FOUND: u32 = 1;
/// `key`, `text`: a fact that neither states.
pub const SAY_ASSUMED: u32 = 2;
/// `line`, `column`, `text`: a place that could not be read; reading goes on.
pub const SAY_PROBLEM: u32 = 3;
/// `text`: what only the keeper can tell.
pub const SAY_QUESTION: u32 = 4;
/// `text`: one answer to the question before it.
pub const SAY_CHOICE: u32 = 5;
/// `line`, `column` or `option`, `text`: why the file can't be used.
pub const SAY_FAILURE: u32 = 6;

/// No option is at fault.
pub const NO_OPTION: u32 = u32::MAX;

/// One message.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct UndimMessage {
    /// Bytes of this struct.
    pub size: u32,
    /// One of the `SAY_` kinds.
    pub kind: u32,
    /// Line of the file, from 1; 0: the whole file.
    pub line: u64,
    /// Field of the line, from 1; 0: the whole line.
    pub column: u32,
    /// Position of the option at fault, or [`NO_OPTION`].
    pub option: u32,
    /// What a fact is about.
    pub key: UndimText,
    /// The message.
    pub text: UndimText,
}

impl UndimMessage {
    /// A message of a kind, with a text and no place.
    pub const fn new(kind: u32, text: UndimText) -> Self {
        Self {
            size: size_of::<Self>() as u32,
            kind,
            line: 0,
            column: 0,
            option: NO_OPTION,
            key: UndimText::EMPTY,
            text,
        }
    }
}
