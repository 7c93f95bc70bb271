//! A layout: what the keeper says about a kind of file (formats, section 9), read from the flattened options.

mod parts;

pub(crate) use parts::{Constant, From, Head, Pattern, Spec, TimeFormat, Until};

use crate::datetime::Day;
use crate::datetime::format::{Format, Item};
use crate::kind::Kind;
use crate::lines::{Delimiter, Quote};
use crate::number::Marks;
use regex_lite::Regex;
use undim_sdk::{Failure, OptionItem, OptionKind, Options};

/// The columns a layout may name.
pub(crate) const COLUMNS: [&str; 11] = [
    "time",
    "value",
    "unit",
    "x",
    "y",
    "z",
    "station",
    "device",
    "tilt",
    "temperature",
    "remark",
];

/// Everything a layout says.
#[derive(Debug, Default)]
pub struct Layout {
    /// What kind of text the layout is for.
    pub(crate) kind: Kind,
    /// A layout was given.
    pub(crate) is_given: bool,
    /// Which sheet, or where the records are, with its option's index.
    pub(crate) part: Option<(String, u32)>,
    /// The file's days are counted from 1904.
    pub(crate) epoch_1904: bool,
    /// What a table without a header calls its columns.
    pub(crate) names: Vec<String>,
    /// The description that lies beside the file and says part of this.
    pub(crate) described_by: Option<String>,
    /// Columns that do not stand in the file's lines.
    pub(crate) added_columns: usize,
    /// Columns whose names mean something else in this kind of file than they seem to.
    pub(crate) meaningless: Vec<String>,
    pub(crate) encoding: Option<(String, u32)>,
    pub(crate) delimiter: Option<Delimiter>,
    /// A delimiter that is no single byte: it is put in place of this character.
    pub(crate) wide_delimiter: Option<char>,
    pub(crate) quote: Option<Quote>,
    pub(crate) decimal: Option<u8>,
    pub(crate) thousands: Option<u8>,
    marks_index: u32,
    pub(crate) comment: Option<String>,
    pub(crate) skip: Option<u64>,
    pub(crate) skip_to: Option<(Pattern, u32)>,
    pub(crate) skip_end: u64,
    pub(crate) until: Option<Until>,
    /// Which of the file's tables is meant, from 1, with its option's index.
    pub(crate) table: Option<(u64, u32)>,
    /// The file's name without its folder.
    pub(crate) file_name: String,
    pub(crate) header: Option<usize>,
    pub(crate) units_row: Option<bool>,
    pub(crate) missing: Option<Vec<String>>,
    pub(crate) timezone: Option<String>,
    /// By position in [`COLUMNS`].
    pub(crate) columns: [Option<Spec>; COLUMNS.len()],
    pub(crate) constants: [Option<Constant>; COLUMNS.len()],
    pub(crate) values: Vec<Spec>,
    pub(crate) keep: Vec<(From, Vec<Pattern>, u32)>,
    pub(crate) head: Vec<Head>,
    /// From the keeper's note.
    pub(crate) date: Option<Day>,
}

/// The position of a column of the formats' section 5.
pub(crate) fn column(name: &str) -> Option<usize> {
    COLUMNS.iter().position(|known| *known == name)
}

impl Layout {
    /// Reads the options; a mistake is told with its option.
    pub fn new(options: &Options, kind: Kind) -> Result<Layout, Failure> {
        let mut layout = Layout {
            kind,
            ..Layout::default()
        };
        if kind != Kind::Delimited {
            layout.delimiter = Some(Delimiter::Byte(CELL_END));
            layout.quote = Some(Quote(Some(CELL_QUOTE)));
        }
        if kind == Kind::Records {
            layout.header = Some(1);
            layout.units_row = Some(false);
        }
        for item in options {
            let path = split_path(item.path);
            let keys: Vec<&str> = path.iter().map(String::as_str).collect();
            layout.is_given |= keys.first() != Some(&"note");
            layout.take(&keys, item)?;
        }
        layout.check()?;
        Ok(layout)
    }

    /// Says what the file is called, for columns that stand in its name.
    pub fn called(&mut self, file_name: &str) {
        file_name.clone_into(&mut self.file_name);
    }

