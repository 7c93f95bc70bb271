//! What is measured on: an invented tank, its surveys, and a long log. The same bytes at every run.

use jiff::civil::date;
use jiff::{Timestamp, ToSpan};
use std::f64::consts::PI;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

/// Surveys of the tank, one a day.
pub(crate) const DAYS: usize = 200;
/// Readings of a survey: three at each station.
pub(crate) const ROWS: usize = 60;
const STATIONS: usize = 20;

/// Days of the long log, a reading a second.
const LOG_DAYS: i64 = 30;

/// The day of a survey, which is its id too.
pub(crate) fn day_id(day: usize) -> String {
    date(2025, 1, 1).saturating_add((day as i64).days()).to_string()
}

/// The tank's file.
pub(crate) fn tank() -> String {
    let mut text =
        "[inside]\nlength_cm = 120.0\nfront_to_back_cm = 60.0\nheight_cm = 55.0\nwater_cm = 50.0\n"
            .to_owned();
    for (id, left) in [("west", 30), ("east", 90)] {
        text.push_str(&format!(
            "[[fixture]]\nid = \"{id}\"\ncentre_cm = [{left}, 75, 30]\nsize_cm = [20, 20]\n"
        ));
    }
    for station in 0..STATIONS {
        let [left, bottom, front] = place(station);
        text.push_str(&format!(
            "[[station]]\nid = \"s{station}\"\nat_cm = [{left}, {bottom}, {front}]\n"
        ));
    }
    text
}

fn place(station: usize) -> [usize; 3] {
    [10 + 5 * station, 10 + 7 * (station % 5), 10 + 10 * (station % 4)]
}

/// A survey of sixty rows: noise of 2 %, nothing changes.
pub(crate) fn survey(day: usize) -> String {
    let mut chance = Chance(day as u64);
    let mut text = "time,station,x,y,z,PPFD\n".to_owned();
    for row in 0..ROWS {
        let station = row / 3;
        let [left, bottom, front] = place(station);
        let level = 100.0 + 12.0 * station as f64;
        text.push_str(&format!(
            "{}T12:{:02}:{:02}+00:00,s{station},{left},{bottom},{front},{:.1}\n",
            day_id(day),
            row / 6,
            row % 6 * 10,
            level * (1.0 + 0.02 * chance.normal())
        ));
    }
    text
}

/// Writes a log of one reading a second for thirty days, as a mounted sensor exports it: flicker, a daily
/// course, missing values, values below zero and over range, spikes, columns that nobody needs. Gives its rows.
pub(crate) fn write_log(path: &Path) -> io::Result<u64> {
    let mut to = BufWriter::with_capacity(1 << 20, File::create(path)?);
    let mut chance = Chance(7);
    let mut flicker = 0.0;
    to.write_all(b"timestamp,par,temp_c,batt_v\n")?;
    let start = date(2024, 3, 1)
        .in_tz("UTC")
        .map_err(io::Error::other)?
        .timestamp();
    let seconds = 86_400 * LOG_DAYS;
    for second in 0..seconds {
        let time = Timestamp::from_second(start.as_second() + second).map_err(io::Error::other)?;
        let of_day = (second % 86_400) as f64;
        // Light from 10:00 to 20:00, with ramps of an hour and a half.
        let ramp = ((of_day - 36_000.0).min(72_000.0 - of_day) / 5_400.0).clamp(0.0, 1.0);
        flicker = 0.35 * flicker + 0.13 * chance.normal();
        let par = 380.0 * (ramp * PI / 2.0).sin().powi(2) * f64::exp(flicker) + 0.12 * chance.normal().abs();
        let (temperature, battery) = (
            25.3 + 0.4 * (2.0 * PI * of_day / 86_400.0).sin(),
            4.1 - second as f64 * 1e-8,
        );
        write!(to, "{time:.0}")?;
        match chance.below(10_000) {
            0..20 => to.write_all(b",")?,
            20..25 => to.write_all(b",NaN")?,
            25..27 => write!(to, ",{:.1}", -par / 100.0 - 0.1)?,
            27..28 => to.write_all(b",9999.9")?,
            28..38 => write!(to, ",{:.1}", 3.0 * par + 5.0)?,
            _ => write!(to, ",{par:.1}")?,
        }
        writeln!(to, ",{temperature:.2},{battery:.3}")?;
    }
    to.flush()?;
    Ok(seconds as u64)
}

/// Chance that is the same at every run: a multiplicative congruential generator (L'Ecuyer 1999, Math. Comput.
/// 68, 249–260, table 4, modulus 2^64), its upper bits.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u32 {
        self.0 = self
            .0
            .wrapping_mul(3_935_559_000_370_003_845)
            .wrapping_add(2_691_343_689_449_507_681);
        (self.0 >> 32) as u32
    }

    fn below(&mut self, end: u64) -> u64 {
        (u64::from(self.next()) * end) >> 32
    }

    /// Near enough to normal: the sum of twelve, less six.
    fn normal(&mut self) -> f64 {
        (0..12)
            .map(|_| f64::from(self.next()) / f64::from(u32::MAX))
            .sum::<f64>()
            - 6.0
    }
}
