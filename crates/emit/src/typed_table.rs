//! Tables with typed columns, as Apache Parquet (<https://parquet.apache.org/docs/file-format/>): what a
//! notebook or a database opens without guessing.
//!
//! Every cell may be empty (null). Text is UTF-8, whole numbers are INT64, numbers DOUBLE, dates DATE, times
//! TIMESTAMP in microseconds of UTC (Parquet's `LogicalTypes`). The bytes depend on the cells alone: not on
//! the clock, the machine or the order in which memory was given out.

use jiff::Timestamp;
use jiff::civil::Date;
use parquet::basic::{Encoding, LogicalType, Repetition, TimeUnit, Type as Physical};
use parquet::column::writer::ColumnWriter;
use parquet::data_type::ByteArray;
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{ColumnPath, Type, TypePtr};
use std::io::{self, Write};
use std::sync::Arc;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// UTF-8.
    Text,
    /// A count or a code.
    Whole,
    /// A measured number.
    Number,
    /// A day.
    Date,
    /// A moment, microseconds of UTC.
    Time,
}

/// The cells of one column, one for each row; `None` is an empty cell, and so is a number that is not finite.
#[derive(Debug, Clone, PartialEq)]
pub enum Cells {
    /// Of a [`Kind::Text`] column.
    Text(Vec<Option<String>>),
    /// Of a [`Kind::Whole`] column.
    Whole(Vec<Option<i64>>),
    /// Of a [`Kind::Number`] column.
    Number(Vec<Option<f64>>),
    /// Of a [`Kind::Date`] column.
    Date(Vec<Option<Date>>),
    /// Of a [`Kind::Time`] column.
    Time(Vec<Option<Timestamp>>),
}

impl Cells {
    /// What they are cells of.
    pub fn kind(&self) -> Kind {
        match self {
            Self::Text(_) => Kind::Text,
            Self::Whole(_) => Kind::Whole,
            Self::Number(_) => Kind::Number,
            Self::Date(_) => Kind::Date,
            Self::Time(_) => Kind::Time,
        }
    }

    /// How many rows.
    pub fn rows(&self) -> usize {
        match self {
            Self::Text(cells) => cells.len(),
            Self::Whole(cells) => cells.len(),
            Self::Number(cells) => cells.len(),
            Self::Date(cells) => cells.len(),
            Self::Time(cells) => cells.len(),
        }
    }
}

/// Writes a table in groups of rows; only one group at a time has to be held.
pub struct TableWriter<W: Write + Send> {
    file: SerializedFileWriter<W>,
    kinds: Vec<Kind>,
}

impl<W: Write + Send> TableWriter<W> {
    /// Begins the file. Names of columns must differ.
    pub fn new(to: W, columns: &[(&str, Kind)]) -> io::Result<Self> {
        let mut properties = WriterProperties::builder().set_created_by("undim".to_owned());
        for (name, kind) in columns {
            if *kind == Kind::Time {
                // Steps of equal length take next to nothing this way.
                let path = ColumnPath::from(*name);
                properties = properties
                    .set_column_dictionary_enabled(path.clone(), false)
                    .set_column_encoding(path, Encoding::DELTA_BINARY_PACKED);
            }
        }
        let schema = schema(columns).map_err(io::Error::other)?;
        let file = SerializedFileWriter::new(to, schema, Arc::new(properties.build()));
        Ok(Self {
            file: file.map_err(io::Error::other)?,
            kinds: columns.iter().map(|(_, kind)| *kind).collect(),
        })
    }

    /// Appends rows, a column each, in the order and of the kinds that the table was begun with.
    ///
    /// A year of minutes fits one call; many small calls make a large file.
    pub fn append(&mut self, columns: &[Cells]) -> io::Result<()> {
        let rows = columns.first().map_or(0, Cells::rows);
        let fits = columns.iter().map(Cells::kind).eq(self.kinds.iter().copied())
            && columns.iter().all(|column| column.rows() == rows);
        if !fits {
            return Err(io::Error::new(
                io::ErrorKind::InvalidInput,
                "the columns differ from those of the table, or in length",
            ));
        }
        if rows == 0 {
            return Ok(());
        }
        self.append_checked(columns).map_err(io::Error::other)
    }

