//! Reading a time by a format.

use super::format::{Format, Item};
use super::{DAY, Day, Moment, SECOND, days, days_in_month, is_leap, words};

/// What a text told, piece by piece; what it left out is zero.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Parts {
    pub(crate) year: Option<i32>,
    pub(crate) month: Option<u32>,
    pub(crate) day: Option<u32>,
    pub(crate) day_of_year: Option<u32>,
    pub(crate) hour: Option<u32>,
    pub(crate) minute: u32,
    pub(crate) second: u32,
    pub(crate) micro: u32,
    pub(crate) afternoon: Option<bool>,
    /// Seconds east of UTC.
    pub(crate) offset: Option<i64>,
    /// Microseconds since 1970, where the text counts them.
    pub(crate) unix: Option<i64>,
}

/// Reads the whole of a text; `None` where it does not fit the format.
pub(crate) fn parts(format: &Format, text: &str) -> Option<Parts> {
    let (parts, rest) = prefix(format, text.trim())?;
    rest.trim().is_empty().then_some(parts)
}

/// Reads the beginning of a text; what is left comes back.
pub(crate) fn prefix<'a>(format: &Format, text: &'a str) -> Option<(Parts, &'a str)> {
    let mut parts = Parts::default();
    let mut rest = text;
    for (n, item) in format.items.iter().enumerate() {
        let fixed = format.fixed.get(n).copied().unwrap_or(false);
        rest = take(*item, fixed, rest, &mut parts)?;
    }
    Some((parts, rest))
}

/// Reads a text into a moment. `day` fills in what the format leaves out of the date.
pub(crate) fn moment(format: &Format, text: &str, day: Option<Day>) -> Option<Moment> {
    if format.is_iso
        && let Some(moment) = iso(text.as_bytes())
    {
        return Some(moment);
    }
    parts(format, text)?.moment(day)
}

impl Parts {
    /// The moment these parts tell; `None` where there is no such moment, or the year is not told.
    pub(crate) fn moment(&self, fill: Option<Day>) -> Option<Moment> {
        if let Some(unix) = self.unix {
            return Some(Moment::Instant(unix));
        }
        let micros = self.date(fill)? * DAY + self.time_of_day()?;
        Some(match self.offset {
            Some(offset) => Moment::Instant(micros - offset * SECOND),
            None => Moment::Wall(micros),
        })
    }

    /// Days since 1970.
    pub(crate) fn date(&self, fill: Option<Day>) -> Option<i64> {
        let year = self.year.or(fill.map(|day| day.year))?;
        if let Some(day_of_year) = self.day_of_year {
            let length = 365 + u32::from(is_leap(year));
            return (1..=length).contains(&day_of_year).then(|| {
                days(Day {
                    year,
                    month: 1,
                    day: 1,
                }) + i64::from(day_of_year)
                    - 1
            });
        }
        let no_date = self.year.is_none() && self.month.is_none() && self.day.is_none();
        let (month, day) = match (no_date, fill) {
            (true, Some(fill)) => (fill.month, fill.day),
            _ => (self.month.unwrap_or(1), self.day.unwrap_or(1)),
        };
        let sound = (1..=12).contains(&month) && (1..=days_in_month(year, month)).contains(&day);
        sound.then(|| days(Day { year, month, day }))
    }

    /// Microseconds since midnight; hour 24 is the midnight that ends the day.
    pub(crate) fn time_of_day(&self) -> Option<i64> {
        let hour = match (self.hour.unwrap_or(0), self.afternoon) {
            (12, Some(afternoon)) => 12 * u32::from(afternoon),
            (hour @ 1..=11, Some(afternoon)) => hour + 12 * u32::from(afternoon),
            // A clock that shows 24 hours and the half of the day: sound where the two agree.
            (hour, None) | (hour @ 13..=23, Some(true)) | (hour @ 0, Some(false)) => hour,
            _ => return None,
        };
        let sound = self.minute < 60
            && self.second <= 60
            && (hour < 24 || hour == 24 && self.minute == 0 && self.second == 0 && self.micro == 0);
        let seconds = i64::from(hour) * 3600 + i64::from(self.minute) * 60 + i64::from(self.second);
        sound.then(|| seconds * SECOND + i64::from(self.micro))
    }
}

