//! What the keeper's layout says.

use std::borrow::Cow;

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

/// One value of the layout.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OptionItem<'a> {
    /// Where it stands: keys and list positions (from 0) joined by dots, such as `columns.value.from` or
    /// `missing.0`. A key with other characters than letters, digits, `-` and `_` stands in double quotes, as
    /// in `keep."Kind of row"`; see [`Options::table`].
    pub path: &'a str,
    /// What kind of value it is.
    pub kind: OptionKind,
    /// The value as text, without quotes.
    pub text: &'a str,
    /// What [`Failure::option`](crate::Failure::option) takes to show the keeper the place in the layout.
    pub index: u32,
}

/// What the keeper's layout says, flattened: one item for each value, in the layout's order.
///
/// Empty where the keeper has no layout for this file. An importer that meets an option it doesn't know says so with
/// [`Failure::option`](crate::Failure::option): it is a slip of the keeper's that should not go unseen.
#[derive(Debug, Clone, Default)]
pub struct Options<'a> {
    items: Vec<OptionItem<'a>>,
}

impl<'a> Options<'a> {
    pub(crate) fn new(items: Vec<OptionItem<'a>>) -> Self {
        Self { items }
    }

    /// True where there is no layout.
    pub fn is_empty(&self) -> bool {
        self.items.is_empty()
    }

    /// Every item.
    pub fn iter(&self) -> std::slice::Iter<'_, OptionItem<'a>> {
        self.items.iter()
    }

    /// The item at a path.
    pub fn get(&self, path: &str) -> Option<&OptionItem<'a>> {
        self.items.iter().find(|item| item.path == path)
    }

    /// The items of a list (`missing.0`, `missing.1`, …), or the one item where a single value stands in its
    /// place; empty where there is neither.
    pub fn list<'s>(&'s self, path: &str) -> impl Iterator<Item = &'s OptionItem<'a>> + use<'s, 'a> {
        let path = path.to_owned();
        self.items.iter().filter(move |item| {
            item.kind != OptionKind::Empty
                && match item.path.strip_prefix(path.as_str()) {
                    Some("") => true,
                    Some(rest) => rest
                        .strip_prefix('.')
                        .is_some_and(|position| position.bytes().all(|byte| byte.is_ascii_digit())),
                    None => false,
                }
        })
    }

    /// How many entries a list of tables has: for `value.0.from`, `value.0.y`, `value.1.from` it is 2.
    pub fn count(&self, path: &str) -> usize {
        self.under(path)
            .filter_map(|(rest, _)| rest.split('.').next()?.parse::<usize>().ok())
            .max()
            .map_or(0, |last| last + 1)
    }

    /// The values of a table with their keys, plain or quoted in the layout: for `keep."Kind of row"` the
    /// key is `Kind of row`. Deeper values are left out.
    pub fn table<'s>(
        &'s self,
        path: &str,
    ) -> impl Iterator<Item = (Cow<'a, str>, &'s OptionItem<'a>)> + use<'s, 'a> {
        self.under(path)
            .filter_map(|(rest, item)| match split_key(rest)? {
                (key, "") => Some((key, item)),
                _ => None,
            })
    }

    /// The items below a path, each with what follows the path's dot.
    fn under<'s>(&'s self, path: &str) -> impl Iterator<Item = (&'a str, &'s OptionItem<'a>)> + use<'s, 'a> {
        let path = path.to_owned();
        self.items.iter().filter_map(move |item| {
            let rest = item.path.strip_prefix(path.as_str())?.strip_prefix('.')?;
            Some((rest, item))
        })
    }
}

impl<'s, 'a> IntoIterator for &'s Options<'a> {
    type Item = &'s OptionItem<'a>;
    type IntoIter = std::slice::Iter<'s, OptionItem<'a>>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

/// The first key of a path, without its quotes, and what follows its dot.
fn split_key(path: &str) -> Option<(Cow<'_, str>, &str)> {
    let Some(quoted) = path.strip_prefix('"') else {
        let (key, rest) = path.split_once('.').unwrap_or((path, ""));
        return Some((Cow::Borrowed(key), rest));
    };
    let mut key = String::new();
    let mut letters = quoted.char_indices();
    while let Some((at, letter)) = letters.next() {
        match letter {
            '"' => {
                let rest = quoted.get(at + 1..)?;
                return Some((Cow::Owned(key), rest.strip_prefix('.').unwrap_or(rest)));
            }
            '\\' => key.push(letters.next()?.1),
            other => key.push(other),
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn options(paths: &[&'static str]) -> Options<'static> {
        let item = |(index, path): (usize, &&'static str)| OptionItem {
            path,
            kind: OptionKind::Text,
            text: path,
            index: index as u32,
        };
        Options::new(paths.iter().enumerate().map(item).collect())
    }

    #[test]
    fn a_list_may_be_one_value() {
        let given = options(&["missing.0", "missing.1", "missing_too", "from", "from2.0"]);
        assert_eq!(
            given.list("missing").map(|item| item.index).collect::<Vec<_>>(),
            [0, 1]
        );
        assert_eq!(given.list("from").map(|item| item.index).collect::<Vec<_>>(), [3]);
        assert_eq!(given.list("none").count(), 0);
    }

    #[test]
    fn tables_in_a_list_are_counted() {
        let given = options(&["value.0.from", "value.0.y", "value.1.from", "columns.value.from"]);
        assert_eq!(given.count("value"), 2);
        assert_eq!(given.count("columns.value"), 0);
        assert_eq!(given.get("value.1.from").map(|item| item.index), Some(2));
    }

    #[test]
    fn quoted_keys_lose_their_quotes() {
        let given = options(&[
            "keep.Type",
            r#"keep."Kind of \"row\" \\ 1.5""#,
            "keep.deeper.key",
            r#"keep."open"#,
        ]);
        let keys: Vec<_> = given.table("keep").map(|(key, _)| key).collect();
        assert_eq!(keys, ["Type", r#"Kind of "row" \ 1.5"#]);
    }
}
