//! An engine for looking only: it works on a copy of the ledger in a folder of its own, takes no lock, and leaves
//! inbox, outbox and state as they are.

use super::Engine;
use super::rows::link_rows;
use crate::look::TemporaryFolder;
use jiff::Timestamp;
use std::os::unix::fs::symlink;
use undim_config::Site;
use undim_emit::SiteZone;
use undim_store::{Reader, Store};

/// An engine that derives without writing anything of the site.
pub(crate) struct Dry {
    pub(crate) engine: Engine,
    /// Removed once the engine is gone.
    _folder: TemporaryFolder,
}

impl Dry {
    /// Nothing where there is no ledger yet. The error is a sentence.
    pub(crate) fn open(mut site: Site) -> Result<Option<Self>, String> {
        let said = |error: &dyn std::fmt::Display| error.to_string();
        let Some(reader) = Reader::open_read_only(&site.state.join("undim.db")).map_err(|e| said(&e))? else {
            return Ok(None);
        };
        let folder = TemporaryFolder::new()?;
        let ledger = folder.path().join("undim.db");
        reader.copy_to(&ledger).map_err(|e| said(&e))?;
        drop(reader);
        symlink(site.state.join("raw"), folder.path().join("raw")).map_err(|e| said(&e))?;
        link_rows(&site.state, folder.path()).map_err(|e| said(&e))?;
        folder.path().clone_into(&mut site.state);
        let zone = undim_clean::time::zone(&site.timezone.name)
            .ok_or_else(|| format!("the time zone {} is not known", site.timezone.name))?;
        let site_zone = SiteZone::named(&site.timezone.name).map_err(|e| said(&e))?;
        let store = Store::open(&ledger).map_err(|e| said(&e))?;
        let engine = Engine::assemble(
            site,
            "check",
            store,
            None,
            (zone, site_zone),
            Timestamp::UNIX_EPOCH,
        );
        Ok(Some(Self {
            engine,
            _folder: folder,
        }))
    }
}
