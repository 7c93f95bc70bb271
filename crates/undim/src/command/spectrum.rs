//! `undim spectrum`: what a spectrum says of its light.

use super::say;
use crate::cli::{Common, Spectrum as Flags};
use crate::exit::Exit;
use crate::light::{self, Asked};
use std::path::Path;
use undim_emit::text_cell::shown;
use undim_intake::spool::write_atomically;

pub(super) fn run(common: &Common, flags: &Flags) -> Exit {
    told(common, flags).unwrap_or_else(|(exit, why)| {
        say::error(&format!("undim: {why}"));
        exit
    })
}

fn told(common: &Common, flags: &Flags) -> Result<Exit, (Exit, String)> {
    if flags.list {
        if common.json {
            say::json(&light::list_json());
        } else {
            say::line(&light::list());
        }
        return Ok(Exit::Done);
    }
    let asked = Asked {
        from: flags.from.as_deref(),
        mix: &flags.mix,
        response: flags.response.as_deref(),
        calibrated_under: flags.calibrated_under.as_deref(),
    };
    let answer = light::answer(&asked).map_err(|why| (Exit::Usage, why))?;
    if let Some(out) = &flags.out {
        draw(out, &answer)?;
    }
    if common.json {
        say::json(&light::json_of(&answer));
    } else {
        say::line(&light::show(&answer, &say::screen()));
    }
    Ok(Exit::Done)
}

fn draw(out: &Path, answer: &light::Answer) -> Result<(), (Exit, String)> {
    let sheet = light::sheet(answer);
    let bytes = match out.extension().and_then(|end| end.to_str()) {
        Some("html") => undim_emit::page::spectrum(&sheet),
        Some("svg") => undim_emit::page::spectrum_drawing(&sheet),
        _ => {
            return Err((
                Exit::Usage,
                "--out takes a file that ends in .html or .svg".to_owned(),
            ));
        }
    };
    let folder = out
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    let Some(name) = out.file_name().and_then(|name| name.to_str()) else {
        return Err((Exit::Usage, "--out names no file".to_owned()));
    };
    write_atomically(folder, name, bytes.as_bytes()).map_err(|error| {
        (
            Exit::Folders,
            format!("{} can't be written: {error}", shown(&out.display().to_string())),
        )
    })
}
