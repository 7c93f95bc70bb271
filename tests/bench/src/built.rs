//! Builds the program and its importer as they are shipped, and says where they lie.

use crate::Result;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

const IMPORTER: &str = "undim-importer-delimited";

pub(crate) struct Built {
    pub(crate) program: PathBuf,
    pub(crate) importer: PathBuf,
}

/// The paths are those that cargo itself names, for its folders are its own affair.
pub(crate) fn build() -> Result<Built> {
    let output = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()))
        .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("../.."))
        .args(["build", "--release", "--message-format=json-render-diagnostics"])
        .args(["-p", "undim", "-p", IMPORTER])
        .stderr(Stdio::inherit())
        .output()
        .map_err(|error| format!("cargo could not be run: {error}"))?;
    if !output.status.success() {
        return Err("the build failed; its messages stand above".to_owned());
    }
    let text = String::from_utf8_lossy(&output.stdout);
    let messages: Vec<serde_json::Value> = text
        .lines()
        .filter_map(|line| serde_json::from_str(line).ok())
        .collect();
    let program = messages
        .iter()
        .filter(|message| message["target"]["name"] == "undim")
        .find_map(|message| message["executable"].as_str());
    let importer = messages
        .iter()
        .filter(|message| message["target"]["name"] == IMPORTER.replace('-', "_"))
        .filter_map(|message| message["filenames"].as_array())
        .flatten()
        .filter_map(serde_json::Value::as_str)
        .find(|file| {
            Path::new(file)
                .extension()
                .is_some_and(|end| end == std::env::consts::DLL_EXTENSION)
        });
    Ok(Built {
        program: program.ok_or("cargo built no program named undim")?.into(),
        importer: importer.ok_or("cargo built no importer")?.into(),
    })
}
