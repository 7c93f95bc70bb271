//! Lays out what is installed: `bin/undim`, `lib/undim/importers/`, manual pages and completions below `share/`.

use std::fs;
use std::path::Path;
use std::process::Command;

/// A shell, and where its completions are looked for.
const COMPLETIONS: [(&str, &str); 3] = [
    ("bash", "share/bash-completion/completions/undim"),
    ("zsh", "share/zsh/site-functions/_undim"),
    ("fish", "share/fish/vendor_completions.d/undim.fish"),
];

/// Builds for release and copies into `prefix`.
pub(crate) fn run(prefix: &Path) -> Result<(), String> {
    let built = crate::build::build("release")?;
    let program = prefix.join("bin");
    let importers = prefix.join("lib/undim/importers");
    copy(&built.program, &program)?;
    for importer in &built.importers {
        copy(importer, &importers)?;
    }
    let manual = prefix.join("share/man/man1");
    told(Command::new(&built.program).arg("manual").arg(&manual))?;
    for (shell, path) in COMPLETIONS {
        let path = prefix.join(path);
        let script = told(Command::new(&built.program).args(["completions", shell]))?;
        let folder = path.parent().unwrap_or(prefix);
        fs::create_dir_all(folder)
            .and_then(|()| fs::write(&path, script))
            .map_err(|error| format!("{} could not be written: {error}", path.display()))?;
    }
    crate::say(&format!("program: {}", program.join("undim").display()));
    crate::say(&format!("importers: {}", importers.display()));
    crate::say(&format!(
        "manual pages: {} (man undim), completions for bash, zsh and fish below {}",
        manual.display(),
        prefix.join("share").display()
    ));
    Ok(())
}

/// What a command writes to its standard output.
fn told(command: &mut Command) -> Result<Vec<u8>, String> {
    let output = command
        .output()
        .map_err(|error| format!("the program could not be run: {error}"))?;
    if output.status.success() {
        Ok(output.stdout)
    } else {
        Err(String::from_utf8_lossy(&output.stderr).into_owned())
    }
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
