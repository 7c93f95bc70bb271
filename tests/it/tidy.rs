//! House rules about files: what each looks like, where it lies, and what must not stand in it.

use crate::support::repository;
use std::fs;
use std::path::{Path, PathBuf};

/// The most lines that a file of ours may have.
const LINES: usize = 700;
/// Where `unsafe` may stand: the importers' contract, on its three sides, and the importer that misbehaves for the tests.
const UNSAFE: [&str; 4] = ["crates/abi/", "crates/sdk/", "crates/worker/", "tests/hostile/"];
/// Ends of names of text that people write.
const WRITTEN: [&str; 10] = ["rs", "md", "toml", "py", "sql", "css", "h", "c", "run", "sh"];

/// A text file, by its path from the top folder.
struct Text {
    path: String,
    content: String,
}

impl Text {
    fn ends_in(&self, end: &str) -> bool {
        Path::new(&self.path)
            .extension()
            .is_some_and(|found| found == end)
    }

    /// By `WRITTEN`; a file without an end in its name, such as `run`, goes by its name.
    fn is_written(&self) -> bool {
        let path = Path::new(&self.path);
        let end = path.extension().or(path.file_name()).and_then(|end| end.to_str());
        end.is_some_and(|end| WRITTEN.contains(&end))
    }
}

/// Every text of the repository, without what is built and what the demo lays out.
fn texts() -> Vec<Text> {
    fn walk(folder: &Path, prefix: &str, texts: &mut Vec<Text>) {
        let mut entries: Vec<_> = fs::read_dir(folder)
            .expect("a folder")
            .filter_map(Result::ok)
            .collect();
        entries.sort_by_key(fs::DirEntry::file_name);
        for entry in entries {
            let name = entry.file_name().to_string_lossy().into_owned();
            let is_built = name == "target" || name == ".git" || name.starts_with("undim-demo");
            let path = format!("{prefix}{name}");
            if entry.path().is_dir() && !is_built {
                walk(&entry.path(), &format!("{path}/"), texts);
            } else if !is_built && let Ok(content) = fs::read_to_string(entry.path()) {
                texts.push(Text { path, content });
            }
        }
    }
    let mut texts = Vec::new();
    walk(&repository(), "", &mut texts);
    assert!(
        texts.len() > 200,
        "the repository was found: {} files",
        texts.len()
    );
    texts
}

/// Fails with all of them at once.
fn none(what: &str, found: &[String]) {
    assert!(found.is_empty(), "{what}:\n{}", found.join("\n"));
}

#[test]
fn every_source_file_begins_with_what_it_is() {
    let found: Vec<String> = texts()
        .iter()
        .filter(|text| text.ends_in("rs") && !text.content.starts_with("//! "))
        .map(|text| text.path.clone())
        .collect();
    none("files without module docs as their first line", &found);
}

#[test]
fn no_file_is_too_long_to_read() {
    let lines = |text: &Text| text.content.lines().count();
    let found: Vec<String> = texts()
        .iter()
        .filter(|text| text.is_written() && lines(text) > LINES)
        .map(|text| format!("{}: {} lines", text.path, lines(text)))
        .collect();
    none("files that should be cut in two", &found);
}

/// What is not done is not promised, and nobody's own machine is named.
#[test]
fn nothing_is_left_for_later_and_no_machine_is_named() {
    let marks = [
        concat!("TO", "DO"),
        concat!("FIX", "ME"),
        concat!("XX", "X "),
        concat!("to", "do!("),
        concat!("unimple", "mented!("),
        concat!("/wo", "rk/"),
        concat!("/ro", "ot/"),
        concat!("/ho", "me/"),
        concat!("/Us", "ers/"),
        concat!("index", "-url"),
        concat!("replace", "-with"),
    ];
    let found: Vec<String> = texts()
        .iter()
        .flat_map(|text| {
            let lines = text.content.lines().enumerate();
            let hits = lines.filter(|(_, line)| marks.iter().any(|mark| line.contains(mark)));
            hits.map(|(number, line)| format!("{}:{}: {line}", text.path, number + 1))
                .collect::<Vec<_>>()
        })
        .collect();
    none("words that must not stand in a file", &found);
}

/// Everything that is built in comes from one registry, none of it from somebody's own repository.
#[test]
fn dependencies_come_from_one_registry() {
    let lock = fs::read_to_string(repository().join("Cargo.lock")).expect("Cargo.lock");
    let sources: Vec<&str> = lock
        .lines()
        .filter_map(|line| line.strip_prefix("source = "))
        .collect();
    assert!(sources.len() > 50);
    assert!(sources[0].starts_with("\"registry+"), "{}", sources[0]);
    assert!(sources.iter().all(|source| *source == sources[0]), "{sources:?}");
}

