//! Finding out which format a column of times has, and when that can't be known.
//!
//! Every way of writing a time that reads a column's cells is a candidate. Those that read the most cells stay. Where
//! two of them read the cells as different times, custom may settle it (dots put the day first; a header in a language
//! that writes the day first), or a clock that runs through midnight; otherwise the keeper is asked.

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
fn decimal(text: &str) -> Option<f64> {
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

fn plausible(clock: &Clock, cell: &str) -> bool {
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

/// A part of a format: its text and its pieces.
#[derive(Debug, Clone)]
struct Piece {
    text: String,
    items: Vec<Item>,
    order: Order,
    short_year: bool,
    separator: char,
}

fn piece(text: &str, order: Order, separator: char) -> Option<Piece> {
    let format = Format::new(text).ok()?;
    Some(Piece {
        short_year: format.items.contains(&Item::ShortYear),
        text: text.to_owned(),
        items: format.items,
        order,
        separator,
    })
}

/// Every way to write a date that we know.
fn dates() -> Vec<Piece> {
    use Order::{Clear, DayFirst, MonthFirst, YearFirst};
    let mut out = Vec::new();
    for (mark, separator) in [
        ("-", '-'),
        ("/", '/'),
        (".", '.'),
        (" ", ' '),
        (". ", '.'),
        ("\u{2010}", '-'),
    ] {
        for (parts, order) in [
            (["%Y", "%m", "%d"], YearFirst),
            (["%d", "%m", "%Y"], DayFirst),
            (["%m", "%d", "%Y"], MonthFirst),
            (["%d", "%m", "%y"], DayFirst),
            (["%m", "%d", "%y"], MonthFirst),
            (["%y", "%m", "%d"], YearFirst),
        ] {
            out.extend(piece(&parts.join(mark), order, separator));
        }
    }
    for text in [
        "%Y.%m.%d.",
        "%Y. %m. %d.",
        "%Y\u{5e74}%m\u{6708}%d\u{65e5}",
        "%Y\u{b144} %m\u{c6d4} %d\u{c77c}",
        "%d %b %Y",
        "%d-%b-%Y",
        "%d. %b %Y",
        "%d/%b/%Y",
        "%d.%b.%Y",
        "%d %b, %Y",
        "%d de %b de %Y",
        "%d%b%Y",
        "%b %d, %Y",
        "%b %d %Y",
        "%b-%d-%Y",
        "%d %b %y",
        "%d-%b-%y",
        "%d. %b %y",
        "%d/%b/%y",
        "%d%b%y",
        "%Y-%b-%d",
        "%Y %b %d",
        "%Y/%b/%d",
    ] {
        out.extend(piece(text, Clear, ' '));
    }
    out
}

/// Dates of digits alone.
fn compact_dates() -> Vec<Piece> {
    [
        ("%Y%m%d", Order::YearFirst),
        ("%d%m%Y", Order::DayFirst),
        ("%m%d%Y", Order::MonthFirst),
        ("%y%m%d", Order::YearFirst),
        ("%d%m%y", Order::DayFirst),
        ("%m%d%y", Order::MonthFirst),
    ]
    .into_iter()
    .filter_map(|(text, order)| piece(text, order, '-'))
    .collect()
}

/// Every way to write a time of day that we know, tried on this very text.
fn times_for(text: &str) -> Vec<Piece> {
    use Item::{HalfOfDay, Hour, Hour12, Literal, MaybeOffset, MaybeSeconds, Minute};
    let seconds = |mark: char| {
        let marks = text.matches(mark).count();
        if marks >= 2 {
            format!("{mark}%S")
        } else {
            String::new()
        }
    };
    let has_offset = |text: &str| {
        text.ends_with(['Z', 'z'])
            || text.rfind(['+', '-', '\u{2212}']).is_some_and(|at| at > 3)
            || text.contains("UTC")
    };
    let zone = if has_offset(text) { "%z" } else { "" };
    let mut out = Vec::new();
    let mut add = |shown: String, items: Vec<Item>| {
        out.push(Piece {
            text: shown,
            items,
            order: Order::Clear,
            short_year: false,
            separator: ' ',
        });
    };
    add(
        format!("%H:%M{}{zone}", seconds(':')),
        vec![Hour, Literal(':'), Minute, MaybeSeconds(':'), MaybeOffset],
    );
    add(
        format!("%I:%M{} %p{zone}", seconds(':')),
        vec![
            Hour12,
            Literal(':'),
            Minute,
            MaybeSeconds(':'),
            HalfOfDay,
            MaybeOffset,
        ],
    );
    add(
        format!("%I.%M{} %p", seconds('.')),
        vec![Hour12, Literal('.'), Minute, MaybeSeconds('.'), HalfOfDay],
    );
    add(
        format!("%H.%M{}", seconds('.')),
        vec![Hour, Literal('.'), Minute, MaybeSeconds('.')],
    );
    for known in [
        "%H:%M:%S:%f",
        "%I %p",
        "%Hh%M",
        "%H h %M",
        "%Hh%Mm%Ss",
        "%Hh%Mmin%Ss",
        "%H-%M-%S",
        "%H\u{6642}%M\u{5206}%S\u{79d2}",
        "%H\u{6642}%M\u{5206}",
        "%H\u{65f6}%M\u{5206}%S\u{79d2}",
        "%H\u{65f6}%M\u{5206}",
        "%H:%M Uhr",
        "%H.%M Uhr",
        "%H Uhr %M",
        "%H:%M:%S Uhr",
    ] {
        out.extend(piece(known, Order::Clear, ' '));
    }
    out
}

/// The candidates that read this one cell.
fn candidates_for(cell: &str, hints: Hints) -> Vec<Candidate> {
    let mut out = Vec::new();
    if cell.is_empty() || cell.len() > 64 || !cell.bytes().any(|byte| byte.is_ascii_digit()) {
        return out;
    }
    if let Some(number) = decimal(cell) {
        counted(cell, number, &mut out);
        compact(cell, hints, &mut out);
    } else if cell.bytes().take_while(u8::is_ascii_digit).count() == 8 {
        compact(cell, hints, &mut out);
    }
    let (weekday, body) = weekday(cell);
    for date in dates() {
        let format = Format::from_items(String::new(), &date.items);
        let Some((_, rest)) = parse::prefix(&format, body) else {
            continue;
        };
        if rest.trim().is_empty() {
            push(&mut out, &[&weekday, &Some(date.clone())], hints);
            continue;
        }
        let Some((joiner, rest)) = joiner(rest) else {
            continue;
        };
        for time in times_for(rest) {
            push(
                &mut out,
                &[&weekday, &Some(date.clone()), &Some(joiner.clone()), &Some(time)],
                hints,
            );
        }
    }
    for mut time in times_for(body) {
        let whole = Format::from_items(String::new(), &time.items);
        if parse::parts(&whole, body).is_none() {
            // A date follows, not an offset.
            time.items.retain(|item| *item != Item::MaybeOffset);
        }
        let format = Format::from_items(String::new(), &time.items);
        let Some((_, rest)) = parse::prefix(&format, body) else {
            continue;
        };
        if rest.trim().is_empty() {
            // `10.30` is a time of day only where the header says so; otherwise it is a number.
            if body.contains(':') || decimal(body).is_none() || hints.leaning == Some(Leaning::TimeOfDay) {
                push(&mut out, &[&Some(time)], hints);
            }
            continue;
        }
        let Some((joiner, _)) = joiner(rest) else { continue };
        for date in dates() {
            push(
                &mut out,
                &[&weekday, &Some(time.clone()), &Some(joiner.clone()), &Some(date)],
                hints,
            );
        }
    }
    // The C library's own way: Fri Apr  3 10:00:00 2026.
    if let Some(ctime) = piece("%b %d %H:%M:%S %Y", Order::Clear, ' ') {
        push(&mut out, &[&weekday, &Some(ctime)], hints);
    }
    out.retain(|candidate| plausible(&candidate.clock, cell));
    out
}

/// Unix times and spreadsheet days.
fn counted(cell: &str, number: f64, out: &mut Vec<Candidate>) {
    let mut add = |clock| {
        out.push(Candidate {
            clock,
            order: Order::Clear,
            against: 0,
        });
    };
    let unix = |text: &str, item| Clock::Format(Format::from_items(text.to_owned(), &[item]));
    // 1995-01-01 to 2100-12-31.
    if (788_918_400.0..4_133_980_800.0).contains(&number) {
        add(unix("unix", Item::Unix));
    } else if (788_918_400_000.0..4_133_980_800_000.0).contains(&number) && !cell.contains([',', '.']) {
        add(unix("unix-ms", Item::UnixMillis));
    } else if (34_700.0..73_416.0).contains(&number) {
        add(Clock::Serial { epoch_1904: false });
    }
}

/// Dates and times of digits alone, or a date of eight digits before a time.
fn compact(cell: &str, hints: Hints, out: &mut Vec<Candidate>) {
    let digits = cell.bytes().take_while(u8::is_ascii_digit).count();
    let rest = cell.get(digits..).unwrap_or("");
    for date in compact_dates() {
        let length = if date.short_year { 6 } else { 8 };
        if digits == length && rest.is_empty() {
            push(out, &[&Some(date)], hints);
        } else if digits == 8 && length == 8 {
            let Some((joiner, rest)) = joiner(rest) else {
                continue;
            };
            let mut times = times_for(rest);
            times.extend(piece("%H%M%S", Order::Clear, ' '));
            times.extend(piece("%H%M", Order::Clear, ' '));
            for time in times {
                let exact = !time.items.contains(&Item::HourMinute) || matches!(rest.len(), 3 | 4);
                if exact {
                    push(
                        out,
                        &[&Some(date.clone()), &Some(joiner.clone()), &Some(time)],
                        hints,
                    );
                }
            }
        } else if rest.is_empty() && !date.short_year {
            let tail = match digits {
                10 => "%H",
                12 => "%H%M",
                14 => "%H%M%S",
                _ => continue,
            };
            if let Some(piece) = piece(&format!("{}{tail}", date.text), date.order, '-') {
                push(out, &[&Some(piece)], hints);
            }
        }
    }
    if rest.is_empty() {
        let known = match digits {
            3 | 4 if hints.leaning == Some(Leaning::TimeOfDay) => "%H%M",
            6 => "%H%M%S",
            _ => return,
        };
        push(out, &[&piece(known, Order::Clear, ' ')], hints);
    }
}

/// What stands between date and time, and the rest after it.
fn joiner(rest: &str) -> Option<(Piece, &str)> {
    let at = rest.find(|c: char| c.is_ascii_digit())?;
    let (between, rest) = rest.split_at(at);
    if between.is_empty() || between.chars().count() > 6 {
        return None;
    }
    let mut items = Vec::new();
    for c in between.chars() {
        let item = if c.is_whitespace() {
            Item::Blank
        } else {
            Item::Literal(c)
        };
        if items.last() != Some(&Item::Blank) || item != Item::Blank {
            items.push(item);
        }
    }
    Some((
        Piece {
            text: between.to_owned(),
            items,
            order: Order::Clear,
            short_year: false,
            separator: ' ',
        },
        rest,
    ))
}

/// A weekday before the date, as a piece, and what follows it.
fn weekday(cell: &str) -> (Option<Piece>, &str) {
    let end = cell.find(|c: char| !c.is_alphabetic()).unwrap_or(cell.len());
    let (word, rest) = cell.split_at(end);
    if word.is_empty() || !super::words::is_weekday(word) || super::words::month(word).is_some() {
        return (None, cell);
    }
    let gap = rest.len() - rest.trim_start_matches(['.', ',', ' ']).len();
    let (between, body) = rest.split_at(gap);
    // A full stop after a short name comes off with the name.
    let between = between.trim_start_matches('.');
    let mut items = vec![Item::WeekdayName];
    items.extend(
        between
            .chars()
            .map(|c| if c == ' ' { Item::Blank } else { Item::Literal(c) }),
    );
    (
        Some(Piece {
            text: format!("%a{between}"),
            items,
            order: Order::Clear,
            short_year: false,
            separator: ' ',
        }),
        body,
    )
}

/// Adds the candidate made of these pieces.
fn push(out: &mut Vec<Candidate>, pieces: &[&Option<Piece>], hints: Hints) {
    let (mut text, mut items, mut order, mut against) = (String::new(), Vec::new(), Order::Clear, 0);
    // Where the clock has twelve hours and a.m., a language that puts the day first no longer tells.
    let twelve_hours = pieces
        .iter()
        .filter_map(|piece| piece.as_ref())
        .any(|piece| piece.items.contains(&Item::HalfOfDay));
    let hints = Hints {
        day_first: hints.day_first && !twelve_hours,
        ..hints
    };
    for piece in pieces.iter().filter_map(|piece| piece.as_ref()) {
        text.push_str(&piece.text);
        items.extend_from_slice(&piece.items);
        if piece.order != Order::Clear {
            order = piece.order;
            against = custom_against(piece, hints);
        }
    }
    let format = Format::from_items(text, &items);
    let leans_away = match hints.leaning {
        Some(Leaning::Date) => !format.has_date(),
        Some(Leaning::TimeOfDay) => format.has_date() && !format.has_hour(),
        None => false,
    };
    against += 8 * u8::from(leans_away);
    out.push(Candidate {
        clock: Clock::Format(format),
        order,
        against,
    });
}

/// How far custom speaks against a date written this way.
///
/// Common practice, no source: where dots stand between the parts the day is written first; the month is written
/// first only in English, and not where decimal commas are.
fn custom_against(piece: &Piece, hints: Hints) -> u8 {
    let mut against = 0;
    if hints.stated.is_some_and(|stated| stated != piece.order) {
        against += 4;
    }
    if piece.order == Order::MonthFirst && (piece.separator == '.' || hints.day_first) {
        against += 2;
    }
    if piece.short_year && piece.order == Order::YearFirst && hints.day_first && piece.separator != '-' {
        against += 2;
    }
    if piece.short_year && piece.order != Order::YearFirst && hints.year_first {
        against += 2;
    }
    against
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
