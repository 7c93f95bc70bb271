//! Figures inside sentences: whole percents where that is enough, one decimal where it is not.

use crate::number;
use jiff::civil::Date;

/// Between a figure and its unit.
pub(crate) const NO_BREAK: char = '\u{a0}';
/// The minus sign of running text.
const MINUS: char = '\u{2212}';

/// Below this a percentage is told with one decimal.
const ONE_DECIMAL_BELOW: f64 = 9.95;

fn decimals_for(largest: f64) -> usize {
    usize::from(largest.abs() < ONE_DECIMAL_BELOW)
}

fn size(percent: f64, decimals: usize) -> String {
    let text = number::fixed(percent.abs(), decimals);
    match text.strip_suffix(".0") {
        Some(whole) => whole.to_owned(),
        None => text,
    }
}

fn signed(percent: f64, decimals: usize) -> String {
    let text = size(percent, decimals);
    match (text.as_str(), percent < 0.0) {
        ("0", _) => text,
        (_, true) => format!("{MINUS}{text}"),
        (_, false) => format!("+{text}"),
    }
}

/// "16 %", "8.4 %": the size alone.
pub fn percent_of(percent: f64) -> String {
    format!("{}{NO_BREAK}%", size(percent, decimals_for(percent)))
}

/// "−16 %", "+8.4 %".
pub fn signed_percent(percent: f64) -> String {
    format!("{}{NO_BREAK}%", signed(percent, decimals_for(percent)))
}

/// "−20 to −12 %", as exact as its middle is told.
pub fn interval(middle: f64, ends: [f64; 2]) -> String {
    let decimals = decimals_for(middle);
    format!(
        "{} to {}{NO_BREAK}%",
        signed(ends[0], decimals),
        signed(ends[1], decimals)
    )
}

/// "between 12 and 20 %" for an interval on one side of nothing, else "between 4 % less and 1 % more".
pub(crate) fn between(middle: f64, ends: [f64; 2]) -> String {
    let decimals = decimals_for(middle);
    let [low, high] = ends;
    if low < 0.0 && high > 0.0 {
        format!(
            "between {}{NO_BREAK}% less and {}{NO_BREAK}% more",
            size(low, decimals),
            size(high, decimals)
        )
    } else {
        let (small, large) = if low.abs() < high.abs() {
            (low, high)
        } else {
            (high, low)
        };
        format!(
            "between {} and {}{NO_BREAK}%",
            size(small, decimals),
            size(large, decimals)
        )
    }
}

/// A loss that a survey could have shown, rounded up: never promises more than it holds.
pub(crate) fn visible(percent: f64) -> String {
    format!(
        "{}{NO_BREAK}%",
        number::fixed((percent - 1e-9).ceil().max(1.0), 0)
    )
}

/// A PPFD for people: whole above ten, one decimal below.
pub(crate) fn ppfd(value: f64) -> String {
    let text = number::fixed(value, usize::from(value.abs() < 9.95));
    text.replace('-', &MINUS.to_string())
}

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

pub(crate) fn month(date: Date) -> &'static str {
    usize::try_from(date.month() - 1)
        .ok()
        .and_then(|index| MONTHS.get(index))
        .copied()
        .unwrap_or_default()
}

/// "11 October".
pub fn day(date: Date) -> String {
    format!("{}{NO_BREAK}{}", date.day(), month(date))
}

/// "11 October 2025".
pub fn day_and_year(date: Date) -> String {
    format!("{} {}", day(date), date.year())
}

/// The day as seen from another: with its year only where that could be mistaken.
pub(crate) fn day_from(date: Date, seen_from: Date) -> String {
    let days = date.duration_until(seen_from).as_hours().abs() / 24;
    if days < 300 { day(date) } else { day_and_year(date) }
}

/// "Saturday 14 March 2026".
pub(crate) fn weekday_and_day(date: Date) -> String {
    use jiff::civil::Weekday;
    let weekday = match date.weekday() {
        Weekday::Monday => "Monday",
        Weekday::Tuesday => "Tuesday",
        Weekday::Wednesday => "Wednesday",
        Weekday::Thursday => "Thursday",
        Weekday::Friday => "Friday",
        Weekday::Saturday => "Saturday",
        Weekday::Sunday => "Sunday",
    };
    format!("{weekday} {}", day_and_year(date))
}

/// With a capital first letter.
pub(crate) fn upper_first(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map(|first| first.to_uppercase().chain(chars).collect())
        .unwrap_or_default()
}

/// With a small first letter.
pub(crate) fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map(|first| first.to_lowercase().chain(chars).collect())
        .unwrap_or_default()
}
