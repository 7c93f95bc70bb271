//! One file of a survey: its rows, their times, and the order they are read in.

use crate::span::{Span, Spans};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use undim_clean::time::{Resolver, Said};
use undim_model::{ImportedRow, LengthUnit, Reason, Reasons, SourceFile};

/// More rows than this are never held at once: a file that is longer must be in order of time.
pub const MOST_ROWS_OUT_OF_ORDER: u64 = 200_000;

/// Rows that can be gone through again and again, in the order of the file.
pub trait Rows {
    /// From the first row.
    fn open(&self) -> Result<RowIter<'_>, RowsError>;
}

/// Rows in the order of the file.
pub type RowIter<'a> = Box<dyn Iterator<Item = Result<ImportedRow, RowsError>> + 'a>;

impl Rows for Vec<ImportedRow> {
    fn open(&self) -> Result<RowIter<'_>, RowsError> {
        Ok(Box::new(self.iter().cloned().map(Ok)))
    }
}

/// The rows of a file could not be gone through.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RowsError {
    /// They could not be read back.
    #[error("the rows could not be read back: {0}")]
    Unreadable(String),
    /// A long file whose rows are not in order of time.
    #[error(
        "its {rows} rows are not in order of time, and more than {MOST_ROWS_OUT_OF_ORDER} can't be sorted; sort the file by time, or cut it into parts"
    )]
    TooLongToSort {
        /// How many.
        rows: u64,
    },
}

/// How the rows of a file get their times.
#[derive(Debug, Clone)]
pub struct Timing {
    /// For times without an offset.
    pub zone: TimeZone,
    /// Added to the file's times, microseconds.
    pub clock_offset_us: i64,
    /// When a file without any time counts as read: 12:00 of its date.
    pub undated: Timestamp,
}

/// What one look through a file tells about its times.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Scan {
    /// All rows.
    pub rows: u64,
    /// Rows with a time.
    pub timed: u64,
    /// The first time in the file.
    pub first: Option<Timestamp>,
    /// True where no row counts as earlier than the one before it.
    pub in_order: bool,
    /// True for a file that runs from the newest row to the oldest.
    pub newest_first: bool,
    /// Stretches of counted time.
    pub spans: Vec<Span>,
    /// Times that had two meanings or none, with how they were read: counts.
    pub folded_first: u64,
    /// Times in a fold that the order of the file shows to be the second.
    pub folded_second: u64,
    /// Times in a gap, moved forward.
    pub in_gap: u64,
    /// Times that no calendar holds.
    pub unreadable: u64,
}

/// A row with its time.
#[derive(Debug, Clone, PartialEq)]
pub struct TimedRow {
    /// As the importer gave it.
    pub row: ImportedRow,
    /// As the file tells it.
    pub time: Option<Timestamp>,
    /// What it counts as for order and surveys.
    pub counted: Timestamp,
    /// `no-time`, `out-of-order`.
    pub reasons: Reasons,
}

/// Looks through a file once.
pub fn scan(rows: &dyn Rows, timing: &Timing) -> Result<Scan, RowsError> {
    let mut scan = Scan {
        in_order: true,
        ..Scan::default()
    };
    let mut resolver = Resolver::new(timing.zone.clone(), timing.clock_offset_us);
    let mut spans = Spans::default();
    let mut before: Option<Timestamp> = None;
    let (mut forward, mut backward) = (0_u64, 0_u64);
    let mut leading = 0_u64;
    for row in rows.open()? {
        let row = row?;
        scan.rows += 1;
        let Some(time) = resolve(&mut resolver, &row, Some(&mut scan)) else {
            match before {
                Some(time) => spans.add(time),
                None => leading += 1,
            }
            continue;
        };
        scan.timed += 1;
        if scan.first.is_none() {
            scan.first = Some(time);
            (0..leading).for_each(|_| spans.add(time));
        }
        match before {
            Some(before) if time < before => backward += 1,
            Some(before) if time > before => forward += 1,
            _ => {}
        }
        spans.add(time);
        before = Some(time);
    }
    if scan.timed == 0 {
        (0..leading).for_each(|_| spans.add(timing.undated));
    }
    scan.in_order = backward == 0;
    scan.newest_first = backward > forward;
    scan.spans = spans.into_vec();
    Ok(scan)
}

fn resolve(resolver: &mut Resolver, row: &ImportedRow, scan: Option<&mut Scan>) -> Option<Timestamp> {
    let resolved = resolver.resolve(row.time?);
    let Some(scan) = scan else {
        return resolved.ok().map(|resolved| resolved.timestamp);
    };
    match resolved {
        Ok(resolved) => {
            match resolved.said {
                Some(Said::FoldFirst) => scan.folded_first += 1,
                Some(Said::FoldSecond) => scan.folded_second += 1,
                Some(Said::GapMovedForward) => scan.in_gap += 1,
                None => {}
            }
            Some(resolved.timestamp)
        }
        Err(_) => {
            scan.unreadable += 1;
            None
        }
    }
}

