//! Writing frames.

use super::{
    CHOICES, Ending, FACTS, Header, MARK, MESSAGE_BYTES, NAME_BYTES, NOTE_BYTES, PROBLEMS, REMARK_BYTES,
    Sandbox, UNIT_BYTES, VERSION, columns::Columns, kind, text::cut,
};
use std::io::{self, Write};
use thiserror::Error;
use undim_model::{ImportedRow, ImportedTime};

/// What is written at once where nothing presses.
const PENDING_BYTES: usize = 64 << 10;

/// Why something was not written.
#[derive(Debug, Error)]
pub enum EncodeError {
    /// The other side can't be written to.
    #[error("the rows could not be written: {0}")]
    Io(#[from] io::Error),
    /// It is not as agreed; half a sentence.
    #[error("{0}")]
    Refused(String),
}

/// A row that borrows its texts; otherwise as [`ImportedRow`].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[expect(missing_docs, reason = "told at ImportedRow")]
pub struct RowRef<'a> {
    pub row: u64,
    pub time: Option<ImportedTime>,
    pub value: Option<f64>,
    pub unit: Option<&'a str>,
    pub x: Option<f64>,
    pub y: Option<f64>,
    pub z: Option<f64>,
    pub station: Option<&'a str>,
    pub device: Option<&'a str>,
    pub tilt_deg: Option<f64>,
    pub temperature_c: Option<f64>,
    pub remark: Option<&'a str>,
}

impl<'a> From<&'a ImportedRow> for RowRef<'a> {
    fn from(row: &'a ImportedRow) -> Self {
        Self {
            row: row.row,
            time: row.time,
            value: row.value,
            unit: row.unit.as_deref(),
            x: row.x,
            y: row.y,
            z: row.z,
            station: row.station.as_deref(),
            device: row.device.as_deref(),
            tilt_deg: row.tilt_deg,
            temperature_c: row.temperature_c,
            remark: row.remark.as_deref(),
        }
    }
}

/// Writes a stream: to a pipe, or to a file to be read again later.
pub struct Encoder<W> {
    out: W,
    /// Whole frames that wait to be written.
    pending: Vec<u8>,
    columns: Columns,
    rows: u64,
    facts: usize,
    problems: usize,
    more_problems: u64,
}

impl<W: Write> Encoder<W> {
    /// Begins a stream.
    pub fn new(out: W) -> Self {
        let mut pending = Vec::with_capacity(PENDING_BYTES);
        pending.extend(MARK);
        pending.push(VERSION);
        Self {
            out,
            pending,
            columns: Columns::new(),
            rows: 0,
            facts: 0,
            problems: 0,
            more_problems: 0,
        }
    }

    /// Tells what is enforced, and writes it out: later frames may be forged by what is loaded, this one not.
    pub fn sandbox(&mut self, sandbox: Sandbox) -> Result<(), EncodeError> {
        let flags = u8::from(sandbox.landlock_full) | u8::from(sandbox.seccomp) << 1;
        self.frame(kind::SANDBOX, |payload| payload.extend([sandbox.landlock, flags]));
        self.write_out()
    }

    /// Tells who the importer is.
    pub fn importer(&mut self, header: &Header) -> Result<(), EncodeError> {
        if !header.is_valid() {
            return Err(EncodeError::Refused(
                "its name, version or description is not as agreed".to_owned(),
            ));
        }
        self.frame(kind::IMPORTER, |payload| {
            for text in [&header.name, &header.version, &header.reads, &header.abi] {
                put_text(payload, text, NOTE_BYTES);
            }
        });
        Ok(())
    }

    /// Tells how surely the importer can read the file, 0 to 100.
    pub fn sure(&mut self, sure: u8) {
        self.frame(kind::SURE, |payload| payload.push(sure.min(100)));
    }

    /// Adds a row. Numbers that are not finite become missing, and all but a missing value is told as a problem.
    pub fn row(&mut self, row: &RowRef) -> Result<(), EncodeError> {
        if row.row == 0 {
            return Err(EncodeError::Refused(
                "a row has the number 0; rows count from 1".to_owned(),
            ));
        }
        let mut row = *row;
        let numbers = [
            ("value", &mut row.value),
            ("x", &mut row.x),
            ("y", &mut row.y),
            ("z", &mut row.z),
            ("tilt", &mut row.tilt_deg),
            ("temperature", &mut row.temperature_c),
        ];
        for (name, number) in numbers {
            if let Some(lost) = number.take_if(|number| !number.is_finite())
                && !(name == "value" && lost.is_nan())
            {
                self.problem(
                    row.row,
                    0,
                    &format!("{name} is {lost}, which no device reads; it counts as missing"),
                );
            }
        }
        for (name, text, limit) in [
            ("unit", row.unit, UNIT_BYTES),
            ("station", row.station, NAME_BYTES),
            ("device", row.device, NAME_BYTES),
        ] {
            if text.is_some_and(|text| text.len() > limit) {
                return Err(EncodeError::Refused(format!(
                    "row {}: its {name} is longer than {limit} bytes",
                    row.row
                )));
            }
        }
        if let Some(remark) = row.remark.filter(|remark| remark.len() > REMARK_BYTES) {
            row.remark = remark.get(..remark.floor_char_boundary(REMARK_BYTES));
            self.problem(
                row.row,
                0,
                &format!("the remark was cut after {REMARK_BYTES} bytes"),
            );
        }
        self.columns.push(&row);
        self.rows += 1;
        if self.columns.is_full() {
            self.flush_rows()
        } else {
            Ok(())
        }
    }