/// Takes one piece off the front of a text.
fn take<'a>(item: Item, fixed: bool, text: &'a str, parts: &mut Parts) -> Option<&'a str> {
    match item {
        Item::Literal(c) => text.strip_prefix(c),
        Item::Blank => Some(text.trim_start()),
        Item::Year => {
            let (value, rest) = digits(text, 4, true)?;
            parts.year = Some(value as i32);
            Some(rest)
        }
        Item::ShortYear => {
            let (value, rest) = digits(text, 2, fixed)?;
            // POSIX strptime: 69 to 99 are of the last century.
            parts.year = Some(value as i32 + if value >= 69 { 1900 } else { 2000 });
            Some(rest)
        }
        Item::Month => number(text, 2, fixed, |value| parts.month = Some(value)),
        Item::Day => number(text, 2, fixed, |value| parts.day = Some(value)),
        Item::DayOfYear => number(text, 3, fixed, |value| parts.day_of_year = Some(value)),
        Item::Hour | Item::Hour12 => number(text, 2, fixed, |value| parts.hour = Some(value)),
        Item::Minute => number(text, 2, fixed, |value| parts.minute = value),
        Item::HourMinute => number(text, 4, false, |value| {
            parts.hour = Some(value / 100);
            parts.minute = value % 100;
        }),
        Item::Second => {
            let rest = number(text, 2, fixed, |value| parts.second = value)?;
            match rest.strip_prefix(['.', ',']) {
                Some(decimals) if decimals.starts_with(|c: char| c.is_ascii_digit()) && !fixed => {
                    fraction(decimals, parts)
                }
                _ => Some(rest),
            }
        }
        Item::Fraction => fraction(text, parts),
        Item::MonthName => {
            let (word, rest) = word(text)?;
            parts.month = Some(words::month(word)?);
            Some(rest.strip_prefix('.').unwrap_or(rest))
        }
        Item::WeekdayName => {
            let (word, rest) = word(text)?;
            words::is_weekday(word).then(|| rest.strip_prefix('.').unwrap_or(rest))
        }
        Item::HalfOfDay => {
            let text = text.trim_start();
            let (afternoon, length) = words::half_of_day(text)?;
            parts.afternoon = Some(afternoon);
            text.get(length..)
        }
        Item::Offset => offset(text.trim_start(), parts),
        Item::MaybeOffset => match text.trim_start() {
            "" => Some(text),
            rest => offset(rest, parts),
        },
        Item::MaybeSeconds(mark) => match text.strip_prefix(mark) {
            Some(rest) if rest.starts_with(|c: char| c.is_ascii_digit()) => {
                take(Item::Second, false, rest, parts)
            }
            _ => Some(text),
        },
        Item::Unix => unix(text, 1_000_000, parts),
        Item::UnixMillis => unix(text, 1000, parts),
    }
}

fn number(text: &str, most: usize, exact: bool, mut set: impl FnMut(u32)) -> Option<&str> {
    let (value, rest) = digits(text, most, exact)?;
    set(value);
    Some(rest)
}

/// Takes up to `most` digits, or exactly so many.
fn digits(text: &str, most: usize, exact: bool) -> Option<(u32, &str)> {
    let count = text.bytes().take(most).take_while(u8::is_ascii_digit).count();
    if count == 0 || exact && count < most {
        return None;
    }
    Some((text.get(..count)?.parse().ok()?, text.get(count..)?))
}

/// Takes decimals of a second; what lies beyond a microsecond is cut off.
fn fraction<'a>(text: &'a str, parts: &mut Parts) -> Option<&'a str> {
    let count = text.bytes().take_while(u8::is_ascii_digit).count();
    if count == 0 {
        return None;
    }
    let mut micro = 0;
    for n in 0..6 {
        let digit = if n < count {
            u32::from(text.as_bytes()[n] - b'0')
        } else {
            0
        };
        micro = micro * 10 + digit;
    }
    parts.micro = micro;
    text.get(count..)
}

fn word(text: &str) -> Option<(&str, &str)> {
    let end = text.find(|c: char| !c.is_alphabetic()).unwrap_or(text.len());
    (end > 0).then(|| text.split_at(end))
}

/// Takes `Z`, `UTC`, `GMT`, `+01`, `+0100`, `+01:00`, `UTC+1`, or a European zone's short name, whose offset is fixed.
fn offset<'a>(text: &'a str, parts: &mut Parts) -> Option<&'a str> {
    if let Some((word, rest)) = word(text) {
        let hours = match word.to_ascii_uppercase().as_str() {
            "Z" | "UTC" | "GMT" | "WET" => 0,
            "CET" | "WEST" => 1,
            "CEST" | "EET" => 2,
            "EEST" => 3,
            _ => return None,
        };
        parts.offset = Some(hours * 3600);
        return match rest.trim_start().starts_with(['+', '-', '\u{2212}']) {
            true if hours == 0 => signed_offset(rest.trim_start(), parts),
            true => None,
            false => Some(rest),
        };
    }
    signed_offset(text, parts)
}