/// The rows of a file that lie in a survey, in order of counted time (of equal ones in order of the file).
pub fn in_time_order<'a>(
    rows: &'a dyn Rows,
    timing: &'a Timing,
    scan: &'a Scan,
    within: Span,
) -> Result<Box<dyn Iterator<Item = Result<TimedRow, RowsError>> + 'a>, RowsError> {
    let timed = Timed {
        rows: rows.open()?,
        resolver: Resolver::new(timing.zone.clone(), timing.clock_offset_us),
        scan,
        before: None,
        undated: timing.undated,
    };
    let inside =
        move |row: &Result<TimedRow, RowsError>| row.as_ref().map_or(true, |row| within.holds(row.counted));
    if scan.in_order {
        // What comes later belongs to later surveys.
        let until = timed.take_while(move |row| row.as_ref().map_or(true, |row| row.counted <= within.end));
        return Ok(Box::new(until.filter(inside)));
    }
    if scan.rows > MOST_ROWS_OUT_OF_ORDER {
        return Err(RowsError::TooLongToSort { rows: scan.rows });
    }
    let mut held = timed.filter(inside).collect::<Result<Vec<_>, _>>()?;
    held.sort_by_key(|row| row.counted);
    Ok(Box::new(held.into_iter().map(Ok)))
}

struct Timed<'a> {
    rows: RowIter<'a>,
    resolver: Resolver,
    scan: &'a Scan,
    before: Option<Timestamp>,
    undated: Timestamp,
}

impl Iterator for Timed<'_> {
    type Item = Result<TimedRow, RowsError>;

    fn next(&mut self) -> Option<Self::Item> {
        let row = match self.rows.next()? {
            Ok(row) => row,
            Err(error) => return Some(Err(error)),
        };
        let time = resolve(&mut self.resolver, &row, None);
        let mut reasons = Reasons::NONE;
        let counted = match time {
            Some(time) => {
                let stepped_back = self.before.is_some_and(|before| {
                    if self.scan.newest_first {
                        time > before
                    } else {
                        time < before
                    }
                });
                if stepped_back {
                    reasons.add(Reason::OutOfOrder);
                }
                self.before = Some(time);
                time
            }
            None => {
                // A file without any time is no file with times missing.
                if self.scan.timed > 0 {
                    reasons.add(Reason::NoTime);
                }
                self.before.or(self.scan.first).unwrap_or(self.undated)
            }
        };
        Some(Ok(TimedRow {
            row,
            time,
            counted,
            reasons,
        }))
    }
}

impl Scan {
    /// What there is to say about its times, in sentences for the keeper.
    pub fn sentences(&self) -> Vec<String> {
        let counted = [
            (
                self.folded_first,
                "fall into the hour that came twice when the clocks went back; the first was taken",
            ),
            (
                self.folded_second,
                "fall into the hour that came twice when the clocks went back; the order of the file shows the second",
            ),
            (
                self.in_gap,
                "fall into the hour that the clocks skipped and were moved forward by it",
            ),
            (self.unreadable, "lie outside the calendar and were left out"),
        ];
        counted
            .iter()
            .filter(|(count, _)| *count > 0)
            .map(|(count, what)| format!("{count} times {what}"))
            .collect()
    }
}

/// One file of a survey, with what its note, route and folders say of it.
pub struct Source<'a> {
    /// What will be written about it; `rows` and `renamed` are filled at take-in.
    pub file: SourceFile,
    /// How its rows get their times.
    pub timing: Timing,
    /// What a look through it told.
    pub scan: Scan,
    /// Its rows.
    pub rows: &'a dyn Rows,
    /// The frame its coordinates are in; `None`: the tank's own axes.
    pub frame: Option<String>,
    /// Units of x, y, z that the file states.
    pub length_units: [Option<LengthUnit>; 3],
    /// The device that a note names; wins over the file's own column.
    pub device_note: Option<String>,
    /// The device that route, folders or a lone declared one give; the file's own column wins.
    pub device_fallback: Option<String>,
    /// The station that a note names.
    pub station_note: Option<String>,
    /// The station that the route gives.
    pub station_fallback: Option<String>,
    /// What the note says of the pumps.
    pub pumps_on: Option<bool>,
    /// The day's water level, cm from the bottom pane.
    pub water_cm: Option<f64>,
    /// How long the fixtures had been on, minutes.
    pub fixtures_on_min: Option<f64>,
    /// Sentences on what was assumed about it.
    pub said: Vec<String>,
}