    /// The encoding that the layout names, with its option's index.
    pub fn encoding(&self) -> Option<(&str, u32)> {
        self.encoding
            .as_ref()
            .map(|(label, index)| (label.as_str(), *index))
    }

    /// A delimiter beyond ASCII, in place of which [`WIDE_DELIMITER`] is to be put.
    pub fn wide_delimiter(&self) -> Option<char> {
        self.wide_delimiter
    }

    /// Columns a layout names, in whatever way.
    pub(crate) fn names_columns(&self) -> bool {
        // A description tells how a time is written, not where all the others are.
        let told = |(at, spec): (usize, &Option<Spec>)| {
            spec.as_ref().is_some_and(|spec| !spec.is_usual) && !(at == 0 && self.described_by.is_some())
        };
        self.columns.iter().enumerate().any(told) || !self.values.is_empty()
    }

    pub(crate) fn spec(&self, name: &str) -> Option<&Spec> {
        self.columns.get(column(name)?)?.as_ref()
    }

    /// Every place that is asked for by header text or expression.
    pub(crate) fn wanted_names(&self) -> impl Iterator<Item = &From> {
        let specs = self.columns.iter().flatten().chain(&self.values);
        specs
            .flat_map(|spec| spec.from.iter().map(|(from, _)| from))
            .chain(self.keep.iter().map(|(from, _, _)| from))
            .filter(|from| matches!(from, From::Header(_) | From::Matching(_)))
    }

    fn take(&mut self, keys: &[&str], item: &OptionItem) -> Result<(), Failure> {
        self.kind.allows(keys, item)?;
        let empty = item.kind == OptionKind::Empty;
        match keys {
            ["note", "date"] => self.date = date(item.text),
            ["note", ..] => {}
            ["missing"] if empty => self.missing = Some(Vec::new()),
            ["missing", ..] => self
                .missing
                .get_or_insert_default()
                .push(item.text.trim().to_owned()),
            ["columns" | "constants" | "keep" | "head" | "value" | "names"] if empty => {}
            ["encoding"] => self.encoding = Some((item.text.to_owned(), item.index)),
            ["delimiter"] => self.take_delimiter(item)?,
            ["quote"] => {
                self.quote = Some(Quote(one_byte(item, "quote")?));
                self.marks_index = item.index;
            }
            ["decimal"] => {
                self.decimal = one_of(item, "decimal", b".,")?;
                self.marks_index = item.index;
            }
            ["thousands"] => {
                self.thousands = one_byte(item, "thousands mark")?;
                self.marks_index = item.index;
            }
            ["comment"] => self.comment = Some(item.text.to_owned()).filter(|text| !text.is_empty()),
            ["skip"] => self.skip = Some(whole(item)?),
            ["skip_to"] => self.skip_to = Some((Pattern::new(item)?, item.index)),
            ["skip_end"] => self.skip_end = whole(item)?.min(100_000),
            ["until"] => self.until = Some(Until::new(item)?),
            ["table"] => self.table = Some((whole(item)?.max(1), item.index)),
            ["header"] => self.header = Some(whole(item)? as usize),
            ["units_row"] => self.units_row = Some(item.text == "true"),
            ["names", ..] => self.names.push(item.text.trim().to_owned()),
            ["described_by"] => self.described_by = Some(item.text.to_owned()),
            ["timezone"] => self.timezone = Some(item.text.to_owned()),
            ["columns", name, rest @ ..] => {
                let at = column(name).ok_or_else(|| no_column(item, name))?;
                let spec = self.columns[at].get_or_insert_with(|| Spec {
                    index: item.index,
                    ..Spec::default()
                });
                take_spec(spec, rest, item, false)?;
            }
            ["constants", name] => {
                let at = column(name).ok_or_else(|| no_column(item, name))?;
                self.constants[at] = Some(Constant {
                    text: item.text.to_owned(),
                    index: item.index,
                });
            }
            ["value", position, rest @ ..] if position.parse::<usize>().is_ok_and(|at| at < 4096) => {
                let at = position.parse::<usize>().unwrap_or(0);
                while self.values.len() <= at {
                    self.values.push(Spec {
                        index: item.index,
                        ..Spec::default()
                    });
                }
                take_spec(&mut self.values[at], rest, item, true)?;
            }
            ["keep", name] => self
                .keep
                .push((from(item, name)?, vec![Pattern::new(item)?], item.index)),
            ["keep", name, _] => {
                let pattern = Pattern::new(item)?;
                match self
                    .keep
                    .iter_mut()
                    .find(|(known, _, _)| matches!(known, From::Header(text) if text == name))
                {
                    Some((_, patterns, _)) => patterns.push(pattern),
                    None => self
                        .keep
                        .push((From::Header((*name).to_owned()), vec![pattern], item.index)),
                }
            }
            ["head", name, key] => self.take_head(name, key, item)?,
            ["sheet" | "records"] => self.part = Some((item.text.trim().to_owned(), item.index)),
            _ => return Err(unknown(item)),
        }
        Ok(())
    }

