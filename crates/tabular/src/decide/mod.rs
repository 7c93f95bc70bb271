//! From a sample of the file and the keeper's layout to a plan, or to a question.

mod facts;
mod places;
mod time;
mod values;
mod window;

use crate::datetime::order::{self, Hints};
use crate::kind::Kind;
use crate::layout::{From, Layout, Spec, column};
use crate::lines::{Broken, MOST_BYTES, Splitter, line_length};
use crate::names::{self, Language, Named, Role};
use crate::number::Marks;
use crate::plan::{Cells, Fact, Missing, Part, Plan, TextFrom, picked};
use crate::sniff::header::{self, Table};
use crate::sniff::moments;
use crate::sniff::roles::{self, Roles, Settled};
use crate::sniff::sample::{self, Sample};
use crate::sniff::{HEAD_LINES, HeadRow, Trouble, delimiter};
use crate::units;
use undim_sdk::Failure;

/// Why there is no plan, and what was found out all the same.
#[derive(Debug)]
pub(crate) struct Refused {
    pub(crate) trouble: Trouble,
    pub(crate) facts: Vec<Fact>,
}

impl<T: Into<Trouble>> std::convert::From<T> for Refused {
    fn from(trouble: T) -> Refused {
        Refused {
            trouble: trouble.into(),
            facts: Vec::new(),
        }
    }
}

/// Makes the plan for a text: the whole file, or its first part.
pub(crate) fn plan(text: &str, whole: bool, layout: &Layout) -> Result<Plan, Refused> {
    let Some(window) = window::find(text, whole, layout)? else {
        return plan_of(text, text, whole, layout);
    };
    let mut plan = plan_of(text, &window.text, true, layout)?;
    plan.start += window.shift;
    // The window leaves out what `skip_end` does.
    plan.skip_end = 0;
    plan.end_line = match (plan.end_line, window.end_line) {
        (Some(own), Some(stated)) => Some(own.min(stated)),
        (own, stated) => own.or(stated),
    };
    Ok(plan)
}

/// Makes the plan for the part of a file that is meant.
fn plan_of(file: &str, text: &str, whole: bool, layout: &Layout) -> Result<Plan, Refused> {
    let mut found = Ok(None);
    for most in HEAD_LINES {
        found = find_table(text, whole, most, layout);
        if matches!(found, Ok(Some(_))) {
            break;
        }
    }
    let Some((splitter, table)) = found? else {
        return Err(no_table(text, whole, layout).into());
    };
    let mut decider = Decider::new(file, text, whole, layout, &splitter, table)?;
    decider.decide().map_err(|trouble| {
        decider.tell_decimal_of_the_file();
        Refused {
            trouble,
            facts: decider.facts,
        }
    })
}

/// Finds delimiter and table in a text's first lines, `most` at most.
fn find_table(
    text: &str,
    whole: bool,
    most: usize,
    layout: &Layout,
) -> Result<Option<(Splitter, Table)>, Failure> {
    let is_header = |cells: &[String]| holds_wanted(cells, layout);
    let given = delimiter::Given {
        delimiter: layout.delimiter,
        quote: layout.quote,
        is_certain: layout.kind != Kind::Delimited,
    };
    let split = delimiter::find(text, whole, most, given, &|row: &HeadRow| is_header(&row.cells));
    let Some(mut split) = split else { return Ok(None) };
    if layout.kind == Kind::Records {
        // The names stand above the first line.
        for row in &mut split.rows {
            row.line -= 1;
        }
    }
    let from_line = first_header_line(&split.rows, layout)?;
    let given = header::Given {
        from_line,
        header_lines: layout.header,
        units_row: layout.units_row,
    };
    // Only where these lines are all of the file do they show where its table ends.
    let whole = whole && split.rows.last().is_none_or(|row| row.end == text.len());
    let table = header::find(text, whole, &split, given, layout.comment.as_deref(), &is_header);
    Ok(table.map(|mut table| {
        if layout.kind == Kind::Records {
            // Every line is a record, whatever it looks like.
            table.start = split.rows.first().map_or(0, |names| names.end);
            table.start_line = 1;
            table.end_line = None;
            table.hash_comments = false;
        }
        (split.splitter, table)
    }))
}

