//! From a file at rest to archived bytes and imported rows.

use super::content::Imported;
use super::context::belongs;
use super::reading::{about_option, import, no_importer};
use super::rows::CachedRows;
use super::{Cancel, Engine, EngineError};
use std::fs::File;
use std::os::fd::BorrowedFd;
use std::path::{Path, PathBuf};
use undim_config::{Note, Site, add_described, described};
use undim_import::find::{Findings, Found};
use undim_import::run::{ImportFailure, ImportOption, OptionKind, Source, Worker};
use undim_intake::lease::Lease;
use undim_intake::names;
use undim_intake::spool::content_path;
use undim_store::Content;

/// The raw archive's folder in the state folder.
const RAW: &str = "raw";

/// Asks the kernel whether somebody writes to a file.
pub(super) fn ask_kernel(file: BorrowedFd<'_>) -> Lease {
    match undim_worker::lease::nobody_writes(file) {
        Some(true) => Lease::AtRest,
        Some(false) => Lease::BeingWritten,
        None => Lease::CannotTell,
    }
}

/// Why a content could not be read, as a keeper is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Refusal {
    /// The file must be mended, or something told.
    SetAside {
        /// What, where and what to do.
        why: String,
        /// Choices, where something is asked.
        choices: Vec<String>,
    },
    /// Neither file nor importer is at fault; it is tried again.
    Later(String),
    /// The state folder could not be used; it is tried again.
    Failed(String),
}

impl Refusal {
    pub(super) fn set_aside(why: impl Into<String>) -> Self {
        Self::SetAside {
            why: why.into(),
            choices: Vec::new(),
        }
    }
}

/// What an import depends on, besides the content itself.
#[derive(Debug, Clone)]
pub(super) struct Reading {
    options: Vec<ImportOption>,
    /// The layout's name, for messages.
    layout: Option<String>,
    /// The one importer that is asked for.
    importer: Option<String>,
    /// Of all of these.
    pub(super) fingerprint: String,
}

/// What was read.
#[derive(Debug, Clone)]
pub(super) struct Read {
    pub(super) imported: Imported,
    pub(super) rows: CachedRows,
    pub(super) key: String,
    /// What the sandbox lacked.
    pub(super) lacks: Option<String>,
}

/// What reading needs of the engine; can be shared by threads.
#[derive(Clone, Copy)]
pub(super) struct Importing<'a> {
    pub(super) site: &'a Site,
    pub(super) findings: &'a Findings,
    pub(super) worker: &'a Worker,
    pub(super) cancel: &'a Cancel,
}

