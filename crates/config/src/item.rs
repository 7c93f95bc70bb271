//! One value of a TOML tree, and the kinds that it can be asked to be.

use crate::mistake::{nearest, shown};
use crate::sheet::{Placed, Sheet, Span};
use crate::walk::Table;
use crate::words;
use jiff::civil::Date;
use std::time::Duration;
use toml::de::{DeArray, DeValue};

/// A value under a key or in a list.
#[derive(Clone)]
pub(crate) struct Item<'a> {
    pub(crate) sheet: &'a Sheet,
    /// The key.
    pub(crate) name: &'a str,
    /// The dotted path from the top of the file.
    pub(crate) path: String,
    pub(crate) key_span: Span,
    pub(crate) span: Span,
    pub(crate) value: &'a DeValue<'a>,
}

impl<'a> Item<'a> {
    /// Says that the value isn't what it must be.
    pub(crate) fn wrong(&self, wanted: &str, hint: &str) {
        let found = match self.value {
            DeValue::String(text) => format!("the text \"{}\"", shown(text)),
            DeValue::Integer(number) => format!("the number {}", shown(number.as_str())),
            DeValue::Float(number) => format!("the number {}", shown(number.as_str())),
            DeValue::Boolean(yes) => yes.to_string(),
            DeValue::Datetime(when) => format!("the date or time {when}"),
            DeValue::Array(_) => "a list".to_owned(),
            DeValue::Table(_) => "a table".to_owned(),
        };
        let text = format!("`{}` must be {wanted}; this is {found}", shown(self.name));
        self.sheet.mistake(&self.span, text, hint);
    }

    /// Says something about the value.
    pub(crate) fn mistake(&self, text: impl Into<String>, hint: impl Into<String>) {
        self.sheet.mistake(&self.span, text, hint);
    }

    fn placed<T>(&self, value: T) -> Placed<T> {
        Placed {
            value,
            span: self.span.clone(),
        }
    }

    /// A finite number, whole or not.
    pub(crate) fn number(&self) -> Option<f64> {
        let number = match self.value {
            DeValue::Integer(whole) => i64::from_str_radix(whole.as_str(), whole.radix())
                .ok()
                .map(|whole| whole as f64),
            DeValue::Float(float) => float.as_str().parse::<f64>().ok().filter(|n| n.is_finite()),
            DeValue::String(text) if text.trim().parse::<f64>().is_ok_and(f64::is_finite) => {
                self.wrong(
                    "a number",
                    &format!("write {} without quotes", shown(text.trim())),
                );
                return None;
            }
            _ => {
                self.wrong("a number", "write digits with a decimal point, as 12.5");
                return None;
            }
        };
        if number.is_none() {
            self.wrong("a finite number", "write digits with a decimal point, as 12.5");
        }
        number
    }

    fn number_where(&self, wanted: &str, holds: impl Fn(f64) -> bool, hint: &str) -> Option<f64> {
        let number = self.number()?;
        if holds(number) {
            return Some(number);
        }
        self.wrong(wanted, hint);
        None
    }

    /// A number from 0 up.
    pub(crate) fn amount(&self) -> Option<f64> {
        self.number_where(
            "a number from 0 up",
            |n| n >= 0.0,
            "it can't be less than nothing",
        )
    }

    /// A number above 0.
    pub(crate) fn positive(&self) -> Option<f64> {
        self.number_where("a number above 0", |n| n > 0.0, "give its real size")
    }

    /// A fraction from 0 to 1.
    pub(crate) fn fraction(&self) -> Option<f64> {
        let hint = match self.value {
            DeValue::Integer(_) | DeValue::Float(_) => "0 is off, 1 is full; 60 % is written 0.60",
            _ => "0 is off, 1 is full",
        };
        self.number_where("a fraction from 0 to 1", |n| (0.0..=1.0).contains(&n), hint)
    }

    /// A whole number from 0 up.
    pub(crate) fn whole(&self) -> Option<u64> {
        let whole = match self.value {
            DeValue::Integer(whole) => u64::from_str_radix(whole.as_str(), whole.radix())
                .ok()
                .filter(|n| i64::try_from(*n).is_ok()),
            _ => None,
        };
        if whole.is_none() {
            self.wrong(
                "a whole number from 0 up",
                "write it without quotes and without a point",
            );
        }
        whole
    }

    /// true or false.
    pub(crate) fn yes_or_no(&self) -> Option<bool> {
        let yes = self.value.as_bool();
        if yes.is_none() {
            self.wrong("true or false", "write it without quotes");
        }
        yes
    }

    /// A text as it stands, possibly empty.
    pub(crate) fn any_text(&self) -> Option<Placed<String>> {
        let DeValue::String(text) = self.value else {
            self.wrong("a text", "put it in double quotes");
            return None;
        };
        Some(self.placed(text.to_string()))
    }

    /// A text with something in it.
    pub(crate) fn text(&self) -> Option<Placed<String>> {
        let text = self.any_text()?;
        if text.value.trim().is_empty() || text.value.contains('\0') {
            self.wrong("a text that isn't empty", "write it out, or leave the key out");
            return None;
        }
        Some(text)
    }

    /// An id of something that is declared or could be (formats, section 10).
    pub(crate) fn id(&self) -> Option<Placed<String>> {
        let text = self.any_text()?;
        match words::check_id(&text.value) {
            Ok(()) => Some(text),
            Err(hint) => {
                self.wrong("an id", &hint);
                None
            }
        }
    }

