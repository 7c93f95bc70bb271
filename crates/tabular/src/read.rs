//! Reading a file by its plan, row by row, in bounded memory.

use crate::datetime::order::Clock;
use crate::datetime::{Moment, SECOND};
use crate::decide;
use crate::encoding::Event;
use crate::layout::{Layout, Until};
use crate::lines::{Broken, MOST_BYTES, Record, line_length};
use crate::names::{self, Strength};
use crate::number::{self, Marks, Says};
use crate::plan::{Fact, Missing, NumberFrom, Plan, TextFrom, TimeFrom};
use crate::sniff::sample::{is_rule_record, repeats};
use crate::sniff::{Kind, kind};
use crate::text::Text;
use crate::units;
use std::collections::VecDeque;
use undim_sdk::{Failure, Out, Row};

/// How much of a file is looked at to find out how it is laid out: the first amount, and more where that leaves a
/// question open.
const SAMPLES: [usize; 3] = [256 << 10, 2 << 20, 8 << 20];

/// Reads a text from its beginning to its end and pushes its rows.
pub fn read(source: &mut dyn Text, layout: &Layout, out: &mut Out) -> Result<(), Failure> {
    let plan = match find_plan(source, layout) {
        Ok(plan) => plan,
        Err((failure, facts)) => {
            // Whoever answers wants to know how the file was split.
            for fact in source.facts().iter().chain(&facts) {
                tell(out, fact.assumed, &fact.key, &fact.value);
            }
            return Err(failure);
        }
    };
    for fact in source.facts().iter().chain(&plan.facts) {
        tell(out, fact.assumed, &fact.key, &fact.value);
    }
    for (line, column, text) in &plan.problems {
        out.problem(*line, *column, text);
    }
    source.advance(plan.start);
    let mut reader = Reader::new(&plan, out);
    stream(source, &mut reader)?;
    reader.finish()
}

fn tell(out: &mut Out, assumed: bool, key: &str, value: &str) {
    if assumed {
        out.assumed(key, value);
    } else {
        out.found(key, value);
    }
}

/// Looks at the file's first part, and at more where that leaves a question open.
fn find_plan(source: &mut dyn Text, layout: &Layout) -> Result<Plan, (Failure, Vec<Fact>)> {
    let refuse = |failure| Err((failure, Vec::new()));
    let mut result = refuse(Failure::unusable(0, 0, "the file is empty"));
    for (n, bytes) in SAMPLES.into_iter().enumerate() {
        if let Err(failure) = source.sample(bytes) {
            return refuse(failure);
        }
        let (text, whole) = (source.text(), source.ended());
        if text.trim().is_empty() && whole {
            return refuse(Failure::unusable(0, 0, "the file is empty"));
        }
        if line_length(text, whole).is_none() && text.len() > MOST_BYTES {
            return refuse(Broken::TooLong.failure(1));
        }
        match decide::plan(text, whole, layout) {
            Ok(plan) => return Ok(plan),
            Err(refused) => {
                // A line that the sample cuts off after a good part of it may be far longer.
                let open = text.len() - text.rfind(['\n', '\r']).map_or(0, |at| at + 1);
                let cut_short = open * 4 > text.len();
                let go_on = (refused.trouble.more_may_help || cut_short) && !whole && n + 1 < SAMPLES.len();
                result = Err((refused.trouble.failure, refused.facts));
                if !go_on {
                    break;
                }
            }
        }
    }
    result
}

