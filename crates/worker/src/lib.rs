//! The worker's side of an importer: sandbox, load, check, call.
//!
//! The program calls [`main`] before anything else, with no thread started and nothing opened. The worker gives up
//! what it doesn't need (resource limits, Landlock, a filter of system calls), loads one library, checks what it
//! exports, calls it, checks all it hands over, and writes frames to the pipe that was its standard output. It
//! never loads a second library and never comes back: the process ends, because nothing else unloads foreign
//! code for good.
//!
//! What the importer does to this process doesn't matter. It has one file, opened for reading, and one pipe; the
//! other end of that pipe trusts nothing.

mod call;
pub mod lease;
mod limits;
mod load;
mod sandbox;
mod script;

use call::Host;
use rustix::stdio::{stderr, stdin, stdout};
use std::{ffi::OsString, fs::File, io::Write as _, process::ExitCode};
use undim_import::wire::{EncodeError, Encoder, Ending, Request, Task};

/// So much of a file is shown to `probe`.
const PROBE_BYTES: usize = 64 << 10;

/// Runs one importer as the arguments after [`ARGUMENT`](undim_import::wire::ARGUMENT) say.
///
/// Returns only when the arguments make no sense; otherwise the process ends here.
pub fn main(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let Some(request) = Request::from_arguments(arguments) else {
        let _ = writeln!(
            std::io::stderr(),
            "this is for the program's own use; see `undim --help`"
        );
        return ExitCode::from(2);
    };
    let status = match run(&request) {
        Ok(()) => 0,
        // The pipe is closed: nobody is left who would want to know.
        Err(_) => 1,
    };
    limits::quit(status)
}

fn run(request: &Request) -> Result<(), EncodeError> {
    limits::close_what_was_left_open();
    limits::set(request)?;
    // The importer's own prints go where its error output goes; only this descriptor leads to the frames.
    let frames = File::from(rustix::io::fcntl_dupfd_cloexec(stdout(), 3).map_err(std::io::Error::from)?);
    rustix::stdio::dup2_stdout(stderr()).map_err(std::io::Error::from)?;
    let mut encoder = Encoder::new(frames);
    if request.is_script() {
        return script::run(request, encoder);
    }

    let sandbox = sandbox::enter(&request.library);
    encoder.sandbox(sandbox)?;
    if request.sandbox_required
        && let Some(lacks) = sandbox.lacks()
    {
        return encoder.fail(&Ending::SandboxMissing(lacks.to_owned())).map(drop);
    }
    let importer = match load::load(&request.library) {
        Ok(importer) => importer,
        Err(ending) => return encoder.fail(&ending).map(drop),
    };
    sandbox::close_behind();
    if let Err(EncodeError::Refused(what)) = encoder.importer(&importer.header) {
        return encoder.fail(&Ending::Breach(what)).map(drop);
    }

    if matches!(request.task, Task::Probe | Task::ProbeAndRead) {
        let start = first_bytes()?;
        let sure = match importer.probe(&start, &request.file_name) {
            Ok(sure) => sure,
            Err(what) => return encoder.fail(&Ending::Breach(what)).map(drop),
        };
        encoder.sure(sure);
        if sure == 0 {
            return encoder.finish().map(drop);
        }
    }
    match request.task {
        Task::Describe | Task::Probe => encoder.finish().map(drop),
        Task::Read | Task::ProbeAndRead => Host::new(encoder).read(&importer, request),
    }
}

/// The first bytes of the file; its position stays where it is.
fn first_bytes() -> Result<Vec<u8>, EncodeError> {
    let mut start = vec![0; PROBE_BYTES];
    let mut filled = 0;
    while let Some(room) = start.get_mut(filled..).filter(|room| !room.is_empty()) {
        match rustix::io::pread(stdin(), room, filled as u64) {
            Ok(0) => break,
            Ok(count) => filled += count,
            Err(rustix::io::Errno::INTR) => {}
            Err(error) => return Err(std::io::Error::from(error).into()),
        }
    }
    start.truncate(filled);
    Ok(start)
}

#[cfg(test)]
mod tests {
    #[test]
    fn only_the_wire_is_used_of_the_other_side() {
        let sources = [
            include_str!("lib.rs"),
            include_str!("call.rs"),
            include_str!("limits.rs"),
            include_str!("load.rs"),
            include_str!("sandbox.rs"),
            include_str!("script/mod.rs"),
            include_str!("script/about.rs"),
            include_str!("script/rows.rs"),
            include_str!("script/said.rs"),
        ];
        let name = concat!("undim", "_import::");
        for used in sources.iter().flat_map(|source| source.split(name).skip(1)) {
            assert!(
                used.starts_with("wire"),
                "{name}{}",
                used.lines().next().unwrap_or_default()
            );
        }
    }
}
