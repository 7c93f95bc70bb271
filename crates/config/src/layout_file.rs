//! Checks a layout's file (formats, section 9), so that a slip is told before any data file meets it.

use crate::item::Item;
use crate::layout::{Layout, flatten};
use crate::mistake::{nearest, shown};
use crate::sheet::Sheet;
use crate::walk::{Table, read};
use crate::words;
use regex_lite::Regex;
use undim_model::LengthUnit;

/// The columns of section 5 that a layout can fill.
const COLUMNS: [&str; 11] = [
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

/// Reads a layout's file.
pub(crate) fn read_layout(sheet: &Sheet) -> Layout {
    read(sheet, |top| {
        let layout = flatten(top);
        shape(top);
        let head = head(top);
        let head = head.as_deref();
        let mut filled = columns(top, head);
        let values = top.blocks("value");
        if let (Some(block), Some((_, span))) =
            (values.first(), filled.iter().find(|(name, _)| *name == "value"))
        {
            let (line, _) = sheet.place(block.span.start);
            sheet.mistake(
                span,
                format!("`columns.value` and [[value]] (line {line}) both say where the values are"),
                "keep [[value]] where a line holds several readings, else columns.value",
            );
        }
        for mut block in values {
            value_block(&mut block, head);
        }
        constants(top, &mut filled);
        if let Some(mut keep) = top.table("keep") {
            for item in keep.take_rest() {
                if let Some(text) = item.any_text() {
                    expression(&item, &text.value, false);
                }
            }
        }
        layout
    })
}

fn shape(top: &mut Table) {
    if let Some(item) = top.take("encoding")
        && let Some(text) = item.text()
        && encoding_rs::Encoding::for_label(text.value.as_bytes()).is_none()
    {
        item.wrong(
            "a text encoding",
            "write \"utf-8\", \"utf-16le\", \"windows-1252\" or another WHATWG label",
        );
    }
    let delimiter = top.take("delimiter").and_then(|item| {
        let text = item.any_text()?.value;
        if !matches!(text.as_str(), "tab" | "blanks") && !is_mark(&text) {
            item.wrong("one character, \"tab\" or \"blanks\"", "write for example \";\"");
        }
        Some(text)
    });
    let quote = top.take("quote");
    if let Some(item) = quote
        && let Some(text) = item.any_text()
        && !text.value.is_empty()
        && !is_mark(&text.value)
    {
        item.wrong("one character", "write for example '\"', or \"\" for none");
    }
    let decimal = mark(top, "decimal");
    let thousands = mark(top, "thousands");
    if let (Some((text, _)), Some((other, item))) = (&decimal, &thousands)
        && text == other
    {
        item.mistake(
            "`thousands` and `decimal` are the same mark",
            "one of the two must be another character",
        );
    }
    for (text, item) in decimal.iter().chain(&thousands) {
        if delimiter.as_ref() == Some(text) {
            item.mistake(
                format!("`{}` and `delimiter` are the same mark", item.name),
                "numbers would fall apart: one of the two must be another character",
            );
        }
    }
    if let Some(item) = top.take("comment") {
        item.text();
    }
    let skip = top.take("skip");
    let skip_to = top.take("skip_to");
    if let Some(item) = &skip {
        item.whole();
    }
    if let Some(item) = &skip_to
        && item.text().is_some()
        && skip.is_some()
    {
        item.mistake(
            "`skip` and `skip_to` both say where the header is",
            "keep one of the two",
        );
    }
    if let Some(item) = top.take("until")
        && !item.value.is_integer()
    {
        item.text();
    }
    for key in ["skip_end", "header", "table"] {
        if let Some(item) = top.take(key) {
            item.whole();
        }
    }
    if let Some(item) = top.take("units_row") {
        item.yes_or_no();
    }
    if let Some(item) = top.take("missing") {
        for text in item.list().unwrap_or_default() {
            text.any_text();
        }
    }
    if let Some(item) = top.take("timezone")
        && let Some(text) = item.text()
        && !words::is_offset(&text.value)
        && let Err(hint) = words::parse_zone(&text.value)
    {
        item.wrong(
            "a time zone or an offset",
            &format!("{hint} An offset is written \"+01:00\""),
        );
    }
    if let Some(item) = top.take("sheet")
        && !item.value.is_integer()
    {
        item.text();
    }
    if let Some(item) = top.take("records") {
        item.text();
    }
}

fn is_mark(text: &str) -> bool {
    let mut characters = text.chars();
    matches!((characters.next(), characters.next()), (Some(c), None) if !matches!(c, '\n' | '\r' | '\0'))
}

fn mark<'a>(top: &mut Table<'a>, key: &'static str) -> Option<(String, Item<'a>)> {
    let item = top.take(key)?;
    let text = item.any_text()?.value;
    if !is_mark(&text) {
        item.wrong("one character", "write for example \",\"");
        return None;
    }
    Some((text, item))
}

