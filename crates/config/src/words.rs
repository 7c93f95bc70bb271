//! Words, amounts and names as keepers write them: durations, sizes, ids, zones, times of day.

use crate::mistake::{nearest, shown};
use jiff::civil::Time;
use jiff::tz::{TimeZone, db};
use std::time::Duration;

/// `[a-z0-9][a-z0-9_-]*`; the error says what to write.
pub(crate) fn check_id(id: &str) -> Result<(), String> {
    let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit();
    let begins = id.starts_with(fits);
    if begins && id.chars().all(|c| fits(c) || c == '_' || c == '-') {
        return Ok(());
    }
    let rule = "an id is small letters, digits, - and _, and begins with a letter or digit";
    let slug: String = id
        .to_lowercase()
        .chars()
        .map(|c| if fits(c) || c == '_' { c } else { '-' })
        .collect();
    let slug = slug.trim_matches(['-', '_']);
    Err(if slug.is_empty() {
        rule.to_owned()
    } else {
        format!("{rule}, as \"{}\"", shown(slug))
    })
}

/// A scene's id may not end in `-` and digits, or it would read like a second survey of a day.
pub(crate) fn check_scene_id(id: &str) -> Result<(), String> {
    check_id(id)?;
    let bare = id.trim_end_matches(|c: char| c.is_ascii_digit());
    if bare.len() < id.len() && bare.ends_with('-') {
        let number = &id[bare.len()..];
        return Err(format!(
            "a scene can't end in - and digits, which count the surveys of a day; write \"{}{number}\"",
            bare.trim_end_matches('-')
        ));
    }
    Ok(())
}

/// `taken` and `set-aside` are folders of the inbox, no tanks.
pub(crate) fn check_tank_id(id: &str) -> Result<(), String> {
    check_id(id)?;
    if matches!(id, "taken" | "set-aside") {
        return Err(format!(
            "`{id}` is a folder of the inbox; give the tank another id"
        ));
    }
    Ok(())
}

/// A whole number and ms, s, m, h or d; the error says how to write it.
pub fn parse_duration(text: &str) -> Result<Duration, String> {
    let rule = "a length of time is a whole number and ms, s, m, h or d, as \"30s\" or \"35d\"";
    let digits = text.trim_end_matches(|c: char| !c.is_ascii_digit());
    let unit = &text[digits.len()..];
    let milliseconds: u64 = match unit {
        "ms" => 1,
        "s" => 1000,
        "m" => 60_000,
        "h" => 3_600_000,
        "d" => 86_400_000,
        _ => return Err(rule.to_owned()),
    };
    if digits.is_empty() || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return Err(rule.to_owned());
    }
    digits
        .parse::<u64>()
        .ok()
        .and_then(|count| count.checked_mul(milliseconds))
        // A century bounds every sum that is made of it.
        .filter(|total| *total <= 100 * 366 * 86_400_000)
        .map(Duration::from_millis)
        .ok_or_else(|| "that is longer than a century".to_owned())
}

/// Plain bytes, or a whole number and KiB, MiB or GiB; above 0.
pub(crate) fn parse_bytes(text: &str) -> Result<u64, String> {
    let rule = "a size is a whole number and KiB, MiB or GiB, as \"512MiB\", or plain bytes";
    let digits = text.trim_end_matches(|c: char| !c.is_ascii_digit());
    let factor: u64 = match &text[digits.len()..] {
        "" => 1,
        "KiB" => 1 << 10,
        "MiB" => 1 << 20,
        "GiB" => 1 << 30,
        _ => return Err(rule.to_owned()),
    };
    if digits.is_empty() || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return Err(rule.to_owned());
    }
    digits
        .parse::<u64>()
        .ok()
        .and_then(|count| count.checked_mul(factor))
        .filter(|bytes| (1..=1 << 50).contains(bytes))
        .ok_or_else(|| "give a size above 0 and below 1048576 GiB".to_owned())
}

/// A zone of the bundled IANA database, by its own spelling.
pub(crate) fn parse_zone(name: &str) -> Result<String, String> {
    // A name is short; the database needn't be asked about anything else.
    if name.len() <= 64
        && let Ok(zone) = TimeZone::get(name)
        && let Some(known) = zone.iana_name()
    {
        return Ok(known.to_owned());
    }
    let known: Vec<String> = db().available().map(|name| name.to_string()).collect();
    let by_city = known.iter().find(|zone| {
        let city = zone.rsplit('/').next().unwrap_or_default();
        city.eq_ignore_ascii_case(name)
    });
    let near = by_city
        .map(String::as_str)
        .or_else(|| nearest(name, known.iter().map(String::as_str)));
    Err(match near {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => "write an IANA name, as \"Europe/Lisbon\"".to_owned(),
    })
}

/// `"±HH:MM"`: an offset from UTC.
pub(crate) fn is_offset(text: &str) -> bool {
    let bytes = text.as_bytes();
    let two = |at: usize| text.get(at..at + 2).and_then(|two| two.parse::<u8>().ok());
    matches!(bytes, [b'+' | b'-', a, b, b':', c, d]
        if [a, b, c, d].iter().all(|b| b.is_ascii_digit()))
        && two(1).is_some_and(|hours| hours <= 18)
        && two(4).is_some_and(|minutes| minutes < 60)
}

