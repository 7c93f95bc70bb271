//! Time formats in strftime letters, by the rules of the public formats, section 9.

/// One piece of a format.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Item {
    Year,
    ShortYear,
    Month,
    Day,
    DayOfYear,
    Hour,
    Hour12,
    Minute,
    /// Whole seconds, with decimals where the text has some.
    Second,
    /// Decimals of a second on their own.
    Fraction,
    /// `%H%M` run together: 1 to 4 digits, the last two the minutes.
    HourMinute,
    MonthName,
    WeekdayName,
    HalfOfDay,
    Offset,
    /// Seconds since 1970 and thousandths of them.
    Unix,
    UnixMillis,
    /// Any run of blanks, or none.
    Blank,
    Literal(char),
    /// Only in formats that were found out: seconds after a mark where the text has some.
    MaybeSeconds(char),
    /// Only in formats that were found out: an offset where the text has one.
    MaybeOffset,
}

/// A format, ready to read with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Format {
    /// As it is written in a layout.
    pub(crate) text: String,
    pub(crate) items: Vec<Item>,
    /// Digits a field takes at most; fields that touch take exactly their width.
    pub(crate) fixed: Vec<bool>,
    /// Written `YYYY-MM-DD`, a blank or `T`, `HH:MM:SS`: read the quick way.
    pub(crate) is_iso: bool,
}

impl Format {
    /// Compiles a format.
    ///
    /// The error names the letter that is not known.
    pub(crate) fn new(text: &str) -> Result<Format, String> {
        let mut items = Vec::new();
        let mut rest = text.chars().peekable();
        while let Some(c) = rest.next() {
            if c.is_whitespace() {
                items.push(Item::Blank);
                continue;
            }
            if c != '%' {
                items.push(Item::Literal(c));
                continue;
            }
            let mut letter = rest.next();
            while matches!(letter, Some('-' | '_' | '0' | '.' | 'E' | 'O')) {
                letter = rest.next();
            }
            let Some(letter) = letter else {
                return Err("the time format ends in a lone `%`".to_owned());
            };
            expand(letter, &mut items)?;
        }
        Ok(Format::from_items(text.to_owned(), &items))
    }

    /// Puts a format together from its pieces; `text` is how a layout would write it.
    pub(crate) fn from_items(text: String, items: &[Item]) -> Format {
        let items = join_hour_and_minute(items);
        let fixed = items
            .iter()
            .enumerate()
            .map(|(n, item)| is_number(*item) && items.get(n + 1).is_some_and(|next| is_number(*next)))
            .collect();
        let is_iso = is_iso(&items);
        Format {
            text,
            items,
            fixed,
            is_iso,
        }
    }

    /// True where the format tells the year.
    pub(crate) fn has_year(&self) -> bool {
        self.items
            .iter()
            .any(|item| matches!(item, Item::Year | Item::ShortYear | Item::Unix | Item::UnixMillis))
    }

    /// True where the format tells some part of the date.
    pub(crate) fn has_date(&self) -> bool {
        self.has_year()
            || self
                .items
                .iter()
                .any(|item| matches!(item, Item::Month | Item::MonthName | Item::Day | Item::DayOfYear))
    }

    /// True where the format tells the hour.
    pub(crate) fn has_hour(&self) -> bool {
        self.items.iter().any(|item| {
            matches!(
                item,
                Item::Hour | Item::Hour12 | Item::HourMinute | Item::Unix | Item::UnixMillis
            )
        })
    }
}

/// Appends the pieces one letter stands for.
fn expand(letter: char, items: &mut Vec<Item>) -> Result<(), String> {
    use Item::{
        Blank, Day, DayOfYear, Fraction, HalfOfDay, Hour, Hour12, Literal, Minute, Month, MonthName, Offset,
        Second, ShortYear, Unix, WeekdayName, Year,
    };
    let pieces: &[Item] = match letter {
        'Y' => &[Year],
        'y' => &[ShortYear],
        'm' => &[Month],
        'd' => &[Day],
        'e' => &[Blank, Day],
        'j' => &[DayOfYear],
        'H' => &[Hour],
        'k' => &[Blank, Hour],
        'I' => &[Hour12],
        'l' => &[Blank, Hour12],
        'M' => &[Minute],
        'S' => &[Second],
        'f' => &[Fraction],
        'b' | 'B' | 'h' => &[MonthName],
        'a' | 'A' => &[WeekdayName],
        'p' | 'P' => &[HalfOfDay],
        'z' | 'Z' | ':' => &[Offset],
        's' => &[Unix],
        'T' => &[Hour, Literal(':'), Minute, Literal(':'), Second],
        'R' => &[Hour, Literal(':'), Minute],
        'F' => &[Year, Literal('-'), Month, Literal('-'), Day],
        'D' => &[Month, Literal('/'), Day, Literal('/'), ShortYear],
        'n' | 't' => &[Blank],
        '%' => &[Literal('%')],
        other => {
            return Err(format!(
                "the time format has `%{other}`, which is none of the letters known here"
            ));
        }
    };
    items.extend_from_slice(pieces);
    Ok(())
}

/// `%H%M` with nothing between and no digits before or after becomes one piece.
fn join_hour_and_minute(items: &[Item]) -> Vec<Item> {
    let mut out: Vec<Item> = Vec::with_capacity(items.len());
    let mut n = 0;
    while n < items.len() {
        let joined = items[n..].starts_with(&[Item::Hour, Item::Minute])
            && !out.last().is_some_and(|before| is_number(*before))
            && !items.get(n + 2).is_some_and(|after| is_number(*after));
        if joined {
            out.push(Item::HourMinute);
            n += 2;
        } else {
            out.push(items[n]);
            n += 1;
        }
    }
    out
}

fn is_number(item: Item) -> bool {
    matches!(
        item,
        Item::Year
            | Item::ShortYear
            | Item::Month
            | Item::Day
            | Item::DayOfYear
            | Item::Hour
            | Item::Hour12
            | Item::Minute
            | Item::Second
            | Item::Fraction
            | Item::HourMinute
    )
}

fn is_iso(items: &[Item]) -> bool {
    use Item::{Blank, Day, Hour, Literal, MaybeOffset, MaybeSeconds, Minute, Month, Offset, Second, Year};
    let date = [Year, Literal('-'), Month, Literal('-'), Day];
    let Some(rest) = items.strip_prefix(&date) else {
        return false;
    };
    let Some((Blank | Literal('T'), rest)) = rest.split_first() else {
        return false;
    };
    let Some(rest) = rest.strip_prefix(&[Hour, Literal(':'), Minute]) else {
        return false;
    };
    let ([Literal(':'), Second, rest @ ..] | [MaybeSeconds(':'), rest @ ..]) = rest else {
        return false;
    };
    matches!(rest, [] | [Offset | MaybeOffset])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn compiles_and_refuses() {
        assert!(Format::new("%Y-%m-%d %H:%M:%S").unwrap().is_iso);
        assert!(Format::new("%FT%T%z").unwrap().is_iso);
        assert!(!Format::new("%d.%m.%Y %H:%M").unwrap().is_iso);
        assert!(Format::new("%d.%m. %H:%M").unwrap().has_date());
        assert!(!Format::new("%d.%m. %H:%M").unwrap().has_year());
        assert_eq!(Format::new("%H%M").unwrap().items, [Item::HourMinute]);
        assert!(Format::new("%Q").unwrap_err().contains("%Q"));
        assert!(Format::new("12%").is_err());
    }
}
