//! Every way to write a date, a time, or both that one cell may follow.

use super::format::{Format, Item};
use super::order::{Candidate, Clock, Hints, Leaning, Order, decimal, plausible};
use super::parse;

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
pub(super) fn candidates_for(cell: &str, hints: Hints) -> Vec<Candidate> {
    let mut out = Vec::new();
    if cell.is_empty() || cell.len() > 64 || !cell.bytes().any(|byte| byte.is_ascii_digit()) {
        return out;
    }
    if let Some(number) = decimal(cell) {
        counted(cell, number, hints.epoch_1904, &mut out);
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
fn counted(cell: &str, number: f64, epoch_1904: bool, out: &mut Vec<Candidate>) {
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
    } else if epoch_1904 && (33_238.0..71_954.0).contains(&number)
        || !epoch_1904 && (34_700.0..73_416.0).contains(&number)
    {
        add(Clock::Serial { epoch_1904 });
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
