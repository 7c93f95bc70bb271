//! What it does on request.

use crate::host::Host;
use std::{
    fs::{self, File},
    hint::black_box,
    io::Write as _,
    mem::ManuallyDrop,
    net::{TcpStream, UdpSocket},
    os::fd::{FromRawFd, OwnedFd},
    process::{self, Command},
    ptr, thread,
    time::Duration,
};
use undim_abi::{self as abi, STATUS_DONE, STATUS_FAILED, UndimMessage, UndimRow, UndimText};

/// Does what the word says. Where that leaves it alive, it tells how it went as a fact and reads the rest honestly.
pub(crate) fn commit(word: &str, rest: &str, host: &Host) -> i32 {
    match word {
        "behave" => {}
        "panic" => panic!("on request"),
        "abort" => process::abort(),
        "exit-0" => process::exit(0),
        "exit-7" => process::exit(7),
        "null-write" => return write_to_null(),
        "stack-overflow" => return i32::from(descend(0) == 0),
        "loop" => return turn_for_ever(),
        "sleep" => thread::sleep(Duration::MAX),
        "allocate" => allocate_for_ever(),
        "thread" => told(host, thread::Builder::new().spawn(turn_for_ever).map(drop)),
        "fork" => told(host, Command::new("/bin/true").spawn().map(drop)),
        "udp" => told(host, UdpSocket::bind("127.0.0.1:0").map(drop)),
        "tcp" => told(host, TcpStream::connect("127.0.0.1:9").map(drop)),
        "chdir" => told(host, std::env::set_current_dir("/")),
        "environment" => host.found("outcome", &format!("{} variables", std::env::vars_os().count())),
        // The rest of the file is a path for these.
        "write-file" => return outcome(host, fs::write(rest.trim_end(), "taken")),
        "open-file" => return outcome(host, File::open(rest.trim_end()).map(drop)),
        "list-folder" => return outcome(host, fs::read_dir(rest.trim_end()).map(drop)),
        "remove-file" => return outcome(host, fs::remove_file(rest.trim_end())),
        _ => return commit_in_talk(word, rest, host),
    }
    host.push_lines(rest)
}

/// Misdeeds in what is pushed, said or written.
fn commit_in_talk(word: &str, rest: &str, host: &Host) -> i32 {
    let row = UndimRow {
        row: 2,
        ..UndimRow::EMPTY
    };
    let station = |bytes: &'static [u8]| UndimRow {
        present: abi::HAS_STATION,
        station: UndimText {
            ptr: bytes.as_ptr(),
            len: bytes.len(),
        },
        ..row
    };
    let stride = size_of::<UndimRow>();
    let one = &raw const row;
    match word {
        "endless-rows" => push_for_ever(host),
        "endless-problems" => while host.say(abi::SAY_PROBLEM, "", &[b'x'; 2000]) == 0 {},
        "endless-facts" => while host.say(abi::SAY_FOUND, "unit", b"lx") == 0 {},
        "too-many-rows" => _ = host.push_raw(one, usize::MAX, stride),
        "more-rows-than-there-are" => _ = host.push_raw(one, 1 << 40, stride),
        "small-stride" => _ = host.push_raw(one, 1, 8),
        "odd-stride" => _ = host.push_raw(one, 2, stride + 1),
        "null-rows" => _ = host.push_raw(ptr::null(), 1, stride),
        "row-zero" => _ = host.push(&UndimRow { row: 0, ..row }),
        "small-row" => _ = host.push(&UndimRow { size: 8, ..row }),
        "unknown-bits" => {
            _ = host.push(&UndimRow {
                present: 1 << 31,
                ..row
            });
        }
        "unknown-time" => _ = host.push(&UndimRow { time_kind: 3, ..row }),
        "not-utf8" => _ = host.push(&station(b"reef \xff top")),
        "long-station" => _ = host.push(&station(&[b'x'; 300])),
        "null-text" => {
            let nowhere = UndimText {
                ptr: ptr::null(),
                len: 5,
            };
            _ = host.push(&UndimRow {
                present: abi::HAS_UNIT,
                unit: nowhere,
                ..row
            });
        }
        "not-a-number" => push_no_numbers(host, row),
        "null-message" => _ = host.say_raw(ptr::null()),
        "small-message" => {
            _ = host.say_raw(&UndimMessage {
                size: 4,
                ..UndimMessage::new(abi::SAY_PROBLEM, UndimText::EMPTY)
            });
        }
        "unknown-message" => _ = host.say(99, "", b""),
        "lone-choice" => _ = host.say(abi::SAY_CHOICE, "", b"yes"),
        "messages-with-nul" => _ = host.say(abi::SAY_PROBLEM, "", b"a\0b\x1b[31mc\xffd"),
        "goes-on-after-stop" => {
            host.push(&UndimRow { row: 0, ..row });
            return host.push_lines("1\n2\n3") & STATUS_DONE;
        }
        "fails-in-silence" => return STATUS_FAILED,
        "fails" => {
            host.say(abi::SAY_FAILURE, "", b"on\nrequest");
            return STATUS_FAILED;
        }
        "asks" => {
            host.say(abi::SAY_QUESTION, "", b"which?");
            host.say(abi::SAY_CHOICE, "", b"this");
            host.say(abi::SAY_CHOICE, "", b"that");
            return STATUS_FAILED;
        }
        _ => return commit_in_print(word, rest, host),
    }
    host.push_lines(rest)
}

