//! An importer called as undim calls it: through the exported constant and plain C structs.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::ffi::c_void;
use undim_sdk::abi::{self, UndimHost, UndimImporter, UndimMessage, UndimOption, UndimRow, UndimText};
use undim_sdk::{Failure, Importer, Input, Options, Out, Row, Time};

struct Sample;

impl Importer for Sample {
    const NAME: &'static str = "sample";
    const VERSION: &'static str = "1.2.3";
    const READS: &'static str = "what this test gives it";

    fn probe(start: &[u8], file_name: &str) -> u8 {
        assert_ne!(start, b"panic");
        if file_name == "sample.txt" { 250 } else { 3 }
    }

    fn read(input: &mut Input, options: &Options, out: &mut Out) -> Result<(), Failure> {
        let name = input.file_name();
        let file = input.read_to_limit(30)?;
        match file.as_slice() {
            b"panic" => panic!("the tide is out"),
            b"ask" => return Err(Failure::question("which?", ["a = 1", "a = 2"])),
            b"option" => return Err(Failure::option(options.iter().len() as u32 - 1, "no such column")),
            _ => {}
        }
        out.found("encoding", "utf-8");
        out.assumed("unit", "lx");
        out.problem(4, 2, "no number");
        let station = String::from_utf8(file).map_err(|_| Failure::unusable(1, 0, "no text"))?;
        let full = Row {
            row: 2,
            time: Some(Time::Wall(-5)),
            value: Some(1.5),
            unit: Some(name),
            x: Some(2.5),
            y: Some(3.5),
            z: Some(4.5),
            station: Some(&station),
            device: Some("device"),
            tilt_deg: Some(5.5),
            temperature_c: Some(6.5),
            remark: Some(""),
        };
        out.push(&full)?;
        out.push(&Row {
            row: 3,
            time: Some(Time::Instant(7)),
            ..Row::default()
        })?;
        unreachable!("the host said stop");
    }
}

undim_sdk::export!(Sample);

#[expect(unsafe_code, reason = "finds the constant the way a linker does")]
fn exported() -> UndimImporter {
    unsafe extern "C" {
        safe static undim_importer_v1: UndimImporter;
    }
    undim_importer_v1
}

/// What the host got, and how many rows it takes before it says stop.
#[derive(Default)]
struct Got {
    file: Vec<u8>,
    rows: Vec<String>,
    messages: Vec<String>,
    stop_after: usize,
}

#[expect(unsafe_code, reason = "reads texts of the other side")]
fn text(text: UndimText) -> String {
    // SAFETY: the importer under test keeps its texts for the length of the call.
    String::from_utf8(unsafe { text.bytes() }.unwrap().to_vec()).unwrap()
}

#[expect(unsafe_code, reason = "a host in C terms")]
unsafe extern "C" fn pull(ctx: *mut c_void, buf: *mut u8, cap: usize) -> isize {
    // SAFETY: `ctx` is the `Got` below; `buf` has room for `cap` bytes.
    let (got, buf) = unsafe { (&mut *ctx.cast::<Got>(), std::slice::from_raw_parts_mut(buf, cap)) };
    let count = got.file.len().min(cap).min(3);
    buf[..count].copy_from_slice(&got.file[..count]);
    got.file.drain(..count);
    count as isize
}

#[expect(unsafe_code, reason = "a host in C terms")]
unsafe extern "C" fn push(ctx: *mut c_void, rows: *const UndimRow, count: usize, stride: usize) -> i32 {
    assert_eq!((count, stride), (1, size_of::<UndimRow>()));
    // SAFETY: `ctx` is the `Got` below; there is one row.
    let (got, row) = unsafe { (&mut *ctx.cast::<Got>(), &*rows) };
    assert_eq!((row.size, row.reserved), (size_of::<UndimRow>() as u32, 0));
    got.rows.push(format!(
        "{} {:010b} {} {} | {} {} {} {} {} {} | {} {} {} {}",
        row.row,
        row.present,
        row.time_kind,
        row.time_us,
        row.value,
        row.x,
        row.y,
        row.z,
        row.tilt_deg,
        row.temperature_c,
        text(row.unit),
        text(row.station),
        text(row.device),
        text(row.remark),
    ));
    i32::from(got.rows.len() > got.stop_after)
}