/// Splits the text into records and hands them to the reader until the file or the table ends.
fn stream(source: &mut dyn Text, reader: &mut Reader) -> Result<(), Failure> {
    let (mut record, mut stores) = (Record::default(), Stores::default());
    let mut line = reader.plan.start_line;
    loop {
        if let Some(event) = source.event() {
            reader.decoding(event, source.text(), line);
        }
        let (text, ended) = (source.text(), source.ended());
        let mut at = 0;
        while let Some(rest) = text.get(at..).filter(|rest| !rest.is_empty()) {
            match reader.plan.splitter.split(rest, ended, &mut record) {
                Ok(Some(length)) => {
                    let ends = match &reader.plan.until {
                        Some(Until::Line(end)) => line >= *end,
                        Some(Until::Cell(pattern)) => pattern.matches(record.cell(rest, 0)),
                        None => false,
                    };
                    if ends || reader.plan.end_line.is_some_and(|end| line >= end) {
                        return Ok(());
                    }
                    reader.take(&record, rest.get(..length).unwrap_or(rest), line, &mut stores)?;
                    line += record.lines;
                    at += length;
                }
                Ok(None) => break,
                Err(what) => return Err(what.failure(line)),
            }
        }
        source.advance(at);
        if source.ended() {
            return Ok(());
        }
        source.more(line)?;
    }
}

/// Why a row carries no reading.
enum Odd {
    /// The row is not one of the table.
    Row(String),
    /// The row tells about the others.
    Totals,
    Fails(Failure),
}

impl From<Failure> for Odd {
    fn from(failure: Failure) -> Odd {
        Odd::Fails(failure)
    }
}

struct Reader<'p, 'o, 's> {
    plan: &'p Plan,
    out: &'o mut Out<'s>,
    rows: u64,
    ragged: u64,
    first_ragged: u64,
    /// Records held back because they may be the last ones, which a layout skips: line and text.
    held: VecDeque<(u64, String)>,
    spare: Record,
    /// The header or the comment mark begins with a digit.
    digits_may_be_passed_over: bool,
}

/// Room for texts that are put together of several cells.
#[derive(Default)]
struct Stores {
    number: String,
    time: String,
    station: String,
    device: String,
    unit: String,
    remark: String,
}

