//! A description that lies beside a table: W3C metadata (`NAME.csv-metadata.json`) or a data package
//! (`datapackage.json`), turned into options as a layout would give them.
//!
//! Sources: W3C, "Model for Tabular Data and Metadata on the Web", 2015, 5.3 and 6.4, and "Metadata Vocabulary for
//! Tabular Data", 2015, 5.3 to 5.11; Frictionless Data, "Data Package", "Table Dialect" and "Table Schema" v2.

use serde_json::Value;
use undim_import::wire::{ImportOption, OptionKind};

/// Turns a description into options for the table of this name.
///
/// `Ok(None)` where it does not speak of that table. The error is a sentence.
pub fn described(text: &str, table: &str, by: &str) -> Result<Option<Vec<ImportOption>>, String> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let json: Value = serde_json::from_str(text).map_err(|error| format!("it is no JSON ({error})"))?;
    let mut options = Options::default();
    let found = match json.get("resources").and_then(Value::as_array) {
        Some(resources) => package(resources, &json, table, &mut options)?,
        None => metadata(&json, table, &mut options)?,
    };
    if !found {
        return Ok(None);
    }
    options.text("described_by", by);
    Ok(Some(options.0))
}

/// The tables that a data package speaks of, as far as they lie beside it.
pub fn described_tables(text: &str) -> Vec<String> {
    let json: Value = serde_json::from_str(text).unwrap_or_default();
    let resources = json.get("resources").and_then(Value::as_array);
    let paths = resources.into_iter().flatten().flat_map(paths_of);
    paths
        .filter(|path| !path.contains('/'))
        .map(str::to_owned)
        .collect()
}

/// Adds to a layout's options those of a description that say something the layout doesn't.
pub fn add_described(options: &mut Vec<ImportOption>, described: Vec<ImportOption>) {
    let stated: Vec<String> = options.iter().map(|option| subject(&option.path)).collect();
    let new = described.into_iter();
    options.extend(new.filter(|option| !stated.contains(&subject(&option.path))));
}

/// What an option is about: its first key, and for columns the column too.
fn subject(path: &str) -> String {
    let keys = if path.starts_with("columns.") { 2 } else { 1 };
    path.split('.').take(keys).collect::<Vec<_>>().join(".")
}

#[derive(Default)]
struct Options(Vec<ImportOption>);

impl Options {
    fn push(&mut self, path: String, kind: OptionKind, text: String) {
        self.0.push(ImportOption { path, kind, text });
    }

    fn text(&mut self, key: &str, text: &str) {
        self.push(key.to_owned(), OptionKind::Text, text.to_owned());
    }

    fn number(&mut self, key: &str, number: u64) {
        self.push(key.to_owned(), OptionKind::Integer, number.to_string());
    }

    fn list(&mut self, key: &str, texts: &[String]) {
        for (at, text) in texts.iter().enumerate() {
            self.push(format!("{key}.{at}"), OptionKind::Text, text.clone());
        }
    }
}

/// A column, whichever way it is described.
struct Column {
    /// What the table's header calls it.
    title: String,
    kind: Kind,
    /// In strftime's letters.
    format: Option<String>,
    missing: Vec<String>,
    decimal: Option<String>,
    thousands: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Moment,
    Date,
    Time,
    Other,
}

fn metadata(json: &Value, table: &str, options: &mut Options) -> Result<bool, String> {
    let tables: Vec<&Value> = match json.get("tables").and_then(Value::as_array) {
        Some(tables) => tables.iter().collect(),
        None => vec![json],
    };
    let is_named = |known: &&&Value| {
        let url = known.get("url").and_then(Value::as_str);
        url.is_some_and(|url| {
            url.rsplit('/')
                .next()
                .is_some_and(|name| unescaped(name) == table)
        })
    };
    let Some(found) = tables.iter().find(is_named) else {
        return Ok(false);
    };
    if let Some(dialect) = found.get("dialect").or_else(|| json.get("dialect")) {
        take_dialect(dialect, options)?;
    }
    let schema = found.get("tableSchema").or_else(|| json.get("tableSchema"));
    let columns = schema
        .and_then(|schema| schema.get("columns"))
        .and_then(Value::as_array);
    let mut all = Vec::new();
    for column in columns.into_iter().flatten() {
        if column.get("virtual").and_then(Value::as_bool) == Some(true) {
            continue;
        }
        all.push(metadata_column(column)?);
    }
    finish(&all, options);
    Ok(true)
}

