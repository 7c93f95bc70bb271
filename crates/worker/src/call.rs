//! What an importer gets lent, and the checks on all that it hands over.

use crate::load::Importer;
use rustix::stdio::stdin;
use std::{ffi::c_void, fs::File, mem::MaybeUninit, slice};
use undim_abi::{
    self as abi, NO_OPTION, STATUS_DONE, UndimHost, UndimMessage, UndimOption, UndimRow, UndimText,
};
use undim_import::wire::{CHOICES, EncodeError, Encoder, Ending, ImportedTime, OptionKind, Request, RowRef};

/// So much of a message is looked at.
const MESSAGE_BYTES: usize = 64 << 10;

/// This side of one call of `read`.
pub(crate) struct Host {
    encoder: Encoder<File>,
    /// Where in the file the next pull begins; the descriptor's own position may be shared with others.
    offset: u64,
    /// The failure or question that the importer told.
    told: Option<Ending>,
    /// Why nothing more is taken.
    stop: Option<EncodeError>,
}

impl Host {
    pub(crate) fn new(encoder: Encoder<File>) -> Self {
        Self {
            encoder,
            offset: 0,
            told: None,
            stop: None,
        }
    }

    /// Lets the importer read the file, and ends the stream as it deserves.
    #[expect(unsafe_code, reason = "calls the library")]
    pub(crate) fn read(mut self, importer: &Importer, request: &Request) -> Result<(), EncodeError> {
        let options: Vec<_> = request
            .options
            .iter()
            .map(|option| UndimOption {
                size: size_of::<UndimOption>() as u32,
                kind: match option.kind {
                    OptionKind::Text => abi::OPTION_TEXT,
                    OptionKind::Integer => abi::OPTION_INTEGER,
                    OptionKind::Float => abi::OPTION_FLOAT,
                    OptionKind::Boolean => abi::OPTION_BOOLEAN,
                    OptionKind::Date => abi::OPTION_DATE,
                    OptionKind::Empty => abi::OPTION_EMPTY,
                },
                path: UndimText::of(&option.path),
                text: UndimText::of(&option.text),
            })
            .collect();
        let host = UndimHost {
            size: size_of::<UndimHost>() as u32,
            flags: 0,
            ctx: (&raw mut self).cast(),
            file_name: UndimText::of(&request.file_name),
            options: options.as_ptr(),
            option_count: options.len(),
            option_stride: size_of::<UndimOption>(),
            pull: Some(pull),
            push: Some(push),
            say: Some(say),
        };
        // SAFETY: the host, its options and its context outlive the call, and nothing else touches them meanwhile.
        let status = unsafe { (importer.read)(&raw const host) };
        match (self.stop, self.told) {
            (Some(EncodeError::Refused(what)), _) => self.encoder.fail(&Ending::Breach(what)).map(drop),
            (Some(error), _) => Err(error),
            (None, Some(told)) => self.encoder.fail(&told).map(drop),
            (None, None) if status == STATUS_DONE => self.encoder.finish().map(drop),
            (None, None) => {
                let what = format!("read returned {status} without saying why");
                self.encoder.fail(&Ending::Breach(what)).map(drop)
            }
        }
    }

    /// Does something unless a stop was asked for; 0, or 1 where the importer has to stop.
    fn unless_stopped(&mut self, act: impl FnOnce(&mut Self) -> Result<(), EncodeError>) -> i32 {
        if self.stop.is_none() {
            self.stop = act(self).err();
        }
        i32::from(self.stop.is_some())
    }

