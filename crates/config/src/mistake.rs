//! A mistake, its place, and how both are shown.

use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};
use std::collections::BTreeMap;
use std::fmt;
use std::fmt::Write as _;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// How grave a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// The site can't be used before it is mended.
    Mistake,
    /// Usable, but most likely not what is meant.
    Warning,
    /// Worth knowing.
    Note,
}

impl Severity {
    /// The word that is written.
    pub fn word(self) -> &'static str {
        match self {
            Self::Mistake => "mistake",
            Self::Warning => "warning",
            Self::Note => "note",
        }
    }
}

/// One finding in one file of the site. Every text in it is safe to print: what came from a file has its
/// control characters escaped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mistake {
    /// Relative to the site folder.
    pub file: PathBuf,
    /// From 1.
    pub line: usize,
    /// From 1, in characters.
    pub column: usize,
    /// The bytes of the file's text that it is about (a byte order mark not counted); may be empty.
    pub span: Range<usize>,
    /// What is wrong.
    pub text: String,
    /// The offending text.
    pub found: Option<String>,
    /// What to do.
    pub hint: Option<String>,
    /// How grave it is.
    pub severity: Severity,
}

impl fmt::Display for Mistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let file = shown_path(&self.file);
        write!(
            f,
            "{file}:{}:{}: {}: {}",
            self.line,
            self.column,
            self.severity.word(),
            self.text
        )?;
        self.hint.iter().try_for_each(|hint| write!(f, " ({hint})"))
    }
}

/// The texts that mistakes point into, by path relative to the site.
pub type Sources = BTreeMap<PathBuf, String>;

/// Lines longer than this are named by line and column only.
const LONGEST_SHOWN_LINE: usize = 2000;

/// All findings in the order given, each with file, line, column, the offending text underlined, and the
/// hint. `width` is the terminal's, in columns. A file that `sources` lacks is named without an excerpt.
pub fn render(mistakes: &[Mistake], sources: &Sources, color: bool, width: usize) -> String {
    let renderer = if color {
        Renderer::styled()
    } else {
        Renderer::plain()
    };
    let renderer = renderer
        .decor_style(DecorStyle::Ascii)
        .term_width(width.clamp(40, 400));
    let mut out = String::new();
    for mistake in mistakes {
        let excerpt = sources
            .get(&mistake.file)
            .and_then(|text| Excerpt::of(mistake, text));
        out.push_str(&renderer.render(&[group(mistake, excerpt.as_ref())]));
        out.push_str("\n\n");
    }
    out
}

fn group<'a>(mistake: &'a Mistake, excerpt: Option<&'a Excerpt>) -> Group<'a> {
    let level = match mistake.severity {
        Severity::Mistake => Level::ERROR.with_name(Some("mistake")),
        Severity::Warning => Level::WARNING,
        Severity::Note => Level::NOTE,
    };
    let title = level.primary_title(mistake.text.as_str());
    let path = shown_path(&mistake.file);
    let group = match excerpt {
        Some(excerpt) => title.element(
            Snippet::source(excerpt.line.as_str())
                .path(path)
                .line_start(mistake.line)
                .annotation(AnnotationKind::Primary.span(excerpt.span.clone())),
        ),
        None => title.element(Origin::path(path).line(mistake.line).char_column(mistake.column)),
    };
    match &mistake.hint {
        Some(hint) => group.element(Level::HELP.message(hint.as_str())),
        None => group,
    }
}

/// The one line that a mistake begins on, and its part of it.
struct Excerpt {
    line: String,
    span: Range<usize>,
}

impl Excerpt {
    fn of(mistake: &Mistake, text: &str) -> Option<Self> {
        let start = text.floor_char_boundary(mistake.span.start.min(text.len()));
        let before = text.get(..start)?;
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        let rest = text.get(line_start..)?;
        let line = rest.find('\n').map_or(rest, |end| &rest[..end]);
        let line = line.strip_suffix('\r').unwrap_or(line);
        if line.len() > LONGEST_SHOWN_LINE || line.trim().is_empty() {
            return None;
        }
        let from = (start - line_start).min(line.len());
        let until = mistake.span.end.saturating_sub(line_start);
        let until = line.floor_char_boundary(until.clamp(from, line.len()));
        Some(Self {
            line: line.chars().map(same_width_if_unsafe).collect(),
            span: from..until,
        })
    }
}

