//! Where a file of the inbox belongs: routes with patterns, and folders that speak (formats, sections 2 and 10).

use std::fmt;
use std::time::Duration;

/// A pattern for paths relative to the inbox.
///
/// `*` is any run within a folder, `?` one character within a folder, `**` any run across folders
/// (`**/` also none at all). Case counts. Everything else, brackets and braces too, stands for itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Glob {
    written: String,
    parts: Vec<Part>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Part {
    Byte(u8),
    /// `?`
    AnyChar,
    /// `*`
    Run,
    /// `**`
    LongRun,
    /// `**/` at the start of a folder's name: any number of whole folders.
    Folders,
}

impl Glob {
    /// Understands a pattern; the error is a sentence that says what to write instead.
    pub fn parse(pattern: &str) -> Result<Self, String> {
        if pattern.is_empty() {
            return Err("an empty pattern matches nothing; `**` matches every file".to_owned());
        }
        if pattern.starts_with('/') {
            return Err("a pattern is relative to the inbox: leave out the leading `/`".to_owned());
        }
        if pattern.ends_with('/') {
            return Err(format!(
                "this names a folder; `{pattern}**` matches the files below it"
            ));
        }
        if pattern.contains('\0') {
            return Err("no file name holds a NUL character: leave it out".to_owned());
        }
        if let Some(folder) = pattern
            .split('/')
            .find(|folder| matches!(*folder, "" | "." | ".."))
        {
            return Err(format!(
                "no path in the inbox has a folder named \"{folder}\": leave it out"
            ));
        }
        Ok(Self {
            written: pattern.to_owned(),
            parts: parts_of(pattern.as_bytes()),
        })
    }

    /// True where the whole path, relative to the inbox, fits.
    pub fn matches(&self, path: impl AsRef<[u8]>) -> bool {
        let path = path.as_ref();
        // reached[at]: the parts so far can make up path[..at]. Time is parts times path, whatever the pattern.
        let mut reached = vec![false; path.len() + 1];
        reached[0] = true;
        for part in &self.parts {
            reached = part.step(path, &reached);
        }
        reached.last() == Some(&true)
    }

    /// The pattern as it was written.
    pub fn as_str(&self) -> &str {
        &self.written
    }
}

impl fmt::Display for Glob {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.written)
    }
}

fn parts_of(pattern: &[u8]) -> Vec<Part> {
    let mut parts = Vec::with_capacity(pattern.len());
    let mut rest = pattern;
    let mut at_folder_start = true;
    while let Some((&first, tail)) = rest.split_first() {
        let part = match first {
            b'*' if tail.first() == Some(&b'*') => {
                let stars = rest.iter().take_while(|byte| **byte == b'*').count();
                rest = rest.get(stars..).unwrap_or_default();
                let whole_folder = at_folder_start && rest.first() == Some(&b'/');
                if whole_folder {
                    rest = rest.get(1..).unwrap_or_default();
                }
                at_folder_start = whole_folder;
                parts.push(if whole_folder {
                    Part::Folders
                } else {
                    Part::LongRun
                });
                continue;
            }
            b'*' => Part::Run,
            b'?' => Part::AnyChar,
            byte => Part::Byte(byte),
        };
        parts.push(part);
        at_folder_start = first == b'/';
        rest = tail;
    }
    parts
}

impl Part {
    fn step(self, path: &[u8], reached: &[bool]) -> Vec<bool> {
        let mut next = vec![false; reached.len()];
        let mut mark = |at: usize| {
            if let Some(place) = next.get_mut(at) {
                *place = true;
            }
        };
        // The end of a run that is still open; it grows by whole characters.
        let mut run: Option<usize> = None;
        for (at, &here) in reached.iter().enumerate() {
            let byte = path.get(at).copied();
            match self {
                Self::Byte(wanted) => {
                    if here && byte == Some(wanted) {
                        mark(at + 1);
                    }
                }
                Self::AnyChar => {
                    if here && byte.is_some_and(|byte| byte != b'/') {
                        mark(at + char_width(path, at));
                    }
                }
                Self::Run | Self::LongRun => {
                    if here || run == Some(at) {
                        mark(at);
                        let goes_on = byte.is_some_and(|byte| self == Self::LongRun || byte != b'/');
                        run = goes_on.then(|| at + char_width(path, at));
                    }
                }
                Self::Folders => {
                    let open = here || run.is_some();
                    if here || (run.is_some() && at > 0 && path.get(at - 1) == Some(&b'/')) {
                        mark(at);
                    }
                    run = open.then_some(at);
                }
            }
        }
        next
    }
}

