//! `history.csv` and `history.parquet`: one row per station and survey of a tank's whole past, by survey
//! start (formats, section 6).
//!
//! Both hold the same cells. In the Parquet file numbers are numbers and dates are dates, so that a notebook
//! or a database need not guess.

use crate::text_cell::guarded;
use crate::typed_table::{Cells, Kind, TableWriter};
use crate::{CsvStyle, stations_csv};
use jiff::civil::Date;
use std::io;
use undim_model::{Judgement, Survey};

/// A survey and what is said of it.
pub type Past<'a> = (&'a Survey, Option<&'a Judgement>);

/// Writes `history.csv`: `survey,date` and the columns of `stations.csv`; the date is the survey's own, in the
/// site's zone. Surveys may come in any order.
pub fn write<'a, W: io::Write>(
    to: W,
    surveys: impl IntoIterator<Item = Past<'a>>,
    style: CsvStyle,
) -> io::Result<()> {
    let mut csv = style.writer(to);
    csv.write_record(["survey", "date"].into_iter().chain(stations_csv::COLUMNS))?;
    each_row(surveys, |survey, date, row| {
        csv.write_field(survey.as_bytes())?;
        csv.write_field(date.to_string())?;
        Ok(csv.write_record(stations_csv::styled(row, style))?)
    })?;
    csv.flush()
}

/// The kind of each column, in the order of `history.csv`.
const KINDS: [Kind; 16] = [
    Kind::Text,
    Kind::Date,
    Kind::Text,
    Kind::Number,
    Kind::Number,
    Kind::Number,
    Kind::Whole,
    Kind::Whole,
    Kind::Number,
    Kind::Number,
    Kind::Number,
    Kind::Number,
    Kind::Whole,
    Kind::Number,
    Kind::Number,
    Kind::Text,
];

/// Writes `history.parquet`: the same columns and cells with their types. An empty cell is null.
pub fn write_parquet<'a, W: io::Write + Send>(
    to: W,
    surveys: impl IntoIterator<Item = Past<'a>>,
) -> io::Result<W> {
    let mut texts: [Vec<Option<String>>; 14] = Default::default();
    let (mut ids, mut dates) = (Vec::new(), Vec::new());
    each_row(surveys, |survey, date, row| {
        ids.push(Some(survey.to_owned()));
        dates.push(Some(date));
        for (column, cell) in texts.iter_mut().zip(row) {
            column.push((!cell.is_empty()).then_some(cell));
        }
        Ok(())
    })?;
    let rest = texts
        .into_iter()
        .zip(&KINDS[2..])
        .map(|(column, kind)| match kind {
            // What was written with the columns' own decimals is read back: the same number as in the CSV file.
            Kind::Number => Cells::Number(column.into_iter().map(|cell| cell?.parse().ok()).collect()),
            Kind::Whole => Cells::Whole(column.into_iter().map(|cell| cell?.parse().ok()).collect()),
            _ => Cells::Text(column),
        });
    let columns: Vec<Cells> = [Cells::Text(ids), Cells::Date(dates)]
        .into_iter()
        .chain(rest)
        .collect();
    let names = ["survey", "date"].into_iter().chain(stations_csv::COLUMNS);
    let named: Vec<(&str, Kind)> = names.zip(KINDS).collect();
    let mut table = TableWriter::new(to, &named)?;
    table.append(&columns)?;
    table.finish()
}

fn each_row<'a>(
    surveys: impl IntoIterator<Item = Past<'a>>,
    mut row: impl FnMut(&str, Date, [String; 14]) -> io::Result<()>,
) -> io::Result<()> {
    let mut surveys: Vec<_> = surveys.into_iter().collect();
    surveys.sort_by(|(a, _), (b, _)| (a.start, &a.id).cmp(&(b.start, &b.id)));
    for (survey, judgement) in surveys {
        let changes = stations_csv::Changes::of(judgement);
        let id = guarded(&survey.id);
        for station in &survey.stations {
            row(&id, survey.date, stations_csv::row(station, &changes))?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples;
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use std::io::Write as _;

    fn two_surveys() -> (Survey, Survey, Judgement) {
        let (later, judgement) = samples::small();
        let mut first = later.clone();
        first.id = "2025-10-11-noon".into();
        first.date = jiff::civil::date(2025, 10, 11);
        first.start = "2025-10-11T11:00:00Z".parse().expect("a time");
        first.stations.truncate(1);
        (first, later, judgement)
    }

    fn text(style: CsvStyle) -> String {
        let (first, later, judgement) = two_surveys();
        let mut bytes = Vec::new();
        write(&mut bytes, [(&later, Some(&judgement)), (&first, None)], style).expect("written");
        String::from_utf8(bytes).expect("UTF-8")
    }

    #[test]
    fn ordered_by_survey_start_with_the_columns_of_the_stations() {
        assert_eq!(
            text(CsvStyle::Standard),
            "survey,date,station,from_left_cm,from_bottom_cm,from_front_cm,readings,used,ppfd,u_ppfd,\
             u_own_ppfd,u_shared_ppfd,flag,change_percent,u_change_percent,baseline\n\
             2025-10-11-noon,2025-10-11,w1,12.00,8.00,15.00,5,5,118.000,5.000,3.000,4.000,1,,,\n\
             2026-03-14-noon,2026-03-14,w1,12.00,8.00,15.00,5,5,118.000,5.000,3.000,4.000,1,-16.25,2.00,2025-10-11-noon\n\
             2026-03-14-noon,2026-03-14,w2,24.00,30.00,33.50,5,0,,,,,4,,,\n"
        );
    }

    #[test]
    fn the_second_copy_has_semicolons_and_decimal_commas() {
        let lines = text(CsvStyle::SpreadsheetEu);
        let second = lines.lines().nth(2).expect("a row");
        assert_eq!(
            second,
            "2026-03-14-noon;2026-03-14;w1;12,00;8,00;15,00;5;5;118,000;5,000;3,000;4,000;1;-16,25;2,00;2025-10-11-noon"
        );
    }

    #[test]
    fn the_typed_table_holds_the_same_cells() {
        let (first, later, judgement) = two_surveys();
        let bytes = write_parquet(Vec::new(), [(&later, Some(&judgement)), (&first, None)]).expect("written");
        let mut file = tempfile::tempfile().expect("a file");
        file.write_all(&bytes).expect("written");
        let reader = SerializedFileReader::new(file).expect("a Parquet file");
        let rows: Vec<String> = reader
            .get_row_iter(None)
            .expect("rows")
            .map(|row| row.expect("a row").to_string())
            .collect();
        assert_eq!(
            rows[1..],
            [
                "{survey: \"2026-03-14-noon\", date: 2026-03-14, station: \"w1\", from_left_cm: 12.0, from_bottom_cm: 8.0, \
                 from_front_cm: 15.0, readings: 5, used: 5, ppfd: 118.0, u_ppfd: 5.0, u_own_ppfd: 3.0, u_shared_ppfd: 4.0, \
                 flag: 1, change_percent: -1.625E1, u_change_percent: 2.0, baseline: \"2025-10-11-noon\"}",
                "{survey: \"2026-03-14-noon\", date: 2026-03-14, station: \"w2\", from_left_cm: 24.0, from_bottom_cm: 30.0, \
                 from_front_cm: 33.5, readings: 5, used: 0, ppfd: null, u_ppfd: null, u_own_ppfd: null, u_shared_ppfd: null, \
                 flag: 4, change_percent: null, u_change_percent: null, baseline: null}",
            ]
        );
    }
}