/// True for cells among which is every name that the layout asks for.
fn holds_wanted(cells: &[String], layout: &Layout) -> bool {
    let mut any = false;
    let all = layout.wanted_names().all(|from| {
        any = true;
        cells.iter().any(|cell| match from {
            From::Header(name) => cell == name,
            From::Matching(regex) => regex.is_match(cell),
            _ => true,
        })
    });
    any && all
}

/// The line from which the header is looked for, where the layout says.
fn first_header_line(rows: &[HeadRow], layout: &Layout) -> Result<Option<u64>, Failure> {
    if layout.kind == Kind::Records {
        return Ok(Some(0));
    }
    if let Some((pattern, index)) = &layout.skip_to {
        let from = layout.skip.map_or(1, |skip| skip + 1);
        let found = rows.iter().find(|row| {
            let first = row.cells.first().map_or("", String::as_str);
            row.line >= from && (pattern.matches(first) || pattern.matches(header::bare(first)))
        });
        return match found {
            Some(row) => Ok(Some(row.line)),
            None => Err(Failure::option(
                *index,
                "no line of the file begins with such a cell",
            )),
        };
    }
    Ok(layout
        .skip
        .map(|skip| skip + 1)
        .or((layout.header == Some(0)).then_some(1)))
}

fn no_table(text: &str, whole: bool, layout: &Layout) -> Failure {
    let (mut rest, mut line) = (text, 1);
    while !rest.is_empty() {
        let length = line_length(rest, whole).unwrap_or(rest.len());
        if length > MOST_BYTES {
            return Broken::TooLong.failure(line);
        }
        rest = rest.get(length..).unwrap_or("");
        line += 1;
    }
    if text.trim().is_empty() {
        return Failure::unusable(0, 0, "the file is empty");
    }
    let has_header = text.lines().take(200).any(|line| {
        line.split([',', ';', '\t', '|'])
            .any(|cell| names::read(cell).is_some_and(|named| named.role == Role::Value))
            || line
                .split_whitespace()
                .any(|cell| names::read(cell).is_some_and(|named| named.role == Role::Value))
    });
    if has_header || layout.is_given {
        return Failure::unusable(0, 0, "the file holds no rows below its header");
    }
    let first = line_length(text, whole).map_or(text, |length| text.get(..length).unwrap_or(text));
    let shown: String = first.trim().chars().take(60).collect();
    Failure::unusable(
        1,
        0,
        format!("no table of readings was found; the file begins \"{shown}\""),
    )
}

/// All that is at hand while deciding.
struct Decider<'a> {
    layout: &'a Layout,
    whole: bool,
    splitter: Splitter,
    table: Table,
    titles: Vec<String>,
    named: Vec<Option<Named>>,
    sample: Sample,
    /// The preamble's values that the layout picks.
    head: Vec<(String, String)>,
    facts: Vec<Fact>,
    problems: Vec<(u64, u32, String)>,
}