#[test]
fn a_crates_folder_has_its_packages_name() {
    let mut found = Vec::new();
    let mut seen = 0;
    for text in texts().iter().filter(|text| text.path.ends_with("Cargo.toml")) {
        let Some((folder, _)) = text.path.rsplit_once('/') else {
            continue;
        };
        let folder_name = folder.rsplit('/').next().unwrap_or(folder);
        let package = text.content.lines().find_map(|line| line.strip_prefix("name = "));
        let package = package.unwrap_or_default().trim_matches('"');
        let expected = match folder_name {
            "undim" | "xtask" => folder_name.to_owned(),
            _ if folder.starts_with("plugins/") || folder_name == "hostile" => {
                format!("undim-importer-{folder_name}")
            }
            _ => format!("undim-{folder_name}"),
        };
        seen += 1;
        if package != expected {
            found.push(format!("{folder}: {package}, expected {expected}"));
        }
    }
    assert!(seen > 18, "{seen}");
    none("packages in a folder of another name", &found);
}

#[test]
fn every_importer_has_its_cases() {
    let plugins = repository().join("plugins");
    let examples = plugins.join("examples");
    let importers: Vec<PathBuf> = folders(&plugins)
        .into_iter()
        .filter(|folder| *folder != examples)
        .chain(folders(&examples))
        .collect();
    assert!(!importers.is_empty());
    for importer in importers {
        let cases = folders(&importer.join("cases"));
        assert!(!cases.is_empty(), "{} has no cases", importer.display());
        for case in cases {
            assert!(
                case.join("note.md").is_file(),
                "{} does not say where it comes from",
                case.display()
            );
        }
    }
}

fn folders(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok);
    entries
        .map(|entry| entry.path())
        .filter(|path| path.is_dir())
        .collect()
}

#[test]
fn links_between_the_documents_lead_somewhere() {
    let (mut found, mut followed) = (Vec::new(), 0);
    for text in texts().iter().filter(|text| text.ends_in("md")) {
        let folder = repository().join(Path::new(&text.path).parent().expect("a folder"));
        for link in text
            .content
            .split("](")
            .skip(1)
            .filter_map(|rest| rest.split(')').next())
        {
            let file = link.split('#').next().unwrap_or_default();
            if file.is_empty() || file.contains("://") || file.starts_with("mailto:") {
                continue;
            }
            followed += 1;
            if !folder.join(file).exists() {
                found.push(format!("{}: {link}", text.path));
            }
        }
    }
    assert!(followed > 3, "{followed}");
    none("links that lead nowhere", &found);
}

#[test]
fn unsafe_stands_only_where_the_contract_is_met() {
    let mut found = Vec::new();
    for text in texts().iter().filter(|text| text.ends_in("rs")) {
        if UNSAFE.iter().any(|folder| text.path.starts_with(folder)) {
            continue;
        }
        // The workspace's lints deny it, so it needs an attribute.
        let lifted =
            ["allow", "expect", "warn"].map(|level| format!("{level}({}", concat!("unsafe", "_code")));
        if lifted.iter().any(|attribute| text.content.contains(attribute)) {
            found.push(text.path.clone());
        }
    }
    none("unsafe code", &found);
    // Each package takes the workspace's lints.
    let top = fs::read_to_string(repository().join("Cargo.toml")).expect("Cargo.toml");
    assert!(top.contains("unsafe_code = \"deny\""));
    for text in texts()
        .iter()
        .filter(|text| text.path.ends_with("/Cargo.toml") && !text.path.contains("fuzz"))
    {
        assert!(
            text.content.contains("[lints]\nworkspace = true"),
            "{} takes no lints",
            text.path
        );
    }
}

#[test]
fn published_data_is_told_with_its_source() {
    let folder = repository().join("tests/data");
    let told = fs::read_to_string(folder.join("README.md")).expect("tests/data/README.md");
    let names = fs::read_dir(folder).expect("tests/data").filter_map(Result::ok);
    let names: Vec<String> = names
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    assert!(names.len() > 5);
    let untold = names
        .iter()
        .filter(|name| *name != "README.md" && !told.contains(&format!("`{name}`")));
    none("data without a source", &untold.cloned().collect::<Vec<_>>());
    let lost = told
        .split('`')
        .skip(1)
        .step_by(2)
        .filter(|name| name.contains('.') && !names.contains(&(*name).to_owned()));
    none(
        "sources without data",
        &lost.map(str::to_owned).collect::<Vec<_>>(),
    );
}

#[test]
fn the_promises_name_tests_that_exist() {
    let promises = fs::read_to_string(repository().join("tests/PROMISES.md")).expect("tests/PROMISES.md");
    let texts = texts();
    let sources: Vec<&Text> = texts.iter().filter(|text| text.ends_in("rs")).collect();
    let words = promises.split('`').skip(1).step_by(2);
    let names: Vec<&str> = words
        .filter(|word| word.matches('_').count() > 1 && !word.contains(['/', '.', ' ']))
        .collect();
    assert!(names.len() > 40, "{names:?}");
    let lost = names.iter().filter(|name| {
        let function = format!("fn {name}(");
        !sources.iter().any(|text| text.content.contains(&function))
    });
    none(
        "promises whose test is gone",
        &lost.map(|name| (*name).to_owned()).collect::<Vec<_>>(),
    );
    let paths = promises
        .split('`')
        .skip(1)
        .step_by(2)
        .filter(|word| word.contains('/') && !word.contains(' '));
    let nowhere = paths.filter(|path| !repository().join(path).exists());
    none(
        "promises that point nowhere",
        &nowhere.map(str::to_owned).collect::<Vec<_>>(),
    );
}