/// `"HH:MM"` or `"HH:MM:SS"`, up to `"24:00"`, which is the day's last moment.
pub(crate) fn parse_time_of_day(text: &str) -> Option<Time> {
    if matches!(text, "24:00" | "24:00:00") {
        return Some(Time::MAX);
    }
    let mut parts = text.split(':').map(|part| {
        let two = part.len() == 2 && part.bytes().all(|b| b.is_ascii_digit());
        two.then(|| part.parse::<i8>().ok()).flatten()
    });
    let hour = parts.next()??;
    let minute = parts.next()??;
    let second = parts.next().unwrap_or(Some(0))?;
    if parts.next().is_some() || second > 59 {
        return None;
    }
    Time::new(hour, minute, second, 0).ok()
}

/// `"±HH:MM:SS"` in microseconds; the sign must be there.
pub(crate) fn parse_clock_offset(text: &str) -> Option<i64> {
    let (sign, rest) = match text.split_at_checked(1)? {
        ("+", rest) => (1, rest),
        ("-", rest) => (-1, rest),
        _ => return None,
    };
    let mut parts = rest.split(':').map(|part| {
        let digits = !part.is_empty() && part.len() <= 5 && part.bytes().all(|b| b.is_ascii_digit());
        digits.then(|| part.parse::<i64>().ok()).flatten()
    });
    let (hours, minutes, seconds) = (parts.next()??, parts.next()??, parts.next()??);
    if parts.next().is_some() || minutes > 59 || seconds > 59 {
        return None;
    }
    Some(sign * (hours * 3600 + minutes * 60 + seconds) * 1_000_000)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations() {
        let ms = |text| parse_duration(text).map(|d| d.as_millis());
        assert_eq!(ms("0s"), Ok(0));
        assert_eq!(ms("250ms"), Ok(250));
        assert_eq!(ms("2m"), Ok(120_000));
        assert_eq!(ms("1h"), Ok(3_600_000));
        assert_eq!(ms("35d"), Ok(35 * 86_400_000));
        for bad in [
            "",
            "s",
            "1.5s",
            "-1s",
            "1 s",
            "1w",
            "30",
            "1S",
            "99999999999999999999s",
            "٣s",
            "9999999d",
        ] {
            assert!(parse_duration(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn sizes() {
        assert_eq!(parse_bytes("4GiB"), Ok(4 << 30));
        assert_eq!(parse_bytes("512MiB"), Ok(512 << 20));
        assert_eq!(parse_bytes("8KiB"), Ok(8192));
        assert_eq!(parse_bytes("100"), Ok(100));
        for bad in ["", "0", "4GB", "4 GiB", "1.5MiB", "-1", "99999999999GiB"] {
            assert!(parse_bytes(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn ids() {
        for good in ["a", "reef-top", "9_b", "plating-1"] {
            assert!(check_id(good).is_ok(), "{good}");
        }
        for bad in ["", "-a", "_a", "Reef", "a b", "é", "a/b", ".."] {
            assert!(check_id(bad).is_err(), "{bad}");
        }
        assert!(check_id("Reef Top").unwrap_err().contains("reef-top"));
        assert!(check_scene_id("noon").is_ok());
        assert!(check_scene_id("noon2").is_ok());
        assert!(check_scene_id("noon-2").unwrap_err().contains("noon2"));
        assert!(check_tank_id("taken").is_err());
        assert!(check_tank_id("set-aside").is_err());
    }

    #[test]
    fn zones() {
        assert_eq!(parse_zone("Europe/Lisbon").as_deref(), Ok("Europe/Lisbon"));
        assert_eq!(parse_zone("UTC").as_deref(), Ok("UTC"));
        assert!(
            parse_zone("Europe/Lisbonn")
                .unwrap_err()
                .contains("Europe/Lisbon")
        );
        assert!(parse_zone("lisbon").unwrap_err().contains("Europe/Lisbon"));
        assert!(parse_zone("+01:00").is_err());
        assert!(is_offset("+01:00") && is_offset("-09:30"));
        assert!(!is_offset("+1:00") && !is_offset("+01:60") && !is_offset("01:00"));
    }

    #[test]
    fn clocks() {
        assert_eq!(parse_time_of_day("09:00"), Time::new(9, 0, 0, 0).ok());
        assert_eq!(parse_time_of_day("24:00"), Some(Time::MAX));
        for bad in ["9:00", "25:00", "09", "09:60", "09:00:61", "09:00:00:00"] {
            assert_eq!(parse_time_of_day(bad), None, "{bad}");
        }
        assert_eq!(parse_clock_offset("+01:00:00"), Some(3_600_000_000));
        assert_eq!(parse_clock_offset("-00:02:30"), Some(-150_000_000));
        for bad in ["01:00:00", "+1", "+01:00", "+00:60:00", "", "é"] {
            assert_eq!(parse_clock_offset(bad), None, "{bad}");
        }
    }
}