    fn take_delimiter(&mut self, item: &OptionItem) -> Result<(), Failure> {
        let mut letters = item.text.chars();
        self.delimiter = Some(match (item.text, letters.next(), letters.next()) {
            ("tab" | "\t", _, _) => Delimiter::Byte(b'\t'),
            ("blanks", _, _) => Delimiter::Blanks,
            ("none", _, _) => Delimiter::None,
            (_, Some(one), None) if one.is_ascii() && !matches!(one, '\n' | '\r') => {
                Delimiter::Byte(one as u8)
            }
            (_, Some(one), None) if !one.is_ascii() => {
                self.wide_delimiter = Some(one);
                Delimiter::Byte(WIDE_DELIMITER)
            }
            _ => {
                return Err(Failure::option(
                    item.index,
                    "the delimiter is one character, \"tab\", or \"blanks\"",
                ));
            }
        });
        Ok(())
    }

    fn take_head(&mut self, name: &str, key: &str, item: &OptionItem) -> Result<(), Failure> {
        let at = match self.head.iter().position(|head| head.name == name) {
            Some(at) => at,
            None => {
                self.head.push(Head {
                    name: name.to_owned(),
                    line: 0,
                    pick: None,
                    index: item.index,
                });
                self.head.len() - 1
            }
        };
        match key {
            "line" => self.head[at].line = whole(item)?,
            "pick" => self.head[at].pick = Some(required_expression(item)?),
            _ => return Err(unknown(item)),
        }
        Ok(())
    }

    /// What only shows once all options are read.
    fn check(&self) -> Result<(), Failure> {
        if let Some(head) = self.head.iter().find(|head| head.line == 0) {
            return Err(Failure::option(
                head.index,
                "a value of the head needs its `line`, counted from 1",
            ));
        }
        if let Some(spec) = self.values.iter().find(|spec| spec.from.is_empty()) {
            return Err(Failure::option(spec.index, "each [[value]] needs `from`"));
        }
        let heads = self
            .columns
            .iter()
            .flatten()
            .chain(&self.values)
            .flat_map(|spec| spec.from.iter().chain(&spec.start));
        for (from, index) in heads {
            if let From::Head(name) = from
                && !self.head.iter().any(|head| head.name == *name)
            {
                return Err(Failure::option(*index, format!("[head] has no `{name}`")));
            }
        }
        if let (Some(value), false) = (self.spec("value"), self.values.is_empty()) {
            return Err(Failure::option(
                value.index,
                "either columns.value or [[value]], not both",
            ));
        }
        if self.decimal.is_some() && self.decimal == self.thousands {
            return Err(Failure::option(
                self.marks_index,
                "decimal and thousands can't be the same mark",
            ));
        }
        if let (Some(Delimiter::Byte(byte)), Some(Quote(Some(quote)))) = (self.delimiter, self.quote)
            && byte == quote
        {
            return Err(Failure::option(
                self.marks_index,
                "delimiter and quote can't be the same character",
            ));
        }
        Ok(())
    }