/// `[head]`: the names it gives, or `None` where there is none.
fn head(top: &mut Table) -> Option<Vec<String>> {
    let mut table = top.table("head")?;
    let items = table.take_rest();
    for item in &items {
        let Some(mut value) = item.table() else { continue };
        if let Some(line) = value.need("line", "line = 1")
            && line.whole() == Some(0)
        {
            line.wrong("a line number from 1", "the file's first line is 1");
        }
        pick(&mut value);
        value.finish();
    }
    Some(items.iter().map(|item| item.name.to_owned()).collect())
}

/// The columns that are filled, each with the place of its name.
type Filled<'a> = Vec<(&'a str, crate::sheet::Span)>;

fn columns<'a>(top: &mut Table<'a>, head: Option<&[String]>) -> Filled<'a> {
    let Some(mut table) = top.table("columns") else {
        return Vec::new();
    };
    let mut filled = Vec::new();
    for name in COLUMNS {
        let Some(item) = table.take(name) else { continue };
        filled.push((item.name, item.key_span.clone()));
        let Some(mut column) = item.table() else { continue };
        if name == "time" {
            time_column(&mut column, head);
        } else {
            // Left out: the importer finds the column out, and says which it took.
            if let Some(from) = column.take("from") {
                sources(&from, head);
            }
            measure(&mut column, name);
        }
        pick(&mut column);
        column.finish();
    }
    table.finish();
    filled
}

fn time_column(column: &mut Table, head: Option<&[String]>) {
    let from = column.take("from");
    let start = column.take("start");
    let step = column.take("step");
    for item in from.iter().chain(&start) {
        sources(item, head);
    }
    if let (Some(_), Some(start)) = (&from, &start) {
        start.mistake(
            "`from` and `start` both say when",
            "`from` is for lines that carry a time, `start` and `step` for lines that don't",
        );
    }
    if let Some(item) = &step {
        item.some_duration();
        if start.is_none() {
            item.mistake(
                "`step` stands without `start`",
                "say where the first line's time comes from: start = [\"head.date\"]",
            );
        }
    } else if let Some(start) = &start {
        start.mistake(
            "`start` stands without `step`",
            "say how far apart the lines are, as step = \"60s\"",
        );
    }
    let words = [
        "unix",
        "unix-ms",
        "serial-1900",
        "serial-1904",
        "seconds-since-start",
    ];
    if let Some(item) = column.take("format")
        && let Some(text) = item.text()
        && !words.contains(&text.value.as_str())
        && !text.value.contains('%')
    {
        let near = nearest(&text.value, words).map(|near| format!("did you mean \"{near}\"?"));
        item.wrong(
            "strftime letters or a known word",
            &near.unwrap_or_else(|| format!("write \"%d.%m.%Y %H:%M:%S\", or one of {}", words.join(", "))),
        );
    }
}

