//! What became of a file.

use serde::Serialize;

/// One file, and what became of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct Outcome {
    /// Its inbox path, as shown.
    pub(crate) path: String,
    /// What became of it.
    #[serde(flatten)]
    pub(crate) what: What,
}

/// What became of a file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "outcome")]
pub(crate) enum What {
    /// Its readings are in these surveys.
    Taken {
        /// The tank.
        tank: String,
        /// Survey ids.
        surveys: Vec<String>,
        /// The station, where it is the log of a mounted sensor.
        #[serde(skip_serializing_if = "Option::is_none")]
        mounted: Option<String>,
        /// Who read it.
        importer: String,
        /// Readings.
        rows: u64,
        /// What the importer assumed, in words.
        assumed: Vec<String>,
        /// Lines that could not be read as they stood.
        problems: u64,
    },
    /// The same content was there before; nothing changed.
    Known {
        /// The inbox path that it first came from.
        first: String,
        /// Why it was withdrawn, where it was: then it still counts nowhere.
        withdrawn: Option<String>,
    },
    /// It can't be used as it is.
    SetAside {
        /// What, where and what to do.
        why: String,
        /// The choices, where something is asked.
        choices: Vec<String>,
        /// Where it was put.
        moved_to: String,
    },
    /// It stays in the inbox.
    HeldBack {
        /// Why.
        why: String,
    },
    /// Its lines are upkeep of a tank.
    Upkeep {
        /// The tank.
        tank: String,
        /// Lines.
        lines: usize,
        /// Those that were not known before.
        added: usize,
        /// Names in `where` that nothing declared has.
        unknown: Vec<String>,
    },
    /// A note for a file that was there.
    Noted {
        /// The file.
        file: String,
        /// The tank that the file belongs to now.
        tank: String,
        /// Survey ids; none where the file is withdrawn, a list of upkeep or of a mounted sensor.
        surveys: Vec<String>,
        /// True where the file is withdrawn.
        withdrawn: bool,
    },
}
