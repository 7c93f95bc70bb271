//! Whatever a keeper types: the whole configuration is read, and every mistake told.

#![no_main]

use libfuzzer_sys::fuzz_target;
use std::fs;
use std::path::PathBuf;
use std::sync::OnceLock;

/// One folder for all runs of this process; a fuzzer runs one input after another.
fn site() -> &'static PathBuf {
    static SITE: OnceLock<PathBuf> = OnceLock::new();
    SITE.get_or_init(|| {
        let site = std::env::temp_dir().join(format!("undim-fuzz-{}", std::process::id()));
        for folder in ["tanks", "devices", "layouts", "upkeep"] {
            fs::create_dir_all(site.join(folder)).expect("a folder");
        }
        site
    })
}

fuzz_target!(|bytes: &[u8]| {
    let files = ["undim.toml", "tanks/a.toml", "devices/a.toml", "layouts/a.toml", "upkeep/a.csv"];
    for file in files {
        fs::write(site().join(file), bytes).expect("written");
    }
    let loaded = undim_config::load(site(), "UTC");
    assert_eq!(loaded.site.is_none(), loaded.has_mistakes());
    let _ = loaded.render(false, 80);
});
