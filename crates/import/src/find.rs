//! Which importers there are, and which one reads a file.
//!
//! Folders are looked through in order: the site's, beside the program, `../lib/undim/importers` from it. In the
//! first and the last every library counts; beside the program only those named `libundim_importer_*`, for
//! many other libraries may lie there. In the site's folders scripts count too: programs that may be run. Of two
//! importers of one name the first counts, and the other is named as passed over. What others can write to is never
//! run: in the site's folders nobody but the owner, elsewhere not everybody.
//!
//! An importer's name stands inside it, and loading a library runs its code; so a worker asks, once for
//! each importer as it lies on disk.

use crate::{
    run::{ImportFailure, ImportOption, ImportReport, Sink, Source, Worker},
    wire::Header,
};
use std::{
    collections::HashMap,
    env::consts::{DLL_EXTENSION, DLL_PREFIX},
    fmt,
    fs::{self, Metadata},
    io::{self, Read as _},
    os::unix::fs::MetadataExt,
    path::{Path, PathBuf},
    sync::{Mutex, PoisonError, atomic::AtomicBool},
};

/// What form an importer has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A dynamic library with the C contract.
    Library,
    /// A program that reads the file on its standard input and writes rows as CSV.
    Script,
}

/// An importer that can be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Where it lies.
    pub path: PathBuf,
    /// What form it has.
    pub kind: Kind,
    /// Who it says it is.
    pub header: Header,
}

/// A file that looks like an importer and is not used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PassedOver {
    /// Where it lies.
    pub path: PathBuf,
    /// Why, as a sentence without its end.
    pub why: String,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Findings {
    /// Usable importers, the first folder's first, by file name within a folder.
    pub importers: Vec<Found>,
    /// Those that are not used.
    pub passed_over: Vec<PassedOver>,
    /// The folders that were looked through, in order, also those that don't exist.
    pub searched: Vec<PathBuf>,
}

impl Findings {
    /// The importer of this name.
    pub fn named(&self, name: &str) -> Option<&Found> {
        self.importers.iter().find(|found| found.header.name == name)
    }
}

/// Looks for importers, and remembers what libraries said about themselves.
#[derive(Debug)]
pub struct Finder {
    folders: Vec<Folder>,
    known: Mutex<HashMap<Identity, Result<Header, String>>>,
}

#[derive(Debug)]
struct Folder {
    path: PathBuf,
    /// What the names of its importers begin with.
    prefix: String,
    /// True for the site's own: scripts count, and nobody but the owner may write.
    is_sites: bool,
}

/// A library as it lies on disk. A library that is replaced differs in one of these.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Identity {
    path: PathBuf,
    device: u64,
    inode: u64,
    size: u64,
    modified: (i64, i64),
    changed: (i64, i64),
}

impl Finder {
    /// `site` are the site's plugin folders in order, `program_folder` is where the program lies.
    pub fn new(site: impl IntoIterator<Item = PathBuf>, program_folder: &Path) -> Self {
        let any = |path, is_sites| Folder {
            path,
            prefix: String::new(),
            is_sites,
        };
        let mut folders: Vec<_> = site.into_iter().map(|path| any(path, true)).collect();
        folders.push(Folder {
            prefix: format!("{DLL_PREFIX}undim_importer_"),
            ..any(program_folder.to_owned(), false)
        });
        folders.extend(
            program_folder
                .parent()
                .map(|above| any(above.join("lib/undim/importers"), false)),
        );
        Self {
            folders,
            known: Mutex::default(),
        }
    }

    /// Looks through the folders. A library that was not seen before is asked in a worker.
    pub fn find(&self, worker: &Worker, cancel: &AtomicBool) -> Findings {
        let mut findings = Findings::default();
        for folder in &self.folders {
            findings.searched.push(folder.path.clone());
            match candidates(folder) {
                Ok(paths) => {
                    for path in paths {
                        self.take(path, folder, worker, cancel, &mut findings);
                    }
                }
                Err(Refusal::Unreadable(error)) if error.kind() == io::ErrorKind::NotFound => {}
                Err(refusal) => {
                    findings.passed_over.push(PassedOver {
                        path: folder.path.clone(),
                        why: refusal.to_string(),
                    });
                }
            }
        }
        findings
    }