    #[expect(unsafe_code, reason = "walks an array of the library")]
    fn take_rows(&mut self, rows: *const UndimRow, count: usize, stride: usize) -> Result<(), EncodeError> {
        if count == 0 {
            return Ok(());
        }
        if rows.is_null() || !rows.is_aligned() {
            return refuse("push was given rows that lie where no rows can");
        }
        if stride < size_of::<UndimRow>() || !stride.is_multiple_of(align_of::<UndimRow>()) {
            return Err(EncodeError::Refused(format!(
                "push was given a stride of {stride} bytes; a row takes {}",
                size_of::<UndimRow>()
            )));
        }
        if count
            .checked_mul(stride)
            .is_none_or(|bytes| bytes > isize::MAX as usize)
        {
            return refuse("push was given more rows than fit into memory");
        }
        for index in 0..count {
            // SAFETY: the contract promises `count` rows, `stride` bytes apart, each at least as long as ours; where that
            // is a lie, this process ends and nothing else.
            let row = unsafe { &*rows.byte_add(index * stride) };
            self.take_row(row)?;
        }
        Ok(())
    }

    fn take_row(&mut self, row: &UndimRow) -> Result<(), EncodeError> {
        if (row.size as usize) < size_of::<UndimRow>() {
            return Err(EncodeError::Refused(format!(
                "a row says that it has {} bytes",
                row.size
            )));
        }
        if row.present & !abi::HAS_ALL != 0 || row.reserved != 0 {
            return refuse("a row has bits set that have no meaning yet");
        }
        let has = |bit| row.present & bit != 0;
        let number = |bit, number| has(bit).then_some(number);
        let text = |bit, text, name| {
            if has(bit) {
                row_text(text, name, row.row).map(Some)
            } else {
                Ok(None)
            }
        };
        self.encoder.row(&RowRef {
            row: row.row,
            time: match row.time_kind {
                abi::TIME_NONE => None,
                abi::TIME_INSTANT => Some(ImportedTime::Instant(row.time_us)),
                abi::TIME_WALL => Some(ImportedTime::Wall(row.time_us)),
                _ => return refuse("a row has a time of an unknown kind"),
            },
            value: number(abi::HAS_VALUE, row.value),
            unit: text(abi::HAS_UNIT, row.unit, "unit")?,
            x: number(abi::HAS_X, row.x),
            y: number(abi::HAS_Y, row.y),
            z: number(abi::HAS_Z, row.z),
            station: text(abi::HAS_STATION, row.station, "station")?,
            device: text(abi::HAS_DEVICE, row.device, "device")?,
            tilt_deg: number(abi::HAS_TILT, row.tilt_deg),
            temperature_c: number(abi::HAS_TEMPERATURE, row.temperature_c),
            remark: text(abi::HAS_REMARK, row.remark, "remark")?,
        })
    }

    fn take_message(&mut self, message: &UndimMessage) -> Result<(), EncodeError> {
        if (message.size as usize) < size_of::<UndimMessage>() {
            return Err(EncodeError::Refused(format!(
                "a message says that it has {} bytes",
                message.size
            )));
        }
        let (key, text) = (message_text(message.key)?, message_text(message.text)?);
        match message.kind {
            abi::SAY_FOUND | abi::SAY_ASSUMED => {
                self.encoder.fact(&key, &text, message.kind == abi::SAY_ASSUMED)?;
            }
            abi::SAY_PROBLEM => self.encoder.problem(message.line, message.column, &text),
            abi::SAY_QUESTION => {
                // The first failure or question counts; what follows it usually follows from it.
                self.told.get_or_insert(Ending::Question {
                    text,
                    choices: Vec::new(),
                });
            }
            abi::SAY_CHOICE => match &mut self.told {
                Some(Ending::Question { choices, .. }) if choices.len() < CHOICES => choices.push(text),
                Some(Ending::Question { .. }) => return refuse("it offered too many choices"),
                Some(_) => {}
                None => return refuse("it offered a choice without a question"),
            },
            abi::SAY_FAILURE => {
                self.told.get_or_insert(Ending::Unusable {
                    line: message.line,
                    column: message.column,
                    option: Some(message.option).filter(|option| *option != NO_OPTION),
                    text,
                });
            }
            _ => return refuse("it sent a message of an unknown kind"),
        }
        Ok(())
    }
}