/// Bytes of the character at `at`; 1 for a byte that begins none.
fn char_width(path: &[u8], at: usize) -> usize {
    let rest = path.get(at..).unwrap_or_default();
    let most = rest.get(..4).unwrap_or(rest);
    most.utf8_chunks()
        .next()
        .and_then(|chunk| chunk.valid().chars().next())
        .map_or(1, char::len_utf8)
}

/// How a log that ran on while the rod moved is cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dwells {
    /// By the planned list of stations.
    Planned,
    /// By a small CSV of times noted by hand.
    Noted,
}

/// One `[[route]]` of the site file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Route {
    /// `match`: which files it is for.
    pub pattern: Glob,
    /// The tank's id.
    pub tank: Option<String>,
    /// The device's id; a file's own device column wins over this.
    pub device: Option<String>,
    /// The importer's name; `None`: every importer is asked.
    pub importer: Option<String>,
    /// The layout's name.
    pub layout: Option<String>,
    /// The frame's id; `None`: the tank's own axes.
    pub frame: Option<String>,
    /// The lighting scene.
    pub scene: Option<String>,
    /// A mounted sensor: all its readings belong to this station.
    pub station: Option<String>,
    /// A log that ran on.
    pub dwells: Option<Dwells>,
    /// A mounted sensor is silent after so long without a reading.
    pub silent_after: Duration,
}

/// A logger that is read out once a day is not silent until the next day's file is two hours late.
pub const SILENT_AFTER: Duration = Duration::from_hours(26);

impl Route {
    /// A route that says nothing yet.
    pub fn new(pattern: Glob) -> Self {
        Self {
            pattern,
            tank: None,
            device: None,
            importer: None,
            layout: None,
            frame: None,
            scene: None,
            station: None,
            dwells: None,
            silent_after: SILENT_AFTER,
        }
    }
}

/// The first route whose pattern fits the path.
pub fn first_match(routes: &[Route], path: impl AsRef<[u8]>) -> Option<&Route> {
    let path = path.as_ref();
    routes.iter().find(|route| route.pattern.matches(path))
}

/// What the folders of a path say. Bytes as they stand: making ids of them is not this crate's business.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Folders<'a> {
    /// The first folder.
    pub tank: Option<&'a [u8]>,
    /// The second folder.
    pub device: Option<&'a [u8]>,
}

