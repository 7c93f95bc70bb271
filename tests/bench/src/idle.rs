//! A daemon that has nothing to do.

use crate::input::DAYS;
use crate::process::{cpu, resident_kib};
use crate::site::Site;
use crate::table::{Table, ms};
use crate::{Bench, Result};
use std::time::Duration;

/// Longer than two of the regular looks at the inbox.
const IDLE: Duration = Duration::from_secs(65);

pub(crate) fn measure(bench: &Bench, table: &mut Table) -> Result<()> {
    let site = Site::with_surveys(bench)?;
    let daemon = site.watch(&[])?;
    std::thread::sleep(Duration::from_secs(1));
    let before = cpu(daemon.pid())?;
    std::thread::sleep(IDLE);
    let took = cpu(daemon.pid())?.saturating_sub(before);
    let resident_mib = resident_kib(daemon.pid()) as f64 / 1024.0;
    daemon.stop()?;
    table.heading(format!(
        "An idle daemon, {DAYS} surveys in the ledger, watched for {} s",
        IDLE.as_secs()
    ));
    table.goal("memory", resident_mib, 30.0, "MiB");
    // The kernel counts hundredths of a second; one of them in a minute is noise.
    table.goal("processor time", ms(took), 20.0, "ms");
    Ok(())
}
