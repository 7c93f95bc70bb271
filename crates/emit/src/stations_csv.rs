//! `stations.csv`: one row per station (formats, section 6).

use crate::text_cell::guarded;
use crate::{CsvStyle, number};
use std::collections::BTreeMap;
use std::io;
use undim_model::{Change, Judgement, StationValue, Survey};

/// The columns, in written order.
pub const COLUMNS: [&str; 14] = [
    "station",
    "from_left_cm",
    "from_bottom_cm",
    "from_front_cm",
    "readings",
    "used",
    "ppfd",
    "u_ppfd",
    "u_own_ppfd",
    "u_shared_ppfd",
    "flag",
    "change_percent",
    "u_change_percent",
    "baseline",
];

/// The columns that hold numbers: all between the station's name and the baseline's.
const NUMBERS: std::ops::Range<usize> = 1..13;

/// Writes the file. Without a judgement the last three columns are empty.
pub fn write<W: io::Write>(
    to: W,
    survey: &Survey,
    judgement: Option<&Judgement>,
    style: CsvStyle,
) -> io::Result<()> {
    let mut csv = style.writer(to);
    csv.write_record(COLUMNS)?;
    let changes = Changes::of(judgement);
    for station in &survey.stations {
        csv.write_record(styled(row(station, &changes), style))?;
    }
    csv.flush()
}

/// What a judgement says of each station, where the survey is held against another.
pub(crate) struct Changes<'a> {
    baseline: &'a str,
    by_station: BTreeMap<&'a str, Change>,
}

impl<'a> Changes<'a> {
    pub(crate) fn of(judgement: Option<&'a Judgement>) -> Self {
        let compared = judgement.and_then(|judgement| {
            let baseline = judgement.baseline.as_deref()?;
            (baseline != judgement.survey).then_some((judgement, baseline))
        });
        Self {
            baseline: compared.map(|(_, baseline)| baseline).unwrap_or_default(),
            by_station: compared
                .map(|(judgement, _)| judgement.stations.as_slice())
                .unwrap_or_default()
                .iter()
                .map(|change| (&*change.station, change.change))
                .collect(),
        }
    }
}

/// A row with its numbers as the style has them.
pub(crate) fn styled(mut row: [String; 14], style: CsvStyle) -> [String; 14] {
    if style != CsvStyle::Standard {
        for cell in &mut row[NUMBERS] {
            *cell = style.number(cell).into_owned();
        }
    }
    row
}

/// One row. A station that the baseline does not hold has all three cells of the change empty.
pub(crate) fn row(station: &StationValue, changes: &Changes<'_>) -> [String; 14] {
    let position = station
        .position
        .map(|position| position.to_array().map(number::position));
    let [left, bottom, front] = position.unwrap_or_default();
    let value = station.value;
    let change = changes.by_station.get(&*station.station);
    let ppfd = |amount: Option<f64>| amount.map(number::ppfd).unwrap_or_default();
    let percent = |amount: Option<f64>| amount.map(number::percent).unwrap_or_default();
    [
        guarded(&station.station).into_owned(),
        left,
        bottom,
        front,
        station.readings.to_string(),
        station.used.to_string(),
        ppfd(value.map(|value| value.ppfd)),
        ppfd(value.map(undim_model::Measured::u)),
        ppfd(value.map(|value| value.u_own)),
        ppfd(value.map(|value| value.u_shared)),
        station.flag.number().to_string(),
        percent(change.map(|change| change.percent)),
        percent(change.map(|change| change.u_percent)),
        change
            .map(|_| guarded(changes.baseline).into_owned())
            .unwrap_or_default(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples;

    fn written(survey: &Survey, judgement: Option<&Judgement>) -> String {
        let mut bytes = Vec::new();
        write(&mut bytes, survey, judgement, CsvStyle::Standard).expect("written");
        String::from_utf8(bytes).expect("UTF-8")
    }

    const HEADER: &str = "station,from_left_cm,from_bottom_cm,from_front_cm,readings,used,ppfd,u_ppfd,\
                          u_own_ppfd,u_shared_ppfd,flag,change_percent,u_change_percent,baseline\n";

    #[test]
    fn the_exact_text_with_and_without_a_baseline() {
        let (survey, judgement) = samples::small();
        assert_eq!(
            written(&survey, Some(&judgement)),
            format!(
                "{HEADER}w1,12.00,8.00,15.00,5,5,118.000,5.000,3.000,4.000,1,-16.25,2.00,2025-10-11-noon\n\
                 w2,24.00,30.00,33.50,5,0,,,,,4,,,\n"
            )
        );
        assert_eq!(
            written(&survey, None),
            format!(
                "{HEADER}w1,12.00,8.00,15.00,5,5,118.000,5.000,3.000,4.000,1,,,\nw2,24.00,30.00,33.50,5,0,,,,,4,,,\n"
            )
        );
    }

    #[test]
    fn the_baseline_itself_has_no_change() {
        let (survey, mut judgement) = samples::small();
        judgement.baseline = Some(survey.id.clone());
        assert_eq!(written(&survey, Some(&judgement)), written(&survey, None));
    }

    #[test]
    fn a_hostile_name_reads_back_as_text() {
        let (mut survey, _) = samples::small();
        survey.stations[0].station = "=HYPERLINK(\"http://x\",\"y\")\n".into();
        let text = written(&survey, None);
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let first = reader.records().next().expect("a row").expect("well formed");
        assert_eq!(&first[0], "'=HYPERLINK(\"http://x\",\"y\")\n");
    }
}
