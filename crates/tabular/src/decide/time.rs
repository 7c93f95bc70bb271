//! How a row's time comes about.

use super::Decider;
use crate::datetime::order::{Clock, Hints};
use crate::datetime::{Moment, day_of, order};
use crate::layout::{Spec, TimeFormat, column};
use crate::names;
use crate::names::Role;
use crate::plan::{Cells, Part, TimeFrom};
use crate::sniff::moments::{Timing, title};
use crate::sniff::{Trouble, header, moments};
use undim_sdk::Failure;

/// What a line above the table calls the zone of its times, folded.
const ZONE_KEYS: [&str; 14] = [
    "timezone",
    "time zone",
    "tz",
    "utc offset",
    "gmt offset",
    "zeitzone",
    "fuseau horaire",
    "zona horaria",
    "fuso orario",
    "fuso horario",
    "tijdzone",
    "strefa czasowa",
    "tidszone",
    "tidszon",
];

impl Decider<'_> {
    pub(super) fn time(&mut self, timing: Option<Timing>) -> Result<Option<TimeFrom>, Trouble> {
        let layout = self.layout;
        let mut time = match (layout.spec("time"), timing) {
            (Some(spec), _) => self.stated_time(spec)?,
            (None, Some(timing)) => {
                let cells = timing.cells();
                self.tell_column("time", &cells, false);
                self.tell_order(&timing);
                if let Clock::Serial { epoch_1904 } = timing.clock {
                    let year = if epoch_1904 { "1904" } else { "1900" };
                    let text = format!("days counted as spreadsheets do, from {year}");
                    self.tell(!epoch_1904, "time", text);
                }
                let offset_s = self.header_offset(&timing.columns, Some(&timing.clock))?;
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

    /// The offset that the header of a time column states. The short name of a zone is asked about.
    fn header_offset(&self, columns: &[usize], clock: Option<&Clock>) -> Result<Option<i64>, Trouble> {
        let first: Vec<&str> = columns
            .iter()
            .filter_map(|at| self.sample.columns.get(*at))
            .map(|column| column.first().0)
            .collect();
        let tells_itself = clock
            .and_then(|clock| clock.read(&first.join(" "), Some(day_of(0))))
            .is_some_and(|moment| matches!(moment, Moment::Instant(_)));
        if self.layout.timezone.is_some() || tells_itself {
            return Ok(None);
        }
        if let Some(offset) = columns
            .iter()
            .find_map(|at| self.named.get(*at)?.as_ref()?.offset_s)
        {
            return Ok(Some(offset));
        }
        let Some(zone) = columns
            .iter()
            .filter_map(|at| self.titles.get(*at))
            .find_map(|name| names::short_zone(name))
        else {
            return Ok(None);
        };
        let text = format!(
            "the header of {} says \"{zone}\"; does that clock keep one offset all year, or does it change with the season?",
            title(columns, &self.titles)
        );
        let choices = [
            "timezone = \"+01:00\"  # the offset, all year",
            "timezone = \"Europe/Lisbon\"  # the place, with its seasons",
        ];
        Err(Failure::question(text, choices).into())
    }

    /// A line above the table may state the zone of its times.
    pub(super) fn preamble_zone(&mut self) {
        if self.layout.timezone.is_some() {
            return;
        }
        let found = self
            .preamble_pairs()
            .find(|(_, key, _)| ZONE_KEYS.contains(&names::words(key).join(" ").as_str()));
        let Some((line, _, value)) = found.map(|(line, key, value)| (line, key.to_owned(), value.to_owned()))
        else {
            return;
        };
        let is_place = value.split_once('/').is_some_and(|(area, city)| {
            area.starts_with(char::is_uppercase)
                && city.starts_with(char::is_uppercase)
                && !value.contains(' ')
        });
        if is_place {
            self.tell(false, "timezone", value);
        } else if let Some(offset) = names::stated_offset(&value) {
            self.tell(false, "timezone", offset_text(offset));
        } else {
            self.problems.push((
                line,
                0,
                format!("the zone \"{value}\" is not known here; the site's zone holds instead"),
            ));
        }
    }

    /// Lines above the table that hold a key and a value: the line's number and both.
    fn preamble_pairs(&self) -> impl Iterator<Item = (u64, &str, &str)> {
        self.table.preamble.iter().filter_map(|row| {
            let pieces = row.cells.iter().flat_map(|cell| cell.splitn(2, [':', '=']));
            let mut pieces = pieces
                .map(|piece| header::bare(piece).trim())
                .filter(|piece| !piece.is_empty());
            Some((row.line, pieces.next()?, pieces.next()?))
        })
    }

    /// A date above the table is not taken for the readings', but it is worth a word where they have none.
    pub(super) fn tell_unused_date(&mut self, without_time: bool) {
        if !without_time || self.layout.is_given {
            return;
        }
        let found = self.preamble_pairs().find_map(|(line, key, value)| {
            let is_date = names::read(key).is_some_and(|named| named.role == Role::Time)
                && order::find(&[value], Hints::default()) != order::Verdict::None;
            is_date.then(|| (line, value.to_owned()))
        });
        if let Some((line, value)) = found {
            let text = format!(
                "\"{value}\" may be the day of these readings, but was not used; say so in a layout's [head] or in the note"
            );
            self.problems.push((line, 0, text));
        }
    }

    /// A column is called time but holds plain numbers: say so rather than pass it over.
    pub(super) fn no_time(&mut self) -> Option<TimeFrom> {
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

    pub(super) fn stated_time(&mut self, spec: &Spec) -> Result<TimeFrom, Trouble> {
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
        let columns: Vec<usize> = time.cells.parts.iter().filter_map(Part::column).collect();
        time.clock = Some(match &spec.format {
            Some(TimeFormat::Format(format)) => Clock::Format(format.clone()),
            Some(TimeFormat::Serial { epoch_1904 }) => Clock::Serial {
                epoch_1904: *epoch_1904,
            },
            Some(TimeFormat::SinceStart) => Clock::SinceStart(self.start(spec)?),
            None => {
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
        time.offset_s = self.header_offset(&columns, time.clock.as_ref())?;
        Ok(time)
    }

    /// The moment a layout's `start` tells.
    pub(super) fn start(&self, spec: &Spec) -> Result<Moment, Failure> {
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
}

/// `+01:00`.
fn offset_text(seconds: i64) -> String {
    let minutes = seconds.abs() / 60;
    let sign = if seconds < 0 { '-' } else { '+' };
    format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}