/// Misdeeds in what is written to descriptors.
fn commit_in_print(word: &str, rest: &str, host: &Host) -> i32 {
    match word {
        "prints" => _ = std::io::stdout().write_all(b"\x1b[31mhello\n"),
        "prints-much" => {
            for _ in 0..4096 {
                let _ = std::io::stderr().write_all(&[b'x'; 1024]);
            }
        }
        "garbage-in-the-pipe" => with_every_descriptor(|file| _ = file.write_all(b"garbage")),
        "forged-frames" => with_every_descriptor(|file| _ = file.write_all(&[16, 16, 0, 0, 0])),
        "closes-everything" => with_every_descriptor(|file| {
            // SAFETY: none is meant.
            #[expect(unsafe_code, reason = "closes what is not its own")]
            drop(unsafe { ManuallyDrop::take(file) });
        }),
        _ => {
            host.say(abi::SAY_FAILURE, "", b"no such misdeed");
            return STATUS_FAILED;
        }
    }
    host.push_lines(rest)
}

/// Tells how something went.
fn told(host: &Host, result: std::io::Result<()>) {
    let went = result.map_or_else(
        |error| format!("refused: {}", error.kind()),
        |()| "done".to_owned(),
    );
    host.found("outcome", &went);
}

/// Who succeeds gives a reading: a file that is taken in then shows that the misdeed was done.
fn outcome(host: &Host, result: std::io::Result<()>) -> i32 {
    let done = result.is_ok();
    told(host, result);
    if done { host.push_lines("1") } else { STATUS_DONE }
}

pub(crate) fn turn_for_ever() -> i32 {
    loop {
        black_box(0);
    }
}

#[expect(unsafe_code, reason = "that is the misdeed")]
pub(crate) fn write_to_null() -> i32 {
    // SAFETY: none is meant.
    unsafe { black_box(ptr::null_mut::<i32>()).write_volatile(1) };
    0
}

#[expect(unconditional_recursion, reason = "that is the misdeed")]
fn descend(depth: u64) -> u64 {
    let frame = black_box([depth; 64]);
    descend(depth + 1) + black_box(frame).iter().sum::<u64>()
}

fn allocate_for_ever() {
    let mut taken = Vec::new();
    loop {
        taken.push(black_box(vec![1_u8; 1 << 20]));
    }
}

fn push_for_ever(host: &Host) {
    for number in 1.. {
        let row = UndimRow {
            row: number,
            present: abi::HAS_VALUE,
            value: number as f64,
            ..UndimRow::EMPTY
        };
        // Stopping when asked to would be half an excuse.
        host.push(&row);
    }
}

fn push_no_numbers(host: &Host, row: UndimRow) {
    let present = abi::HAS_VALUE | abi::HAS_X | abi::HAS_TILT;
    host.push(&UndimRow {
        present,
        value: f64::NAN,
        x: f64::INFINITY,
        tilt_deg: f64::NEG_INFINITY,
        ..row
    });
}

#[expect(unsafe_code, reason = "takes what is not its own")]
fn with_every_descriptor(mut act: impl FnMut(&mut ManuallyDrop<File>)) {
    for number in 1..64 {
        // SAFETY: none is meant.
        let mut file = ManuallyDrop::new(File::from(unsafe { OwnedFd::from_raw_fd(number) }));
        act(&mut file);
    }
}
