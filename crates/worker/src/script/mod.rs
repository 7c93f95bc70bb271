//! Runs an importer that is a program: file on its standard input, CSV on its standard output.
//!
//! The worker stays between: it starts the script in the sandbox, reads what it writes, checks it and sends
//! frames as for a library. So undim reads nothing but frames from either.

mod about;
mod rows;
mod said;

use crate::{limits, sandbox};
use about::{ABOUT_BYTES, About};
use rows::Taken;
use rustix::event::{PollFd, PollFlags, poll};
use rustix::process::Signal;
use said::Said;
use std::fs::File;
use std::io::{self, Read, Seek as _, Write as _};
use std::os::unix::process::{CommandExt as _, ExitStatusExt as _};
use std::process::{Child, ChildStderr, ChildStdout, Command, ExitStatus, Stdio};
use undim_import::wire::{EncodeError, Encoder, Ending, Request, Task};

/// Where a script's interpreter and the programs it turns into are looked for.
const PATH: &str = "/usr/local/bin:/usr/bin:/bin";

/// Runs a script as the request says. The error output is the worker's own.
pub(crate) fn run(request: &Request, mut encoder: Encoder<File>) -> Result<(), EncodeError> {
    let mut script = Vec::new();
    let opened = File::open(&request.library).and_then(|file| {
        file.take(ABOUT_BYTES as u64).read_to_end(&mut script)?;
        Ok(())
    });
    // Once more, for its own position: that of standard input may be shared with others.
    let input = File::open("/proc/self/fd/0");
    let sandbox = sandbox::enter_for_script(&request.library, &script);
    encoder.sandbox(sandbox)?;
    if request.sandbox_required
        && let Some(lacks) = sandbox.lacks()
    {
        return encoder.fail(&Ending::SandboxMissing(lacks.to_owned())).map(drop);
    }
    if let Err(error) = opened {
        return encoder.fail(&Ending::CannotLoad(error.to_string())).map(drop);
    }
    let about = match About::new(&request.library, &script) {
        Ok(about) => about,
        Err(what) => return encoder.fail(&Ending::CannotLoad(what)).map(drop),
    };
    if let Err(EncodeError::Refused(what)) = encoder.importer(&about.header) {
        return encoder.fail(&Ending::Breach(what)).map(drop);
    }
    if matches!(request.task, Task::Probe | Task::ProbeAndRead) {
        let sure = about.probe(&crate::first_bytes()?, &request.file_name);
        encoder.sure(sure);
        if sure == 0 {
            return encoder.finish().map(drop);
        }
    }
    if matches!(request.task, Task::Describe | Task::Probe) {
        return encoder.finish().map(drop);
    }
    if let Some((index, option)) = about.unknown_option(&request.options) {
        return encoder
            .fail(&Ending::Unusable {
                line: 0,
                column: 0,
                option: Some(index),
                text: format!(
                    "the script {} doesn't know {}; one that does says so in a comment, “undim-importer: option {}”",
                    about.header.name, option.path, option.path
                ),
            })
            .map(drop);
    }
    let environment = match environment(request) {
        Ok(environment) => environment,
        Err(ending) => return encoder.fail(&ending).map(drop),
    };
    read(request, input?, environment, encoder)
}

/// The options, each under its path in capitals: `columns.value.from` is `UNDIM_OPTION_COLUMNS_VALUE_FROM`.
fn environment(request: &Request) -> Result<Vec<(String, String)>, Ending> {
    let mut variables = vec![
        ("PATH".to_owned(), PATH.to_owned()),
        ("LC_ALL".to_owned(), "C.UTF-8".to_owned()),
        ("UNDIM_FILE_NAME".to_owned(), request.file_name.clone()),
    ];
    for (index, option) in (0..).zip(&request.options) {
        let letter = |c: char| {
            if c.is_ascii_alphanumeric() {
                c.to_ascii_uppercase()
            } else {
                '_'
            }
        };
        let name: String = "UNDIM_OPTION_"
            .chars()
            .chain(option.path.chars().map(letter))
            .collect();
        let wrong = if variables.iter().any(|(known, _)| *known == name) {
            Some(format!("two options would both be {name} for the script"))
        } else if option.text.contains('\0') {
            Some("a script can't be told a NUL byte".to_owned())
        } else {
            None
        };
        if let Some(text) = wrong {
            return Err(Ending::Unusable {
                line: 0,
                column: 0,
                option: Some(index),
                text,
            });
        }
        variables.push((name, option.text.clone()));
    }
    Ok(variables)
}

