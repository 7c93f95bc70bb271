//! House rules that a machine can hold.

use crate::support::repository;
use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

/// Which crate may use which of ours: the table of `DEVELOPERS.md`.
const MAY_USE: &[(&str, &[&str])] = &[
    ("undim-model", &[]),
    ("undim-stats", &[]),
    ("undim-abi", &[]),
    ("undim-sdk", &["undim-abi"]),
    ("undim-tabular", &["undim-sdk"]),
    ("undim-intake", &["undim-model"]),
    ("undim-import", &["undim-model"]),
    ("undim-clean", &["undim-model", "undim-stats"]),
    ("undim-correct", &["undim-model", "undim-stats"]),
    ("undim-place", &["undim-model"]),
    ("undim-store", &["undim-model"]),
    ("undim-worker", &["undim-abi", "undim-import"]),
    (
        "undim-survey",
        &[
            "undim-model",
            "undim-stats",
            "undim-clean",
            "undim-correct",
            "undim-place",
        ],
    ),
    ("undim-drift", &["undim-model", "undim-stats", "undim-place"]),
    ("undim-emit", &["undim-model", "undim-drift"]),
    (
        "undim-config",
        &["undim-model", "undim-intake", "undim-import", "undim-clean"],
    ),
    ("undim-importer-bio-optics", &["undim-sdk", "undim-tabular"]),
    ("undim-importer-delimited", &["undim-sdk", "undim-tabular"]),
    ("undim-importer-records", &["undim-sdk", "undim-tabular"]),
    ("undim-importer-sheet", &["undim-sdk", "undim-tabular"]),
    ("undim-importer-hostile", &["undim-abi"]),
    (
        "undim-bench",
        &[
            "undim-import",
            "undim-model",
            "undim-stats",
            "undim-place",
            "undim-drift",
        ],
    ),
    ("xtask", &[]),
];

/// Outside crates that only one of ours may know.
const ONE_PARENT: &[(&str, &str)] = &[
    ("notify", "undim-intake"),
    ("libloading", "undim-worker"),
    ("rusqlite", "undim-store"),
    ("tokio", "undim"),
    ("toml", "undim-config"),
    ("calamine", "undim-importer-sheet"),
    ("zip", "undim-importer-sheet"),
];

fn edges() -> BTreeMap<String, BTreeSet<String>> {
    let output = Command::new(env!("CARGO"))
        .current_dir(repository())
        .args(["metadata", "--format-version", "1", "--no-deps", "--offline"])
        .output()
        .expect("cargo runs");
    let metadata: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let packages = metadata["packages"].as_array().expect("packages");
    packages
        .iter()
        .map(|package| {
            let uses = package["dependencies"].as_array().expect("dependencies").iter();
            let uses = uses.filter(|dependency| dependency["kind"].is_null());
            let names = uses
                .filter_map(|dependency| dependency["name"].as_str().map(str::to_owned))
                .collect();
            (package["name"].as_str().expect("a name").to_owned(), names)
        })
        .collect()
}

#[test]
fn lower_crates_never_know_higher_ones() {
    let edges = edges();
    let ours: BTreeSet<&str> = edges.keys().map(String::as_str).collect();
    for (package, uses) in &edges {
        if package == "undim" {
            continue;
        }
        let (_, allowed) = MAY_USE
            .iter()
            .find(|(name, _)| name == package)
            .unwrap_or_else(|| panic!("{package} is not in the table"));
        let used: BTreeSet<&str> = uses
            .iter()
            .map(String::as_str)
            .filter(|name| ours.contains(name))
            .collect();
        let allowed: BTreeSet<&str> = allowed.iter().copied().collect();
        assert!(
            used.is_subset(&allowed),
            "{package} uses {used:?}, allowed are {allowed:?}"
        );
    }
}

#[test]
fn what_touches_the_system_has_one_parent() {
    let edges = edges();
    for (library, parent) in ONE_PARENT {
        let parents: Vec<&str> = edges
            .iter()
            .filter(|(_, uses)| uses.contains(*library))
            .map(|(name, _)| name.as_str())
            .collect();
        assert_eq!(parents, [*parent], "{library}");
    }
}