    fn append_checked(&mut self, columns: &[Cells]) -> Result<(), ParquetError> {
        let mut group = self.file.next_row_group()?;
        for cells in columns {
            if let Some(mut column) = group.next_column()? {
                write_column(column.untyped(), cells)?;
                column.close()?;
            }
        }
        group.close()?;
        Ok(())
    }

    /// Ends the file.
    pub fn finish(self) -> io::Result<W> {
        self.file.into_inner().map_err(io::Error::other)
    }
}

fn schema(columns: &[(&str, Kind)]) -> Result<TypePtr, ParquetError> {
    let fields = columns.iter().map(|(name, kind)| {
        let (physical, logical) = match kind {
            Kind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
            Kind::Whole => (Physical::INT64, None),
            Kind::Number => (Physical::DOUBLE, None),
            Kind::Date => (Physical::INT32, Some(LogicalType::Date)),
            Kind::Time => (
                Physical::INT64,
                Some(LogicalType::timestamp(true, TimeUnit::MICROS)),
            ),
        };
        let field = Type::primitive_type_builder(name, physical)
            .with_repetition(Repetition::OPTIONAL)
            .with_logical_type(logical);
        field.build().map(Arc::new)
    });
    let fields = fields.collect::<Result<Vec<TypePtr>, _>>()?;
    let table = Type::group_type_builder("table").with_fields(fields).build()?;
    Ok(Arc::new(table))
}

fn write_column(column: &mut ColumnWriter<'_>, cells: &Cells) -> Result<(), ParquetError> {
    match (column, cells) {
        (ColumnWriter::ByteArrayColumnWriter(column), Cells::Text(cells)) => {
            let (values, levels) = present(cells, |text| Some(ByteArray::from(text.as_str())));
            column.write_batch(&values, Some(&levels), None)?;
        }
        (ColumnWriter::Int64ColumnWriter(column), Cells::Whole(cells)) => {
            let (values, levels) = present(cells, |whole| Some(*whole));
            column.write_batch(&values, Some(&levels), None)?;
        }
        (ColumnWriter::DoubleColumnWriter(column), Cells::Number(cells)) => {
            let (values, levels) = present(cells, |number| number.is_finite().then_some(*number));
            column.write_batch(&values, Some(&levels), None)?;
        }
        (ColumnWriter::Int32ColumnWriter(column), Cells::Date(cells)) => {
            let (values, levels) = present(cells, |date| Some(days_since_1970(*date)));
            column.write_batch(&values, Some(&levels), None)?;
        }
        (ColumnWriter::Int64ColumnWriter(column), Cells::Time(cells)) => {
            let (values, levels) = present(cells, |time| Some(time.as_microsecond()));
            column.write_batch(&values, Some(&levels), None)?;
        }
        _ => {
            return Err(ParquetError::General(
                "a column is not of its schema's kind".to_owned(),
            ));
        }
    }
    Ok(())
}

/// What is there, and for each row whether it is (Parquet's definition levels).
fn present<C, V>(cells: &[Option<C>], value: impl Fn(&C) -> Option<V>) -> (Vec<V>, Vec<i16>) {
    let mut values = Vec::with_capacity(cells.len());
    let mut levels = Vec::with_capacity(cells.len());
    for cell in cells {
        let found = cell.as_ref().and_then(&value);
        levels.push(i16::from(found.is_some()));
        values.extend(found);
    }
    (values, levels)
}

