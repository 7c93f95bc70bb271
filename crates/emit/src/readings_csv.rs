//! `readings.csv`: one row per reading, the rejected ones too (formats, section 6).

use crate::number::{POSITION_DECIMALS, PPFD_DECIMALS, push_fixed, push_raw};
use crate::text_cell::guarded;
use crate::{CsvStyle, SiteZone, TimePrinter};
use std::fmt::Write as _;
use std::io;
use undim_model::Reading;

/// The columns, in written order.
pub const COLUMNS: [&str; 14] = [
    "source",
    "row",
    "time",
    "device",
    "station",
    "from_left_cm",
    "from_bottom_cm",
    "from_front_cm",
    "raw",
    "raw_unit",
    "ppfd",
    "u_ppfd",
    "flag",
    "reasons",
];

/// Writes readings as they come; the caller brings them in written order.
pub struct ReadingsWriter<W: io::Write> {
    csv: csv::Writer<W>,
    time: TimePrinter,
    cell: String,
    style: CsvStyle,
}

impl<W: io::Write> ReadingsWriter<W> {
    /// Writes the header.
    pub fn new(to: W, zone: &SiteZone, style: CsvStyle) -> io::Result<Self> {
        let mut csv = style.writer(to);
        csv.write_record(COLUMNS)?;
        Ok(Self {
            csv,
            time: TimePrinter::new(zone),
            cell: String::new(),
            style,
        })
    }

    /// Writes one row.
    pub fn write(&mut self, reading: &Reading) -> io::Result<()> {
        self.csv.write_field(guarded(&reading.source).as_bytes())?;
        self.cell(|cell, _| {
            // Writing to a String cannot fail.
            let _ = write!(cell, "{}", reading.row);
        })?;
        self.cell(|cell, printer| {
            if let Some(time) = reading.time {
                printer.push(cell, time);
            }
        })?;
        self.csv.write_field(guarded(&reading.device).as_bytes())?;
        self.text(reading.station.as_deref())?;
        for coordinate in reading.position_cm {
            self.number(coordinate, |cell, cm| push_fixed(cell, cm, POSITION_DECIMALS))?;
        }
        self.number(reading.raw, push_raw)?;
        self.text(reading.raw_unit.as_deref())?;
        self.number(reading.value.map(|value| value.ppfd), push_ppfd)?;
        self.number(reading.value.map(undim_model::Measured::u), push_ppfd)?;
        self.cell(|cell, _| cell.push(char::from(b'0' + reading.flag.number())))?;
        self.cell(|cell, _| {
            let _ = write!(cell, "{}", reading.reasons);
        })?;
        self.csv.write_record(None::<&[u8]>)?;
        Ok(())
    }

    /// Flushes and gives the writer back.
    pub fn finish(self) -> io::Result<W> {
        self.csv.into_inner().map_err(csv::IntoInnerError::into_error)
    }

    fn text(&mut self, text: Option<&str>) -> io::Result<()> {
        Ok(self
            .csv
            .write_field(guarded(text.unwrap_or_default()).as_bytes())?)
    }

    fn number(&mut self, value: Option<f64>, push: impl FnOnce(&mut String, f64)) -> io::Result<()> {
        let style = self.style;
        self.cell(|cell, _| {
            if let Some(value) = value {
                push(cell, value);
            }
            if style != CsvStyle::Standard {
                *cell = style.number(cell).into_owned();
            }
        })
    }

    fn cell(&mut self, fill: impl FnOnce(&mut String, &mut TimePrinter)) -> io::Result<()> {
        self.cell.clear();
        fill(&mut self.cell, &mut self.time);
        Ok(self.csv.write_field(self.cell.as_bytes())?)
    }
}

fn push_ppfd(cell: &mut String, value: f64) {
    push_fixed(cell, value, PPFD_DECIMALS);
}

#[cfg(test)]
mod tests {
    use super::*;
    use undim_model::{Flag, Measured, Reason, Reasons};

    fn zone() -> SiteZone {
        SiteZone::named("Europe/Lisbon").expect("a zone")
    }

    fn reading() -> Reading {
        Reading {
            source: "harbour/bagged-phone/march.csv".into(),
            row: 5,
            time: Some("2026-03-14T12:00:30Z".parse().expect("a time")),
            device: "bagged-phone".into(),
            station: Some("reef-top".into()),
            position_cm: [Some(35.0), Some(-0.001), Some(25.125)],
            raw: Some(243.5),
            raw_unit: Some("umol.m-2.s-1".into()),
            value: Some(Measured {
                ppfd: 253.5,
                u_own: 3.0,
                u_shared: 4.0,
            }),
            flag: Flag::Good,
            reasons: Reasons::NONE,
        }
    }

    fn written(readings: &[Reading]) -> String {
        let mut writer = ReadingsWriter::new(Vec::new(), &zone(), CsvStyle::Standard).expect("a header");
        for reading in readings {
            writer.write(reading).expect("written");
        }
        String::from_utf8(writer.finish().expect("flushed")).expect("UTF-8")
    }

    #[test]
    fn the_exact_text() {
        let missing = Reading {
            source: "=cmd,x.csv".into(),
            row: 6,
            time: None,
            device: "-3".into(),
            station: None,
            position_cm: [None; 3],
            raw: None,
            raw_unit: None,
            value: None,
            flag: Flag::Missing,
            reasons: [Reason::MissingValue, Reason::NoPosition].into_iter().collect(),
        };
        assert_eq!(
            written(&[reading(), missing]),
            "source,row,time,device,station,from_left_cm,from_bottom_cm,from_front_cm,raw,raw_unit,ppfd,u_ppfd,flag,reasons\n\
             harbour/bagged-phone/march.csv,5,2026-03-14T12:00:30+00:00,bagged-phone,reef-top,35.00,0.00,25.12,243.5,umol.m-2.s-1,253.500,5.000,1,\n\
             \"'=cmd,x.csv\",6,,'-3,,,,,,,,,9,no-position;missing-value\n"
        );
    }

    #[test]
    fn a_negative_number_stays_a_number() {
        let mut low = reading();
        low.raw = Some(-3.0);
        assert!(written(&[low]).contains(",-3,umol"));
    }
}