impl<'p, 'o, 's> Reader<'p, 'o, 's> {
    fn new(plan: &'p Plan, out: &'o mut Out<'s>) -> Reader<'p, 'o, 's> {
        let begins_with_digit = |text: &String| text.starts_with(|c: char| c.is_ascii_digit());
        Reader {
            plan,
            out,
            rows: 0,
            ragged: 0,
            first_ragged: 0,
            held: VecDeque::new(),
            spare: Record::default(),
            digits_may_be_passed_over: plan.names.first().is_some_and(begins_with_digit)
                || plan.comment.as_ref().is_some_and(begins_with_digit),
        }
    }

    /// Says what happened while decoding.
    fn decoding(&mut self, event: Event, text: &str, line: u64) {
        match event {
            Event::Fine => {}
            Event::Changed => {
                self.out.assumed("encoding", "windows-1252");
                let clean = text.split('\n').take_while(|line| line.is_ascii()).count() as u64;
                self.out.problem(
                    line + clean,
                    0,
                    "from here on the bytes are not UTF-8; they were read as Windows-1252",
                );
            }
            Event::Replaced => {
                let clean = text.split('\u{fffd}').next().unwrap_or("").matches('\n').count() as u64;
                self.out.problem(
                    line + clean,
                    0,
                    "bytes here fit no character of the file's encoding and were replaced",
                );
            }
        }
    }

    /// Takes a record, or holds it back.
    fn take(&mut self, record: &Record, text: &str, line: u64, stores: &mut Stores) -> Result<(), Failure> {
        if self.plan.skip_end == 0 {
            return self.row(record, text, line, stores);
        }
        if record.is_empty(text) {
            return Ok(());
        }
        self.held.push_back((line, text.to_owned()));
        if self.held.len() as u64 > self.plan.skip_end
            && let Some((line, text)) = self.held.pop_front()
        {
            let mut record = std::mem::take(&mut self.spare);
            let result = match self.plan.splitter.split(&text, true, &mut record) {
                Ok(_) => self.row(&record, &text, line, stores),
                Err(what) => Err(what.failure(line)),
            };
            self.spare = record;
            return result;
        }
        Ok(())
    }

    /// Reads a record into a row for each value column.
    fn row(&mut self, record: &Record, text: &str, line: u64, stores: &mut Stores) -> Result<(), Failure> {
        let plan = self.plan;
        let width = plan.width;
        let fits = record.len() == width || record.len() == width + 1 && record.cell(text, width).is_empty();
        // Nearly every line of a log begins with a digit: then it is nothing that is passed over.
        let first = record.cell(text, 0).as_bytes().first();
        if first.is_some_and(u8::is_ascii_digit) && !self.digits_may_be_passed_over {
            return if fits {
                self.table_row(record, text, line, stores)
            } else {
                self.short_row(record, line)
            };
        }
        let is_comment = |mark: &String| text.trim_start().starts_with(mark.as_str());
        let is_empty = (!plan.are_records || text.trim().is_empty()) && record.is_empty(text);
        if plan.comment.as_ref().is_some_and(is_comment) || is_empty {
            return Ok(());
        }
        if plan.comment.is_none() && (plan.hash_comments || !fits) && record.cell(text, 0).starts_with('#') {
            return Ok(());
        }
        if !plan.are_records && is_rule_record(record, text) || repeats(record, text, &plan.names) {
            return Ok(());
        }
        if !plan.are_records && !plan.names.is_empty() && self.begins_another_table(record, text) {
            return Err(self.another_table(record, text, line));
        }
        if fits {
            self.table_row(record, text, line, stores)
        } else {
            self.short_row(record, line)
        }
    }

    /// True for names among the readings: what is below them is something else.
    fn begins_another_table(&self, record: &Record, text: &str) -> bool {
        let cells = || (0..record.len()).map(|at| record.cell(text, at));
        let is_word = |cell: &str| kind(cell) == Kind::Word;
        let is_name = |cell: &&str| names::read(cell).is_some_and(|named| named.strength == Strength::Exact);
        record.len() > 1
            && self.rows > 0
            && self.plan.skip_end == 0
            && cells().all(is_word)
            && cells().filter(is_name).count() > 1
    }

    fn another_table(&self, record: &Record, text: &str, line: u64) -> Failure {
        let first = record.cell(text, 0);
        let above = if self.plan.names.first().is_some_and(|name| name == first) || first.contains('"') {
            format!("until = {line}")
        } else {
            format!("until = \"{first}\"")
        };
        Failure::question(
            format!(
                "a second table begins in line {line} (\"{}\"); which of them holds the readings?",
                (0..record.len())
                    .map(|at| record.cell(text, at))
                    .collect::<Vec<_>>()
                    .join("\", \"")
            ),
            [
                format!("{above}  # the one above"),
                format!("skip = {}  # the one below", line - 1),
                "table = 2  # the second, where an empty line parts them".to_owned(),
            ],
        )
    }

    /// A line of another width than the table's.
    fn short_row(&mut self, record: &Record, line: u64) -> Result<(), Failure> {
        let cells = if record.len() == 1 { "cell" } else { "cells" };
        let width = self.plan.width - self.plan.added_columns.min(self.plan.width);
        self.odd(
            line,
            &format!(
                "this line has {} {cells} where the table has {width}",
                record.len()
            ),
        )
    }

    /// A line of the table's width.
    fn table_row(
        &mut self,
        record: &Record,
        text: &str,
        line: u64,
        stores: &mut Stores,
    ) -> Result<(), Failure> {
        let plan = self.plan;
        for (at, patterns) in &plan.keep {
            let cell = record.cell(text, *at);
            if !patterns.iter().any(|pattern| pattern.matches(cell)) {
                return Ok(());
            }
        }
        match self.readings(record, text, line, stores) {
            Ok(()) => Ok(()),
            Err(Odd::Row(why)) => self.odd(line, &why),
            Err(Odd::Totals) => {
                self.rows += 1;
                self.out.problem(
                    line,
                    0,
                    "this looks like a line of totals, not like a reading; it has no value here",
                );
                self.out.push(&Row {
                    row: line,
                    ..Row::default()
                })
            }
            Err(Odd::Fails(failure)) => Err(failure),
        }
    }

    fn readings(&mut self, record: &Record, text: &str, line: u64, stores: &mut Stores) -> Result<(), Odd> {
        let plan = self.plan;
        let Stores {
            number,
            time,
            station,
            device,
            unit,
            remark,
        } = stores;
        let mut row = Row {
            row: line,
            ..Row::default()
        };
        row.time = self.time(plan.time.as_ref(), record, text, line, time)?;
        let mut places = [None; 3];
        for (place, from) in places.iter_mut().zip(&plan.places) {
            if let Some(from) = from {
                *place = self.number(from, record, text, line, true, number)?;
            }
        }
        [row.x, row.y, row.z] = places;
        let unplaced = row.time.is_none() && places.iter().all(Option::is_none);
        if unplaced && names::is_summary(record.cell(text, 0)) {
            return Err(Odd::Totals);
        }
        if let Some(from) = &plan.tilt {
            row.tilt_deg = self.number(from, record, text, line, false, number)?;
        }
        if let Some(from) = &plan.temperature {
            row.temperature_c = self.number(from, record, text, line, false, number)?;
        }
        row.station = cell(plan.station.as_ref(), record, text, station, &plan.missing);
        row.device = cell(plan.device.as_ref(), record, text, device, &plan.missing);
        row.remark = cell(plan.remark.as_ref(), record, text, remark, &plan.missing);
        let unit = cell(plan.unit.as_ref(), record, text, unit, &plan.missing)
            .map(|unit| units::light(unit).unwrap_or(unit));
        for value in &plan.values {
            let mut own = row;
            own.value = self.number(&value.number, record, text, line, false, number)?;
            own.unit = unit.or(value.unit.as_deref());
            own.x = value.places[0].or(own.x);
            own.y = value.places[1].or(own.y);
            own.z = value.places[2].or(own.z);
            own.tilt_deg = value.tilt.or(own.tilt_deg);
            own.temperature_c = value.temperature.or(own.temperature_c);
            own.station = value.station.as_deref().or(own.station);
            own.device = value.device.as_deref().or(own.device);
            own.remark = value.remark.as_deref().or(own.remark);
            self.out.push(&own)?;
        }
        self.rows += 1;
        Ok(())
    }

    /// A row that is not one of the table: it is kept, without a value.
    fn odd(&mut self, line: u64, why: &str) -> Result<(), Failure> {
        self.rows += 1;
        self.ragged += 1;
        if self.first_ragged == 0 {
            self.first_ragged = line;
        }
        self.out.problem(line, 0, why);
        self.out.push(&Row {
            row: line,
            ..Row::default()
        })
    }

    fn time(
        &mut self,
        from: Option<&TimeFrom>,
        record: &Record,
        text: &str,
        line: u64,
        store: &mut String,
    ) -> Result<Option<Moment>, Odd> {
        let Some(from) = from else { return Ok(None) };
        if let Some((start, step)) = from.steps {
            let after = step.saturating_mul(self.rows as i64);
            return Ok(Some(match start {
                Moment::Instant(start) => Moment::Instant(start.saturating_add(after)),
                Moment::Wall(start) => Moment::Wall(start.saturating_add(after)),
            }));
        }
        let cell = from.cells.text(record, text, store);
        if self.plan.missing.holds(cell) {
            return Ok(None);
        }
        let Some(clock) = &from.clock else { return Ok(None) };
        let Some(moment) = clock.read(cell, from.day) else {
            return self.odd_time(from, clock, cell, line).map(|()| None);
        };
        Ok(Some(match (moment, from.offset_s) {
            (Moment::Wall(wall), Some(offset)) => Moment::Instant(wall - offset * SECOND),
            (moment, _) => moment,
        }))
    }

    /// A cell that is no time: proof against what was decided, a line that is none of the table, or a slip.
    fn odd_time(&mut self, from: &TimeFrom, clock: &Clock, cell: &str, line: u64) -> Result<(), Odd> {
        let column = from.cells.place();
        if let Some(rival) = from
            .rivals
            .iter()
            .find(|rival| rival.read(cell, from.day).is_some())
        {
            let text = format!(
                "\"{cell}\" shows that the times are not written \"{}\", as the rows before it let one think, but \"{}\"; \
                 say columns.time.format in a layout",
                clock.text(),
                rival.text()
            );
            return Err(Odd::Fails(Failure::unusable(line, column, text)));
        }
        if !cell.contains(|c: char| c.is_ascii_digit()) {
            return Err(Odd::Row(format!("\"{cell}\" stands where a time should be")));
        }
        let text = format!(
            "\"{cell}\" is no time of the kind \"{}\"; the row has no time",
            clock.text()
        );
        self.out.problem(line, column, &text);
        Ok(())
    }

    /// Reads a number; `places` have no room for words.
    fn number(
        &mut self,
        from: &NumberFrom,
        record: &Record,
        text: &str,
        line: u64,
        place: bool,
        store: &mut String,
    ) -> Result<Option<f64>, Odd> {
        if from.fixed.is_some() {
            return Ok(from.fixed);
        }
        let cell = from.cells.text(record, text, store);
        if self.plan.missing.holds(cell) {
            return Ok(None);
        }
        let bare = match &from.suffix {
            Some(suffix) => cell.strip_suffix(suffix.as_str()).unwrap_or(cell).trim_end(),
            None => cell,
        };
        let marks = match from.marks.get() {
            Some(marks) => marks,
            None => late_marks(from, bare, line)?,
        };
        if let Some(value) = number::parse(bare, marks) {
            // Times one and plus zero change nothing, not even the last bit.
            return Ok(Some(value * from.times + from.plus));
        }
        let column = from.cells.place();
        if from.marks_assumed && matches!(number::says(bare), Some(Says::Point | Says::Comma)) {
            let text = format!(
                "\"{cell}\" shows that \"{}\" is not the decimal mark here, as the rows before it let one think; say `decimal` in a layout",
                char::from(marks.decimal)
            );
            return Err(Odd::Fails(Failure::unusable(line, column, text)));
        }
        if place && !bare.contains(|c: char| c.is_ascii_digit()) {
            return Err(Odd::Row(format!("\"{cell}\" stands where a place should be")));
        }
        let what = if number::is_unbounded(bare) {
            "is beyond any number"
        } else {
            "is no number"
        };
        let text = format!("\"{cell}\" {what}; it counts as missing");
        self.out.problem(line, column, &text);
        Ok(None)
    }

    /// The file is at its end.
    fn finish(self) -> Result<(), Failure> {
        if self.rows == 0 {
            return Err(Failure::unusable(
                0,
                0,
                "the file holds no rows that the layout keeps",
            ));
        }
        if self.ragged * 20 > self.rows {
            return Err(Failure::unusable(
                self.first_ragged,
                0,
                format!(
                    "{} of {} lines do not fit the table, this one first; mend them, or say in a layout how the file is to be read",
                    self.ragged, self.rows
                ),
            ));
        }
        Ok(())
    }
}

/// A text of a row; `None` where it is missing.
fn cell<'a>(
    from: Option<&'a TextFrom>,
    record: &'a Record,
    text: &'a str,
    store: &'a mut String,
    missing: &Missing,
) -> Option<&'a str> {
    let cell = from?.cells.text(record, text, store);
    (!missing.holds(cell)).then_some(cell)
}

/// The first cell with a mark decides, where no cell had one so far.
fn late_marks(from: &NumberFrom, cell: &str, line: u64) -> Result<Marks, Failure> {
    if cell.bytes().all(|byte| byte.is_ascii_digit()) {
        return Ok(Marks::POINT);
    }
    let marks = match number::says(cell) {
        None | Some(Says::Nothing) => return Ok(Marks::POINT),
        Some(Says::Point) => Marks::POINT,
        Some(Says::Comma) => Marks::COMMA,
        Some(Says::EitherPoint | Says::EitherComma) => {
            let text = format!(
                "\"{cell}\" may hold a decimal mark or grouped thousands, and nothing before it tells; say `decimal` in a layout"
            );
            return Err(Failure::unusable(line, from.cells.place(), text));
        }
    };
    from.marks.set(Some(marks));
    Ok(marks)
}
