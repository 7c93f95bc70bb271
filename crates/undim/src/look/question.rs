//! The one question whose answer would help most, and how to answer it.

use super::Told;
use std::ffi::OsStr;
use std::os::unix::ffi::OsStrExt as _;
use std::path::Path;
use undim_intake::names;

/// A question with its answers.
pub(super) struct Question {
    pub(super) text: &'static str,
    pub(super) choices: &'static [&'static str],
    /// Where an answer is written.
    pub(super) then: &'static str,
}

const AXES: Question = Question {
    text: "Which way do x, y and z point, and where is their zero?",
    choices: &[
        "axes = [\"right\", \"up\", \"back\"]  # x to the right, y up, z to the rear: taken here",
        "axes = [\"right\", \"back\", \"up\"]  # z is the height",
        "axes = [\"right\", \"back\", \"down\"]  # z is the depth; with zero = \"surface\"",
    ],
    then: "Once you have a site, write it into a [[frame]] of tanks/<tank>.toml; config/README.md, section 3, has an example.",
};

const PLACE: Question = Question {
    text: "Where was each value read?",
    choices: &[
        "columns.station.from = \"HEADER\"  # the column that names each place",
        "columns.x.from = \"HEADER\"  # and the same for y and z: its place in the tank",
    ],
    then: "Values without a place can't be held against later ones. Where a column tells it, write so into a text file, say layout.toml, and look again with --layout layout.toml; else add a column “station” to the file.",
};

const DEVICE: Question = Question {
    text: "What was it read with, and is that tied to a reference?",
    choices: &[
        "role = \"reference\"  # calibrated, with its certificate's dates",
        "role = \"everyday\"  # with a [[correction]] from readings side by side with a reference",
        "unit = \"lx\"  # or whatever it reads in, where the file doesn't say",
    ],
    then: "Once you have a site, write it into devices/<device>.toml; config/README.md, section 4, has an example.",
};

/// The question that helps most about a file that could be read.
pub(super) fn best(told: Told) -> &'static Question {
    if told.coordinates {
        &AXES
    } else if !told.stations {
        &PLACE
    } else {
        &DEVICE
    }
}

/// What to type once the answer to an importer's question stands in a layout.
pub(crate) fn layout_command(file: &Path, layout: Option<&Path>) -> String {
    let layout = layout.unwrap_or(Path::new("layout.toml"));
    format!(
        "undim look {} --layout {}",
        word(file.as_os_str()),
        word(layout.as_os_str())
    )
}

/// A path as a shell takes it for one word.
pub(crate) fn word(text: &OsStr) -> String {
    let shown = names::shown(text.as_bytes());
    let is_plain = |c: char| c.is_alphanumeric() || matches!(c, '.' | '/' | '-' | '_' | '+' | ',' | ':');
    if !shown.is_empty() && shown.chars().all(is_plain) {
        shown
    } else {
        format!("'{}'", shown.replace('\'', "'\\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_question_is_about_what_is_least_known() {
        let told = |coordinates, stations| Told {
            coordinates,
            stations,
            ..Told::default()
        };
        assert_eq!(best(told(true, true)).text, AXES.text);
        assert_eq!(best(told(false, true)).text, DEVICE.text);
        assert_eq!(best(told(false, false)).text, PLACE.text);
    }

    #[test]
    fn paths_stay_one_word_for_a_shell() {
        assert_eq!(
            layout_command(Path::new("a/b.csv"), None),
            "undim look a/b.csv --layout layout.toml"
        );
        assert_eq!(
            layout_command(Path::new("Anna's log.csv"), Some(Path::new("$x.toml"))),
            "undim look 'Anna'\\''s log.csv' --layout '$x.toml'"
        );
    }
}
