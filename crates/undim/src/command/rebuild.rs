//! `undim rebuild`: everything derived again from the raw archive.

use super::{not_opened, say, usable_site};
use crate::cli::Common;
use crate::engine::Engine;
use crate::exit::Exit;
use serde::Serialize;

#[derive(Serialize)]
struct Rebuilt<'a> {
    surveys: usize,
    troubles: &'a [String],
}

pub(super) fn run(common: &Common) -> Exit {
    let site = match usable_site(common) {
        Ok(site) => site,
        Err(exit) => return exit,
    };
    let mut engine = match Engine::open(site, "rebuild") {
        Ok(engine) => engine,
        Err(error) => return not_opened(&error),
    };
    let surveys = match engine.rebuild() {
        Ok(surveys) => surveys,
        Err(error) => {
            say::error(&format!("undim: {error}"));
            return Exit::Folders;
        }
    };
    let troubles = engine.troubles();
    if common.json {
        say::json(&Rebuilt { surveys, troubles });
    } else {
        for trouble in troubles {
            say::line(trouble);
        }
        say::line(&format!(
            "{surveys} {} derived again from the raw archive, into {}.",
            if surveys == 1 { "survey" } else { "surveys" },
            engine.site().outbox.display()
        ));
    }
    if troubles.is_empty() {
        Exit::Done
    } else {
        Exit::Remarks
    }
}
