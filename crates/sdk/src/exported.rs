//! The C boundary: what the exported functions do, and the panic barrier.

use crate::{
    Failure, Importer, Input, OptionItem, OptionKind, Options, Out, Row, Time,
    out::{Message, Sink},
};
use std::{
    any::Any,
    io::{self, Read},
    panic::{AssertUnwindSafe, catch_unwind},
};
use undim_abi as abi;
use undim_abi::{UndimHost, UndimImporter, UndimMessage, UndimOption, UndimRow, UndimText};

/// How the sentence about a panic begins.
pub(crate) const PANICKED: &str = "the importer failed in an unforeseen way";

/// The descriptor of an importer: what [`export!`](crate::export) puts into the library.
pub const fn descriptor<I: Importer>() -> UndimImporter {
    UndimImporter::new(I::NAME, I::VERSION, I::READS, probe::<I>, read::<I>)
}

/// Reads with the panic barrier: a panic becomes a failure, and a failure is said.
pub(crate) fn read_behind_barrier<I: Importer>(
    input: &mut Input,
    options: &Options,
    sink: &mut dyn Sink,
) -> Result<(), Failure> {
    let mut out = Out::new(sink);
    let result =
        catch_unwind(AssertUnwindSafe(|| I::read(input, options, &mut out))).unwrap_or_else(|panic| {
            Err(Failure::unusable(
                0,
                0,
                format!("{PANICKED}: {}", panic_text(&*panic)),
            ))
        });
    if let Err(failure) = &result {
        out.failure(failure);
    }
    result
}

/// Probes with the panic barrier: an importer that panics claims nothing.
pub(crate) fn probe_behind_barrier<I: Importer>(start: &[u8], file_name: &str) -> u8 {
    catch_unwind(|| I::probe(start, file_name)).map_or(0, |sure| sure.min(100))
}

fn panic_text(panic: &(dyn Any + Send)) -> &str {
    let text = panic.downcast_ref::<&str>().copied();
    text.or_else(|| panic.downcast_ref::<String>().map(String::as_str))
        .unwrap_or("it did not say how")
}

#[expect(unsafe_code, reason = "called through the C boundary with raw pointers")]
unsafe extern "C" fn probe<I: Importer>(
    start: *const u8,
    start_len: usize,
    file_name: *const u8,
    file_name_len: usize,
) -> i32 {
    let start = UndimText {
        ptr: start,
        len: start_len,
    };
    let file_name = UndimText {
        ptr: file_name,
        len: file_name_len,
    };
    // SAFETY: the contract promises both valid for this call.
    let (start, file_name) = unsafe { (start.bytes(), file_name.bytes()) };
    let file_name = file_name.and_then(|name| std::str::from_utf8(name).ok());
    match (start, file_name) {
        (Some(start), Some(file_name)) => probe_behind_barrier::<I>(start, file_name).into(),
        _ => 0,
    }
}

#[expect(unsafe_code, reason = "called through the C boundary with raw pointers")]
unsafe extern "C" fn read<I: Importer>(host: *const UndimHost) -> i32 {
    // SAFETY: the contract promises a valid host for this call.
    let Some(host) = (unsafe { host.as_ref() }) else {
        return abi::STATUS_FAILED;
    };
    // SAFETY: as above; texts and options stay valid until this call returns.
    let Some((file_name, options)) = (unsafe { text(host.file_name).zip(options(host)) }) else {
        return abi::STATUS_FAILED;
    };
    let mut source = HostInput(host);
    let mut input = Input::new(&mut source, file_name);
    match read_behind_barrier::<I>(&mut input, &options, &mut HostSink(host)) {
        Ok(()) => abi::STATUS_DONE,
        Err(_) => abi::STATUS_FAILED,
    }
}

/// A text that undim handed over.
///
/// # Safety
///
/// As [`UndimText::bytes`].
#[expect(unsafe_code, reason = "the pointer comes from the other side")]
unsafe fn text<'a>(text: UndimText) -> Option<&'a str> {
    // SAFETY: promised by the caller.
    std::str::from_utf8(unsafe { text.bytes() }?).ok()
}

