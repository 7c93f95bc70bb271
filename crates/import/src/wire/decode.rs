//! Reading frames, trusting nothing.

use super::{
    CHOICES, Ending, FACTS, FRAME_BYTES, FRAME_ROWS, Frame, Header, MARK, MESSAGE_BYTES, NAME_BYTES,
    NOTE_BYTES, PROBLEMS, REMARK_BYTES, Sandbox, UNIT_BYTES, VERSION, form, kind, payload::Payload,
    text::printable,
};
use std::io::{self, BufReader, Read};
use thiserror::Error;
use undim_model::{Fact, ImportProblem, ImportedRow, ImportedTime, Text};

/// What a reader takes at most.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Caps {
    /// Bytes of the whole stream, where each row counts as at least [`Caps::ROW_BYTES`].
    pub bytes: u64,
}

impl Caps {
    /// What a row counts at least: a frame of equal rows takes few bytes, and still makes work.
    pub const ROW_BYTES: u64 = 8;
}

impl Default for Caps {
    /// 1 GiB.
    fn default() -> Self {
        Self { bytes: 1 << 30 }
    }
}

/// Why a stream was given up.
#[derive(Debug, Error)]
pub enum WireError {
    /// It can't be read.
    #[error("the rows could not be read: {0}")]
    Io(#[from] io::Error),
    /// It does not begin with the mark.
    #[error("this is no stream of rows")]
    NoStream,
    /// It was written by another version.
    #[error("the rows are in version {theirs} of their form; this program reads version {VERSION}")]
    Version {
        /// The version found.
        theirs: u8,
    },
    /// It stops before its ending.
    #[error("the rows stop without an end")]
    NoEnd,
    /// Something in it is not as agreed.
    #[error("{0}")]
    Broken(&'static str),
    /// It is longer than allowed.
    #[error("the rows take more than {limit} bytes")]
    TooMuch {
        /// The cap.
        limit: u64,
    },
}

/// Reads a stream frame by frame, in one buffer that is used again.
pub struct Decoder<R> {
    source: BufReader<R>,
    payload: Vec<u8>,
    dictionary: Vec<Text>,
    caps: Caps,
    bytes: u64,
    rows: u64,
    facts: usize,
    problems: usize,
    stage: Stage,
}

/// How far a stream has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    /// Nothing read.
    Start,
    /// The mark was there.
    Marked,
    /// It is known what is enforced.
    Enforced,
    /// It is known who the importer is.
    Named,
    /// The ending was there, or a fault.
    Over,
}

impl<R: Read> Decoder<R> {
    /// Nothing is read yet.
    pub fn new(source: R, caps: Caps) -> Self {
        Self {
            source: BufReader::with_capacity(64 << 10, source),
            payload: Vec::new(),
            dictionary: Vec::new(),
            caps,
            bytes: 0,
            rows: 0,
            facts: 0,
            problems: 0,
            stage: Stage::Start,
        }
    }

    /// What the stream is read from.
    pub fn get_mut(&mut self) -> &mut R {
        self.source.get_mut()
    }

    /// The next frame; its rows, where it has some, are what `rows` holds afterwards. `None` after the ending, which is
    /// only given once nothing follows it. After an error nothing more is read.
    pub fn next_frame(&mut self, rows: &mut Vec<ImportedRow>) -> Result<Option<Frame>, WireError> {
        if self.stage == Stage::Over {
            rows.clear();
            return Ok(None);
        }
        let frame = self.read_frame(rows);
        match &frame {
            Ok(Frame::Rows) => {}
            Ok(Frame::Ended(_)) | Err(_) => {
                rows.clear();
                self.stage = Stage::Over;
            }
            Ok(_) => rows.clear(),
        }
        frame.map(Some)
    }

