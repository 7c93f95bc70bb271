//! `history.csv`: one row per station and survey of a tank's whole past, by survey start (formats,
//! section 6).

use crate::stations_csv;
use crate::text_cell::{csv_writer, guarded};
use std::io;
use undim_model::{Judgement, Survey};

/// Writes the file: `survey,date` and the columns of `stations.csv`; the date is the survey's own, in the
/// site's zone. Surveys may come in any order.
pub fn write<'a, W: io::Write>(
    to: W,
    surveys: impl IntoIterator<Item = (&'a Survey, Option<&'a Judgement>)>,
) -> io::Result<()> {
    let mut surveys: Vec<_> = surveys.into_iter().collect();
    surveys.sort_by(|(a, _), (b, _)| (a.start, &a.id).cmp(&(b.start, &b.id)));
    let mut csv = csv_writer(to);
    csv.write_record(["survey", "date"].into_iter().chain(stations_csv::COLUMNS))?;
    for (survey, judgement) in surveys {
        let changes = stations_csv::Changes::of(judgement);
        for station in &survey.stations {
            csv.write_field(guarded(&survey.id).as_bytes())?;
            csv.write_field(survey.date.to_string())?;
            csv.write_record(stations_csv::row(station, &changes))?;
        }
    }
    csv.flush()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples;

    #[test]
    fn ordered_by_survey_start_with_the_columns_of_the_stations() {
        let (later, judgement) = samples::small();
        let mut first = later.clone();
        first.id = "2025-10-11-noon".into();
        first.date = jiff::civil::date(2025, 10, 11);
        first.start = "2025-10-11T11:00:00Z".parse().expect("a time");
        first.stations.truncate(1);
        let mut bytes = Vec::new();
        write(&mut bytes, [(&later, Some(&judgement)), (&first, None)]).expect("written");
        assert_eq!(
            String::from_utf8(bytes).expect("UTF-8"),
            "survey,date,station,from_left_cm,from_bottom_cm,from_front_cm,readings,used,ppfd,u_ppfd,\
             u_own_ppfd,u_shared_ppfd,flag,change_percent,u_change_percent,baseline\n\
             2025-10-11-noon,2025-10-11,w1,12.00,8.00,15.00,5,5,118.000,5.000,3.000,4.000,1,,,\n\
             2026-03-14-noon,2026-03-14,w1,12.00,8.00,15.00,5,5,118.000,5.000,3.000,4.000,1,-16.25,2.00,2025-10-11-noon\n\
             2026-03-14-noon,2026-03-14,w2,24.00,30.00,33.50,5,0,,,,,4,,,\n"
        );
    }
}
