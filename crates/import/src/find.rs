//! Which importers there are, and which one reads a file.
//!
//! Folders are looked through in order: the site's, beside the program, `../lib/undim/importers` from it. In the
//! first and the last every library counts; beside the program only those named `libundim_importer_*`, for
//! many other libraries may lie there. Of two importers of one name the first counts, and the other is named as
//! passed over. What everybody can write to is never loaded.
//!
//! An importer's name stands inside the library, and loading a library runs its code; so a worker asks, once for
//! each library as it lies on disk.

use crate::{
    run::{ImportFailure, ImportOption, ImportReport, Sink, Source, Worker},
    wire::Header,
};
use std::{
    collections::HashMap,
    env::consts::{DLL_EXTENSION, DLL_PREFIX},
    fmt,
    fs::{self, Metadata},
    io,
    os::unix::fs::MetadataExt,
    path::{Path, PathBuf},
    sync::{Mutex, PoisonError, atomic::AtomicBool},
};

/// What form an importer has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A dynamic library with the C contract.
    Library,
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
        let any = |path| Folder {
            path,
            prefix: String::new(),
        };
        let mut folders: Vec<_> = site.into_iter().map(any).collect();
        folders.push(Folder {
            path: program_folder.to_owned(),
            prefix: format!("{DLL_PREFIX}undim_importer_"),
        });
        folders.extend(
            program_folder
                .parent()
                .map(|above| any(above.join("lib/undim/importers"))),
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
                        self.take(path, worker, cancel, &mut findings);
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

    fn take(&self, path: PathBuf, worker: &Worker, cancel: &AtomicBool, findings: &mut Findings) {
        let found = admit(&path, Metadata::is_file)
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
            Ok(header) => findings.importers.push(Found {
                path,
                kind: Kind::Library,
                header,
            }),
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
    Writable,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::Unreadable(error) => write!(f, "it can't be read: {error}"),
            Self::Kind => f.write_str("it is no regular file"),
            Self::Writable => f.write_str(
                "everybody can write to it, so anybody's code could be run; take that right away (chmod o-w)",
            ),
        }
    }
}

fn admit(path: &Path, is_right_kind: fn(&Metadata) -> bool) -> Result<Metadata, Refusal> {
    const WRITABLE_BY_OTHERS: u32 = 0o002;
    let metadata = fs::metadata(path).map_err(Refusal::Unreadable)?;
    if !is_right_kind(&metadata) {
        return Err(Refusal::Kind);
    }
    if metadata.mode() & WRITABLE_BY_OTHERS != 0 {
        return Err(Refusal::Writable);
    }
    Ok(metadata)
}

/// The files of a folder that look like importers, by name.
fn candidates(folder: &Folder) -> Result<Vec<PathBuf>, Refusal> {
    let mut paths = Vec::new();
    for entry in fs::read_dir(&folder.path).map_err(Refusal::Unreadable)? {
        let path = entry.map_err(Refusal::Unreadable)?.path();
        let has_prefix = path
            .file_name()
            .is_some_and(|name| name.as_encoded_bytes().starts_with(folder.prefix.as_bytes()));
        if has_prefix
            && path
                .extension()
                .is_some_and(|extension| extension == DLL_EXTENSION)
        {
            paths.push(path);
        }
    }
    if !paths.is_empty() {
        admit(&folder.path, Metadata::is_dir)?;
    }
    paths.sort_unstable();
    Ok(paths)
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
            .probe_and_read(&only.path, source, options, cancel, sink)?
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
                fault = Some(failure);
            }
        }
    }
    match surest {
        Some((_, found)) => worker.read(&found.path, source, options, cancel, sink),
        None => Err(fault.unwrap_or_else(nobody)),
    }
}
