//! Reading a TOML tree key by key: each key is taken once, wrong kinds are said at their place, and what
//! is left over at the end is unknown.

use crate::item::Item;
use crate::mistake::{nearest, shown};
use crate::sheet::{Sheet, Span};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Parses a sheet and reads its top level; what is no TOML is said, all of it, and the rest still read.
pub(crate) fn read<R>(sheet: &Sheet, reader: impl for<'a> FnOnce(&mut Table<'a>) -> R) -> R {
    let (tree, errors) = DeTable::parse_recoverable(&sheet.text);
    for error in errors {
        let span = error.span().unwrap_or(0..0);
        sheet.broken(&span, shown(error.message()), syntax_hint(error.message()));
    }
    let mut table = Table::new(sheet, "", "the file", tree.get_ref(), 0..0);
    let result = reader(&mut table);
    table.finish();
    result
}

fn syntax_hint(message: &str) -> &'static str {
    if message.contains("duplicate key") {
        "a key may stand only once in a table: remove one of the two"
    } else if message.contains("date") {
        "a date is written 2026-03-01, without quotes"
    } else if message.contains("string") || message.contains("quot") {
        "texts stand in double quotes, on one line; use single quotes where they hold a backslash"
    } else {
        "a line is `key = value`, `[table]`, `[[block]]` or a `# remark`; texts stand in double quotes"
    }
}

/// A table whose keys are being taken.
pub(crate) struct Table<'a> {
    pub(crate) sheet: &'a Sheet,
    /// The dotted path, empty at the top.
    path: String,
    /// As shown to people: `[intake]`.
    pub(crate) title: String,
    pub(crate) span: Span,
    left: Vec<(&'a str, Span, &'a Spanned<DeValue<'a>>)>,
    known: Vec<&'static str>,
}

impl<'a> Table<'a> {
    pub(crate) fn new(
        sheet: &'a Sheet,
        path: &str,
        title: impl Into<String>,
        tree: &'a DeTable<'a>,
        span: Span,
    ) -> Self {
        let mut left: Vec<_> = tree
            .iter()
            .map(|(key, value)| (&**key.get_ref(), key.span(), value))
            .collect();
        // The tree sorts by name; people read in written order.
        left.sort_by_key(|(_, span, _)| span.start);
        Self {
            sheet,
            path: path.to_owned(),
            title: title.into(),
            span,
            left,
            known: Vec::new(),
        }
    }

    /// Takes a key's value, where it is written.
    pub(crate) fn take(&mut self, key: &'static str) -> Option<Item<'a>> {
        self.known.push(key);
        let at = self.left.iter().position(|(name, ..)| *name == key)?;
        let (name, key_span, value) = self.left.remove(at);
        Some(self.item(name, key_span, value))
    }

    /// Takes a key that must be there.
    pub(crate) fn need(&mut self, key: &'static str, example: &str) -> Option<Item<'a>> {
        let item = self.take(key);
        if item.is_none() {
            self.sheet.absent(
                &self.span,
                format!("`{key}` is missing in {}", self.title),
                format!("write `{example}`"),
            );
        }
        item
    }

    /// Takes all keys that are left, in written order: for tables whose keys are the keeper's own names.
    pub(crate) fn take_rest(&mut self) -> Vec<Item<'a>> {
        let left = std::mem::take(&mut self.left);
        left.into_iter()
            .map(|(name, key_span, value)| self.item(name, key_span, value))
            .collect()
    }

    /// What is left, in written order, without taking it.
    pub(crate) fn items(&self) -> Vec<Item<'a>> {
        let left = self.left.iter();
        left.map(|(name, key_span, value)| self.item(name, key_span.clone(), value))
            .collect()
    }

    fn item(&self, name: &'a str, key_span: Span, value: &'a Spanned<DeValue<'a>>) -> Item<'a> {
        let path = if self.path.is_empty() {
            name.to_owned()
        } else {
            format!("{}.{name}", self.path)
        };
        Item {
            sheet: self.sheet,
            name,
            path,
            key_span,
            span: value.span(),
            value: value.get_ref(),
        }
    }

    /// A table of its own under a key.
    pub(crate) fn table(&mut self, key: &'static str) -> Option<Table<'a>> {
        self.take(key)?.table()
    }

    /// `[[key]]` blocks; a single `[key]` counts as one.
    pub(crate) fn blocks(&mut self, key: &'static str) -> Vec<Table<'a>> {
        let Some(item) = self.take(key) else {
            return Vec::new();
        };
        if !item.value.is_array() {
            return item.table().into_iter().collect();
        }
        let mut tables = Vec::new();
        for element in item.elements() {
            if let DeValue::Table(tree) = element.value {
                let title = format!("[[{}]]", shown(&item.path));
                tables.push(Table::new(
                    self.sheet,
                    &item.path,
                    title,
                    tree,
                    element.span.clone(),
                ));
            } else {
                element.wrong(
                    &format!("a [[{key}]] block"),
                    &format!("begin each with a line `[[{key}]]`"),
                );
            }
        }
        tables
    }

    /// Says which keys are left over. To be called once, at the end.
    pub(crate) fn finish(&mut self) {
        for (name, key_span, _) in std::mem::take(&mut self.left) {
            let hint = match nearest(name, self.known.iter().copied()) {
                Some(near) => format!("did you mean `{near}`?"),
                None if self.known.is_empty() => "remove it".to_owned(),
                None => format!("{} knows {}", self.title, self.known.join(", ")),
            };
            self.sheet.mistake(
                &key_span,
                format!("unknown key `{}` in {}", shown(name), self.title),
                hint,
            );
        }
    }
}