    /// What the layout says about the marks in numbers.
    pub(crate) fn marks(&self) -> Option<Marks> {
        let decimal = match (self.decimal, self.thousands) {
            (Some(decimal), _) => decimal,
            (None, Some(b'.')) => b',',
            (None, Some(b',')) => b'.',
            _ => return None,
        };
        let usual = if decimal == b'.' { b',' } else { b'.' };
        // With the decimal mark stated alone, the other one can only group.
        Some(Marks {
            decimal,
            thousands: Some(self.thousands.unwrap_or(usual)),
        })
    }
}

/// What ends a cell in the lines that [`Cells`](crate::Cells) makes, and what stands around one that holds it.
pub(crate) const CELL_END: u8 = b',';
pub(crate) const CELL_QUOTE: u8 = b'"';

/// Stands in for a delimiter that is longer than a byte: the control character for this very use.
pub const WIDE_DELIMITER: u8 = 0x1f;

fn take_spec(spec: &mut Spec, keys: &[&str], item: &OptionItem, with_constants: bool) -> Result<(), Failure> {
    match keys {
        [] if item.kind == OptionKind::Empty => {}
        // A bare text or number says where from.
        [] | ["from"] | ["from", _] => spec.from.push((from(item, item.text)?, item.index)),
        ["pick"] => spec.pick = Some(required_expression(item)?),
        ["unit"] => spec.unit = Some((item.text.to_owned(), item.index)),
        ["times"] => spec.times = Some(number(item)?),
        ["format"] => {
            spec.format_index = item.index;
            spec.format = Some(time_format(item)?);
        }
        ["start"] | ["start", _] => {
            let from = match item.text.strip_prefix("head.") {
                Some(name) => From::Head(name.to_owned()),
                None if item.text == "file.name" => From::FileName,
                None => From::Text(item.text.to_owned()),
            };
            spec.start.push((from, item.index));
        }
        ["step"] => spec.step_us = Some(duration(item)?),
        [name] if with_constants && column(name).is_some() => {
            let at = column(name).unwrap_or(0);
            spec.constants[at] = Some(Constant {
                text: item.text.to_owned(),
                index: item.index,
            });
        }
        _ => return Err(unknown(item)),
    }
    Ok(())
}

fn from(item: &OptionItem, text: &str) -> Result<From, Failure> {
    if item.kind == OptionKind::Integer && text == item.text {
        let number = whole(item)? as usize;
        if number == 0 {
            return Err(Failure::option(item.index, "columns are counted from 1"));
        }
        return Ok(From::Number(number));
    }
    if let Some(name) = text.strip_prefix("head.") {
        return Ok(From::Head(name.to_owned()));
    }
    if text == "file.name" {
        return Ok(From::FileName);
    }
    let shown = OptionItem { text, ..item.clone() };
    Ok(match expression(&shown)? {
        Some(regex) => From::Matching(regex),
        None => From::Header(text.trim().to_owned()),
    })
}

/// The expression between two slashes; `None` where the text is none.
fn expression(item: &OptionItem) -> Result<Option<Regex>, Failure> {
    let inner = item
        .text
        .strip_prefix('/')
        .and_then(|rest| rest.strip_suffix('/'));
    let Some(inner) = inner.filter(|inner| !inner.is_empty()) else {
        return Ok(None);
    };
    match Regex::new(inner) {
        Ok(regex) => Ok(Some(regex)),
        Err(error) => Err(Failure::option(
            item.index,
            format!("this regular expression can't be read: {error}"),
        )),
    }
}

fn required_expression(item: &OptionItem) -> Result<Regex, Failure> {
    expression(item)?
        .ok_or_else(|| Failure::option(item.index, "here a regular expression between slashes is needed"))
}

pub(crate) fn time_format(item: &OptionItem) -> Result<TimeFormat, Failure> {
    let counted = |piece| {
        Ok(TimeFormat::Format(Format::from_items(
            item.text.to_owned(),
            &[piece],
        )))
    };
    match item.text {
        "unix" => counted(Item::Unix),
        "unix-ms" => counted(Item::UnixMillis),
        "serial-1900" => Ok(TimeFormat::Serial { epoch_1904: false }),
        "serial-1904" => Ok(TimeFormat::Serial { epoch_1904: true }),
        "seconds-since-start" => Ok(TimeFormat::SinceStart),
        text => Format::new(text)
            .map(TimeFormat::Format)
            .map_err(|why| Failure::option(item.index, why)),
    }
}

