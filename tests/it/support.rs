//! What the stories stand on: a site in a folder of its own, the real program, the real importers.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

/// A site in a temporary folder, with the shipped importers in its plugin folder.
pub(crate) struct TestSite {
    folder: tempfile::TempDir,
}

impl TestSite {
    /// An empty `undim.toml`, but that files settle at once.
    pub(crate) fn new() -> Self {
        Self::with_site_file("[intake]\nsettle = \"0s\"\n\n[site]\ntimezone = \"Europe/Lisbon\"\n")
    }

    /// With this `undim.toml`.
    pub(crate) fn with_site_file(text: &str) -> Self {
        let site = Self {
            folder: tempfile::tempdir().expect("a temporary folder"),
        };
        site.write("undim.toml", text);
        site.install(importer("undim-importer-delimited"));
        fs::create_dir_all(site.path("inbox")).expect("an inbox");
        site
    }

    /// A copy of the demo site.
    pub(crate) fn demo() -> Self {
        let site = Self::new();
        copy_tree(&repository().join("config/demo"), site.folder.path());
        site
    }

    /// Puts an importer into the site's plugin folder.
    pub(crate) fn install(&self, library: &Path) {
        let plugins = self.path("plugins");
        fs::create_dir_all(&plugins).expect("a plugin folder");
        fs::copy(library, plugins.join(library.file_name().expect("a name"))).expect("a copied importer");
    }

    pub(crate) fn path(&self, relative: &str) -> PathBuf {
        self.folder.path().join(relative)
    }

    pub(crate) fn write(&self, relative: &str, text: impl AsRef<[u8]>) {
        let path = self.path(relative);
        fs::create_dir_all(path.parent().expect("a parent")).expect("a folder");
        fs::write(path, text).expect("a written file");
    }

    /// Drops a file in the inbox.
    pub(crate) fn drop_file(&self, relative: &str, text: impl AsRef<[u8]>) {
        self.write(&format!("inbox/{relative}"), text);
    }

    pub(crate) fn read(&self, relative: &str) -> String {
        let path = self.path(relative);
        fs::read_to_string(&path)
            .unwrap_or_else(|error| panic!("{}: {error}\n{}", path.display(), self.listing()))
    }

    pub(crate) fn exists(&self, relative: &str) -> bool {
        self.path(relative).exists()
    }

    /// The JSON in a file.
    pub(crate) fn json(&self, relative: &str) -> serde_json::Value {
        serde_json::from_str(&self.read(relative)).expect("JSON")
    }

    /// A CSV file as rows of name → cell.
    pub(crate) fn rows(&self, relative: &str) -> Vec<Row> {
        rows(&self.read(relative))
    }

    /// Runs the program on the site.
    pub(crate) fn undim(&self, arguments: &[&str]) -> Run {
        let output = self.command(arguments).output().expect("the program runs");
        Run::from(output)
    }

    /// Runs the program and watches how much memory it and its workers take together, MiB.
    pub(crate) fn undim_with_peak(&self, arguments: &[&str]) -> (Run, u64) {
        let mut command = self.command(arguments);
        command
            .stdout(std::process::Stdio::piped())
            .stderr(std::process::Stdio::piped());
        let child = command.spawn().expect("the program starts");
        let pid = child.id();
        let done = std::sync::atomic::AtomicBool::new(false);
        std::thread::scope(|scope| {
            let watcher = scope.spawn(|| {
                let mut peak_kib = 0;
                while !done.load(std::sync::atomic::Ordering::Relaxed) {
                    peak_kib = peak_kib.max(resident_kib(pid));
                    std::thread::sleep(std::time::Duration::from_millis(2));
                }
                peak_kib
            });
            let output = child.wait_with_output().expect("the program ends");
            done.store(true, std::sync::atomic::Ordering::Relaxed);
            (Run::from(output), watcher.join().expect("a peak") / 1024)
        })
    }

    /// The program on the site, not yet started.
    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_undim"));
        command
            .args(arguments)
            .arg("--site")
            .arg(self.folder.path())
            .env("NO_COLOR", "1");
        command
    }

    /// Sweeps and expects it to be done without a remark.
    pub(crate) fn sweep(&self) -> Run {
        let run = self.undim(&["sweep"]);
        assert_eq!(run.status, Some(0), "{run}\n{}", self.listing());
        run
    }

    /// Every file of the site, for the message of a failed check.
    pub(crate) fn listing(&self) -> String {
        files_below(self.folder.path()).join("\n")
    }

    /// Every file below a folder of the site with its bytes.
    pub(crate) fn snapshot(&self, relative: &str) -> Vec<(String, Vec<u8>)> {
        let folder = self.path(relative);
        files_below(&folder)
            .into_iter()
            .map(|file| {
                let bytes = fs::read(folder.join(&file)).expect("readable");
                (file, bytes)
            })
            .collect()
    }

    /// The ids of a tank's surveys.
    pub(crate) fn surveys(&self, tank: &str) -> Vec<String> {
        let Ok(entries) = fs::read_dir(self.path(&format!("outbox/{tank}"))) else {
            return Vec::new();
        };
        let mut ids: Vec<String> = entries
            .filter_map(Result::ok)
            .filter(|entry| entry.path().join("survey.json").is_file())
            .map(|entry| entry.file_name().to_string_lossy().into_owned())
            // A folder that is being put in place or removed begins with a dot.
            .filter(|name| !name.starts_with('.'))
            .collect();
        ids.sort();
        ids
    }
}

