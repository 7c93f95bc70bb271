//! An accepted correction goes into the device's file: added at its end, so that every byte before stays as it is.

use super::Fitting;
use super::block::block;
use std::path::PathBuf;
use undim_config::{Severity, Site, load};
use undim_intake::spool::write_atomically;

/// Writes it; gives the file, or a sentence on why nothing was written.
pub(crate) fn accept(site: &Site, fitting: &Fitting, from_pairs: bool) -> Result<PathBuf, String> {
    let Some(text) = block(fitting) else {
        return Err("there is no correction to accept; nothing was written".to_owned());
    };
    let Some(id) = &fitting.device else {
        return Err("whose correction is it? Name the device with --device; nothing was written".to_owned());
    };
    let shown = format!("devices/{id}.toml");
    let Some(device) = site.devices.get(id).filter(|device| device.declared) else {
        return Err(format!(
            "there is no {shown}; make one (an empty file will do), then accept again; nothing was written"
        ));
    };
    let curve = fitting.proposal.picked().map(|picked| picked.fitted.curve);
    let slopes = fitting
        .proposal
        .span
        .into_iter()
        .flatten()
        .filter_map(|end| Some(curve?.slope(end)));
    if slopes.into_iter().any(|slope| slope <= 0.0) {
        return Err("the correction falls while the device rises, which no device beside a reference does; nothing was written. Are device and reference the right way round?".to_owned());
    }
    if from_pairs && let Some(why) = applied_twice(fitting, device) {
        return Err(why);
    }
    let same = |correction: &undim_model::Correction| {
        correction.span.from == fitting.valid_from
            && correction.medium == fitting.medium
            && correction
                .scenes
                .iter()
                .eq(fitting.proposal.scenes.iter().map(|scene| &**scene))
    };
    if device.corrections.iter().any(same) {
        return Err(format!(
            "{shown} holds a correction from the same day for the same light already; remove it first, or give another day with --valid-from; nothing was written"
        ));
    }
    // Through a link to the file itself.
    let path = site.root.join("devices").join(format!("{id}.toml"));
    let path = path
        .canonicalize()
        .map_err(|error| format!("{shown} can't be read: {error}"))?;
    let old = std::fs::read(&path).map_err(|error| format!("{shown} can't be read: {error}"))?;
    let (Some(folder), Some(name)) = (path.parent(), path.file_name().and_then(|name| name.to_str())) else {
        return Err(format!("{shown} has no folder"));
    };
    let new = added(&old, &text);
    check(site, id, &new)
        .map_err(|why| format!("{shown} would not be usable with it ({why}); nothing was written"))?;
    write_atomically(folder, name, &new).map_err(|error| format!("{shown} can't be written: {error}"))?;
    Ok(path)
}

/// Pairs from elsewhere may have been through the factors that the device's file holds.
fn applied_twice(fitting: &Fitting, device: &undim_model::Device) -> Option<String> {
    let holds = |correction: &&undim_model::Correction| {
        correction.spectral.value != 1.0 || correction.immersion.value != 1.0
    };
    let correction = device.corrections.iter().rev().find(holds)?;
    let name = if correction.spectral.value == 1.0 {
        "immersion"
    } else {
        "spectral"
    };
    let id = fitting.device.as_deref().unwrap_or_default();
    Some(format!(
        "devices/{id}.toml has a correction with {name} other than 1, and the pairs may hold it already: it would be applied twice. Give the survey or its files instead of pairs, or set it to 1; nothing was written"
    ))
}

/// The old bytes, a blank line, the block, with the file's own line ends.
fn added(old: &[u8], block: &str) -> Vec<u8> {
    let is_crlf = old.windows(2).any(|two| two == b"\r\n");
    let end = if is_crlf { "\r\n" } else { "\n" };
    let mut new = old.to_vec();
    if !new.is_empty() {
        if !new.ends_with(b"\n") {
            new.extend(end.as_bytes());
        }
        new.extend(end.as_bytes());
    }
    new.extend(block.replace('\n', end).as_bytes());
    new
}

/// Tanks and devices are read with the new text in the place of the old, in a copy.
fn check(site: &Site, id: &str, new: &[u8]) -> Result<(), String> {
    let copy = crate::look::TemporaryFolder::new()?;
    let failed = |error: std::io::Error| error.to_string();
    std::fs::write(copy.path().join(undim_config::SITE_FILE), "").map_err(failed)?;
    for folder in ["tanks", "devices"] {
        let to = copy.path().join(folder);
        std::fs::create_dir_all(&to).map_err(failed)?;
        for found in std::fs::read_dir(site.root.join(folder)).into_iter().flatten() {
            let from = found.map_err(failed)?.path();
            if let (Some(name), Some("toml")) =
                (from.file_name(), from.extension().and_then(|end| end.to_str()))
            {
                std::fs::copy(&from, to.join(name)).map_err(failed)?;
            }
        }
    }
    let file = std::path::Path::new("devices").join(format!("{id}.toml"));
    std::fs::write(copy.path().join(&file), new).map_err(failed)?;
    let loaded = load(copy.path(), &site.timezone.name);
    let spoils =
        |mistake: &&undim_config::Mistake| mistake.severity == Severity::Mistake && mistake.file == file;
    match loaded.mistakes.iter().find(spoils) {
        Some(mistake) => Err(format!("line {}: {}", mistake.line, mistake.text)),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::added;

    #[test]
    fn every_byte_before_stays() {
        let old = b"# mine\r\nrole = \"everyday\"";
        assert_eq!(
            added(old, "a\nb\n"),
            b"# mine\r\nrole = \"everyday\"\r\n\r\na\r\nb\r\n"
        );
        assert_eq!(added(b"", "a\n"), b"a\n");
    }
}
