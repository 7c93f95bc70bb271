//! Dates and times: calendar arithmetic, formats, and finding out which format a column has.

mod candidates;
pub(crate) mod format;
pub(crate) mod order;
pub(crate) mod parse;
pub(crate) mod words;

pub(crate) use undim_sdk::Time as Moment;

/// The microseconds, whatever they are counted in.
pub(crate) fn micros(moment: Moment) -> i64 {
    match moment {
        Moment::Instant(micros) | Moment::Wall(micros) => micros,
    }
}

/// A day of the calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Day {
    pub(crate) year: i32,
    pub(crate) month: u32,
    pub(crate) day: u32,
}

pub(crate) const SECOND: i64 = 1_000_000;
pub(crate) const DAY: i64 = 86_400 * SECOND;

/// Days since 1970-01-01 in the proleptic Gregorian calendar.
///
/// Source: H. Hinnant, "chrono-Compatible Low-Level Date Algorithms", `days_from_civil` (from memory).
pub(crate) fn days(day: Day) -> i64 {
    let year = i64::from(day.year) - i64::from(day.month <= 2);
    let era = year.div_euclid(400);
    let year_of_era = year.rem_euclid(400);
    let month = (i64::from(day.month) + 9) % 12;
    let day_of_year = (153 * month + 2) / 5 + i64::from(day.day) - 1;
    let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    era * 146_097 + day_of_era - 719_468
}

/// The day that lies so many days after 1970-01-01; the inverse of [`days`].
pub(crate) fn day_of(days: i64) -> Day {
    let shifted = days + 719_468;
    let era = shifted.div_euclid(146_097);
    let day_of_era = shifted.rem_euclid(146_097);
    let year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let shifted_month = (5 * day_of_year + 2) / 153;
    let month = if shifted_month < 10 {
        shifted_month + 3
    } else {
        shifted_month - 9
    };
    Day {
        year: (year_of_era + era * 400 + i64::from(month <= 2)) as i32,
        month: month as u32,
        day: (day_of_year - (153 * shifted_month + 2) / 5 + 1) as u32,
    }
}

pub(crate) fn is_leap(year: i32) -> bool {
    year % 4 == 0 && (year % 100 != 0 || year % 400 == 0)
}

pub(crate) fn days_in_month(year: i32, month: u32) -> u32 {
    match month {
        2 => 28 + u32::from(is_leap(year)),
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Microseconds from a count of days in one of a spreadsheet's two calendars; to the nearest millisecond, as finer
/// digits are only an artefact of counting in days.
///
/// Days 1 to 60 of the 1900 calendar are refused: they hold a 29 February 1900 that never was.
pub(crate) fn from_serial(serial: f64, epoch_1904: bool) -> Option<i64> {
    let first = if epoch_1904 { 0.0 } else { 61.0 };
    if !(first..=110_000.0).contains(&serial) {
        return None;
    }
    let origin = if epoch_1904 {
        Day {
            year: 1904,
            month: 1,
            day: 1,
        }
    } else {
        Day {
            year: 1899,
            month: 12,
            day: 30,
        }
    };
    let millis = (serial * 86_400_000.0).round() as i64;
    Some(days(origin) * DAY + millis * 1000)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_calendar_agrees_with_an_independent_one(n in -700_000i64..700_000) {
            let day = day_of(n);
            prop_assert_eq!(days(day), n);
            let epoch = jiff::civil::date(1970, 1, 1);
            let theirs = epoch.checked_add(jiff::Span::new().days(n)).unwrap();
            prop_assert_eq!((i32::from(theirs.year()), theirs.month() as u32, theirs.day() as u32), (day.year, day.month, day.day));
        }
    }

    #[test]
    fn spreadsheet_serials() {
        // 2026-04-03 10:00 is day 46115 of the 1900 calendar and 44653 of the 1904 one (1462 days apart).
        let want = days(Day {
            year: 2026,
            month: 4,
            day: 3,
        }) * DAY
            + 10 * 3600 * SECOND;
        assert_eq!(from_serial(46_115.0 + 10.0 / 24.0, false), Some(want));
        assert_eq!(from_serial(44_653.416_666_666_7, true), Some(want));
        assert_eq!(from_serial(60.0, false), None);
        assert_eq!(from_serial(f64::NAN, false), None);
    }
}
