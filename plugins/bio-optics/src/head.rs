//! The header block.

use undim_sdk::Failure;

/// Most lines of a header.
const MOST_LINES: u64 = 10_000;
/// Most fields.
const MOST_FIELDS: usize = 4000;

/// A column of the data.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Field {
    pub(crate) name: String,
    pub(crate) unit: String,
}

/// What stands between cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Delimiter {
    Comma,
    Semicolon,
    Tab,
    /// Any run of blanks.
    Space,
}

impl Delimiter {
    pub(crate) fn name(self) -> &'static str {
        match self {
            Delimiter::Comma => ",",
            Delimiter::Semicolon => ";",
            Delimiter::Tab => "tab",
            Delimiter::Space => "blanks",
        }
    }

    /// The cells of a line, without the blanks around them.
    pub(crate) fn split(self, line: &str) -> Vec<&str> {
        let mark = match self {
            Delimiter::Space => return line.split_whitespace().collect(),
            Delimiter::Comma => ',',
            Delimiter::Semicolon => ';',
            Delimiter::Tab => '\t',
        };
        line.trim_matches(|c: char| c == ' ' || c == '\r')
            .split(mark)
            .map(str::trim)
            .collect()
    }
}

/// A header block.
#[derive(Debug)]
pub(crate) struct Head {
    pub(crate) fields: Vec<Field>,
    pub(crate) delimiter: Delimiter,
    pub(crate) states_delimiter: bool,
    /// What stands for a missing value.
    pub(crate) missing: Vec<String>,
    /// What stands for less or more than can be seen, and the sentence.
    pub(crate) limits: Vec<(String, &'static str)>,
    pub(crate) station: Option<String>,
    /// Date and time at which the data begin, as they stand in the header.
    pub(crate) start: Option<(String, String)>,
    /// The lines of `/fields` and of `/end_header`.
    pub(crate) fields_line: u64,
    pub(crate) end_line: u64,
    pub(crate) problems: Vec<(u64, String)>,
}

/// The lines of a text with their numbers, whatever ends them.
pub(crate) fn lines(text: &str) -> impl Iterator<Item = (u64, &str)> {
    // Old files end their lines with a carriage return alone.
    let old = !text.contains('\n') && text.contains('\r');
    let mark = if old { '\r' } else { '\n' };
    (1..).zip(text.split(mark).map(|line| line.trim_end_matches('\r')))
}

impl Head {
    pub(crate) fn read(text: &str) -> Result<Head, Failure> {
        let Entries {
            known,
            end_line,
            problems,
        } = entries(text)?;
        let get = |name: &str| {
            known
                .iter()
                .find(|(known, value, _)| known == name && !value.is_empty())
                .map(|(_, value, line)| (value.as_str(), *line))
        };
        let (fields, fields_line) = get("fields").ok_or_else(|| {
            Failure::unusable(
                end_line,
                0,
                "the header has no `/fields`, which names the columns",
            )
        })?;
        let names: Vec<String> = fields.split(',').map(|name| name.trim().to_owned()).collect();
        if names.len() > MOST_FIELDS {
            return Err(Failure::unusable(
                fields_line,
                0,
                format!("more than {MOST_FIELDS} fields"),
            ));
        }
        let units: Vec<String> = match get("units") {
            None => vec![String::new(); names.len()],
            Some((units, line)) => {
                let units: Vec<String> = units.split(',').map(|unit| unit.trim().to_owned()).collect();
                if units.len() != names.len() {
                    let text = format!(
                        "`/units` has {} entries where `/fields` has {}: nothing tells which unit belongs where",
                        units.len(),
                        names.len()
                    );
                    return Err(Failure::unusable(line, 0, text));
                }
                units
            }
        };
        let (delimiter, states_delimiter) = match get("delimiter") {
            None => (guess(text, end_line, names.len()), false),
            Some((word, line)) => (delimiter(word, line)?, true),
        };
        let mut missing: Vec<String> = ["na", "none", "n/a", "nan"].map(str::to_owned).to_vec();
        missing.extend(get("missing").map(|(value, _)| value.to_owned()));
        let limits = [
            ("below_detection_limit", "less light than the instrument can see"),
            ("above_detection_limit", "more light than the instrument can see"),
        ];
        let limits = limits
            .into_iter()
            .filter_map(|(name, what)| Some((get(name)?.0.to_owned(), what)))
            .filter(|(code, _)| !is_none(code))
            .collect();
        let text_of = |name: &str| {
            get(name)
                .map(|(value, _)| value.to_owned())
                .filter(|value| !is_none(value))
        };
        Ok(Head {
            fields: names
                .into_iter()
                .zip(units)
                .map(|(name, unit)| Field {
                    name,
                    unit: if is_none(&unit) || unit.eq_ignore_ascii_case("unitless") {
                        String::new()
                    } else {
                        unit
                    },
                })
                .collect(),
            delimiter,
            states_delimiter,
            missing,
            limits,
            station: text_of("station"),
            start: text_of("start_date").zip(text_of("start_time")),
            fields_line,
            end_line,
            problems,
        })
    }
}

/// The entries of a header block: name in small letters, value and line.
struct Entries {
    known: Vec<(String, String, u64)>,
    end_line: u64,
    problems: Vec<(u64, String)>,
}

fn entries(text: &str) -> Result<Entries, Failure> {
    let mut known: Vec<(String, String, u64)> = Vec::new();
    let mut problems = Vec::new();
    let mut end_line = None;
    let mut begun = false;
    for (line, content) in lines(text) {
        let content = content.trim();
        if line > MOST_LINES {
            break;
        }
        if content.is_empty() || content.starts_with('!') {
            continue;
        }
        let Some(entry) = content.strip_prefix('/') else {
            return Err(Failure::unusable(
                line,
                0,
                "the header's lines begin with `/` or `!`, and `/end_header` ends it; this one does neither",
            ));
        };
        let (name, value) = match entry.split_once('=') {
            Some((name, value)) => (name.trim().to_ascii_lowercase(), value.trim()),
            None => (entry.trim_end_matches('@').trim().to_ascii_lowercase(), ""),
        };
        match name.as_str() {
            "begin_header" => begun = true,
            "end_header" => {
                end_line = Some(line);
                break;
            }
            // The first of two counts.
            _ if known.iter().any(|(other, _, _)| *other == name) => {
                problems.push((
                    line,
                    format!("`/{name}` stands a second time; the first one counts"),
                ));
            }
            _ => known.push((name, value.to_owned(), line)),
        }
    }
    let end_line = end_line
        .filter(|_| begun)
        .ok_or_else(|| Failure::unusable(0, 0, "the header block is not closed: `/end_header` is missing"))?;
    Ok(Entries {
        known,
        end_line,
        problems,
    })
}

/// True for what says that there is nothing to say.
fn is_none(text: &str) -> bool {
    ["", "na", "n/a", "none"].contains(&text.to_ascii_lowercase().as_str())
}

fn delimiter(word: &str, line: u64) -> Result<Delimiter, Failure> {
    match word.to_ascii_lowercase().as_str() {
        "comma" | "," => Ok(Delimiter::Comma),
        "space" => Ok(Delimiter::Space),
        "tab" => Ok(Delimiter::Tab),
        "semicolon" | ";" => Ok(Delimiter::Semicolon),
        other => Err(Failure::unusable(
            line,
            0,
            format!("the delimiter \"{other}\" is not known; comma, space, tab or semicolon are"),
        )),
    }
}

/// The delimiter under which the first record has as many cells as there are fields.
fn guess(text: &str, end_line: u64, fields: usize) -> Delimiter {
    let first = lines(text)
        .skip(end_line as usize)
        .map(|(_, line)| line)
        .find(|line| !line.trim().is_empty() && !line.trim_start().starts_with('!'))
        .unwrap_or("");
    [
        Delimiter::Comma,
        Delimiter::Tab,
        Delimiter::Semicolon,
        Delimiter::Space,
    ]
    .into_iter()
    .find(|delimiter| delimiter.split(first).len() == fields)
    .unwrap_or(Delimiter::Comma)
}