fn days_since_1970(date: Date) -> i32 {
    let hours = jiff::civil::date(1970, 1, 1).duration_until(date).as_hours();
    i32::try_from(hours / 24).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use parquet::file::reader::{FileReader, SerializedFileReader};

    const COLUMNS: [(&str, Kind); 5] = [
        ("name", Kind::Text),
        ("n", Kind::Whole),
        ("ppfd", Kind::Number),
        ("date", Kind::Date),
        ("time", Kind::Time),
    ];

    fn cells() -> Vec<Cells> {
        vec![
            Cells::Text(vec![
                Some("reef, \"top\"".into()),
                None,
                Some("återspegling".into()),
            ]),
            Cells::Whole(vec![Some(-1), Some(i64::MAX), None]),
            Cells::Number(vec![Some(0.1), None, Some(f64::NAN)]),
            Cells::Date(vec![Some(date(1969, 12, 31)), Some(date(2026, 3, 14)), None]),
            Cells::Time(vec![
                None,
                Some(Timestamp::UNIX_EPOCH),
                Some("2026-03-14T12:00:00.000001Z".parse().expect("a time")),
            ]),
        ]
    }

    fn written(groups: usize) -> Vec<u8> {
        let mut table = TableWriter::new(Vec::new(), &COLUMNS).expect("begun");
        for _ in 0..groups {
            table.append(&cells()).expect("written");
        }
        table.finish().expect("ended")
    }

    #[test]
    fn what_is_written_reads_back_by_the_formats_own_library() {
        let reader = read(&written(2));
        let rows: Vec<String> = reader
            .get_row_iter(None)
            .expect("rows")
            .map(|row| row.expect("a row").to_string())
            .collect();
        assert_eq!(rows.len(), 6);
        assert_eq!(rows[..3], rows[3..]);
        assert_eq!(
            rows[..3],
            [
                "{name: \"reef, \"top\"\", n: -1, ppfd: 0.1, date: 1969-12-31, time: null}",
                "{name: null, n: 9223372036854775807, ppfd: null, date: 2026-03-14, time: 1970-01-01 00:00:00.000000 +00:00}",
                "{name: \"återspegling\", n: null, ppfd: null, date: null, time: 2026-03-14 12:00:00.000001 +00:00}",
            ]
        );
    }

    fn read(bytes: &[u8]) -> SerializedFileReader<std::fs::File> {
        let mut file = tempfile::tempfile().expect("a file");
        file.write_all(bytes).expect("written");
        SerializedFileReader::new(file).expect("a Parquet file")
    }

    #[test]
    fn the_same_cells_give_the_same_bytes_on_any_thread() {
        let here = written(3);
        let there = std::thread::spawn(|| written(3)).join().expect("ended");
        assert_eq!(here, there);
        assert!(here.starts_with(b"PAR1") && here.ends_with(b"PAR1"));
    }

    #[test]
    fn a_table_without_rows_is_a_table() {
        let mut table = TableWriter::new(Vec::new(), &COLUMNS).expect("begun");
        let none = cells().into_iter().map(|column| match column {
            Cells::Text(_) => Cells::Text(Vec::new()),
            Cells::Whole(_) => Cells::Whole(Vec::new()),
            Cells::Number(_) => Cells::Number(Vec::new()),
            Cells::Date(_) => Cells::Date(Vec::new()),
            Cells::Time(_) => Cells::Time(Vec::new()),
        });
        table.append(&none.collect::<Vec<_>>()).expect("nothing to write");
        let reader = read(&table.finish().expect("ended"));
        assert_eq!(reader.metadata().file_metadata().num_rows(), 0);
    }

    #[test]
    fn columns_that_do_not_fit_are_refused() {
        let mut table = TableWriter::new(Vec::new(), &COLUMNS).expect("begun");
        let mut odd = cells();
        odd.pop();
        assert!(table.append(&odd).is_err());
        odd.push(Cells::Whole(vec![None, None, None]));
        assert!(table.append(&odd).is_err());
        odd[4] = Cells::Time(vec![None]);
        assert!(table.append(&odd).is_err());
        table.append(&cells()).expect("the right ones still go in");
    }
}
