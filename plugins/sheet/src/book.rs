//! A book through the reader of spreadsheets: its sheets, and each sheet cell by cell.

use crate::check::{Kind, MOST_CELLS, too_many_cells};
use calamine::{Data, DataRef, Dimensions, Ods, Range, Reader, SheetVisible, Xls, Xlsx};
use std::io::Cursor;
use undim_sdk::Failure;

/// Most rows and columns of a sheet, from 0.
const LAST_ROW: u32 = 1_048_575;
const LAST_COLUMN: u32 = 4095;

/// What a cell holds.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Value {
    Number(f64),
    Text(String),
    Truth(bool),
    /// A date, a time of day, or both.
    Moment(Moment),
    Error(String),
    /// A formula whose result the book doesn't hold, or that has none.
    NoResult,
}

/// A date, a time of day, or both.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Moment {
    pub(crate) date: Option<(u16, u8, u8)>,
    /// Since midnight, or a duration.
    pub(crate) millis: Option<u64>,
}

/// A sheet.
#[derive(Debug, Clone)]
pub(crate) struct Sheet {
    pub(crate) name: String,
    pub(crate) is_hidden: bool,
    /// It holds cells; a chart does not.
    pub(crate) is_table: bool,
}

/// An open book.
pub(crate) enum Book<'a> {
    Xlsx(Box<Xlsx<Cursor<&'a [u8]>>>),
    Xls(Box<Xls<Cursor<&'a [u8]>>>),
    Ods(Box<Ods<Cursor<&'a [u8]>>>),
}

impl<'a> Book<'a> {
    pub(crate) fn open(bytes: &'a [u8], kind: Kind) -> Result<Book<'a>, Failure> {
        let bytes = Cursor::new(bytes);
        Ok(match kind {
            Kind::Xlsx => Book::Xlsx(Box::new(Xlsx::new(bytes).map_err(|error| broken(&error))?)),
            Kind::Xls => Book::Xls(Box::new(Xls::new(bytes).map_err(|error| broken(&error))?)),
            Kind::Ods => Book::Ods(Box::new(Ods::new(bytes).map_err(|error| broken(&error))?)),
        })
    }

    pub(crate) fn sheets(&self) -> Vec<Sheet> {
        let sheets = match self {
            Book::Xlsx(book) => book.sheets_metadata(),
            Book::Xls(book) => book.sheets_metadata(),
            Book::Ods(book) => book.sheets_metadata(),
        };
        sheets
            .iter()
            .map(|sheet| Sheet {
                name: sheet.name.clone(),
                is_hidden: sheet.visible != SheetVisible::Visible,
                is_table: sheet.typ == calamine::SheetType::WorkSheet,
            })
            .collect()
    }

    /// Days are counted from 1904.
    pub(crate) fn counts_from_1904(&self) -> bool {
        match self {
            Book::Xlsx(book) => book.has_1904_epoch(),
            Book::Xls(book) => book.has_1904_epoch(),
            // The format writes dates as text.
            Book::Ods(_) => false,
        }
    }

    /// Regions of cells that were made one; the old open format's are not known.
    pub(crate) fn merged(&mut self, sheet: &str) -> Vec<Dimensions> {
        match self {
            Book::Xlsx(book) => book.merge_cells_by_sheet_name(sheet).unwrap_or_default(),
            Book::Xls(book) => book.merge_cells_by_sheet_name(sheet).unwrap_or_default(),
            Book::Ods(_) => Vec::new(),
        }
    }

    /// Hands over every cell that holds something, row by row: row and column from 0.
    pub(crate) fn each(
        &mut self,
        sheet: &str,
        take: &mut dyn FnMut(u32, u32, Value) -> Result<(), Failure>,
    ) -> Result<(), Failure> {
        match self {
            Book::Xlsx(book) => {
                let mut reader = book
                    .worksheet_cells_reader(sheet)
                    .map_err(|error| broken(&error))?;
                let (mut count, mut last) = (0, 0);
                while let Some(cell) = reader.next_cell_with_formula().map_err(|error| broken(&error))? {
                    let (row, column) = cell.pos;
                    count += 1;
                    if count > MOST_CELLS {
                        return Err(too_many_cells(count));
                    }
                    if row < last {
                        return Err(Failure::unusable(
                            u64::from(row) + 1,
                            0,
                            "the rows of the sheet are out of order: the book is damaged; save it again",
                        ));
                    }
                    last = row;
                    let value = match cell.value {
                        DataRef::Empty => cell.formula.map(|_| Value::NoResult),
                        DataRef::SharedString(text) => text_of(text),
                        other => value_of(&Data::from(other)),
                    };
                    if let Some(value) = value {
                        fits(row, column)?;
                        take(row, column, value)?;
                    }
                }
                Ok(())
            }
            Book::Xls(book) => {
                let range = book.worksheet_range(sheet).map_err(|error| broken(&error))?;
                each_of(&range, &Range::default(), take)
            }
            Book::Ods(book) => {
                let range = book.worksheet_range(sheet).map_err(|error| broken(&error))?;
                // An error's cell looks empty here, but for its formula.
                let formulas = book.worksheet_formula(sheet).unwrap_or_default();
                each_of(&range, &formulas, take)
            }
        }
    }
}

fn each_of(
    range: &Range<Data>,
    formulas: &Range<String>,
    take: &mut dyn FnMut(u32, u32, Value) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let place = |start: Option<(u32, u32)>, row: usize, column: usize| {
        let (first_row, first_column) = start.unwrap_or_default();
        (first_row + row as u32, first_column + column as u32)
    };
    let mut without = formulas
        .used_cells()
        .map(|(row, column, _)| place(formulas.start(), row, column))
        .filter(|at| range.get_value(*at).is_none_or(|cell| value_of(cell).is_none()))
        .peekable();
    for (row, column, cell) in range.used_cells() {
        let at = place(range.start(), row, column);
        while let Some((row, column)) = without.next_if(|before| *before < at) {
            fits(row, column)?;
            take(row, column, Value::NoResult)?;
        }
        if let Some(value) = value_of(cell) {
            fits(at.0, at.1)?;
            take(at.0, at.1, value)?;
        }
    }
    for (row, column) in without {
        fits(row, column)?;
        take(row, column, Value::NoResult)?;
    }
    Ok(())
}

fn fits(row: u32, column: u32) -> Result<(), Failure> {
    if row > LAST_ROW || column > LAST_COLUMN {
        let text = format!(
            "a cell stands in column {}, and up to {} are read; it is no table of readings",
            u64::from(column) + 1,
            LAST_COLUMN + 1
        );
        return Err(Failure::unusable(u64::from(row) + 1, 0, text));
    }
    Ok(())
}

fn broken(error: &dyn std::fmt::Display) -> Failure {
    let why: String = error
        .to_string()
        .chars()
        .filter(|c| !c.is_control())
        .take(200)
        .collect();
    let text = if why.to_lowercase().contains("password") {
        "the book is locked with a password; save it without one".to_owned()
    } else {
        format!("the book can't be read ({why}); open it in a spreadsheet program and save it again")
    };
    Failure::unusable(0, 0, text)
}

fn text_of(text: &str) -> Option<Value> {
    const ERRORS: [&str; 7] = ["#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!"];
    // The open format keeps an error as its text, or by a number.
    let is_error = ERRORS.contains(&text) || text.starts_with("Err:");
    // A cell of blanks holds nothing.
    match text.trim() {
        "" => None,
        _ if is_error => Some(Value::Error(text.to_owned())),
        _ => Some(Value::Text(text.to_owned())),
    }
}

fn value_of(data: &Data) -> Option<Value> {
    Some(match data {
        Data::Empty => return None,
        Data::Int(number) => Value::Number(*number as f64),
        Data::Float(number) => Value::Number(*number),
        Data::String(text) => return text_of(text),
        Data::Bool(truth) => Value::Truth(*truth),
        Data::Error(error) => Value::Error(error.to_string()),
        Data::DateTime(moment) if moment.is_duration() => Value::Moment(Moment {
            date: None,
            millis: Some((moment.as_f64().clamp(0.0, 1e6) * 86_400_000.0).round() as u64),
        }),
        // A count of days that no date can have is left as it is.
        Data::DateTime(moment) if !(0.0..2_958_466.0).contains(&moment.as_f64()) => {
            Value::Number(moment.as_f64())
        }
        Data::DateTime(moment) => {
            let (year, month, day, hour, minute, second, milli) = moment.to_ymd_hms_milli();
            let of_day = ((u64::from(hour) * 60 + u64::from(minute)) * 60 + u64::from(second)) * 1000
                + u64::from(milli);
            let has_date = moment.as_f64() >= 1.0;
            Value::Moment(Moment {
                date: has_date.then_some((year, month, day)),
                millis: (of_day > 0 || !has_date).then_some(of_day),
            })
        }
        Data::DateTimeIso(text) => match iso(text) {
            Some(moment) => Value::Moment(moment),
            None => return text_of(text),
        },
        Data::DurationIso(text) => match duration(text) {
            Some(millis) => Value::Moment(Moment {
                date: None,
                millis: Some(millis),
            }),
            None => return text_of(text),
        },
    })
}

/// `2026-04-03` or `2026-04-03T10:00:05.25`, as the open format writes dates (ODF 1.3, part 3, 19.369).
fn iso(text: &str) -> Option<Moment> {
    let (date, time) = match text.split_once('T') {
        Some((date, time)) => (date, Some(time)),
        None => (text, None),
    };
    let mut parts = date.split('-');
    let date = (
        parts.next()?.parse().ok()?,
        parts.next()?.parse().ok()?,
        parts.next()?.parse().ok()?,
    );
    let millis = match time {
        None => None,
        Some(time) => {
            let mut parts = time.split(':');
            let (hours, minutes): (u64, u64) = (parts.next()?.parse().ok()?, parts.next()?.parse().ok()?);
            let seconds: f64 = parts.next().unwrap_or("0").parse().ok()?;
            let sound = hours < 25 && minutes < 60 && (0.0..61.0).contains(&seconds);
            let millis = (hours * 60 + minutes) * 60_000 + (seconds * 1000.0).round() as u64;
            Some(sound.then_some(millis)?).filter(|millis| *millis > 0)
        }
    };
    parts.next().is_none().then_some(Moment {
        date: Some(date),
        millis,
    })
}

/// `PT10H00M05S` in milliseconds.
fn duration(text: &str) -> Option<u64> {
    let mut rest = text.strip_prefix("PT")?;
    let mut millis = 0.0;
    for (mark, factor) in [('H', 3_600_000.0), ('M', 60_000.0), ('S', 1000.0)] {
        if let Some((number, after)) = rest.split_once(mark) {
            let number: f64 = number.replace(',', ".").parse().ok()?;
            millis += number * factor;
            rest = after;
        }
    }
    (rest.is_empty() && (0.0..1e12).contains(&millis)).then(|| millis.round() as u64)
}

/// A cell's name, as `C7`; row and column from 0.
pub(crate) fn cell_name(row: u32, column: u32) -> String {
    let mut letters = Vec::new();
    let mut rest = u64::from(column) + 1;
    while rest > 0 {
        rest -= 1;
        letters.push((b'A' + (rest % 26) as u8) as char);
        rest /= 26;
    }
    letters.iter().rev().collect::<String>() + &(u64::from(row) + 1).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_have_their_usual_names() {
        assert_eq!(cell_name(0, 0), "A1");
        assert_eq!(cell_name(6, 25), "Z7");
        assert_eq!(cell_name(9, 26), "AA10");
        assert_eq!(cell_name(0, 16_383), "XFD1");
    }

    #[test]
    fn dates_of_the_open_format() {
        let moment = iso("2026-04-03T10:00:05.25").unwrap();
        assert_eq!(moment.date, Some((2026, 4, 3)));
        assert_eq!(moment.millis, Some(36_005_250));
        assert_eq!(iso("2026-04-03").unwrap().millis, None);
        assert_eq!(iso("2026-04"), None);
        assert_eq!(duration("PT10H00M05S"), Some(36_005_000));
        assert_eq!(duration("P1D"), None);
    }
}
