//! Reads the public text format in which agencies keep measurements of light in the sea: a header block between
//! `/begin_header` and `/end_header`, its lines `/name=value`, comments after `!`, and below it cells in the order of
//! `/fields` in the units of `/units`.
//!
//! `head` reads the header block, `clock` puts a record's time together, which is in UTC by the format; the lines go on
//! as cells, each on the line that it has in the file, to `undim-tabular`. A photon flux in µE cm⁻² s⁻¹, the format's
//! unit for it, is given as it stands, in µmol cm⁻² s⁻¹: an einstein is an old word for a mole of photons.
//!
//! Source of the rules: the format's own public-domain file checker (version of 2024-10-21).

mod clock;
mod head;

use clock::Clock;
use head::Head;
use undim_sdk::{Failure, Importer, Input, Options, Out};
use undim_tabular::{Cells, Fact, Kind, Layout, Text, light_unit};

/// Longest file, bytes.
const LONGEST: usize = 128 << 20;
/// Longest line, bytes.
const LONGEST_LINE: usize = 1 << 20;
/// Text made at once, bytes.
const BLOCK: usize = 128 << 10;
/// The column of the station that the header names.
const STATION: &str = "/station";

/// The importer of ocean-optics files.
#[derive(Debug)]
pub struct BioOptics;

impl Importer for BioOptics {
    const NAME: &'static str = "bio-optics";
    const VERSION: &'static str = env!("CARGO_PKG_VERSION");
    const READS: &'static str = "ocean-optics files with a /begin_header block";

    fn probe(start: &[u8], _file_name: &str) -> u8 {
        let text = start.strip_prefix(b"\xef\xbb\xbf").unwrap_or(start);
        let begins = text.trim_ascii_start().get(..13).unwrap_or_default();
        if begins.eq_ignore_ascii_case(b"/begin_header") {
            98
        } else {
            0
        }
    }

    fn read(input: &mut Input, options: &Options, out: &mut Out) -> Result<(), Failure> {
        read(input, options, out)
    }
}

undim_sdk::export!(BioOptics);

fn read(input: &mut Input, options: &Options, out: &mut Out) -> Result<(), Failure> {
    let mut layout = Layout::new(options, Kind::Block)?;
    let bytes = input.read_to_limit(LONGEST)?;
    if bytes.is_empty() {
        return Err(Failure::unusable(0, 0, "the file is empty"));
    }
    if bytes.contains(&0) {
        return Err(Failure::unusable(
            0,
            0,
            "this is no text: it holds zero bytes; export the file again",
        ));
    }
    let text = String::from_utf8_lossy(&bytes);
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let head = Head::read(text)?;
    let clock = Clock::new(&head);
    let names: Vec<&str> = head.fields.iter().map(|field| field.name.as_str()).collect();
    layout.names_at(head.end_line - 1);
    let mut facts = vec![
        fact("delimiter", head.delimiter.name(), !head.states_delimiter),
        fact("header_line", &head.fields_line.to_string(), false),
    ];
    if let Some(clock) = &clock {
        layout.usually("time", &clock.title, Some("%Y-%m-%dT%H:%M:%S%z"));
        if clock.is_start {
            facts.push(fact(
                "time",
                "the start that the header gives, for every record",
                true,
            ));
        }
    }
    settle_value(&head, &mut layout);
    let added = usize::from(clock.is_some()) + usize::from(head.station.is_some());
    layout.adds_columns(added);
    if head.station.is_some() && !names.iter().any(|name| name.eq_ignore_ascii_case("station")) {
        layout.usually("station", STATION, None);
    }
    for (line, text) in &head.problems {
        out.problem(*line, 0, text);
    }
    let limits = limits_met(text, &head);
    for (line, column, sentence) in limits {
        out.problem(line, column, &sentence);
    }
    let mut lines = Lines::new(text, &head, clock, facts);
    undim_tabular::read(&mut lines, &layout, out)
}

fn fact(key: &str, value: &str, assumed: bool) -> Fact {
    Fact {
        key: key.to_owned(),
        value: value.to_owned(),
        assumed,
    }
}

/// The field of photon flux, where there is one only; several are left to be asked about.
fn settle_value(head: &Head, layout: &mut Layout) {
    let is_flux = |name: &str| {
        let name = name.to_ascii_lowercase();
        name == "par" || name.starts_with("par_")
    };
    let mut all = head.fields.iter().filter(|field| is_flux(&field.name));
    let (Some(field), None) = (all.next(), all.next()) else {
        return;
    };
    layout.usually("value", &field.name, None);
    let unit = field.unit.to_ascii_lowercase().replace(['^', ' '], "");
    if matches!(
        unit.as_str(),
        "ue/cm2/s" | "uein/cm2/s" | "ueinsteins/cm2/s" | "umol/cm2/s"
    ) {
        layout.usual_unit("umol.cm-2.s-1");
    } else if let Some(code) = light_unit(&field.unit) {
        layout.usual_unit(code);
    }
}

