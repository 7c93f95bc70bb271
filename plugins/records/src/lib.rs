//! Reads records: JSON, JSON Lines, `SenML` (RFC 8428), sensor observations (OGC `SensorThings`), lists side by side.
//!
//! 1. `json` reads the text piece by piece; `shape` goes once through the file and notes every path of keys.
//! 2. `choose` finds the part that holds the records, or asks; its columns are named by dotted paths.
//! 3. `rows` turns record after record into a line of cells, and `senml` resolves what holds for records after it.
//! 4. What the columns are and how they are read is found out by `undim-tabular`, as for every table.
//!
//! Rows are numbered by record, from 1; where each line of the file is a document, by line.

mod choose;
mod json;
mod rows;
mod senml;
mod shape;

use choose::{Kind as Lies, Records};
use rows::Rows;
use senml::{Keep, Resolver};
use shape::Shape;
use std::collections::BTreeSet;
use undim_sdk::{Failure, Importer, Input, Options, Out};
use undim_tabular::{Fact, Kind, Layout};

/// Longest file, bytes. It is held in memory, as what holds for all records may stand behind them.
const LONGEST: usize = 128 << 20;

/// The importer of records.
#[derive(Debug)]
pub struct RecordsImporter;

impl Importer for RecordsImporter {
    const NAME: &'static str = "records";
    const VERSION: &'static str = env!("CARGO_PKG_VERSION");
    const READS: &'static str = "JSON, JSON Lines, SenML, SensorThings observations";

    fn probe(start: &[u8], file_name: &str) -> u8 {
        probe(start, file_name)
    }

    fn read(input: &mut Input, options: &Options, out: &mut Out) -> Result<(), Failure> {
        read(input, options, out)
    }
}

undim_sdk::export!(RecordsImporter);

/// Where the text begins, behind the mark of UTF-8.
pub(crate) fn start(bytes: &[u8]) -> usize {
    if bytes.starts_with(b"\xef\xbb\xbf") { 3 } else { 0 }
}

fn probe(bytes: &[u8], file_name: &str) -> u8 {
    let name = file_name.to_ascii_lowercase();
    let by_name = [".json", ".jsonl", ".ndjson", ".senml", ".geojson"]
        .iter()
        .any(|end| name.ends_with(end));
    let mut json = json::Json::new(bytes, start(bytes));
    let Ok(first @ (json::Piece::StartObject | json::Piece::StartArray)) = json.next() else {
        return if by_name { 25 } else { 0 };
    };
    // `[Header]` begins many an export that is no JSON: what follows has to be JSON as well.
    let mut seen = 0;
    while seen < 64 {
        match json.next() {
            Ok(json::Piece::End) => break,
            Ok(_) => seen += 1,
            Err(_) if json.is_at_end() || seen > 8 => break,
            Err(_) => return if by_name { 25 } else { 2 },
        }
    }
    match (first, seen) {
        (_, 0) => 10,
        (json::Piece::StartArray, 1) => 30,
        _ => 90 + if by_name { 5 } else { 0 },
    }
}

fn read(input: &mut Input, options: &Options, out: &mut Out) -> Result<(), Failure> {
    let mut layout = Layout::new(options, Kind::Records)?;
    let bytes = input.read_to_limit(LONGEST)?;
    if bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff") {
        return Err(Failure::unusable(
            1,
            0,
            "this text is in UTF-16; JSON is UTF-8: save it as that",
        ));
    }
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Err(Failure::unusable(0, 0, "the file is empty"));
    }
    let shape = Shape::of(&bytes, start(&bytes))?;
    let records = choose::choose(&shape, &bytes, &layout)?;
    let mut facts = vec![fact(
        "records",
        where_they_lie(&shape, &records),
        layout.part().is_none(),
    )];
    let is_senml = records.kind == Lies::Objects && senml::is_senml(&records.columns, &shape);
    let mut keep = Keep::default();
    if is_senml {
        keep.all = layout.tells_value();
        facts.push(fact("format", "SenML, RFC 8428".to_owned(), false));
        count(&bytes, &shape, &records, &mut keep)?;
        settle_senml(&mut layout);
    }
    let interval = if is_senml {
        None
    } else {
        settle_observations(&mut layout, &records)
    };
    if interval.is_some() {
        let text = "SensorThings observations; of an interval, its beginning counts";
        facts.push(fact("format", text.to_owned(), false));
    }
    let resolver = is_senml.then(|| Resolver::new(&keep));
    let asked = layout.wanted().map(str::to_owned).collect();
    let mut rows = Rows::new(&bytes, &shape, &records, resolver, facts)?.with(interval, asked);
    tell_left_out(&keep, out);
    undim_tabular::read(&mut rows, &layout, out)
}

