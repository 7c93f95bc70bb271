//! Numbers as people and devices write them: decimal point or comma, grouped thousands.
//!
//! Which mark is which is decided from evidence in the file's own cells, never from a setting of the machine.

/// What the marks in one column's numbers mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Marks {
    /// `.` or `,`.
    pub(crate) decimal: u8,
    /// The mark between thousands, beside blanks and apostrophes, which never stand for anything else.
    pub(crate) thousands: Option<u8>,
}

impl Marks {
    pub(crate) const POINT: Marks = Marks {
        decimal: b'.',
        thousands: Some(b','),
    };
    pub(crate) const COMMA: Marks = Marks {
        decimal: b',',
        thousands: Some(b'.'),
    };
}

/// What one cell says about the marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Says {
    /// No mark in it.
    Nothing,
    /// Only readable with a decimal point.
    Point,
    /// Only readable with a decimal comma.
    Comma,
    /// One point, three digits after it: a decimal point or grouped thousands.
    EitherPoint,
    /// One comma, three digits after it: a decimal comma or grouped thousands.
    EitherComma,
}

/// What the cells of a column say together.
#[derive(Debug, Clone, Default)]
pub(crate) struct Evidence {
    pub(crate) numbers: usize,
    pub(crate) others: usize,
    pub(crate) point: Option<u64>,
    pub(crate) comma: Option<u64>,
    pub(crate) either_point: Option<(u64, String)>,
    pub(crate) either_comma: Option<(u64, String)>,
    /// A whole number of more than three digits without a mark: thousands are not grouped here.
    pub(crate) ungrouped: bool,
    /// Every cell with a mark is of the kind that fits both: the largest when read as grouped.
    pub(crate) largest_grouped: f64,
}

impl Evidence {
    /// Takes one cell of the column into account; `line` is where it stands.
    pub(crate) fn add(&mut self, cell: &str, line: u64) {
        let Some(says) = says(cell) else {
            self.others += 1;
            return;
        };
        self.numbers += 1;
        match says {
            Says::Nothing => {
                let digits = cell.bytes().filter(u8::is_ascii_digit).count();
                let bare = cell
                    .bytes()
                    .all(|byte| byte.is_ascii_digit() || matches!(byte, b'+' | b'-'));
                self.ungrouped |= bare && digits > 3;
            }
            Says::Point => self.point = self.point.or(Some(line)),
            Says::Comma => self.comma = self.comma.or(Some(line)),
            Says::EitherPoint => {
                if self.either_point.is_none() {
                    self.either_point = Some((line, cell.to_owned()));
                }
                self.grouped(cell, Marks::COMMA);
            }
            Says::EitherComma => {
                if self.either_comma.is_none() {
                    self.either_comma = Some((line, cell.to_owned()));
                }
                self.grouped(cell, Marks::POINT);
            }
        }
    }

    fn grouped(&mut self, cell: &str, marks: Marks) {
        if let Some(value) = parse(cell, marks) {
            self.largest_grouped = self.largest_grouped.max(value.abs());
        }
    }

    /// True where the column holds numbers: at least three in four of its filled cells.
    pub(crate) fn is_numeric(&self) -> bool {
        self.numbers > 0 && self.others * 3 <= self.numbers
    }

    /// What the column proves by itself; `None` where it proves nothing.
    pub(crate) fn proof(&self) -> Option<Marks> {
        match (self.point.is_some(), self.comma.is_some()) {
            (true, false) => Some(Marks::POINT),
            (false, true) => Some(Marks::COMMA),
            (true, true) => None,
            (false, false) => {
                // Both marks in play, or whole thousands written without a mark: what groups must be decimal.
                match (&self.either_point, &self.either_comma) {
                    (Some(_), None) if self.ungrouped => Some(Marks::POINT),
                    (None, Some(_)) if self.ungrouped => Some(Marks::COMMA),
                    _ => None,
                }
            }
        }
    }

    /// True where both marks are proved to be the decimal one.
    pub(crate) fn contradicts_itself(&self) -> bool {
        self.point.is_some() && self.comma.is_some()
    }
}

/// Blanks and apostrophes that group digits: space, no-break, narrow no-break, thin, figure space.
fn is_grouping_blank(c: char) -> bool {
    matches!(
        c,
        ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}' | '\u{2007}' | '\'' | '\u{2019}'
    )
}

/// The minus signs in use: hyphen, minus, en dash, full-width.
fn strip_sign(text: &str) -> (bool, &str) {
    for minus in ["-", "\u{2212}", "\u{2013}", "\u{ff0d}"] {
        if let Some(rest) = text.strip_prefix(minus) {
            return (true, rest.trim_start_matches([' ', '\u{a0}']));
        }
    }
    (false, text.strip_prefix('+').unwrap_or(text))
}

