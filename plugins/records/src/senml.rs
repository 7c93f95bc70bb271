//! `SenML` in JSON: records whose base values hold for those after them.
//!
//! Source: RFC 8428, "Sensor Measurement Lists (SenML)": 4.1 base fields, 4.2 regular fields, 4.4 unknown fields and
//! versions, 4.5.3 times, 4.6 resolved records, 12.1 units.

use crate::choose::{Column, From};
use crate::shape::Shape;
use std::collections::{BTreeMap, BTreeSet};
use undim_sdk::Failure;
use undim_tabular::{Cells, light_unit};

/// The columns of resolved records, by their labels.
pub(crate) const TITLES: [&str; 8] = ["n", "u", "v", "t", "vs", "vb", "vd", "s"];

const LABELS: [&str; 16] = [
    "bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "l",
];

/// Times below this are counted from when the records were sent (RFC 8428, 4.5.3).
const ABSOLUTE: f64 = 268_435_456.0;

/// The newest version that is understood (RFC 8428, 4.4).
const VERSION: f64 = 10.0;

/// True for columns that are `SenML`'s.
pub(crate) fn is_senml(columns: &[Column], shape: &Shape) -> bool {
    let has = |labels: &[&str]| {
        columns
            .iter()
            .any(|column| matches!(column.from, From::Plain(_)) && labels.contains(&column.title.as_str()))
    };
    let numeric = columns.iter().all(|column| match column.from {
        From::Plain(at) if ["bt", "bv", "v", "t", "bver"].contains(&column.title.as_str()) => {
            shape.get(at).is_some_and(|seen| seen.texts == 0)
        }
        _ => true,
    });
    let known = columns
        .iter()
        .filter(|column| LABELS.contains(&column.title.as_str()))
        .count();
    has(&["n", "bn"])
        && has(&["v", "bv", "vs", "vb", "vd", "s", "bs"])
        && numeric
        && known * 2 > columns.len()
}

/// Resolves records one after another.
pub(crate) struct Resolver<'k> {
    name: String,
    time: f64,
    unit: String,
    value: f64,
    sum: f64,
    /// Of units that are no light: how many records were left out.
    pub(crate) keep: &'k Keep,
}

/// Which records are kept.
#[derive(Debug, Default)]
pub(crate) struct Keep {
    /// Every record, as the layout tells which are readings.
    pub(crate) all: bool,
    /// What the file holds: for each name and unit the count of records and whether they have values.
    pub(crate) kinds: BTreeMap<(String, String), (u64, bool)>,
    pub(crate) relative: bool,
}

impl<'k> Resolver<'k> {
    pub(crate) fn new(keep: &'k Keep) -> Self {
        Resolver {
            name: String::new(),
            time: 0.0,
            unit: String::new(),
            value: 0.0,
            sum: 0.0,
            keep,
        }
    }

    /// The resolved record, by [`TITLES`]; the time is none where it is counted from when the records were sent.
    pub(crate) fn resolve(
        &mut self,
        columns: &[Column],
        own: &[String],
        record: u64,
    ) -> Result<([String; 8], bool), Failure> {
        let cell = |label: &str| {
            columns
                .iter()
                .zip(own)
                .find(|(column, _)| column.title == label)
                .map_or("", |(_, cell)| cell.as_str())
        };
        let number = |label: &str| -> Result<Option<f64>, Failure> {
            let text = cell(label);
            if text.is_empty() {
                return Ok(None);
            }
            let number = text.parse().ok().filter(|number: &f64| number.is_finite());
            number.map(Some).ok_or_else(|| {
                Failure::unusable(
                    record,
                    0,
                    format!("\"{label}\" of this record is \"{text}\", which is no number"),
                )
            })
        };
        if let Some(version) = number("bver")?.filter(|version| *version > VERSION) {
            let text =
                format!("this record is of SenML version {version}; versions up to {VERSION} are known here");
            return Err(Failure::unusable(record, 0, text));
        }
        let must = columns.iter().zip(own).find(|(column, cell)| {
            !cell.is_empty() && column.title.ends_with('_') && !matches!(column.from, From::Above(_))
        });
        if let Some((column, _)) = must {
            let text = format!(
                "this record has \"{}\", which the sender says must be understood and is not known here",
                column.title
            );
            return Err(Failure::unusable(record, 0, text));
        }
        if !cell("bn").is_empty() {
            cell("bn").clone_into(&mut self.name);
        }
        if !cell("bu").is_empty() {
            cell("bu").clone_into(&mut self.unit);
        }
        self.time = number("bt")?.unwrap_or(self.time);
        self.value = number("bv")?.unwrap_or(self.value);
        self.sum = number("bs")?.unwrap_or(self.sum);
        let time = self.time + number("t")?.unwrap_or(0.0);
        let is_relative = time < ABSOLUTE;
        let unit = if cell("u").is_empty() {
            &self.unit
        } else {
            cell("u")
        };
        let plus = |base: f64, value: Option<f64>| {
            value.map_or(String::new(), |value| {
                // What is not added to stays as it was written.
                (base + value).to_string()
            })
        };
        let value = if self.value == 0.0 {
            cell("v").to_owned()
        } else {
            exact(plus(self.value, number("v")?))
        };
        let sum = exact(plus(self.sum, number("s")?));
        let resolved = [
            format!("{}{}", self.name, cell("n")),
            unit.to_owned(),
            value,
            if is_relative { String::new() } else { seconds(time) },
            cell("vs").to_owned(),
            cell("vb").to_owned(),
            cell("vd").to_owned(),
            sum,
        ];
        Ok((resolved, is_relative))
    }

    /// Writes the resolved record, or an empty line for one that is no reading of light.
    pub(crate) fn write(
        &mut self,
        columns: &[Column],
        own: &[String],
        record: u64,
        cells: &mut Cells,
    ) -> Result<(), Failure> {
        let (resolved, _) = self.resolve(columns, own, record)?;
        let unit = resolved.get(1).map_or("", String::as_str);
        if self.keep.all || light_unit(unit).is_some() {
            for cell in &resolved {
                cells.push(cell);
            }
        }
        cells.end_line();
        Ok(())
    }
}

impl Keep {
    /// Counts a resolved record.
    pub(crate) fn count(&mut self, resolved: &[String; 8], is_relative: bool) {
        let [name, unit, value, ..] = resolved;
        self.relative |= is_relative;
        let kind = self.kinds.entry((name.clone(), unit.clone())).or_default();
        kind.0 += 1;
        kind.1 |= !value.is_empty();
    }

    /// The units that are none of light, with how many records have them.
    pub(crate) fn others(&self) -> BTreeMap<&str, u64> {
        let mut others = BTreeMap::new();
        for ((_, unit), (count, _)) in &self.kinds {
            if light_unit(unit).is_none() {
                *others.entry(unit.as_str()).or_default() += count;
            }
        }
        others
    }

    /// The units of light, as they are written.
    pub(crate) fn light_units(&self) -> BTreeSet<&str> {
        let units = self.kinds.keys().map(|(_, unit)| unit.as_str());
        units.filter(|unit| light_unit(unit).is_some()).collect()
    }
}

/// Seconds since 1970 to the microsecond, which is all that a time holds.
fn seconds(time: f64) -> String {
    let text = format!("{time:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A number of three decimals could be taken for grouped thousands: it gets one more zero.
fn exact(mut number: String) -> String {
    if number
        .split_once('.')
        .is_some_and(|(_, fraction)| fraction.len() == 3)
    {
        number.push('0');
    }
    number
}
