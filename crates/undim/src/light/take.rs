//! A spectrum by its name or file.

use std::path::Path;
use undim_correct::spectrum::{Meaning, Read, Shipped, Spectrum, read, shipped, shipped_names};
use undim_emit::text_cell::shown;

/// Larger than any spectrum.
const MOST_BYTES: u64 = 16 * 1024 * 1024;

/// A spectrum that was asked for.
pub(super) struct Taken {
    pub(super) name: String,
    pub(super) source: String,
    pub(super) spectrum: Spectrum,
    pub(super) is_measured: bool,
    pub(super) remarks: Vec<String>,
}

impl Taken {
    pub(super) fn built_in(shipped: &Shipped) -> Self {
        Self {
            name: shipped.name.to_owned(),
            source: shipped.source.to_owned(),
            spectrum: shipped.spectrum.clone(),
            is_measured: false,
            remarks: Vec::new(),
        }
    }
}

/// A light by a file's path, else by a built-in name.
pub(super) fn take(asked: &str) -> Result<Taken, String> {
    if !Path::new(asked).exists() {
        return shipped(asked).map(Taken::built_in).ok_or_else(|| {
            format!(
                "there is no file {0} and no built-in spectrum of that name; {1}`undim spectrum --list` names all",
                shown(asked),
                nearest(asked)
            )
        });
    }
    from_file(asked, Meaning::Light)
}

/// A device's response, from a file.
pub(super) fn response(asked: &str) -> Result<Taken, String> {
    if Path::new(asked).exists() {
        return from_file(asked, Meaning::Response);
    }
    Err(format!(
        "there is no file {}; --response takes a CSV of wavelength in nm and the device's relative response, as its maker prints it",
        shown(asked)
    ))
}

fn from_file(path: &str, meaning: Meaning) -> Result<Taken, String> {
    let name = Path::new(path).file_name().unwrap_or_default().to_string_lossy();
    let name = shown(&name).into_owned();
    let about = std::fs::metadata(path).map_err(|error| format!("{name} can't be read: {error}"))?;
    if !about.is_file() {
        return Err(format!("{name} is no file; name a CSV of wavelength and value"));
    }
    if about.len() > MOST_BYTES {
        return Err(format!(
            "{name} is larger than 16 MiB; a spectrum has a few thousand lines at most"
        ));
    }
    let bytes = std::fs::read(path).map_err(|error| format!("{name} can't be read: {error}"))?;
    let text = String::from_utf8_lossy(&bytes);
    let Read { spectrum, remarks } = read(&text, meaning).map_err(|why| format!("{name}: {}", why.0))?;
    Ok(Taken {
        source: name.clone(),
        name,
        spectrum,
        is_measured: true,
        remarks,
    })
}

/// "did you mean …?" with the names that share most letters.
fn nearest(asked: &str) -> String {
    let plain = |name: &str| -> String {
        name.chars()
            .filter(char::is_ascii_alphanumeric)
            .collect::<String>()
            .to_ascii_lowercase()
    };
    let asked = plain(asked);
    let near: Vec<&str> = shipped_names()
        .filter(|name| {
            !asked.is_empty()
                && (plain(name).contains(&asked) || asked.contains(&plain(name)) && name.len() > 1)
        })
        .take(5)
        .collect();
    if near.is_empty() {
        String::new()
    } else {
        format!("did you mean {}? ", near.join(", "))
    }
}

/// `NAME=0.4` or `NAME=40%`.
pub(super) fn channel(asked: &str) -> Result<(&str, f64), String> {
    let wrong = || {
        format!(
            "--mix takes a name or file and its level, as --mix blue.csv=0.4; {} is not that",
            shown(asked)
        )
    };
    let (name, level) = asked.rsplit_once('=').ok_or_else(wrong)?;
    let (number, by) = match level.strip_suffix('%') {
        Some(number) => (number, 0.01),
        None => (level, 1.0),
    };
    let level: f64 = number.trim().parse().map_err(|_| wrong())?;
    let level = level * by;
    if name.is_empty() || !(0.0..=1.0).contains(&level) {
        return Err(format!("{}: a level is from 0 to 1, or 0% to 100%", shown(asked)));
    }
    Ok((name, level))
}

/// A level as a percentage, short.
pub(super) fn level(level: f64) -> String {
    let percent = format!("{:.1}", 100.0 * level);
    percent.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_are_parts_or_percent() {
        assert_eq!(channel("a=b.csv=0.4"), Ok(("a=b.csv", 0.4)));
        assert_eq!(channel("LED-B1=40%"), Ok(("LED-B1", 0.4)));
        for wrong in [
            "LED-B1",
            "LED-B1=",
            "=0.4",
            "LED-B1=40",
            "LED-B1=-1",
            "LED-B1=NaN",
        ] {
            assert!(channel(wrong).is_err(), "{wrong}");
        }
        assert_eq!([level(0.4), level(1.0), level(0.125)], ["40", "100", "12.5"]);
    }

    #[test]
    fn a_wrong_name_gets_the_nearest() {
        let why = take("led").map(|_| ()).expect_err("no name");
        assert!(why.contains("LED-B1"), "{why}");
    }
}
