//! The two ways a table is written as CSV: as the standard has it, and for spreadsheets of countries where the
//! comma is the decimal mark.
//!
//! The standard file is always written. The other is a second copy beside it, `*.eu.csv`: cells divided by
//! semicolons, decimal commas in numbers, all else the same (formats, section 6).

use std::borrow::Cow;
use std::io;

/// For whom a table is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum CsvStyle {
    /// RFC 4180: commas between cells, points in numbers.
    #[default]
    Standard,
    /// Semicolons between cells, commas in numbers.
    SpreadsheetEu,
}

impl CsvStyle {
    /// What stands between cells.
    pub fn delimiter(self) -> char {
        match self {
            Self::Standard => ',',
            Self::SpreadsheetEu => ';',
        }
    }

    /// The decimal mark.
    pub fn decimal_mark(self) -> char {
        match self {
            Self::Standard => '.',
            Self::SpreadsheetEu => ',',
        }
    }

    /// The file of a table: `stations.csv`, `stations.eu.csv`.
    pub fn file_name(self, table: &str) -> String {
        match self {
            Self::Standard => format!("{table}.csv"),
            Self::SpreadsheetEu => format!("{table}.eu.csv"),
        }
    }

    /// A number's text, written with a point, as it stands in a cell.
    pub(crate) fn number(self, text: &str) -> Cow<'_, str> {
        match self {
            Self::Standard => Cow::Borrowed(text),
            Self::SpreadsheetEu => Cow::Owned(text.replace('.', ",")),
        }
    }

    /// A CSV writer as all our files use it: `\n`, quotes only where RFC 4180 asks for them.
    pub(crate) fn writer<W: io::Write>(self, to: W) -> csv::Writer<W> {
        csv::WriterBuilder::new()
            .delimiter(self.delimiter() as u8)
            .terminator(csv::Terminator::Any(b'\n'))
            .quote_style(csv::QuoteStyle::Necessary)
            .has_headers(false)
            .buffer_capacity(1 << 16)
            .from_writer(to)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_semicolon_inside_a_cell_is_quoted_and_a_comma_is_not() {
        let mut csv = CsvStyle::SpreadsheetEu.writer(Vec::new());
        csv.write_record(["a;b", "c,d", &CsvStyle::SpreadsheetEu.number("-1.50")])
            .expect("written");
        let bytes = csv.into_inner().expect("flushed");
        assert_eq!(String::from_utf8(bytes).expect("UTF-8"), "\"a;b\";c,d;-1,50\n");
        assert_eq!(CsvStyle::SpreadsheetEu.file_name("history"), "history.eu.csv");
        assert_eq!(CsvStyle::Standard.number("-1.50"), "-1.50");
    }
}