fn signed_offset<'a>(text: &'a str, parts: &mut Parts) -> Option<&'a str> {
    let (sign, rest) = match text.chars().next()? {
        '+' => (1, text.get(1..)?),
        '-' => (-1, text.get(1..)?),
        '\u{2212}' => (-1, text.get('\u{2212}'.len_utf8()..)?),
        _ => return None,
    };
    let count = rest.bytes().take(4).take_while(u8::is_ascii_digit).count();
    let (hours, minutes, rest) = match count {
        1 | 2 => {
            let (hours, rest) = digits(rest, 2, false)?;
            match rest.strip_prefix(':') {
                Some(rest) => {
                    let (minutes, rest) = digits(rest, 2, true)?;
                    (hours, minutes, rest)
                }
                None => (hours, 0, rest),
            }
        }
        4 => {
            let (both, rest) = digits(rest, 4, true)?;
            (both / 100, both % 100, rest)
        }
        _ => return None,
    };
    if hours > 18 || minutes > 59 {
        return None;
    }
    parts.offset = Some(sign * i64::from(hours * 3600 + minutes * 60));
    Some(rest)
}

fn unix<'a>(text: &'a str, scale: i64, parts: &mut Parts) -> Option<&'a str> {
    let value: f64 = text.trim().parse().ok()?;
    let whole = value.trunc();
    if !value.is_finite() || whole.abs() > 1.0e14 {
        return None;
    }
    let micros = (whole as i64).checked_mul(scale)?;
    parts.unix = Some(micros + ((value - whole) * scale as f64).round() as i64);
    Some("")
}

