//! How the program ends (formats, section 8).

use std::process::ExitCode;

/// The exit statuses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Exit {
    /// Done.
    Done,
    /// Done, but something was set aside, or an alert is open and that was asked about.
    Remarks,
    /// The command line or the configuration is wrong.
    Usage,
    /// The store or a folder could not be used.
    Folders,
    /// A fault of the program itself.
    Internal,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(match exit {
            Exit::Done => 0,
            Exit::Remarks => 1,
            Exit::Usage => 2,
            Exit::Folders => 3,
            Exit::Internal => 4,
        })
    }
}
