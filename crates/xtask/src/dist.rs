//! Lays out program and importers as they are installed: `bin/undim`, `lib/undim/importers/`.

use std::fs;
use std::path::Path;

/// Builds for release and copies into `prefix`.
pub(crate) fn run(prefix: &Path) -> Result<(), String> {
    let built = crate::build::build("release")?;
    let program = prefix.join("bin");
    let importers = prefix.join("lib/undim/importers");
    copy(&built.program, &program)?;
    for importer in &built.importers {
        copy(importer, &importers)?;
    }
    crate::say(&format!("program: {}", program.join("undim").display()));
    crate::say(&format!("importers: {}", importers.display()));
    Ok(())
}

/// Copies a file into a folder, which is made if need be.
pub(crate) fn copy(file: &Path, folder: &Path) -> Result<(), String> {
    let name = file
        .file_name()
        .ok_or_else(|| format!("{} has no name", file.display()))?;
    fs::create_dir_all(folder).map_err(|error| format!("{} could not be made: {error}", folder.display()))?;
    fs::copy(file, folder.join(name))
        .map_err(|error| format!("{} could not be copied: {error}", file.display()))?;
    Ok(())
}