/// What the folders say: `<tank>/<device>/…/FILE`, `<tank>/FILE`, or nothing for a file in the inbox itself.
pub fn folders(path: &[u8]) -> Folders<'_> {
    let mut names: Vec<&[u8]> = path.split(|byte| *byte == b'/').collect();
    names.pop();
    let mut names = names.into_iter();
    Folders {
        tank: names.next(),
        device: names.next(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn fits(pattern: &str, path: &str) -> bool {
        Glob::parse(pattern).expect("a pattern").matches(path)
    }

    #[test]
    fn patterns_fit_as_the_formats_say() {
        // Formats, section 10: `*` and `?` stay within a folder, `**` crosses, case counts.
        let cases = [
            ("harbour/phone/*.csv", "harbour/phone/may.csv", true),
            ("harbour/phone/*.csv", "harbour/phone/old/may.csv", false),
            ("harbour/phone/*.csv", "harbour/phone/may.CSV", false),
            ("harbour/phone/*.csv", "harbour/phone/.csv", true),
            ("*.csv", "harbour/may.csv", false),
            ("**.csv", "harbour/may.csv", true),
            ("**/*.csv", "may.csv", true),
            ("**/*.csv", "a/b/may.csv", true),
            ("a/**/b.csv", "a/b.csv", true),
            ("a/**/b.csv", "a/x/y/b.csv", true),
            ("a/**/b.csv", "a/x/yb.csv", false),
            ("a/**", "a/x/y", true),
            ("a/**", "ab/x", false),
            ("**", "any/thing", true),
            ("a/?/b", "a/x/b", true),
            ("a/?/b", "a//b", false),
            ("a?b", "a/b", false),
            ("?.csv", "é.csv", true),
            ("??.csv", "é.csv", false),
            ("*??", "€", false),
            ("[a].csv", "[a].csv", true),
            ("[a].csv", "a.csv", false),
            ("a*b*c", "a-b-b-c", true),
            ("a*b*c", "a-b-b-d", false),
        ];
        for (pattern, path, wanted) in cases {
            assert_eq!(fits(pattern, path), wanted, "{pattern} on {path}");
        }
        let glob = Glob::parse("*/x?.csv").expect("a pattern");
        assert!(glob.matches(b"\xff\n/x\xfe.csv"), "names are bytes");
    }

    #[test]
    fn a_pattern_that_never_fits_is_refused_with_a_hint() {
        for (pattern, hint) in [
            ("", "`**`"),
            ("/a", "leading"),
            ("a/", "`a/**`"),
            ("a//b", "leave it out"),
            ("../a", "\"..\""),
        ] {
            let said = Glob::parse(pattern).expect_err(pattern);
            assert!(said.contains(hint), "{said}");
        }
    }

    #[test]
    fn the_first_route_wins() {
        let route = |pattern: &str, tank: &str| Route {
            tank: Some(tank.to_owned()),
            ..Route::new(Glob::parse(pattern).expect("a pattern"))
        };
        let routes = [route("a/*", "one"), route("**", "two")];
        let tank = |path: &str| first_match(&routes, path).and_then(|route| route.tank.as_deref());
        assert_eq!(tank("a/x.csv"), Some("one"));
        assert_eq!(tank("a/b/x.csv"), Some("two"));
        assert_eq!(first_match(&routes[..1], "b/x.csv"), None);
    }

    #[test]
    fn folders_speak() {
        let said = |path: &'static str| {
            let folders = folders(path.as_bytes());
            (
                folders.tank.map(String::from_utf8_lossy),
                folders.device.map(String::from_utf8_lossy),
            )
        };
        assert_eq!(said("x.csv"), (None, None));
        assert_eq!(said("reef/x.csv"), (Some("reef".into()), None));
        assert_eq!(
            said("reef/phone/x.csv"),
            (Some("reef".into()), Some("phone".into()))
        );
        assert_eq!(
            said("reef/phone/2026/x.csv"),
            (Some("reef".into()), Some("phone".into()))
        );
    }

    /// The plainest way to say the same, by trying every split.
    fn plainly(pattern: &[u8], path: &[u8], folder_start: bool) -> bool {
        let Some((&first, rest)) = pattern.split_first() else {
            return path.is_empty();
        };
        if pattern.starts_with(b"**") {
            let stars = pattern.iter().take_while(|byte| **byte == b'*').count();
            let rest = &pattern[stars..];
            if folder_start && rest.first() == Some(&b'/') {
                return (0..=path.len())
                    .any(|at| (at == 0 || path[at - 1] == b'/') && plainly(&rest[1..], &path[at..], true));
            }
            return (0..=path.len()).any(|at| plainly(rest, &path[at..], false));
        }
        match first {
            b'*' => (0..=path.len())
                .take_while(|at| !path[..*at].contains(&b'/'))
                .any(|at| plainly(rest, &path[at..], false)),
            b'?' => path.first().is_some_and(|byte| *byte != b'/') && plainly(rest, &path[1..], false),
            byte => path.first() == Some(&byte) && plainly(rest, &path[1..], byte == b'/'),
        }
    }

    proptest! {
        #[test]
        fn agrees_with_trying_every_split(pattern in "[ab/*?]{1,9}", path in "[ab/]{0,10}") {
            if let Ok(glob) = Glob::parse(&pattern) {
                prop_assert_eq!(glob.matches(&path), plainly(pattern.as_bytes(), path.as_bytes(), true));
            }
        }

        #[test]
        fn any_pattern_on_any_bytes_gives_an_answer(pattern in ".{0,40}", path in prop::collection::vec(any::<u8>(), 0..60)) {
            if let Ok(glob) = Glob::parse(&pattern) {
                let _ = glob.matches(&path);
            }
        }
    }
}