    fn take(
        &self,
        path: PathBuf,
        folder: &Folder,
        worker: &Worker,
        cancel: &AtomicBool,
        findings: &mut Findings,
    ) {
        let kind = if is_library(&path) {
            Kind::Library
        } else {
            Kind::Script
        };
        let found = admit(&path, folder.is_sites, Metadata::is_file)
            .and_then(|metadata| match kind {
                Kind::Script if metadata.mode() & 0o111 == 0 => Err(Refusal::NotToBeRun),
                _ => Ok(metadata),
            })
            .map_err(|refusal| refusal.to_string())
            .and_then(|metadata| {
                let header = self.describe(&path, &metadata, worker, cancel)?;
                match findings.named(&header.name) {
                    Some(first) => Err(format!(
                        "{} has the same name, {}, and comes first",
                        first.path.display(),
                        header.name
                    )),
                    None => Ok(header),
                }
            });
        match found {
            Ok(header) => findings.importers.push(Found { path, kind, header }),
            Err(why) => findings.passed_over.push(PassedOver { path, why }),
        }
    }

    fn describe(
        &self,
        path: &Path,
        metadata: &Metadata,
        worker: &Worker,
        cancel: &AtomicBool,
    ) -> Result<Header, String> {
        let identity = Identity {
            path: path.to_owned(),
            device: metadata.dev(),
            inode: metadata.ino(),
            size: metadata.len(),
            modified: (metadata.mtime(), metadata.mtime_nsec()),
            changed: (metadata.ctime(), metadata.ctime_nsec()),
        };
        if let Some(known) = self.known().get(&identity) {
            return known.clone();
        }
        // Not under the lock: a library may take long to answer.
        let answer = worker.describe(path, cancel);
        let is_transient = answer.as_ref().is_err_and(ImportFailure::is_transient);
        let answer = answer.map_err(|failure| failure.to_string());
        if !is_transient {
            let mut known = self.known();
            known.retain(|other, _| other.path != identity.path);
            known.insert(identity, answer.clone());
        }
        answer
    }

    fn known(&self) -> std::sync::MutexGuard<'_, HashMap<Identity, Result<Header, String>>> {
        // What a thread that panicked left behind is whole: it is only ever inserted into.
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Why a folder or file is not looked at.
enum Refusal {
    Unreadable(io::Error),
    Kind,
    /// Who can write: everybody, or its group.
    Writable(&'static str),
    NotToBeRun,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::Unreadable(error) => write!(f, "it can't be read: {error}"),
            Self::Kind => f.write_str("it is no regular file"),
            Self::Writable(who) => write!(
                f,
                "{who} can write to it, so anybody's code could be run; take that right away (chmod go-w)"
            ),
            Self::NotToBeRun => f.write_str("it is a script that may not be run; allow it (chmod +x)"),
        }
    }
}

/// `is_strict`: a group may not write either.
fn admit(path: &Path, is_strict: bool, is_right_kind: fn(&Metadata) -> bool) -> Result<Metadata, Refusal> {
    const EVERYBODY_WRITES: u32 = 0o002;
    const GROUP_WRITES: u32 = 0o020;
    let metadata = fs::metadata(path).map_err(Refusal::Unreadable)?;
    if !is_right_kind(&metadata) {
        return Err(Refusal::Kind);
    }
    if metadata.mode() & EVERYBODY_WRITES != 0 {
        return Err(Refusal::Writable("everybody"));
    }
    if is_strict && metadata.mode() & GROUP_WRITES != 0 {
        return Err(Refusal::Writable("its whole group"));
    }
    Ok(metadata)
}

