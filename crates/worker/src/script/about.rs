//! What a script says about itself, in its first comments.
//!
//! ```text
//! #!/usr/bin/env python3
//! # undim-importer: name pond-log
//! # undim-importer: version 1.0
//! # undim-importer: reads the log of the pond's logger
//! # undim-importer: mark PONDLOG
//! # undim-importer: names *.plog
//! ```
//!
//! A declaration costs no process, can't hang, and is there for the keeper to read.

use std::path::Path;
use undim_import::wire::{Header, ImportOption};

/// What begins a declaration, after whatever the language begins a comment with.
const KEY: &str = "undim-importer:";
/// Declarations stand in so much of a script, bytes.
pub(super) const ABOUT_BYTES: usize = 16 << 10;

/// How surely it reads a file that holds its mark, has its name, or both.
const BY_MARK: u8 = 90;
const BY_NAME: u8 = 50;
const BY_BOTH: u8 = 100;

/// Who a script is, and which files are its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct About {
    pub(super) header: Header,
    /// One of these begins a line of its files.
    marks: Vec<String>,
    /// Patterns of its files' names; `*` stands for anything.
    names: Vec<String>,
    /// The options that it knows: a path, which counts for all below it too.
    options: Vec<String>,
}

impl About {
    /// From the first bytes of a script. The error is half a sentence.
    pub(super) fn new(path: &Path, script: &[u8]) -> Result<Self, String> {
        let mut about = Self {
            header: Header {
                name: name_of(path),
                version: "0".to_owned(),
                reads: String::new(),
                abi: String::new(),
            },
            marks: Vec::new(),
            names: Vec::new(),
            options: Vec::new(),
        };
        let text = String::from_utf8_lossy(script);
        for (number, line) in (1..).zip(text.lines()) {
            let Some((before, said)) = line.split_once(KEY) else {
                continue;
            };
            // Not in the middle of a text of the program.
            if before.chars().any(char::is_alphanumeric) {
                continue;
            }
            let said = said.trim();
            let (key, value) = said.split_once(char::is_whitespace).unwrap_or((said, ""));
            let value = value.trim();
            let wrong = |what: &str| Err(format!("line {number} of the script: {what}"));
            if value.is_empty() {
                return wrong(&format!("after `{KEY} {key}` something should stand"));
            }
            let value = value.to_owned();
            match key {
                "name" => about.header.name = value,
                "version" => about.header.version = value,
                "reads" => about.header.reads = value,
                "mark" => about.marks.push(value),
                "names" => about.names.push(value),
                "option" => about.options.push(value),
                _ => {
                    return wrong(&format!(
                        "`{KEY} {key}` is not known; known are name, version, reads, mark, names and option"
                    ));
                }
            }
        }
        Ok(about)
    }

    /// How surely it reads a file. One that declares neither marks nor names claims nothing: a route or the keeper
    /// has to name it.
    pub(super) fn probe(&self, start: &[u8], file_name: &str) -> u8 {
        let marked = start
            .split(|byte| matches!(byte, b'\n' | b'\r'))
            .any(|line| self.marks.iter().any(|mark| line.starts_with(mark.as_bytes())));
        let named = self.names.iter().any(|pattern| fits(pattern, file_name));
        match (marked, named) {
            (true, true) => BY_BOTH,
            (true, false) => BY_MARK,
            // Of a script that knows a mark, a file without it is not its own, however it is called.
            (false, true) if self.marks.is_empty() => BY_NAME,
            (false, _) => 0,
        }
    }

    /// The first option that it doesn't know, and its position.
    pub(super) fn unknown_option<'o>(&self, options: &'o [ImportOption]) -> Option<(u32, &'o ImportOption)> {
        let is_known = |option: &ImportOption| {
            // A note's date is the host's own and stands with every file.
            option.path.starts_with("note.")
                || self.options.iter().any(|known| {
                    option
                        .path
                        .strip_prefix(known.as_str())
                        .is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
                })
        };
        // What a description beside the file says is no slip of the keeper's: a script may do without.
        if options.iter().any(|option| option.path == "described_by") {
            return None;
        }
        (0..).zip(options).find(|(_, option)| !is_known(option))
    }
}

