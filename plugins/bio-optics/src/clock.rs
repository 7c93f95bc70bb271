//! A record's time, put together from its fields, or the header's start. Times of this format are in UTC.

use crate::head::{Field, Head};

/// Where the parts of a time stand.
#[derive(Debug)]
pub(crate) struct Clock {
    /// The names of the fields, joined.
    pub(crate) title: String,
    /// The header's start stands for every record.
    pub(crate) is_start: bool,
    parts: Parts,
}

#[derive(Debug)]
enum Parts {
    Fixed(String),
    Fields { date: DateFrom, time: TimeFrom },
}

/// Positions of the fields that make the date.
#[derive(Debug, Clone, Copy)]
enum DateFrom {
    /// `20260301`, or year and day of the year, `2026060`.
    Date(usize),
    Parts(usize, usize, usize),
    /// Year and day of the year.
    Day(usize, usize),
}

/// Positions of the fields that make the time of day.
#[derive(Debug, Clone, Copy)]
enum TimeFrom {
    Time(usize),
    Parts(usize, Option<usize>, Option<usize>),
    Nothing,
}

impl Clock {
    pub(crate) fn new(head: &Head) -> Option<Clock> {
        let at = |name: &str| {
            head.fields
                .iter()
                .position(|field: &Field| field.name.eq_ignore_ascii_case(name))
        };
        let date = at("date")
            .map(DateFrom::Date)
            .or_else(|| Some(DateFrom::Parts(at("year")?, at("month")?, at("day")?)))
            .or_else(|| Some(DateFrom::Day(at("year")?, at("sdy")?)));
        let time = at("time")
            .map(TimeFrom::Time)
            .or_else(|| Some(TimeFrom::Parts(at("hour")?, at("minute"), at("second"))))
            .unwrap_or(TimeFrom::Nothing);
        let (title, parts, is_start) = match (date, time) {
            (Some(date), TimeFrom::Time(_) | TimeFrom::Parts(..)) => {
                let mut used = match date {
                    DateFrom::Date(at) => vec![at],
                    DateFrom::Parts(year, month, day) => vec![year, month, day],
                    DateFrom::Day(year, day) => vec![year, day],
                };
                match time {
                    TimeFrom::Time(at) => used.push(at),
                    TimeFrom::Parts(hour, minute, second) => {
                        used.extend([Some(hour), minute, second].into_iter().flatten());
                    }
                    TimeFrom::Nothing => {}
                }
                let names: Vec<&str> = used
                    .iter()
                    .filter_map(|at| head.fields.get(*at))
                    .map(|field| field.name.as_str())
                    .collect();
                (names.join(" + "), Parts::Fields { date, time }, false)
            }
            _ => {
                let (date, time) = head.start.as_ref()?;
                let date = compact_date(date)?;
                let time = time_of_day(time.split('[').next().unwrap_or_default())?;
                (
                    "/start_date + /start_time".to_owned(),
                    Parts::Fixed(format!("{date}T{time}Z")),
                    true,
                )
            }
        };
        Some(Clock {
            title,
            is_start,
            parts,
        })
    }

    /// The time in UTC; empty where a part is missing, and the parts as they stand where they make no time.
    pub(crate) fn read(&self, cells: &[&str]) -> String {
        let (date, time) = match &self.parts {
            Parts::Fixed(time) => return time.clone(),
            Parts::Fields { date, time } => (*date, *time),
        };
        let cell = |at: usize| cells.get(at).copied().unwrap_or_default();
        let used: Vec<usize> = match date {
            DateFrom::Date(at) => vec![at],
            DateFrom::Parts(year, month, day) => vec![year, month, day],
            DateFrom::Day(year, day) => vec![year, day],
        };
        let hour = match time {
            TimeFrom::Time(at) | TimeFrom::Parts(at, _, _) => Some(at),
            TimeFrom::Nothing => None,
        };
        if used.iter().chain(hour.as_ref()).any(|at| cell(*at).is_empty()) {
            return String::new();
        }
        let date_text = match date {
            DateFrom::Date(at) => compact_date(cell(at)),
            DateFrom::Parts(year, month, day) => {
                let parts = [cell(year), cell(month), cell(day)].map(|text| text.parse::<u32>().ok());
                match parts {
                    [Some(year), Some(month), Some(day)] => Some(format!("{year:04}-{month:02}-{day:02}")),
                    _ => None,
                }
            }
            DateFrom::Day(year, day) => cell(year)
                .parse()
                .ok()
                .zip(cell(day).parse().ok())
                .and_then(|(year, day)| day_of_year(year, day)),
        };
        let time_text = match time {
            TimeFrom::Time(at) => time_of_day(cell(at)),
            TimeFrom::Parts(hour, minute, second) => {
                let part = |at: Option<usize>| at.map_or("", cell);
                let or_zero = |text: &str| {
                    if text.is_empty() {
                        "0".to_owned()
                    } else {
                        text.to_owned()
                    }
                };
                time_of_day(&format!(
                    "{}:{}:{}",
                    cell(hour),
                    or_zero(part(minute)),
                    or_zero(part(second))
                ))
            }
            TimeFrom::Nothing => None,
        };
        match (date_text, time_text) {
            (Some(date), Some(time)) => format!("{date}T{time}Z"),
            _ => used
                .iter()
                .chain(hour.as_ref())
                .map(|at| cell(*at))
                .collect::<Vec<_>>()
                .join(" "),
        }
    }
}

/// `20260301` or `2026060`.
fn compact_date(text: &str) -> Option<String> {
    if !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    match text.len() {
        8 => Some(format!(
            "{}-{}-{}",
            text.get(..4)?,
            text.get(4..6)?,
            text.get(6..)?
        )),
        7 => day_of_year(text.get(..4)?.parse().ok()?, text.get(4..)?.parse().ok()?),
        _ => None,
    }
}

fn day_of_year(year: u32, day: u32) -> Option<String> {
    let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
    let months = [31, 28 + u32::from(leap), 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let mut rest = day.checked_sub(1)?;
    for (month, days) in (1..).zip(months) {
        if rest < days {
            return Some(format!("{year:04}-{month:02}-{:02}", rest + 1));
        }
        rest -= days;
    }
    None
}

/// `10:00:05.5`, with two digits to each part.
fn time_of_day(text: &str) -> Option<String> {
    let mut parts = text.trim().split(':');
    let hour: u32 = parts.next()?.parse().ok().filter(|hour| *hour < 24)?;
    let minute: u32 = parts.next()?.parse().ok().filter(|minute| *minute < 60)?;
    let second: f64 = parts.next().unwrap_or("0").parse().ok()?;
    if parts.next().is_some() || !(0.0..60.0).contains(&second) {
        return None;
    }
    let micros = ((second * 1e6).round() as u64).min(59_999_999);
    Some(format!(
        "{hour:02}:{minute:02}:{:02}.{:06}",
        micros / 1_000_000,
        micros % 1_000_000
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_and_days_of_the_year() {
        assert_eq!(compact_date("20260301").as_deref(), Some("2026-03-01"));
        assert_eq!(compact_date("2026060").as_deref(), Some("2026-03-01"));
        assert_eq!(compact_date("2024060").as_deref(), Some("2024-02-29"));
        assert_eq!(compact_date("2026366"), None);
        assert_eq!(compact_date("1 March"), None);
    }

    #[test]
    fn times_of_day() {
        assert_eq!(time_of_day("9:05:07.25").as_deref(), Some("09:05:07.250000"));
        assert_eq!(time_of_day("24:00:00"), None);
        assert_eq!(time_of_day("10"), None);
    }
}