/// A harmless character of as many bytes, so that spans keep their meaning; tabs stay.
fn same_width_if_unsafe(c: char) -> char {
    match c {
        '\t' => c,
        c if !is_unsafe(c) => c,
        c => match c.len_utf8() {
            1 => '?',
            2 => '\u{b7}',
            3 => '\u{fffd}',
            _ => '\u{1fbab}',
        },
    }
}

/// Control characters, and those that hide or turn around what stands beside them.
fn is_unsafe(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{2069}' | '\u{feff}' | '\u{e0000}'..='\u{e007f}')
}

/// At most this many characters of a foreign text are repeated in a message.
const LONGEST_SHOWN: usize = 120;

/// The same, however long.
pub(crate) fn escaped(text: &str) -> String {
    text.chars()
        .map(|c| {
            if is_unsafe(c) {
                c.escape_unicode().to_string()
            } else {
                c.to_string()
            }
        })
        .collect()
}

/// A foreign text as it may stand in a message: one line, control characters escaped, not endless.
pub(crate) fn shown(text: &str) -> String {
    let mut out = String::new();
    for (count, c) in text.chars().enumerate() {
        if count == LONGEST_SHOWN {
            out.push_str("...");
            break;
        }
        if is_unsafe(c) {
            // Writing to a String can't fail.
            let _ = write!(out, "{}", c.escape_unicode());
        } else {
            out.push(c);
        }
    }
    out
}

/// A path as it may stand in a message.
pub(crate) fn shown_path(path: &Path) -> String {
    let text = path.to_string_lossy();
    text.chars()
        .map(|c| {
            if is_unsafe(c) {
                c.escape_unicode().to_string()
            } else {
                c.to_string()
            }
        })
        .collect()
}

/// The candidate that is most like what was written, if any is like it at all.
pub(crate) fn nearest<'a>(written: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let lower: String = written.chars().take(64).collect::<String>().to_lowercase();
    candidates
        .into_iter()
        .map(|candidate| {
            (
                strsim::damerau_levenshtein(&lower, &candidate.to_lowercase()),
                candidate,
            )
        })
        .filter(|(distance, candidate)| *distance <= 1 + candidate.chars().count().min(lower.len()) / 3)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mistake(span: Range<usize>) -> Mistake {
        Mistake {
            file: "tanks/a.toml".into(),
            line: 2,
            column: 1,
            span,
            text: "unknown key `naem`".into(),
            found: Some("naem".into()),
            hint: Some("did you mean `name`?".into()),
            severity: Severity::Mistake,
        }
    }

    #[test]
    fn a_mistake_is_shown_with_its_line() {
        let sources = Sources::from([("tanks/a.toml".into(), "# a tank\nnaem = \"Harbour\"\n".to_owned())]);
        let shown = render(&[mistake(9..13)], &sources, false, 80);
        for part in [
            "mistake: unknown key `naem`",
            "tanks/a.toml:2:1",
            "naem = \"Harbour\"",
            "^^^^",
            "did you mean `name`?",
        ] {
            assert!(shown.contains(part), "{shown}");
        }
    }

    #[test]
    fn without_its_source_it_is_still_placed() {
        let shown = render(&[mistake(9..13)], &Sources::new(), false, 80);
        assert!(shown.contains("tanks/a.toml:2:1"), "{shown}");
    }

    #[test]
    fn nothing_a_terminal_obeys_comes_through() {
        let text = "# x\n\u{1b}[2J\u{9b}1m\u{202e} = 1\n".to_owned();
        let sources = Sources::from([("tanks/a.toml".into(), text)]);
        let out = render(&[mistake(4..8)], &sources, false, 80);
        assert!(!out.contains(['\u{1b}', '\u{9b}', '\u{202e}']), "{out:?}");
        assert_eq!(shown("a\u{1b}\nb"), "a\\u{1b}\\u{a}b");
    }

    #[test]
    fn the_nearest_name_is_near() {
        let keys = ["name", "timezone", "settle"];
        assert_eq!(nearest("naem", keys), Some("name"));
        assert_eq!(nearest("time_zone", keys), Some("timezone"));
        assert_eq!(nearest("colour", keys), None);
    }
}