fn metadata_column(column: &Value) -> Result<Column, String> {
    let first = |value: &Value| -> Option<String> {
        match value {
            Value::String(text) => Some(text.clone()),
            Value::Array(list) => list.first()?.as_str().map(str::to_owned),
            // By language; one of them is the header's.
            Value::Object(map) => match map.values().next()? {
                Value::String(text) => Some(text.clone()),
                Value::Array(list) => list.first()?.as_str().map(str::to_owned),
                _ => None,
            },
            _ => None,
        }
    };
    let title = column.get("titles").and_then(first);
    let name = column.get("name").and_then(Value::as_str).map(str::to_owned);
    let datatype = column.get("datatype");
    let base = match datatype {
        Some(Value::Object(map)) => map.get("base").and_then(Value::as_str).unwrap_or("string"),
        Some(Value::String(base)) => base,
        _ => "string",
    };
    let kind = match base {
        "datetime" | "dateTime" | "dateTimeStamp" => Kind::Moment,
        "date" => Kind::Date,
        "time" => Kind::Time,
        _ => Kind::Other,
    };
    let format = datatype.and_then(|datatype| datatype.get("format"));
    let mark = |key: &str| {
        format
            .and_then(|format| format.get(key))
            .and_then(Value::as_str)
            .map(str::to_owned)
    };
    let strftime = match (kind, format.and_then(Value::as_str)) {
        (Kind::Other, _) | (_, None) => None,
        (_, Some(format)) => Some(strftime(format)?),
    };
    let missing = match column.get("null") {
        Some(Value::String(text)) => vec![text.clone()],
        Some(Value::Array(list)) => list.iter().filter_map(Value::as_str).map(str::to_owned).collect(),
        _ => Vec::new(),
    };
    Ok(Column {
        title: title.or(name).unwrap_or_default(),
        kind,
        format: strftime,
        missing,
        decimal: mark("decimalChar"),
        thousands: mark("groupChar"),
    })
}

/// Percent signs in an address, as far as names of files have them.
fn unescaped(name: &str) -> String {
    name.replace("%20", " ")
}

fn package(resources: &[Value], json: &Value, table: &str, options: &mut Options) -> Result<bool, String> {
    let Some(found) = resources
        .iter()
        .find(|resource| paths_of(resource).any(|path| path.strip_prefix("./").unwrap_or(path) == table))
    else {
        return Ok(false);
    };
    if let Some(encoding) = found.get("encoding").and_then(Value::as_str) {
        options.text("encoding", encoding);
    }
    match found.get("dialect").or_else(|| json.get("dialect")) {
        Some(dialect @ Value::Object(_)) => take_dialect(dialect, options)?,
        Some(Value::String(_)) => {
            return Err("its dialect lies in a file of its own, which is not read".to_owned());
        }
        _ => {}
    }
    let schema = match found.get("schema") {
        Some(Value::String(_)) => {
            return Err("its schema lies in a file of its own, which is not read".to_owned());
        }
        Some(schema) => schema,
        None => return Ok(true),
    };
    let texts = |value: Option<&Value>| -> Vec<String> {
        let list = value.and_then(Value::as_array).into_iter().flatten();
        // Since version 2 an entry may be an object with a label.
        list.filter_map(|entry| entry.as_str().or_else(|| entry.get("value")?.as_str()))
            .map(str::to_owned)
            .collect()
    };
    let shared = texts(schema.get("missingValues"));
    let mut all = Vec::new();
    for field in schema
        .get("fields")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
    {
        let text = |key: &str| field.get(key).and_then(Value::as_str).map(str::to_owned);
        let kind = match text("type").as_deref() {
            Some("datetime") => Kind::Moment,
            Some("date") => Kind::Date,
            Some("time") => Kind::Time,
            _ => Kind::Other,
        };
        let format = text("format").filter(|format| kind != Kind::Other && format.contains('%'));
        let mut missing = texts(field.get("missingValues"));
        missing.extend(shared.iter().cloned());
        all.push(Column {
            title: text("name").unwrap_or_default(),
            kind,
            format,
            missing,
            decimal: text("decimalChar"),
            thousands: text("groupChar"),
        });
    }
    finish(&all, options);
    Ok(true)
}

fn paths_of(resource: &Value) -> impl Iterator<Item = &str> {
    let path = resource.get("path");
    let one = path.and_then(Value::as_str);
    let several = path.and_then(Value::as_array).into_iter().flatten();
    one.into_iter().chain(several.filter_map(Value::as_str))
}