    fn read_frame(&mut self, rows: &mut Vec<ImportedRow>) -> Result<Frame, WireError> {
        if self.stage == Stage::Start {
            self.read_mark()?;
        }
        let mut head = [0; 5];
        self.read_exact(&mut head)?;
        let [kind, len @ ..] = head;
        let len = u32::from_le_bytes(len) as usize;
        if len > FRAME_BYTES {
            return Err(WireError::Broken("a frame is longer than agreed"));
        }
        self.count(len as u64 + 5)?;
        let mut bytes = std::mem::take(&mut self.payload);
        bytes.resize(len, 0);
        let read = self.read_exact(&mut bytes);
        self.payload = bytes;
        read?;
        self.admit(kind)?;
        let mut payload = Payload::new(&self.payload);
        let frame = match kind {
            kind::ROWS => {
                read_rows(&mut payload, &mut self.dictionary, rows)?;
                Frame::Rows
            }
            _ => read_message(kind, &mut payload)?,
        };
        payload.finished()?;
        match &frame {
            Frame::Rows => {
                self.rows += rows.len() as u64;
                self.count((rows.len() as u64 * Caps::ROW_BYTES).saturating_sub(len as u64))?;
            }
            Frame::Ended(ending) => self.check_ending(ending)?,
            _ => {}
        }
        Ok(frame)
    }

    fn read_mark(&mut self) -> Result<(), WireError> {
        let mut head = [0; MARK.len() + 1];
        self.read_exact(&mut head)?;
        let [mark @ .., version] = head;
        if mark != MARK {
            return Err(WireError::NoStream);
        }
        if version != VERSION {
            return Err(WireError::Version { theirs: version });
        }
        self.stage = Stage::Marked;
        Ok(())
    }

    /// Is this kind of frame allowed here?
    fn admit(&mut self, kind: u8) -> Result<(), WireError> {
        let allowed = match kind {
            kind::SANDBOX => self.stage == Stage::Marked,
            kind::IMPORTER => matches!(self.stage, Stage::Marked | Stage::Enforced),
            kind::SURE | kind::ROWS | kind::FACT | kind::PROBLEM | kind::DONE => self.stage == Stage::Named,
            // Any other ending may come at once.
            _ => true,
        };
        match kind {
            kind::SANDBOX => self.stage = Stage::Enforced,
            kind::IMPORTER => self.stage = Stage::Named,
            kind::FACT => self.facts += 1,
            kind::PROBLEM => self.problems += 1,
            _ => {}
        }
        if !allowed {
            return Err(WireError::Broken("a frame stands where it must not"));
        }
        if self.facts > FACTS || self.problems > PROBLEMS {
            return Err(WireError::Broken("there are more facts or problems than agreed"));
        }
        Ok(())
    }

    fn check_ending(&mut self, ending: &Ending) -> Result<(), WireError> {
        if let Ending::Done { rows, .. } = ending
            && *rows != self.rows
        {
            return Err(WireError::Broken(
                "the number of rows is not the one that the end tells",
            ));
        }
        match self.source.read(&mut [0]) {
            Ok(0) => Ok(()),
            Ok(_) => Err(WireError::Broken("something follows the end")),
            Err(error) => Err(error.into()),
        }
    }

    fn count(&mut self, bytes: u64) -> Result<(), WireError> {
        self.bytes = self.bytes.saturating_add(bytes);
        if self.bytes > self.caps.bytes {
            Err(WireError::TooMuch {
                limit: self.caps.bytes,
            })
        } else {
            Ok(())
        }
    }