/// The options that undim handed over; `None` where they break the contract.
///
/// # Safety
///
/// The option array and its texts stay valid for as long as the host is borrowed.
#[expect(unsafe_code, reason = "walks an array of the other side")]
unsafe fn options(host: &UndimHost) -> Option<Options<'_>> {
    if host.option_count > 0 && (host.options.is_null() || host.option_stride < size_of::<UndimOption>()) {
        return None;
    }
    let items = (0..host.option_count).map(|index| {
        // SAFETY: the contract promises `option_count` options, `option_stride` bytes apart, each at least as
        // long as this version's (seen above).
        let option = unsafe { &*host.options.byte_add(index * host.option_stride) };
        // SAFETY: promised by the caller.
        let (path, text) = unsafe { (text(option.path)?, text(option.text)?) };
        let kind = match option.kind {
            abi::OPTION_INTEGER => OptionKind::Integer,
            abi::OPTION_FLOAT => OptionKind::Float,
            abi::OPTION_BOOLEAN => OptionKind::Boolean,
            abi::OPTION_DATE => OptionKind::Date,
            abi::OPTION_EMPTY => OptionKind::Empty,
            // A kind of a later version is still a text that can be shown.
            _ => OptionKind::Text,
        };
        Some(OptionItem {
            path,
            kind,
            text,
            index: u32::try_from(index).ok()?,
        })
    });
    Some(Options::new(items.collect::<Option<_>>()?))
}

/// The file, pulled from undim.
struct HostInput<'h>(&'h UndimHost);

impl Read for HostInput<'_> {
    #[expect(unsafe_code, reason = "calls undim's function")]
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        let pull = self.0.pull.ok_or(io::ErrorKind::Unsupported)?;
        // SAFETY: the buffer is `buf.len()` bytes long, and the context is the host's own.
        let read = unsafe { pull(self.0.ctx, buf.as_mut_ptr(), buf.len()) };
        match usize::try_from(read) {
            Ok(read) if read <= buf.len() => Ok(read),
            _ => Err(io::ErrorKind::Other.into()),
        }
    }
}

/// Rows and messages, pushed to undim.
struct HostSink<'h>(&'h UndimHost);

impl Sink for HostSink<'_> {
    #[expect(unsafe_code, reason = "calls undim's function")]
    fn row(&mut self, row: &Row) -> bool {
        let row = c_row(row);
        // SAFETY: one row whose texts live longer than this call; the context is the host's own.
        self.0
            .push
            .is_some_and(|push| unsafe { push(self.0.ctx, &raw const row, 1, size_of::<UndimRow>()) } == 0)
    }

    #[expect(unsafe_code, reason = "calls undim's function")]
    fn say(&mut self, message: &Message) -> bool {
        let message = UndimMessage {
            line: message.line,
            column: message.column,
            option: message.option,
            key: UndimText::of(message.key),
            ..UndimMessage::new(message.kind, UndimText::of(message.text))
        };
        // SAFETY: a message whose texts live longer than this call; the context is the host's own.
        self.0
            .say
            .is_some_and(|say| unsafe { say(self.0.ctx, &raw const message) } == 0)
    }
}

/// A row as the contract has it.
fn c_row(row: &Row) -> UndimRow {
    let mut present = 0;
    let mut number = |value: Option<f64>, bit: u32| {
        present |= if value.is_some() { bit } else { 0 };
        value.unwrap_or_default()
    };
    let [value, x, y, z, tilt_deg, temperature_c] = [
        number(row.value, abi::HAS_VALUE),
        number(row.x, abi::HAS_X),
        number(row.y, abi::HAS_Y),
        number(row.z, abi::HAS_Z),
        number(row.tilt_deg, abi::HAS_TILT),
        number(row.temperature_c, abi::HAS_TEMPERATURE),
    ];
    let mut text = |text: Option<&str>, bit: u32| {
        present |= if text.is_some() { bit } else { 0 };
        text.map_or(UndimText::EMPTY, UndimText::of)
    };
    let [unit, station, device, remark] = [
        text(row.unit, abi::HAS_UNIT),
        text(row.station, abi::HAS_STATION),
        text(row.device, abi::HAS_DEVICE),
        text(row.remark, abi::HAS_REMARK),
    ];
    let (time_kind, time_us) = match row.time {
        None => (abi::TIME_NONE, 0),
        Some(Time::Instant(us)) => (abi::TIME_INSTANT, us),
        Some(Time::Wall(us)) => (abi::TIME_WALL, us),
    };
    UndimRow {
        present,
        row: row.row,
        time_us,
        time_kind,
        value,
        x,
        y,
        z,
        tilt_deg,
        temperature_c,
        unit,
        station,
        device,
        remark,
        ..UndimRow::EMPTY
    }
}