/// A whole number and ms, s, m, h or d.
fn duration(item: &OptionItem) -> Result<i64, Failure> {
    let wrong = || {
        Failure::option(
            item.index,
            "a duration is a whole number and ms, s, m, h or d, as in \"60s\"",
        )
    };
    let digits = item.text.bytes().take_while(u8::is_ascii_digit).count();
    let (number, unit) = item.text.split_at(digits);
    let number: i64 = number.parse().map_err(|_| wrong())?;
    let micros = match unit.trim() {
        "ms" => 1000,
        "s" => 1_000_000,
        "m" => 60_000_000,
        "h" => 3_600_000_000,
        "d" => 86_400_000_000,
        _ => return Err(wrong()),
    };
    number.checked_mul(micros).ok_or_else(wrong)
}

fn date(text: &str) -> Option<Day> {
    let (parts, _) = crate::datetime::parse::prefix(&Format::new("%Y-%m-%d").ok()?, text.trim())?;
    parts.date(None)?;
    Some(Day {
        year: parts.year?,
        month: parts.month?,
        day: parts.day?,
    })
}

fn whole(item: &OptionItem) -> Result<u64, Failure> {
    item.text
        .parse()
        .map_err(|_| Failure::option(item.index, "here a whole number, not negative, is needed"))
}

fn number(item: &OptionItem) -> Result<f64, Failure> {
    let value = item
        .text
        .replace('_', "")
        .parse()
        .ok()
        .filter(|value: &f64| value.is_finite());
    value.ok_or_else(|| Failure::option(item.index, "here a number is needed"))
}

fn one_byte(item: &OptionItem, what: &str) -> Result<Option<u8>, Failure> {
    let mut letters = item.text.chars();
    match (letters.next(), letters.next()) {
        (Some(one), None) if one.is_ascii() => Ok(Some(one as u8)),
        // Blanks of any width group digits anyway.
        (None | Some('\u{a0}' | '\u{202f}' | '\u{2009}' | '\u{2019}'), None) => Ok(None),
        _ => Err(Failure::option(
            item.index,
            format!("the {what} is one plain character"),
        )),
    }
}

fn one_of(item: &OptionItem, what: &str, allowed: &[u8]) -> Result<Option<u8>, Failure> {
    match one_byte(item, what)? {
        Some(byte) if allowed.contains(&byte) => Ok(Some(byte)),
        _ => Err(Failure::option(item.index, format!("{what} is \".\" or \",\""))),
    }
}

fn no_column(item: &OptionItem, name: &str) -> Failure {
    Failure::option(
        item.index,
        format!(
            "`{name}` is no column here; the columns are {}",
            COLUMNS.join(", ")
        ),
    )
}

fn unknown(item: &OptionItem) -> Failure {
    Failure::option(item.index, format!("a layout has no `{}`", item.path))
}

/// The keys of a path; a quoted key may hold dots.
fn split_path(path: &str) -> Vec<String> {
    let (mut keys, mut key, mut quoted, mut letters) = (Vec::new(), String::new(), false, path.chars());
    while let Some(c) = letters.next() {
        match c {
            '"' => quoted = !quoted,
            '\\' if quoted => key.extend(letters.next()),
            '.' if !quoted => keys.push(std::mem::take(&mut key)),
            c => key.push(c),
        }
    }
    keys.push(key);
    keys
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_split_at_dots_outside_quotes() {
        assert_eq!(
            split_path("columns.time.from.0"),
            ["columns", "time", "from", "0"]
        );
        assert_eq!(
            split_path(r#"keep."Kind of \"row\" 1.5""#),
            ["keep", r#"Kind of "row" 1.5"#]
        );
    }

    #[test]
    fn durations() {
        let item = |text| OptionItem {
            path: "columns.time.step",
            kind: OptionKind::Text,
            text,
            index: 3,
        };
        assert_eq!(duration(&item("60s")), Ok(60_000_000));
        assert_eq!(duration(&item("5m")), Ok(300_000_000));
        assert_eq!(duration(&item("1.5s")).unwrap_err().option_index(), Some(3));
    }
}