impl<'a> Decider<'a> {
    fn new(
        file: &str,
        text: &str,
        whole: bool,
        layout: &'a Layout,
        splitter: &Splitter,
        table: Table,
    ) -> Result<Decider<'a>, Failure> {
        let mut table = table;
        if table.names.is_empty() && !layout.names.is_empty() {
            table.names.clone_from(&layout.names);
        }
        let titles: Vec<String> = (0..table.width)
            .map(|at| table.names.get(at).cloned().unwrap_or_default())
            .collect();
        let named: Vec<Option<Named>> = titles
            .iter()
            .enumerate()
            .map(|(at, name)| {
                if layout.meaningless.contains(name) {
                    return None;
                }
                let mut named = match layout.kind {
                    Kind::Records => names::read_path(name),
                    Kind::Delimited | Kind::Sheet | Kind::Block => names::read(name),
                }?;
                if let Some(unit) = table.units.get(at).filter(|unit| !unit.is_empty()) {
                    named.unit = Some(unit.clone());
                } else if named.unit.is_none() && layout.kind == Kind::Sheet {
                    named.unit = unit_above(&table, at, named.role);
                }
                Some(named)
            })
            .collect();
        // The cells of columns that may turn out to be the time are all needed.
        let keep = |at: usize| match named.get(at) {
            Some(Some(named)) => named.role == Role::Time,
            _ => true,
        } || layout.spec("time").is_some();
        let sample = sample::gather(text, whole, splitter, &table, layout.comment.as_deref(), &keep)?;
        if sample.rows == 0 {
            return Err(Failure::unusable(0, 0, "the file holds no rows below its header"));
        }
        let head = layout
            .head
            .iter()
            .map(|head| Ok((head.name.clone(), head_value(file, whole, head)?)))
            .collect::<Result<_, Failure>>()?;
        Ok(Decider {
            layout,
            whole,
            splitter: splitter.clone(),
            table,
            titles,
            named,
            sample,
            head,
            facts: Vec::new(),
            problems: Vec::new(),
        })
    }

    fn decide(&mut self) -> Result<Plan, Trouble> {
        self.tell_dialect();
        let stated_time = self.layout.spec("time").is_some() || self.constant("time").is_some();
        let mut taken = Vec::new();
        for spec in self.layout.columns.iter().flatten().chain(&self.layout.values) {
            for (from, index) in &spec.from {
                taken.extend(self.find_column(from, *index)?);
            }
        }
        if self.table.names.is_empty() && !self.layout.names_columns() {
            return Err(self.ask_for_names().into());
        }
        let hints = self.hints();
        let timing = if stated_time {
            None
        } else {
            moments::find(&self.sample, &self.named, &self.titles, hints)?
        };
        taken.extend(timing.iter().flat_map(|timing| timing.columns.iter().copied()));
        let mut roles = roles::find(&self.sample, &self.named, &self.titles, &taken, &self.settled())?;
        let timing = match timing {
            None if !stated_time => {
                let free: Vec<usize> = (0..self.table.width)
                    .filter(|at| self.named[*at].is_none() && !taken.contains(at))
                    .collect();
                moments::unnamed(&self.sample, &free, &self.titles, hints)?
            }
            other => other,
        };
        self.ask_for_twins(&roles)?;
        for (at, text) in std::mem::take(&mut roles.left_out) {
            self.problems.push((self.table.header_line, at as u32 + 1, text));
        }
        let time = self.time(timing)?;
        self.tell_unused_date(time.is_none());
        if time.is_some() {
            self.preamble_zone();
        }
        let values = self.values(&roles)?;
        let places = [
            self.place(0, &roles)?,
            self.place(1, &roles)?,
            self.place(2, &roles)?,
        ];
        let tilt = self.angle(&roles)?;
        let temperature = self.temperature(&roles)?;
        let station = self.text("station", roles.station)?;
        let device = self.text("device", roles.device)?;
        let unit = self.text("unit", roles.unit)?;
        let remark = self.text("remark", roles.remark)?;
        self.tell_decimal(&values, &places);
        self.tell_lines_left_out();
        let keep = self
            .layout
            .keep
            .iter()
            .map(|(from, patterns, index)| {
                let at = self.find_column(from, *index)?;
                Ok((at.unwrap_or(usize::MAX), patterns.clone()))
            })
            .collect::<Result<_, Failure>>()?;
        Ok(Plan {
            start: self.table.start,
            start_line: self.table.start_line,
            end_line: self.table.end_line,
            width: self.table.width,
            names: self.table.names.clone(),
            splitter: self.splitter.clone(),
            comment: self.layout.comment.clone(),
            hash_comments: self.table.hash_comments,
            skip_end: self.layout.skip_end,
            until: self.layout.until.clone(),
            added_columns: self.layout.added_columns,
            are_records: self.layout.kind == Kind::Records,
            time,
            values,
            places,
            tilt,
            temperature,
            station,
            device,
            unit,
            remark,
            keep,
            missing: self
                .layout
                .missing
                .clone()
                .map_or(Missing::Usual, Missing::Listed),
            facts: std::mem::take(&mut self.facts),
            problems: std::mem::take(&mut self.problems),
        })
    }

    fn tell_lines_left_out(&mut self) {
        for line in std::mem::take(&mut self.table.passed_over) {
            self.problems.push((
                line,
                0,
                "this line between the names and the readings was not read".to_owned(),
            ));
        }
        if let Some(end) = self.table.end_line {
            self.problems.push((
                end,
                0,
                "what stands from here on is below the table and was not read".to_owned(),
            ));
        }
    }

    fn constant(&self, name: &str) -> Option<&str> {
        self.layout
            .constants
            .get(column(name)?)?
            .as_ref()
            .map(|constant| constant.text.as_str())
    }

    /// What the layout says about columns.
    fn settled(&self) -> Settled {
        let has = |name: &str| {
            let fixed = |spec: &Spec| column(name).is_some_and(|at| spec.constants[at].is_some());
            self.layout.spec(name).is_some()
                || self.constant(name).is_some()
                || self.layout.values.iter().any(fixed)
        };
        let named = [
            ("x", Role::X),
            ("y", Role::Y),
            ("z", Role::Z),
            ("station", Role::Station),
            ("device", Role::Device),
            ("unit", Role::Unit),
            ("tilt", Role::Tilt),
            ("temperature", Role::Temperature),
            ("remark", Role::Remark),
        ];
        let mut roles: Vec<Role> = named
            .into_iter()
            .filter(|(name, _)| has(name))
            .map(|(_, role)| role)
            .collect();
        // A unit or a factor alone leaves the column to be found out.
        if self
            .layout
            .spec("value")
            .is_some_and(|spec| !spec.from.is_empty())
            || !self.layout.values.is_empty()
        {
            roles.push(Role::Value);
        }
        Settled {
            roles,
            ask_less: self.layout.names_columns(),
            keeps_rows: !self.layout.keep.is_empty(),
            usual: ["value", "unit"].map(|name| {
                let spec = self.layout.spec(name).filter(|spec| spec.is_usual)?;
                let (from, index) = spec.from.first()?;
                self.find_column(from, *index).ok().flatten()
            }),
        }
    }

    /// What the file's language says about how it writes dates.
    fn hints(&self) -> Hints {
        let speaks = |language: Language| {
            self.named
                .iter()
                .flatten()
                .any(|named| named.language == language)
        };
        let commas = self.layout.decimal == Some(b',')
            || self.layout.decimal.is_none()
                && self
                    .sample
                    .columns
                    .iter()
                    .any(|column| column.is_numeric() && column.evidence.proof() == Some(Marks::COMMA));
        Hints {
            day_first: (speaks(Language::DayFirst) || commas) && !speaks(Language::YearFirst),
            year_first: speaks(Language::YearFirst) && !speaks(Language::DayFirst),
            // A units row may spell the order out.
            stated: self.table.units.iter().find_map(|unit| order::hint(unit)),
            leaning: None,
            epoch_1904: self.layout.epoch_1904,
        }
    }

    /// The column a layout means; `None` for a value of the preamble.
    fn find_column(&self, from: &From, index: u32) -> Result<Option<usize>, Failure> {
        let found: Vec<usize> = match from {
            From::Number(number) if *number <= self.table.width => return Ok(Some(number - 1)),
            From::Number(number) => {
                let text = format!("there is no column {number}: the table has {}", self.table.width);
                return Err(Failure::option(index, text));
            }
            From::Head(_) | From::FileName | From::Text(_) => return Ok(None),
            From::Header(name) => (0..self.titles.len())
                .filter(|at| self.titles[*at] == *name)
                .collect(),
            From::Matching(regex) => (0..self.titles.len())
                .filter(|at| regex.is_match(&self.titles[*at]))
                .collect(),
        };
        match found.as_slice() {
            [one] => Ok(Some(*one)),
            [] => {
                let shown: Vec<String> = self.titles.iter().map(|name| format!("\"{name}\"")).collect();
                let place = if self.layout.kind == Kind::Records {
                    format!("the records have {}", shown.join(", "))
                } else if self.table.header_line == 0 {
                    "there is no header".to_owned()
                } else {
                    format!(
                        "the header in line {} has {}",
                        self.table.header_line,
                        shown.join(", ")
                    )
                };
                Err(Failure::option(
                    index,
                    format!("no column has this name; {place}"),
                ))
            }
            several => Err(Failure::question(
                format!(
                    "{} columns of the header in line {} fit what the layout asks for; which is meant?",
                    several.len(),
                    self.table.header_line
                ),
                several
                    .iter()
                    .map(|at| format!("column {} (\"{}\")", at + 1, self.titles[*at])),
            )),
        }
    }

    /// Nothing names the columns: they are shown, and the keeper tells.
    fn ask_for_names(&self) -> Failure {
        let shown: Vec<String> = self
            .sample
            .columns
            .iter()
            .enumerate()
            .map(|(at, column)| format!("column {}: {}", at + 1, column.first().0))
            .collect();
        let numeric = (0..self.sample.columns.len()).filter(|at| self.sample.columns[*at].is_numeric());
        Failure::question(
            format!(
                "the table has no header that names its columns; which is which? First cells: {}",
                shown.join(", ")
            ),
            numeric.map(|at| format!("columns.value.from = {}", at + 1)),
        )
    }

    /// A header that stands twice over columns we need.
    fn ask_for_twins(&self, roles: &Roles) -> Result<(), Trouble> {
        for (name, at) in [
            ("value", roles.value),
            ("x", roles.places[0]),
            ("y", roles.places[1]),
            ("z", roles.places[2]),
            ("station", roles.station),
        ] {
            let Some(at) = at else { continue };
            let twins: Vec<usize> = (0..self.titles.len())
                .filter(|other| self.titles[*other] == self.titles[at])
                .collect();
            if twins.len() > 1 && !self.titles[at].is_empty() {
                return Err(moments::ask_which(name, &twins, &self.titles));
            }
        }
        Ok(())
    }

    /// The cells that a layout's spec means.
    fn cells(&self, spec: &Spec) -> Result<Cells, Failure> {
        let mut cells = Cells {
            parts: Vec::new(),
            pick: spec.pick.clone(),
        };
        for (from, index) in &spec.from {
            cells.parts.push(match self.find_column(from, *index)? {
                Some(at) => Part::Column(at),
                None => Part::Fixed(self.head_text(from)),
            });
        }
        Ok(cells)
    }

    fn head_text(&self, from: &From) -> String {
        match from {
            From::Head(name) => self
                .head
                .iter()
                .find(|(known, _)| known == name)
                .map(|(_, value)| value.clone())
                .unwrap_or_default(),
            From::FileName => self.layout.file_name.clone(),
            From::Text(text) => text.clone(),
            _ => String::new(),
        }
    }

    fn text(&mut self, name: &str, found: Option<usize>) -> Result<Option<TextFrom>, Failure> {
        if let Some(constant) = self.constant(name) {
            let cells = Cells {
                parts: vec![Part::Fixed(constant.to_owned())],
                pick: None,
            };
            return Ok(Some(TextFrom { cells }));
        }
        let layout = self.layout;
        match (layout.spec(name), found) {
            (Some(spec), _) => {
                let cells = self.cells(spec)?;
                self.tell_column(name, &cells, true);
                Ok(Some(TextFrom { cells }))
            }
            (None, Some(at)) => {
                let cells = Cells::column(at);
                self.tell_column(name, &cells, false);
                Ok(Some(TextFrom { cells }))
            }
            (None, None) => Ok(None),
        }
    }
}

/// The unit of places in the cell right above a name: `Position (cm)` over `x`, `y` and `z`.
fn unit_above(table: &Table, at: usize, role: Role) -> Option<String> {
    let row = table.preamble.last()?;
    let is_place = matches!(role, Role::X | Role::Y | Role::Z);
    let unit = names::read(row.cells.get(at)?)?.unit?;
    (is_place && row.line + 1 == table.header_line && units::length(&unit).is_some()).then_some(unit)
}

/// A value of the preamble: what the expression picks of a line.
fn head_value(text: &str, whole: bool, head: &crate::layout::Head) -> Result<String, Failure> {
    let mut rest = text;
    for _ in 1..head.line {
        let length = line_length(rest, whole).unwrap_or(rest.len());
        rest = rest.get(length..).unwrap_or("");
    }
    let length = line_length(rest, whole).unwrap_or(rest.len());
    let line = rest.get(..length).unwrap_or("").trim();
    let value = match &head.pick {
        Some(pick) => picked(pick, line),
        None => line,
    };
    if value.is_empty() {
        return Err(Failure::option(
            head.index,
            format!(
                "line {} of the file holds nothing of this kind: \"{line}\"",
                head.line
            ),
        ));
    }
    Ok(value.to_owned())
}
