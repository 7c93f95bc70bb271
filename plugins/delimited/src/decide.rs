//! From a sample of the file and the keeper's layout to a plan, or to a question.

use crate::datetime::order::{Clock, Hints, Order};
use crate::datetime::{Moment, order};
use crate::layout::{From, Layout, Spec, TimeFormat, column};
use crate::lines::{Broken, MOST_BYTES, Splitter, line_length};
use crate::names::{self, Language, Named, Role};
use crate::number::Marks;
use crate::plan::{Cells, Fact, Missing, NumberFrom, Part, Plan, TextFrom, TimeFrom, ValueFrom, picked};
use crate::sniff::header::{self, Table};
use crate::sniff::moments::{self, Timing, title};
use crate::sniff::numbers::{self, Asked};
use crate::sniff::roles::{self, Roles, Settled};
use crate::sniff::sample::{self, Sample};
use crate::sniff::{HEAD_LINES, HeadRow, Trouble, delimiter};
use crate::units;
use std::cell::Cell;
use undim_sdk::Failure;

/// Makes the plan for a text: the whole file, or its first part.
pub(crate) fn plan(text: &str, whole: bool, layout: &Layout) -> Result<Plan, Trouble> {
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
    Decider::new(text, whole, layout, &splitter, table)?.decide()
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
    };
    let split = delimiter::find(text, whole, most, given, &|row: &HeadRow| is_header(&row.cells));
    let Some(split) = split else { return Ok(None) };
    let from_line = first_header_line(&split.rows, layout)?;
    let given = header::Given {
        from_line,
        header_lines: layout.header,
        units_row: layout.units_row,
    };
    // Only where these lines are all of the file do they show where its table ends.
    let whole = whole && split.rows.last().is_none_or(|row| row.end == text.len());
    let table = header::find(text, whole, &split, given, layout.comment.as_deref(), &is_header);
    Ok(table.map(|table| (split.splitter, table)))
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
        text: &str,
        whole: bool,
        layout: &'a Layout,
        splitter: &Splitter,
        table: Table,
    ) -> Result<Decider<'a>, Failure> {
        let titles: Vec<String> = (0..table.width)
            .map(|at| table.names.get(at).cloned().unwrap_or_default())
            .collect();
        let named: Vec<Option<Named>> = titles
            .iter()
            .enumerate()
            .map(|(at, name)| {
                let mut named = names::read(name)?;
                if let Some(unit) = table.units.get(at).filter(|unit| !unit.is_empty()) {
                    named.unit = Some(unit.clone());
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
            .map(|head| Ok((head.name.clone(), head_value(text, whole, head)?)))
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

    fn decide(mut self) -> Result<Plan, Trouble> {
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
        self.tell_dialect();
        let time = self.time(timing)?;
        self.tell_unused_date(time.is_none());
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
            splitter: self.splitter,
            comment: self.layout.comment.clone(),
            hash_comments: self.table.hash_comments,
            skip_end: self.layout.skip_end,
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
            facts: self.facts,
            problems: self.problems,
        })
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
            From::Head(_) | From::Text(_) => return Ok(None),
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
                let place = if self.table.header_line == 0 {
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

    fn tell(&mut self, assumed: bool, key: &str, value: impl Into<String>) {
        self.facts.push(Fact {
            key: key.to_owned(),
            value: value.into(),
            assumed,
        });
    }

    fn tell_dialect(&mut self) {
        let delimiter = match self.layout.wide_delimiter {
            Some(wide) => wide.to_string(),
            None => self.splitter.delimiter.name(),
        };
        self.tell(self.layout.delimiter.is_none(), "delimiter", delimiter);
        if let Some(quote) = self.splitter.quote {
            self.tell(self.layout.quote.is_none(), "quote", char::from(quote));
        }
        let stated =
            self.layout.skip.is_some() || self.layout.skip_to.is_some() || self.layout.header == Some(0);
        self.tell(!stated, "header_line", self.table.header_line.to_string());
        if let Some(zone) = self.layout.timezone.clone() {
            self.tell(false, "timezone", zone);
        }
    }

    fn tell_decimal(&mut self, values: &[ValueFrom], places: &[Option<NumberFrom>]) {
        let marks = values
            .iter()
            .map(|value| &value.number)
            .chain(places.iter().flatten())
            .find_map(|number| number.marks.get());
        if let Some(marks) = marks {
            self.tell(
                self.layout.marks().is_none(),
                "decimal",
                char::from(marks.decimal),
            );
        }
    }

    /// Says which part of the dates comes first; a year of four digits in front says so itself.
    fn tell_order(&mut self, timing: &Timing) {
        if timing.order_assumed || matches!(timing.order, Order::DayFirst | Order::MonthFirst) {
            self.tell(timing.order_assumed, "date_order", timing.order.words());
        }
    }

    fn tell_column(&mut self, name: &str, cells: &Cells, stated: bool) {
        let shown: Vec<String> = cells
            .parts
            .iter()
            .map(|part| match part {
                Part::Column(at) => match self.titles.get(*at).filter(|name| !name.is_empty()) {
                    Some(name) => name.clone(),
                    None => format!("column {}", at + 1),
                },
                Part::Fixed(text) => format!("\"{text}\""),
            })
            .collect();
        self.tell(!stated, &format!("columns.{name}"), shown.join(" + "));
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
            From::Text(text) => text.clone(),
            _ => String::new(),
        }
    }

    // --- time ---

    fn time(&mut self, timing: Option<Timing>) -> Result<Option<TimeFrom>, Trouble> {
        let layout = self.layout;
        let mut time = match (layout.spec("time"), timing) {
            (Some(spec), _) => self.stated_time(spec)?,
            (None, Some(timing)) => {
                let cells = timing.cells();
                self.tell_column("time", &cells, false);
                self.tell_order(&timing);
                if matches!(timing.clock, Clock::Serial { .. }) {
                    self.tell(true, "time", "days counted as spreadsheets do, from 1900");
                }
                let offset_s = timing
                    .columns
                    .iter()
                    .find_map(|at| self.named[*at].as_ref()?.offset_s);
                TimeFrom {
                    cells,
                    clock: Some(timing.clock),
                    rivals: timing.rivals,
                    day: None,
                    offset_s,
                    steps: None,
                }
            }
            (None, None) => match self.constant("time").map(str::to_owned) {
                Some(fixed) => {
                    let found = order::find(&[fixed.as_str()], Hints::default());
                    let order::Verdict::Found(candidate) = found else {
                        let index = column("time")
                            .and_then(|at| layout.constants[at].as_ref())
                            .map_or(0, |constant| constant.index);
                        return Err(Failure::option(
                            index,
                            "this is no time that can be read in one way only",
                        )
                        .into());
                    };
                    TimeFrom {
                        cells: Cells {
                            parts: vec![Part::Fixed(fixed)],
                            pick: None,
                        },
                        clock: Some(candidate.clock),
                        rivals: Vec::new(),
                        day: None,
                        offset_s: None,
                        steps: None,
                    }
                }
                None => return Ok(self.no_time()),
            },
        };
        time.day = self.layout.date;
        let no_year = matches!(&time.clock, Some(Clock::Format(format)) if !format.has_year());
        if no_year && time.day.is_none() {
            let text = "the time was left empty, as the file tells no date; put `date` into the file's note";
            self.problems
                .push((self.table.header_line, time.cells.place(), text.to_owned()));
            return Ok(None);
        }
        if no_year {
            self.tell(false, "time", "the date is the note's");
        }
        if let Some(seconds) = time.offset_s {
            let minutes = seconds.abs() / 60;
            let sign = if seconds < 0 { '-' } else { '+' };
            self.tell(
                true,
                "time",
                format!("the header says UTC{sign}{:02}:{:02}", minutes / 60, minutes % 60),
            );
        }
        Ok(Some(time))
    }

    /// A date above the table is not taken for the readings', but it is worth a word where they have none.
    fn tell_unused_date(&mut self, without_time: bool) {
        if !without_time || self.layout.is_given {
            return;
        }
        let found = self.table.preamble.iter().find_map(|row| {
            let mut pieces = row
                .cells
                .iter()
                .flat_map(|cell| cell.splitn(2, [':', '=']))
                .map(|piece| header::bare(piece).trim());
            let key = pieces.find(|piece| !piece.is_empty())?;
            let value = pieces.find(|piece| !piece.is_empty())?;
            let is_date = names::read(key).is_some_and(|named| named.role == Role::Time)
                && order::find(&[value], Hints::default()) != order::Verdict::None;
            is_date.then(|| (row.line, value.to_owned()))
        });
        if let Some((line, value)) = found {
            let text = format!(
                "\"{value}\" may be the day of these readings, but was not used; say so in a layout's [head] or in the note"
            );
            self.problems.push((line, 0, text));
        }
    }

    /// A column is called time but holds plain numbers: say so rather than pass it over.
    fn no_time(&mut self) -> Option<TimeFrom> {
        let odd = (0..self.named.len()).find(|at| {
            self.named[*at]
                .as_ref()
                .is_some_and(|named| named.role == Role::Time)
                && self.sample.columns[*at].filled > 0
                && Some(*at)
                    != self
                        .layout
                        .spec("value")
                        .and_then(|spec| spec.from.first())
                        .and_then(|(from, index)| self.find_column(from, *index).ok().flatten())
        })?;
        let text = format!(
            "{} holds \"{}\", which is no date or time known here; the time was left empty",
            title(&[odd], &self.titles),
            self.sample.columns[odd].first().0
        );
        self.problems
            .push((self.sample.columns[odd].first().1, odd as u32 + 1, text));
        None
    }

    fn stated_time(&mut self, spec: &Spec) -> Result<TimeFrom, Trouble> {
        let cells = self.cells(spec)?;
        let mut time = TimeFrom {
            cells,
            clock: None,
            rivals: Vec::new(),
            day: self.layout.date,
            offset_s: None,
            steps: None,
        };
        if let Some(step) = spec.step_us {
            let start = self.start(spec)?;
            time.steps = Some((start, step));
            self.tell(
                false,
                "columns.time",
                "the start in the layout, and a step for each row",
            );
            return Ok(time);
        }
        if time.cells.parts.is_empty() {
            // A format alone: the column is found out.
            let found = moments::find(&self.sample, &self.named, &self.titles, self.hints());
            let columns = match found {
                Ok(Some(timing)) => timing.columns,
                _ => (0..self.named.len())
                    .filter(|at| {
                        self.named[*at]
                            .as_ref()
                            .is_some_and(|named| named.role == Role::Time)
                    })
                    .collect(),
            };
            if columns.is_empty() {
                return Err(Failure::option(
                    spec.index,
                    "no column of the file is called time or date; say `from`",
                )
                .into());
            }
            time.cells.parts = columns.iter().map(|at| Part::Column(*at)).collect();
            self.tell_column("time", &time.cells.clone(), false);
        } else {
            self.tell_column("time", &time.cells.clone(), true);
        }
        time.clock = Some(match &spec.format {
            Some(TimeFormat::Format(format)) => Clock::Format(format.clone()),
            Some(TimeFormat::Serial { epoch_1904 }) => Clock::Serial {
                epoch_1904: *epoch_1904,
            },
            Some(TimeFormat::SinceStart) => Clock::SinceStart(self.start(spec)?),
            None => {
                let columns: Vec<usize> = time
                    .cells
                    .parts
                    .iter()
                    .filter_map(|part| {
                        if let Part::Column(at) = part {
                            Some(*at)
                        } else {
                            None
                        }
                    })
                    .collect();
                if columns.len() != time.cells.parts.len() || time.cells.pick.is_some() {
                    return Err(Failure::option(
                        spec.index,
                        "where the time is put together from the head or picked, say its `format`",
                    )
                    .into());
                }
                let timing = moments::settle(&self.sample, &columns, &self.titles, self.hints())?;
                self.tell_order(&timing);
                time.rivals = timing.rivals;
                timing.clock
            }
        });
        Ok(time)
    }

    /// The moment a layout's `start` tells.
    fn start(&self, spec: &Spec) -> Result<Moment, Failure> {
        let index = spec.start.first().map_or(spec.index, |(_, index)| *index);
        if spec.start.is_empty() {
            return Err(Failure::option(
                index,
                "this needs `start`, the time that counting begins at",
            ));
        }
        let text = spec
            .start
            .iter()
            .map(|(from, _)| self.head_text(from))
            .collect::<Vec<_>>()
            .join(" ");
        let clock = match &spec.format {
            Some(TimeFormat::Format(format)) => Clock::Format(format.clone()),
            Some(TimeFormat::Serial { epoch_1904 }) => Clock::Serial {
                epoch_1904: *epoch_1904,
            },
            _ => match order::find(&[text.as_str()], Hints::default()) {
                order::Verdict::Found(candidate) => candidate.clock,
                _ => {
                    return Err(Failure::option(
                        index,
                        format!(
                            "the start \"{text}\" is no time that can be read in one way only; write it as 2026-04-03 10:00"
                        ),
                    ));
                }
            },
        };
        clock
            .read(&text, self.layout.date)
            .ok_or_else(|| Failure::option(index, format!("the start \"{text}\" does not fit its format")))
    }

    // --- numbers ---

    /// A number from a column that was found by its name.
    fn found_number(&mut self, name: &str, at: usize, unit: Option<&str>) -> Result<NumberFrom, Trouble> {
        let cells = Cells::column(at);
        self.tell_column(name, &cells, false);
        self.number(cells, at, unit)
    }

    fn number(&mut self, cells: Cells, at: usize, unit: Option<&str>) -> Result<NumberFrom, Trouble> {
        let mut number = NumberFrom::new(cells);
        let asked = Asked {
            column: at,
            title: title(&[at], &self.titles),
            most: unit.and_then(numbers::most),
            unit,
        };
        number.marks.set(numbers::decide(
            &self.sample,
            &asked,
            self.layout.marks(),
            self.splitter.delimiter,
        )?);
        number.marks_assumed = self.layout.marks().is_none() && !self.whole;
        number.suffix = self
            .sample
            .columns
            .get(at)
            .and_then(|column| column.suffix.clone());
        Ok(number)
    }

    /// A number as a layout says: from a column, the preamble, or picked.
    fn stated_number(&mut self, spec: &Spec, unit: Option<&str>) -> Result<NumberFrom, Trouble> {
        let cells = self.cells(spec)?;
        let mut number = match cells.parts.as_slice() {
            [Part::Column(at)] if cells.pick.is_none() => {
                let at = *at;
                self.number(cells, at, unit)?
            }
            _ => NumberFrom {
                marks: Cell::new(self.layout.marks()),
                ..NumberFrom::new(cells)
            },
        };
        number.times = spec.times.unwrap_or(1.0);
        Ok(number)
    }

    fn fixed_number(&self, name: &str) -> Result<Option<f64>, Failure> {
        let Some(constant) = column(name).and_then(|at| self.layout.constants[at].as_ref()) else {
            return Ok(None);
        };
        fixed(&constant.text, constant.index).map(Some)
    }

    fn place(&mut self, axis: usize, roles: &Roles) -> Result<Option<NumberFrom>, Trouble> {
        let name = ["x", "y", "z"][axis];
        if let Some(value) = self.fixed_number(name)? {
            return Ok(Some(NumberFrom::fixed(value)));
        }
        let layout = self.layout;
        let (mut number, unit, stated, at) = match (layout.spec(name), roles.places[axis]) {
            (Some(spec), _) => {
                let cells = self.cells(spec)?;
                self.tell_column(name, &cells, true);
                let at = match cells.parts.as_slice() {
                    [Part::Column(at)] => Some(*at),
                    _ => None,
                };
                let own = at.and_then(|at| self.unit_text(at));
                let unit = spec.unit.as_ref().map(|(unit, _)| unit.clone()).or(own);
                if let Some((unit, index)) = &spec.unit
                    && units::length(unit).is_none()
                {
                    return Err(Failure::option(*index, "the unit of a place is mm, cm, m or in").into());
                }
                let known = unit.as_deref().and_then(units::length);
                (
                    self.stated_number(spec, known.map(|(unit, _)| unit))?,
                    unit,
                    spec.unit.is_some(),
                    at,
                )
            }
            (None, Some(at)) => {
                let unit = self.unit_text(at);
                let known = unit.as_deref().and_then(units::length);
                (
                    self.found_number(name, at, known.map(|(unit, _)| unit))?,
                    unit,
                    true,
                    Some(at),
                )
            }
            (None, None) => return Ok(None),
        };
        let unit = unit.or_else(|| at.and_then(|at| self.sample.columns[at].suffix.clone()));
        match unit.as_deref().map(units::length) {
            Some(Some((unit, factor))) => {
                number.times *= factor;
                self.tell(!stated, &format!("unit.{name}"), unit);
            }
            Some(None) => {
                let text = format!(
                    "the unit \"{}\" of {name} is not known; mm, cm, m or in are",
                    unit.unwrap_or_default()
                );
                return Err(Failure::question(
                    text,
                    ["mm", "cm", "m", "in"].map(|unit| format!("columns.{name}.unit = \"{unit}\"")),
                )
                .into());
            }
            None => {}
        }
        Ok(Some(number))
    }

    /// The unit in a column's header or in the units row.
    fn unit_text(&self, at: usize) -> Option<String> {
        let named = self.named.get(at)?.as_ref();
        let own = named.and_then(|named| named.unit.clone());
        own.or_else(|| self.table.units.get(at).filter(|unit| !unit.is_empty()).cloned())
    }

    fn angle(&mut self, roles: &Roles) -> Result<Option<NumberFrom>, Trouble> {
        if let Some(value) = self.fixed_number("tilt")? {
            return Ok(Some(NumberFrom::fixed(value)));
        }
        let layout = self.layout;
        let (mut number, unit, at) = match (layout.spec("tilt"), roles.tilt) {
            (Some(spec), _) => {
                let number = self.stated_number(spec, None)?;
                self.tell_column("tilt", &number.cells.clone(), true);
                (number, spec.unit.as_ref().map(|(unit, _)| unit.clone()), None)
            }
            (None, Some(at)) => (self.found_number("tilt", at, None)?, self.unit_text(at), Some(at)),
            (None, None) => return Ok(None),
        };
        number.times *= unit.as_deref().and_then(units::angle).unwrap_or(1.0);
        Ok(self.in_range(number, at, -360.0..=360.0, "degrees"))
    }

    fn temperature(&mut self, roles: &Roles) -> Result<Option<NumberFrom>, Trouble> {
        if let Some(value) = self.fixed_number("temperature")? {
            return Ok(Some(NumberFrom::fixed(value)));
        }
        let layout = self.layout;
        let (mut number, unit, at) = match (layout.spec("temperature"), roles.temperature) {
            (Some(spec), _) => {
                let number = self.stated_number(spec, None)?;
                self.tell_column("temperature", &number.cells.clone(), true);
                (number, spec.unit.as_ref().map(|(unit, _)| unit.clone()), None)
            }
            (None, Some(at)) => (
                self.found_number("temperature", at, None)?,
                self.unit_text(at),
                Some(at),
            ),
            (None, None) => return Ok(None),
        };
        if let Some(scale) = unit.as_deref().and_then(units::temperature) {
            number.plus = scale.to_celsius(0.0);
            number.times *= scale.to_celsius(1.0) - number.plus;
        }
        Ok(self.in_range(number, at, -60.0..=150.0, "°C"))
    }

    /// A column must hold what its name says: otherwise it is left out, and that is said.
    fn in_range(
        &mut self,
        number: NumberFrom,
        at: Option<usize>,
        range: std::ops::RangeInclusive<f64>,
        unit: &str,
    ) -> Option<NumberFrom> {
        let Some(at) = at else { return Some(number) };
        let marks = number.marks.get().unwrap_or(Marks::POINT);
        let outside = self.sample.columns[at].distinct.iter().find(|(cell, _)| {
            let cell = number
                .suffix
                .as_deref()
                .and_then(|suffix| cell.strip_suffix(suffix))
                .unwrap_or(cell);
            crate::number::parse(cell.trim(), marks)
                .is_some_and(|value| !range.contains(&(value * number.times + number.plus)))
        });
        let Some((cell, line)) = outside else {
            return Some(number);
        };
        let text = format!(
            "{} holds \"{cell}\", which can't be {unit}; the column was left out",
            title(&[at], &self.titles)
        );
        self.problems.push((*line, at as u32 + 1, text));
        None
    }

    // --- values ---

    fn values(&mut self, roles: &Roles) -> Result<Vec<ValueFrom>, Trouble> {
        let layout = self.layout;
        if !layout.values.is_empty() {
            return layout.values.iter().map(|spec| self.stated_value(spec)).collect();
        }
        match (layout.spec("value"), roles.value) {
            (Some(spec), _) if !spec.from.is_empty() => Ok(vec![self.stated_value(spec)?]),
            (spec, Some(at)) => {
                let stated = spec.and_then(|spec| spec.unit.clone());
                let unit = self.value_unit(at, stated.as_ref(), roles.unit.is_some())?;
                let mut number = self.found_number("value", at, unit.as_deref())?;
                number.times = spec.and_then(|spec| spec.times).unwrap_or(1.0);
                self.plausible(&number, at, unit.as_deref())?;
                Ok(vec![ValueFrom::new(number, unit)])
            }
            _ => Err(Failure::unusable(0, 0, "the layout names no value column").into()),
        }
    }

    fn stated_value(&mut self, spec: &Spec) -> Result<ValueFrom, Trouble> {
        let cells = self.cells(spec)?;
        self.tell_column("value", &cells, true);
        let unit = match cells.parts.as_slice() {
            [Part::Column(at)] => {
                let has_column = self.layout.spec("unit").is_some();
                let fixed = column("unit")
                    .and_then(|at| spec.constants[at].as_ref())
                    .map(|constant| (constant.text.clone(), constant.index));
                self.value_unit(*at, spec.unit.as_ref().or(fixed.as_ref()), has_column)?
            }
            _ => spec.unit.as_ref().map(|(unit, _)| ucum(unit)),
        };
        let number = self.stated_number(spec, unit.as_deref())?;
        let mut value = ValueFrom::new(number, unit);
        for (at, constant) in spec.constants.iter().enumerate() {
            let Some(constant) = constant else { continue };
            let text = || Some(constant.text.clone());
            match crate::layout::COLUMNS[at] {
                "x" => value.places[0] = Some(fixed(&constant.text, constant.index)?),
                "y" => value.places[1] = Some(fixed(&constant.text, constant.index)?),
                "z" => value.places[2] = Some(fixed(&constant.text, constant.index)?),
                "tilt" => value.tilt = Some(fixed(&constant.text, constant.index)?),
                "temperature" => value.temperature = Some(fixed(&constant.text, constant.index)?),
                "station" => value.station = text(),
                "device" => value.device = text(),
                "remark" => value.remark = text(),
                "unit" => {}
                other => {
                    return Err(Failure::option(
                        constant.index,
                        format!("a value column can't fix `{other}`"),
                    )
                    .into());
                }
            }
        }
        Ok(value)
    }

    /// The value's unit: layout, header or units row, preamble; a header PPFD means µmol m⁻² s⁻¹.
    fn value_unit(
        &mut self,
        at: usize,
        stated: Option<&(String, u32)>,
        has_column: bool,
    ) -> Result<Option<String>, Trouble> {
        if let Some((unit, _)) = stated {
            let unit = ucum(unit);
            self.tell(false, "unit", unit.clone());
            return Ok(Some(unit));
        }
        // A column of units stands above the header; rows without one are the device's.
        if has_column || self.constant("unit").is_some() {
            let fixed = self.constant("unit").map(ucum);
            if let Some(unit) = fixed.clone() {
                self.tell(false, "unit", unit);
            }
            return Ok(fixed);
        }
        let named = self.named.get(at).and_then(Option::as_ref);
        let (is_ppfd, title_words) = (
            named.is_some_and(|named| named.is_ppfd),
            names::words(self.titles.get(at).map_or("", String::as_str)),
        );
        let text = self.unit_text(at).or_else(|| {
            self.sample
                .columns
                .get(at)
                .and_then(|column| column.suffix.clone())
        });
        if let Some(text) = text {
            if let Some(unit) = units::light(&text) {
                self.tell(false, "unit", unit);
                return Ok(Some(unit.to_owned()));
            }
            if units::looks_like_one(&text) || units::is_any(&text) {
                let choices = ["umol.m-2.s-1", "lx", "W.m-2", "mV"]
                    .map(|unit| format!("columns.value.unit = \"{unit}\""));
                let question = format!(
                    "{} is in \"{text}\", a unit that is not known here; which is it?",
                    title(&[at], &self.titles)
                );
                return Err(Failure::question(question, choices).into());
            }
        }
        if is_ppfd {
            self.tell(true, "unit", "umol.m-2.s-1");
            return Ok(Some("umol.m-2.s-1".to_owned()));
        }
        if let Some(unit) = self.preamble_unit() {
            self.tell(true, "unit", unit);
            return Ok(Some(unit.to_owned()));
        }
        // Illuminance is in lux by definition (CIE S 017, 17-21-060, from memory).
        let illuminance = [
            "illuminance",
            "beleuchtungsstarke",
            "iluminancia",
            "illuminamento",
            "eclairement",
            "verlichtingssterkte",
            "belysningsstyrke",
            "belysningsstyrka",
            "osvetleni",
            "\u{7167}\u{5ea6}",
            "\u{5149}\u{7167}\u{5ea6}",
        ];
        if title_words
            .iter()
            .any(|word| illuminance.contains(&word.as_str()))
        {
            self.tell(true, "unit", "lx");
            return Ok(Some("lx".to_owned()));
        }
        Ok(None)
    }

    /// A unit that a line above the header states.
    fn preamble_unit(&self) -> Option<&'static str> {
        let mut found = None;
        for row in &self.table.preamble {
            let mut pieces: Vec<&str> = row
                .cells
                .iter()
                .flat_map(|cell| cell.split([':', '=']))
                .map(|piece| header::bare(piece).trim())
                .collect();
            pieces.retain(|piece| !piece.is_empty());
            let [key, value, ..] = pieces.as_slice() else {
                continue;
            };
            let key = names::words(key).join(" ");
            let is_unit = [
                "unit",
                "units",
                "einheit",
                "unite",
                "unites",
                "unidad",
                "unidades",
                "unita",
                "eenheid",
                "jednostka",
                "enhed",
                "enhet",
                "jednotka",
                "par unit",
                "light unit",
                "par units",
                "measurement unit",
                "masseinheit",
                "\u{5358}\u{4f4d}",
                "\u{5355}\u{4f4d}",
            ];
            if is_unit.contains(&key.as_str())
                && let Some(unit) = units::light(value)
            {
                if found.is_some_and(|known| known != unit) {
                    return None;
                }
                found = Some(unit);
            }
        }
        found
    }

    /// Readings far outside what the unit allows are no readings in that unit.
    fn plausible(&self, number: &NumberFrom, at: usize, unit: Option<&str>) -> Result<(), Trouble> {
        let Some(most) = unit.and_then(numbers::most) else {
            return Ok(());
        };
        let marks = number.marks.get().unwrap_or(Marks::POINT);
        let column = &self.sample.columns[at];
        let values: Vec<(f64, &(String, u64))> = column
            .distinct
            .iter()
            .filter_map(|entry| {
                let cell = number
                    .suffix
                    .as_deref()
                    .and_then(|suffix| entry.0.strip_suffix(suffix))
                    .unwrap_or(&entry.0);
                Some((crate::number::parse(cell.trim(), marks)? * number.times, entry))
            })
            .collect();
        let outside: Vec<_> = values
            .iter()
            .filter(|(value, _)| *value > most || *value < -most / 20.0)
            .collect();
        if outside.len() * 2 <= values.len() {
            return Ok(());
        }
        let (cell, line) = outside
            .first()
            .map(|(_, entry)| (entry.0.as_str(), entry.1))
            .unwrap_or_default();
        let unit = unit.unwrap_or_default();
        Err(Failure::question(
            format!("{} holds \"{cell}\" (line {line}), which can't be {unit}; which unit is it, or which column is meant?", title(&[at], &self.titles)),
            ["lx", "mV", "1"].map(|unit| format!("columns.value.unit = \"{unit}\"")),
        )
        .into())
    }

    // --- texts ---

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

/// A unit as a layout gives it: a UCUM code, or a usual spelling of one.
fn ucum(unit: &str) -> String {
    units::light(unit).map_or_else(|| unit.trim().to_owned(), str::to_owned)
}

fn fixed(text: &str, index: u32) -> Result<f64, Failure> {
    let value = text.trim().parse().ok().filter(|value: &f64| value.is_finite());
    value.ok_or_else(|| Failure::option(index, format!("`{text}` is no number")))
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