#[expect(unsafe_code, reason = "closes the sandbox further between fork and exec")]
fn read(
    request: &Request,
    input: File,
    environment: Vec<(String, String)>,
    mut encoder: Encoder<File>,
) -> Result<(), EncodeError> {
    let mut command = Command::new(&request.library);
    command
        .env_clear()
        .envs(environment)
        .stdin(Stdio::from(input.try_clone()?))
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    // SAFETY: the process has one thread, so whatever the closure calls finds no lock held by another.
    unsafe {
        command.pre_exec(|| {
            limits::die_with_the_parent()?;
            sandbox::close_for_script();
            Ok(())
        });
    }
    let mut child = match command.spawn() {
        Ok(child) => child,
        Err(error) => {
            let why = match error.kind() {
                io::ErrorKind::NotFound => {
                    "the interpreter that its first line names is not there; install it, or name another".to_owned()
                }
                io::ErrorKind::PermissionDenied => {
                    "it or its interpreter may not be run; allow it (chmod +x), and use an interpreter of the system's".to_owned()
                }
                _ => error.to_string(),
            };
            return encoder.fail(&Ending::CannotLoad(why)).map(drop);
        }
    };
    sandbox::close_behind_script();
    let (Some(stdout), Some(stderr)) = (child.stdout.take(), child.stderr.take()) else {
        return Err(io::Error::other("the script has no output").into());
    };
    let output = Output {
        stdout,
        stderr: Some(stderr),
        said: Said::default(),
    };
    let (taken, mut output) = match rows::take(output, &mut encoder) {
        Ok(taken) => taken,
        Err(EncodeError::Refused(what)) => return encoder.fail(&Ending::Breach(what)).map(drop),
        Err(error) => return Err(error),
    };
    let status = output.finish(&mut child)?;
    end(encoder, taken, output.said, status, input)
}

fn end(
    mut encoder: Encoder<File>,
    taken: Taken,
    mut said: Said,
    status: ExitStatus,
    mut input: File,
) -> Result<(), EncodeError> {
    said.close();
    let _ = io::stderr().write_all(&said.log);
    if let Some(signal) = status.signal() {
        // As a library's crash would: undim tells what each signal means.
        drop(encoder);
        limits::die_of(Signal::from_named_raw(signal));
        return Ok(());
    }
    for (key, value, assumed) in &said.facts {
        encoder.fact(key, value, *assumed)?;
    }
    for (line, column, text) in &said.problems {
        encoder.problem(*line, *column, text);
    }
    let left = input.metadata()?.len().saturating_sub(input.stream_position()?);
    let ending = match (said.breach, said.told, status.code().unwrap_or_default()) {
        (Some(breach), ..) => Ending::Breach(breach),
        (None, Some(told), _) => told,
        (None, None, 0) if taken == Taken::Nothing => Ending::Breach(
            "it ended with status 0 and wrote nothing; first should stand the names of the columns, row, value and others"
                .to_owned(),
        ),
        (None, None, 0) if left > 0 => Ending::Breach(format!(
            "it ended with status 0 before it had read the file: {left} bytes were left"
        )),
        (None, None, 0) => return encoder.finish().map(drop),
        (None, None, code) => Ending::Unusable {
            line: 0,
            column: 0,
            option: None,
            text: stumbled(code, &said.last),
        },
    };
    encoder.fail(&ending).map(drop)
}

/// What is said of a script that ended with a status and no message.
fn stumbled(code: i32, last: &str) -> String {
    let said = if last.is_empty() {
        "it did not say why".to_owned()
    } else {
        format!("it said “{}”", last.trim())
    };
    // What shells say.
    let hint = if last.to_lowercase().contains("fork") {
        "; a script can start no program beside itself, only become one (exec awk …)"
    } else {
        ""
    };
    format!("the script ended with status {code}; {said}{hint}")
}

/// Both outputs of the script: reading it reads the rows, and takes in what is said meanwhile.
struct Output {
    stdout: ChildStdout,
    stderr: Option<ChildStderr>,
    said: Said,
}

impl Output {
    /// Waits for the end of what is said, and of the script.
    fn finish(&mut self, child: &mut Child) -> io::Result<ExitStatus> {
        while let Some(stderr) = &self.stderr {
            wait(&mut [PollFd::new(stderr, PollFlags::IN)])?;
            self.take_said();
        }
        child.wait()
    }

    fn take_said(&mut self) {
        let mut bytes = [0; 8192];
        let read = self
            .stderr
            .as_mut()
            .map_or(Ok(0), |stderr| stderr.read(&mut bytes));
        match read {
            Ok(0) | Err(_) => self.stderr = None,
            Ok(count) => self.said.take(bytes.get(..count).unwrap_or_default()),
        }
    }
}

impl Read for Output {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        while let Some(stderr) = &self.stderr {
            let mut fds = [
                PollFd::new(&self.stdout, PollFlags::IN),
                PollFd::new(stderr, PollFlags::IN),
            ];
            wait(&mut fds)?;
            let [stdout, stderr] = &fds;
            let (has_rows, has_words) = (!stdout.revents().is_empty(), !stderr.revents().is_empty());
            if has_words {
                self.take_said();
            }
            if has_rows {
                break;
            }
        }
        self.stdout.read(buf)
    }
}

fn wait(fds: &mut [PollFd]) -> io::Result<()> {
    loop {
        match poll(fds, None) {
            Ok(_) => return Ok(()),
            Err(rustix::io::Errno::INTR) => {}
            Err(error) => return Err(error.into()),
        }
    }
}
