//! Readers written from the standards alone, that know nothing of how undim writes.

/// CSV by the grammar of RFC 4180, section 2, but that a record ends with LF alone (formats, section 10).
///
/// Stricter than the common libraries: a quote within a bare field, text after a closing quote, a record of another
/// length, a bare CR and a missing last line end are mistakes.
pub(crate) fn csv(text: &str) -> Result<Vec<Vec<String>>, String> {
    let mut records = Vec::new();
    let mut rest = text.chars().peekable();
    while rest.peek().is_some() {
        let mut record = Vec::new();
        loop {
            let mut field = String::new();
            let at = format!("record {}, field {}", records.len() + 1, record.len() + 1);
            if rest.next_if_eq(&'"').is_some() {
                loop {
                    match rest.next() {
                        Some('"') if rest.next_if_eq(&'"').is_some() => field.push('"'),
                        Some('"') => break,
                        Some(other) => field.push(other),
                        None => return Err(format!("{at}: the quotes are never closed")),
                    }
                }
            } else {
                while let Some(bare) = rest.next_if(|c| !matches!(c, ',' | '\n')) {
                    if matches!(bare, '"' | '\r') {
                        return Err(format!("{at}: {bare:?} stands in a field without quotes"));
                    }
                    field.push(bare);
                }
            }
            record.push(field);
            match rest.next() {
                Some(',') => {}
                Some('\n') => break,
                Some(other) => return Err(format!("{at}: {other:?} follows the closing quote")),
                None => return Err(format!("{at}: the last line has no end")),
            }
        }
        let first: &Vec<String> = records.first().unwrap_or(&record);
        if first.len() != record.len() {
            return Err(format!(
                "record {} has {} fields, the first has {}",
                records.len() + 1,
                record.len(),
                first.len()
            ));
        }
        records.push(record);
    }
    Ok(records)
}

/// True for a `date-time` of RFC 3339, section 5.6, with a day that its month has (section 5.7).
pub(crate) fn is_date_time(text: &str) -> bool {
    let number = |from: usize, to: usize| {
        let digits = text.get(from..to)?;
        digits
            .bytes()
            .all(|byte| byte.is_ascii_digit())
            .then(|| digits.parse::<u32>().ok())?
    };
    let mark = |at: usize, marks: &str| text.get(at..=at).is_some_and(|found| marks.contains(found));
    let (Some(year), Some(month), Some(day)) = (number(0, 4), number(5, 7), number(8, 10)) else {
        return false;
    };
    let (Some(hour), Some(minute), Some(second)) = (number(11, 13), number(14, 16), number(17, 19)) else {
        return false;
    };
    let days = match month {
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => 0,
    };
    let marks = mark(4, "-") && mark(7, "-") && mark(10, "Tt") && mark(13, ":") && mark(16, ":");
    let mut zone = 19;
    if mark(19, ".") {
        let digits = text[20..].bytes().take_while(u8::is_ascii_digit).count();
        if digits == 0 {
            return false;
        }
        zone = 20 + digits;
    }
    let offset = match text.get(zone..) {
        Some("Z" | "z") => true,
        Some(offset) if offset.len() == 6 => {
            let hours = number(zone + 1, zone + 3).is_some_and(|hours| hours < 24);
            let minutes = number(zone + 4, zone + 6).is_some_and(|minutes| minutes < 60);
            mark(zone, "+-") && mark(zone + 3, ":") && hours && minutes
        }
        _ => false,
    };
    marks && (1..=days).contains(&day) && hour < 24 && minute < 60 && second <= 60 && offset
}

#[test]
fn the_csv_reader_is_strict() {
    // RFC 4180, section 2, rules 5 to 7, the standard's own lines.
    let sample = "\"aaa\",\"b \n bb\",\"ccc\"\nzzz,yyy,\"b\"\"bb\"\n";
    let read = csv(sample).expect("the standard's own sample");
    assert_eq!(read, [["aaa", "b \n bb", "ccc"], ["zzz", "yyy", "b\"bb"]]);
    for wrong in ["a,b\"c\n", "a\n\"b\" ,c\n", "a,b\nc\n", "a,\"b\n", "a,b", "a\r\n"] {
        assert!(csv(wrong).is_err(), "{wrong:?}");
    }
}

#[test]
fn the_time_grammar_is_strict() {
    // RFC 3339, section 5.8, the standard's own examples.
    for right in [
        "1985-04-12T23:20:50.52Z",
        "1996-12-19T16:39:57-08:00",
        "1990-12-31T23:59:60Z",
        "1990-12-31T15:59:60-08:00",
        "1937-01-01T12:00:27.87+00:20",
    ] {
        assert!(is_date_time(right), "{right}");
    }
    for wrong in [
        "1985-04-12 23:20:50Z",
        "1985-04-12T23:20:50",
        "1985-04-12T23:20:50.Z",
        "1985-04-12T24:20:50Z",
        "1985-02-29T12:00:00Z",
        "1985-04-12T23:20Z",
        "1985-04-12T23:20:50+0100",
        "1985-4-12T23:20:50Z",
        "1985-04-12",
        "",
    ] {
        assert!(!is_date_time(wrong), "{wrong}");
    }
}