/// What a process and its children hold in memory now, KiB.
fn resident_kib(pid: u32) -> u64 {
    let own = fs::read_to_string(format!("/proc/{pid}/status")).unwrap_or_default();
    let own = own.lines().find_map(|line| {
        line.strip_prefix("VmRSS:")?
            .trim()
            .strip_suffix(" kB")?
            .trim()
            .parse()
            .ok()
    });
    let tasks = fs::read_dir(format!("/proc/{pid}/task"))
        .into_iter()
        .flatten()
        .filter_map(Result::ok);
    let children = tasks.filter_map(|task| fs::read_to_string(task.path().join("children")).ok());
    let of_children: u64 = children
        .flat_map(|list| {
            list.split_whitespace()
                .filter_map(|pid| pid.parse().ok())
                .collect::<Vec<u32>>()
        })
        .map(resident_kib)
        .sum();
    own.unwrap_or(0) + of_children
}

/// One row of a CSV file.
pub(crate) struct Row(Vec<(String, String)>);

impl Row {
    /// A cell by its column's name.
    pub(crate) fn get(&self, column: &str) -> &str {
        let found = self.0.iter().find(|(name, _)| name == column);
        found.map_or_else(|| panic!("no column {column}"), |(_, cell)| cell.as_str())
    }

    /// A cell as a number.
    pub(crate) fn number(&self, column: &str) -> f64 {
        self.get(column)
            .parse()
            .unwrap_or_else(|_| panic!("{column} is no number: {:?}", self.get(column)))
    }
}

/// CSV as rows of name → cell.
pub(crate) fn rows(text: &str) -> Vec<Row> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let header: Vec<String> = reader
        .headers()
        .expect("a header")
        .iter()
        .map(str::to_owned)
        .collect();
    reader
        .records()
        .map(|record| {
            Row(header
                .iter()
                .cloned()
                .zip(record.expect("a record").iter().map(str::to_owned))
                .collect())
        })
        .collect()
}

/// How a run of the program ended and what it said.
pub(crate) struct Run {
    pub(crate) status: Option<i32>,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl From<Output> for Run {
    fn from(output: Output) -> Self {
        Self {
            status: output.status.code(),
            stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
            stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }
}

impl std::fmt::Display for Run {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "status {:?}\n--- stdout\n{}\n--- stderr\n{}",
            self.status, self.stdout, self.stderr
        )
    }
}

/// The top folder of the repository.
pub(crate) fn repository() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// The library of an importer package, as cargo itself names it after a build.
pub(crate) fn importer(package: &'static str) -> &'static Path {
    static DELIMITED: OnceLock<PathBuf> = OnceLock::new();
    static HOSTILE: OnceLock<PathBuf> = OnceLock::new();
    static RECORDS: OnceLock<PathBuf> = OnceLock::new();
    static SHEET: OnceLock<PathBuf> = OnceLock::new();
    static BIO_OPTICS: OnceLock<PathBuf> = OnceLock::new();
    let cell = match package {
        "undim-importer-hostile" => &HOSTILE,
        "undim-importer-records" => &RECORDS,
        "undim-importer-sheet" => &SHEET,
        "undim-importer-bio-optics" => &BIO_OPTICS,
        _ => &DELIMITED,
    };
    cell.get_or_init(|| build_library(&repository(), package, None))
}

/// Builds a package's dynamic library and says where it lies.
pub(crate) fn build_library(folder: &Path, package: &str, target: Option<&Path>) -> PathBuf {
    let mut command = Command::new(env!("CARGO"));
    command.current_dir(folder).args([
        "build",
        "--offline",
        "--message-format=json-render-diagnostics",
        "-p",
        package,
    ]);
    if let Some(target) = target {
        command.arg("--target-dir").arg(target);
    }
    let output = command.output().expect("cargo runs");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let name = package.replace('-', "_");
    String::from_utf8_lossy(&output.stdout)
        .lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok())
        .filter(|message| {
            message["target"]["name"]
                .as_str()
                .is_some_and(|found| found.replace('-', "_") == name)
        })
        .filter_map(|message| {
            let files = message["filenames"].as_array()?.clone();
            files
                .iter()
                .filter_map(|file| file.as_str())
                .find(|file| Path::new(file).extension().is_some_and(|end| end == "so"))
                .map(PathBuf::from)
        })
        .next_back()
        .expect("a dynamic library")
}

fn files_below(folder: &Path) -> Vec<String> {
    fn walk(folder: &Path, prefix: &str, files: &mut Vec<String>) {
        let Ok(entries) = fs::read_dir(folder) else { return };
        for entry in entries.filter_map(Result::ok) {
            let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
            match entry.file_type() {
                Ok(kind) if kind.is_dir() => walk(&entry.path(), &format!("{name}/"), files),
                _ => files.push(name),
            }
        }
    }
    let mut files = Vec::new();
    walk(folder, "", &mut files);
    files.sort();
    files
}

fn copy_tree(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder");
    for entry in fs::read_dir(from).expect("a folder").filter_map(Result::ok) {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy_tree(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).expect("a copied file");
        }
    }
}