/// `unit` and `times`, for the columns that hold numbers.
fn measure(column: &mut Table, name: &str) {
    if !matches!(name, "value" | "x" | "y" | "z" | "tilt" | "temperature") {
        return;
    }
    if let Some(item) = column.take("unit")
        && let Some(text) = item.text()
    {
        let code = text.value.as_str();
        match name {
            "value" if undim_clean::unit::parse(code).is_none() => item.wrong(
                "a unit of light, a voltage or a count in UCUM",
                "write \"umol.m-2.s-1\", \"lx\", \"W.m-2\", \"mV\" or \"1\" (counts)",
            ),
            "x" | "y" | "z" if LengthUnit::from_code(code).is_none() => {
                item.wrong("a unit of length", "write \"mm\", \"cm\", \"m\" or \"in\"");
            }
            _ => {}
        }
    }
    if let Some(item) = column.take("times")
        && item.number() == Some(0.0)
    {
        item.wrong("a number other than 0", "it multiplies every value");
    }
}

fn value_block(block: &mut Table, head: Option<&[String]>) {
    if let Some(from) = block.need("from", "from = \"header text\"") {
        sources(&from, head);
    }
    measure(block, "value");
    pick(block);
    constant_cells(
        block,
        &["x", "y", "z", "tilt", "temperature"],
        &["station", "device", "remark"],
    );
    block.finish();
}

fn constants(top: &mut Table, filled: &mut Filled) {
    let Some(mut table) = top.table("constants") else {
        return;
    };
    for item in table.items() {
        if filled.iter().any(|(name, _)| *name == item.name) {
            top.sheet.mistake(
                &item.key_span,
                format!("`{}` stands in [columns] and in [constants]", shown(item.name)),
                "a constant is for a column that the file lacks: keep one of the two",
            );
        }
    }
    constant_cells(
        &mut table,
        &["x", "y", "z", "tilt", "temperature"],
        &["station", "device", "unit", "remark"],
    );
    table.finish();
}

fn constant_cells(table: &mut Table, numbers: &[&'static str], texts: &[&'static str]) {
    for key in numbers {
        if let Some(item) = table.take(key) {
            item.number();
        }
    }
    for key in texts {
        if let Some(item) = table.take(key) {
            item.text();
        }
    }
}

/// Header text, /expression/ or number, or several of them.
fn sources(item: &Item, head: Option<&[String]>) {
    if !item.value.is_array() {
        source(item, head);
        return;
    }
    let list = item.elements();
    if list.is_empty() {
        item.wrong(
            "at least one column",
            "write a header text, /an expression/ or a number from 1",
        );
    }
    for item in &list {
        source(item, head);
    }
}

fn source(item: &Item, head: Option<&[String]>) {
    if item.value.is_integer() {
        if item.whole() == Some(0) {
            item.wrong("a column number from 1", "the first column is 1");
        }
        return;
    }
    let Some(text) = item.text() else { return };
    expression(item, &text.value, false);
    if let (Some(names), Some(name)) = (head, text.value.strip_prefix("head."))
        && !names.iter().any(|known| known == name)
    {
        let hint = match nearest(name, names.iter().map(String::as_str)) {
            Some(near) => format!("did you mean \"head.{near}\"?"),
            None => "name it below [head]".to_owned(),
        };
        item.mistake(format!("no `{}` stands in [head]", shown(name)), hint);
    }
}

/// `pick = "/…(…)…/"`.
fn pick(table: &mut Table) {
    let Some(item) = table.take("pick") else { return };
    let Some(text) = item.text() else { return };
    if !is_expression(&text.value) {
        item.wrong(
            "an expression between slashes",
            "write for example '/(\\d{4})/', in single quotes",
        );
        return;
    }
    expression(&item, &text.value, true);
}

fn is_expression(text: &str) -> bool {
    text.len() > 2 && text.starts_with('/') && text.ends_with('/')
}

fn expression(item: &Item, text: &str, needs_group: bool) {
    let Some(inner) = text.strip_prefix('/').and_then(|rest| rest.strip_suffix('/')) else {
        return;
    };
    match Regex::new(inner) {
        Err(error) => item.mistake(
            format!("this is no regular expression: {}", shown(&error.to_string())),
            "put a \\ before a mark that stands for itself, and the whole in single quotes",
        ),
        Ok(regex) if needs_group && regex.captures_len() < 2 => item.mistake(
            "the expression has no group to pick",
            "put the part to pick in round brackets, as '/(\\d{4})/'",
        ),
        Ok(_) => {}
    }
}