/// Splits off a decimal exponent, `e+03`, `E-4`.
fn split_exponent(text: &str) -> Option<(&str, &str)> {
    match text.find(['e', 'E']) {
        None => Some((text, "")),
        Some(at) => {
            let exponent = &text[at + 1..];
            let digits = exponent.strip_prefix(['+', '-']).unwrap_or(exponent);
            let sound = !digits.is_empty() && digits.len() <= 4 && digits.bytes().all(|b| b.is_ascii_digit());
            sound.then_some((&text[..at], exponent))
        }
    }
}

/// What a cell says about the marks; `None` where it is no number at all.
pub(crate) fn says(cell: &str) -> Option<Says> {
    let (_, body) = strip_sign(cell.trim());
    let (body, exponent) = split_exponent(body)?;
    if !body.bytes().any(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let point = parse(cell, Marks::POINT).is_some();
    let comma = parse(cell, Marks::COMMA).is_some();
    let marked = body.contains(['.', ',']);
    match (point, comma) {
        (false, false) => None,
        (true, true) if !marked => Some(Says::Nothing),
        (true, false) => Some(Says::Point),
        (false, true) => Some(Says::Comma),
        // A number in exponent form is not grouped.
        (true, true) if !exponent.is_empty() => Some(if body.contains('.') {
            Says::Point
        } else {
            Says::Comma
        }),
        (true, true) => Some(if body.contains('.') {
            Says::EitherPoint
        } else {
            Says::EitherComma
        }),
    }
}

/// Reads a number; `None` where the text is none under these marks, or not finite.
///
/// Grouped digits are only taken in the form 1 to 3 digits (the first not zero), then groups of exactly three.
pub(crate) fn parse(cell: &str, marks: Marks) -> Option<f64> {
    if let Some(value) = short(cell.as_bytes(), marks.decimal) {
        return Some(value);
    }
    let (negative, body) = strip_sign(cell.trim());
    let (body, exponent) = split_exponent(body)?;
    let decimal = char::from(marks.decimal);
    let (whole, fraction) = match body.rfind(decimal) {
        Some(at) => (&body[..at], Some(&body[at + 1..])),
        None => (body, None),
    };
    if let Some(fraction) = fraction
        && !fraction.bytes().all(|byte| byte.is_ascii_digit())
    {
        return None;
    }
    let mut plain = String::with_capacity(cell.len() + 1);
    if negative {
        plain.push('-');
    }
    push_whole(whole, marks, &mut plain)?;
    if let Some(fraction) = fraction {
        // `5.` is a number to many programs; `5,` is the end of a clause.
        if fraction.is_empty() && (whole.is_empty() || decimal == ',') {
            return None;
        }
        plain.push('.');
        plain.push_str(fraction);
    } else if whole.is_empty() {
        return None;
    }
    if !exponent.is_empty() {
        plain.push('e');
        plain.push_str(exponent);
    }
    plain.parse().ok().filter(|value: &f64| value.is_finite())
}

/// Appends the digits before the decimal mark, without what groups them.
fn push_whole(whole: &str, marks: Marks, plain: &mut String) -> Option<()> {
    if whole.bytes().all(|byte| byte.is_ascii_digit()) {
        plain.push_str(whole);
        return Some(());
    }
    let is_mark = |c: char| is_grouping_blank(c) || marks.thousands.is_some_and(|mark| c == char::from(mark));
    let mark = whole.chars().find(|c| is_mark(*c))?;
    for (n, group) in whole.split(mark).enumerate() {
        let sound = if n == 0 {
            (1..=3).contains(&group.len()) && !group.starts_with('0')
        } else {
            group.len() == 3
        };
        if !sound || !group.bytes().all(|byte| byte.is_ascii_digit()) {
            return None;
        }
        plain.push_str(group);
    }
    Some(())
}

/// Reads a number of at most 15 digits without grouping or exponent, which is nearly every one; `None` leaves it to
/// the long way.
///
/// Digits and power of ten are then exact as doubles, so that one division rounds correctly. Source: W. D. Clinger, "How
/// to read floating point numbers accurately", 1990 (the fast path; from memory).
fn short(bytes: &[u8], decimal: u8) -> Option<f64> {
    const POWERS: [f64; 16] = [
        1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
    ];
    let (negative, digits) = match bytes {
        [b'-', rest @ ..] => (true, rest),
        rest => (false, rest),
    };
    if digits.is_empty() || digits.len() > 16 {
        return None;
    }
    let (mut value, mut count, mut mark) = (0u64, 0usize, None);
    for byte in digits {
        let digit = byte.wrapping_sub(b'0');
        if digit < 10 {
            value = value * 10 + u64::from(digit);
            count += 1;
        } else if *byte == decimal && mark.is_none() {
            mark = Some(count);
        } else {
            return None;
        }
    }
    let decimals = mark.map_or(0, |mark| count - mark);
    if count == 0 || count > 15 || decimals == 0 && mark.is_some() {
        return None;
    }
    let size = value as f64 / POWERS.get(decimals)?;
    Some(if negative { -size } else { size })
}

/// True for a number that overflows, or a word for infinity: it is meant as a number, but is none.
pub(crate) fn is_unbounded(cell: &str) -> bool {
    let (_, body) = strip_sign(cell.trim());
    let word = body.to_ascii_lowercase();
    if matches!(word.as_str(), "inf" | "infinity" | "1.#inf" | "#inf" | "\u{221e}") {
        return true;
    }
    body.starts_with(|c: char| c.is_ascii_digit())
        && body.contains(['e', 'E'])
        && body.replace(',', ".").parse::<f64>().is_ok_and(f64::is_infinite)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn reads_both_conventions() {
        for (cell, marks, want) in [
            ("12.5", Marks::POINT, Some(12.5)),
            ("-0.25", Marks::POINT, Some(-0.25)),
            ("1,234.5", Marks::POINT, Some(1234.5)),
            ("1.234,5", Marks::COMMA, Some(1234.5)),
            ("1 234,5", Marks::COMMA, Some(1234.5)),
            ("1\u{202f}234\u{202f}567,5", Marks::COMMA, Some(1_234_567.5)),
            ("1'234.5", Marks::POINT, Some(1234.5)),
            ("\u{2212}3,5", Marks::COMMA, Some(-3.5)),
            (",5", Marks::COMMA, Some(0.5)),
            ("5.", Marks::POINT, Some(5.0)),
            ("5,", Marks::COMMA, None),
            ("1,5E+03", Marks::COMMA, Some(1500.0)),
            ("12,34", Marks::POINT, None),
            ("0,123", Marks::POINT, None),
            ("1,23,456", Marks::POINT, None),
            ("1e400", Marks::POINT, None),
            ("", Marks::POINT, None),
            ("-", Marks::POINT, None),
            (".", Marks::POINT, None),
            ("1.2.3", Marks::POINT, None),
            ("12 5", Marks::POINT, None),
            ("NaN", Marks::POINT, None),
            ("0x1f", Marks::POINT, None),
        ] {
            assert_eq!(parse(cell, marks), want, "{cell}");
        }
    }

    #[test]
    fn says_what_a_cell_proves() {
        for (cell, want) in [
            ("12", Some(Says::Nothing)),
            ("12.5", Some(Says::Point)),
            ("12,5", Some(Says::Comma)),
            ("1.234", Some(Says::EitherPoint)),
            ("1,234", Some(Says::EitherComma)),
            ("0,234", Some(Says::Comma)),
            ("1234,567", Some(Says::Comma)),
            ("1.234.567", Some(Says::Comma)),
            ("1,234.5", Some(Says::Point)),
            ("1 234", Some(Says::Nothing)),
            ("1.234e3", Some(Says::Point)),
            ("abc", None),
            ("10:00", None),
        ] {
            assert_eq!(says(cell), want, "{cell}");
        }
    }

    #[test]
    fn whole_thousands_without_marks_prove_the_mark_decimal() {
        let mut evidence = Evidence::default();
        evidence.add("1.234", 2);
        assert_eq!(evidence.proof(), None);
        evidence.add("1500", 3);
        assert_eq!(evidence.proof(), Some(Marks::POINT));
    }

    #[test]
    fn unbounded_numbers_are_known_as_such() {
        assert!(is_unbounded("1e400") && is_unbounded("-inf") && is_unbounded("1,5e999"));
        assert!(!is_unbounded("infra") && !is_unbounded("12"));
    }

    proptest! {
        #[test]
        fn what_is_printed_reads_back(value in -1.0e9..1.0e9f64, decimals in 0usize..6) {
            let point = format!("{value:.decimals$}");
            let comma = point.replace('.', ",");
            let bits = |value: Option<f64>| value.map(f64::to_bits);
            prop_assert_eq!(bits(parse(&point, Marks::POINT)), bits(point.parse().ok()));
            prop_assert_eq!(parse(&comma, Marks::COMMA), point.parse().ok());
        }

        #[test]
        fn no_text_panics(cell in "\\PC{0,20}") {
            let _ = (says(&cell), parse(&cell, Marks::POINT), parse(&cell, Marks::COMMA), is_unbounded(&cell));
        }
    }
}
