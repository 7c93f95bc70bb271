//! Builds the program and its importers and says where they lie.

use std::path::PathBuf;
use std::process::{Command, Stdio};

/// The packages whose libraries are shipped as importers.
const IMPORTERS: [&str; 4] = [
    "undim-importer-bio-optics",
    "undim-importer-delimited",
    "undim-importer-records",
    "undim-importer-sheet",
];

/// What was built.
pub(crate) struct Built {
    /// The program.
    pub(crate) program: PathBuf,
    /// Its importers.
    pub(crate) importers: Vec<PathBuf>,
}

/// Builds; the paths are those that cargo itself names, for its folders are its own affair.
pub(crate) fn build(profile: &str) -> Result<Built, String> {
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.current_dir(crate::top()).args([
        "build",
        "--message-format=json-render-diagnostics",
        "--profile",
        profile,
    ]);
    command.args(["-p", "undim"]);
    for importer in IMPORTERS {
        command.args(["-p", importer]);
    }
    let output = command
        .stderr(Stdio::inherit())
        .output()
        .map_err(|error| format!("cargo could not be run: {error}"))?;
    if !output.status.success() {
        return Err("the build failed; its messages stand above".to_owned());
    }
    let (mut program, mut importers) = (None, Vec::new());
    for line in String::from_utf8_lossy(&output.stdout).lines() {
        let Ok(message) = serde_json::from_str::<serde_json::Value>(line) else {
            continue;
        };
        if message["target"]["name"] == "undim"
            && let Some(path) = message["executable"].as_str()
        {
            program = Some(PathBuf::from(path));
        }
        let is_library = message["target"]["kind"]
            .as_array()
            .is_some_and(|kinds| kinds.iter().any(|k| k == "cdylib"));
        if is_library && let Some(files) = message["filenames"].as_array() {
            let libraries = files.iter().filter_map(|file| file.as_str()).map(PathBuf::from);
            importers.extend(
                libraries.filter(|path| path.extension().is_some_and(|end| end == "so" || end == "dylib")),
            );
        }
    }
    let program = program.ok_or("cargo built no program named undim")?;
    if importers.len() < IMPORTERS.len() {
        return Err("cargo built fewer importers than there are".to_owned());
    }
    Ok(Built { program, importers })
}