/// A dialect; both standards use these names.
fn take_dialect(dialect: &Value, options: &mut Options) -> Result<(), String> {
    let text = |key: &str| dialect.get(key).and_then(Value::as_str);
    if let Some(encoding) = text("encoding") {
        options.text("encoding", encoding);
    }
    if let Some(delimiter) = text("delimiter") {
        let word = match delimiter {
            "\t" | "\\t" => "tab",
            other if other.chars().count() == 1 => other,
            other => return Err(format!("its delimiter \"{other}\" is no single character")),
        };
        options.text("delimiter", word);
    }
    match dialect.get("quoteChar") {
        Some(Value::Null) => options.text("quote", ""),
        Some(Value::String(quote)) => options.text("quote", quote),
        _ => {}
    }
    if let Some(comment) = text("commentPrefix").or_else(|| text("commentChar")) {
        options.text("comment", comment);
    }
    let skip = dialect
        .get("skipRows")
        .and_then(Value::as_u64)
        .filter(|skip| *skip > 0);
    if let Some(skip) = skip {
        options.number("skip", skip);
    }
    let count = dialect.get("headerRowCount").and_then(Value::as_u64).or_else(|| {
        let rows = dialect.get("headerRows").and_then(Value::as_array)?;
        Some(rows.len() as u64)
    });
    let count = match dialect.get("header").and_then(Value::as_bool) {
        Some(false) => Some(0),
        _ => count,
    };
    if let Some(count) = count {
        options.number("header", count);
    }
    Ok(())
}

/// What the columns say together.
fn finish(columns: &[Column], options: &mut Options) {
    let mut missing: Vec<String> = Vec::new();
    for text in columns.iter().flat_map(|column| &column.missing) {
        if !missing.contains(text) {
            missing.push(text.clone());
        }
    }
    if missing.iter().any(|text| !text.is_empty()) {
        options.list("missing", &missing);
    }
    let shared = |of: &dyn Fn(&Column) -> Option<&String>| -> Option<String> {
        let mut all = columns.iter().filter_map(of);
        let first = all.next()?;
        all.all(|other| other == first).then(|| first.clone())
    };
    if let Some(decimal) = shared(&|column| column.decimal.as_ref()) {
        options.text("decimal", &decimal);
    }
    if let Some(thousands) = shared(&|column| column.thousands.as_ref()) {
        options.text("thousands", &thousands);
    }
    let headless = options
        .0
        .iter()
        .any(|option| option.path == "header" && option.text == "0");
    if headless {
        let names: Vec<String> = columns.iter().map(|column| column.title.clone()).collect();
        options.list("names", &names);
    }
    let of = |kind: Kind| {
        columns
            .iter()
            .filter(|column| column.kind == kind)
            .collect::<Vec<_>>()
    };
    let (moments, dates, times) = (of(Kind::Moment), of(Kind::Date), of(Kind::Time));
    let used: Vec<&Column> = match (moments.as_slice(), dates.as_slice(), times.as_slice()) {
        ([moment], _, _) => vec![*moment],
        ([], [date], [time]) => vec![*date, *time],
        ([], [one], []) | ([], [], [one]) => vec![*one],
        _ => return,
    };
    let formats: Option<Vec<&str>> = used.iter().map(|column| column.format.as_deref()).collect();
    for (at, column) in used.iter().enumerate() {
        options.text(&format!("columns.time.from.{at}"), &column.title);
    }
    if let Some(formats) = formats {
        options.text("columns.time.format", &formats.join(" "));
    }
}

