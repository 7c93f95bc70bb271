//! A layout that reads the file as it was read, value by value: what `undim importer layout` prints.
//!
//! Only what the plan pins down is told. What a layout leaves out is found out again, from the same file with the same
//! answer; so a pin that a layout can't express exactly (a temperature that was converted, say) is left out.

use crate::datetime::format::Format;
use crate::datetime::order::Clock;
use crate::plan::{Cells, Fact, NumberFrom, Part, Plan};

/// The values of the layout: `layout.` and a path, and a value as TOML writes it. A path that ends in `?` is a proposal
/// that would not read every cell.
pub(crate) fn explain(plan: &Plan, of_text: &[Fact]) -> Vec<Fact> {
    let mut told = Told { facts: Vec::new() };
    for key in ["encoding", "delimiter", "quote", "decimal", "timezone"] {
        let known = of_text.iter().chain(&plan.facts).find(|fact| fact.key == key);
        // A layout may not say that the mark in quoted numbers is the delimiter's too; it is found again.
        let is_delimiter = |fact: &&Fact| {
            let same = |other: &Fact| other.key == "delimiter" && other.value == fact.value;
            key == "decimal" && plan.facts.iter().any(same)
        };
        if let Some(fact) = known.filter(|fact| fact.value != "none" && !is_delimiter(fact)) {
            told.text(key, &fact.value, fact.assumed);
        }
    }
    if let Some(header) = plan.facts.iter().find(|fact| fact.key == "header_line")
        && let Some(above) = header
            .value
            .parse::<u64>()
            .ok()
            .and_then(|line| line.checked_sub(1))
        && above > 0
        // Names that stand far above their table can't be said so; they are found again.
        && plan.start_line <= above + 3
    {
        told.put("skip", above.to_string(), header.assumed);
    }
    time(plan, &mut told);
    if let [value] = plan.values.as_slice() {
        told.number(plan, "value", Some(&value.number));
        let unit = plan.facts.iter().find(|fact| fact.key == "unit");
        if let (Some(unit), Some(fact)) = (&value.unit, unit) {
            told.text("columns.value.unit", unit, fact.assumed);
        }
    }
    for (name, number) in ["x", "y", "z"].iter().zip(&plan.places) {
        told.number(plan, name, number.as_ref());
    }
    let texts = [
        ("unit", &plan.unit),
        ("station", &plan.station),
        ("device", &plan.device),
        ("remark", &plan.remark),
    ];
    for (name, text) in texts {
        if let Some(text) = text {
            told.cells(plan, name, &text.cells);
        }
    }
    for (name, number) in [("tilt", &plan.tilt), ("temperature", &plan.temperature)] {
        let as_written = number
            .as_ref()
            .filter(|number| number.times == 1.0 && number.plus == 0.0);
        told.number(plan, name, as_written);
    }
    told.facts
}

fn time(plan: &Plan, told: &mut Told) {
    let Some(time) = plan.time.as_ref().filter(|time| time.steps.is_none()) else {
        return;
    };
    if !told.cells(plan, "time", &time.cells) {
        return;
    }
    let Some(clock) = &time.clock else { return };
    // A format that was found out may take what a layout's can't say, such as seconds in some cells: then it is only
    // proposed, and found out again.
    let is_exact = match clock {
        Clock::Format(format) => match format.text.as_str() {
            "unix" | "unix-ms" => true,
            text => Format::new(text).is_ok_and(|written| written.items == format.items),
        },
        Clock::Serial { .. } => true,
        Clock::SinceStart(_) => false,
    };
    let assumed = plan
        .facts
        .iter()
        .any(|fact| fact.key == "date_order" && fact.assumed);
    let path = if is_exact {
        "columns.time.format"
    } else {
        "columns.time.format?"
    };
    told.text(path, clock.text(), assumed);
}

struct Told {
    facts: Vec<Fact>,
}

impl Told {
    fn put(&mut self, path: &str, value: String, assumed: bool) {
        self.facts.push(Fact {
            key: format!("layout.{path}"),
            value,
            assumed,
        });
    }

    fn text(&mut self, path: &str, text: &str, assumed: bool) {
        self.put(path, quoted(text), assumed);
    }

    fn number(&mut self, plan: &Plan, name: &str, number: Option<&NumberFrom>) {
        if let Some(number) = number.filter(|number| number.fixed.is_none()) {
            self.cells(plan, name, &number.cells);
        }
    }

    /// False where a layout can't say where they come from.
    fn cells(&mut self, plan: &Plan, name: &str, cells: &Cells) -> bool {
        let from: Option<Vec<String>> = cells
            .parts
            .iter()
            .map(|part| match part {
                Part::Column(at) => Some(column(plan, *at)),
                Part::Fixed(_) => None,
            })
            .collect();
        let Some(from) = from.filter(|from| !from.is_empty() && cells.pick.is_none()) else {
            return false;
        };
        let key = format!("columns.{name}");
        let assumed = plan.facts.iter().any(|fact| fact.key == key && fact.assumed);
        let value = match from.as_slice() {
            [one] => one.clone(),
            several => format!("[{}]", several.join(", ")),
        };
        self.put(&format!("{key}.from"), value, assumed);
        true
    }
}

/// A column by its name, or by its number where the name isn't its own.
fn column(plan: &Plan, at: usize) -> String {
    let is_own = |name: &&String| {
        !name.is_empty()
            && name.trim() == name.as_str()
            && !name.starts_with('/')
            && !name.starts_with("head.")
            && plan.names.iter().filter(|other| other == name).count() == 1
    };
    match plan.names.get(at).filter(is_own) {
        Some(name) => quoted(name),
        None => (at + 1).to_string(),
    }
}

/// A basic string of TOML (version 1.0, "String").
fn quoted(text: &str) -> String {
    let mut written = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => written.push_str("\\\""),
            '\\' => written.push_str("\\\\"),
            '\t' => written.push_str("\\t"),
            '\n' => written.push_str("\\n"),
            '\r' => written.push_str("\\r"),
            c if c.is_control() => written.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => written.push(c),
        }
    }
    written.push('"');
    written
}

/// The names of the columns that nothing is taken from, as they are told; `None` where there is none.
pub(crate) fn unused(plan: &Plan) -> Option<String> {
    let numbers = plan
        .values
        .iter()
        .map(|value| &value.number)
        .chain(plan.places.iter().flatten())
        .chain(&plan.tilt)
        .chain(&plan.temperature)
        .map(|number| &number.cells);
    let texts = [&plan.unit, &plan.station, &plan.device, &plan.remark]
        .into_iter()
        .flatten()
        .map(|text| &text.cells);
    let used: Vec<usize> = numbers
        .chain(texts)
        .chain(plan.time.as_ref().map(|time| &time.cells))
        .flat_map(|cells| cells.parts.iter().filter_map(Part::column))
        .chain(plan.keep.iter().map(|(at, _)| *at))
        .collect();
    let names: Vec<String> = plan
        .names
        .iter()
        .enumerate()
        .filter(|(at, name)| !used.contains(at) && !name.trim().is_empty())
        .map(|(_, name)| format!("\"{}\"", name.trim()))
        .collect();
    (!names.is_empty()).then(|| names.join(", "))
}