fn refuse<T>(what: &str) -> Result<T, EncodeError> {
    Err(EncodeError::Refused(what.to_owned()))
}

/// A text of a row; it has to be UTF-8.
#[expect(unsafe_code, reason = "reads a text of the library")]
fn row_text<'a>(text: UndimText, name: &str, row: u64) -> Result<&'a str, EncodeError> {
    // SAFETY: the contract promises a valid text until the call returns.
    let bytes = unsafe { text.bytes() };
    let text = bytes.and_then(|bytes| std::str::from_utf8(bytes).ok());
    text.ok_or_else(|| EncodeError::Refused(format!("row {row}: its {name} is not UTF-8 text")))
}

/// A text of a message, whose bytes that are no UTF-8 are replaced: messages quote bad input.
#[expect(unsafe_code, reason = "reads a text of the library")]
fn message_text(text: UndimText) -> Result<String, EncodeError> {
    // SAFETY: as above.
    match unsafe { text.bytes() } {
        Some(bytes) => Ok(String::from_utf8_lossy(bytes.get(..MESSAGE_BYTES).unwrap_or(bytes)).into_owned()),
        None => refuse("it sent a message whose text lies nowhere"),
    }
}

/// The host that a context stands for.
///
/// # Safety
///
/// `ctx` has to be the one that `Host::read` handed out, used by one call at a time.
#[expect(
    unsafe_code,
    reason = "the context crosses the boundary as an untyped pointer"
)]
unsafe fn host<'a>(ctx: *mut c_void) -> Option<&'a mut Host> {
    // SAFETY: promised by the caller; the importer's contract says the same.
    unsafe { ctx.cast::<Host>().as_mut() }
}

#[expect(unsafe_code, reason = "called by the library")]
unsafe extern "C" fn pull(ctx: *mut c_void, buf: *mut u8, cap: usize) -> isize {
    // SAFETY: the library hands back the context it was given.
    let Some(host) = (unsafe { host(ctx) }) else {
        return -1;
    };
    let cap = cap.min(1 << 30);
    if cap == 0 {
        return 0;
    }
    if buf.is_null() {
        host.unless_stopped(|_| refuse("pull was given no buffer"));
        return -1;
    }
    // SAFETY: the contract promises room for `cap` bytes; they need not hold anything yet.
    let buf = unsafe { slice::from_raw_parts_mut(buf.cast::<MaybeUninit<u8>>(), cap) };
    loop {
        match rustix::io::pread(stdin(), &mut *buf, host.offset) {
            Ok((filled, _)) => {
                host.offset += filled.len() as u64;
                return filled.len() as isize;
            }
            Err(rustix::io::Errno::INTR) => {}
            Err(_) => return -1,
        }
    }
}

#[expect(unsafe_code, reason = "called by the library")]
unsafe extern "C" fn push(ctx: *mut c_void, rows: *const UndimRow, count: usize, stride: usize) -> i32 {
    // SAFETY: the library hands back the context it was given.
    let Some(host) = (unsafe { host(ctx) }) else {
        return 1;
    };
    host.unless_stopped(|host| host.take_rows(rows, count, stride))
}

#[expect(unsafe_code, reason = "called by the library")]
unsafe extern "C" fn say(ctx: *mut c_void, message: *const UndimMessage) -> i32 {
    // SAFETY: the library hands back the context it was given.
    let Some(host) = (unsafe { host(ctx) }) else {
        return 1;
    };
    if !message.is_aligned() {
        return host.unless_stopped(|_| refuse("say was given a message that lies where none can"));
    }
    // SAFETY: the contract promises a valid message for this call.
    match unsafe { message.as_ref() } {
        Some(message) => host.unless_stopped(|host| host.take_message(message)),
        None => host.unless_stopped(|_| refuse("say was given no message")),
    }
}