    fn read_exact(&mut self, bytes: &mut [u8]) -> Result<(), WireError> {
        self.source.read_exact(bytes).map_err(|error| match error.kind() {
            io::ErrorKind::UnexpectedEof => WireError::NoEnd,
            _ => WireError::Io(error),
        })
    }
}

fn read_message(kind: u8, payload: &mut Payload) -> Result<Frame, WireError> {
    let text = |payload: &mut Payload, limit| payload.text(limit).map(printable);
    Ok(match kind {
        kind::SANDBOX => {
            let (landlock, flags) = (payload.u8()?, payload.u8()?);
            Frame::Sandbox(Sandbox {
                landlock,
                landlock_full: flags & 1 != 0,
                seccomp: flags & 2 != 0,
            })
        }
        kind::IMPORTER => {
            let header = Header {
                name: text(payload, NOTE_BYTES)?,
                version: text(payload, NOTE_BYTES)?,
                reads: text(payload, NOTE_BYTES)?,
                abi: text(payload, NOTE_BYTES)?,
            };
            if !header.is_valid() {
                return Err(WireError::Broken(
                    "its name, version or description is not as agreed",
                ));
            }
            Frame::Importer(header)
        }
        kind::SURE => match payload.u8()? {
            sure @ 0..=100 => Frame::Sure(sure),
            _ => return Err(WireError::Broken("it is more than 100 percent sure")),
        },
        kind::FACT => {
            let assumed = payload.u8()? != 0;
            Frame::Fact(Fact {
                key: text(payload, NOTE_BYTES)?,
                value: text(payload, NOTE_BYTES)?,
                assumed,
            })
        }
        kind::PROBLEM => Frame::Problem(ImportProblem {
            line: payload.u64()?,
            column: payload.u32()?,
            text: text(payload, NOTE_BYTES)?,
        }),
        kind::DONE => Frame::Ended(Ending::Done {
            rows: payload.u64()?,
            more_problems: payload.u64()?,
        }),
        kind::UNUSABLE => Frame::Ended(Ending::Unusable {
            line: payload.u64()?,
            column: payload.u32()?,
            option: Some(payload.u32()?).filter(|option| *option != u32::MAX),
            text: text(payload, MESSAGE_BYTES)?,
        }),
        kind::QUESTION => {
            let asked = text(payload, MESSAGE_BYTES)?;
            let count = usize::from(payload.u8()?);
            if count > CHOICES {
                return Err(WireError::Broken("there are more choices than agreed"));
            }
            let choices = (0..count)
                .map(|_| text(payload, NOTE_BYTES))
                .collect::<Result<_, _>>()?;
            Frame::Ended(Ending::Question { text: asked, choices })
        }
        kind::BREACH => Frame::Ended(Ending::Breach(text(payload, MESSAGE_BYTES)?)),
        kind::CANNOT_LOAD => Frame::Ended(Ending::CannotLoad(text(payload, MESSAGE_BYTES)?)),
        kind::WRONG_VERSION => Frame::Ended(Ending::WrongVersion {
            theirs: (payload.u32()?, payload.u32()?),
            ours: (payload.u32()?, payload.u32()?),
        }),
        kind::SANDBOX_MISSING => Frame::Ended(Ending::SandboxMissing(text(payload, MESSAGE_BYTES)?)),
        _ => return Err(WireError::Broken("a frame is of an unknown kind")),
    })
}

fn read_rows(
    payload: &mut Payload,
    dictionary: &mut Vec<Text>,
    rows: &mut Vec<ImportedRow>,
) -> Result<(), WireError> {
    let count = usize::from(payload.u16()?);
    if count == 0 || count > FRAME_ROWS {
        return Err(WireError::Broken("a frame has no rows or more than agreed"));
    }
    read_dictionary(payload, dictionary)?;
    rows.clear();
    rows.resize_with(count, ImportedRow::default);
    read_row_numbers(payload, rows)?;
    column(payload, rows, time, |row, time| row.time = Some(time))?;
    let text = |limit| {
        let dictionary = &*dictionary;
        move |bytes: [u8; 2]| match dictionary.get(usize::from(u16::from_le_bytes(bytes))) {
            Some(text) if text.len() <= limit => Ok(Text::clone(text)),
            Some(_) => Err(WireError::Broken("a text is too long")),
            None => Err(WireError::Broken("a text is not in the dictionary")),
        }
    };
    column(payload, rows, number, |row, number| row.value = Some(number))?;
    column(payload, rows, text(UNIT_BYTES), |row, text| row.unit = Some(text))?;
    column(payload, rows, number, |row, number| row.x = Some(number))?;
    column(payload, rows, number, |row, number| row.y = Some(number))?;
    column(payload, rows, number, |row, number| row.z = Some(number))?;
    column(payload, rows, text(NAME_BYTES), |row, text| {
        row.station = Some(text);
    })?;
    column(payload, rows, text(NAME_BYTES), |row, text| {
        row.device = Some(text);
    })?;
    column(payload, rows, number, |row, number| row.tilt_deg = Some(number))?;
    column(payload, rows, number, |row, number| {
        row.temperature_c = Some(number);
    })?;
    column(payload, rows, text(REMARK_BYTES), |row, text| {
        row.remark = Some(text);
    })
}

/// The frame's texts; one that stood at the same place in the frame before is shared with it.
fn read_dictionary(payload: &mut Payload, dictionary: &mut Vec<Text>) -> Result<(), WireError> {
    let count = usize::from(payload.u16()?);
    dictionary.truncate(count);
    for place in 0..count {
        let text = payload.text(REMARK_BYTES)?;
        match dictionary.get_mut(place) {
            Some(known) if **known == *text => {}
            Some(other) => *other = Text::from(text),
            None => dictionary.push(Text::from(text)),
        }
    }
    Ok(())
}

fn read_row_numbers(payload: &mut Payload, rows: &mut [ImportedRow]) -> Result<(), WireError> {
    let form = payload.u8()?;
    if form == form::RUN {
        let first = payload.u64()?;
        let too_large = WireError::Broken("row numbers grow too large");
        first.checked_add(rows.len() as u64 - 1).ok_or(too_large)?;
        for (at, row) in rows.iter_mut().enumerate() {
            row.row = first + at as u64;
        }
    } else {
        column_of_form(
            form,
            payload,
            rows,
            |bytes| Ok(u64::from_le_bytes(bytes)),
            |row, number| row.row = number,
        )?;
    }
    if rows.iter().any(|row| row.row == 0) {
        return Err(WireError::Broken("a row has the number 0"));
    }
    Ok(())
}

fn number(bytes: [u8; 8]) -> Result<f64, WireError> {
    let number = f64::from_le_bytes(bytes);
    if number.is_finite() {
        Ok(number)
    } else {
        Err(WireError::Broken("a number is not finite"))
    }
}

fn time(bytes: [u8; 9]) -> Result<ImportedTime, WireError> {
    let [kind, us @ ..] = bytes;
    let us = i64::from_le_bytes(us);
    match kind {
        1 => Ok(ImportedTime::Instant(us)),
        2 => Ok(ImportedTime::Wall(us)),
        _ => Err(WireError::Broken("a time is of an unknown kind")),
    }
}

fn column<const WIDTH: usize, V: Clone>(
    payload: &mut Payload,
    rows: &mut [ImportedRow],
    value: impl Fn([u8; WIDTH]) -> Result<V, WireError>,
    set: impl Fn(&mut ImportedRow, V),
) -> Result<(), WireError> {
    let form = payload.u8()?;
    column_of_form(form, payload, rows, value, set)
}

fn column_of_form<const WIDTH: usize, V: Clone>(
    form: u8,
    payload: &mut Payload,
    rows: &mut [ImportedRow],
    value: impl Fn([u8; WIDTH]) -> Result<V, WireError>,
    set: impl Fn(&mut ImportedRow, V),
) -> Result<(), WireError> {
    match form {
        form::NOTHING => {}
        form::SAME => {
            let same = value(payload.array()?)?;
            for row in rows {
                set(row, same.clone());
            }
        }
        form::EACH => {
            let (values, _) = payload.take(rows.len() * WIDTH)?.as_chunks::<WIDTH>();
            for (row, bytes) in rows.iter_mut().zip(values) {
                set(row, value(*bytes)?);
            }
        }
        form::MASKED => {
            let mask = payload.take(rows.len().div_ceil(8))?;
            let present: usize = mask.iter().map(|byte| byte.count_ones() as usize).sum();
            let (values, _) = payload.take(present * WIDTH)?.as_chunks::<WIDTH>();
            let is_set = |at: usize| mask.get(at / 8).is_some_and(|byte| byte >> (at % 8) & 1 == 1);
            let mut values = values.iter();
            for (at, row) in rows.iter_mut().enumerate() {
                if is_set(at)
                    && let Some(bytes) = values.next()
                {
                    set(row, value(*bytes)?);
                }
            }
            if values.next().is_some() {
                return Err(WireError::Broken("a mask has bits beyond its rows"));
            }
        }
        _ => return Err(WireError::Broken("a column is of an unknown form")),
    }
    Ok(())
}
