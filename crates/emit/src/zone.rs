//! Times in the site's zone, as RFC 3339 with a numeric offset: `+00:00`, never `Z`; a fraction only
//! where it is not zero.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::{Offset, TimeZone, TimeZoneDatabase};
use std::fmt::{self, Write as _};

/// No zone of this name stands in the bundled data.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownZone {
    /// The name that was asked for.
    pub name: String,
}

impl fmt::Display for UnknownZone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "no time zone `{}`; an IANA name such as Europe/Lisbon is wanted",
            crate::text_cell::shown(&self.name)
        )
    }
}

impl std::error::Error for UnknownZone {}

/// The zone that a site's times are written in.
#[derive(Debug, Clone)]
pub struct SiteZone {
    zone: TimeZone,
}

impl SiteZone {
    /// By its IANA name, from the bundled data only: the same bytes on every machine.
    pub fn named(name: &str) -> Result<Self, UnknownZone> {
        let zone = TimeZoneDatabase::bundled().get(name).map_err(|_| UnknownZone {
            name: name.to_owned(),
        })?;
        Ok(Self { zone })
    }

    /// A zone that is already at hand.
    pub fn new(zone: TimeZone) -> Self {
        Self { zone }
    }

    /// The time as it is written.
    pub fn time(&self, time: Timestamp) -> String {
        let mut out = String::new();
        TimePrinter::new(self).push(&mut out, time);
        out
    }

    /// The day in this zone.
    pub fn date(&self, time: Timestamp) -> Date {
        self.zone.to_datetime(time).date()
    }
}

/// Writes many times in one zone; looks the offset up anew only where it may have changed.
#[derive(Debug, Clone)]
pub struct TimePrinter {
    zone: TimeZone,
    offset: Offset,
    from: Timestamp,
    before: Timestamp,
}

impl TimePrinter {
    /// For a zone.
    pub fn new(zone: &SiteZone) -> Self {
        Self {
            zone: zone.zone.clone(),
            offset: Offset::UTC,
            from: Timestamp::MAX,
            before: Timestamp::MIN,
        }
    }

    /// Appends a time.
    pub fn push(&mut self, out: &mut String, time: Timestamp) {
        if time < self.from || time >= self.before {
            self.offset = whole_minutes(self.zone.to_offset(time));
            self.from = time;
            self.before = self
                .zone
                .following(time)
                .next()
                .map_or(Timestamp::MAX, |next| next.timestamp());
        }
        // Writing to a String cannot fail.
        let _ = write!(out, "{}", time.display_with_offset(self.offset));
    }
}

/// RFC 3339 has no seconds in an offset, which local mean times would need; rounding the offset, and with
/// it the clock, keeps the instant.
fn whole_minutes(offset: Offset) -> Offset {
    let minutes = (f64::from(offset.seconds()) / 60.0).round() as i32;
    Offset::from_seconds(minutes * 60).unwrap_or(Offset::UTC)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(zone: &str, time: &str) -> String {
        SiteZone::named(zone)
            .expect("a zone")
            .time(time.parse().expect("a time"))
    }

    #[test]
    fn offsets_are_numbers_and_fractions_only_where_there_are_any() {
        assert_eq!(at("UTC", "2026-03-14T12:00:00Z"), "2026-03-14T12:00:00+00:00");
        assert_eq!(
            at("Europe/Lisbon", "2026-07-14T12:00:00.25Z"),
            "2026-07-14T13:00:00.25+01:00"
        );
        // RFC 3339, section 5.8, first and third example, in other offsets.
        assert_eq!(
            at("America/Los_Angeles", "1985-04-12T23:20:50.52Z"),
            "1985-04-12T15:20:50.52-08:00"
        );
        assert_eq!(
            at("Asia/Kathmandu", "2026-01-01T00:00:00Z"),
            "2026-01-01T05:45:00+05:45"
        );
        // Local mean time of Amsterdam was +00:19:32 (IANA time zone database).
        let early = at("Europe/Amsterdam", "1900-01-01T00:00:00Z");
        assert_eq!(
            early.parse::<Timestamp>().expect("RFC 3339"),
            "1900-01-01T00:00:00Z".parse().expect("a time")
        );
    }

    #[test]
    fn one_printer_follows_a_change_of_offset_both_ways() {
        let zone = SiteZone::named("Europe/Lisbon").expect("a zone");
        let mut printer = TimePrinter::new(&zone);
        let mut text = String::new();
        for time in [
            "2026-10-25T00:59:59Z",
            "2026-10-25T01:00:00Z",
            "2026-03-29T00:59:59Z",
            "2026-03-29T01:00:00Z",
        ] {
            printer.push(&mut text, time.parse().expect("a time"));
            text.push('\n');
        }
        assert_eq!(
            text,
            "2026-10-25T01:59:59+01:00\n2026-10-25T01:00:00+00:00\n2026-03-29T00:59:59+00:00\n2026-03-29T02:00:00+01:00\n"
        );
    }

    #[test]
    fn an_unknown_zone_is_named() {
        let error = SiteZone::named("Nowhere/At_All").expect_err("unknown");
        assert!(error.to_string().contains("Nowhere/At_All"));
    }
}