/// True for a file that would count as an importer in a site's folder: a library by its name, or a script or other
/// program that may be run.
pub fn is_candidate(path: &Path) -> bool {
    let may_be_run = || fs::metadata(path).is_ok_and(|metadata| metadata.mode() & 0o111 != 0);
    is_library(path) || may_be_run() && is_program(path)
}

fn is_library(path: &Path) -> bool {
    path.extension()
        .is_some_and(|extension| extension == DLL_EXTENSION)
}

/// True for a regular file that begins as programs do: `#!`, or the mark of a compiled one.
fn is_program(path: &Path) -> bool {
    const COMPILED: &[u8; 4] = b"\x7fELF";
    let is_hidden = path
        .file_name()
        .is_some_and(|name| name.as_encoded_bytes().starts_with(b"."));
    let mut start = [0; 4];
    !is_hidden
        && fs::metadata(path).is_ok_and(|metadata| metadata.is_file())
        && fs::File::open(path).is_ok_and(|mut file| {
            let mut filled = 0;
            while let Ok(count @ 1..) = file.read(start.get_mut(filled..).unwrap_or_default()) {
                filled += count;
            }
            start.starts_with(b"#!") || start == *COMPILED
        })
}

/// The files of a folder that look like importers, by name.
fn candidates(folder: &Folder) -> Result<Vec<PathBuf>, Refusal> {
    let mut paths = Vec::new();
    for entry in fs::read_dir(&folder.path).map_err(Refusal::Unreadable)? {
        let path = entry.map_err(Refusal::Unreadable)?.path();
        let has_prefix = path
            .file_name()
            .is_some_and(|name| name.as_encoded_bytes().starts_with(folder.prefix.as_bytes()));
        if has_prefix && (is_library(&path) || folder.is_sites && is_program(&path)) {
            paths.push(path);
        }
    }
    if !paths.is_empty() {
        admit(&folder.path, folder.is_sites, Metadata::is_dir)?;
    }
    paths.sort_unstable();
    Ok(paths)
}

/// Lets one importer read a file without asking it: somebody named it.
pub fn read_by_name(
    worker: &Worker,
    importer: &Found,
    source: Source,
    options: &[ImportOption],
    cancel: &AtomicBool,
    sink: &mut Sink,
) -> Result<ImportReport, ImportFailure> {
    worker
        .read(&importer.path, source, options, cancel, sink)
        .map_err(|failure| failure.of(&importer.header.name))
}

/// Lets the surest importer read a file. One that fails at being asked is passed over unless nobody else can read the file.
/// Of equally sure ones the first counts. A single importer is asked and reads in one process.
pub fn read_with_surest(
    worker: &Worker,
    importers: &[Found],
    source: Source,
    options: &[ImportOption],
    cancel: &AtomicBool,
    sink: &mut Sink,
) -> Result<ImportReport, ImportFailure> {
    let nobody = || ImportFailure::NoImporter {
        asked: importers.iter().map(|found| found.header.name.clone()).collect(),
    };
    if let [only] = importers {
        return worker
            .probe_and_read(&only.path, source, options, cancel, sink)
            .map_err(|failure| failure.of(&only.header.name))?
            .ok_or_else(nobody);
    }
    let mut surest: Option<(u8, &Found)> = None;
    let mut fault = None;
    for found in importers {
        match worker.probe(&found.path, source, cancel) {
            Ok(sure) if sure > surest.map_or(0, |(sure, _)| sure) => surest = Some((sure, found)),
            Ok(_) => {}
            Err(failure) if failure.is_transient() => return Err(failure),
            Err(failure) => {
                tracing::warn!(importer = found.header.name, %failure, "an importer failed at being asked");
                fault = Some(failure.of(&found.header.name));
            }
        }
    }
    match surest {
        Some((_, found)) => worker
            .read(&found.path, source, options, cancel, sink)
            .map_err(|failure| failure.of(&found.header.name)),
        None => Err(fault.unwrap_or_else(nobody)),
    }
}
