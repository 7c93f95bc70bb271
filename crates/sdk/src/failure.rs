//! Why a file can't be used.

use std::fmt;

/// Why reading a file ended early. The file is set aside with this sentence.
///
/// Write sentences for the keeper: what is wrong, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    pub(crate) kind: Kind,
}

/// What sort of failure it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Kind {
    /// The file can't be used.
    Unusable { line: u64, column: u32, text: String },
    /// Only the keeper can tell.
    Question { text: String, choices: Vec<String> },
    /// The layout asks for something that can't be.
    Option { index: u32, text: String },
    /// undim asked to stop.
    Stopped,
}

/// More choices than these nobody reads, and the host takes no more.
const MOST_CHOICES: usize = 100;

impl Failure {
    /// The file can't be used.
    ///
    /// `line` counts from 1, `column` counts fields from 1; 0 where it concerns the whole file or the whole line.
    pub fn unusable(line: u64, column: u32, text: impl Into<String>) -> Self {
        Self {
            kind: Kind::Unusable {
                line,
                column,
                text: text.into(),
            },
        }
    }

    /// The file can be read in more than one way: what is asked, and the answers that are possible, best as
    /// lines of a layout that would settle it.
    pub fn question<C: Into<String>>(text: impl Into<String>, choices: impl IntoIterator<Item = C>) -> Self {
        Self {
            kind: Kind::Question {
                text: text.into(),
                choices: choices.into_iter().take(MOST_CHOICES).map(Into::into).collect(),
            },
        }
    }

    /// The layout asks for something that can't be: the option's [`index`](crate::OptionItem::index), and why.
    pub fn option(index: u32, text: impl Into<String>) -> Self {
        Self {
            kind: Kind::Option {
                index,
                text: text.into(),
            },
        }
    }

    pub(crate) fn stopped() -> Self {
        Self { kind: Kind::Stopped }
    }

    /// The sentence.
    pub fn text(&self) -> &str {
        match &self.kind {
            Kind::Unusable { text, .. } | Kind::Question { text, .. } | Kind::Option { text, .. } => text,
            Kind::Stopped => "undim asked the importer to stop",
        }
    }

    /// Line and column of the file, 0 where it concerns the whole; `None` where the file is not at fault.
    pub fn place(&self) -> Option<(u64, u32)> {
        match self.kind {
            Kind::Unusable { line, column, .. } => Some((line, column)),
            _ => None,
        }
    }

    /// The answers that a question offers; empty where nothing is asked.
    pub fn choices(&self) -> &[String] {
        match &self.kind {
            Kind::Question { choices, .. } => choices,
            _ => &[],
        }
    }

    /// The index of the option at fault.
    pub fn option_index(&self) -> Option<u32> {
        match self.kind {
            Kind::Option { index, .. } => Some(index),
            _ => None,
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match &self.kind {
            Kind::Unusable { line: 0, text, .. } => f.write_str(text),
            Kind::Unusable {
                line,
                column: 0,
                text,
            } => write!(f, "line {line}: {text}"),
            Kind::Unusable { line, column, text } => write!(f, "line {line}, column {column}: {text}"),
            Kind::Question { text, choices } => write!(f, "{text} ({})", choices.join(" | ")),
            Kind::Option { .. } | Kind::Stopped => f.write_str(self.text()),
        }
    }
}

impl std::error::Error for Failure {}

impl From<std::io::Error> for Failure {
    /// The input broke off.
    fn from(error: std::io::Error) -> Self {
        // The sentence stands for itself: an importer has no other file that the error could be about.
        Self::unusable(0, 0, format!("the file could not be read to its end: {error}"))
    }
}
