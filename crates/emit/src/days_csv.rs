//! `days.csv` of a mounted sensor (formats, section 6): one row per day.

use crate::number::{PERCENT_DECIMALS, PPFD_DECIMALS, fixed};
use jiff::civil::Date;
use std::io;
use undim_model::Flag;

/// Decimals of a daily light integral.
const DLI_DECIMALS: usize = 3;

/// The columns in their order.
pub const COLUMNS: [&str; 9] = [
    "date",
    "dli",
    "peak",
    "n",
    "rejected",
    "flag",
    "change_percent",
    "u_change_percent",
    "baseline",
];

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct DayRow {
    /// Day of the site's zone.
    pub date: Date,
    /// mol m⁻² d⁻¹.
    pub dli: Option<f64>,
    /// µmol m⁻² s⁻¹.
    pub peak: Option<f64>,
    /// Readings used.
    pub n: u64,
    /// Readings not used.
    pub rejected: u64,
    /// Quality.
    pub flag: Flag,
    /// Against the baseline.
    pub change_percent: Option<f64>,
    /// k = 1, percentage points.
    pub u_change_percent: Option<f64>,
    /// First and last day of the baseline.
    pub baseline: Option<(Date, Date)>,
}

/// Writes the table. The baseline is an interval of ISO 8601, `2026-03-01/2026-03-07`.
pub fn write<W: io::Write>(to: W, rows: &[DayRow]) -> io::Result<()> {
    let mut csv = csv::WriterBuilder::new()
        .terminator(csv::Terminator::Any(b'\n'))
        .from_writer(to);
    csv.write_record(COLUMNS)?;
    let cell = |value: Option<f64>, decimals| value.map_or_else(String::new, |value| fixed(value, decimals));
    for row in rows {
        csv.write_record([
            row.date.to_string(),
            cell(row.dli, DLI_DECIMALS),
            cell(row.peak, PPFD_DECIMALS),
            row.n.to_string(),
            row.rejected.to_string(),
            row.flag.number().to_string(),
            cell(row.change_percent, PERCENT_DECIMALS),
            cell(row.u_change_percent, PERCENT_DECIMALS),
            row.baseline
                .map_or_else(String::new, |(from, until)| format!("{from}/{until}")),
        ])?;
    }
    csv.flush()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn a_day_that_was_read_and_one_that_was_not() {
        let read = DayRow {
            date: date(2026, 3, 29),
            dli: Some(8.64),
            peak: Some(250.0),
            n: 1380,
            rejected: 2,
            flag: Flag::Good,
            change_percent: Some(-7.125),
            u_change_percent: Some(0.5),
            baseline: Some((date(2026, 3, 1), date(2026, 3, 7))),
        };
        let missing = DayRow {
            date: date(2026, 3, 30),
            dli: None,
            peak: None,
            n: 0,
            rejected: 0,
            flag: Flag::Missing,
            change_percent: None,
            u_change_percent: None,
            baseline: None,
        };
        let mut text = Vec::new();
        write(&mut text, &[read, missing]).expect("written");
        assert_eq!(
            String::from_utf8(text).expect("UTF-8"),
            "date,dli,peak,n,rejected,flag,change_percent,u_change_percent,baseline\n\
             2026-03-29,8.640,250.000,1380,2,1,-7.12,0.50,2026-03-01/2026-03-07\n\
             2026-03-30,,,0,0,9,,,\n"
        );
    }
}
