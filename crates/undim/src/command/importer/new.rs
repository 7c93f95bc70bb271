//! `undim importer new NAME`: a first importer that builds, passes its cases and explains itself.
//!
//! A crate in Rust brings its own copy of the SDK, written by this very program: it builds without a network, without
//! undim's source and wherever it is carried. `--sdk` points it at a folder instead.

use super::say;
use crate::cli::{ImporterNew, ScriptLanguage};
use crate::exit::Exit;
use std::fs;
use std::io;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;

/// The SDK and the contract below it, file by file, as this program was built with them.
const SDK: &[(&str, &str)] = &[
    (
        "abi/include/undim_importer.h",
        include_str!("../../../../abi/include/undim_importer.h"),
    ),
    (
        "abi/src/importer.rs",
        include_str!("../../../../abi/src/importer.rs"),
    ),
    ("abi/src/lib.rs", include_str!("../../../../abi/src/lib.rs")),
    (
        "abi/src/message.rs",
        include_str!("../../../../abi/src/message.rs"),
    ),
    ("abi/src/option.rs", include_str!("../../../../abi/src/option.rs")),
    ("abi/src/row.rs", include_str!("../../../../abi/src/row.rs")),
    ("abi/src/text.rs", include_str!("../../../../abi/src/text.rs")),
    (
        "sdk/src/cases/bad.rs",
        include_str!("../../../../sdk/src/cases/bad.rs"),
    ),
    (
        "sdk/src/cases/mod.rs",
        include_str!("../../../../sdk/src/cases/mod.rs"),
    ),
    (
        "sdk/src/cases/table.rs",
        include_str!("../../../../sdk/src/cases/table.rs"),
    ),
    (
        "sdk/src/exported.rs",
        include_str!("../../../../sdk/src/exported.rs"),
    ),
    (
        "sdk/src/failure.rs",
        include_str!("../../../../sdk/src/failure.rs"),
    ),
    ("sdk/src/input.rs", include_str!("../../../../sdk/src/input.rs")),
    ("sdk/src/lib.rs", include_str!("../../../../sdk/src/lib.rs")),
    (
        "sdk/src/options.rs",
        include_str!("../../../../sdk/src/options.rs"),
    ),
    ("sdk/src/out.rs", include_str!("../../../../sdk/src/out.rs")),
    ("sdk/src/row.rs", include_str!("../../../../sdk/src/row.rs")),
    (
        "sdk/src/testing.rs",
        include_str!("../../../../sdk/src/testing.rs"),
    ),
];

/// Where the copy lies in the new crate.
const COPY: &str = "undim";

pub(super) fn run(flags: &ImporterNew) -> Result<Exit, Exit> {
    let refused = |why: String| {
        say::error(&format!("undim: {why}"));
        Exit::Usage
    };
    let folder = check(flags).map_err(refused)?;
    write(flags, &folder).map_err(|error| {
        say::error(&format!("undim: {} could not be written: {error}", flags.name));
        Exit::Folders
    })?;
    let screen = say::screen();
    say::line(&format!("Written: {}/", flags.name));
    say::line("");
    for step in steps(flags) {
        say::line(&screen.wrapped(&step, "  ", "    "));
    }
    Ok(Exit::Done)
}

/// The SDK's path as `Cargo.toml` has it.
fn check(flags: &ImporterNew) -> Result<String, String> {
    let name = &flags.name;
    let letter = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    let is_name = (1..=64).contains(&name.len())
        && name.bytes().all(letter)
        && name.starts_with(|c: char| c.is_ascii_lowercase())
        && !name.ends_with('-');
    if !is_name {
        return Err(format!(
            "“{name}” can't be an importer's name; use lower-case letters, digits and hyphens, a letter first, such as pond-log"
        ));
    }
    let is_free = match fs::read_dir(name) {
        Ok(mut found) => found.next().is_none(),
        Err(error) => error.kind() == io::ErrorKind::NotFound,
    };
    if !is_free {
        return Err(format!(
            "{name} is there already, and nothing is ever overwritten; take another name, or go to another folder"
        ));
    }
    let Some(sdk) = &flags.sdk else {
        return Ok(format!("{COPY}/sdk"));
    };
    let manifest = fs::read_to_string(sdk.join("Cargo.toml")).unwrap_or_default();
    if !manifest.contains("name = \"undim-sdk\"") {
        return Err(format!(
            "{} is not the SDK; it is the folder crates/sdk of undim's source (without --sdk, a copy is written)",
            sdk.display()
        ));
    }
    let whole = sdk
        .canonicalize()
        .map_err(|error| format!("{} can't be read: {error}", sdk.display()))?;
    whole
        .to_str()
        .map(|path| path.replace('\\', "\\\\").replace('"', "\\\""))
        .ok_or_else(|| format!("{} is no text that Cargo.toml could hold", whole.display()))
}