impl Importing<'_> {
    /// How a content is to be read, from its path and note.
    pub(super) fn reading_of(&self, path: &[u8], note: &Note) -> Result<Reading, Refusal> {
        let belongs = belongs(self.site, path, note, note.date).map_err(Refusal::set_aside)?;
        let mut options = Vec::new();
        if let Some(name) = &belongs.layout {
            let Some(layout) = self.site.layouts.get(name) else {
                return Err(Refusal::set_aside(format!(
                    "the layout “{name}” is not there; write layouts/{name}.toml, or take the name out of the route or note"
                )));
            };
            options.extend(layout.options.iter().cloned());
        }
        if let Some((by, text)) = &note.description {
            let name = names::shown(names::file_name(path));
            let told = described(text, &name, by).map_err(|why| {
                Refusal::set_aside(format!("{by}, which lies beside it, can't be used: {why}"))
            })?;
            add_described(&mut options, told.unwrap_or_default());
        }
        if let Some(date) = note.date {
            options.push(ImportOption {
                path: "note.date".to_owned(),
                kind: OptionKind::Date,
                text: date.to_string(),
            });
        }
        let mut hasher = blake3::Hasher::new();
        for option in &options {
            for part in [&option.path, &option.text] {
                hasher.update(&(part.len() as u64).to_le_bytes());
                hasher.update(part.as_bytes());
            }
        }
        hasher.update(belongs.importer.as_deref().unwrap_or_default().as_bytes());
        let fingerprint = hasher.finalize().to_hex().to_string();
        Ok(Reading {
            options,
            layout: belongs.layout,
            importer: belongs.importer,
            fingerprint,
        })
    }

    /// Has a content read by an importer, and its rows kept.
    pub(super) fn read(&self, hash: &str, path: &[u8], reading: &Reading) -> Result<Read, Refusal> {
        let importers: Vec<Found> = match &reading.importer {
            None => self.findings.importers.clone(),
            Some(name) => self.findings.named(name).cloned().into_iter().collect(),
        };
        if importers.is_empty() {
            return Err(Refusal::Later(no_importer(
                self.findings,
                reading.importer.as_deref(),
            )));
        }
        let raw = content_path(&self.site.state.join(RAW), hash);
        let failed = |path: &Path, error: &std::io::Error| {
            Refusal::Failed(EngineError::state(path, error).to_string())
        };
        let file = File::open(&raw).map_err(|error| failed(&raw, &error))?;
        let key = fingerprint(&[hash, &reading.fingerprint]);
        let rows = CachedRows::at(&self.site.state, hash, &key);
        let mut writer = rows.begin().map_err(|error| failed(&self.site.state, &error))?;
        let name = names::shown(names::file_name(path));
        let outcome = import(
            self.worker,
            &importers,
            Source {
                file: &file,
                name: &name,
            },
            &reading.options,
            self.cancel,
            &mut |batch| writer.write(batch),
        );
        match outcome {
            Ok(answer) => {
                writer
                    .finish()
                    .map_err(|error| failed(&self.site.state, &error))?;
                Ok(Read {
                    imported: answer.imported,
                    rows,
                    key,
                    lacks: answer.lacks,
                })
            }
            Err(failure) => {
                writer.discard();
                Err(self.refusal(&failure, reading))
            }
        }
    }

    fn refusal(&self, failure: &ImportFailure, reading: &Reading) -> Refusal {
        match failure {
            ImportFailure::Sink(error) => Refusal::Failed(format!(
                "{} could not be written: {error}",
                self.site.state.display()
            )),
            failure if failure.is_transient() => Refusal::Later(failure.to_string()),
            ImportFailure::SandboxMissing { .. } => Refusal::Later(failure.to_string()),
            ImportFailure::Question { text, choices, .. } => Refusal::SetAside {
                why: text.clone(),
                choices: choices.clone(),
            },
            ImportFailure::Unusable {
                option: Some(index),
                text,
                ..
            } => {
                let layout = reading
                    .layout
                    .as_ref()
                    .and_then(|name| self.site.layouts.get(name));
                Refusal::set_aside(about_option(layout, *index, text))
            }
            failure => Refusal::set_aside(failure.to_string()),
        }
    }
}

impl Engine {
    /// What reading needs of the engine.
    pub(super) fn importing(&self) -> Importing<'_> {
        Importing {
            site: &self.site,
            findings: &self.findings,
            worker: &self.worker,
            cancel: &self.cancel,
        }
    }

    /// The raw archive.
    pub(super) fn raw(&self) -> PathBuf {
        self.site.state.join(RAW)
    }
}

/// True where the old content's bytes are the beginning of the new one's.
pub(super) fn begins_with(raw: &Path, new: &Content, old: &Content) -> Result<bool, EngineError> {
    use std::io::Read as _;
    if old.bytes >= new.bytes || old.hash == new.hash {
        return Ok(false);
    }
    let (old_path, new_path) = (content_path(raw, &old.hash), content_path(raw, &new.hash));
    let open = |path: &PathBuf| File::open(path).map_err(|error| EngineError::state(path, &error));
    let (mut old_file, mut new_file) = (open(&old_path)?, open(&new_path)?);
    let (mut ours, mut theirs) = (vec![0; 1 << 16], vec![0; 1 << 16]);
    loop {
        let count = old_file
            .read(&mut ours)
            .map_err(|error| EngineError::state(&old_path, &error))?;
        if count == 0 {
            return Ok(true);
        }
        new_file
            .read_exact(&mut theirs[..count])
            .map_err(|error| EngineError::state(&new_path, &error))?;
        if ours[..count] != theirs[..count] {
            return Ok(false);
        }
    }
}

/// Of several texts, told apart.
pub(super) fn fingerprint(parts: &[&str]) -> String {
    let mut hasher = blake3::Hasher::new();
    for part in parts {
        hasher.update(&(part.len() as u64).to_le_bytes());
        hasher.update(part.as_bytes());
    }
    hasher.finalize().to_hex().to_string()
}