fn fact(key: &str, value: String, assumed: bool) -> Fact {
    Fact {
        key: key.to_owned(),
        value,
        assumed,
    }
}

fn where_they_lie(shape: &Shape, records: &Records) -> String {
    let lie = choose::shown(shape, records.at);
    match records.kind {
        Lies::Objects if records.at == 0 && shape.documents > 1 => "one document a line".to_owned(),
        Lies::Objects | Lies::Rows => lie,
        Lies::Parallel => format!("{lie}, lists side by side"),
    }
}

/// Resolves all records once, to know what kinds there are.
fn count(bytes: &[u8], shape: &Shape, records: &Records, keep: &mut Keep) -> Result<(), Failure> {
    let none = Keep {
        all: true,
        ..Keep::default()
    };
    let mut rows = Rows::new(bytes, shape, records, Some(Resolver::new(&none)), Vec::new())?;
    rows.each(&mut |resolved, is_relative| keep.count(resolved, is_relative))?;
    let units = keep.light_units();
    if !keep.all && units.len() > 1 {
        let choices = units.iter().map(|unit| format!("keep.u = \"{unit}\""));
        let text = "the records hold light in several units; which of them are the readings?";
        return Err(Failure::question(text, choices));
    }
    if keep.all || !units.is_empty() {
        return Ok(());
    }
    let shown: Vec<String> = keep
        .kinds
        .iter()
        .take(12)
        .map(|((name, unit), (count, _))| format!("\"{name}\" in \"{unit}\" ({count})"))
        .collect();
    let choices: BTreeSet<String> = keep
        .kinds
        .iter()
        .filter(|(_, (_, has_values))| *has_values)
        .map(|((name, _), _)| format!("keep.n = \"{}\"", name.replace('\\', "\\\\").replace('"', "\\\"")))
        .take(24)
        .collect();
    Err(Failure::question(
        format!(
            "which records are readings of light? None has a unit of light: {}",
            shown.join(", ")
        ),
        choices,
    ))
}

/// What the labels of `SenML` mean.
fn settle_senml(layout: &mut Layout) {
    layout.usually("time", "t", Some("unix"));
    layout.usually("value", "v", None);
    layout.usually("unit", "u", None);
    layout.usually("device", "n", None);
}

/// What the properties of an observation mean (OGC 15-078r6, `SensorThings` API, 8.2.6).
fn settle_observations(layout: &mut Layout, records: &Records) -> Option<usize> {
    let ends = |end: &str| {
        let mut found = records
            .columns
            .iter()
            .map(|column| column.title.as_str())
            .filter(|title| *title == end || title.ends_with(&format!(".{end}")));
        found.next().filter(|_| found.next().is_none()).map(str::to_owned)
    };
    let (time, result) = (ends("phenomenonTime")?, ends("result")?);
    layout.usually("time", &time, None);
    layout.usually("value", &result, None);
    if let Some(unit) = ends("unitOfMeasurement.symbol") {
        layout.usually("unit", &unit, None);
    }
    if let Some(station) = ends("FeatureOfInterest.name") {
        layout.usually("station", &station, None);
    }
    if let Some(device) = ends("Sensor.name") {
        layout.usually("device", &device, None);
    }
    // Streams, units and properties have names and descriptions as well: they are no stations.
    for column in &records.columns {
        let last = column.title.rsplit('.').next().unwrap_or_default();
        if ["name", "description", "definition"].contains(&last) {
            layout.means_nothing(&column.title);
        }
    }
    records.columns.iter().position(|column| column.title == time)
}

fn tell_left_out(keep: &Keep, out: &mut Out) {
    if keep.relative {
        out.problem(
            0,
            0,
            "times are counted from when the records were sent, which the file doesn't tell: they are left empty",
        );
    }
    if keep.all {
        return;
    }
    for (unit, count) in keep.others() {
        let what = if unit.is_empty() {
            "without a unit".to_owned()
        } else {
            format!("in \"{unit}\"")
        };
        let text = if count == 1 {
            format!("a record {what} was left out: it is no reading of light")
        } else {
            format!("{count} records {what} were left out: they are no readings of light")
        };
        out.problem(0, 0, &text);
    }
}