    /// Tells a fact.
    pub fn fact(&mut self, key: &str, value: &str, assumed: bool) -> Result<(), EncodeError> {
        self.facts += 1;
        if self.facts > FACTS {
            return Err(EncodeError::Refused(format!(
                "it told more than {FACTS} facts about one file"
            )));
        }
        self.frame(kind::FACT, |payload| {
            payload.push(u8::from(assumed));
            put_text(payload, key, NOTE_BYTES);
            put_text(payload, value, NOTE_BYTES);
        });
        Ok(())
    }

    /// Tells a problem; beyond [`PROBLEMS`] they are only counted.
    pub fn problem(&mut self, line: u64, column: u32, text: &str) {
        if self.problems == PROBLEMS {
            self.more_problems += 1;
            return;
        }
        self.problems += 1;
        self.frame(kind::PROBLEM, |payload| {
            payload.extend(line.to_le_bytes());
            payload.extend(column.to_le_bytes());
            put_text(payload, text, NOTE_BYTES);
        });
    }

    /// Ends the stream: every row has been given.
    pub fn finish(mut self) -> Result<W, EncodeError> {
        self.flush_rows()?;
        let (rows, more_problems) = (self.rows, self.more_problems);
        self.end(&Ending::Done { rows, more_problems })
    }

    /// Ends the stream with a failure; rows that still wait are dropped.
    pub fn fail(self, ending: &Ending) -> Result<W, EncodeError> {
        self.end(ending)
    }

    fn end(mut self, ending: &Ending) -> Result<W, EncodeError> {
        match ending {
            Ending::Done { rows, more_problems } => self.frame(kind::DONE, |payload| {
                payload.extend(rows.to_le_bytes());
                payload.extend(more_problems.to_le_bytes());
            }),
            Ending::Unusable {
                line,
                column,
                option,
                text,
            } => self.frame(kind::UNUSABLE, |payload| {
                payload.extend(line.to_le_bytes());
                payload.extend(column.to_le_bytes());
                payload.extend(option.unwrap_or(u32::MAX).to_le_bytes());
                put_text(payload, text, MESSAGE_BYTES);
            }),
            Ending::Question { text, choices } => self.frame(kind::QUESTION, |payload| {
                put_text(payload, text, MESSAGE_BYTES);
                payload.push(choices.len().min(CHOICES) as u8);
                for choice in choices.iter().take(CHOICES) {
                    put_text(payload, choice, NOTE_BYTES);
                }
            }),
            Ending::Breach(text) => {
                self.frame(kind::BREACH, |payload| put_text(payload, text, MESSAGE_BYTES));
            }
            Ending::CannotLoad(text) => {
                self.frame(kind::CANNOT_LOAD, |payload| {
                    put_text(payload, text, MESSAGE_BYTES);
                });
            }
            Ending::WrongVersion { theirs, ours } => self.frame(kind::WRONG_VERSION, |payload| {
                for number in [theirs.0, theirs.1, ours.0, ours.1] {
                    payload.extend(number.to_le_bytes());
                }
            }),
            Ending::SandboxMissing(text) => {
                self.frame(kind::SANDBOX_MISSING, |payload| {
                    put_text(payload, text, MESSAGE_BYTES);
                });
            }
        }
        self.write_out()?;
        Ok(self.out)
    }

    fn flush_rows(&mut self) -> Result<(), EncodeError> {
        if !self.columns.is_empty() {
            let Self { pending, columns, .. } = self;
            frame(pending, kind::ROWS, |payload| columns.drain_into(payload));
        }
        if self.pending.len() >= PENDING_BYTES {
            self.write_out()
        } else {
            Ok(())
        }
    }

    fn frame(&mut self, kind: u8, fill: impl FnOnce(&mut Vec<u8>)) {
        frame(&mut self.pending, kind, fill);
    }

    fn write_out(&mut self) -> Result<(), EncodeError> {
        self.out.write_all(&self.pending)?;
        self.out.flush()?;
        self.pending.clear();
        Ok(())
    }
}

/// Adds a frame; its length is set once its payload is there.
fn frame(pending: &mut Vec<u8>, kind: u8, fill: impl FnOnce(&mut Vec<u8>)) {
    pending.push(kind);
    let start = pending.len();
    pending.extend([0; 4]);
    fill(pending);
    let len = (pending.len() - start - 4) as u32;
    if let Some(place) = pending.get_mut(start..start + 4) {
        place.copy_from_slice(&len.to_le_bytes());
    }
}

fn put_text(payload: &mut Vec<u8>, text: &str, limit: usize) {
    let (text, ellipsis) = cut(text, limit);
    payload.extend(((text.len() + ellipsis.len()) as u16).to_le_bytes());
    payload.extend(text.as_bytes());
    payload.extend(ellipsis.as_bytes());
}
