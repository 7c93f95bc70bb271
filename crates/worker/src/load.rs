//! Loads one library and checks what it exports before anything of it is called.

use libloading::os::unix::{Library, RTLD_LOCAL, RTLD_NOW};
use std::{error::Error as _, path::Path};
use undim_abi::{ABI_MAJOR, ABI_MINOR, MAGIC, SYMBOL, UndimImporter, UndimProbe, UndimRead, UndimText};
use undim_import::wire::{Ending, Header};

/// An importer whose descriptor is as agreed.
pub(crate) struct Importer {
    pub(crate) header: Header,
    pub(crate) read: UndimRead,
    probe: UndimProbe,
}

/// Loads a library for good: it is never unloaded.
#[expect(
    unsafe_code,
    reason = "runs the library's own start, which is what this process is for"
)]
pub(crate) fn load(path: &Path) -> Result<Importer, Ending> {
    let cannot = |error: libloading::Error| {
        let text = error
            .source()
            .map_or_else(|| error.to_string(), ToString::to_string);
        Ending::CannotLoad(text)
    };
    // SAFETY: nothing can vouch for foreign code; whatever it does, it does to this process, which has nothing to lose.
    let library = unsafe { Library::open(Some(path), RTLD_NOW | RTLD_LOCAL) }.map_err(cannot)?;
    // SAFETY: only the address is used, and only after the checks below.
    let symbol = unsafe { library.get::<*const UndimImporter>(SYMBOL) };
    let descriptor = symbol.map(|symbol| symbol.as_raw_ptr().cast::<UndimImporter>().cast_const());
    std::mem::forget(library);
    let descriptor = descriptor.map_err(|_| {
        Ending::CannotLoad(format!(
            "it is a library, but no importer: it exports no {SYMBOL}"
        ))
    })?;
    check(descriptor)
}

/// Reads the descriptor field by field, so that one of another shape is recognised before it is taken for ours.
#[expect(unsafe_code, reason = "reads a structure of the library")]
fn check(descriptor: *const UndimImporter) -> Result<Importer, Ending> {
    if descriptor.is_null() || !descriptor.is_aligned() {
        return Err(Ending::Breach(format!(
            "{SYMBOL} does not lie where a structure can"
        )));
    }
    // SAFETY: the loader gave this address for an exported object; the first fields have stood in the same places since
    // the first version. A library that exports something smaller harms this process only.
    let (magic, major, minor, size) = unsafe {
        (
            (&raw const (*descriptor).magic).read(),
            (&raw const (*descriptor).abi_major).read(),
            (&raw const (*descriptor).abi_minor).read(),
            (&raw const (*descriptor).size).read(),
        )
    };
    if magic != MAGIC {
        return Err(Ending::Breach(format!(
            "{SYMBOL} does not begin with the agreed mark"
        )));
    }
    if major != ABI_MAJOR {
        return Err(Ending::WrongVersion {
            theirs: (major, minor),
            ours: (ABI_MAJOR, ABI_MINOR),
        });
    }
    if (size as usize) < size_of::<UndimImporter>() {
        return Err(Ending::Breach(format!(
            "{SYMBOL} says that it has {size} bytes; it needs {}",
            size_of::<UndimImporter>()
        )));
    }
    // SAFETY: it says that it is at least this long.
    let descriptor = unsafe { descriptor.read() };
    let (Some(probe), Some(read)) = (descriptor.probe, descriptor.read) else {
        return Err(Ending::Breach(format!("{SYMBOL} has no probe or no read")));
    };
    let text = |text: UndimText| {
        // SAFETY: the library's constant, which lives as long as the library.
        let bytes = unsafe { text.bytes() }.filter(|bytes| bytes.len() <= 4096)?;
        std::str::from_utf8(bytes).ok().map(str::to_owned)
    };
    match (
        text(descriptor.name),
        text(descriptor.version),
        text(descriptor.reads),
    ) {
        (Some(name), Some(version), Some(reads)) => Ok(Importer {
            header: Header {
                name,
                version,
                reads,
                abi: format!("{major}.{minor}"),
            },
            read,
            probe,
        }),
        _ => Err(Ending::Breach(
            "its name, version or description is no text".to_owned(),
        )),
    }
}

impl Importer {
    /// How surely it can read a file: 0 to 100, or what is wrong with the answer.
    #[expect(unsafe_code, reason = "calls the library")]
    pub(crate) fn probe(&self, start: &[u8], file_name: &str) -> Result<u8, String> {
        // SAFETY: both slices outlive the call; the function is the one that the checked descriptor names.
        let answer =
            unsafe { (self.probe)(start.as_ptr(), start.len(), file_name.as_ptr(), file_name.len()) };
        match u8::try_from(answer) {
            Ok(sure @ 0..=100) => Ok(sure),
            _ => Err(format!("probe answered {answer}; it should be 0 to 100")),
        }
    }
}
