//! Finding out which format a column of times has, and when that can't be known.
//!
//! Every way of writing a time that reads a column's cells is a candidate. Those that read the most cells stay. Where
//! two of them read the cells as different times, custom may settle it (dots put the day first; a header in a language
//! that writes the day first), or a clock that runs through midnight; otherwise the keeper is asked.

use super::candidates::candidates_for;
use super::format::{Format, Item};
use super::{DAY, Moment, SECOND, day_of, from_serial, micros, parse};

/// Which part of a date comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Order {
    /// The text itself tells which part is which.
    Clear,
    YearFirst,
    DayFirst,
    MonthFirst,
}

impl Order {
    pub(crate) fn words(self) -> &'static str {
        match self {
            Order::Clear => "as written",
            Order::YearFirst => "year first",
            Order::DayFirst => "day first",
            Order::MonthFirst => "month first",
        }
    }
}

/// How a column's texts become times.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Clock {
    Format(Format),
    /// Days counted as spreadsheets do; from 1904 or from 1900.
    Serial {
        epoch_1904: bool,
    },
    /// Seconds after a start that stands elsewhere, in microseconds of its kind.
    SinceStart(Moment),
}

impl Clock {
    /// Reads one text. `day` fills in what the text leaves out of the date.
    pub(crate) fn read(&self, text: &str, day: Option<super::Day>) -> Option<Moment> {
        match self {
            Clock::Format(format) => parse::moment(format, text, day),
            Clock::Serial { epoch_1904 } => from_serial(decimal(text)?, *epoch_1904).map(Moment::Wall),
            Clock::SinceStart(start) => {
                let seconds = decimal(text).filter(|seconds| seconds.abs() < 1.0e10)?;
                let after = (seconds * SECOND as f64).round() as i64;
                Some(match *start {
                    Moment::Instant(start) => Moment::Instant(start + after),
                    Moment::Wall(start) => Moment::Wall(start + after),
                })
            }
        }
    }

    /// How a layout would write it.
    pub(crate) fn text(&self) -> &str {
        match self {
            Clock::Format(format) => &format.text,
            Clock::Serial { epoch_1904: false } => "serial-1900",
            Clock::Serial { epoch_1904: true } => "serial-1904",
            Clock::SinceStart(_) => "seconds-since-start",
        }
    }
}

/// A number in either convention; there are no grouped digits in a count of days or seconds.
pub(super) fn decimal(text: &str) -> Option<f64> {
    let text = text.trim();
    let plain = text
        .bytes()
        .all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b',' | b'-' | b'+'));
    if !plain {
        return None;
    }
    text.replace(',', ".").parse().ok()
}

/// One way to read a column.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Candidate {
    pub(crate) clock: Clock,
    pub(crate) order: Order,
    /// How far custom speaks against it.
    pub(crate) against: u8,
}

/// What speaks for one reading beside the cells themselves.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Hints {
    /// The file's language or its decimal commas belong where the day is written first.
    pub(crate) day_first: bool,
    /// Its language puts the year first.
    pub(crate) year_first: bool,
    /// The header spells the order out, as in `Date (dd/mm/yyyy)`.
    pub(crate) stated: Option<Order>,
    /// The header speaks of a time of day, or of a date.
    pub(crate) leaning: Option<Leaning>,
    /// The file says that its days count from 1904.
    pub(crate) epoch_1904: bool,
}

/// What a header leads to expect.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Leaning {
    Date,
    TimeOfDay,
}

/// What was found out about a column.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Verdict {
    /// These are no times.
    None,
    Found(Candidate),
    /// More than one reading is as good as the other.
    Ambiguous(Vec<Candidate>),
}

/// Dates that are found out must lie here: earlier or later ones are a wrong reading.
const YEARS: std::ops::RangeInclusive<i32> = 1995..=2100;

/// Finds how these cells, missing ones left out, are to be read.
pub(crate) fn find(cells: &[&str], hints: Hints) -> Verdict {
    let mut candidates: Vec<Candidate> = Vec::new();
    let spread = [0, 1, 2, cells.len() / 2, cells.len().saturating_sub(1)];
    for cell in spread.iter().filter_map(|at| cells.get(*at)) {
        for candidate in candidates_for(cell.trim(), hints) {
            if !candidates.iter().any(|known| known.clock == candidate.clock) {
                candidates.push(candidate);
            }
        }
    }
    let mut counted: Vec<(usize, Candidate)> = candidates
        .into_iter()
        .map(|candidate| {
            (
                cells
                    .iter()
                    .filter(|cell| plausible(&candidate.clock, cell))
                    .count(),
                candidate,
            )
        })
        .collect();
    let most = counted.iter().map(|(count, _)| *count).max().unwrap_or(0);
    if most == 0 || most * 5 < cells.len() * 4 {
        return Verdict::None;
    }
    counted.retain(|(count, _)| *count == most);
    let least = counted
        .iter()
        .map(|(_, candidate)| candidate.against)
        .min()
        .unwrap_or(0);
    let mut left: Vec<Candidate> = Vec::new();
    for (_, candidate) in counted {
        let differs = |known: &Candidate| {
            cells
                .iter()
                .any(|cell| seen(&known.clock, cell) != seen(&candidate.clock, cell))
        };
        if candidate.against == least && left.iter().all(differs) {
            left.push(candidate);
        }
    }
    drop_scattered_years(&mut left, cells);
    match left.len() {
        0 => Verdict::None,
        1 => Verdict::Found(left.remove(0)),
        _ => Verdict::Ambiguous(left),
    }
}