/// `2026-04-03T10:00:00`, `2026-04-03 10:00:00.25`, with `Z` or an offset or nothing after it: the usual log's time,
/// read without going through the format. `None` leaves it to the format.
fn iso(text: &[u8]) -> Option<Moment> {
    let pair = |at: usize| -> Option<u32> {
        let tens = text.get(at)?.wrapping_sub(b'0');
        let ones = text.get(at + 1)?.wrapping_sub(b'0');
        (tens < 10 && ones < 10).then(|| u32::from(tens) * 10 + u32::from(ones))
    };
    if text.len() < 19
        || text[4] != b'-'
        || text[7] != b'-'
        || !matches!(text[10], b' ' | b'T' | b't')
        || text[13] != b':'
        || text[16] != b':'
    {
        return None;
    }
    let year = (pair(0)? * 100 + pair(2)?) as i32;
    let (month, day) = (pair(5)?, pair(8)?);
    let (hour, minute, second) = (pair(11)?, pair(14)?, pair(17)?);
    let sound = (1..=12).contains(&month)
        && (1..=28).contains(&day) | (day > 28 && day <= days_in_month(year, month))
        && hour < 24
        && minute < 60
        && second < 60;
    if !sound {
        return None;
    }
    let seconds = i64::from(hour * 3600 + minute * 60 + second);
    let mut micros = days(Day { year, month, day }) * DAY + seconds * SECOND;
    let mut at = 19;
    if text.get(at) == Some(&b'.') {
        at += 1;
        let mut weight = 100_000;
        let first = at;
        while let Some(digit) = text
            .get(at)
            .map(|byte| byte.wrapping_sub(b'0'))
            .filter(|digit| *digit < 10)
        {
            micros += i64::from(digit) * weight;
            weight /= 10;
            at += 1;
        }
        if at == first {
            return None;
        }
    }
    match text.get(at..)? {
        [] => Some(Moment::Wall(micros)),
        [b'Z' | b'z'] => Some(Moment::Instant(micros)),
        [sign @ (b'+' | b'-'), _, _, b':', _, _] => {
            let (hours, minutes) = (pair(at + 1)?, pair(at + 4)?);
            if hours > 18 || minutes > 59 {
                return None;
            }
            let offset = i64::from(hours * 3600 + minutes * 60) * SECOND;
            Some(Moment::Instant(if *sign == b'+' {
                micros - offset
            } else {
                micros + offset
            }))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(format: &str, text: &str) -> Option<Moment> {
        moment(&Format::new(format).unwrap(), text, None)
    }

    fn wall(text: &str) -> Option<Moment> {
        let time: jiff::civil::DateTime = text.parse().ok()?;
        let zoned = time.to_zoned_datetime(jiff::tz::TimeZone::UTC).ok()?;
        Some(Moment::Wall(zoned.timestamp().as_microsecond()))
    }

    /// RFC 3339, section 5.8: its own examples.
    #[test]
    fn rfc_3339_examples() {
        for (text, micros) in [
            ("1985-04-12T23:20:50.52Z", 482_196_050_520_000),
            ("1996-12-19T16:39:57-08:00", 851_042_397_000_000),
            ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130_000),
            ("1990-12-31T23:59:60Z", 662_688_000_000_000),
            ("1990-12-31T15:59:60-08:00", 662_688_000_000_000),
        ] {
            assert_eq!(
                read("%Y-%m-%dT%H:%M:%S%z", text),
                Some(Moment::Instant(micros)),
                "{text}"
            );
        }
    }

    #[test]
    fn the_rules_of_section_9() {
        for (format, text, want) in [
            (
                "%d.%m.%Y %H:%M:%S",
                "3.4.2026 9:05:07,25",
                wall("2026-04-03T09:05:07.25"),
            ),
            ("%d.%m.%Y %H:%M", "03.04.2026 24:00", wall("2026-04-04T00:00")),
            ("%d.%m.%Y %H:%M", "03.04.2026 24:01", None),
            ("%Y-%m-%d %H%M", "2026-04-03 930", wall("2026-04-03T09:30")),
            ("%Y-%m-%d %H%M", "2026-04-03 5", wall("2026-04-03T00:05")),
            ("%Y-%m-%d %H%M", "2026-04-03 2400", wall("2026-04-04T00:00")),
            ("%Y%m%d%H%M%S", "20260403093005", wall("2026-04-03T09:30:05")),
            ("%Y %j %H%M", "2026 93 1200", wall("2026-04-03T12:00")),
            ("%Y-%m-%d", "2026-04-03", wall("2026-04-03T00:00")),
            ("%d-%b-%y %I:%M %p", "3-Apr-26 12:15 AM", wall("2026-04-03T00:15")),
            (
                "%d. %B %Y %H:%M",
                "3. M\u{e4}rz 2026 14:00",
                wall("2026-03-03T14:00"),
            ),
            (
                "%m/%d/%Y %I:%M:%S %p",
                "4/3/2026 2:05:07 p.m.",
                wall("2026-04-03T14:05:07"),
            ),
            ("%d.%m.%Y", "31.04.2026", None),
            ("%d.%m.%Y", "29.02.2028", wall("2028-02-29T00:00")),
            ("%d.%m. %H:%M", "03.04. 10:00", None),
            ("%H:%M", "10:00", None),
            ("%Y-%m-%d %H:%M", "2026-04-03 10:00 x", None),
        ] {
            assert_eq!(read(format, text), want, "{format} on {text}");
        }
        for zone in ["Z", "+00", "+0000", "+00:00", " UTC", "GMT"] {
            let text = format!("2026-04-03 10:00:00{zone}");
            let micros = super::super::micros(wall("2026-04-03T10:00").unwrap());
            assert_eq!(
                read("%Y-%m-%d %H:%M:%S%z", &text),
                Some(Moment::Instant(micros)),
                "{text}"
            );
        }
        let day = Day {
            year: 2026,
            month: 4,
            day: 3,
        };
        let format = Format::new("%H:%M").unwrap();
        assert_eq!(moment(&format, "10:30", Some(day)), wall("2026-04-03T10:30"));
        let format = Format::new("%d.%m. %H:%M").unwrap();
        assert_eq!(
            moment(&format, "05.06. 10:30", Some(day)),
            wall("2026-06-05T10:30")
        );
    }

    #[test]
    fn unix_times() {
        let format = |item| Format::from_items(String::new(), &[item]);
        assert_eq!(
            moment(&format(Item::Unix), "1775210400", None),
            Some(Moment::Instant(1_775_210_400_000_000))
        );
        assert_eq!(
            moment(&format(Item::Unix), "1775210400.25", None),
            Some(Moment::Instant(1_775_210_400_250_000))
        );
        assert_eq!(
            moment(&format(Item::UnixMillis), "1775210400123", None),
            Some(Moment::Instant(1_775_210_400_123_000))
        );
    }

    proptest! {
        #[test]
        fn the_quick_way_agrees_with_the_format(micros in 0i64..4_102_444_800_000_000, zone in 0usize..4, decimals in 0usize..7) {
            let time = jiff::Timestamp::from_microsecond(micros).unwrap().to_zoned_datetime(jiff::tz::TimeZone::UTC).datetime();
            let mut text = time.strftime("%Y-%m-%dT%H:%M:%S").to_string();
            if decimals > 0 {
                let all = format!("{:06}", micros.rem_euclid(1_000_000));
                text.push('.');
                text.push_str(&all[..decimals]);
            }
            text.push_str(["", "Z", "+05:30", "-08:00"][zone]);
            let format = Format::new("%Y-%m-%dT%H:%M:%S%z").unwrap();
            let bare = Format::new("%Y-%m-%dT%H:%M:%S").unwrap();
            let slow = parts(if zone == 0 { &bare } else { &format }, &text).and_then(|parts| parts.moment(None));
            prop_assert!(slow.is_some());
            prop_assert_eq!(iso(text.as_bytes()), slow);
        }

        #[test]
        fn no_text_panics(text in "\\PC{0,24}", format in prop::sample::select(vec![
            "%Y-%m-%d %H:%M:%S%z", "%d %b %Y %I:%M %p", "%Y%m%d%H%M", "%a %d/%m/%y", "%s", "%H%M", "%j %S %f",
        ])) {
            let _ = read(format, &text);
            let _ = iso(text.as_bytes());
        }
    }
}