/// Cells that say that the instrument saw less or more than it can.
fn limits_met(text: &str, head: &Head) -> Vec<(u64, u32, String)> {
    let mut met = Vec::new();
    if head.limits.is_empty() {
        return met;
    }
    for (line, content) in data_lines(text, head) {
        for (at, cell) in head.delimiter.split(content).into_iter().enumerate() {
            if let Some((_, what)) = head.limits.iter().find(|(code, _)| same(code, cell)) {
                met.push((line, at as u32 + 1, format!("{what}; it counts as missing")));
            }
            if met.len() >= 1000 {
                return met;
            }
        }
    }
    met
}

/// True for one text, or one number written in two ways.
fn same(code: &str, cell: &str) -> bool {
    let number = |text: &str| text.parse::<f64>().ok();
    code.eq_ignore_ascii_case(cell) || number(code).is_some_and(|code| number(cell) == Some(code))
}

/// The lines below the header, without comments and empty ones.
fn data_lines<'t>(text: &'t str, head: &Head) -> impl Iterator<Item = (u64, &'t str)> {
    let below = head.end_line as usize;
    head::lines(text)
        .skip(below)
        .filter(|(_, content)| !content.trim().is_empty() && !content.trim_start().starts_with('!'))
}

/// The file as lines of cells.
struct Lines<'t> {
    rest: Box<dyn Iterator<Item = (u64, &'t str)> + 't>,
    head: &'t Head,
    clock: Option<Clock>,
    facts: Vec<Fact>,
    cells: Cells,
    used: usize,
    ended: bool,
    /// Lines written so far.
    written: u64,
}

impl<'t> Lines<'t> {
    fn new(text: &'t str, head: &'t Head, clock: Option<Clock>, facts: Vec<Fact>) -> Lines<'t> {
        let mut cells = Cells::default();
        for _ in 2..head.end_line {
            cells.end_line();
        }
        // The names on the line before the header's end, and the units on its last.
        for units in [false, true] {
            for field in &head.fields {
                cells.push(if units { &field.unit } else { &field.name });
            }
            if let Some(clock) = &clock {
                cells.push(if units { "" } else { &clock.title });
            }
            if head.station.is_some() {
                cells.push(if units { "" } else { STATION });
            }
            cells.end_line();
        }
        Lines {
            rest: Box::new(data_lines(text, head)),
            head,
            clock,
            facts,
            cells,
            used: 0,
            ended: false,
            written: head.end_line,
        }
    }

    fn line(&mut self) -> Result<bool, Failure> {
        let Some((line, content)) = self.rest.next() else {
            return Ok(false);
        };
        if content.len() > LONGEST_LINE {
            return Err(Failure::unusable(
                line,
                0,
                "this line is longer than 1024 KiB: it is no record",
            ));
        }
        while self.written + 1 < line {
            self.cells.end_line();
            self.written += 1;
        }
        let mut own = self.head.delimiter.split(content);
        // A delimiter at the line's end parts nothing.
        if own.len() == self.head.fields.len() + 1 && own.last().is_some_and(|last| last.is_empty()) {
            own.pop();
        }
        let is_missing = |cell: &str| {
            self.head.missing.iter().any(|code| same(code, cell))
                || self.head.limits.iter().any(|(code, _)| same(code, cell))
        };
        for cell in &own {
            self.cells.push(if is_missing(cell) { "" } else { cell });
        }
        if own.len() == self.head.fields.len() {
            if let Some(clock) = &self.clock {
                let filled: Vec<&str> = own
                    .iter()
                    .map(|cell| if is_missing(cell) { "" } else { *cell })
                    .collect();
                self.cells.push(&clock.read(&filled));
            }
            if let Some(station) = &self.head.station {
                self.cells.push(station);
            }
        }
        self.cells.end_line();
        self.written += 1;
        Ok(true)
    }
}

impl Text for Lines<'_> {
    fn text(&self) -> &str {
        self.cells.text().get(self.used..).unwrap_or("")
    }

    fn ended(&self) -> bool {
        self.ended
    }

    fn advance(&mut self, bytes: usize) {
        self.used += bytes;
    }

    fn more(&mut self, _line: u64) -> Result<(), Failure> {
        self.cells.drop_first(std::mem::take(&mut self.used));
        let wanted = self.cells.text().len() + BLOCK;
        while self.cells.text().len() < wanted {
            if !self.line()? {
                self.ended = true;
                break;
            }
        }
        Ok(())
    }

    fn facts(&self) -> Vec<Fact> {
        self.facts.clone()
    }
}
