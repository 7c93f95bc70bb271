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
    number::fixed(percent.abs(), decimals)
}

/// Without `.0`, as in running text.
fn plain(percent: f64, decimals: usize) -> String {
    let text = size(percent, decimals);
    text.strip_suffix(".0").unwrap_or(&text).to_owned()
}

fn signed(percent: f64, decimals: usize) -> String {
    let text = size(percent, decimals);
    match (text.as_str(), percent < 0.0) {
        ("0" | "0.0", _) => "0".to_owned(),
        (_, true) => format!("{MINUS}{text}"),
        (_, false) => format!("+{text}"),
    }
}

/// "16 %", "8.4 %": the size alone.
pub fn percent_of(percent: f64) -> String {
    format!("{}{NO_BREAK}%", plain(percent, decimals_for(percent)))
}

/// "−16 %", "+8.4 %".
pub fn signed_percent(percent: f64) -> String {
    format!("{}{NO_BREAK}%", signed(percent, decimals_for(percent)))
}

/// "−7 %", "−7.5 %": a threshold, as exact as it was declared to a tenth.
pub(crate) fn threshold(percent: f64) -> String {
    let sign = if percent < 0.0 { MINUS } else { '+' };
    format!("{sign}{}{NO_BREAK}%", plain(percent, 1))
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

/// "−15.2" in a column of percentages.
pub(crate) fn table_percent(percent: f64) -> String {
    match signed(percent, 1) {
        nothing if nothing == "0" => "0.0".to_owned(),
        text => text,
    }
}

/// "−18.9 to −11.4" in a column of percentages.
pub(crate) fn table_interval(ends: [f64; 2]) -> String {
    format!("{} to {}", signed(ends[0], 1), signed(ends[1], 1))
}

/// "between 12 and 20 %" for an interval on one side of nothing, else "between 4 % less and 1 % more".
pub(crate) fn between(middle: f64, ends: [f64; 2]) -> String {
    let decimals = decimals_for(middle);
    let [low, high] = ends;
    if low < 0.0 && high > 0.0 {
        format!(
            "between {}{NO_BREAK}% less and {}{NO_BREAK}% more",
            plain(low, decimals),
            plain(high, decimals)
        )
    } else {
        let (small, large) = if low.abs() < high.abs() {
            (low, high)
        } else {
            (high, low)
        };
        format!(
            "between {} and {}{NO_BREAK}%",
            plain(small, decimals),
            plain(large, decimals)
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

/// "a 5 %" or "an 8 %": the same with its article.
pub(crate) fn visible_with_article(percent: f64) -> String {
    let text = visible(percent);
    let number = text.split(NO_BREAK).next().unwrap_or_default();
    // Eight, eleven, eighteen, eighty and so on are spoken with a vowel first.
    let vowel = number.starts_with('8') || ["11", "18"].contains(&number);
    format!("{} {text}", if vowel { "an" } else { "a" })
}

/// A PPFD for people: whole above ten, one decimal below.
pub(crate) fn ppfd(value: f64) -> String {
    let text = number::fixed(value, usize::from(value.abs() < 9.95));
    text.replace('-', &MINUS.to_string())
}

/// A PPFD and half its 95 % interval, as exact as one another: "118" and "9", "4.2" and "0.6".
pub(crate) fn ppfd_and_interval(value: f64, half: f64) -> (String, String) {
    let decimals = usize::from(value.abs() < 9.95 || half.abs() < 0.95);
    let text = |value: f64| number::fixed(value, decimals).replace('-', &MINUS.to_string());
    (text(value), text(half))
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