    /// One of a few words.
    pub(crate) fn word<T: Clone>(&self, words: &[(&'static str, T)]) -> Option<T> {
        let list = words.iter().map(|(word, _)| *word).collect::<Vec<_>>();
        let wanted = match list.as_slice() {
            [one] => format!("\"{one}\""),
            [first @ .., last] => format!("\"{}\" or \"{last}\"", first.join("\", \"")),
            [] => String::new(),
        };
        let DeValue::String(written) = self.value else {
            self.wrong(&wanted, "write the word in double quotes");
            return None;
        };
        let found = words.iter().find(|(word, _)| *word == written.as_ref());
        if found.is_none() {
            let near = nearest(written, list).map(|near| format!("did you mean \"{near}\"?"));
            self.wrong(&wanted, &near.unwrap_or_else(|| "write one of these".to_owned()));
        }
        found.map(|(_, value)| value.clone())
    }

    /// A calendar date.
    pub(crate) fn date(&self) -> Option<Date> {
        let written = match self.value {
            DeValue::Datetime(when) => when.date.filter(|_| when.time.is_none()),
            DeValue::String(text) if text.parse::<Date>().is_ok() => {
                self.wrong("a date", &format!("write {} without quotes", shown(text)));
                return None;
            }
            _ => None,
        };
        let date = written.and_then(|date| {
            let year = i16::try_from(date.year).ok()?;
            let month = i8::try_from(date.month).ok()?;
            Date::new(year, month, i8::try_from(date.day).ok()?).ok()
        });
        if date.is_none() {
            self.wrong(
                "a date",
                "write year, month and day without quotes, as 2026-03-01",
            );
        }
        date
    }

    /// A length of time, as "30s".
    pub(crate) fn duration(&self) -> Option<Duration> {
        let written = self.value.as_str().map(words::parse_duration);
        match written {
            Some(Ok(duration)) => Some(duration),
            Some(Err(hint)) => {
                self.wrong("a length of time", &hint);
                None
            }
            None => {
                self.wrong(
                    "a length of time",
                    "write it in quotes with its unit, as \"30s\" or \"35d\"",
                );
                None
            }
        }
    }

    /// A length of time that isn't nothing.
    pub(crate) fn some_duration(&self) -> Option<Duration> {
        let duration = self.duration()?;
        if duration.is_zero() {
            self.wrong("longer than nothing", "give it some time, as \"30s\"");
            return None;
        }
        Some(duration)
    }

    /// A number of bytes, as "512MiB", not 0.
    pub(crate) fn bytes(&self) -> Option<u64> {
        let parsed = match self.value {
            DeValue::String(text) => words::parse_bytes(text),
            DeValue::Integer(number) if number.radix() == 10 => words::parse_bytes(number.as_str()),
            _ => Err("write it in quotes with its unit, as \"512MiB\"".to_owned()),
        };
        match parsed {
            Ok(bytes) => Some(bytes),
            Err(hint) => {
                self.wrong("a size", &hint);
                None
            }
        }
    }

    /// The elements of a list.
    pub(crate) fn list(&self) -> Option<Vec<Item<'a>>> {
        let DeValue::Array(array) = self.value else {
            self.wrong("a list", "put its elements in square brackets: [ … , … ]");
            return None;
        };
        Some(self.elements_of(array))
    }

    /// The elements of a list; none for anything else, of which nothing is said.
    pub(crate) fn elements(&self) -> Vec<Item<'a>> {
        self.value
            .as_array()
            .map(|array| self.elements_of(array))
            .unwrap_or_default()
    }

    fn elements_of(&self, array: &'a DeArray<'a>) -> Vec<Item<'a>> {
        let elements = array.iter().map(|value| Item {
            span: value.span(),
            value: value.get_ref(),
            ..self.clone()
        });
        elements.collect()
    }

    /// The entries of a table in written order; none for anything else, of which nothing is said.
    pub(crate) fn entries(&self) -> Vec<Item<'a>> {
        let tree = self.value.as_table();
        tree.map(|tree| Table::new(self.sheet, &self.path, "", tree, 0..0).items())
            .unwrap_or_default()
    }

    /// A list of so many numbers; the example shows what they are.
    pub(crate) fn numbers<const N: usize>(&self, example: &str) -> Option<[f64; N]> {
        let list = self.list()?;
        if list.len() != N {
            self.wrong(
                &format!("a list of {N} numbers"),
                &format!("write all of them: {example}; it has {}", list.len()),
            );
            return None;
        }
        let numbers: Vec<f64> = list.iter().filter_map(Item::number).collect();
        numbers.try_into().ok()
    }

    /// From and to, from below to.
    pub(crate) fn range(&self) -> Option<[f64; 2]> {
        let [from, to] = self.numbers("[from, to]")?;
        if from >= to {
            self.mistake(
                format!("`{}` must rise: {from} is not below {to}", shown(self.name)),
                "write the smaller number first",
            );
            return None;
        }
        Some([from, to])
    }

    /// A list of texts.
    pub(crate) fn texts(&self) -> Option<Vec<Placed<String>>> {
        Some(self.list()?.iter().filter_map(Item::text).collect())
    }

    /// A table.
    pub(crate) fn table(&self) -> Option<Table<'a>> {
        let DeValue::Table(tree) = self.value else {
            self.wrong(
                "a table",
                "write it as `[name]` with keys below, or as { key = value }",
            );
            return None;
        };
        let title = format!("[{}]", shown(&self.path));
        let span = if self.key_span.start > self.span.start {
            self.span.clone()
        } else {
            self.key_span.clone()
        };
        Some(Table::new(self.sheet, &self.path, title, tree, span))
    }
}