/// A date pattern of the W3C (Unicode's letters) in strftime's.
fn strftime(pattern: &str) -> Result<String, String> {
    let mut out = String::new();
    let mut letters = pattern.chars().peekable();
    while let Some(letter) = letters.next() {
        let mut count = 1;
        while letter.is_ascii_alphabetic() && letters.next_if_eq(&letter).is_some() {
            count += 1;
        }
        match letter {
            'y' if count == 2 => out.push_str("%y"),
            'y' => out.push_str("%Y"),
            'M' if count > 2 => out.push_str("%b"),
            'M' => out.push_str("%m"),
            'd' => out.push_str("%d"),
            'H' => out.push_str("%H"),
            'h' => out.push_str("%I"),
            'm' => out.push_str("%M"),
            's' => out.push_str("%S"),
            // Decimals belong to the seconds.
            'S' => out = out.trim_end_matches(['.', ',']).to_owned(),
            'a' => out.push_str("%p"),
            'X' | 'x' => out.push_str("%z"),
            '\'' => {
                for quoted in letters.by_ref().take_while(|quoted| *quoted != '\'') {
                    out.push(quoted);
                }
            }
            'T' => out.push('T'),
            other if other.is_ascii_alphabetic() => {
                return Err(format!(
                    "its date pattern \"{pattern}\" has \"{other}\", which is not known here"
                ));
            }
            other => out.push(other),
        }
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(text: &str, table: &str) -> Vec<String> {
        let options = described(text, table, "m.json").unwrap().unwrap();
        options
            .iter()
            .map(|option| format!("{} = {}", option.path, option.text))
            .collect()
    }

    #[test]
    fn metadata_of_the_web() {
        let text = r#"{"@context": "http://www.w3.org/ns/csvw", "url": "a.csv",
            "dialect": {"delimiter": ";", "header": true, "headerRowCount": 1, "skipRows": 2, "quoteChar": null},
            "tableSchema": {"columns": [
                {"name": "t", "titles": ["Datum"], "datatype": {"base": "dateTime", "format": "dd.MM.yyyy HH:mm:ss.S"}},
                {"name": "v", "titles": {"de": "Wert"}, "datatype": {"base": "decimal", "format": {"decimalChar": ",", "groupChar": "."}}, "null": ["", "k.A."]},
                {"name": "w", "virtual": true}]}}"#;
        assert_eq!(
            flat(text, "a.csv"),
            [
                "delimiter = ;",
                "quote = ",
                "skip = 2",
                "header = 1",
                "missing.0 = ",
                "missing.1 = k.A.",
                "decimal = ,",
                "thousands = .",
                "columns.time.from.0 = Datum",
                "columns.time.format = %d.%m.%Y %H:%M:%S",
                "described_by = m.json"
            ]
        );
        assert_eq!(described(text, "b.csv", "m.json"), Ok(None));
        assert!(described("{", "a.csv", "m.json").unwrap_err().contains("no JSON"));
    }

    #[test]
    fn a_table_among_several_and_one_without_header() {
        let text = r#"{"tables": [{"url": "x.csv"}, {"url": "data/b%20c.csv", "dialect": {"header": false},
            "tableSchema": {"columns": [{"name": "date", "datatype": {"base": "date", "format": "d/M/yyyy"}},
            {"name": "time", "datatype": {"base": "time", "format": "HH:mm"}}, {"name": "par"}]}}]}"#;
        assert_eq!(
            flat(text, "b c.csv"),
            [
                "header = 0",
                "names.0 = date",
                "names.1 = time",
                "names.2 = par",
                "columns.time.from.0 = date",
                "columns.time.from.1 = time",
                "columns.time.format = %d/%m/%Y %H:%M",
                "described_by = m.json"
            ]
        );
    }

    #[test]
    fn a_data_package() {
        let text = r#"{"name": "survey", "resources": [{"name": "readings", "path": "readings.csv", "encoding": "utf-8",
            "schema": {"missingValues": ["", "NA"], "fields": [
            {"name": "time", "type": "datetime", "format": "%Y-%m-%dT%H:%M:%S%z"}, {"name": "ppfd", "type": "number"}]}}]}"#;
        assert_eq!(
            flat(text, "readings.csv"),
            [
                "encoding = utf-8",
                "missing.0 = ",
                "missing.1 = NA",
                "columns.time.from.0 = time",
                "columns.time.format = %Y-%m-%dT%H:%M:%S%z",
                "described_by = m.json"
            ]
        );
        assert_eq!(described_tables(text), ["readings.csv"]);
    }

    #[test]
    fn what_a_layout_says_goes_before() {
        let option = |path: &str, text: &str| ImportOption {
            path: path.to_owned(),
            kind: OptionKind::Text,
            text: text.to_owned(),
        };
        let mut options = vec![option("columns.time", "Datum"), option("delimiter", ";")];
        add_described(
            &mut options,
            vec![
                option("delimiter", ","),
                option("columns.time.format", "%Y"),
                option("decimal", ","),
            ],
        );
        let paths: Vec<&str> = options.iter().map(|option| option.path.as_str()).collect();
        assert_eq!(paths, ["columns.time", "delimiter", "decimal"]);
    }
}
