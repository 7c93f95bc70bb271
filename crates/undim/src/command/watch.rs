//! `undim watch`: the daemon.

use super::{not_opened, say, usable_site};
use crate::cli::Common;
use crate::daemon::{self, Ended, Mode};
use crate::engine::Engine;
use crate::exit::Exit;
use std::sync::{Arc, Mutex};

pub(super) fn run(common: &Common) -> Exit {
    let site = match usable_site(common) {
        Ok(site) => site,
        Err(exit) => return exit,
    };
    tracing::info!(site = %site.root.display(), inbox = %site.inbox.display(), "watching");
    let engine = match Engine::open(site, "watch") {
        Ok(engine) => Arc::new(Mutex::new(engine)),
        Err(error) => return not_opened(&error),
    };
    match daemon::run(Mode::Watch, &engine) {
        Ok(Ended::Cleanly) => {
            daemon::lock(&engine).write_ended();
            tracing::info!("ended");
            Exit::Done
        }
        Ok(Ended::WorkLeft) => {
            tracing::warn!("ended in the middle of work; the next start does it again");
            Exit::Done
        }
        Ok(Ended::Fault) => Exit::Internal,
        Err(error) => {
            say::error(&format!("undim: the daemon could not run: {error}"));
            Exit::Internal
        }
    }
}