#[expect(unsafe_code, reason = "a host in C terms")]
unsafe extern "C" fn say(ctx: *mut c_void, message: *const UndimMessage) -> i32 {
    // SAFETY: `ctx` is the `Got` below; the message is valid for this call.
    let (got, message) = unsafe { (&mut *ctx.cast::<Got>(), &*message) };
    assert_eq!(message.size, size_of::<UndimMessage>() as u32);
    let option = if message.option == abi::NO_OPTION {
        "-".to_owned()
    } else {
        message.option.to_string()
    };
    got.messages.push(format!(
        "{} {}:{} {option} {} {}",
        message.kind,
        message.line,
        message.column,
        text(message.key),
        text(message.text)
    ));
    0
}

/// Runs the exported `read`; its status and what the host got.
#[expect(unsafe_code, reason = "calls the importer as undim does")]
fn read(file: &[u8]) -> (i32, Got) {
    let mut got = Got {
        file: file.to_vec(),
        stop_after: 1,
        ..Got::default()
    };
    let option = UndimOption {
        size: size_of::<UndimOption>() as u32,
        kind: abi::OPTION_INTEGER,
        path: UndimText::of("header"),
        text: UndimText::of("1"),
    };
    let options = [option; 2];
    let host = UndimHost {
        size: size_of::<UndimHost>() as u32,
        flags: 0,
        ctx: (&raw mut got).cast(),
        file_name: UndimText::of("sample.txt"),
        options: options.as_ptr(),
        option_count: options.len(),
        option_stride: size_of::<UndimOption>(),
        pull: Some(pull),
        push: Some(push),
        say: Some(say),
    };
    // SAFETY: the host is whole and outlives the call.
    let status = unsafe { exported().read.unwrap()(&raw const host) };
    (status, got)
}

#[test]
fn the_descriptor_is_exported() {
    let importer = exported();
    assert_eq!(
        (
            importer.magic,
            importer.abi_major,
            importer.abi_minor,
            importer.size,
            importer.flags
        ),
        (abi::MAGIC, 1, 0, size_of::<UndimImporter>() as u32, 0)
    );
    assert_eq!(
        [text(importer.name), text(importer.version), text(importer.reads)],
        ["sample", "1.2.3", "what this test gives it"]
    );
}

#[test]
#[expect(unsafe_code, reason = "calls the importer as undim does")]
fn probe_is_capped_and_never_panics() {
    let probe = |start: &[u8], name: &str| {
        // SAFETY: both slices outlive the call.
        unsafe { exported().probe.unwrap()(start.as_ptr(), start.len(), name.as_ptr(), name.len()) }
    };
    assert_eq!(probe(b"", "sample.txt"), 100);
    assert_eq!(probe(b"x", "other.txt"), 3);
    assert_eq!(probe(b"panic", "sample.txt"), 0);
}

#[test]
fn rows_facts_and_problems_cross_and_stop_is_obeyed() {
    let (status, got) = read(b"reef-top");
    assert_eq!(status, abi::STATUS_FAILED);
    assert_eq!(
        got.rows,
        [
            "2 1111111111 2 -5 | 1.5 2.5 3.5 4.5 5.5 6.5 | sample.txt reef-top device ",
            "3 0000000000 1 7 | 0 0 0 0 0 0 |    ",
        ]
    );
    assert_eq!(
        got.messages,
        ["1 0:0 - encoding utf-8", "2 0:0 - unit lx", "3 4:2 -  no number"]
    );
}

#[test]
fn failures_are_said() {
    let said = |file: &[u8]| {
        let (status, got) = read(file);
        assert_eq!((status, got.rows.len()), (abi::STATUS_FAILED, 0));
        got.messages.join("\n")
    };
    assert_eq!(
        said(b"panic"),
        "6 0:0 -  the importer failed in an unforeseen way: the tide is out"
    );
    assert_eq!(said(b"ask"), "4 0:0 -  which?\n5 0:0 -  a = 1\n5 0:0 -  a = 2");
    assert_eq!(said(b"option"), "6 0:0 1  no such column");
    assert!(said(&[b'x'; 31]).contains("longer than the 30 bytes"));
    assert!(said(b"\xff").ends_with("6 1:0 -  no text"));
}

#[test]
fn the_same_importer_runs_without_c() {
    let seen = undim_sdk::testing::run::<Sample>(b"panic", "sample.txt", &[]);
    assert_eq!(
        seen.result.unwrap_err().text(),
        "the importer failed in an unforeseen way: the tide is out"
    );
    assert_eq!(undim_sdk::testing::probe::<Sample>(b"panic", ""), 0);
}
