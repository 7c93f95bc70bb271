//! `undim rebuild`: everything derived again from the raw archive.

use super::changed::{Changed, changed, tell_changing};
use super::{not_opened, say, usable_site};
use crate::cli::Common;
use crate::engine::Engine;
use crate::exit::Exit;
use serde::Serialize;

#[derive(Serialize)]
struct Rebuilt<'a> {
    surveys: usize,
    changed: Vec<Changed<'a>>,
    mistakes: &'a [String],
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
    let changing = match engine.would_change() {
        Ok(changing) => changing,
        Err(error) => {
            say::error(&format!("undim: {error}"));
            return Exit::Folders;
        }
    };
    if !common.json {
        tell_changing(&changing, "This rebuild changes");
    }
    let surveys = match engine.rebuild() {
        Ok(surveys) => surveys,
        Err(error) => {
            say::error(&format!("undim: {error}"));
            return Exit::Folders;
        }
    };
    let troubles = engine.troubles();
    if common.json {
        say::json(&Rebuilt {
            surveys,
            changed: changed(&changing),
            mistakes: engine.mistakes(),
            troubles,
        });
    } else {
        for mistake in engine.mistakes() {
            say::line(&say::screen().wrapped(&format!("Mistake: {mistake}"), "", "  "));
        }
        for trouble in troubles {
            say::line(trouble);
        }
        say::line(&format!(
            "{surveys} {} derived again from the raw archive, into {}.",
            if surveys == 1 { "survey" } else { "surveys" },
            engine.site().outbox.display()
        ));
    }
    if troubles.is_empty() && engine.mistakes().is_empty() {
        Exit::Done
    } else {
        Exit::Remarks
    }
}