fn write(flags: &ImporterNew, sdk: &str) -> io::Result<()> {
    let folder = Path::new(&flags.name);
    let type_name = type_name(&flags.name);
    let file = file(flags);
    let fill = |template: &str| {
        template
            .replace("@NAME@", &flags.name)
            .replace("@CRATE@", &flags.name.replace('-', "_"))
            .replace("@TYPE@", &type_name)
            .replace("@SDK@", sdk)
            .replace("@FILE@", &file)
            .replace("@STEPS@", &steps(flags).join("\n"))
    };
    let put = |path: &str, text: &str| {
        let path = folder.join(path);
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent)?;
        }
        fs::write(path, text)
    };
    put("README.md", &fill(include_str!("templates/readme.md.txt")))?;
    put(
        "cases/two-places/input.txt",
        &fill("#@NAME@\nreef-top 212.5\nsand 96\nunder the ledge -\n"),
    )?;
    put(
        "cases/two-places/expected.csv",
        "row,value,station\n2,212.5,reef-top\n3,96,sand\n4,,under the ledge\n",
    )?;
    put(
        "cases/two-places/said.txt",
        "assumed unit = umol.m-2.s-1\nline 4, column 2: this is no number\n",
    )?;
    put(
        "cases/two-places/note.md",
        "Two readings, and one that the device missed: it stays a row, without a value.\n",
    )?;
    put("cases/torn/input.txt", &fill("#@NAME@\nreef-top\n"))?;
    put(
        "cases/torn/expected.txt",
        "line 2, column 0: here a station and a value should stand\n",
    )?;
    put(
        "cases/torn/note.md",
        "A line that broke off: the file is refused, with the place.\n",
    )?;
    match flags.script {
        None => {
            put("Cargo.toml", &fill(include_str!("templates/cargo.toml.txt")))?;
            put(".gitignore", "/target\n")?;
            put("src/lib.rs", &fill(include_str!("templates/lib.rs.txt")))?;
            put("tests/cases.rs", &fill(include_str!("templates/cases.rs.txt")))?;
            if flags.sdk.is_none() {
                write_sdk(&put)?;
            }
        }
        Some(language) => {
            let template = match language {
                ScriptLanguage::Python => include_str!("templates/script.py.txt"),
                ScriptLanguage::Sh => include_str!("templates/script.sh.txt"),
            };
            put(&file, &fill(template))?;
            fs::set_permissions(folder.join(&file), fs::Permissions::from_mode(0o755))?;
        }
    }
    Ok(())
}

fn write_sdk(put: &impl Fn(&str, &str) -> io::Result<()>) -> io::Result<()> {
    for (path, text) in SDK {
        put(&format!("{COPY}/{path}"), text)?;
    }
    let manifest = |name: &str, dependencies: &str| {
        format!(
            "# Written by undim {0}: a copy of what it was built with.\n[package]\nname = \"{name}\"\nversion = \"{0}\"\nedition = \"2024\"\nlicense = \"MIT OR Apache-2.0\"\npublish = false\n\n[lib]\ndoctest = false\n\n[lints.rust]\nunsafe_code = \"deny\"\n{dependencies}",
            env!("CARGO_PKG_VERSION")
        )
    };
    put(&format!("{COPY}/abi/Cargo.toml"), &manifest("undim-abi", ""))?;
    put(
        &format!("{COPY}/sdk/Cargo.toml"),
        &manifest(
            "undim-sdk",
            "\n[dependencies]\nundim-abi = { path = \"../abi\" }\n",
        ),
    )
}

/// The importer's own file.
fn file(flags: &ImporterNew) -> String {
    match flags.script {
        None => "src/lib.rs".to_owned(),
        Some(ScriptLanguage::Python) => format!("{}.py", flags.name),
        Some(ScriptLanguage::Sh) => format!("{}.sh", flags.name),
    }
}

/// What to type next.
fn steps(flags: &ImporterNew) -> Vec<String> {
    let name = &flags.name;
    let library = format!(
        "{}{}{}",
        std::env::consts::DLL_PREFIX,
        name.replace('-', "_"),
        std::env::consts::DLL_SUFFIX
    );
    match flags.script {
        None => vec![
            format!("cd {name} && cargo test     builds it and runs its cases"),
            "cargo build --release && undim importer cases .     the same in the sandbox, with the usual bad files"
                .to_owned(),
            format!("cp target/release/{library} SITE/plugins/     and it is used"),
        ],
        Some(_) => vec![
            format!("undim importer cases {name}     runs its cases and the usual bad files in the sandbox"),
            format!("cp {name}/{} SITE/plugins/     and it is used", file(flags)),
        ],
    }
}

/// `pond-log` as `PondLog`.
fn type_name(name: &str) -> String {
    let capital = |word: &str| {
        let (first, rest) = word.split_at_checked(1).unwrap_or((word, ""));
        first.to_ascii_uppercase() + rest
    };
    name.split('-').map(capital).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::PathBuf;

    /// The copy that is written lacks no file of the source.
    #[test]
    fn the_copy_is_whole() {
        let crates = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
        let mut found = Vec::new();
        let mut folders: Vec<PathBuf> = ["abi/include", "abi/src", "sdk/src"].map(PathBuf::from).into();
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(crates.join(&folder)).unwrap() {
                let path = folder.join(entry.unwrap().file_name());
                if crates.join(&path).is_dir() {
                    folders.push(path);
                } else {
                    found.push(path.display().to_string());
                }
            }
        }
        found.sort();
        let mut written: Vec<_> = SDK.iter().map(|(path, _)| *path).collect();
        written.sort_unstable();
        assert_eq!(found, written);
    }

    #[test]
    fn a_first_importer_has_less_than_forty_lines() {
        for template in [
            include_str!("templates/lib.rs.txt"),
            include_str!("templates/script.py.txt"),
            include_str!("templates/script.sh.txt"),
        ] {
            let is_code = |line: &&str| {
                let line = line.trim();
                !line.is_empty() && !line.starts_with("//") && !line.starts_with("# ")
            };
            let lines = template.lines().filter(is_code).count();
            assert!(lines < 40, "{lines} lines");
        }
    }

    #[test]
    fn names_become_types() {
        assert_eq!(type_name("pond-log2-x"), "PondLog2X");
    }
}