/// The name of a script that states none: its file's, in the letters of a name.
fn name_of(path: &Path) -> String {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let letter = |c: char| {
        let c = c.to_ascii_lowercase();
        if c.is_ascii_lowercase() || c.is_ascii_digit() {
            c
        } else {
            '-'
        }
    };
    stem.chars().map(letter).take(64).collect()
}

/// True where a name fits a pattern in which `*` stands for any text, whatever the case of its letters.
fn fits(pattern: &str, name: &str) -> bool {
    let (pattern, name) = (pattern.to_lowercase(), name.to_lowercase());
    let mut parts = pattern.split('*');
    let Some(mut rest) = parts.next().and_then(|first| name.strip_prefix(first)) else {
        return false;
    };
    let Some(last) = parts.next_back() else {
        return rest.is_empty();
    };
    for part in parts {
        match rest.split_once(part) {
            Some((_, after)) => rest = after,
            None => return false,
        }
    }
    rest.ends_with(last)
}

#[cfg(test)]
mod tests {
    use super::*;
    use undim_import::wire::OptionKind;

    const SCRIPT: &str = "#!/bin/sh\n# undim-importer: name pond-log\n# undim-importer: version 1.0\n-- undim-importer: reads ponds\n# undim-importer: mark POND LOG\n# undim-importer: names *.plog\n# undim-importer: option columns.value\nkey = \"undim-importer: no declaration\"\n";

    fn about(text: &str) -> About {
        About::new(Path::new("/plugins/Pond_Log 2.py"), text.as_bytes()).unwrap()
    }

    #[test]
    fn declarations_are_read_from_any_comment() {
        let header = about(SCRIPT).header;
        assert_eq!(
            (
                header.name.as_str(),
                header.version.as_str(),
                header.reads.as_str()
            ),
            ("pond-log", "1.0", "ponds")
        );
        assert!(header.is_valid());
        let bare = about("#!/bin/sh\n").header;
        assert_eq!((bare.name.as_str(), bare.version.as_str()), ("pond-log-2", "0"));
        assert!(bare.is_valid());
    }

    #[test]
    fn a_slip_is_told_with_its_line() {
        let wrong = |text: &str| About::new(Path::new("a"), text.as_bytes()).unwrap_err();
        assert!(wrong("#!/bin/sh\n# undim-importer: marks A\n").starts_with("line 2 of the script: "));
        assert!(wrong("# undim-importer: mark\n").contains("something should stand"));
    }

    #[test]
    fn marks_count_more_than_names() {
        let both = about(SCRIPT);
        assert_eq!(both.probe(b"POND LOG 1\n1\n", "a.plog"), 100);
        assert_eq!(both.probe(b"from the\r\nPOND LOG 1\n", "a.txt"), 90);
        assert_eq!(both.probe(b"a POND LOG\n", "a.plog"), 0);
        assert_eq!(
            about("# undim-importer: names *.plog\n").probe(b"x", "A.PLOG"),
            50
        );
        assert_eq!(about("#!/bin/sh\n").probe(b"x", "a.plog"), 0);
    }

    #[test]
    fn patterns_fit_whole_names() {
        for (pattern, name, wanted) in [
            ("*.plog", "a.plog", true),
            ("*.plog", "a.plog.gz", false),
            ("pond-*-*.txt", "pond-1-2.txt", true),
            ("pond-*-*.txt", "pond-1.txt", false),
            ("pond", "pond", true),
            ("pond", "ponds", false),
            ("a*a", "a", false),
            ("*", "anything", true),
        ] {
            assert_eq!(fits(pattern, name), wanted, "{pattern} {name}");
        }
    }

    #[test]
    fn an_option_that_it_does_not_know_is_found() {
        let option = |path: &str| ImportOption {
            path: path.to_owned(),
            kind: OptionKind::Text,
            text: String::new(),
        };
        let about = about(SCRIPT);
        let known = [
            option("note.date"),
            option("columns.value"),
            option("columns.value.from"),
        ];
        assert_eq!(about.unknown_option(&known), None);
        let unknown = [option("columns.value"), option("columns.values")];
        assert_eq!(about.unknown_option(&unknown).map(|(index, _)| index), Some(1));
    }
}
