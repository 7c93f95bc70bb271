//! An importer that misbehaves on request; for tests only, never shipped.
//!
//! It claims only files whose first line is `hostile: WORD`, and then does what the word says (`misdeeds`). It stands
//! on the bare C contract, for the SDK would not let it do most of this.

mod host;
mod misdeeds;

use host::Host;
use std::slice;
use undim_abi::{STATUS_FAILED, UndimHost, UndimImporter};

const MARK: &str = "hostile: ";

/// The descriptor.
#[expect(unsafe_code, reason = "the one symbol that undim looks for")]
#[unsafe(export_name = "undim_importer_v1")]
pub static IMPORTER: UndimImporter = UndimImporter::new(
    "hostile",
    env!("CARGO_PKG_VERSION"),
    "files that ask it to misbehave",
    probe,
    read,
);

#[expect(unsafe_code, reason = "called by undim")]
unsafe extern "C" fn probe(start: *const u8, start_len: usize, _name: *const u8, _name_len: usize) -> i32 {
    if start_len == 0 {
        return 0;
    }
    // SAFETY: the contract promises both valid for this call.
    let start = String::from_utf8_lossy(unsafe { slice::from_raw_parts(start, start_len) });
    match start.strip_prefix(MARK).and_then(|rest| rest.lines().next()) {
        Some("probe-150") => 150,
        Some("probe-loop") => misdeeds::turn_for_ever(),
        Some("probe-crash") => misdeeds::write_to_null(),
        Some(_) => 100,
        None => 0,
    }
}

#[expect(unsafe_code, reason = "called by undim")]
unsafe extern "C" fn read(host: *const UndimHost) -> i32 {
    // SAFETY: the contract promises a valid host for this call.
    let Some(host) = (unsafe { host.as_ref() }).map(Host::new) else {
        return STATUS_FAILED;
    };
    let file = host.pull_all();
    match file.strip_prefix(MARK).and_then(|rest| rest.split_once('\n')) {
        Some((word, rest)) => misdeeds::commit(word, rest, &host),
        None => STATUS_FAILED,
    }
}
