//! Runs an importer in its own tests, without undim, a file or a process.
//!
//! The same code stands behind the exported library, the panic barrier included.

use crate::{
    Failure, Importer, Input, OptionItem, OptionKind, Options, Row, Time, exported,
    out::{Message, Sink},
};
use undim_abi as abi;

/// One option to run with: path, kind, text.
pub type Setting<'a> = (&'a str, OptionKind, &'a str);

/// A row that owns its texts; otherwise as [`Row`].
#[derive(Debug, Clone, PartialEq, Default)]
pub struct OwnedRow {
    /// See [`Row::row`].
    pub row: u64,
    /// See [`Row::time`].
    pub time: Option<Time>,
    /// See [`Row::value`].
    pub value: Option<f64>,
    /// See [`Row::unit`].
    pub unit: Option<String>,
    /// See [`Row::x`].
    pub x: Option<f64>,
    /// See [`Row::y`].
    pub y: Option<f64>,
    /// See [`Row::z`].
    pub z: Option<f64>,
    /// See [`Row::station`].
    pub station: Option<String>,
    /// See [`Row::device`].
    pub device: Option<String>,
    /// See [`Row::tilt_deg`].
    pub tilt_deg: Option<f64>,
    /// See [`Row::temperature_c`].
    pub temperature_c: Option<f64>,
    /// See [`Row::remark`].
    pub remark: Option<String>,
}

impl From<&Row<'_>> for OwnedRow {
    fn from(row: &Row) -> Self {
        Self {
            row: row.row,
            time: row.time,
            value: row.value,
            unit: row.unit.map(str::to_owned),
            x: row.x,
            y: row.y,
            z: row.z,
            station: row.station.map(str::to_owned),
            device: row.device.map(str::to_owned),
            tilt_deg: row.tilt_deg,
            temperature_c: row.temperature_c,
            remark: row.remark.map(str::to_owned),
        }
    }
}

/// A fact that the importer told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fact {
    /// What it is about.
    pub key: String,
    /// What was found or assumed.
    pub value: String,
    /// True where it was assumed.
    pub assumed: bool,
}

/// A problem that the importer told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Line of the file, from 1; 0: the whole file.
    pub line: u64,
    /// Field of the line, from 1; 0: the whole line.
    pub column: u32,
    /// The sentence.
    pub text: String,
}

/// What an importer made of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Every row, in order.
    pub rows: Vec<OwnedRow>,
    /// Every fact, in order.
    pub facts: Vec<Fact>,
    /// Every problem, in order.
    pub problems: Vec<Problem>,
    /// What `read` returned; a panic shows as a failure.
    pub result: Result<(), Failure>,
}

impl Outcome {
    /// The value of the first fact with this key.
    pub fn fact(&self, key: &str) -> Option<&str> {
        self.facts
            .iter()
            .find(|fact| fact.key == key)
            .map(|fact| fact.value.as_str())
    }
}

/// What [`Importer::probe`] answers, at most 100; 0 where it panics. Gives it no more than undim would.
pub fn probe<I: Importer>(file: &[u8], file_name: &str) -> u8 {
    exported::probe_behind_barrier::<I>(file.get(..64 << 10).unwrap_or(file), file_name)
}

/// Reads a file held in memory.
pub fn run<I: Importer>(file: &[u8], file_name: &str, settings: &[Setting]) -> Outcome {
    let items = (0..)
        .zip(settings)
        .map(|(index, &(path, kind, text))| OptionItem {
            path,
            kind,
            text,
            index,
        });
    let options = Options::new(items.collect());
    let mut gathered = Gathered::default();
    let mut source = file;
    let mut input = Input::new(&mut source, file_name);
    let result = exported::read_behind_barrier::<I>(&mut input, &options, &mut gathered);
    Outcome {
        rows: gathered.rows,
        facts: gathered.facts,
        problems: gathered.problems,
        result,
    }
}

#[derive(Default)]
struct Gathered {
    rows: Vec<OwnedRow>,
    facts: Vec<Fact>,
    problems: Vec<Problem>,
}

impl Sink for Gathered {
    fn row(&mut self, row: &Row) -> bool {
        self.rows.push(row.into());
        true
    }

    fn say(&mut self, message: &Message) -> bool {
        let text = message.text.to_owned();
        match message.kind {
            abi::SAY_FOUND | abi::SAY_ASSUMED => self.facts.push(Fact {
                key: message.key.to_owned(),
                value: text,
                assumed: message.kind == abi::SAY_ASSUMED,
            }),
            abi::SAY_PROBLEM => self.problems.push(Problem {
                line: message.line,
                column: message.column,
                text,
            }),
            // Questions and failures are in the result.
            _ => {}
        }
        true
    }
}
