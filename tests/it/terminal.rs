//! The program as somebody meets it who has just installed it: laid out as it is installed, typed at in a terminal.

use crate::support::{Run, importer};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use std::fs::{self, File, OpenOptions};
use std::io::{ErrorKind, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Long enough for a loaded machine.
const PATIENCE: Duration = Duration::from_mins(1);

/// A folder with the program in `bin` and its importers in `lib/undim/importers`.
pub(crate) struct Home {
    folder: tempfile::TempDir,
}

impl Home {
    pub(crate) fn new() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let (bin, lib) = (
            folder.path().join("bin"),
            folder.path().join("lib/undim/importers"),
        );
        fs::create_dir_all(&bin).expect("a folder");
        fs::create_dir_all(&lib).expect("a folder");
        fs::hard_link(env!("CARGO_BIN_EXE_undim"), bin.join("undim"))
            .or_else(|_| fs::copy(env!("CARGO_BIN_EXE_undim"), bin.join("undim")).map(|_| ()))
            .expect("the program");
        let library = importer("undim-importer-delimited");
        fs::copy(library, lib.join(library.file_name().expect("a name"))).expect("an importer");
        Self { folder }
    }

    pub(crate) fn path(&self, relative: &str) -> PathBuf {
        self.folder.path().join(relative)
    }

    pub(crate) fn write(&self, relative: &str, text: impl AsRef<[u8]>) {
        fs::write(self.path(relative), text).expect("a written file");
    }

    pub(crate) fn read(&self, relative: &str) -> String {
        fs::read_to_string(self.path(relative)).unwrap_or_else(|error| panic!("{relative}: {error}"))
    }

    /// What lies in the folder, beside the program.
    pub(crate) fn names(&self) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(self.folder.path())
            .expect("a folder")
            .map(|found| found.expect("a name").file_name().to_string_lossy().into_owned())
            .filter(|name| name != "bin" && name != "lib")
            .collect();
        names.sort();
        names
    }

    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(self.path("bin/undim"));
        command
            .args(arguments)
            .current_dir(self.folder.path())
            .env("NO_COLOR", "1")
            .env("LC_ALL", "C.UTF-8")
            .stdin(Stdio::null());
        command
    }

    /// Runs the program in the folder.
    pub(crate) fn undim(&self, arguments: &[&str]) -> Run {
        Run::from(self.command(arguments).output().expect("the program runs"))
    }

    /// Runs it with answers on a pipe.
    pub(crate) fn piped(&self, arguments: &[&str], answers: &str) -> Run {
        let mut child = self
            .command(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut stdin = child.stdin.take().expect("a pipe");
        // A program that stopped asking has closed it.
        let _ = stdin.write_all(answers.as_bytes());
        drop(stdin);
        Run::from(child.wait_with_output().expect("the program ends"))
    }

    /// Starts it in a terminal of its own.
    pub(crate) fn typed(&self, arguments: &[&str]) -> Terminal {
        Terminal::start(self.command(arguments))
    }
}

/// A program in a pseudo-terminal.
pub(crate) struct Terminal {
    child: Child,
    keys: File,
    shown: Arc<Mutex<String>>,
    /// How far what was shown has been looked at.
    seen: usize,
}

impl Terminal {
    fn start(mut command: Command) -> Self {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pseudo-terminal");
        grantpt(&master).expect("granted");
        unlockpt(&master).expect("unlocked");
        let name = ptsname(&master, Vec::new()).expect("a name");
        let name = name.to_str().expect("a path").to_owned();
        let side = || {
            OpenOptions::new()
                .read(true)
                .write(true)
                .open(Path::new(&name))
                .expect("the terminal's other side")
        };
        let child = command
            .stdin(side())
            .stdout(side())
            .stderr(side())
            .spawn()
            .expect("the program starts");
        drop(command);
        let keys = File::from(master);
        let mut screen = keys.try_clone().expect("a copy");
        let shown = Arc::new(Mutex::new(String::new()));
        let writing = Arc::clone(&shown);
        std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            loop {
                match screen.read(&mut buffer) {
                    Ok(count) if count > 0 => {
                        let text = String::from_utf8_lossy(&buffer[..count]).replace('\r', "");
                        writing.lock().expect("not poisoned").push_str(&text);
                    }
                    Err(error) if error.kind() == ErrorKind::Interrupted => {}
                    // The other side is closed.
                    _ => return,
                }
            }
        });
        Self {
            child,
            keys,
            shown,
            seen: 0,
        }
    }

    pub(crate) fn shown(&self) -> String {
        self.shown.lock().expect("not poisoned").clone()
    }

    /// Waits until this is shown, after what was waited for before.
    pub(crate) fn wait_for(&mut self, text: &str) {
        let since = Instant::now();
        loop {
            let shown = self.shown();
            if let Some(at) = shown.get(self.seen..).and_then(|rest| rest.find(text)) {
                self.seen += at + text.len();
                return;
            }
            assert!(since.elapsed() < PATIENCE, "“{text}” was not shown:\n{shown}");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// Types a line once this is shown.
    pub(crate) fn answer(&mut self, question: &str, line: &str) {
        self.wait_for(question);
        self.wait_for("> ");
        writeln!(self.keys, "{line}").expect("typed");
    }

    /// Waits for its end; gives its status and all that was shown.
    pub(crate) fn end(mut self) -> (Option<i32>, String) {
        let status = self.child.wait().expect("it ends").code();
        let (since, mut before) = (Instant::now(), String::new());
        // What was written last may still be on its way.
        while since.elapsed() < Duration::from_secs(2) {
            let shown = self.shown();
            if shown == before && !shown.is_empty() && since.elapsed() > Duration::from_millis(100) {
                break;
            }
            before = shown;
            std::thread::sleep(Duration::from_millis(20));
        }
        (status, self.shown())
    }
}
