//! Whatever stands in a note: it is understood, or every mistake has a place in it.

#![no_main]

use libfuzzer_sys::fuzz_target;
use undim_config::parse_note;

fuzz_target!(|bytes: &[u8]| {
    if let Err(mistakes) = parse_note(bytes, "note.toml") {
        assert!(!mistakes.is_empty());
        let lines = bytes.split(|byte| *byte == b'\n').count();
        assert!(mistakes.iter().all(|mistake| mistake.line <= lines + 1), "{mistakes:?}");
    }
});