/// What a clock makes of a cell, with a day put in where the cell has none.
fn seen(clock: &Clock, cell: &str) -> Option<Moment> {
    clock.read(
        cell,
        Some(super::Day {
            year: 2000,
            month: 1,
            day: 1,
        }),
    )
}

pub(super) fn plausible(clock: &Clock, cell: &str) -> bool {
    let Some(moment) = seen(clock, cell) else {
        return false;
    };
    let tells_year = match clock {
        Clock::Format(format) => format.has_year(),
        _ => true,
    };
    !tells_year || YEARS.contains(&day_of(micros(moment).div_euclid(DAY)).year)
}

/// Of two readings of two-digit years, one that spreads the rows over years loses to one that keeps them together.
fn drop_scattered_years(left: &mut Vec<Candidate>, cells: &[&str]) {
    let span = |candidate: &Candidate| {
        let all = cells
            .iter()
            .filter_map(|cell| seen(&candidate.clock, cell))
            .map(|moment| micros(moment) / DAY);
        let (low, high) = all.fold((i64::MAX, i64::MIN), |(low, high), day| {
            (low.min(day), high.max(day))
        });
        high.saturating_sub(low)
    };
    let has_short_year = |candidate: &Candidate| match &candidate.clock {
        Clock::Format(format) => format.items.contains(&Item::ShortYear),
        _ => false,
    };
    if left.len() < 2 || !left.iter().all(has_short_year) {
        return;
    }
    let spans: Vec<i64> = left.iter().map(span).collect();
    let shortest = spans.iter().copied().min().unwrap_or(0);
    if shortest <= 400 {
        let mut spans = spans.into_iter();
        left.retain(|_| spans.next().is_none_or(|days| days < 3 * 365));
    }
}

/// Of two readings, the one under which the clock runs through midnight, where the other makes it leap; both in the
/// file's order. `None` where no midnight was passed or it proves nothing.
pub(crate) fn runs_through_midnight(readings: &[Vec<Option<i64>>]) -> Option<usize> {
    const HOUR: i64 = 3600 * SECOND;
    let passes = |moments: &[Option<i64>]| {
        moments
            .windows(2)
            .filter_map(|pair| Some((pair[0]?, pair[1]?)))
            .filter(|(before, after)| {
                before.div_euclid(DAY) != after.div_euclid(DAY)
                    && before.rem_euclid(DAY) >= 22 * HOUR
                    && after.rem_euclid(DAY) <= 2 * HOUR
                    && (0..=4 * HOUR).contains(&(after - before))
            })
            .count()
    };
    let counts: Vec<usize> = readings.iter().map(|moments| passes(moments)).collect();
    let mut passing = (0..counts.len()).filter(|at| counts[*at] > 0);
    match (passing.next(), passing.next()) {
        (Some(one), None) => Some(one),
        _ => None,
    }
}

/// The order that a header spells out, as in `dd/mm/yyyy`, `TT.MM.JJJJ`, `jj/mm/aaaa`, `gg/mm/aaaa`.
pub(crate) fn hint(text: &str) -> Option<Order> {
    let lower = text.to_lowercase();
    let mut runs: Vec<&str> = Vec::new();
    for word in lower.split(|c: char| !c.is_ascii_alphabetic()) {
        let mut rest = word;
        while let Some(first) = rest.chars().next() {
            let length = rest.chars().take_while(|c| *c == first).count();
            runs.push(&rest[..length]);
            rest = &rest[length..];
        }
    }
    let is_year = |run: &str| matches!(run, "yyyy" | "jjjj" | "aaaa" | "rrrr" | "yy" | "rr");
    let is_month = |run: &str| run == "mm";
    let is_day = |run: &str| matches!(run, "dd" | "tt" | "jj" | "gg");
    let at = |test: &dyn Fn(&str) -> bool| runs.iter().position(|run| test(run));
    let (year, month, day) = (at(&is_year)?, at(&is_month)?, at(&is_day)?);
    match (year < month, month < day, day < month) {
        (true, true, _) => Some(Order::YearFirst),
        (false, _, true) => Some(Order::DayFirst),
        (false, true, _) => Some(Order::MonthFirst),
        _ => None,
    }
}

#[cfg(test)]
#[path = "order_tests.rs"]
mod tests;
