//! What a worker is asked: the arguments that it is started with.
//!
//! Arguments need no descriptor of their own and stand in the process list for the engineer to read. Each is at most
//! 128 KiB, all together 2 MiB on Linux (execve(2)); a layout has a few hundred bytes.

use std::{ffi::OsString, path::PathBuf};

/// The first argument of a worker.
pub const ARGUMENT: &str = "__worker";

/// What kind of value an option has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum OptionKind {
    /// A text.
    Text,
    /// Decimal digits, with a sign where negative.
    Integer,
    /// A number with `.` as the decimal point.
    Float,
    /// `true` or `false`.
    Boolean,
    /// A date, a time of day, or both, as in RFC 3339.
    Date,
    /// An empty list or table.
    Empty,
}

impl OptionKind {
    const ALL: [(Self, &'static str); 6] = [
        (Self::Text, "text"),
        (Self::Integer, "integer"),
        (Self::Float, "float"),
        (Self::Boolean, "boolean"),
        (Self::Date, "date"),
        (Self::Empty, "empty"),
    ];

    fn word(self) -> &'static str {
        Self::ALL
            .iter()
            .find(|(kind, _)| *kind == self)
            .map_or("text", |(_, word)| word)
    }

    fn from_word(word: &str) -> Option<Self> {
        Self::ALL
            .iter()
            .find(|(_, known)| *known == word)
            .map(|(kind, _)| *kind)
    }
}

/// One value of a layout. A failure that is the layout's names an option by its position in the list that was handed
/// over.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct ImportOption {
    /// Where it stands: see [`option_path`].
    pub path: String,
    /// What kind of value it is.
    pub kind: OptionKind,
    /// The value, without quotes.
    pub text: String,
}

/// The path of an option: keys and list positions (from 0) joined by dots. A key with other characters than letters
/// a-z and A-Z, digits, `-` and `_` stands in double quotes, in which `\"` means a quote and `\\` a backslash.
pub fn option_path<'k>(keys: impl IntoIterator<Item = &'k str>) -> String {
    let is_plain = |letter: char| letter.is_ascii_alphanumeric() || letter == '-' || letter == '_';
    let written = keys.into_iter().map(|key| {
        if !key.is_empty() && key.chars().all(is_plain) {
            key.to_owned()
        } else {
            format!("\"{}\"", key.replace('\\', "\\\\").replace('"', "\\\""))
        }
    });
    written.collect::<Vec<_>>().join(".")
}

/// What a worker does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Task {
    /// Tell who the importer is.
    Describe,
    /// And how surely it can read the file.
    Probe,
    /// Read the file.
    Read,
    /// Probe, and read unless the answer is 0.
    ProbeAndRead,
}

impl Task {
    const ALL: [(Self, &'static str); 4] = [
        (Self::Describe, "describe"),
        (Self::Probe, "probe"),
        (Self::Read, "read"),
        (Self::ProbeAndRead, "probe-and-read"),
    ];
}

/// What a worker is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// What to do.
    pub task: Task,
    /// True: do nothing unless the sandbox is whole.
    pub sandbox_required: bool,
    /// Address space, bytes.
    pub memory_bytes: u64,
    /// Processor time, seconds.
    pub cpu_seconds: u64,
    /// The process that asks; a worker that has lost it ends.
    pub parent: u32,
    /// The importer.
    pub library: PathBuf,
    /// The file's name without its folder, for the importer.
    pub file_name: String,
    /// What the layout says.
    pub options: Vec<ImportOption>,
}

impl Request {
    /// True where the importer is a script: a program of its own, whatever is no dynamic library by its name.
    pub fn is_script(&self) -> bool {
        self.library
            .extension()
            .is_none_or(|extension| extension != std::env::consts::DLL_EXTENSION)
    }

    /// The arguments, [`ARGUMENT`] first.
    pub fn to_arguments(&self) -> Vec<OsString> {
        let task = Task::ALL
            .iter()
            .find(|(task, _)| *task == self.task)
            .map_or("describe", |(_, word)| word);
        let mut arguments: Vec<OsString> = vec![
            ARGUMENT.into(),
            task.into(),
            if self.sandbox_required { "required" } else { "best" }.into(),
            self.memory_bytes.to_string().into(),
            self.cpu_seconds.to_string().into(),
            self.parent.to_string().into(),
            self.library.clone().into(),
            self.file_name.clone().into(),
        ];
        for option in &self.options {
            arguments.extend([&option.path, option.kind.word(), &option.text].map(OsString::from));
        }
        arguments
    }

    /// What the arguments after [`ARGUMENT`] say; `None` where they are not such as [`to_arguments`](Self::to_arguments)
    /// makes.
    pub fn from_arguments(arguments: impl IntoIterator<Item = OsString>) -> Option<Self> {
        let mut arguments = arguments.into_iter();
        let word = |argument: Option<OsString>| argument?.into_string().ok();
        let task = word(arguments.next())?;
        let (task, _) = *Task::ALL.iter().find(|(_, known)| *known == task)?;
        let sandbox_required = match word(arguments.next())?.as_str() {
            "required" => true,
            "best" => false,
            _ => return None,
        };
        let mut request = Self {
            task,
            sandbox_required,
            memory_bytes: word(arguments.next())?.parse().ok()?,
            cpu_seconds: word(arguments.next())?.parse().ok()?,
            parent: word(arguments.next())?.parse().ok()?,
            library: arguments.next()?.into(),
            file_name: word(arguments.next())?,
            options: Vec::new(),
        };
        while let Some(path) = arguments.next() {
            let kind = OptionKind::from_word(&word(arguments.next())?)?;
            request.options.push(ImportOption {
                path: word(Some(path))?,
                kind,
                text: word(arguments.next())?,
            });
        }
        Some(request)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::ffi::OsStringExt;

    #[test]
    fn a_request_survives_its_arguments() {
        for (task, _) in Task::ALL {
            let request = Request {
                task,
                sandbox_required: task == Task::Read,
                memory_bytes: 1 << 29,
                cpu_seconds: 61,
                parent: 4711,
                library: OsString::from_vec(b"/plugins/\xff odd.so".to_vec()).into(),
                file_name: "Messung März.csv".into(),
                options: OptionKind::ALL
                    .iter()
                    .map(|(kind, word)| ImportOption {
                        path: format!("a.{word}"),
                        kind: *kind,
                        text: String::new(),
                    })
                    .collect(),
            };
            let arguments = request.to_arguments();
            assert_eq!(arguments[0], ARGUMENT);
            assert_eq!(Request::from_arguments(arguments[1..].to_vec()), Some(request));
        }
    }

    #[test]
    fn other_arguments_are_refused() {
        let parse = |text: &str| Request::from_arguments(text.split(' ').map(OsString::from));
        assert!(parse("read best 1 1 1 /x.so name").is_some());
        assert!(parse("read best 1 1 1 /x.so name path text value").is_some());
        for wrong in [
            "",
            "write best 1 1 1 /x.so name",
            "read worst 1 1 1 /x.so name",
            "read best -1 1 1 /x.so name",
            "read best 1 1 1 /x.so",
            "read best 1 1 1 /x.so name path text",
            "read best 1 1 1 /x.so name path colour value",
        ] {
            assert_eq!(parse(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn unusual_keys_are_quoted() {
        assert_eq!(option_path(["columns", "value", "from"]), "columns.value.from");
        assert_eq!(
            option_path(["keep", r#"Kind of "row" \ 1.5"#]),
            r#"keep."Kind of \"row\" \\ 1.5""#
        );
        assert_eq!(option_path([""]), r#""""#);
    }
}
